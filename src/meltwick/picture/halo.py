"""The halo of a split test ring by ring, and what each component has in it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from PIL import Image

from meltwick.colour import colours, ground_srgb
from meltwick.colour.standard import to_srgb
from meltwick.picture import draw
from meltwick.picture.cuttings import FADE, blank, write
from meltwick.picture.preview import BETWEEN, DPI, LONG_SIDE, as_file
from meltwick.units import show_length

if TYPE_CHECKING:
    from meltwick.photo.splitting import Split
    from meltwick.picture.draw import Canvas
    from meltwick.types import Fabric, Floats

_MARGIN, _NAME = 64, 360  # [px]
_ROW, _FOOT, _TOP = 110, 110, 50  # [px]
_BODY = 0.014  # [kg/kg] at which a component is drawn where it is strongest


def _strip(labs: Floats, edges: Floats, ground: Canvas) -> Canvas:
    """Return a row of the picture: the colour of each ring along its place, (W,) by linear sRGB."""
    width = LONG_SIDE - 2 * _MARGIN - _NAME
    at = (np.arange(width) + 0.5) / width
    ring = np.searchsorted(edges, at, side="right") - 1
    light = draw.decode(to_srgb(labs))
    row = np.tile(ground, (width, 1)).astype(np.float32)
    inside = (ring >= 0) & (ring < len(labs))
    row[inside] = light[ring[inside]]
    return row


def draw_halo(split: Split, fabric: Fabric, dye: str, scale: float | None) -> Image.Image:
    """Draw a halo from the powder's place on the left to its rim on the right.

    Parameters
    ----------
    split : Split
        What was measured.
    fabric : Fabric
        The cloth.
    dye : str
        Its name.
    scale : float or None
        Metres to a pixel of the photograph, where known.

    Returns
    -------
    PIL.Image.Image
        RGB, 1600 px wide.
    """
    ground = draw.decode(np.array(ground_srgb(fabric)))
    middle = split.rings
    between = 0.5 * (middle[1:] + middle[:-1])
    last = middle[-1] + (middle[-1] - between[-1])
    edges = np.concatenate([[0.0], between, [last]]) / (1.05 * last)
    strips = [blank(_TOP)]
    rows = [("as photographed", f"{split.count} place{'s' if split.count > 1 else ''} of powder",
             split.lab)]  # fmt: skip
    for each in split.travellers:
        amount = (_BODY * each.profile)[:, None]
        rows.append(
            (
                f"like {each.component.name}",
                f"{100 * each.share:.0f} % of the halo's dye",
                colours([each.component], amount, fabric),
            )
        )
    for name, words, labs in rows:
        strip = blank(_ROW)
        left = _MARGIN + _NAME
        strip[12 : _ROW - 12, left : LONG_SIDE - _MARGIN] = _strip(labs, edges, ground)
        write(strip, (_MARGIN, 52), draw.fit_text(name, 19, _NAME - 20), 19)
        write(strip, (_MARGIN, 76), draw.fit_text(words, 15, _NAME - 20), 15, ink=FADE)
        strips.append(strip)
    foot = blank(_FOOT)
    write(foot, (_MARGIN + _NAME, 22), "where the powder lay", 15, ink=FADE)
    rim = "rim" if scale is None else f"rim, {show_length(float(last) * scale)} away"
    write(foot, (LONG_SIDE - _MARGIN, 22), rim, 15, "rs", FADE)
    said = BETWEEN.join((f"split test of {dye}", fabric.name, "each part alone, as far as it went"))
    write(foot, (LONG_SIDE - _MARGIN, _FOOT - 34), said, 19, "rs")
    picture = Image.fromarray(np.concatenate([draw.encode(strip) for strip in [*strips, foot]]))
    picture.info["dpi"] = (DPI, DPI)
    return picture


def halo_png(split: Split, fabric: Fabric, dye: str, scale: float | None, version: str) -> bytes:
    """Draw the halo of `draw_halo` as a PNG file."""
    picture = draw_halo(split, fabric, dye, scale)
    return as_file(picture, f"split test of {dye}", version, {"meltwick-version": version})
