"""The journal itself: saving, reading, noting, forgetting and merging pieces."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from meltwick.errors import FileError
from meltwick.journal import rows
from meltwick.journal.faults import shown
from meltwick.journal.opening import WAIT, opened, reading, recognise, usual_path, writing
from meltwick.journal.photographs import drop_photos, keep_photo, kept_photo, photo_folder, sweep
from meltwick.journal.records import (
    LONGEST_NOTE,
    Entry,
    Note,
    Photo,
    Piece,
    checked,
    document,
    identity,
    sha256,
)


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


class _Enough(Exception):  # noqa: N818 - it is no fault
    """Nothing shall be written after all."""


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

    @contextlib.contextmanager
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
                with contextlib.suppress(_Enough), writing(connection):
                    raise _Enough
                rows.refuse_shown(connection, photos)

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
            rows.refuse_shown(connection, entry.photos)
            fresh: list[str] = []
            try:
                for picture in pictures:
                    if keep_photo(self.photos, picture.content, picture.file):
                        fresh.append(sha256(picture.content))
                number = rows.insert(connection, entry, contents)
                for text in notes:
                    note = checked(Note, {"at": now(), "text": text}, "the note")
                    rows.insert_note(connection, number, mark, note)
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
            found = rows.identity_of(connection, number)
            if found is None:
                raise self._nobody(connection, number)
            rows.insert_note(connection, number, found, note)

    def forget(self, number: int) -> int:
        """Take a piece out, and the copies of photographs that no other piece shows.

        Returns
        -------
        int
            How many copies of photographs were deleted.
        """
        with self._open() as connection:
            with writing(connection):
                if rows.identity_of(connection, number) is None:
                    raise self._nobody(connection, number)
                connection.execute("DELETE FROM piece WHERE number = ?", (number,))
                connection.execute(
                    "DELETE FROM content WHERE sha256 NOT IN (SELECT sha256 FROM file)"
                )
            # Only now: were we ended before the line above was saved, the piece would still be
            # there and should have its photographs. Nobody can save one while we hold the lock.
            with writing(connection):
                shown_still = connection.execute("SELECT DISTINCT sha256 FROM photo").fetchall()
                return sweep(self.photos, [row[0] for row in shown_still])

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
                    kept = piece.number if piece.number > rows.highest(connection) else None
                    number = rows.insert(connection, piece, piece.contents, kept)
                    done.added.append((piece.number, number))
                else:
                    number, done.known = row[0], done.known + 1
                fresh = sum(
                    rows.insert_note(connection, number, mark, each) for each in piece.notes
                )
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
            return rows.read(connection, self.path)

    def piece(self, number: int) -> Piece:
        """Return one piece.

        Raises
        ------
        FileError
            No piece has that number.
        """
        with self._open() as connection, reading(connection):
            found = rows.read(connection, self.path, number) if 0 < number < 2**63 else ()
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
