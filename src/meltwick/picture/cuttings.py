"""Cut swatches on warm paper, and words beside them."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from meltwick.colour import ground_srgb
from meltwick.picture import draw, shading
from meltwick.picture.preview import INK, LONG_SIDE, PAPER

if TYPE_CHECKING:
    from meltwick.picture.draw import Canvas
    from meltwick.types import Fabric

FADE = 0.85
"""Ink of the lesser words."""

_MARGIN, _FOOT = 64, 124  # [px]
_TOOTH = 6  # [px] of the zigzag edge of a cut swatch
_SHADE = 0.35  # [px/mm] by which the garment's shadow shrinks to a swatch's

Colour = tuple[float, float, float]
Box = tuple[int, int, int, int]
"""Left, top, right, bottom [px]."""


def pinked(box: Box) -> NDArray[np.float64]:
    """Return the zigzag outline that pinking shears leave, (P, 2), teeth pointing outwards."""
    left, top, right, low = box
    corners = [(left, top), (right, top), (right, low), (left, low), (left, top)]
    ring: list[tuple[float, float]] = []
    for (xa, ya), (xb, yb) in pairwise(corners):
        length = abs(xb - xa) + abs(yb - ya)
        count = max(1, round(length / _TOOTH))
        inwards = (-(yb - ya) / length * _TOOTH / 2, (xb - xa) / length * _TOOTH / 2)
        for tooth in range(count):
            at, half = tooth / count, (tooth + 0.5) / count
            ring.append((xa + at * (xb - xa) + inwards[0], ya + at * (yb - ya) + inwards[1]))
            ring.append((xa + half * (xb - xa), ya + half * (yb - ya)))
    return np.array(ring)


def lay_swatches(canvas: Canvas, boxes: Sequence[Box], shades: Sequence[Colour]) -> None:
    """Lay cut swatches on the paper, each in its own flat colour, with a hairline and a shadow."""
    height, width = canvas.shape[:2]
    view = draw.View(1.0, 0.0, 0.0, width, height)
    cover = draw.outline_mask(view, [(pinked(box), True) for box in boxes])
    canvas *= (
        1.0
        - np.minimum(shading.drop_shadow(cover, _SHADE) + 0.25 * shading.rim(cover), 0.6)[..., None]
    )
    for (left, top, right, low), shade in zip(boxes, shades, strict=True):
        place = (slice(top, low), slice(left, right))
        red, green, blue = draw.decode(np.array(shade)).tolist()
        draw.lay(canvas[place], (red, green, blue), cover[place])


def write(
    canvas: Canvas, at: tuple[float, float], text: str, px: int, anchor: str = "ls", ink: float = 1
) -> None:
    """Write a line of type in our ink, in place; ``at`` [px] by Pillow's anchor."""
    red, green, blue = draw.decode(np.array(INK) / 255.0).tolist()
    size = (canvas.shape[1], canvas.shape[0])
    draw.lay(canvas, (red, green, blue), ink * draw.text_mask(size, at, text, px, anchor))


def blank(height: int) -> Canvas:
    """Return a strip of paper as wide as a sheet."""
    canvas = np.empty((height, LONG_SIDE, 3), dtype=np.float32)
    canvas[:] = draw.decode(np.array(PAPER) / 255.0)
    return canvas


def foot(words: str, fabric: Fabric) -> Canvas:
    """Return a strip with the undyed cloth on the left and a caption on the right."""
    strip = blank(_FOOT)
    base = _FOOT - 40
    box = (_MARGIN, base - 30, _MARGIN + 60, base + 12)
    lay_swatches(strip, [box], [ground_srgb(fabric)])
    write(strip, (box[2] + 14, base), "undyed", 18)
    taken = box[2] + 14 + draw.type_face(18).getlength("undyed") + 40
    text = draw.fit_text(words, 20, LONG_SIDE - _MARGIN - taken)
    write(strip, (LONG_SIDE - _MARGIN, base), text, 20, "rs")
    return strip
