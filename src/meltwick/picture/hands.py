"""The preview of several hands: the plan's own piece large, the extremes small beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image

from meltwick.picture.preview import (
    LONG_SIDE,
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

_SMALL = 0.44  # of the large piece's scale
_NAMES = 34  # [px] under the large piece, for the names of its panels
_LINES = 56  # [px] under a small piece, for two lines
_FOOT = 84  # [px] for the scale bar and the caption


@dataclass(frozen=True)
class _Places:
    """Where the three pieces go [px]: the large one, the lightest, the darkest."""

    scale: float  # of the large piece over its size in a picture of its own
    width: int
    height: int  # without the foot
    spots: tuple[tuple[int, int], ...]  # left, top
    large: tuple[int, int]  # width, height
    small: tuple[int, int]


def _sizes(wide: int, tall: int, scale: float) -> tuple[tuple[int, int], tuple[int, int]]:
    small = scale * _SMALL
    return (round(wide * scale), round(tall * scale)), (round(wide * small), round(tall * small))


def _beside(wide: int, tall: int) -> _Places:
    """Stack the small pieces at the right of the large one."""
    room = LONG_SIDE - _FOOT
    scale = min(
        1.0,
        LONG_SIDE / (wide * (1.0 + _SMALL)),
        (room - _NAMES) / tall,
        (room - 2 * _LINES) / (2 * _SMALL * tall),
    )
    (w, h), (u, v) = _sizes(wide, tall, scale)
    high = max(h + _NAMES, 2 * (v + _LINES))
    spare = (high - 2 * (v + _LINES)) // 3
    spots = ((0, 0), (w, spare), (w, 2 * spare + v + _LINES))
    return _Places(scale, w + u, high, spots, (w, h), (u, v))


def _below(wide: int, tall: int) -> _Places:
    """Put the small pieces side by side under the large one."""
    room = LONG_SIDE - _FOOT - _NAMES - _LINES
    scale = min(1.0, LONG_SIDE / wide, room / (tall * (1.0 + _SMALL)))
    (w, h), (u, v) = _sizes(wide, tall, scale)
    gap = (w - 2 * u) // 3
    top = h + _NAMES
    return _Places(
        scale, w, top + v + _LINES, ((0, 0), (gap, top), (w - gap - u, top)), (w, h), (u, v)
    )


def _place(wide: int, tall: int) -> _Places:
    """Choose the arrangement that leaves the large piece larger."""
    beside, below = _beside(wide, tall), _below(wide, tall)
    return beside if beside.scale > 0.95 * below.scale else below


def _resized(canvas: Canvas, size: tuple[int, int]) -> Canvas:
    """Make a picture smaller, in linear light; size is (width, height)."""
    if canvas.shape[:2] == size[::-1]:
        return canvas
    planes = []
    for k in range(3):
        plane = Image.fromarray(np.ascontiguousarray(canvas[..., k]))
        planes.append(np.asarray(plane.resize(size, Image.Resampling.LANCZOS)))
    return np.clip(np.stack(planes, axis=-1), 0.0, 1.0)


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
    tall, wide = body.pieces.shape[:2]
    at = _place(wide, tall)
    width, height = at.width, at.height + _FOOT
    width, height = (LONG_SIDE, height) if width >= height else (width, LONG_SIDE)
    sheet = bare_paper(width, height)
    aside = (width - at.width) // 2
    _put(sheet, body.pieces, at.spots[0], at.large, aside)
    for word, (x, _) in panel_words(body):
        write_quietly(sheet, (aside + x * at.scale, at.large[1] + 6.0), word)
    extremes = ((lightest, "lightest"), (darkest, "darkest"))
    for spot, (result, word) in zip(at.spots[1:], extremes, strict=True):
        _put(sheet, paint_body(result, plain).pieces, spot, at.small, aside)
        middle, base = aside + spot[0] + at.small[0] / 2.0, float(spot[1] + at.small[1])
        for drop, line in zip((12.0, 36.0), _label(result, word, hands), strict=True):
            write_quietly(sheet, (middle, base + drop), line)
    write_foot(sheet, body.sheet.scale * at.scale, caption(main), unit)
    return as_picture(sheet)


def _put(
    sheet: Canvas, piece: Canvas, spot: tuple[int, int], size: tuple[int, int], aside: int
) -> None:
    left, top = spot[0] + aside, spot[1]
    sheet[top : top + size[1], left : left + size[0]] = _resized(piece, size)


def _label(result: Result, word: str, hands: int) -> tuple[str, str]:
    from meltwick.shares import dyed_to_white

    ratio = dyed_to_white(result.white_share)
    return f"{word} of {hands}", f"{ratio} dyed to white   ·   seed {result.seed}"


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
