"""The calendar as an iCalendar text (RFC 5545), for a telephone or a calendar program.

Times are floating: nine in the morning is nine wherever it is read, in summer and in winter.
"""

from __future__ import annotations

import re
import uuid
from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, time

from meltwick.errors import PlanError
from meltwick.workshop.jobs import Entry, together

LONG = 3600.0  # [s] waits this long are shown
BELL = 15  # [min] before a step that is to be reminded of
_WIDEST = 75  # octets in a line (RFC 5545, 3.1)
_NAMES = uuid.UUID("6f1c9f0e-5c0b-5d7c-9a55-0d2b7a3e4c11")  # made up once


def as_ics(entries: Sequence[Entry], name: str, stamp: datetime | None = None) -> str:
    """Write an event for every step by hand, and a transparent one for every long wait.

    What is done to several pieces at once, as a wash load is, is one event.

    Parameters
    ----------
    entries : sequence of Entry
        From `calendar.fit`.
    name : str
        Of the collection. The same name, piece, round and step give the same event, so that a
        calendar that is read again moves its events.
    stamp : datetime, optional
        When it was made; by default midnight, in UTC, of the day on which it starts.

    Returns
    -------
    str
        With CRLF at the end of every line; it is to be written as UTF-8.

    Raises
    ------
    PlanError
        ``stamp`` knows no time zone.
    """
    if stamp is None and entries:
        stamp = datetime.combine(min(e.start for e in entries).date(), time(), UTC)
    if stamp is not None and stamp.tzinfo is None:
        raise PlanError("stamp: a time without a zone is no instant; give it one, such as UTC")
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//meltwick//collection//EN",
        "CALSCALE:GREGORIAN",
        f"X-WR-CALNAME:{escaped(name)}",
    ]
    if stamp is not None:
        made = f"{stamp.astimezone(UTC):%Y%m%dT%H%M%SZ}"
        for first, uid, company in _events(entries, name):
            lines += _event(first, uid, company, made)
    lines.append("END:VCALENDAR")
    return "".join(folded(line) + "\r\n" for line in lines)


def _events(entries: Sequence[Entry], name: str) -> Iterator[tuple[Entry, str, tuple[str, ...]]]:
    """Yield what is shown: an entry, its identifier, and whose it is."""
    turns: Counter[tuple[str, int, str]] = Counter()
    for entry, company in together(entries):
        thing = entry.piece, entry.round, entry.step
        turns[thing] += 1  # a step may come twice in a round
        if entry.hands or (entry.end - entry.start).total_seconds() >= LONG:
            said = "\x1f".join((name, *map(str, thing), str(turns[thing])))
            yield entry, str(uuid.uuid5(_NAMES, said)), company


def _event(entry: Entry, uid: str, company: Sequence[str], made: str) -> list[str]:
    summary = escaped(f"{entry.step}: {', '.join(company)}")
    lines = [
        "BEGIN:VEVENT",
        f"UID:{uid}",
        f"DTSTAMP:{made}",
        f"DTSTART:{entry.start:%Y%m%dT%H%M%S}",
        f"DTEND:{entry.end:%Y%m%dT%H%M%S}",
        f"SUMMARY:{summary}",
        f"TRANSP:{'OPAQUE' if entry.hands else 'TRANSPARENT'}",
    ]
    if entry.where:
        lines.append(f"LOCATION:{escaped(entry.where)}")
    told = f"round {entry.round}" + (f"; {entry.note}" if entry.note else "")
    lines.append(f"DESCRIPTION:{escaped(told)}")
    if entry.remind:
        lines += [
            "BEGIN:VALARM",
            "ACTION:DISPLAY",
            f"TRIGGER:-PT{BELL}M",
            f"DESCRIPTION:{summary}",
            "END:VALARM",
        ]
    return [*lines, "END:VEVENT"]


def escaped(text: str) -> str:
    """Write a text as a value (RFC 5545, 3.3.11); characters that none may hold are left out."""
    text = re.sub(r"([\\;,])", r"\\\1", text)
    text = re.sub(r"\r\n?|\n", r"\\n", text)
    return re.sub(r"[\x00-\x08\x0b-\x1f\x7f\ud800-\udfff]", "", text)


def folded(line: str) -> str:
    """Break a line so that no part is longer than 75 octets, and no character is cut."""
    parts, part, room = [], "", _WIDEST
    for letter in line:
        size = len(letter.encode())
        if size > room:
            parts.append(part)
            part, room = "", _WIDEST - 1  # a space begins every further line
        part += letter
        room -= size
    return "\r\n ".join((*parts, part))
