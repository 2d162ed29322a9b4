"""What was measured in a photograph: what it took for cloth, white and stitching, and the colours.

Each side of the piece stands twice: as photographed, with the outline that was laid on it, and
flat, in even light. Undyed cloth is hatched in the photograph.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from PIL import Image, ImageDraw
from scipy import ndimage

from meltwick.colour.standard import to_srgb
from meltwick.photo.finding import silhouette
from meltwick.photo.laying import cells_of, pixels_of
from meltwick.photo.measuring import Measured, Side
from meltwick.photo.outline import corner_points
from meltwick.picture import draw
from meltwick.picture.preview import INK, PAPER, as_file
from meltwick.shares import WHITE
from meltwick.types import Floats

WIDE, MARGIN, GAP = 1600, 60, 40  # [px]
_TALL = 700  # [px] most height of a side
_HEAD, _FOOT = 66, 150  # [px] above and below the sides
_HATCH = 9  # [px] between the lines over undyed cloth
_LINE = (214, 60, 92)  # sRGB of the outline that was laid on
_SEWN = (40, 120, 160)  # sRGB of stitching


def measured_png(found: Measured, title: str, said: str, version: str) -> bytes:
    """Draw what was measured as a PNG file.

    Parameters
    ----------
    found : Measured
        From `meltwick.photo.measuring.measure`.
    title : str
        Of the file.
    said : str
        The line below.
    version : str
        Of meltwick.
    """
    return as_file(draw_measured(found, said), title, version)


def draw_measured(found: Measured, said: str) -> Image.Image:
    """Draw what was measured, see the module."""
    room = (WIDE - 2 * MARGIN - GAP) // 2
    rows = [(_photograph(found, side, room), _flat(found, side, room)) for side in found.sides]
    tall = [max(shot.height, flat.height) for shot, flat in rows]
    sheet = Image.new("RGB", (WIDE, sum(tall) + _HEAD * len(rows) + _FOOT), PAPER)
    pen, top = ImageDraw.Draw(sheet), 0
    for (shot, flat), height, side in zip(rows, tall, found.sides, strict=True):
        for left, picture, words in (
            (MARGIN, shot, f"{side.name}, as photographed: undyed cloth hatched, outline in red"),
            (MARGIN + room + GAP, flat, f"{side.name}, laid flat in even light"),
        ):
            pen.text((left, top + 30), words, fill=INK, font=draw.type_face(20))
            across = left + (room - picture.width) // 2
            sheet.paste(picture, (across, top + _HEAD + (height - picture.height) // 2))
        top += _HEAD + height
    _colours(pen, found, top + 30)
    line = draw.fit_text(said, 22, WIDE - 2 * MARGIN)
    pen.text((MARGIN, top + 100), line, fill=INK, font=draw.type_face(22))
    return sheet


def _colours(pen: ImageDraw.ImageDraw, found: Measured, top: int) -> None:
    """Draw a bar of the piece's colours, each as wide as its share: undyed first."""
    bare = (found.white_share, found.look.undyed_srgb)
    parts = [bare] + [
        (patch.share, tuple(to_srgb(np.array([patch.lab]))[0].tolist())) for patch in found.palette
    ]
    left, room = float(MARGIN), WIDE - 2 * MARGIN
    for share, srgb in parts:
        right = left + share * room
        fill = tuple(round(255 * part) for part in srgb)
        pen.rectangle((round(left), top, round(right), top + 40), fill=fill)
        left = right
    pen.rectangle((MARGIN, top, WIDE - MARGIN, top + 40), outline=INK)


def _photograph(found: Measured, side: Side, room: int) -> Image.Image:
    """Draw the photograph about the piece, with what was taken for what."""
    outline = silhouette(side.found.cloth, side.found.behind)
    ring = side.found.fit.place(np.array(outline.exterior.coords))
    linear = side.photo.linear
    pad = 0.08 * float(np.max(np.ptp(ring, axis=0)))
    height, width = linear.shape[:2]
    low = np.clip(np.floor(ring.min(axis=0) - pad), 0, [width - 2, height - 2]).astype(int)
    high = np.clip(np.ceil(ring.max(axis=0) + pad), low + 2, [width, height]).astype(int)
    cut = Image.fromarray(draw.encode(linear[low[1] : high[1], low[0] : high[0]]))
    step = max(cut.width / room, cut.height / _TALL)
    size = (max(1, round(cut.width / step)), max(1, round(cut.height / step)))
    shown = cut.resize(size, Image.Resampling.LANCZOS)

    def place(pixels: Floats) -> Floats:
        return np.asarray((pixels - low) / step)

    cells, here = place(pixels_of(side.found)), cells_of(found.cloth, side.found.panel)
    white = side.counted & (found.look.delta[here] <= WHITE)
    sewn = ~found.cloth.dyeable[here]
    canvas = np.asarray(shown).copy()
    inside = _splat(cells, np.ones(len(cells), dtype=bool), size)
    canvas[~inside] = (0.55 * canvas[~inside] + 0.45 * np.array(PAPER)).astype(np.uint8)
    rows, cols = np.mgrid[0 : size[1], 0 : size[0]]
    hatched = _splat(cells, white, size) & ((rows + cols) % _HATCH < 2)
    canvas[hatched] = (0.35 * canvas[hatched] + 0.65 * np.array(INK)).astype(np.uint8)
    canvas[_splat(cells, sewn, size)] = _SEWN
    picture = Image.fromarray(canvas)
    pen = ImageDraw.Draw(picture)
    pen.line([tuple(point) for point in place(ring).tolist()], fill=_LINE, width=2)
    corners = place(side.found.fit.place(corner_points(outline)))
    for number, (x, y) in enumerate(corners.tolist(), start=1):
        pen.ellipse((x - 11, y - 11, x + 11, y + 11), fill=PAPER, outline=_LINE, width=2)
        pen.text((x, y), str(number), fill=INK, font=draw.type_face(15), anchor="mm")
    return picture


def _splat(cells: Floats, chosen: np.ndarray, size: tuple[int, int]) -> np.ndarray:
    """Mark the pixels that some cells cover."""
    plate = np.zeros((size[1], size[0]), dtype=bool)
    at = np.floor(cells[chosen]).astype(int)
    at = at[((at >= 0) & (at < np.array(size))).all(axis=1)]
    plate[at[:, 1], at[:, 0]] = True
    return np.asarray(ndimage.binary_closing(plate, np.ones((3, 3))))


def _flat(found: Measured, side: Side, room: int) -> Image.Image:
    """Draw one side flat, from the colours that were laid on its cells."""
    panel = found.cloth.panels[side.found.panel]
    left, top, right, low = panel.outline.bounds
    scale = min(room / (right - left), _TALL / (low - top)) * 0.94
    size = (round(scale * (right - left)) + 8, round(scale * (low - top)) + 8)
    spine = (right if side.found.behind else -left) * scale + 4
    view = draw.View(scale, spine, 4 - top * scale, *size, flip=side.found.behind)
    seen = replace(found.cloth, dyeable=found.seen)
    light = draw.panel_light(view, seen, panel, found.look.srgb)
    canvas = np.empty((size[1], size[0], 3), dtype=np.float32)
    canvas[:] = draw.decode(np.array(PAPER) / 255.0)
    cover = draw.panel_mask(view, panel)
    canvas *= 1.0 - 0.3 * np.clip(ndimage.gaussian_filter(cover, 2.0) - cover, 0, 1)[..., None]
    draw.lay(canvas, light, cover)
    return Image.fromarray(draw.encode(canvas))
