"""The preview of several hands: the plan's own piece large, the extremes small beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image

from meltwick.picture.preview import (
    BETWEEN,
    LONG_SIDE,
    MARGIN,
    TOP,
    Body,
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
    from meltwick.types import Result

_SMALL = 0.42  # of the large piece's scale
_GAP = 56  # [px] between pieces
_NAMES = 44  # [px] under the large piece, for the names of its panels
_LINES = 48  # [px] under a small piece, for two lines
_FOOT = 112  # [px] for the scale bar and the caption
_NEARLY = 0.95  # beside is preferred when the large piece is so nearly as large there; chosen

Spot = tuple[float, float, float]
"""Left and top of a piece on the sheet [px], and its scale to a picture of its own."""


@dataclass(frozen=True)
class _Places:
    """Where the three pieces go: the large one, the lightest, the darkest."""

    width: int
    height: int
    spots: tuple[Spot, Spot, Spot]


def _beside(wide: float, tall: float) -> _Places:
    """Stack the small pieces at the right of the large one, the second level with its foot."""
    across = (LONG_SIDE - 2 * MARGIN - _GAP) / (wide * (1.0 + _SMALL))
    room = LONG_SIDE - TOP - _FOOT
    scale = min(across, (room - _NAMES) / tall, (room - 2 * _LINES - _GAP) / (2 * _SMALL * tall))
    small = _SMALL * scale
    high = max(tall * scale, 2 * (small * tall + _LINES) + _GAP / 2)
    width = wide * (scale + small) + _GAP + 2 * MARGIN
    left, drop = MARGIN + wide * scale + _GAP, TOP + high - _LINES - small * tall
    spots = ((MARGIN, TOP, scale), (left, TOP, small), (left, drop, small))
    return _sheet(width, TOP + high + _FOOT, spots)


def _below(wide: float, tall: float) -> _Places:
    """Put the small pieces side by side under the large one."""
    spare = LONG_SIDE - TOP - _NAMES - _GAP / 2 - _LINES - _FOOT
    scale = min((LONG_SIDE - 2 * MARGIN) / wide, spare / (tall * (1.0 + _SMALL)))
    small = _SMALL * scale
    left = MARGIN + wide * (scale / 4 - small / 2)
    top = TOP + tall * scale + _NAMES + _GAP / 2
    right = left + wide * scale / 2
    spots = ((MARGIN, TOP, scale), (left, top, small), (right, top, small))
    return _sheet(wide * scale + 2 * MARGIN, top + small * tall + _LINES + _FOOT, spots)


def _sheet(width: float, height: float, spots: tuple[Spot, Spot, Spot]) -> _Places:
    """Make the longer side just what it should be, with the pieces in the middle of the sheet."""
    wide, tall = round(width), round(height)
    wide, tall = (LONG_SIDE, tall) if width >= height else (wide, LONG_SIDE)
    aside = (wide - width) / 2.0
    first, second, third = ((left + aside, top, scale) for left, top, scale in spots)
    return _Places(wide, tall, (first, second, third))


def _place(wide: float, tall: float) -> _Places:
    """Choose the arrangement that leaves the large piece larger; sizes of the bare piece [px]."""
    beside, below = _beside(wide, tall), _below(wide, tall)
    return beside if beside.spots[0][2] >= _NEARLY * below.spots[0][2] else below


def resized(canvas: Canvas, size: tuple[int, int]) -> Canvas:
    """Make a picture smaller, in linear light; size is (width, height)."""
    if canvas.shape[:2] == size[::-1]:
        return canvas
    sized: Canvas = np.empty((size[1], size[0], 3), dtype=np.float32)
    for k in range(3):
        plane = Image.fromarray(np.ascontiguousarray(canvas[..., k]))
        sized[..., k] = np.asarray(plane.resize(size, Image.Resampling.LANCZOS))
    return np.clip(sized, 0.0, 1.0)


def draw_hands(
    main: Result,
    lightest: Result,
    darkest: Result,
    hands: int,
    *,
    plain: bool = False,
    unit: Unit = "cm",
) -> Image.Image:
    """Draw a piece large, and the lightest and the darkest of several hands small beside it.

    Parameters
    ----------
    main, lightest, darkest : Result
        Of one plan and one detail.
    hands : int
        How many hands they are the extremes of.
    plain : bool
        Leave out light, texture, shadow and stitching.
    unit : {"cm", "in"}
        Unit of the scale bar, which is the large piece's.

    Returns
    -------
    PIL.Image.Image
        RGB, 1600 px on its long side; the same bytes for the same results.
    """
    body = paint_body(main, plain)
    at = _place(*body.bare_size)
    sheet = bare_paper(at.width, at.height)
    left, top, scale = at.spots[0]
    put(sheet, body, at.spots[0])
    extremes = ((lightest, "lightest"), (darkest, "darkest"))
    for spot, (result, word) in zip(at.spots[1:], extremes, strict=True):
        small = paint_body(result, plain)
        put(sheet, small, spot)
        wide, tall = small.bare_size
        middle, base = spot[0] + spot[2] * wide / 2.0, spot[1] + spot[2] * tall
        first, second = _label(result, word, hands)
        write_quietly(sheet, (middle, base + 26.0), first, cover=1.0)
        write_quietly(sheet, (middle, base + 48.0), second)
    under = top + body.bare_size[1] * scale + 34.0
    for word, (x, _) in panel_words(body):
        write_quietly(sheet, (left + (x - MARGIN) * scale, under), word)
    write_foot(sheet, body.sheet.scale * scale, caption(main), unit)
    return as_picture(sheet)


def put(sheet: Canvas, body: Body, spot: Spot) -> None:
    """Lay a piece and the paper about it, with its shadow, on the sheet."""
    left, top, scale = spot
    whole = body.pieces
    size = (round(whole.shape[1] * scale), round(whole.shape[0] * scale))
    x, y = round(left - body.rim * scale), round(top - body.rim * scale)
    sheet[y : y + size[1], x : x + size[0]] = resized(whole, size)


def _label(result: Result, word: str, hands: int) -> tuple[str, str]:
    from meltwick.shares import dyed_to_white

    said = f"{dyed_to_white(result.white_share)} dyed to {result.cloth.fabric.ground_name}"
    return f"{word} of {hands}", BETWEEN.join((said, f"seed {result.seed}"))


def hands_png(
    main: Result,
    lightest: Result,
    darkest: Result,
    white: Sequence[float],
    *,
    version: str,
    plain: bool = False,
    unit: Unit = "cm",
) -> bytes:
    """Draw several hands as a PNG file.

    Beside what a preview tells of itself it holds the white share of every hand, ``white``.
    """
    picture = draw_hands(main, lightest, darkest, len(white), plain=plain, unit=unit)
    more = {"meltwick-hands": " ".join(f"{share:.4f}" for share in white)}
    return as_png(picture, main, version, more)
