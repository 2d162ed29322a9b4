"""A card of the maker's dyes, at several depths and in pairs, and what was read of a photograph."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image, ImageDraw
from PIL.PngImagePlugin import iTXt

from meltwick.colour import colours, delta_e00
from meltwick.colour.standard import to_srgb
from meltwick.picture import draw
from meltwick.picture.cuttings import FADE, Box, Colour, blank, foot, lay_swatches, write
from meltwick.picture.palette import splitting
from meltwick.picture.preview import BETWEEN, DPI, LONG_SIDE, as_file

if TYPE_CHECKING:
    from meltwick.photo.card import Card
    from meltwick.photo.reading import Photo
    from meltwick.picture.draw import Canvas
    from meltwick.types import Dye, Fabric, Floats

MOST_PAIRS = 20
"""Dyes in one table of pairs; more swatches than that are too small to see."""

_MARGIN, _TOP, _ROW = 64, 92, 100  # [px]
_NAME = 330  # [px] the names' column
_WIDE, _TALL, _APART = 150, 74, 14  # [px] a swatch, and between two
_READ_SIDE = 1200  # [px] of the picture of what was read


@dataclass(frozen=True)
class Depths:
    """Depths of a card, powder by mass of cloth [kg/kg], and what of it is kept [-]."""

    shown: tuple[float, ...]
    kept: float


def _lab(parts: Sequence[tuple[Dye, float]], fabric: Fabric) -> Floats:
    """CIELAB, (3,), of a cloth with dyes in amounts [kg/kg on the fibre]."""
    each = [(part, share * depth) for dye, depth in parts for part, share in dye.parts]
    amount = np.array([[depth for _, depth in each]])
    found = colours([part for part, _ in each], amount, fabric)
    return found.reshape(3)


def _srgb(lab: Floats) -> Colour:
    red, green, blue = to_srgb(lab[None])[0].tolist()
    return red, green, blue


def _depth_row(dye: Dye, depths: Depths, fabric: Fabric) -> Canvas:
    """Draw one dye at every depth, its name on the left."""
    strip = blank(_ROW)
    boxes, shades = [], []
    for number, depth in enumerate(depths.shown):
        boxes.append(_box(number))
        shades.append(_srgb(_lab([(dye, depths.kept * depth)], fabric)))
    lay_swatches(strip, boxes, shades)
    room = _NAME - 20
    write(strip, (_MARGIN, 46), draw.fit_text(dye.name, 20, room), 20)
    write(strip, (_MARGIN, 69), draw.fit_text(splitting(dye), 15, room), 15, ink=FADE)
    return strip


def _box(number: int) -> Box:
    left = _MARGIN + _NAME + number * (_WIDE + _APART)
    top = (_ROW - _TALL) // 2
    return left, top, left + _WIDE, top + _TALL


def _heads(depths: Depths) -> Canvas:
    strip = blank(_TOP)
    for number, depth in enumerate(depths.shown):
        left, _, right, _ = _box(number)
        write(strip, ((left + right) / 2, _TOP - 5), f"{100 * depth:.3g} %", 15, "ms", FADE)
    return strip


def _pairs(dyes: Sequence[Dye], depth: float, kept: float, fabric: Fabric) -> list[Canvas]:
    """Draw half and half of every two dyes below the diagonal, how near they are above it."""
    count = len(dyes)
    alone = np.array([_lab([(dye, kept * depth)], fabric) for dye in dyes])
    side = min(110, (LONG_SIDE - 2 * _MARGIN - _NAME) // count)
    strips = [_title(f"half and half, {100 * depth:.3g} % in all; numbers: ΔE of the two dyes")]
    for row, dye in enumerate(dyes):
        strip = blank(side)
        boxes: list[Box] = []
        shades: list[Colour] = []
        for column in range(row + 1):
            left = _MARGIN + _NAME + column * side
            boxes.append((left + 4, 4, left + side - 4, side - 4))
            half = 0.5 * kept * depth
            lab = alone[row] if row == column else _lab([(dye, half), (dyes[column], half)], fabric)
            shades.append(_srgb(lab))
        lay_swatches(strip, boxes, shades)
        size = 15 if side > 44 else 12
        for column in range(row + 1, count):
            near = float(delta_e00(alone[row], alone[column]))
            middle = _MARGIN + _NAME + (column + 0.5) * side
            write(strip, (middle, side / 2), f"{near:.0f}", size, "mm", FADE)
        write(strip, (_MARGIN, side / 2), draw.fit_text(dye.name, 18, _NAME - 20), 18, "lm")
        strips.append(strip)
    return strips


def _title(words: str) -> Canvas:
    strip = blank(70)
    write(strip, (_MARGIN + _NAME, 46), words, 16, ink=FADE)
    return strip


def draw_card(
    dyes: Sequence[Dye], fabric: Fabric, depths: Depths, pairs: float | None = None
) -> Image.Image:
    """Draw dyes at several depths, a row each, and every pair half and half.

    Parameters
    ----------
    dyes : sequence of Dye
        At most `MOST_PAIRS` of them where pairs are drawn.
    fabric : Fabric
        The cloth.
    depths : Depths
        One to seven.
    pairs : float, optional
        Powder of both dyes together by mass of cloth at which pairs are drawn [kg/kg].

    Returns
    -------
    PIL.Image.Image
        RGB, 1600 px wide; every swatch one flat colour, so that it can be measured.
    """
    strips = [_heads(depths), *(_depth_row(dye, depths, fabric) for dye in dyes)]
    if pairs is not None:
        strips += _pairs(dyes, pairs, depths.kept, fabric)
    ground = "" if fabric.ground_name == "white" else f", {fabric.ground_name}"
    said = BETWEEN.join(
        (
            f"{fabric.name}{ground}",
            "evenly dyed, dry",
            f"depth: powder by weight of cloth, {100 * depths.kept:.0f} % of it kept",
        )
    )
    strips.append(foot(said, fabric))
    picture = Image.fromarray(np.concatenate([draw.encode(strip) for strip in strips]))
    picture.info["dpi"] = (DPI, DPI)
    return picture


def card_drawn_png(
    dyes: Sequence[Dye],
    fabric: Fabric,
    depths: Depths,
    *,
    pairs: float | None = None,
    version: str,
) -> bytes:
    """Draw the card of `draw_card` as a PNG file."""
    said = {"meltwick-plan": iTXt("swatches"), "meltwick-version": version}
    return as_file(draw_card(dyes, fabric, depths, pairs), "swatches", version, said)


def card_png(photo: Photo, card: Card, version: str) -> bytes:
    """Draw a photographed card with what was measured outlined and named.

    Each patch has, in its middle, the colour that was read for it, as in daylight.
    """
    height, width = photo.linear.shape[:2]
    scale = min(1.0, _READ_SIDE / max(height, width))
    size = (round(width * scale), round(height * scale))
    image = Image.fromarray(draw.encode(photo.linear)).resize(size, Image.Resampling.LANCZOS)
    pen = ImageDraw.Draw(image)
    for patch in card.patches:
        here = card.masks == _number(card, patch.row, patch.column)
        rows, columns = np.flatnonzero(here.any(axis=1)), np.flatnonzero(here.any(axis=0))
        left, right = columns[0] * scale, (columns[-1] + 1) * scale
        top, low = rows[0] * scale, (rows[-1] + 1) * scale
        dark = patch.lab[0] > 55.0
        ink = (40, 36, 32) if dark else (250, 248, 243)
        pen.rectangle((left, top, right, low), outline=ink, width=2)
        fill = tuple(int(v) for v in np.rint(255.0 * np.array(_srgb(patch.lab))))
        wide, tall = (right - left) / 4, (low - top) / 4
        pen.rectangle((left + wide, top + tall, right - wide, low - 1.6 * tall), fill=fill)
        room = 1.5 * (right - left)  # the patch goes on beyond what was measured
        text = draw.fit_text(patch.name, 13, room)
        pen.text(((left + right) / 2, low - 0.8 * tall), text, ink, draw.type_face(13), anchor="mm")
    return as_file(image, photo.name, version, {"meltwick-version": version})


def _number(card: Card, row: int, column: int) -> int:
    return row * card.columns + column + 1
