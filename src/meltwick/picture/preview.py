"""The preview: a garment laid flat on warm paper, front and back, dry."""

from __future__ import annotations

from dataclasses import dataclass
from io import BytesIO
from typing import TYPE_CHECKING, Literal

import numpy as np
from PIL import Image, PngImagePlugin

from meltwick.picture import draw, shading
from meltwick.picture.stitching import label_corners, sewing

if TYPE_CHECKING:
    from meltwick.picture.draw import Canvas, View
    from meltwick.picture.stitching import Seam
    from meltwick.types import Cloth, Panel, Result

LONG_SIDE = 1600  # [px]
DPI = 150
PAPER = (244, 239, 230)  # sRGB of the ground, warm and plain
INK = (74, 66, 58)  # sRGB of the caption
LABEL = (250, 248, 243)  # sRGB of the sewn-in label

_MARGIN, _GAP, _TOP, _FOOT = 64, 72, 60, 132  # [px]

Unit = Literal["cm", "in"]


@dataclass(frozen=True)
class _Sheet:
    """Size of the picture and the place of every panel on it."""

    width: int
    height: int
    scale: float  # [px/mm]
    views: tuple[View, ...]  # one a panel, each a window of the sheet
    corners: tuple[tuple[int, int], ...]  # (left, top) of each window


def _lay_out(cloth: Cloth) -> _Sheet:
    bounds = np.array([panel.outline.bounds for panel in cloth.panels])
    (x0, y0), (x1, y1) = bounds[:, :2].min(axis=0), bounds[:, 2:].max(axis=0)
    count = len(cloth.panels)
    wide, tall = float(x1 - x0), float(y1 - y0)
    across = LONG_SIDE - 2 * _MARGIN - _GAP * (count - 1)
    scale = min(across / (count * wide), (LONG_SIDE - _TOP - _FOOT) / tall)
    width = min(LONG_SIDE, round(scale * wide * count + 2 * _MARGIN + _GAP * (count - 1)))
    height = min(LONG_SIDE, round(scale * tall + _TOP + _FOOT))
    views, corners = [], []
    pad = min(_GAP // 2, _MARGIN)  # room for the shadow
    for number, panel in enumerate(cloth.panels):
        flip = panel.name == "back"
        left = _MARGIN + number * (scale * wide + _GAP) - pad
        corner = (round(left), _TOP - pad)
        spine = left - corner[0] + pad + scale * (x1 if flip else -x0)
        size = (round(scale * wide) + 2 * pad, round(scale * tall) + 2 * pad)
        size = (min(size[0], width - corner[0]), min(size[1], height - corner[1]))
        views.append(draw.View(scale, float(spine), pad - scale * y0, *size, flip=flip))
        corners.append(corner)
    return _Sheet(width, height, scale, tuple(views), tuple(corners))


def _light(colour: tuple[int, int, int]) -> Canvas:
    return draw.decode(np.array(colour) / 255.0)


def _behind(view: View, result: Result, panel: Panel, plain: bool) -> Canvas | None:
    """Inside of the back, seen through the neck of the front."""
    others = [other for other in result.cloth.panels if other.name == "back"]
    if panel.name != "front" or not others:
        return None
    inside = draw.panel_light(view, result.cloth, others[0], result.look.srgb)
    if label := label_corners(result.cloth, others[0]):
        draw.lay(inside, _light(LABEL), draw.outline_mask(view, [(view.place(label), True)]))
    if plain:
        return inside
    for seam in sewing(result.cloth, others[0])[0]:
        if seam.kind in ("rib", "rib edge"):
            _sew(inside, view, seam)
    return 0.86 * inside


def _sew(colour: Canvas, view: View, seam: Seam) -> None:
    """Draw a seam: a soft furrow in the cloth, and undyed thread where it shows."""
    lines = [view.place(line) for line in seam.lines]
    groove = draw.stroke(view, lines, seam.groove * view.scale)
    colour *= 1.0 - seam.shade * groove[..., None]
    if seam.dash is not None:
        dash = (seam.dash[0] * view.scale, seam.dash[1] * view.scale)
        thread = draw.stroke(view, lines, seam.thread * view.scale, dash)
        draw.lay(colour, _light(LABEL), 0.5 * thread)


def _paint(canvas: Canvas, view: View, result: Result, panel: Panel, plain: bool) -> None:
    """Paint one panel, its shadow and its stitching on its window of the sheet."""
    cloth = result.cloth
    mask = draw.panel_mask(view, panel)
    colour = draw.panel_light(view, cloth, panel, result.look.srgb)
    inside = _behind(view, result, panel, plain)
    below = mask
    if inside is not None:
        back = next(other for other in cloth.panels if other.name == "back")
        below = np.maximum(mask, draw.panel_mask(view, back))
    if plain:
        # white cloth on pale paper: a hair of shade tells where it ends, outside the cloth
        canvas *= 1.0 - 0.35 * shading.rim(below)[..., None]
        if inside is not None:
            draw.lay(canvas, inside, below)
        draw.lay(canvas, colour, mask)
        return
    shade = min(view.scale, 0.85)  # a close piece casts no wider shadow: it has no room to
    canvas *= 1.0 - shading.drop_shadow(below, shade)[..., None]
    if inside is not None:
        # The front's neck throws a little shade on the inside of the back.
        hollow = shading.drop_shadow(mask, shade)[..., None]
        draw.lay(canvas, inside * (1.0 - 0.9 * hollow), below)
    seams, creases = sewing(cloth, panel)
    colour *= shading.soft_light(view, mask, creases)[..., None]
    for seam in seams:
        _sew(colour, view, seam)
    draw.lay(canvas, colour, mask)


def _scale_bar(sheet: _Sheet, unit: Unit) -> tuple[float, str]:
    """Length of the bar [px] and its words, about an eighth of a garment's width."""
    sizes = (100.0, "10 cm") if unit == "cm" else (4 * 25.4, "4 in")
    length, words = sizes
    if length * sheet.scale < 50:
        length, words = (500.0, "50 cm") if unit == "cm" else (20 * 25.4, "20 in")
    return length * sheet.scale, words


def caption(result: Result) -> str:
    """One line under the picture: name, dyed to white, seed and detail."""
    from meltwick.shares import dyed_to_white

    ratio = dyed_to_white(result.white_share)
    detail = f"detail {result.detail_pitch * 1e3:g} mm"
    return f"{result.plan}   ·   {ratio} dyed to white   ·   seed {result.seed}   ·   {detail}"


def _write_foot(canvas: Canvas, sheet: _Sheet, result: Result, unit: Unit) -> None:
    """Scale bar on the left, caption on the right, a quiet word under each panel."""
    ink, size = _light(INK), (sheet.width, sheet.height)
    base = sheet.height - 40
    length, words = _scale_bar(sheet, unit)
    left = float(_MARGIN)
    bar = [(left, base - 5), (left, base), (left + length, base), (left + length, base - 5)]
    whole = draw.View(sheet.scale, 0.0, 0.0, *size)
    draw.lay(canvas, ink, draw.stroke(whole, [np.array(bar, dtype=np.float64)], 1.6))
    draw.lay(canvas, ink, draw.text_mask(size, (left + length + 12, base), words, 18, "ls"))
    taken = left + length + 12 + draw.type_face(18).getlength(words) + 40
    text = draw.fit_text(caption(result), 20, sheet.width - _MARGIN - taken)
    draw.lay(canvas, ink, draw.text_mask(size, (sheet.width - _MARGIN, base), text, 20, "rs"))
    if len(sheet.views) < 2:
        return
    for panel, view, corner in zip(result.cloth.panels, sheet.views, sheet.corners, strict=True):
        spot = (corner[0] + view.left, sheet.height - 92)
        cover = 0.7 * draw.text_mask(size, spot, panel.name, 17, "ms")
        draw.lay(canvas, ink, cover)


def draw_preview(result: Result, *, plain: bool = False, unit: Unit = "cm") -> Image.Image:
    """Draw the front and the back side by side, dry, the back as seen from behind.

    Parameters
    ----------
    result : Result
        What a simulation gave.
    plain : bool
        Leave out light, texture, shadow and stitching: the cells' own colours only.
    unit : {"cm", "in"}
        Unit of the scale bar.

    Returns
    -------
    PIL.Image.Image
        RGB, 1600 px on its long side; the same bytes for the same result.
    """
    sheet = _lay_out(result.cloth)
    canvas = np.empty((sheet.height, sheet.width, 3), dtype=np.float32)
    canvas[:] = _light(PAPER)
    for panel, view, (left, top) in zip(
        result.cloth.panels, sheet.views, sheet.corners, strict=True
    ):
        window = canvas[top : top + view.height, left : left + view.width]
        _paint(window, view, result, panel, plain)
    _write_foot(canvas, sheet, result, unit)
    picture = Image.fromarray(draw.encode(canvas))
    picture.info["dpi"] = (DPI, DPI)
    return picture


def preview_png(result: Result, *, version: str, plain: bool = False, unit: Unit = "cm") -> bytes:
    """Draw the preview as a PNG file with its digest, seed, version and white share inside."""
    picture = draw_preview(result, plain=plain, unit=unit)
    notes = PngImagePlugin.PngInfo()
    notes.add_text("Software", f"meltwick {version}")
    notes.add_itxt("Title", result.plan)
    notes.add_text("meltwick-digest", result.digest)
    notes.add_text("meltwick-seed", str(result.seed))
    notes.add_text("meltwick-version", version)
    notes.add_text("meltwick-white-share", f"{result.white_share:.4f}")
    stream = BytesIO()
    picture.save(stream, "PNG", pnginfo=notes, dpi=(DPI, DPI), compress_level=4)
    return stream.getvalue()
