"""The journal itself: saving, reading, noting, forgetting and merging pieces."""

from __future__ import annotations

import json
import os
import sqlite3
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from meltwick.errors import FileError
from meltwick.journal.faults import DamagedError, damaged, shown
from meltwick.journal.opening import WAIT, opened, reading, recognise, usual_path, writing
from meltwick.journal.photographs import drop_photos, keep_photo, kept_photo, photo_folder, sweep
from meltwick.journal.records import (
    LONGEST_NOTE,
    Entry,
    Note,
    Photo,
    Piece,
    checked,
    compact,
    document,
    identity,
    sha256,
)

_COLUMNS = (
    *("recorded", "name", "made_on", "plan_name", "plan_file", "plan_text", "canonical"),
    *("digest", "seed", "fold", "ground"),
)
"""What a piece's document and its row have in common."""


def now() -> str:
    """Return this moment in UTC, to the microsecond: no two pieces were recorded at one."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


@dataclass(frozen=True)
class Picture:
    """A photograph's bytes, and the name of its file."""

    content: bytes
    file: str


@dataclass
class Merged:
    """What an import brought."""

    added: list[tuple[int, int]] = field(default_factory=list)  # number there, number here
    known: int = 0
    notes: int = 0
    photos: int = 0  # copies that were not here
    bare: int = 0  # photographs of the file of which there is no copy


class Journal:
    """A journal in a file. Each call opens it, does one thing whole, and closes it.

    Every method raises FileError, DamagedError or ResourceError as `opening.opened` tells.
    """

    def __init__(self, path: Path | None = None, wait: float = WAIT) -> None:
        self.path = Path(os.path.realpath(path if path is not None else usual_path()))
        self.wait = wait  # [s] for another command

    @property
    def photos(self) -> Path:
        """The folder that holds the photographs' copies."""
        return photo_folder(self.path)

    def exists(self) -> bool:
        """Whether there is one; refuses any other file of that name."""
        return recognise(self.path)

    @contextmanager
    def _open(self, make: bool = False) -> Iterator[sqlite3.Connection]:
        with opened(self.path, make=make, wait=self.wait) as connection:
            yield connection

    def check_adding(self, photos: Sequence[Photo] = ()) -> None:
        """Refuse, before work starts, a journal that is there and could not take a piece.

        Raises
        ------
        FileError
            It may not be written, or one of the photographs is already that of a piece.
        """
        if self.exists():
            with self._open() as connection:
                connection.execute("BEGIN IMMEDIATE")
                # only a page that changes wants the rollback journal, and so the folder
                connection.execute("PRAGMA user_version = 0")
                connection.execute("ROLLBACK")
                _refuse_shown(connection, photos)

    # --------------------------------------------------------------------------- saving

    def add(
        self,
        entry: Entry,
        contents: Mapping[str, bytes],
        pictures: Sequence[Picture] = (),
        notes: Sequence[str] = (),
    ) -> int:
        """Save a piece; once this returns, nothing of it can be lost by a crash.

        Parameters
        ----------
        entry : Entry
        contents : mapping of str to bytes
            The files that it names, by digest.
        pictures : sequence of Picture
            Photographs of which a copy is kept.
        notes : sequence of str

        Returns
        -------
        int
            Its number.

        Raises
        ------
        FileError
            A photograph of it is already that of another piece.
        """
        found = document(entry)
        checked(Entry, found, "the piece")  # what is saved can be read again
        mark = identity(found)
        with self._open(make=True) as connection, writing(connection):
            _refuse_shown(connection, entry.photos)
            fresh: list[str] = []
            try:
                for picture in pictures:
                    if keep_photo(self.photos, picture.content, picture.file):
                        fresh.append(sha256(picture.content))
                number = _insert(connection, entry, contents)
                for text in notes:
                    note = checked(Note, {"at": now(), "text": text}, "the note")
                    _insert_note(connection, number, mark, note)
            except BaseException:  # nobody else can show them: we hold the lock
                drop_photos(self.photos, fresh)
                raise
            return number

    def note(self, number: int, text: str, at: str | None = None) -> None:
        """Add a note to a piece.

        Raises
        ------
        FileError
            No piece has that number, or the text is no note.
        """
        if not text.strip() or len(text) > LONGEST_NOTE:
            raise FileError(f"a note has 1 to {LONGEST_NOTE} characters")
        note = checked(Note, {"at": at or now(), "text": text}, "the note")
        with self._open() as connection, writing(connection):
            found = _identity_of(connection, number)
            if found is None:
                raise self._nobody(connection, number)
            _insert_note(connection, number, found, note)

    def forget(self, number: int) -> int:
        """Take a piece out, and the copies of photographs that no other piece shows.

        Returns
        -------
        int
            How many copies of photographs were deleted.
        """
        with self._open() as connection:
            with writing(connection):
                if _identity_of(connection, number) is None:
                    raise self._nobody(connection, number)
                connection.execute("DELETE FROM piece WHERE number = ?", (number,))
                connection.execute(
                    "DELETE FROM content WHERE sha256 NOT IN (SELECT sha256 FROM file)"
                )
            # Only now: were we ended before the line above was saved, the piece would still be
            # there and should have its photographs. Nobody can save one while we hold the lock.
            with writing(connection):
                rows = connection.execute("SELECT DISTINCT sha256 FROM photo").fetchall()
                return sweep(self.photos, [row[0] for row in rows])

    def merge(self, pieces: Sequence[Piece], picture_of: Callable[[str], Picture | None]) -> Merged:
        """Take in pieces of another journal: those that are new, and new notes of the others.

        A piece keeps its number where that was never given here.

        Parameters
        ----------
        pieces : sequence of Piece
        picture_of : callable
            Returns the photograph of a digest, or None where it is not at hand.
        """
        done = Merged()
        with self._open(make=True) as connection, writing(connection):
            for digest in dict.fromkeys(photo.sha256 for each in pieces for photo in each.photos):
                picture = picture_of(digest)
                if picture is not None:
                    done.photos += keep_photo(self.photos, picture.content, picture.file)
                elif kept_photo(self.photos, digest) is None:
                    done.bare += 1
            for piece in pieces:
                mark = piece.identity
                query = "SELECT number FROM piece WHERE identity = ?"
                row = connection.execute(query, (mark,)).fetchone()
                if row is None:
                    kept = piece.number if piece.number > _highest(connection) else None
                    number = _insert(connection, piece, piece.contents, kept)
                    done.added.append((piece.number, number))
                else:
                    number, done.known = row[0], done.known + 1
                fresh = sum(_insert_note(connection, number, mark, each) for each in piece.notes)
                done.notes += fresh if row is not None else 0
        return done

    # -------------------------------------------------------------------------- reading

    def pieces(self) -> tuple[Piece, ...]:
        """Return every piece, by number.

        Raises
        ------
        DamagedError
            If one does not match its mark.
        """
        with self._open() as connection, reading(connection):
            return self._read(connection)

    def piece(self, number: int) -> Piece:
        """Return one piece.

        Raises
        ------
        FileError
            No piece has that number.
        """
        with self._open() as connection, reading(connection):
            found = self._read(connection, number)
            if not found:
                raise self._nobody(connection, number)
            return found[0]

    def _nobody(self, connection: sqlite3.Connection, number: int) -> FileError:
        least, most = connection.execute("SELECT min(number), max(number) FROM piece").fetchone()
        if most is None:
            return FileError(f"there is no piece {number}: the journal {shown(self.path)} is empty")
        has = f"only piece {most}" if least == most else f"pieces from {least} to {most}"
        return FileError(
            f"there is no piece {number} in {shown(self.path)}, which has {has}; "
            "meltwick journal list shows them"
        )

    def _read(self, connection: sqlite3.Connection, only: int | None = None) -> tuple[Piece, ...]:
        connection.row_factory = sqlite3.Row
        contents = {
            row["sha256"]: bytes(row["bytes"])
            for row in connection.execute("SELECT * FROM content")
        }
        if any(sha256(content) != digest for digest, content in contents.items()):
            raise damaged(self.path, "a file that it keeps is damaged")
        costs = _by_piece(connection, "cost", "amount, currency, note", "place")
        photos = _by_piece(connection, "photo", "sha256, file, panel, taken", "place")
        files = _by_piece(connection, "file", "kind, name, sha256", "kind, name")
        notes = _by_piece(connection, "note", "at, text, seal", "at, text")
        where = "" if only is None else "WHERE number = ?"
        rows = connection.execute(
            f"SELECT * FROM piece {where} ORDER BY number", () if only is None else (only,)
        ).fetchall()
        found = []
        for row in rows:
            number = row["number"]
            parts = (costs[number], photos[number], files[number])
            found.append(self._piece(row, *parts, notes[number], contents))
        return tuple(found)

    def _piece(
        self,
        row: sqlite3.Row,
        costs: list[dict[str, Any]],
        photos: list[dict[str, Any]],
        files: list[dict[str, Any]],
        notes: list[dict[str, Any]],
        contents: Mapping[str, bytes],
    ) -> Piece:
        number, mark = row["number"], row["identity"]
        names = {
            kind: {each["name"]: each["sha256"] for each in files if each["kind"] == kind}
            for kind in ("plan", "stock")
        }
        try:
            found = {name: row[name] for name in _COLUMNS} | {
                "outcome": json.loads(row["outcome"]),
                "prediction": None if row["prediction"] is None else json.loads(row["prediction"]),
                "costs": costs,
                "photos": photos,
                "kept": names["plan"],
                "kept_stock": names["stock"],
            }
            entry = checked(Entry, found, f"piece {number}")
            needed = (*entry.kept.values(), *entry.kept_stock.values())
            own = {digest: contents[digest] for digest in needed}
            sealed = all(each.pop("seal") == _seal(mark, each) for each in notes)
            if identity(document(entry)) == mark and sealed:
                own_notes = tuple(Note(**each) for each in notes)
                return Piece(**vars(entry), number=number, notes=own_notes, contents=own)
        except (ValueError, KeyError, TypeError, RecursionError, FileError):
            pass  # told below: whatever it was, it is not what was written
        raise DamagedError(
            f"{damaged(self.path, f'piece {number} in it is damaged')}; or take out that piece "
            f"alone: meltwick journal forget {number} --yes"
        )


def pieces(path: Path | None = None) -> tuple[Piece, ...]:
    """Return every piece of a journal, by number; none where there is no journal yet.

    Parameters
    ----------
    path : Path, optional
        Its file; by default the maker's own journal.

    Raises
    ------
    FileError, DamagedError, ResourceError
        It is no journal, not whole, of a newer program, or in use.
    """
    journal = Journal(path)
    return journal.pieces() if journal.exists() else ()


def _by_piece(
    connection: sqlite3.Connection, table: str, columns: str, order: str
) -> defaultdict[int, list[dict[str, Any]]]:
    found: defaultdict[int, list[dict[str, Any]]] = defaultdict(list)
    for row in connection.execute(f"SELECT piece, {columns} FROM {table} ORDER BY {order}"):
        each = dict(row)
        found[each.pop("piece")].append(each)
    return found


def _refuse_shown(connection: sqlite3.Connection, photos: Sequence[Photo]) -> None:
    for photo in photos:
        query = "SELECT piece FROM photo WHERE sha256 = ? ORDER BY piece"
        other = connection.execute(query, (photo.sha256,)).fetchone()
        if other is not None:
            raise FileError(
                f"{photo.file} is the photograph of piece {other[0]} already; to record that anew, "
                f"first take it out: meltwick journal forget {other[0]} --yes"
            )


def _identity_of(connection: sqlite3.Connection, number: int) -> str | None:
    if not 0 < number < 2**63:
        return None
    query = "SELECT identity FROM piece WHERE number = ?"
    row = connection.execute(query, (number,)).fetchone()
    return None if row is None else str(row[0])


def _highest(connection: sqlite3.Connection) -> int:
    """Return the highest number that was ever given."""
    row = connection.execute("SELECT seq FROM sqlite_sequence WHERE name = 'piece'").fetchone()
    return 0 if row is None else int(row[0])


def _insert(
    connection: sqlite3.Connection,
    entry: Entry,
    contents: Mapping[str, bytes],
    number: int | None = None,
) -> int:
    found = document(entry)
    row: dict[str, Any] = {name: found[name] for name in _COLUMNS} | {
        "number": number,
        "identity": identity(found),
        "outcome": compact(found["outcome"]),
        "prediction": None if found["prediction"] is None else compact(found["prediction"]),
    }
    marks = ", ".join(f":{name}" for name in row)
    given = connection.execute(f"INSERT INTO piece ({', '.join(row)}) VALUES ({marks})", row)
    piece = int(given.lastrowid or 0)
    for place, cost in enumerate(found["costs"]):
        values = (piece, place, cost["amount"], cost["currency"], cost["note"])
        connection.execute("INSERT INTO cost VALUES (?, ?, ?, ?, ?)", values)
    for place, photo in enumerate(found["photos"]):
        photo_row = (piece, place, *(photo[key] for key in ("sha256", "file", "panel", "taken")))
        connection.execute("INSERT INTO photo VALUES (?, ?, ?, ?, ?, ?)", photo_row)
    for kind, names in (("plan", entry.kept), ("stock", entry.kept_stock)):
        for name, digest in names.items():
            pair = (digest, contents[digest])
            connection.execute("INSERT OR IGNORE INTO content VALUES (?, ?)", pair)
            connection.execute("INSERT INTO file VALUES (?, ?, ?, ?)", (piece, kind, name, digest))
    return piece


def _seal(mark: str, note: Mapping[str, Any]) -> str:
    return sha256(compact([mark, note["at"], note["text"]]).encode())


def _insert_note(connection: sqlite3.Connection, number: int, mark: str, note: Note) -> int:
    """Add a note if it is new; count it."""
    seal = _seal(mark, {"at": note.at, "text": note.text})
    values = (number, note.at, note.text, seal)
    return connection.execute("INSERT OR IGNORE INTO note VALUES (?, ?, ?, ?)", values).rowcount
