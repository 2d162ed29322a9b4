"""Pictures of single pieces in forms that shops and catalogues ask for."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PIL import Image, ImageDraw

from meltwick.picture import draw
from meltwick.picture.preview import INK, PAPER, as_picture, paint_body

if TYPE_CHECKING:
    from meltwick.types import Result

_EDGE = 0.05  # of the shorter side, left free about a piece; chosen


def size_of(form: str, whole: tuple[int, int]) -> tuple[int, int]:
    """Return width and height [px] of a form.

    Parameters
    ----------
    form : str
        ``square 1080``, ``4:5 1080`` (width to height; 1080 on the longer side), ``long 2048``.
    whole : tuple of int
        Width and height of the piece as it is drawn, which ``long`` keeps.
    """
    kind, _, side = form.partition(" ")
    long = int(side)
    wide, tall = whole if kind == "long" else (1, 1)
    if ":" in kind:
        wide, tall = (int(part) for part in kind.split(":"))
    scale = long / max(wide, tall)
    return max(1, round(wide * scale)), max(1, round(tall * scale))


def draw_form(result: Result, form: str, words: str = "") -> Image.Image:
    """Draw a piece, front and back, fitted into a form.

    In an upright form the back stands below the front where that shows more of it.

    Parameters
    ----------
    result : Result
    form : str
        As for `size_of`.
    words : str
        A line below it; empty for none.
    """
    body = as_picture(paint_body(result, plain=False).pieces)
    width, height = size_of(form, body.size)
    edge = round(_EDGE * min(width, height))
    px = max(12, min(width, height) // 45)
    foot = 2 * px if words else 0
    room = (width - 2 * edge, height - 2 * edge - foot)
    body = _stacked(body, len(result.cloth.panels), room)
    scale = min(room[0] / body.width, room[1] / body.height)
    size = (max(1, round(body.width * scale)), max(1, round(body.height * scale)))
    sheet = Image.new("RGB", (width, height), PAPER)
    fitted = body.resize(size, Image.Resampling.LANCZOS)
    sheet.paste(fitted, ((width - size[0]) // 2, edge + (room[1] - size[1]) // 2))
    if words:
        said = draw.fit_text(words, px, room[0])
        at = (width / 2.0, height - edge * 0.6)
        ImageDraw.Draw(sheet).text(at, said, fill=INK, font=draw.type_face(px), anchor="ms")
    return sheet


def _stacked(body: Image.Image, panels: int, room: tuple[int, int]) -> Image.Image:
    """Put the right half of a picture below its left half, where both then come out larger."""
    wide, tall = body.size
    half = wide // 2
    if panels != 2 or wide < 1.3 * tall:
        return body
    beside = min(room[0] / wide, room[1] / tall)
    below = min(room[0] / half, room[1] / (2 * tall))
    if below <= beside:
        return body
    sheet = Image.new("RGB", (half, 2 * tall), PAPER)
    sheet.paste(body.crop((0, 0, half, tall)), (0, 0))
    sheet.paste(body.crop((wide - half, 0, wide, tall)), (0, tall))
    return sheet
