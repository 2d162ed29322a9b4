"""What can go wrong with a journal's file, in the program's own words."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from meltwick.errors import FileError, MeltwickError, ResourceError, no_room
from meltwick.journal.backups import BusyError, last_backup
from meltwick.stock.reading import one_line, shown_path


class DamagedError(FileError):
    """A journal that is not as it was written."""


def shown(path: Path) -> str:
    """Return a path as a message shows it."""
    return shown_path(path, 120)


def of_disk(error: OSError, path: Path) -> MeltwickError:
    """Word a failure of the disk."""
    if no_room(error):
        return ResourceError(f"{shown(path)}: the disk is full; nothing was saved")
    reason = one_line(error.strerror or str(error)).lower()
    return FileError(f"{shown(path)} cannot be written ({reason}); choose another with --journal")


def of_sqlite(error: sqlite3.Error, path: Path) -> MeltwickError:
    """Word a failure of SQLite; what is saved stays saved, whatever failed."""
    name = getattr(error, "sqlite_errorname", "") or ""
    where = shown(path)
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        return in_use(path)
    if name.startswith("SQLITE_FULL"):
        return ResourceError(f"{where}: the disk is full; nothing was saved")
    if name.startswith(("SQLITE_CORRUPT", "SQLITE_NOTADB")):
        return damaged(path)
    if name == "SQLITE_ERROR" or (not name and "UTF-8" in str(error)):
        return damaged(path)  # tables that are not as our words expect them, or a text in them
    if name.startswith(("SQLITE_READONLY", "SQLITE_CANTOPEN", "SQLITE_PERM", "SQLITE_AUTH")):
        return FileError(
            f"{where} may not be written to; nothing was saved; see who may write to it and its "
            "folder, or choose another with --journal"
        )
    if name.startswith("SQLITE_IOERR"):
        return ResourceError(
            f"{where}: the disk refused ({one_line(str(error))}); nothing was saved; see whether "
            "there is room on it"
        )
    if name.startswith("SQLITE_NOMEM"):
        return ResourceError(f"{where}: not enough memory; nothing was saved")
    if name.startswith("SQLITE_TOOBIG"):
        return FileError(f"{where}: what should be kept is too large; nothing was saved")
    return FileError(f"{where}: {one_line(str(error))} ({name or type(error).__name__})")


def in_use(path: Path) -> ResourceError:
    """Say that another command did not end in time."""
    return ResourceError(
        f"{shown(path)} is in use by another command, which did not end in time; try again"
    )


def damaged(path: Path, what: str = "it is damaged") -> DamagedError:
    """Say that a journal is damaged and was left as it is, and what to do."""
    found = last_backup(path)
    if found is not None:
        cure = f"its last backup is {shown(found[0])}, of {found[1]}: copy that over it"
    else:
        cure = "copy a backup over it, or move it away to begin anew"
    begun = path.with_name(f"{path.name}-journal")
    if begun.exists():  # SQLite would play it into whatever is copied here
        cure += f", and delete {shown(begun)} first"
    return DamagedError(f"{shown(path)}: {what}, and was left as it is; {cure}")


@contextlib.contextmanager
def worded(path: Path) -> Iterator[None]:
    """Turn failures of SQLite and of the disk into errors of ours."""
    try:
        yield
    except BusyError:
        raise in_use(path) from None
    except UnicodeDecodeError as error:  # in SQLite's message on damaged tables
        raise damaged(path) from error
    except sqlite3.Error as error:
        raise of_sqlite(error, path) from error
    except OSError as error:
        raise of_disk(error, path) from error
