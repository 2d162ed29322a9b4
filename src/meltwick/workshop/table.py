"""The calendar as a table that a spreadsheet opens."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from meltwick.workshop.jobs import Entry

HEAD = ("start", "end", "piece", "round", "step", "by hand", "where", "load", "ice kg", "note")
_FORMULA = tuple("=+-@\t\r\n＝＋－＠")  # what a spreadsheet may take a formula to begin with


def plain(text: str) -> str:
    """Put an apostrophe before a text that a spreadsheet would read as a formula."""
    return f"'{text}" if text.lstrip(" ").startswith(_FORMULA) else text


def as_csv(entries: Sequence[Entry]) -> str:
    """Write one row for each entry (RFC 4180), dates as in ISO 8601."""
    stream = io.StringIO()
    table = csv.writer(stream, lineterminator="\r\n")
    table.writerow(HEAD)
    for entry in entries:
        table.writerow(
            (
                entry.start.isoformat(),
                entry.end.isoformat(),
                plain(entry.piece),
                entry.round,
                plain(entry.step),
                "yes" if entry.hands else "no",
                plain(entry.where),
                entry.load or "",
                f"{entry.ice:g}" if entry.ice else "",
                plain(entry.note),
            )
        )
    return stream.getvalue()
