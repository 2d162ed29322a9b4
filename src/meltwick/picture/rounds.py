"""The piece after each round, and how far each round moved its colour."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image

from meltwick.picture import draw
from meltwick.picture.hands import put
from meltwick.picture.preview import (
    BETWEEN,
    INK,
    LONG_SIDE,
    MARGIN,
    PAPER,
    TOP,
    Unit,
    as_picture,
    as_png,
    bare_paper,
    caption,
    paint_body,
    panel_words,
    write_foot,
    write_quietly,
)

if TYPE_CHECKING:
    from meltwick.picture.draw import Canvas
    from meltwick.types import Floats, Look, Result

MOST = 80.0
"""Difference Delta E*ab at which the ramp ends in ink; chosen."""

MARKS = ((4.3, "just seen"), (16.9, "clear"), (34.1, "strong"))
"""Grades 4, 2 and 1 of the grey scale for staining, ISO 105-A03, in the maker's words."""

_GAP = 72  # [px] between the piece and its difference
_LINE = 40  # [px] under a piece, for its caption
_SPACE = 22  # [px] between rows
_FOOT = 156  # [px] for the key, the scale bar and the caption
_KEY = (420, 12)  # [px] width and height of the key's ramp


def deepening(looks: tuple[Look, ...]) -> list[Floats]:
    """How far each round moved every cell's colour, Delta E*ab (CIE 1976), (N,) a round.

    The first round is compared with the undyed cloth.
    """
    moved = [looks[0].delta]
    for before, after in itertools.pairwise(looks):
        moved.append(np.sqrt(((after.lab - before.lab) ** 2).sum(axis=1)))
    return moved


def ramp(difference: Floats) -> Floats:
    """Colour of a difference, (N, 3) sRGB: from paper, nothing, to ink, `MOST` and more."""
    part = np.clip(np.asarray(difference) / MOST, 0.0, 1.0)[:, None]
    light, dark = (draw.decode(np.array(end) / 255.0).astype(np.float64) for end in (_PALE, INK))
    # even steps of lightness to the eye: linear in the cube root of the light (CIELAB)
    mixed = (np.cbrt(light) * (1.0 - part) + np.cbrt(dark) * part) ** 3
    coded = np.where(mixed <= 0.0031308, 12.92 * mixed, 1.055 * mixed ** (1 / 2.4) - 0.055)
    return np.asarray(np.clip(coded, 0.0, 1.0))


_PALE = tuple(min(255, part + 6) for part in PAPER)  # a little lighter than the sheet


@dataclass(frozen=True)
class _Grid:
    """A row a round: the piece on the left, what the round changed on the right."""

    width: int
    height: int
    scale: float
    lefts: tuple[float, float]
    tops: tuple[float, ...]


def _grid(wide: float, tall: float, rows: int) -> _Grid:
    """Place the pieces; sizes of one on a sheet of its own [px]."""
    across = (LONG_SIDE - 2 * MARGIN - _GAP) / (2 * wide)
    room = LONG_SIDE - TOP - _FOOT - rows * _LINE - (rows - 1) * _SPACE
    scale = min(across, room / (rows * tall))
    height = TOP + rows * (scale * tall + _LINE) + (rows - 1) * _SPACE + _FOOT
    width = max(2 * scale * wide + _GAP + 2 * MARGIN, _LEAST)
    width, high = (LONG_SIDE, round(height)) if width >= height else (round(width), LONG_SIDE)
    aside = (width - 2 * scale * wide - _GAP) / 2.0
    lefts = (aside, aside + scale * wide + _GAP)
    tops = tuple(TOP + n * (scale * tall + _LINE + _SPACE) for n in range(rows))
    return _Grid(int(width), high, scale, lefts, tops)


_LEAST = 1040.0  # [px] that the foot's words need


def draw_rounds(result: Result, *, plain: bool = False, unit: Unit = "cm") -> Image.Image:
    """Draw the piece after each round, and beside it how far that round moved its colour.

    Parameters
    ----------
    result : Result
        With the look after each round.
    plain : bool
        Leave out light, texture, shadow and stitching of the pieces.
    unit : {"cm", "in"}
        Unit of the scale bar.

    Returns
    -------
    PIL.Image.Image
        RGB, 1600 px on its long side; the same bytes for the same result.
    """
    from meltwick.shares import dyed_to_white

    bare = result.cloth.fabric.ground_name
    moved = deepening(result.looks)
    first = paint_body(replace(result, look=result.looks[0]), plain)
    wide, tall = first.bare_size
    grid = _grid(wide, tall, len(result.looks))
    sheet = bare_paper(grid.width, grid.height)
    for n, (look, turn) in enumerate(zip(result.looks, result.rounds, strict=True)):
        piece = first if n == 0 else paint_body(replace(result, look=look), plain)
        change = paint_body(replace(result, look=replace(look, srgb=ramp(moved[n]))), True)
        ratio = dyed_to_white(turn.shares["white"])
        after = BETWEEN.join((f"after round {n + 1}", f"{ratio} dyed to {bare}"))
        words = (after, f"what round {n + 1} changed")
        for left, body, word in zip(grid.lefts, (piece, change), words, strict=True):
            put(sheet, body, (left, grid.tops[n], grid.scale))
            spot = (left + grid.scale * wide / 2.0, grid.tops[n] + grid.scale * tall + 27.0)
            write_quietly(sheet, spot, word, cover=1.0)
    for left in grid.lefts:
        for word, (x, _) in panel_words(first):
            write_quietly(sheet, (left + (x - MARGIN) * grid.scale, TOP - 22.0), word)
    _write_key(sheet, grid)
    write_foot(sheet, first.sheet.scale * grid.scale, caption(result), unit)
    return as_picture(sheet)


def _write_key(sheet: Canvas, grid: _Grid) -> None:
    """Draw the ramp of differences with its words, under the right-hand column."""
    wide, tall = _KEY
    span = grid.width - MARGIN - grid.lefts[1]
    left = round(max(grid.lefts[1] + (span - wide) / 2.0, float(MARGIN)))
    top = grid.height - _FOOT + 22
    colours = draw.decode(ramp((np.arange(wide) + 0.5) / wide * MOST))
    sheet[top : top + tall, left : left + wide] = colours[None]
    size = (grid.width, grid.height)
    ends = (("as it was", left - 14, "rm"), ("another colour", left + wide + 14, "lm"))
    for word, side, anchor in ends:
        mask = 0.7 * draw.text_mask(size, (side, top + tall / 2.0), word, 17, anchor)
        draw.lay(sheet, draw.decode(np.array(INK) / 255.0), mask)
    for value, word in MARKS:
        x = left + wide * value / MOST
        sheet[top + tall : top + tall + 4, round(x) : round(x) + 1] = draw.decode(
            np.array(INK) / 255.0
        )
        write_quietly(sheet, (x, top + tall + 24.0), word)


def rounds_png(result: Result, *, version: str, plain: bool = False, unit: Unit = "cm") -> bytes:
    """Draw the rounds as a PNG file, with the white share after each inside."""
    picture = draw_rounds(result, plain=plain, unit=unit)
    white = " ".join(f"{turn.shares['white']:.4f}" for turn in result.rounds)
    return as_png(picture, result, version, {"meltwick-rounds": white})
