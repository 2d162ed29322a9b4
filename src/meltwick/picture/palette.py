"""The palette: every dye on one cloth at three depths, as cut swatches on warm paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image
from PIL.PngImagePlugin import iTXt

from meltwick.colour import colours, ground_lab, ground_srgb, swatch
from meltwick.picture import draw
from meltwick.picture.cuttings import FADE, Box, Colour, blank, foot, lay_swatches, write
from meltwick.picture.preview import BETWEEN, DPI, LONG_SIDE, as_file

if TYPE_CHECKING:
    from meltwick.picture.draw import Canvas
    from meltwick.types import Dye, Fabric

DEPTHS = (("pale", 0.5), ("medium", 2.0), ("dark", 4.0))
"""Names and depths of shade [% of fibre mass]: inside the classes of dyers' recipes, pale 0.1 to
0.5, medium 0.5 to 2, dark 2 to 4 (from memory; recipes for 0.5, 1.5 and 4 % read)."""
MEDIUM = 1  # the depth by which dyes are ordered and named

_MARGIN, _GAP, _TOP = 64, 48, 92  # [px]
_ROW = 108  # [px] from one row of swatches to the next
_CELL = (LONG_SIDE - 2 * _MARGIN - _GAP) // 2  # [px] width of a dye's place
_WIDE, _TALL, _APART = 96, 80, 12  # [px] a swatch, and between two
_TEXT = 3 * (_WIDE + _APART) + 10  # [px] where the words begin


@dataclass(frozen=True)
class Chip:
    """One dye on one cloth."""

    dye: Dye
    shades: tuple[Colour, ...]  # sRGB, 0..1, at ``DEPTHS``
    lightness: float  # L* at the medium depth


def takes_dye(fabric: Fabric) -> bool:
    """Tell whether any fibre of a cloth takes a reactive dye."""
    return fabric.dyeable_share * fabric.uptake > 0.0


def chips(dyes: Sequence[Dye], fabric: Fabric) -> tuple[Chip, ...]:
    """Dye a cloth evenly with each dye, and order them by how dark they look, light ones first.

    Parameters
    ----------
    dyes : sequence of Dye
        In any order.
    fabric : Fabric
        The cloth; one that takes no dye keeps its own colour.

    Returns
    -------
    tuple of Chip
        By falling L* at 2 % of fibre mass; equals by `Dye.dark`, then by name.
    """
    found = []
    dyed = takes_dye(fabric)
    bare = ground_lab(fabric)
    for dye in dyes:
        if dyed:
            shades = tuple(swatch(dye, depth, fabric) for _, depth in DEPTHS)
            amount = np.array([[share * DEPTHS[MEDIUM][1] / 100.0 for _, share in dye.parts]])
            lightness = float(colours([part for part, _ in dye.parts], amount, fabric)[0, 0])
        else:
            shades, lightness = (ground_srgb(fabric),) * len(DEPTHS), float(bare[0])
        found.append(Chip(dye, shades, lightness))
    return tuple(sorted(found, key=lambda chip: (-chip.lightness, chip.dye.dark, chip.dye.name)))


def splitting(dye: Dye) -> str:
    """Say in words whether a jar holds one dye or a mixture, and whether it splits on ice."""
    if not dye.splitting_known:
        return "splitting unknown"
    count = len(dye.parts)
    return "one dye, does not split" if count == 1 else f"mixture of {count}, splits"


# ------------------------------------------------------------------------------- one row


def _components(dye: Dye, px: int, room: float) -> list[str]:
    """Say what is in a jar, in at most two lines."""
    if len(dye.parts) == 1:
        return [draw.fit_text(dye.parts[0][0].name, px, room)]
    words = [f"{max(1, round(100 * share))} % {part.name}" for part, share in dye.parts]
    face = draw.type_face(px)
    first = words[0]
    rest = words[1:]
    while rest and face.getlength(f"{first}, {rest[0]},") <= room:
        first = f"{first}, {rest.pop(0)}"
    lines = [f"{first},", ", ".join(rest)] if rest else [first]
    return [draw.fit_text(line, px, room) for line in lines]


def _describe(window: Canvas, dye: Dye) -> None:
    """Write a dye's name, what splitting to expect, and its components."""
    room = _CELL - _TEXT
    write(window, (_TEXT, 32), draw.fit_text(dye.name, 20, room), 20)
    write(window, (_TEXT, 54), splitting(dye), 15, ink=FADE)
    for number, line in enumerate(_components(dye, 14, room)):
        write(window, (_TEXT, 75 + 18 * number), line, 14, ink=FADE)


def _place(column: int, number: int) -> Box:
    """Where a swatch lies in its row."""
    left = _MARGIN + column * (_CELL + _GAP) + number * (_WIDE + _APART)
    top = (_ROW - _TALL) // 2
    return left, top, left + _WIDE, top + _TALL


def _row(pair: Sequence[Chip]) -> Canvas:
    """Draw one or two dyes side by side."""
    canvas = blank(_ROW)
    boxes = [_place(column, n) for column in range(len(pair)) for n in range(len(DEPTHS))]
    lay_swatches(canvas, boxes, [shade for chip in pair for shade in chip.shades])
    for column, chip in enumerate(pair):
        left = _MARGIN + column * (_CELL + _GAP)
        _describe(canvas[:, left : left + _CELL], chip.dye)
    return canvas


# ------------------------------------------------------------------------------- the sheet


def _head(columns: int) -> Canvas:
    """Name the depths above their swatches."""
    canvas = blank(_TOP)
    for column in range(columns):
        for number, (word, depth) in enumerate(DEPTHS):
            left, _, right, _ = _place(column, number)
            middle = (left + right) / 2
            write(canvas, (middle, _TOP - 24), word, 15, "ms", FADE)
            write(canvas, (middle, _TOP - 5), f"{depth:g} %", 15, "ms", FADE)
    return canvas


def caption(plan: str, fabric: Fabric) -> str:
    """One line under the picture: the plan, its cloth and what the depths mean."""
    ground = "" if fabric.ground_name == "white" else f", {fabric.ground_name}"
    said = (
        "dry cloth, evenly dyed, depth in % of its weight"
        if takes_dye(fabric)
        else "takes no reactive dye"
    )
    return BETWEEN.join((plan, f"{fabric.name}{ground}", said))


def draw_palette(shown: Sequence[Chip], fabric: Fabric, plan: str) -> Image.Image:
    """Draw every dye with its three swatches, name and components, down two columns.

    Parameters
    ----------
    shown : sequence of Chip
        In the order in which they are to be shown.
    fabric : Fabric
        The cloth they are on.
    plan : str
        The plan's name.

    Returns
    -------
    PIL.Image.Image
        RGB, 1600 px wide, as tall as it must be; the same bytes for the same dyes. A swatch is
        one flat colour, so that it can be measured.
    """
    rows = (len(shown) + 1) // 2
    left, right = shown[:rows], shown[rows:]
    # Row by row, so that a long list costs little memory.
    strips = [draw.encode(_head(min(2, len(shown))))]
    for number, chip in enumerate(left):
        strips.append(draw.encode(_row([chip, *right[number : number + 1]])))
    strips.append(draw.encode(foot(caption(plan, fabric), fabric)))
    picture = Image.fromarray(np.concatenate(strips))
    picture.info["dpi"] = (DPI, DPI)
    return picture


def palette_png(shown: Sequence[Chip], fabric: Fabric, *, plan: str, version: str) -> bytes:
    """Draw the palette as a PNG file with the plan's name and the version inside."""
    picture = draw_palette(shown, fabric, plan)
    said = {"meltwick-plan": iTXt(plan), "meltwick-version": version}
    return as_file(picture, plan, version, said)
