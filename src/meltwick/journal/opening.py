"""Finding, recognising, making and opening a journal's file.

The file has a rollback journal, not a write-ahead log: between two commands everything is in the
one file, so that a maker may copy it by hand; it can be read from a folder that may not be written
to, and kept on a network drive; and so few pieces are written that speed is no matter. For a commit
to outlast a loss of power, SQLite then wants ``synchronous`` EXTRA: it is FULL, and syncs the
folder too once the rollback journal is gone (sqlite.org, PRAGMA synchronous).
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
import stat
import threading
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from meltwick.errors import FileError
from meltwick.homes import wanted
from meltwick.journal import schema
from meltwick.journal.backups import copy_database, last_backup, spare_name, sync_folder, tidy
from meltwick.journal.faults import damaged, shown, worded

WAIT = 10.0
"""Seconds that a command waits for another to finish its write."""
_MAGIC = b"SQLite format 3\0"
_HEAD = 100  # [bytes] of a SQLite file that describe it
_open_here: Counter[tuple[int, int]] = Counter()
"""Journals open in this process. Their bytes are not read by other means meanwhile: to close any
handle of a file lets go of all locks that a process holds on it (POSIX)."""
_door = threading.Lock()
"""Held while a thread asks that and reads, or opens."""


def usual_path() -> Path:
    """Where the journal is: in the platform's data folder, beside the maker's own stock.

    Raises
    ------
    FileError
        No home folder is known.
    """
    return wanted("data", "name a file with --journal") / "journal.db"


def recognise(path: Path) -> bool:
    """Say whether there is a journal; refuse any other file before SQLite touches it.

    Returns
    -------
    bool
        False if there is no file of that name.

    Raises
    ------
    FileError
        If there is a folder, a file of another kind or of another program.
    DamagedError
        If it was one of ours and is not whole.
    """
    with worded(path):
        try:
            state = path.stat()
        except (FileNotFoundError, NotADirectoryError):
            return False
        if stat.S_ISDIR(state.st_mode):
            raise FileError(f"{shown(path)} is a folder; name a file with --journal")
        if not stat.S_ISREG(state.st_mode):
            raise FileError(f"{shown(path)} is not an ordinary file; name another with --journal")
        with _door:
            if _open_here[(state.st_dev, state.st_ino)]:
                return True
            try:
                with path.open("rb") as file:
                    head = file.read(_HEAD)
            except PermissionError:
                raise FileError(f"{shown(path)} may not be read; see whose file it is") from None
    if not head:
        raise damaged(path, "it is empty")
    if not head.startswith(_MAGIC):
        if last_backup(path) is not None:
            raise damaged(path)
        raise FileError(
            f"{shown(path)} is not a journal but a file of another kind; it was left as it is; "
            "name another with --journal"
        )
    if len(head) < _HEAD:
        raise damaged(path, "it is cut short")
    if int.from_bytes(head[68:72], "big") != schema.MARK:
        raise FileError(
            f"{shown(path)} is a SQLite file of another program; it was left as it is; name "
            "another with --journal"
        )
    return True


def _connect(path: Path, mode: str, wait: float) -> sqlite3.Connection:
    connection = sqlite3.connect(
        f"{path.absolute().as_uri()}?mode={mode}", uri=True, timeout=wait, isolation_level=None
    )
    try:
        for pragma in (
            "trusted_schema = OFF",
            "foreign_keys = ON",
            "secure_delete = ON",  # what is forgotten is gone
            "fullfsync = ON",  # a Mac's disk keeps what it was told only so
            "synchronous = EXTRA",
        ):
            connection.execute(f"PRAGMA {pragma}")
    except BaseException:
        connection.close()
        raise
    return connection


def _make(path: Path, wait: float) -> None:
    """Begin a journal: whole under another name, then in its place if that is still free."""
    path.parent.mkdir(parents=True, exist_ok=True)
    spare = spare_name(path)
    tidy(path)
    try:
        spare.unlink(missing_ok=True)
        connection = _connect(spare, "rwc", wait)
        try:
            with writing(connection):
                schema.bring_up(connection, 0)
        finally:
            connection.close()
        try:
            os.link(spare, path)
        except FileExistsError:
            return  # another command was quicker
        except OSError:  # a file system without links
            if not path.exists():
                spare.rename(path)
    finally:
        with contextlib.suppress(OSError):
            spare.unlink(missing_ok=True)
    sync_folder(path.parent)


@contextlib.contextmanager
def writing(connection: sqlite3.Connection) -> Iterator[None]:
    """Write all of it or nothing; no one else writes meanwhile."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        # Of a file that may not be written SQLite only reads until a page changes; and only then it
        # wants the rollback journal, and so the folder. So ask for both before anything else.
        connection.execute(f"PRAGMA user_version = {_version(connection)}")
        yield
        connection.execute("COMMIT")
    except BaseException:
        with contextlib.suppress(sqlite3.Error):
            connection.execute("ROLLBACK")
        raise


@contextlib.contextmanager
def reading(connection: sqlite3.Connection) -> Iterator[None]:
    """Read everything as it was at one moment."""
    connection.execute("BEGIN")
    try:
        yield
    finally:
        with contextlib.suppress(sqlite3.Error):
            connection.execute("ROLLBACK")


@contextlib.contextmanager
def opened(path: Path, *, make: bool = False, wait: float = WAIT) -> Iterator[sqlite3.Connection]:
    """Open a journal that is whole and up to date.

    Parameters
    ----------
    path : Path
    make : bool
        Begin one if there is none; otherwise that is refused.
    wait : float
        Seconds to wait for another command.

    Raises
    ------
    FileError
        There is none, it is no journal, a newer program wrote it, or it may not be written to.
    DamagedError
        It is not as it was written.
    ResourceError
        It is in use, or the disk is full.
    """
    with worded(path):
        if not recognise(path):
            if not make:
                raise FileError(
                    f"{shown(path)}: there is no journal yet; meltwick record begins one"
                )
            _make(path, wait)
            recognise(path)
        with _door:
            connection = _connect(path, "rw", wait)
            state = path.stat()
            key = (state.st_dev, state.st_ino)
            _open_here[key] += 1
        try:
            _see_that_it_is_whole(connection, path, wait)
            yield connection
        finally:
            connection.close()
            with _door:
                _open_here[key] -= 1


def _version(connection: sqlite3.Connection) -> int:
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def _see_that_it_is_whole(connection: sqlite3.Connection, path: Path, wait: float) -> None:
    with reading(connection):  # or another command may bring it up between two questions
        version = _version(connection)
        if version > schema.newest():
            raise FileError(
                f"{shown(path)} was written by a newer meltwick (its tables are of version "
                f"{version}, this program knows {schema.newest()}); bring meltwick up to date"
            )
        # Not the quick check alone: a journal is small, and indexes and links are looked at too.
        whole = connection.execute("PRAGMA integrity_check(1)").fetchone()[0] == "ok"
        loose = connection.execute("PRAGMA foreign_key_check").fetchone()
        if not whole or loose or version < 1 or not schema.as_it_should_be(connection, version):
            raise damaged(path)
    if version < schema.newest():
        _bring_up(connection, path, wait)


def _bring_up(connection: sqlite3.Connection, path: Path, wait: float) -> None:
    """Bring an older journal up to date in one transaction, after a copy beside it."""
    with writing(connection):
        version = _version(connection)  # another command may have done it by now
        if version >= schema.newest():
            return
        copy = path.with_name(f"{path.name}-of-version-{version}")
        spare = spare_name(copy)
        try:
            # By another connection: SQLite copies nothing from one that writes. It sees all that
            # is saved, and nobody can save more while we hold the lock.
            with contextlib.closing(_connect(path, "ro", wait)) as reader:
                copy_database(reader, spare, wait)
            os.replace(spare, copy)
        finally:
            with contextlib.suppress(OSError):
                spare.unlink(missing_ok=True)
        sync_folder(path.parent)
        schema.bring_up(connection, version)
        if not schema.as_it_should_be(connection, schema.newest()):
            raise damaged(path, "it could not be brought up to date")
