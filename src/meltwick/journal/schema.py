"""The journal's tables, and how older ones become these.

Step ``n`` turns version ``n`` into ``n + 1``. A new journal takes every step from the first, so
that one that was brought up to date and one that was begun today are the same.
"""

from __future__ import annotations

import sqlite3
from functools import lru_cache

MARK = 0x6D656C74
"""The application id, which stands in the file's first bytes: "melt"."""

MOST = 2**53
"""Above every number that a piece may have: JSON carries those below it exactly."""

_FIRST = (
    """CREATE TABLE piece (
        number INTEGER PRIMARY KEY AUTOINCREMENT,
        identity TEXT NOT NULL UNIQUE,
        seal TEXT NOT NULL,
        recorded TEXT NOT NULL,
        name TEXT NOT NULL,
        made_on TEXT NOT NULL,
        plan_name TEXT NOT NULL,
        plan_file TEXT NOT NULL,
        plan_text TEXT NOT NULL,
        canonical TEXT NOT NULL,
        digest TEXT NOT NULL,
        seed INTEGER NOT NULL,
        fold TEXT NOT NULL,
        ground TEXT NOT NULL,
        outcome TEXT NOT NULL,
        prediction TEXT
    )""",
    """CREATE TABLE cost (
        piece INTEGER NOT NULL REFERENCES piece (number) ON DELETE CASCADE,
        place INTEGER NOT NULL,
        amount TEXT NOT NULL,
        currency TEXT NOT NULL,
        note TEXT NOT NULL,
        PRIMARY KEY (piece, place)
    )""",
    """CREATE TABLE photo (
        piece INTEGER NOT NULL REFERENCES piece (number) ON DELETE CASCADE,
        place INTEGER NOT NULL,
        sha256 TEXT NOT NULL,
        file TEXT NOT NULL,
        panel TEXT NOT NULL,
        taken TEXT,
        PRIMARY KEY (piece, place)
    )""",
    "CREATE INDEX photo_by_content ON photo (sha256)",
    "CREATE TABLE content (sha256 TEXT PRIMARY KEY, bytes BLOB NOT NULL)",
    """CREATE TABLE file (
        piece INTEGER NOT NULL REFERENCES piece (number) ON DELETE CASCADE,
        kind TEXT NOT NULL CHECK (kind IN ('plan', 'stock')),
        name TEXT NOT NULL,
        sha256 TEXT NOT NULL REFERENCES content (sha256),
        PRIMARY KEY (piece, kind, name)
    )""",
    "CREATE INDEX file_by_content ON file (sha256)",
    """CREATE TABLE note (
        piece INTEGER NOT NULL REFERENCES piece (number) ON DELETE CASCADE,
        at TEXT NOT NULL,
        text TEXT NOT NULL,
        seal TEXT NOT NULL,
        PRIMARY KEY (piece, at, text)
    )""",
)

STEPS: tuple[tuple[str, ...], ...] = (_FIRST,)
"""Statements that bring a journal up by one version each."""


def newest() -> int:
    """Return the version that this program writes."""
    return len(STEPS)


def bring_up(connection: sqlite3.Connection, version: int) -> None:
    """Take every step that is left, inside the transaction that the caller has begun."""
    for step in STEPS[version:]:
        for statement in step:
            connection.execute(statement)
    connection.execute(f"PRAGMA application_id = {MARK}")
    connection.execute(f"PRAGMA user_version = {newest()}")


def shape(connection: sqlite3.Connection) -> dict[str, tuple[tuple[str, str], ...]]:
    """Return each table, index, view and trigger with its columns."""
    query = "SELECT type, name FROM sqlite_master WHERE name NOT LIKE 'sqlite_%' ORDER BY name"
    found = {}
    for kind, name in connection.execute(query).fetchall():
        columns = connection.execute("SELECT name, type FROM pragma_table_info(?)", (name,))
        found[f"{kind} {name}"] = tuple(sorted(columns.fetchall()))
    return found


@lru_cache(maxsize=4)
def _right_shape(steps: tuple[tuple[str, ...], ...], version: int) -> object:
    connection = sqlite3.connect(":memory:", isolation_level=None)
    try:
        for step in steps[:version]:
            for statement in step:
                connection.execute(statement)
        return shape(connection)
    finally:
        connection.close()


def as_it_should_be(connection: sqlite3.Connection, version: int) -> bool:
    """Whether the tables are those of a version, no more and no fewer, and count as they should."""
    if shape(connection) != _right_shape(STEPS, version):
        return False
    last = connection.execute("SELECT seq FROM sqlite_sequence WHERE name = 'piece'").fetchall()
    return all(type(row[0]) is int and 0 <= row[0] < MOST for row in last)
