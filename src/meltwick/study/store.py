"""Runs that were made before, each in a file named by all that it depends on.

A file is written beside its place and then put there, so that a run is in the store whole or not
at all; whoever is killed loses only what is under way. A file that does not match its checksum is
taken out and the run is made again.
"""

from __future__ import annotations

import contextlib
import os
import re
import time
from dataclasses import dataclass, field
from pathlib import Path

from meltwick.homes import offered
from meltwick.study.outcome import DamagedError, Outcome, as_bytes, from_bytes

LIMIT = 2_000_000_000
"""Bytes that the store may take; the runs that were used longest ago go first."""
_ENDING = ".run"
_OURS = re.compile(r"[0-9a-f]{64}\.run|\.[0-9a-f]{64}-[0-9]+")
_STALE = 86400.0
"""Seconds after which a file that was begun was left by a writer that was killed."""
_SOME = 0.05
"""Share of the limit that is written before the store is looked through again."""


def usual_folder() -> Path:
    """Where runs are kept: in the platform's cache folder; without one, where nothing can be."""
    return (offered("cache") or Path(os.devnull)) / "runs"


@dataclass
class Store:
    """Runs by key, in a folder.

    ``damaged`` counts the files that had to be thrown away, ``unkept`` the runs that could not be
    written, for the reason in ``fault``.
    """

    folder: Path = field(default_factory=lambda: usual_folder())
    limit: int = LIMIT
    damaged: int = 0
    unkept: int = 0
    fault: str = ""
    _written: int = field(default=0, init=False)  # [bytes] since the store was looked through

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
        path, content = self.path(key), as_bytes(outcome)
        spare = path.with_name(f".{key}-{os.getpid()}")
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            spare.write_bytes(content)
            spare.replace(path)
        except OSError as error:
            with contextlib.suppress(OSError):
                spare.unlink()
            self.unkept, self.fault = self.unkept + 1, error.strerror or str(error)
            return False
        self._written += len(content)
        if self._written > _SOME * self.limit:
            self.trim()
        return True

    def files(self) -> list[tuple[float, int, Path]]:
        """List the files that are ours: last use [s], size [bytes] and path of each.

        Those whose names begin with a dot are begun, and not in their place yet.
        """
        found = []
        for path in self.folder.glob("*/*") if self.folder.is_dir() else ():
            if not _OURS.fullmatch(path.name):
                continue
            with contextlib.suppress(OSError):
                state = path.stat()
                found.append((state.st_mtime, state.st_size, path))
        return sorted(found)

    def tally(self) -> tuple[int, int]:
        """Count the runs, and the bytes of all that is ours."""
        files = self.files()
        return sum(path.suffix == _ENDING for _, _, path in files), sum(each[1] for each in files)

    def trim(self) -> int:
        """Take out what was used longest ago until the rest is within the limit; count it.

        What a writer that was killed had begun goes after a day, whatever the limit.
        """
        files, stale = self.files(), time.time() - _STALE
        size, gone = sum(each[1] for each in files), 0
        self._written = 0
        for used, bytes_, path in files:
            if used >= stale if path.name.startswith(".") else size <= self.limit:
                continue
            with contextlib.suppress(OSError):
                path.unlink()
                size -= bytes_
                gone += 1
        return gone

    def clear(self) -> tuple[int, int]:
        """Take out everything that is ours; return the number of files and their bytes."""
        count = size = 0
        for _, bytes_, path in self.files():
            with contextlib.suppress(OSError):
                path.unlink()
                count, size = count + (path.suffix == _ENDING), size + bytes_
        for folder in self.folder.glob("*") if self.folder.is_dir() else ():
            with contextlib.suppress(OSError):
                folder.rmdir()
        return count, size
