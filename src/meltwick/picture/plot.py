"""A plain plot: shares of every hand against a key, with the middle hands joined."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from PIL import Image, ImageDraw

from meltwick.picture import draw
from meltwick.picture.preview import INK, PAPER

_FINE = 3  # the plot is drawn so many times finer and made smaller, for smooth edges
_LINES = (
    (74, 66, 58),
    (176, 92, 60),
    (58, 112, 128),
    (128, 104, 40),
    (116, 72, 116),
    (90, 120, 72),
)
"""sRGB of the lines: ink, and five earths that keep apart in grey too."""
_GRID = (220, 211, 198)
_DOT = 5  # [px]


@dataclass(frozen=True)
class Line:
    """One row of settings: its name, and what every hand gave at each."""

    name: str
    values: Sequence[Sequence[float]]  # of each setting, of each hand, 0..1
    middle: Sequence[float]


@dataclass(frozen=True)
class Plot:
    """Shares against one key."""

    key: str
    what: str  # of what the share is: white
    ticks: Sequence[str]  # the key's values as written
    places: Sequence[float]  # where they stand, 0..1
    lines: Sequence[Line]


def places_of(numbers: Sequence[float | None]) -> list[float]:
    """Place values from left to right, 0..1: to scale where all are numbers that rise or fall."""
    count = len(numbers)
    known = [number for number in numbers if number is not None]
    rising = sorted(known) in (list(known), list(reversed(known)))
    if len(known) == count > 1 and rising and len(set(known)) == count:
        low, high = min(known), max(known)
        found = [(number - low) / (high - low) for number in known]
        steps = [abs(b - a) for a, b in pairwise(found)]
        if min(steps) > 0.04:  # or their words would lie on each other
            return found
    return [(n + 0.5) / count for n in range(count)]


def _top(plot: Plot) -> float:
    most = max(max(hands) for line in plot.lines for hands in line.values)
    return next(top for top in (0.1, 0.2, 0.4, 0.6, 0.8, 1.0) if most <= top * 0.98 or top == 1.0)


def draw_plot(sheet: Image.Image, box: tuple[int, int, int, int], plot: Plot) -> Image.Image:
    """Draw a plot into a box (left, top, right, low) [px] of a sheet; returns the sheet."""
    left, top, right, low = box
    wide, tall = right - left, low - top
    fine = Image.new("RGB", (wide * _FINE, tall * _FINE), PAPER)
    pen, most = ImageDraw.Draw(fine), _top(plot)
    inset = 0.04 * wide

    def spot(place: float, share: float) -> tuple[float, float]:
        x = inset + place * (wide - 2 * inset)
        return x * _FINE, (1.0 - share / most) * (tall - 2) * _FINE + _FINE

    for part in range(5):
        _, y = spot(0.0, most * part / 4)
        pen.line((0, y, wide * _FINE, y), fill=_GRID if part else INK, width=_FINE)
    for colour, line in zip(_cycle(len(plot.lines)), plot.lines, strict=True):
        marks = [spot(*at) for at in zip(plot.places, line.middle, strict=True)]
        pen.line(marks, fill=colour, width=2 * _FINE, joint="curve")
        for place, hands in zip(plot.places, line.values, strict=True):
            for share in hands:
                x, y = spot(place, share)
                r = _DOT * _FINE / 2
                pen.ellipse((x - r, y - r, x + r, y + r), outline=colour, width=_FINE)
        for x, y in marks:
            r = 0.7 * _DOT * _FINE
            pen.ellipse((x - r, y - r, x + r, y + r), fill=colour)
    sheet.paste(fine.reduce(_FINE), (left, top))
    _words(sheet, box, plot, most, inset)
    return sheet


def _cycle(count: int) -> list[tuple[int, int, int]]:
    return [_LINES[n % len(_LINES)] for n in range(count)]


def _words(
    sheet: Image.Image,
    box: tuple[int, int, int, int],
    plot: Plot,
    most: float,
    inset: float,
) -> None:
    left, top, right, low = box
    pen = ImageDraw.Draw(sheet)
    small, usual = draw.type_face(16), draw.type_face(18)
    for part in range(5):
        y = low - (low - top) * part / 4
        said = f"{100 * most * part / 4:.3g} %"
        pen.text((left - 10, y), said, fill=INK, font=small, anchor="rm")
    for place, word in zip(plot.places, plot.ticks, strict=True):
        x = left + inset + place * (right - left - 2 * inset)
        room = (right - left) / max(1, len(plot.ticks)) - 6
        said = draw.fit_text(word, 16, max(room, 60.0))
        pen.text((x, low + 10), said, fill=INK, font=small, anchor="ma")
    under = low + 44
    pen.text(((left + right) / 2, under), plot.key, fill=INK, font=usual, anchor="ma")
    pen.text((left - 10, top - 14), plot.what, fill=INK, font=small, anchor="rs")
    x = float(right)
    if len(plot.lines) > 1:
        for colour, line in reversed(list(zip(_cycle(len(plot.lines)), plot.lines, strict=True))):
            pen.text((x, top - 14), line.name, fill=colour, font=small, anchor="rs")
            x -= small.getlength(line.name) + 24
