"""The fold guide: on the flat piece where it is folded, tied and laid; and the tied bundle."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image, ImageDraw

from meltwick.picture import draw
from meltwick.picture.bundle_view import STRING, Scene, extent, hidden, paint_bundle, sealed
from meltwick.picture.preview import (
    DPI,
    INK,
    LONG_SIDE,
    MARGIN,
    PAPER,
    Unit,
    as_picture,
    bare_paper,
    paint_body,
    panel_words,
)
from meltwick.picture.turning import lies_across

if TYPE_CHECKING:
    from meltwick.folding.creases import CreaseLine
    from meltwick.types import Floats, Result

_TITLE = 92  # [px]
_STEP = 30  # [px] from line to line of words
_KEY = 44  # [px] from row to row of the key
_TINT = 0.62  # deepest tint, so that creases show through; chosen
_FAINT = (158, 146, 132)  # of small words


@dataclass(frozen=True)
class Pinch:
    """A point of the flat piece where fingers take hold."""

    panel: str
    point: Floats  # (2,) [m] right of the spine and down
    said: str  # what is done there


@dataclass(frozen=True)
class Words:
    """What is written on a guide."""

    title: str
    lines: Sequence[str]  # steps, one after another
    string: str = ""  # what the brown marks are, and how much of it is needed; empty: none
    dyes: Sequence[str] = ()  # of each heap: its name and how much


# ------------------------------------------------------------------------------- the bundle


def draw_bundle(scene: Scene, words: Words, unit: Unit = "cm") -> Image.Image:
    """Draw the bundle from above and from the side, to one scale.

    Parameters
    ----------
    scene : Scene
    words : Words
    unit : {"cm", "in"}
        Of the measures.

    Returns
    -------
    PIL.Image.Image
        RGB, 1600 px wide; the same bytes for the same scene.
    """
    (w1, h1), (w2, h2) = extent(scene, "above"), extent(scene, "side")
    ends = 2.0 * max(0.04, 0.12 * scene.bundle.length) if scene.pole else 0.0
    w1, w2 = w1 + ends, w2 + ends * np.cos(scene.incline)
    h2 += ends * np.sin(scene.incline)
    stacked = max(w1, w2) > 1.3 * max(h1, h2)
    room = LONG_SIDE - 2 * MARGIN
    if stacked:
        scale = min(room / max(w1, w2), 760.0 / (h1 + h2))
        tall = scale * (h1 + h2) + 150.0
        spots = (
            (LONG_SIDE / 2.0, _TITLE + scale * h1 / 2.0 + 20.0),
            (LONG_SIDE / 2.0, _TITLE + scale * (h1 + h2 / 2.0) + 110.0),
        )
    else:
        scale = min((room - 80.0) / (w1 + w2), 640.0 / max(h1, h2))
        tall = scale * max(h1, h2) + 70.0
        middle, left = _TITLE + scale * max(h1, h2) / 2.0 + 20.0, (LONG_SIDE - 80.0) / 2.0
        left -= scale * (w1 + w2) / 2.0
        spots = (
            (left + scale * w1 / 2.0, middle),
            (left + scale * (w1 + w2 / 2.0) + 80.0, middle),
        )
    canvas = bare_paper(LONG_SIDE, round(_TITLE + tall))
    boxes = []
    for side, spot in zip(("above", "side"), spots, strict=True):
        boxes.append(paint_bundle(canvas, scene, side, spot, scale))  # type: ignore[arg-type]
    sheet = as_picture(canvas)
    pen = ImageDraw.Draw(sheet)
    _measures(pen, scene, boxes, unit)
    return _finish(sheet, words, _dye_key(scene, words))


def _measures(
    pen: ImageDraw.ImageDraw,
    scene: Scene,
    boxes: Sequence[tuple[float, float, float, float]],
    unit: Unit,
) -> None:
    """Write under each view what it shows and how large it is."""
    long, wide = extent(scene, "above")
    _, high = extent(scene, "side")
    said = (
        f"from above: {_length(long, unit)} long, {_length(wide, unit)} wide",
        f"from the side: {_length(high, unit)} from top to bottom",
    )
    for text, (left, _, right, low) in zip(said, boxes, strict=True):
        at = ((left + right) / 2.0, low + 38.0)
        pen.text(at, text, fill=INK, font=draw.type_face(18), anchor="ms")
    if scene.incline > 0.02:
        left, top, right, low = boxes[1]
        for x, y, word in ((left, low + 38, "low end"), (right, top - 14, "high end")):
            pen.text((x, y), word, fill=_FAINT, font=draw.type_face(16), anchor="ms")


def _length(metres: float, unit: Unit) -> str:
    if unit == "in":
        inches = metres / 0.0254
        return f"{inches:.2g} in" if inches < 10.0 else f"{inches:.0f} in"
    if metres < 0.01:
        return f"{1e3 * metres:.2g} mm"
    return f"{100 * metres:.2g} cm" if metres < 0.1 else f"{100 * metres:.0f} cm"


# ------------------------------------------------------------------------------- the flat piece


def draw_flat(
    result: Result,
    scene: Scene,
    lines: Sequence[CreaseLine],
    words: Words,
    pinches: Sequence[Pinch] = (),
) -> Image.Image:
    """Draw the flat piece, front and back, with creases, string and powder where they come.

    Parameters
    ----------
    result : Result
        The undyed piece.
    scene : Scene
        The same cloth, tied and laid.
    lines : sequence of CreaseLine
    words : Words
    pinches : sequence of Pinch
        Points that are pinched or pulled up.

    Returns
    -------
    PIL.Image.Image
        RGB, 1600 px wide; the same bytes for the same piece.
    """
    from dataclasses import replace

    tinted = replace(result, look=replace(result.look, srgb=_tinted(result, scene)))
    body = paint_body(tinted, plain=False)
    sheet = as_picture(body.canvas)
    turned = lies_across(result.cloth)
    fine = Image.new("L", (sheet.width * 2, sheet.height * 2), 0)
    pen = ImageDraw.Draw(fine)
    names = [panel.name for panel in result.cloth.panels]

    def place(panel: str, points: Floats) -> Floats:
        view, corner = body.sheet.views[names.index(panel)], body.sheet.corners[names.index(panel)]
        across = points[:, ::-1] * np.array([1.0, -1.0]) if turned else points
        return np.asarray(2.0 * (view.place(1e3 * across) + np.array(corner)))

    for line in lines:
        _crease(pen, place(line.panel, line.points), line.towards)
    for pinch in pinches:
        _cross(pen, place(pinch.panel, pinch.point[None])[0])
    sheet.paste(INK, (0, 0), fine.reduce(2))
    under = ImageDraw.Draw(sheet)
    for word, spot in panel_words(body):
        under.text(spot, word, fill=_FAINT, font=draw.type_face(17), anchor="ms")
    whole = Image.new("RGB", (LONG_SIDE, sheet.height + _TITLE - 100), PAPER)
    whole.paste(sheet, ((LONG_SIDE - sheet.width) // 2, _TITLE - 50))
    keys = [*_crease_key(lines), *_string_key(words), *_dye_key(scene, words)]
    if pinches:
        keys.insert(0, _Key("cross", pinches[0].said))
    return _finish(whole, words, keys)


def _tinted(result: Result, scene: Scene) -> Floats:
    """Colours of the undyed cells, with a tint of the powder and brown where string lies."""
    srgb = result.look.srgb.copy()
    area = scene.cloth.pitch**2
    load = sum((heap.mass for heap in scene.heaps), np.zeros(len(srgb))) / area
    mixed = sum(
        (heap.mass[:, None] * np.array(heap.colour) for heap in scene.heaps), np.zeros_like(srgb)
    )
    mixed = mixed / np.maximum(load * area, 1e-30)[:, None]
    tint = (_TINT * hidden(load))[:, None]
    srgb += tint * (mixed - srgb)
    bundle = scene.bundle
    tied = np.clip(2.0 * bundle.covered - 0.5, 0.0, 1.0)
    tied = np.where(bundle.exposed > 0.02, tied, bundle.covered >= 1.0)[:, None]
    mark = np.where(sealed(bundle)[:, None], np.array(scene.seal), np.array(STRING)) / 255.0
    return np.asarray(srgb + 0.85 * tied * (mark - srgb))


def _crease(pen: ImageDraw.ImageDraw, points: Floats, whole: bool) -> None:
    """Draw one crease, whole or dashed, on a mask twice as fine as the picture."""
    if whole:
        pen.line([(float(x), float(y)) for x, y in points], fill=225, width=4, joint="curve")
        return
    steps = np.hypot(*np.diff(points, axis=0).T)
    along = np.concatenate(([0.0], np.cumsum(steps)))
    for start in np.arange(0.0, along[-1], 28.0):
        end = min(start + 15.0, along[-1])
        x, y = (np.interp([start, end], along, points[:, k]) for k in (0, 1))
        pen.line([(x[0], y[0]), (x[1], y[1])], fill=225, width=4)


def _cross(pen: ImageDraw.ImageDraw, at: Floats) -> None:
    """Draw a cross on a mask twice as fine as the picture."""
    x, y = float(at[0]), float(at[1])
    for run in (1.0, -1.0):
        pen.line((x - 16, y - 16 * run, x + 16, y + 16 * run), fill=255, width=6)


# ------------------------------------------------------------------------------- words and keys


@dataclass(frozen=True)
class _Key:
    """One entry of the key: what is drawn, and what it means."""

    kind: str  # whole, dashed, patch, cross
    text: str
    colour: tuple[int, int, int] = INK


def _crease_key(lines: Sequence[CreaseLine]) -> list[_Key]:
    found = []
    if any(line.towards for line in lines):
        found.append(_Key("whole", "crease: fold towards you"))
    if any(not line.towards for line in lines):
        found.append(_Key("dashed", "crease: fold away from you"))
    return found


def _string_key(words: Words) -> list[_Key]:
    return [_Key("patch", words.string, STRING)] if words.string else []


def _dye_key(scene: Scene, words: Words) -> list[_Key]:
    colours = [tuple(round(255 * part) for part in heap.colour) for heap in scene.heaps]
    return [
        _Key("patch", text, colour)  # type: ignore[arg-type]
        for text, colour in zip(words.dyes, colours, strict=True)
    ]


def _placed(keys: Sequence[_Key]) -> list[tuple[int, int]]:
    """Where the entries of the key stand, row after row: left and row."""
    face, spots = draw.type_face(18), []
    left, row = MARGIN, 0
    for key in keys:
        wide = 58 + round(face.getlength(key.text)) + 36
        if left > MARGIN and left + wide > LONG_SIDE - MARGIN:
            left, row = MARGIN, row + 1
        spots.append((left, row))
        left += wide
    return spots


def _wrapped(lines: Sequence[str]) -> list[str]:
    """Give each step its number, and break it where the sheet ends."""
    out, room = [], LONG_SIDE - 2 * MARGIN - 40
    for number, line in enumerate(lines, 1):
        first, *rest = draw.wrap_text(line, 18, room)
        out += [f"{number}.\t{first}", *(f"\t{said}" for said in rest)]
    return out


def _finish(sheet: Image.Image, words: Words, keys: Sequence[_Key]) -> Image.Image:
    """Add the title above a picture, and the key and the steps below it."""
    spots, steps = _placed(keys), _wrapped(words.lines)
    rows = spots[-1][1] + 1 if spots else 0
    whole = Image.new(
        "RGB", (LONG_SIDE, sheet.height + rows * _KEY + len(steps) * _STEP + 60), PAPER
    )
    whole.paste(sheet, (0, 0))
    pen = ImageDraw.Draw(whole)
    pen.text((MARGIN, 52), words.title, fill=INK, font=draw.type_face(24), anchor="ls")
    for key, (left, row) in zip(keys, spots, strict=True):
        _draw_key(pen, key, left, sheet.height + row * _KEY + 24)
    top = sheet.height + rows * _KEY + 30
    for n, line in enumerate(steps):
        number, text = line.split("\t", 1)
        y = top + n * _STEP
        pen.text((MARGIN, y), number, fill=_FAINT, font=draw.type_face(18), anchor="ls")
        pen.text((MARGIN + 36, y), text, fill=INK, font=draw.type_face(18), anchor="ls")
    whole.info["dpi"] = (DPI, DPI)
    return whole


def _draw_key(pen: ImageDraw.ImageDraw, key: _Key, left: int, middle: int) -> None:
    if key.kind == "patch":
        pen.rectangle((left + 8, middle - 10, left + 44, middle + 10), fill=key.colour)
    elif key.kind == "cross":
        for run in (1, -1):
            pen.line((left + 24, middle - 8 * run, left + 40, middle + 8 * run), fill=INK, width=3)
    elif key.kind == "whole":
        pen.line((left, middle, left + 46, middle), fill=INK, width=2)
    else:
        for start in range(0, 46, 14):
            pen.line((left + start, middle, left + start + 8, middle), fill=INK, width=2)
    pen.text((left + 56, middle), key.text, fill=INK, font=draw.type_face(18), anchor="lm")
