"""Runs that were made before, each in a file named by all that it depends on.

A file is written beside its place and then put there, so that a run is in the store whole or not
at all; whoever is killed loses only what is under way. A file that does not match its checksum is
taken out and the run is made again.
"""

from __future__ import annotations

import contextlib
import os
from dataclasses import dataclass, field
from pathlib import Path

from meltwick.study.outcome import DamagedError, Outcome, as_bytes, from_bytes

LIMIT = 2_000_000_000
"""Bytes that the store may take; the runs that were used longest ago go first."""
_ENDING = ".run"


def usual_folder() -> Path:
    """Where runs are kept: in the platform's cache folder."""
    import platformdirs

    return Path(platformdirs.user_cache_dir("meltwick", appauthor=False)) / "runs"


@dataclass
class Store:
    """Runs by key, in a folder; ``damaged`` counts the files that had to be thrown away."""

    folder: Path = field(default_factory=lambda: usual_folder())
    limit: int = LIMIT
    damaged: int = 0

    def path(self, key: str) -> Path:
        """Where a run lies."""
        return self.folder / key[:2] / f"{key}{_ENDING}"

    def __contains__(self, key: str) -> bool:
        return self.path(key).is_file()

    def get(self, key: str) -> Outcome | None:
        """Return a run, or None when it is not there or damaged."""
        path = self.path(key)
        try:
            found = from_bytes(path.read_bytes())
        except DamagedError:
            self.damaged += 1
            with contextlib.suppress(OSError):
                path.unlink()
            return None
        except OSError:
            return None
        with contextlib.suppress(OSError):
            os.utime(path)  # used now
        return found

    def put(self, key: str, outcome: Outcome) -> bool:
        """Keep a run; say whether it could be kept, since a study goes on without its store."""
        path = self.path(key)
        spare = path.with_name(f".{key}-{os.getpid()}")
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            spare.write_bytes(as_bytes(outcome))
            spare.replace(path)
        except OSError:
            with contextlib.suppress(OSError):
                spare.unlink()
            return False
        return True

    def files(self) -> list[tuple[float, int, Path]]:
        """List every file: when it was last used [s], its size [bytes] and its path."""
        found = []
        for path in self.folder.glob("*/*") if self.folder.is_dir() else ():
            with contextlib.suppress(OSError):
                state = path.stat()
                found.append((state.st_mtime, state.st_size, path))
        return sorted(found)

    def trim(self) -> int:
        """Take out what was used longest ago until the rest is within the limit; count it."""
        files = self.files()
        size, gone = sum(each[1] for each in files), 0
        for _, bytes_, path in files:
            if size <= self.limit:
                break
            with contextlib.suppress(OSError):
                path.unlink()
                size -= bytes_
                gone += 1
        return gone

    def clear(self) -> tuple[int, int]:
        """Take out everything that is ours; return the number of files and their bytes."""
        count = size = 0
        for _, bytes_, path in self.files():
            if path.suffix == _ENDING or path.name.startswith("."):
                with contextlib.suppress(OSError):
                    path.unlink()
                    count, size = count + 1, size + bytes_
        for folder in self.folder.glob("*") if self.folder.is_dir() else ():
            with contextlib.suppress(OSError):
                folder.rmdir()
        return count, size
