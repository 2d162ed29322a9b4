"""Pieces as rows of the journal's tables: read with their marks, and written with them."""

from __future__ import annotations

import json
import sqlite3
from collections import defaultdict
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from meltwick.errors import FileError
from meltwick.journal.faults import DamagedError, damaged
from meltwick.journal.records import (
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


def read(connection: sqlite3.Connection, path: Path, only: int | None = None) -> tuple[Piece, ...]:
    """Read every piece, or one, and see that each matches its marks.

    Raises
    ------
    DamagedError
        One does not; the line names it.
    """
    connection.row_factory = sqlite3.Row
    contents = {row["sha256"]: row["bytes"] for row in connection.execute("SELECT * FROM content")}
    for digest, content in contents.items():
        if not isinstance(content, bytes) or sha256(content) != digest:
            raise damaged(path, "a file that it keeps is damaged")
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
        found.append(_piece(path, row, *parts, notes[number], contents))
    return tuple(found)


def _piece(
    path: Path,
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
        sealed = all(each.pop("seal") == _note_seal(mark, each) for each in notes)
        sealed = sealed and row["seal"] == _seal(number, mark)
        if identity(document(entry)) == mark and sealed:
            own_notes = tuple(Note(**each) for each in notes)
            return Piece(**vars(entry), number=number, notes=own_notes, contents=own)
    except (ValueError, KeyError, TypeError, RecursionError, FileError):
        pass  # told below: whatever it was, it is not what was written
    raise DamagedError(
        f"{damaged(path, f'piece {number} in it is damaged')}; or take out that piece "
        f"alone: meltwick journal forget {number} --yes"
    )


def _by_piece(
    connection: sqlite3.Connection, table: str, columns: str, order: str
) -> defaultdict[int, list[dict[str, Any]]]:
    found: defaultdict[int, list[dict[str, Any]]] = defaultdict(list)
    for row in connection.execute(f"SELECT piece, {columns} FROM {table} ORDER BY {order}"):
        each = dict(row)
        found[each.pop("piece")].append(each)
    return found


def refuse_shown(connection: sqlite3.Connection, photos: Sequence[Photo]) -> None:
    """Refuse photographs that are those of another piece."""
    for photo in photos:
        query = "SELECT piece FROM photo WHERE sha256 = ? ORDER BY piece"
        other = connection.execute(query, (photo.sha256,)).fetchone()
        if other is not None:
            raise FileError(
                f"{photo.file} is the photograph of piece {other[0]} already; to record that anew, "
                f"first take it out: meltwick journal forget {other[0]} --yes"
            )


def identity_of(connection: sqlite3.Connection, number: int) -> str | None:
    """Return a piece's mark; None if there is no such piece."""
    if not 0 < number < 2**63:
        return None
    query = "SELECT identity FROM piece WHERE number = ?"
    row = connection.execute(query, (number,)).fetchone()
    return None if row is None else str(row[0])


def highest(connection: sqlite3.Connection) -> int:
    """Return the highest number that was ever given."""
    given = "SELECT seq FROM sqlite_sequence WHERE name = 'piece'"
    there = "SELECT coalesce(max(number), 0) FROM piece"
    return max(int(row[0]) for query in (given, there) for row in connection.execute(query))


def insert(
    connection: sqlite3.Connection,
    entry: Entry,
    contents: Mapping[str, bytes],
    number: int | None = None,
) -> int:
    """Add a piece under a number, by default the next; return the number."""
    found = document(entry)
    mark = identity(found)
    number = number or highest(connection) + 1
    row: dict[str, Any] = {name: found[name] for name in _COLUMNS} | {
        "number": number,
        "identity": mark,
        "seal": _seal(number, mark),
        "outcome": compact(found["outcome"]),
        "prediction": None if found["prediction"] is None else compact(found["prediction"]),
    }
    marks = ", ".join(f":{name}" for name in row)
    connection.execute(f"INSERT INTO piece ({', '.join(row)}) VALUES ({marks})", row)
    for place, cost in enumerate(found["costs"]):
        values = (number, place, cost["amount"], cost["currency"], cost["note"])
        connection.execute("INSERT INTO cost VALUES (?, ?, ?, ?, ?)", values)
    for place, photo in enumerate(found["photos"]):
        photo_row = (number, place, *(photo[key] for key in ("sha256", "file", "panel", "taken")))
        connection.execute("INSERT INTO photo VALUES (?, ?, ?, ?, ?, ?)", photo_row)
    for kind, names in (("plan", entry.kept), ("stock", entry.kept_stock)):
        for name, digest in names.items():
            pair = (digest, contents[digest])
            connection.execute("INSERT OR IGNORE INTO content VALUES (?, ?)", pair)
            connection.execute("INSERT INTO file VALUES (?, ?, ?, ?)", (number, kind, name, digest))
    return number


def _seal(number: int, mark: str) -> str:
    """Bind a number to a piece."""
    return sha256(compact([number, mark]).encode())


def _note_seal(mark: str, note: Mapping[str, Any]) -> str:
    """Bind a note to a piece."""
    return sha256(compact([mark, note["at"], note["text"]]).encode())


def insert_note(connection: sqlite3.Connection, number: int, mark: str, note: Note) -> int:
    """Add a note if it is new; count it."""
    seal = _note_seal(mark, {"at": note.at, "text": note.text})
    values = (number, note.at, note.text, seal)
    return connection.execute("INSERT OR IGNORE INTO note VALUES (?, ?, ?, ?)", values).rowcount
