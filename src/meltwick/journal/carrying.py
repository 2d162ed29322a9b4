"""Pieces out of a journal and into another: JSON, a table, and whole copies."""

from __future__ import annotations

import base64
import contextlib
import csv
import io
import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from meltwick.errors import FileError
from meltwick.journal.backups import copy_database, remember_backup, spare_name, sync_folder, tidy
from meltwick.journal.book import Journal, now
from meltwick.journal.faults import shown, worded
from meltwick.journal.opening import opened
from meltwick.journal.photographs import keep_photo, kept_photo, photo_folder
from meltwick.journal.records import Entry, Note, Piece, checked, document, plain, sha256
from meltwick.journal.schema import MOST
from meltwick.stock.reading import one_line
from meltwick.workshop.table import plain as safe

SCHEMA = 1
KIND = "meltwick journal"
LARGEST = 1_000_000_000  # [bytes] of a file that is read back

# ------------------------------------------------------------------------------------- JSON


def as_json(pieces: Sequence[Piece]) -> str:
    """Write pieces whole: plans, the files that they name, outcomes and notes.

    Photographs are named by their hash; their bytes lie elsewhere.
    """
    contents = {digest: each for piece in pieces for digest, each in piece.contents.items()}
    whole = {
        "kind": KIND,
        "schema": SCHEMA,
        "exported": now(),
        "pieces": [
            {"number": piece.number}
            | document(piece)
            | {"notes": [plain(note) for note in piece.notes]}
            for piece in pieces
        ],
        "contents": {digest: _written(contents[digest]) for digest in sorted(contents)},
    }
    return json.dumps(whole, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _written(content: bytes) -> str | dict[str, str]:
    try:
        return content.decode()
    except UnicodeDecodeError:
        return {"base64": base64.b64encode(content).decode()}


def from_json(text: str, where: str) -> tuple[Piece, ...]:
    """Read what `as_json` wrote.

    Parameters
    ----------
    text : str
    where : str
        Name of the file, for messages.

    Raises
    ------
    FileError
        It is not that, a newer program wrote it, or something in it is wrong: one line.
    """
    where = one_line(where)
    try:
        whole = json.loads(text)
    except (ValueError, RecursionError):
        raise FileError(
            f"{where} is not JSON, or not all of it; name a file that meltwick journal export "
            "--json wrote"
        ) from None
    if not isinstance(whole, dict) or whole.get("kind") != KIND:
        raise FileError(
            f"{where} is not an exported journal; name a file that meltwick journal export --json "
            "wrote"
        )
    schema = whole.get("schema")
    if isinstance(schema, int) and schema > SCHEMA:
        raise FileError(
            f"{where}: schema {str(schema)[:9]} is newer than this version of meltwick reads "
            f"({SCHEMA}); bring meltwick up to date"
        )
    rows, kept = whole.get("pieces"), whole.get("contents")
    if schema != SCHEMA or not isinstance(rows, list) or not isinstance(kept, dict):
        raise FileError(f"{where}: schema, pieces or contents is missing or of another kind")
    contents = {digest: _content(digest, each, where) for digest, each in kept.items()}
    return tuple(_piece(row, contents, f"{where}, piece {n}") for n, row in enumerate(rows, 1))


def _content(digest: str, said: object, where: str) -> bytes:
    found = None
    with contextlib.suppress(ValueError, TypeError, KeyError):
        found = said.encode() if isinstance(said, str) else base64.b64decode(said["base64"])  # type: ignore[index]
    if found is None or sha256(found) != digest:
        raise FileError(f"{where}: the kept file {digest[:12]} was changed or is damaged")
    return found


def _piece(row: object, contents: Mapping[str, bytes], where: str) -> Piece:
    if not isinstance(row, dict):
        raise FileError(f"{where}: it is no piece")
    rest = dict(row)
    number, notes = rest.pop("number", 0), rest.pop("notes", [])
    if type(number) is not int or not 0 <= number < MOST or not isinstance(notes, list):
        raise FileError(f"{where}: number is no whole number from 0 on, or notes is no list")
    entry: Entry = checked(Entry, rest, where)
    if sha256(entry.canonical.encode()) != entry.digest:
        raise FileError(f"{where}: digest is not that of canonical; one of them was changed")
    needed = (*entry.kept.values(), *entry.kept_stock.values())
    if missing := [digest for digest in needed if digest not in contents]:
        raise FileError(f"{where}: contents lacks {missing[0][:12]}, a file that its plan names")
    read = tuple(checked(Note, note, f"{where}, note {n}") for n, note in enumerate(notes, 1))
    own = {digest: contents[digest] for digest in needed}
    return Piece(**vars(entry), number=number, notes=read, contents=own)


# ------------------------------------------------------------------------------------ table

_HEAD = (
    *("number", "made on", "name", "plan", "fold", "seed", "predicted white %", "lowest hand %"),
    *("highest hand %", "measured white %", "margin points", "how", "measured minus predicted"),
    *("cost", "photographs", "notes", "digest"),
)


def as_csv(pieces: Sequence[Piece]) -> str:
    """Write a row a piece (RFC 4180), shares in per cent; what is not known is an empty cell."""
    stream = io.StringIO()
    table = csv.writer(stream, lineterminator="\r\n")
    table.writerow(_HEAD)
    for piece in pieces:
        expected, found = piece.prediction, piece.outcome
        shares: list[float | None] = [None] * 3
        apart = None
        if expected is not None:
            shares = [expected.white, expected.low, expected.high]
            apart = found.white_share - expected.white
        row = [
            str(piece.number),
            piece.made_on.isoformat(),
            safe(piece.name),
            safe(piece.plan_name),
            safe(piece.fold),
            str(piece.seed),
            *map(_percent, shares),
            _percent(found.white_share),
            _percent(found.white_margin),
            found.how,
            _percent(apart),
            safe("; ".join(costs_told(piece))),
            safe(", ".join(photo.file for photo in piece.photos)),
            safe(" / ".join(" ".join(note.text.split()) for note in piece.notes)),
            piece.digest,
        ]
        table.writerow(row)
    return stream.getvalue()


def _percent(share: float | None) -> str:
    return "" if share is None else f"{100 * share:.1f}"


def costs_told(piece: Piece) -> list[str]:
    """Say what a piece cost in all, an amount a currency: 12.50 EUR."""
    sums: dict[str, Any] = {}
    for cost in piece.costs:
        sums[cost.currency] = sums.get(cost.currency, 0) + cost.value
    return [f"{amount} {currency}".strip() for currency, amount in sums.items()]


# ----------------------------------------------------------------------------------- copies


def copy_photos(journal: Journal, pieces: Sequence[Piece], folder: Path) -> tuple[int, int]:
    """Copy the photographs of some pieces into a folder; say how many are there, how many lack."""
    there = lacking = 0
    with worded(folder):
        for digest in dict.fromkeys(photo.sha256 for each in pieces for photo in each.photos):
            found = kept_photo(journal.photos, digest)
            content = found.read_bytes() if found is not None else b""
            if found is None or sha256(content) != digest:
                lacking += 1
                continue
            keep_photo(folder, content, found.name)
            there += 1
    return there, lacking


@dataclass(frozen=True)
class Saved:
    """What a backup holds."""

    pieces: int
    photos: int
    lacking: int  # photographs that are known by their hash alone


def backup(journal: Journal, path: Path, on: date) -> Saved:
    """Copy a journal whole, and its photographs into the folder beside the copy.

    A backup of before is replaced if all its pieces are in the journal; any other file is not.

    Raises
    ------
    FileError
        There is another file of that name, or a backup with pieces that the journal lacks.
    """
    path = Path(os.path.realpath(path))
    if path == journal.path:
        raise FileError(f"{shown(path)} is the journal itself; name another file for its backup")
    spare = spare_name(path)
    with worded(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        tidy(path)
        try:
            with opened(journal.path, wait=journal.wait) as connection:
                copy_database(connection, spare, journal.wait)
            whole = Journal(spare).pieces()
            _see_that_it_may_go(path, whole)
            there, lacking = copy_photos(journal, whole, photo_folder(path))
            os.replace(spare, path)
        finally:
            with contextlib.suppress(OSError):
                spare.unlink(missing_ok=True)
        sync_folder(path.parent)
    remember_backup(journal.path, path, on)
    return Saved(len(whole), there, lacking)


def _see_that_it_may_go(path: Path, whole: Sequence[Piece]) -> None:
    """Refuse to replace anything but a backup that has nothing of its own."""
    before = Journal(path)
    try:
        there = before.pieces() if before.exists() else ()
    except FileError:
        raise FileError(
            f"{shown(path)} is another file, or a damaged journal; it was left as it is; name "
            "another file for the backup"
        ) from None
    ours = {piece.identity for piece in whole}
    lost = [each.number for each in there if each.identity not in ours]
    if lost:
        raise FileError(
            f"{shown(path)} is a journal with pieces that this one lacks, such as its piece "
            f"{lost[0]}; name another file for the backup"
        )
