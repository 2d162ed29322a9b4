"""The contact sheet: many pieces side by side, each with its words and a bar of its shares."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from PIL import Image, ImageDraw

from meltwick.picture import draw
from meltwick.picture.hands import resized
from meltwick.picture.plot import Plot, draw_plot
from meltwick.picture.preview import DPI, INK, MARGIN, PAPER, as_picture, paint_body, piece_shape

if TYPE_CHECKING:
    from meltwick.types import Result

_WIDE = 1600  # [px] of the sheet
_GAP = 40  # [px] between pieces
_TITLE, _FOOT = 100, 36  # [px]
_MOST_ACROSS = {True: 4, False: 6}
"""Pieces in a row: of broad ones, front and back side by side, and of narrow ones."""
_LARGEST = 480  # [px] a piece's place is no wider
_TALLEST = 0.62  # of its width, a piece's place among broad ones; chosen
_FINER = 1.6
"""A piece is painted so many times as large as it is shown."""
_BAR, _WORDS = 14, 62  # [px] height of the bar, and of two lines of words under it
_LINE = 24  # [px] of each further line of a label
_CHIP = 26  # [px] side of a chip of colour
_PLOT = 400  # [px] height of the plot

TINTS = {
    "white": (253, 252, 249),
    "pale": (226, 214, 198),
    "mid": (170, 152, 134),
    "deep": (96, 82, 70),
}
"""sRGB of the four classes in bars: steps of one warm grey, white as undyed cloth."""


@dataclass(frozen=True)
class Tile:
    """One piece of the sheet."""

    result: Result
    label: str
    line: str
    shares: Sequence[float]  # white, pale, mid, deep; 0..1, together 1
    low: float  # white share of the darkest hand
    high: float  # of the lightest
    chips: Sequence[tuple[float, ...]] = ()  # sRGB 0..1 of its colours, under the words
    note: str = ""  # a further line of words


@dataclass(frozen=True)
class _Grid:
    """Where the tiles go [px]."""

    columns: int
    wide: int
    tall: int
    left: int
    words: int

    def corner(self, number: int) -> tuple[int, int]:
        row, column = divmod(number, self.columns)
        x = self.left + column * (self.wide + _GAP)
        return x, _TITLE + row * (self.tall + _BAR + self.words + _GAP)

    def low(self, count: int) -> int:
        """Lower edge of so many tiles."""
        return self.corner(self.columns * math.ceil(count / self.columns))[1]


def columns_for(count: int, broad: bool) -> int:
    """Choose how many pieces stand side by side, so that the last row is not nearly empty."""
    rows = math.ceil(count / _MOST_ACROSS[broad])
    return math.ceil(count / rows)


def draw_contact(
    tiles: Sequence[Tile],
    title: str,
    *,
    columns: int | None = None,
    plot: Plot | None = None,
    lines: int = 1,
) -> Image.Image:
    """Draw pieces in rows, each with its label, its bar of shares, and a plot below all.

    Parameters
    ----------
    tiles : sequence of Tile
        Row after row.
    title : str
        One line above them.
    columns : int, optional
        Pieces in a row; by default as many as keep the rows even.
    plot : Plot, optional
        Drawn below the pieces.
    lines : int
        Lines that a label may take; what is still too long is shortened.

    Returns
    -------
    PIL.Image.Image
        RGB, 1600 px wide; the same bytes for the same pieces.
    """
    shapes = [piece_shape(tile.result) for tile in tiles]
    broad = sum(across > 1.3 * down for across, down in shapes) > len(shapes) / 2
    across = columns or columns_for(len(tiles), broad)
    wide = min(_LARGEST, (_WIDE - 2 * MARGIN - (across - 1) * _GAP) // across)
    most = round(_TALLEST * wide) if broad else None
    painted = [
        _piece(tile.result, shape, wide, most) for tile, shape in zip(tiles, shapes, strict=True)
    ]
    left = (_WIDE - across * wide - (across - 1) * _GAP) // 2
    room = wide + _GAP - 8
    labels = [_wrapped(tile.label, 20, room, lines) for tile in tiles]
    further = max(map(len, labels)) - 1 + any(tile.note for tile in tiles)
    chips = _CHIP + 14 if any(tile.chips for tile in tiles) else 0
    words = _WORDS + _LINE * further + chips
    grid = _Grid(across, wide, max(piece.height for piece in painted), left, words)
    low = grid.low(len(tiles))
    sheet = Image.new("RGB", (_WIDE, low + (_PLOT if plot else 0) + _FOOT), PAPER)
    pen = ImageDraw.Draw(sheet)
    _write(pen, (MARGIN, 56), title, 24, "ls", _WIDE - 2 * MARGIN)
    for number, (tile, piece) in enumerate(zip(tiles, painted, strict=True)):
        x, y = grid.corner(number)
        sheet.paste(piece, (x + (wide - piece.width) // 2, y + (grid.tall - piece.height) // 2))
        _bar(sheet, (x, y + grid.tall + 4, x + wide, y + grid.tall + 4 + _BAR), tile)
        base = y + grid.tall + _BAR + 32
        for line in labels[number]:
            _write(pen, (x + wide // 2, base), line, 20, "ms", room)
            base += _LINE
        _write(pen, (x + wide // 2, base + 1), tile.line, 16, "ms", room)
        if tile.note:
            base += _LINE
            _write(pen, (x + wide // 2, base + 1), tile.note, 16, "ms", room)
        _chips(pen, x + wide // 2, base + 18, tile)
    if plot:
        box = (MARGIN + 60, low + 10, _WIDE - MARGIN, low + _PLOT - 70)
        sheet = draw_plot(sheet, box, plot)
    sheet.info["dpi"] = (DPI, DPI)
    return sheet


def _piece(result: Result, shape: tuple[int, int], wide: int, most: int | None) -> Image.Image:
    """Paint a piece, with the paper about it, so wide, or as tall as it may be.

    It is painted somewhat larger, for its thread and its edges, and made smaller.
    """
    width, height = shape
    scale = wide / width if most is None else min(wide / width, most / height)
    pieces = paint_body(result, plain=False, size=min(1.0, _FINER * scale)).pieces
    return as_picture(
        resized(pieces, (max(1, round(scale * width)), max(1, round(scale * height))))
    )


def _wrapped(text: str, px: int, room: float, most: int) -> list[str]:
    """Break a text behind its commas, into so many lines at most."""
    face, lines = draw.type_face(px), [""]
    for part in text.split(", "):
        longer = f"{lines[-1]}, {part}" if lines[-1] else part
        if len(lines) < most and lines[-1] and face.getlength(f"{longer},") > room:
            lines[-1] += ","
            lines.append(part)
        else:
            lines[-1] = longer
    return lines


def _write(
    pen: ImageDraw.ImageDraw, at: tuple[float, float], text: str, px: int, anchor: str, room: float
) -> None:
    pen.text(at, draw.fit_text(text, px, room), fill=INK, font=draw.type_face(px), anchor=anchor)


def _chips(pen: ImageDraw.ImageDraw, middle: int, top: int, tile: Tile) -> None:
    """Draw a row of chips of colour about a middle."""
    left = middle - len(tile.chips) * (_CHIP + 6) // 2 + 3
    for number, chip in enumerate(tile.chips):
        x = left + number * (_CHIP + 6)
        fill = tuple(round(255 * part) for part in chip)
        pen.rectangle((x, top, x + _CHIP, top + _CHIP), fill=fill, outline=INK)


def _bar(sheet: Image.Image, box: tuple[int, int, int, int], tile: Tile) -> None:
    """Draw the four shares one after another, and over the white's end how far hands differ."""
    left, top, right, low = box
    pen, at, wide = ImageDraw.Draw(sheet), float(left), right - left
    for tint, share in zip(TINTS.values(), tile.shares, strict=True):
        end = at + share * wide
        if round(end) > round(at):
            pen.rectangle((round(at), top, round(end) - 1, low - 1), fill=tint)
        at = end
    pen.rectangle((left, top, right - 1, low - 1), outline=INK)
    ends = [left + share * wide for share in (tile.low, tile.high)]
    if ends[1] - ends[0] >= 1.0:
        middle = (top + low) / 2.0
        pen.line((ends[0], middle, ends[1], middle), fill=INK, width=2)
        for end in ends:
            pen.line((end, middle - 4, end, middle + 4), fill=INK, width=2)
