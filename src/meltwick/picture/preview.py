"""The preview: a garment laid flat on warm paper, front and back, dry."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from io import BytesIO
from typing import TYPE_CHECKING, Literal

import numpy as np
from PIL import Image, PngImagePlugin

from meltwick.picture import draw, shading
from meltwick.picture.stitching import label_corners, sewing
from meltwick.picture.turning import TURNED, laid_across, lies_across

if TYPE_CHECKING:
    from meltwick.picture.draw import Canvas, View
    from meltwick.picture.stitching import Seam
    from meltwick.types import Cloth, Panel, Result

LONG_SIDE = 1600  # [px]
DPI = 150
PAPER = (244, 239, 230)  # sRGB of the ground, warm and plain
INK = (74, 66, 58)  # sRGB of the caption
LABEL = (250, 248, 243)  # sRGB of the sewn-in label
BETWEEN = "   ·   "  # between the parts of a caption

MARGIN, _GAP, TOP, _FOOT = 64, 72, 60, 132  # [px]
_MEASURES = LONG_SIDE, MARGIN, _GAP, TOP, _FOOT

Unit = Literal["cm", "in"]


@dataclass(frozen=True)
class _Sheet:
    """Size of the picture and the place of every panel on it."""

    width: int
    height: int
    scale: float  # [px/mm]
    views: tuple[View, ...]  # one a panel, each a window of the sheet
    corners: tuple[tuple[int, int], ...]  # (left, top) of each window
    box: tuple[int, int, int, int]  # left, top, right and low edge of the panels and their rim


@dataclass(frozen=True)
class Body:
    """A painted piece, before anything is written on its sheet."""

    canvas: Canvas
    sheet: _Sheet
    panels: tuple[str, ...]

    @property
    def rim(self) -> int:
        """Paper about the panels that their shadow needs [px]."""
        return min(_GAP // 2, MARGIN, TOP)

    @property
    def pieces(self) -> Canvas:
        """The panels and the rim about them."""
        left, top, right, low = self.sheet.box
        return self.canvas[top:low, left:right]

    @property
    def bare_size(self) -> tuple[int, int]:
        """Width and height of the panels without the rim [px]."""
        return self.sheet.width - 2 * MARGIN, self.sheet.height - TOP - _FOOT


def _lay_out(cloth: Cloth, share: float = 1.0) -> _Sheet:
    """Place the panels; at half the size, all is half as large, the margins too."""
    long, margin, gap, top, foot = (round(share * each) for each in _MEASURES)
    bounds = np.array([panel.outline.bounds for panel in cloth.panels])
    (x0, y0), (x1, y1) = bounds[:, :2].min(axis=0), bounds[:, 2:].max(axis=0)
    count = len(cloth.panels)
    wide, tall = float(x1 - x0), float(y1 - y0)
    across = long - 2 * margin - gap * (count - 1)
    scale = min(across / (count * wide), (long - top - foot) / tall)
    width = min(long, round(scale * wide * count + 2 * margin + gap * (count - 1)))
    height = min(long, round(scale * tall + top + foot))
    views, corners = [], []
    pad = min(gap // 2, margin)  # room for the shadow
    for number, panel in enumerate(cloth.panels):
        flip = panel.name.endswith("back")
        left = margin + number * (scale * wide + gap) - pad
        corner = (round(left), top - pad)
        spine = left - corner[0] + pad + scale * (x1 if flip else -x0)
        size = (round(scale * wide) + 2 * pad, round(scale * tall) + 2 * pad)
        size = (min(size[0], width - corner[0]), min(size[1], height - corner[1]))
        views.append(draw.View(scale, float(spine), pad - scale * y0, *size, flip=flip))
        corners.append(corner)
    rim = min(gap // 2, margin, top)
    box = (margin - rim, top - rim, width - margin + rim, height - foot + rim)
    return _Sheet(width, height, scale, tuple(views), tuple(corners), box)


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
            _sew(inside, view, seam, _thread(result))
    return 0.86 * inside


def _thread(result: Result) -> Canvas:
    """Colour of the thread: a coloured blank is sewn in its own colour."""
    if result.cloth.fabric.ground_name == "white":
        return _light(LABEL)
    return draw.decode(np.array(result.look.undyed_srgb))


def _sew(colour: Canvas, view: View, seam: Seam, bare: Canvas) -> None:
    """Draw a seam: a soft furrow in the cloth, and undyed thread where it shows."""
    lines = [view.place(line) for line in seam.lines]
    groove = draw.stroke(view, lines, seam.groove * view.scale)
    colour *= 1.0 - seam.shade * groove[..., None]
    if seam.dash is not None:
        dash = (seam.dash[0] * view.scale, seam.dash[1] * view.scale)
        thread = draw.stroke(view, lines, seam.thread * view.scale, dash)
        draw.lay(colour, bare, 0.5 * thread)


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
        _sew(colour, view, seam, _thread(result))
    draw.lay(canvas, colour, mask)


def _scale_bar(scale: float, unit: Unit) -> tuple[float, str]:
    """Length of the bar [px] and its words, about an eighth of a garment's width."""
    sizes = (100.0, "10 cm") if unit == "cm" else (4 * 25.4, "4 in")
    length, words = sizes
    if length * scale < 50:
        length, words = (500.0, "50 cm") if unit == "cm" else (20 * 25.4, "20 in")
    return length * scale, words


def caption(result: Result) -> str:
    """One line under the picture: name, dyed to undyed, seed and detail."""
    from meltwick.shares import dyed_to_white

    ratio = dyed_to_white(result.white_share)
    detail = f"detail {result.detail_pitch * 1e3:g} mm"
    said = f"{ratio} dyed to {result.cloth.fabric.ground_name}"
    return BETWEEN.join((result.plan, said, f"seed {result.seed}", detail))


def write_foot(canvas: Canvas, scale: float, caption: str, unit: Unit) -> None:
    """Write the scale bar on the left and the caption on the right; scale in px/mm."""
    height, width = canvas.shape[:2]
    ink, size = _light(INK), (width, height)
    base = height - 40
    length, words = _scale_bar(scale, unit)
    left = float(MARGIN)
    bar = [(left, base - 5), (left, base), (left + length, base), (left + length, base - 5)]
    whole = draw.View(scale, 0.0, 0.0, *size)
    draw.lay(canvas, ink, draw.stroke(whole, [np.array(bar, dtype=np.float64)], 1.6))
    draw.lay(canvas, ink, draw.text_mask(size, (left + length + 12, base), words, 18, "ls"))
    taken = left + length + 12 + draw.type_face(18).getlength(words) + 40
    room = width - MARGIN - taken
    lines = [caption]
    if draw.type_face(20).getlength(caption) > room:  # a narrow picture: the name on its own
        lines = caption.split(BETWEEN, 1)
    for above, line in enumerate(reversed(lines)):
        text = draw.fit_text(line, 20, room)
        spot = (width - MARGIN, base - 28 * above)
        draw.lay(canvas, ink, draw.text_mask(size, spot, text, 20, "rs"))


def write_quietly(canvas: Canvas, spot: tuple[float, float], text: str, cover: float = 0.7) -> None:
    """Write a word about a picture, centred on a spot of its base line [px]."""
    height, width = canvas.shape[:2]
    mask = cover * draw.text_mask((width, height), spot, text, 17, "ms")
    draw.lay(canvas, _light(INK), mask)


def panel_words(body: Body) -> list[tuple[str, tuple[float, float]]]:
    """Name of each panel and the spot under it [px]; a lone one needs none unless turned."""
    sheet = body.sheet
    if body.panels == (TURNED,):
        return [(TURNED, (sheet.width / 2.0, sheet.height - 92.0))]
    if len(sheet.views) < 2:
        return []
    spots = [corner[0] + view.left for view, corner in zip(sheet.views, sheet.corners, strict=True)]
    return [(word, (x, sheet.height - 92.0)) for word, x in zip(body.panels, spots, strict=True)]


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
    body = paint_body(result, plain)
    write_foot(body.canvas, body.sheet.scale, caption(result), unit)
    for word, spot in panel_words(body):
        write_quietly(body.canvas, spot, word)
    return as_picture(body.canvas)


def piece_shape(result: Result) -> tuple[int, int]:
    """Width and height of the panels and the rim about them, as `paint_body` paints them [px]."""
    left, top, right, low = _lay_out(laid_across(result).cloth).box
    return right - left, low - top


def paint_body(result: Result, plain: bool, size: float = 1.0) -> Body:
    """Paint every panel on paper, without a word; a very long piece lies across.

    ``size`` below 1 paints all of it smaller, in as much less time.
    """
    turned = lies_across(result.cloth)
    result = laid_across(result)
    sheet = _lay_out(result.cloth, size)
    canvas = bare_paper(sheet.width, sheet.height)
    for panel, view, (left, top) in zip(
        result.cloth.panels, sheet.views, sheet.corners, strict=True
    ):
        window = canvas[top : top + view.height, left : left + view.width]
        _paint(window, view, result, panel, plain)
    names = tuple(panel.name for panel in result.cloth.panels)
    return Body(canvas, sheet, (TURNED,) if turned else names)


def bare_paper(width: int, height: int) -> Canvas:
    """Return an empty sheet."""
    canvas = np.empty((height, width, 3), dtype=np.float32)
    canvas[:] = _light(PAPER)
    return canvas


def as_picture(canvas: Canvas) -> Image.Image:
    """Turn light into a picture."""
    picture = Image.fromarray(draw.encode(canvas))
    picture.info["dpi"] = (DPI, DPI)
    return picture


def preview_png(result: Result, *, version: str, plain: bool = False, unit: Unit = "cm") -> bytes:
    """Draw the preview as a PNG file with its digest, seed, version and white share inside."""
    return as_png(draw_preview(result, plain=plain, unit=unit), result, version)


def as_png(
    picture: Image.Image, result: Result, version: str, more: Mapping[str, str] | None = None
) -> bytes:
    """Save a picture of a result with its digest, seed, version and white share inside."""
    said = {
        "meltwick-digest": result.digest,
        "meltwick-seed": str(result.seed),
        "meltwick-version": version,
        "meltwick-white-share": f"{result.white_share:.4f}",
    }
    return as_file(picture, result.plan, version, {**said, **(more or {})})


def as_file(
    picture: Image.Image, title: str, version: str, more: Mapping[str, str] | None = None
) -> bytes:
    """Save any picture as a PNG file that says what it shows and what made it."""
    notes = PngImagePlugin.PngInfo()
    notes.add_text("Software", f"meltwick {version}")
    notes.add_itxt("Title", title)
    for key, value in (more or {}).items():
        notes.add_text(key, value)
    stream = BytesIO()
    picture.save(stream, "PNG", pnginfo=notes, dpi=(DPI, DPI), compress_level=4)
    return stream.getvalue()
