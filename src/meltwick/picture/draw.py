"""Brushes: masks, smooth colour, dashed stitching and type, on arrays of linear light."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from io import BytesIO
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from meltwick.types import Cloth, Panel

Canvas = NDArray[np.float32]
"""(H, W) or (H, W, 3), linear light 0..1."""

_FINE = 4  # masks are drawn this many times finer and averaged, for smooth edges


@dataclass(frozen=True)
class View:
    """Where a panel lies on the picture.

    Pixel centres are at half integers. ``flip`` shows the panel from behind.
    """

    scale: float  # [px/mm]
    left: float  # [px] of the spine
    top: float  # [px] of the shoulder's high point
    width: int
    height: int
    flip: bool = False

    def place(
        self, points: Sequence[tuple[float, float]] | NDArray[np.float64]
    ) -> NDArray[np.float64]:
        """Take points in garment millimetres to picture pixels, (P, 2)."""
        xy = np.asarray(points, dtype=np.float64).reshape(-1, 2) * self.scale
        if self.flip:
            xy[:, 0] *= -1.0
        placed: NDArray[np.float64] = xy + np.array([self.left, self.top])
        return placed


def decode(srgb: NDArray[np.floating]) -> Canvas:
    """Turn encoded sRGB 0..1 into linear light (IEC 61966-2-1; inverse of `encode`)."""
    s = np.asarray(srgb, dtype=np.float32)
    return np.where(s <= 0.04045, s / 12.92, ((s + 0.055) / 1.055) ** 2.4).astype(np.float32)


@lru_cache(maxsize=1)
def _encoding() -> NDArray[np.uint8]:
    light = np.arange(65536) / 65535.0
    coded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    table: NDArray[np.uint8] = np.rint(255.0 * coded).astype(np.uint8)
    return table


def encode(light: Canvas) -> NDArray[np.uint8]:
    """Turn linear light 0..1 into 8-bit sRGB (IEC 61966-2-1)."""
    steps = np.rint(np.clip(light, 0.0, 1.0) * 65535.0).astype(np.uint16)
    coded: NDArray[np.uint8] = _encoding()[steps]
    return coded


def outline_mask(view: View, rings: Sequence[tuple[NDArray[np.float64], bool]]) -> Canvas:
    """Cover of each pixel by a polygon, 0..1, drawn finer and averaged.

    Parameters
    ----------
    view : View
        Gives the picture's size.
    rings : sequence of (ndarray of shape (P, 2), bool)
        Rings in pixels; True fills, False cuts a hole.
    """
    fine = Image.new("L", (view.width * _FINE, view.height * _FINE), 0)
    pen = ImageDraw.Draw(fine)
    for ring, fills in rings:
        # Pillow fills whole pixels whose centre lies inside; centres are at half integers.
        points = [(float(x) * _FINE - 0.5, float(y) * _FINE - 0.5) for x, y in ring]
        pen.polygon(points, fill=255 if fills else 0)
    return np.asarray(fine.reduce(_FINE), dtype=np.float32) / 255.0


def panel_mask(view: View, panel: Panel) -> Canvas:
    """Cover of each pixel by the panel's outline."""
    shape = panel.outline
    rings = [(view.place(list(shape.exterior.coords)), True)]
    rings += [(view.place(list(hole.coords)), False) for hole in shape.interiors]
    return outline_mask(view, rings)


def _continued(cloth: Cloth, index: NDArray[np.int32], colours: Canvas) -> Canvas:
    """Lay cells on their raster and continue them over what takes no dye and beyond the outline.

    A gap takes its nearest cell; deep inside a gap that would print wedges, so there it takes the
    mean of the cells about it.
    """
    from scipy.ndimage import distance_transform_edt, gaussian_filter

    seen = index >= 0
    seen[seen] = cloth.dyeable[index[seen]]
    if not seen.any():
        seen = index >= 0
    far, near = distance_transform_edt(~seen, return_indices=True)
    cells: Canvas = colours[index[near[0], near[1]]]
    millimetre = 1.0 / (cloth.pitch * 1e3)  # [cells]
    deep = (index >= 0) & (far > max(1.5, 2.5 * millimetre))
    if not deep.any():
        return cells
    reach = int(np.ceil(30.0 * millimetre))
    at = [np.flatnonzero(deep.any(axis=1 - k)) for k in (0, 1)]
    box = tuple(slice(max(0, a[0] - reach), a[-1] + reach + 1) for a in at)
    here, sigma = seen[box].astype(np.float32), 8.0 * millimetre
    total = gaussian_filter(here, sigma)
    part = np.clip((far[box] * cloth.pitch * 1e3 - 2.5) / 4.0, 0.0, 1.0) * deep[box]
    for k in range(3):
        mean = gaussian_filter(here * cells[box][..., k], sigma) / np.maximum(total, 1e-6)
        cells[box][..., k] += part * (mean - cells[box][..., k])
    return cells


def panel_light(view: View, cloth: Cloth, panel: Panel, srgb: NDArray[np.float64]) -> Canvas:
    """Resample the cells' colours over the whole picture, without fringe or cell edges.

    The colours are continued beyond the outline from the nearest dyeable cell, so that the
    smooth mask never meets the background, and interpolated in linear light.
    """
    pitch = cloth.pitch * 1e3  # [mm]
    x0, y0 = panel.origin[0] * 1e3, panel.origin[1] * 1e3
    rows, cols = panel.index.shape
    pad = int(np.ceil(6.0 / (view.scale * pitch))) + 3
    cells = _continued(cloth, np.pad(panel.index, pad, constant_values=-1), decode(srgb))

    # The part of the picture that the padded raster covers, on whole pixels.
    a = view.left + view.scale * np.array([x0, x0 + cols * pitch])
    if view.flip:
        a = 2.0 * view.left - a[::-1]
        cells = cells[:, ::-1]
    b = view.top + view.scale * np.array([y0, y0 + rows * pitch])
    margin = min(4.0, (pad - 2) * pitch * view.scale)
    left, right = int(max(0, np.floor(a[0] - margin))), int(min(view.width, np.ceil(a[1] + margin)))
    top, low = int(max(0, np.floor(b[0] - margin))), int(min(view.height, np.ceil(b[1] + margin)))
    cell = view.scale * pitch  # [px]
    box = (
        (left - a[0]) / cell + pad,
        (top - b[0]) / cell + pad,
        (right - a[0]) / cell + pad,
        (low - b[0]) / cell + pad,
    )
    light = np.empty((view.height, view.width, 3), dtype=np.float32)
    light[:] = cells.reshape(-1, 3).mean(axis=0)
    for k in range(3):
        plane = Image.fromarray(np.ascontiguousarray(cells[..., k]))
        sized = plane.resize((right - left, low - top), Image.Resampling.BICUBIC, box=box)
        light[top:low, left:right, k] = np.asarray(sized)
    # Bicubic interpolation may swing past its neighbours; colours stay within the cells' own.
    return np.clip(light, cells.min(axis=(0, 1)), cells.max(axis=(0, 1)))


def _dashes(
    line: NDArray[np.float64], on: float, off: float
) -> Iterator[tuple[tuple[float, float], tuple[float, float]]]:
    steps = np.hypot(*np.diff(line, axis=0).T)
    along = np.concatenate(([0.0], np.cumsum(steps)))
    starts = np.arange(0.0, along[-1], on + off)
    ends = np.minimum(starts + on, along[-1])
    for first, last in zip(starts, ends, strict=True):
        x = np.interp([first, last], along, line[:, 0])
        y = np.interp([first, last], along, line[:, 1])
        yield (x[0], y[0]), (x[1], y[1])


def stroke(
    view: View,
    lines: Sequence[NDArray[np.float64]],
    width: float,
    dash: tuple[float, float] | None = None,
) -> Canvas:
    """Cover of each pixel by thin lines [px], whole or dashed, drawn finer and averaged."""
    cover = np.zeros((view.height, view.width), dtype=np.float32)
    box = _around(view, lines, width)
    if box is None:
        return cover
    left, top, right, low = box
    fine = Image.new("L", ((right - left) * _FINE, (low - top) * _FINE), 0)
    pen = ImageDraw.Draw(fine)
    wide = max(1, round(width * _FINE))
    for line in lines:
        if dash is None:
            ends = [((x - left) * _FINE, (y - top) * _FINE) for x, y in line]
            pen.line(ends, fill=255, width=wide, joint="curve")
            continue
        for dashed in _dashes(line, *dash):
            ends = [((x - left) * _FINE, (y - top) * _FINE) for x, y in dashed]
            pen.line(ends, fill=255, width=wide)
    drawn = np.asarray(fine.reduce(_FINE), dtype=np.float32)
    np.divide(drawn, np.float32(255.0), out=cover[top:low, left:right])
    return cover


def _around(
    view: View, lines: Sequence[NDArray[np.float64]], width: float
) -> tuple[int, int, int, int] | None:
    """Left, top, right and low end of the pixels that lines may cover; None where there are none.

    Only these are drawn: the rest of a large picture stays as it is.
    """
    points = [np.asarray(line, dtype=np.float64).reshape(-1, 2) for line in lines if len(line)]
    if not points:
        return None
    every, spare = np.concatenate(points), width + 2.0
    left, top = np.maximum(np.floor(every.min(axis=0) - spare), 0).astype(int).tolist()
    right, low = np.ceil(every.max(axis=0) + spare).astype(int).tolist()
    right, low = min(right, view.width), min(low, view.height)
    return (left, top, right, low) if left < right and top < low else None


def lay(canvas: Canvas, over: Canvas | tuple[float, float, float], cover: Canvas) -> None:
    """Lay a colour or a picture over the canvas, in place, by its cover (H, W)."""
    paint = np.asarray(over, dtype=np.float32)
    rows, cols = np.flatnonzero(cover.any(axis=1)), np.flatnonzero(cover.any(axis=0))
    if not len(rows):
        return
    box = (slice(rows[0], rows[-1] + 1), slice(cols[0], cols[-1] + 1))
    if paint.ndim == 3:
        paint = paint[box]
    spot = canvas[box]
    spot += cover[box][..., None] * (paint - spot)


@lru_cache(maxsize=8)
def type_face(size: int) -> ImageFont.FreeTypeFont:
    """Load the bundled DejaVu Sans at a size in pixels."""
    data = resources.files("meltwick.picture").joinpath("fonts/DejaVuSans.ttf").read_bytes()
    return ImageFont.truetype(BytesIO(data), size, layout_engine=ImageFont.Layout.BASIC)


def fit_text(text: str, size: int, room: float) -> str:
    """Shorten a text in the middle until it is no wider than ``room`` [px]."""
    face = type_face(size)
    if face.getlength(text) <= room:
        return text
    keep = len(text)
    while keep > 2:
        keep -= 1
        head = (keep + 1) // 2
        short = text[:head] + "…" + text[len(text) - (keep - head) :]
        if face.getlength(short) <= room:
            return short
    return "…"


def wrap_text(text: str, size: int, room: float) -> list[str]:
    """Break a text into lines no wider than ``room`` [px]; a word too long for it is shortened."""
    face, lines = type_face(size), [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        if lines[-1] and face.getlength(longer) > room:
            lines.append(word)
        else:
            lines[-1] = longer
    return [fit_text(line, size, room) for line in lines]


def text_mask(
    size: tuple[int, int], at: tuple[float, float], text: str, px: int, anchor: str
) -> Canvas:
    """Cover of each pixel by a line of type; ``size`` is (width, height), anchor Pillow's."""
    plate = Image.new("L", size, 0)
    ImageDraw.Draw(plate).text(at, text, fill=255, font=type_face(px), anchor=anchor)
    return np.asarray(plate, dtype=np.float32) / 255.0
