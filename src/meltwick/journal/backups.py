"""Whole copies of a journal: put in place at once, and remembered beside it."""

from __future__ import annotations

import contextlib
import json
import os
import re
import sqlite3
import time
from datetime import date
from glob import escape
from pathlib import Path

_LAST = "-last-backup"
_STALE = 86400.0  # [s]


class BusyError(Exception):
    """Another command did not end its write in time."""


def sync_folder(folder: Path) -> None:
    """Make the names in a folder last; where a system has no such thing, they do anyway."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def spare_name(path: Path) -> Path:
    """Return a name beside a file under which it is begun."""
    return path.with_name(f".{path.name}-{os.getpid()}.new")


def tidy(path: Path) -> None:
    """Take out what a command that was killed had begun beside a file, a day ago or more."""
    for begun in path.parent.glob(f".{escape(path.name)}-*.new"):
        with contextlib.suppress(OSError):
            if re.search(r"-[0-9]+\.new$", begun.name) and begun.stat().st_mtime < (
                time.time() - _STALE
            ):
                begun.unlink()


def put_whole(path: Path, content: bytes) -> None:
    """Write a file so that it is there whole or not at all, and stays after a loss of power."""
    spare = spare_name(path)
    try:
        with spare.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        os.replace(spare, path)
    except BaseException:
        with contextlib.suppress(OSError):
            spare.unlink(missing_ok=True)
        raise
    sync_folder(path.parent)


def copy_database(source: sqlite3.Connection, spare: Path, wait: float) -> None:
    """Copy a database that others may use meanwhile, by SQLite's online backup, to a new file.

    Parameters
    ----------
    source : Connection
        One that is not writing; SQLite would wait for it.
    spare : Path
    wait : float
        Seconds to wait for another command's write.
    """
    end = time.monotonic() + wait

    def progress(status: int, remaining: int, total: int) -> None:
        if status in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED) and time.monotonic() > end:
            raise BusyError

    spare.unlink(missing_ok=True)
    target = sqlite3.connect(spare, isolation_level=None)
    try:
        source.backup(target, progress=progress, sleep=0.05)
        found = target.execute("PRAGMA quick_check").fetchone()[0]
        if found != "ok":
            raise sqlite3.DatabaseError(found)
    finally:
        target.close()
    with spare.open("rb+") as file:
        os.fsync(file.fileno())


def remember_backup(journal: Path, copy: Path, on: date) -> None:
    """Note beside a journal where its last backup went; no harm if that cannot be noted."""
    said = json.dumps({"file": str(copy.absolute()), "on": on.isoformat()}, ensure_ascii=False)
    with contextlib.suppress(OSError, UnicodeError):
        put_whole(journal.with_name(journal.name + _LAST), said.encode())


def last_backup(journal: Path) -> tuple[Path, str] | None:
    """Return where the last backup went and its date, as far as it is known."""
    try:
        with journal.with_name(journal.name + _LAST).open("rb") as file:
            said = json.loads(file.read(10_000))
        return Path(str(said["file"])), date.fromisoformat(str(said["on"])).isoformat()
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None
