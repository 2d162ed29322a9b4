"""The calendar as a sheet for the wall: days across, a row for each piece, and a list by day."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from itertools import groupby, pairwise
from typing import TYPE_CHECKING

from PIL import Image, ImageDraw

from meltwick.picture import draw
from meltwick.picture.preview import BETWEEN, DPI, INK, LONG_SIDE, MARGIN, PAPER, as_file
from meltwick.workshop.jobs import MARK, WEEKDAYS, day_name, together
from meltwick.workshop.ledger import day_hours

if TYPE_CHECKING:
    from meltwick.workshop.jobs import Entry, Workshop

Colour = tuple[float, float, float]
_Box = tuple[float, float, float, float]

_NAMES = 176  # [px] for the pieces' names
_LEFT = MARGIN + _NAMES
_WIDE = LONG_SIDE - MARGIN - _LEFT  # [px] for the days
_ACROSS = 14  # [days] in a band; a longer calendar goes on below
_HEAD, _ROW, _APART = 40, 66, 34  # [px] a band's dates, a piece, between bands
_BAR, _TICK = 26, 36  # [px] height of a wait and of work by hand
_THIN = 3  # [px] the least width of work by hand
_LINE = 25  # [px] of the list
_TITLE, _FOOT = 92, 76  # [px]
_OPEN, _SHUT = (253, 250, 244), (236, 229, 217)  # sRGB of the hours that are worked, and others
_RULE = (211, 201, 187)


def clock(at: datetime) -> str:
    """Say a time of the day: ``9:05``."""
    return f"{at.hour}:{at.minute:02}"


@dataclass(frozen=True)
class _Band:
    """Some days in a row and the pieces that are worked on in them."""

    first: date
    days: int
    pieces: Sequence[str]
    top: int

    @property
    def low(self) -> int:
        """Lower edge [px]."""
        return self.top + _HEAD + _ROW * len(self.pieces)

    def x(self, at: datetime) -> float:
        """Where a time lies across [px], kept within the band."""
        days = (at - datetime.combine(self.first, time())).total_seconds() / 86400.0
        return _LEFT + _WIDE * min(max(days / self.days, 0.0), 1.0)

    def shows(self, entry: Entry) -> bool:
        """Whether any of an entry falls into the band."""
        begin = datetime.combine(self.first, time())
        return entry.end > begin and entry.start < begin + timedelta(days=self.days)


def _bands(entries: Sequence[Entry]) -> list[_Band]:
    """Cut the days into bands of a fortnight; one in which nothing happens is left out."""
    first = min(e.start for e in entries).date()
    last = (max(e.end for e in entries) - timedelta(seconds=1)).date()
    count = (last - first).days + 1
    order = list(dict.fromkeys(e.piece for e in entries))
    bands: list[_Band] = []
    top = _TITLE
    for n in range(0, count, _ACROSS):
        band = _Band(first + timedelta(days=n), min(_ACROSS, count), order, top)
        here = {e.piece for e in entries if band.shows(e)}
        if here:
            bands.append(replace(band, pieces=[name for name in order if name in here]))
            top = bands[-1].low + _APART
    return bands


def draw_days(
    entries: Sequence[Entry],
    workshop: Workshop,
    colours: Mapping[str, Colour] | Callable[[str], Colour],
    title: str,
) -> Image.Image:
    """Draw a calendar.

    Hours that are worked are light. A dark mark is work by hand; a bar is a step that needs no
    hands, the longest of a round in the piece's full colour; a thin line is waiting.

    Parameters
    ----------
    entries : sequence of Entry
        From `workshop.calendar.fit`; at least one.
    workshop : Workshop
        Tells which hours are worked.
    colours : mapping or callable
        From a piece's name to its sRGB colour, 0..1.
    title : str
        One line above.

    Returns
    -------
    PIL.Image.Image
        RGB, 1600 px wide, as tall as it must be; the same bytes for the same calendar.
    """
    look = colours if callable(colours) else colours.__getitem__
    shades = {name: look(name) for name in dict.fromkeys(e.piece for e in entries)}
    bands = _bands(entries)
    listed = [(day, list(_lines(work))) for day, work in _by_day(entries)]
    top = bands[-1].low + 44
    height = top + sum(_LINE * len(lines) + 10 for _, lines in listed) + _FOOT
    sheet = Image.new("RGB", (LONG_SIDE, round(height)), PAPER)
    pen = ImageDraw.Draw(sheet)
    _write(pen, (MARGIN, 54), title, 24, LONG_SIDE - 2 * MARGIN)
    for band in bands:
        _ground(pen, band, workshop)
        for number, piece in enumerate(band.pieces):
            mine = [e for e in entries if e.piece == piece]
            _row(pen, band, number, mine, shades[piece])
    for day, lines in listed:
        _write(pen, (MARGIN, top + 17), day_name(day), 16, _NAMES)
        for line in lines:
            _say(pen, line, top + 17, shades)
            top += _LINE
        top += 10
    _write(pen, (LONG_SIDE - MARGIN, height - 30), caption(entries), 18, LONG_SIDE, "rs")
    sheet.info["dpi"] = (DPI, DPI)
    return sheet


def caption(entries: Sequence[Entry]) -> str:
    """Say what a calendar comes to: when all is ready, hours by hand, wash loads."""
    ready = max(e.end for e in entries)
    work = sum((e.end - e.start).total_seconds() for e, _ in together(entries) if e.hands) / 3600.0
    loads = max(e.load for e in entries)
    parts = [f"all ready {day_name(ready.date())} {clock(ready)}", f"{work:.0f} h by hand"]
    if loads:
        parts.append("one wash load" if loads == 1 else f"{loads} wash loads")
    return BETWEEN.join(parts)


def days_png(
    entries: Sequence[Entry],
    workshop: Workshop,
    colours: Mapping[str, Colour] | Callable[[str], Colour],
    *,
    title: str,
    version: str,
) -> bytes:
    """Draw a calendar as a PNG file with its title and the version inside."""
    picture = draw_days(entries, workshop, colours, title)
    return as_file(picture, title, version, {"meltwick-version": version})


def _write(
    pen: ImageDraw.ImageDraw,
    at: tuple[float, float],
    text: str,
    px: int,
    room: float,
    anchor: str = "ls",
    ink: tuple[int, int, int] = INK,
) -> None:
    said = draw.fit_text(_one_line(text), px, room)
    pen.text(at, said, fill=ink, font=draw.type_face(px), anchor=anchor)


def _one_line(text: str) -> str:
    return " ".join(text.splitlines())


# ------------------------------------------------------------------------------ the days


def _ground(pen: ImageDraw.ImageDraw, band: _Band, workshop: Workshop) -> None:
    """Lay out days and hours, and name both."""
    right = _LEFT + _WIDE
    pen.rectangle((_LEFT, band.top + _HEAD, right, band.low), fill=_SHUT)
    per_day = _WIDE / band.days
    for n in range(band.days):
        day = band.first + timedelta(days=n)
        left = _LEFT + n * per_day
        hours = [mark * MARK / 86400.0 for mark in day_hours(workshop, day)]
        if hours[1] > hours[0]:
            box = (left + hours[0] * per_day, band.top + _HEAD, left + hours[1] * per_day, band.low)
            pen.rectangle(box, fill=_OPEN)
        pen.line((left, band.top + _HEAD - 8, left, band.low), fill=_RULE)
        at = (left + per_day / 2, band.top + _HEAD - 12)
        said = day_name(day) if n == 0 or day.day == 1 else f"{WEEKDAYS[day.weekday()]} {day.day}"
        _write(pen, at, said, 14, per_day - 2, "ms")
    pen.line((right, band.top + _HEAD - 8, right, band.low), fill=_RULE)
    for number in range(len(band.pieces) + 1):
        y = band.top + _HEAD + number * _ROW
        pen.line((MARGIN, y, right, y), fill=_RULE)


def _row(
    pen: ImageDraw.ImageDraw, band: _Band, number: int, mine: Sequence[Entry], shade: Colour
) -> None:
    """Draw what happens to one piece."""
    middle = band.top + _HEAD + number * _ROW + 25
    _write(pen, (MARGIN, middle + 1), mine[0].piece, 17, _NAMES - 12, "lm")
    whole = _mixed(shade, 1.0)
    for before, after in pairwise(mine):
        left, right = band.x(before.end), band.x(after.start)
        if right > left and before.round == after.round:
            pen.line((left, middle, right, middle), fill=_edge(whole), width=2)
    for _, each in groupby(mine, lambda e: e.round):
        here = list(each)
        longest = max((e.end - e.start for e in here if not e.hands), default=timedelta())
        for entry in here:
            if not entry.hands and band.shows(entry):
                part = 1.0 if entry.end - entry.start == longest else 0.45
                _bar(pen, band, middle, entry, _mixed(shade, part))
    for entry in mine:
        if entry.hands and band.shows(entry):
            left = band.x(entry.start)
            box = (
                left,
                middle - _TICK / 2,
                max(band.x(entry.end), left + _THIN),
                middle + _TICK / 2,
            )
            pen.rectangle(box, fill=INK)
    _where(pen, band, middle + _TICK / 2 + 16, mine)


def _bar(
    pen: ImageDraw.ImageDraw, band: _Band, middle: float, entry: Entry, fill: tuple[int, int, int]
) -> None:
    left, right = band.x(entry.start), band.x(entry.end)
    box = (left, middle - _BAR / 2, max(right, left + 1), middle + _BAR / 2)
    pen.rectangle(box, fill=fill, outline=_edge(fill))
    said = f"load {entry.load}" if entry.load else entry.step
    if draw.type_face(14).getlength(said) <= right - left - 10:
        ink = PAPER if _dark(fill) else INK
        _write(pen, ((left + right) / 2, middle), said, 14, right - left, "mm", ink)


def _where(pen: ImageDraw.ImageDraw, band: _Band, base: float, mine: Sequence[Entry]) -> None:
    """Name below the bars what a piece lies on and round, once for as long as it does."""
    waits = [e for e in mine if not e.hands and e.holds and not e.load and band.shows(e)]
    spans = []
    for where, each in groupby(waits, lambda e: e.where):
        here = list(each)
        spans.append((band.x(here[0].start), band.x(here[-1].end), where))
    for number, (left, right, where) in enumerate(spans):
        after = spans[number + 1][0] if number + 1 < len(spans) else _LEFT + _WIDE
        if right - left > 40.0:
            _write(pen, (left, base), where, 13, max(right, min(after, left + 200.0)) - left - 4)


def _mixed(shade: Colour, part: float) -> tuple[int, int, int]:
    """So much of a colour in paper."""
    mixed = [round(255 * part * c + (1 - part) * p) for c, p in zip(shade, _OPEN, strict=True)]
    return mixed[0], mixed[1], mixed[2]


def _edge(fill: tuple[int, int, int]) -> tuple[int, int, int]:
    """Darken a colour for its outline, so that pale pieces stand out too."""
    edged = [round(0.55 * f + 0.45 * i) for f, i in zip(fill, INK, strict=True)]
    return edged[0], edged[1], edged[2]


def _dark(fill: tuple[int, int, int]) -> bool:
    return 0.30 * fill[0] + 0.59 * fill[1] + 0.11 * fill[2] < 128.0  # luma, ITU-R BT.601


# ------------------------------------------------------------------------------ the list


@dataclass(frozen=True)
class _Words:
    """What is written at a place of a line, after a dot for every piece."""

    dots: tuple[str, ...]
    text: str
    at: float  # [px]


def _by_day(entries: Sequence[Entry]) -> Iterator[tuple[date, list[tuple[Entry, tuple[str, ...]]]]]:
    """Work by hand, day after day."""
    work = [(entry, names) for entry, names in together(entries) if entry.hands]
    for day, each in groupby(work, lambda pair: pair[0].start.date()):
        yield day, list(each)


def _lines(work: Sequence[tuple[Entry, tuple[str, ...]]]) -> Iterator[list[_Words]]:
    """Break a day's work into lines; what follows for the same piece stands together."""
    face, at = draw.type_face(16), 0.0
    line: list[_Words] = []
    for names, each in groupby(work, lambda pair: pair[1]):
        steps = ", ".join(f"{clock(entry.start)} {entry.step}" for entry, _ in each)
        text = _one_line(f"{', '.join(names)}: {steps}")
        text = draw.fit_text(text, 16, _WIDE - 16.0 * len(names))
        wide = 16.0 * len(names) + face.getlength(text) + 30.0
        if line and at + wide - 30.0 > _WIDE:
            yield line
            line, at = [], 0.0
        line.append(_Words(names, text, at))
        at += wide
    if line:
        yield line


def _say(
    pen: ImageDraw.ImageDraw, line: Sequence[_Words], base: float, shades: Mapping[str, Colour]
) -> None:
    for words in line:
        x = _LEFT + words.at
        for name in words.dots:
            fill = _mixed(shades[name], 1.0)
            pen.rectangle((x, base - 11, x + 10, base - 1), fill=fill, outline=_edge(fill))
            x += 16
        pen.text((x, base), words.text, fill=INK, font=draw.type_face(16), anchor="ls")
