"""A dyed piece laid flat on a table: outline a little out of shape, wrinkles, seams, shadow.

The table's frame is the garment's, in millimetres, as seen from above: x to the right, y down.
Nothing here is shared with what measures photographs; of the package it uses the cloth's raster
and the colours that a simulation gave.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw
from scipy.ndimage import distance_transform_edt, gaussian_filter, map_coordinates
from tests.grounds import Floats, Patch, rough

from meltwick.types import Cloth, Panel

STEP = 8.0  # of the raster that holds the displacement [mm]
MARGIN = 70.0  # of table about the garment [mm]
THREAD = (0.93, 0.92, 0.89)


@dataclass(frozen=True)
class Shown:
    """What one side of a piece shows: the raster of its cells as they are seen from above."""

    cloth: Cloth
    panel: Panel
    below: Panel | None
    light: Floats  # (N, 3) linear sRGB, not cut to what a screen shows
    flip: bool

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Left, top, right and bottom of the panel as seen [mm]."""
        x0, y0, x1, y1 = self.panel.outline.bounds
        return (-x1, y0, -x0, y1) if self.flip else (x0, y0, x1, y1)

    def seen(self, points: Floats) -> Floats:
        """Garment millimetres as they are seen from above."""
        points = np.asarray(points, dtype=np.float64).reshape(-1, 2)
        return points * (-1.0, 1.0) if self.flip else points.copy()

    def index(self, panel: Panel) -> tuple[Floats, tuple[float, float]]:
        """Cell numbers as seen, and the corner of their raster [mm]."""
        x0, y0 = 1e3 * panel.origin[0], 1e3 * panel.origin[1]
        if not self.flip:
            return panel.index, (x0, y0)
        wide = panel.index.shape[1] * 1e3 * self.cloth.pitch
        return panel.index[:, ::-1], (-x0 - wide, y0)


@dataclass(frozen=True)
class Slack:
    """How far each place of the garment was shifted when it was laid down."""

    corner: tuple[float, float]  # of the raster [mm]
    shift: Floats  # (rows, cols, 2) [mm], by place on the flat garment

    def _at(self, points: Floats) -> Floats:
        rc = (points[:, ::-1] - self.corner[::-1]).T / STEP
        parts = [map_coordinates(self.shift[..., k], rc, order=1, mode="nearest") for k in (0, 1)]
        return np.column_stack(parts)

    def laid(self, points: Floats) -> Floats:
        """Where points of the flat garment come to lie, (n, 2) [mm]."""
        return points + self._at(points)

    def flat(self, points: Floats) -> Floats:
        """Take points of the table back to the flat garment, (n, 2) [mm]."""
        found = points.copy()
        for _ in range(12):
            found = points - self._at(found)
        return found


def slacken(shown: Shown, most: float, rng: np.random.Generator) -> Slack:
    """Draw a displacement: slow shifts up to ``most`` of the garment's size, turned sleeves."""
    x0, y0, x1, y1 = shown.bounds
    pad = 2 * MARGIN
    corner = (x0 - pad, y0 - pad)
    patch = Patch(
        int((y1 - y0 + 2 * pad) / STEP) + 1, int((x1 - x0 + 2 * pad) / STEP) + 1, 1 / STEP
    )
    size = min(x1 - x0, y1 - y0)
    shift = np.zeros((patch.rows, patch.cols, 2))
    for k in (0, 1):
        wave = rough(patch, rng, 420) + 0.2 * rough(patch, rng, 200)
        shift[..., k] = 0.4 * most * size * np.clip(wave, -2.5, 2.5)
    if "sleeves" in shown.cloth.zones:
        x = corner[0] + STEP * np.arange(patch.cols)[None, :]
        y = corner[1] + STEP * np.arange(patch.rows)[:, None]
        half = _body_half(shown)
        for side in (-1, 1):
            turn = rng.uniform(-1, 1) * np.deg2rad(160 * most)
            weight = np.clip((side * x - half + 30) / 110, 0, 1)
            weight = weight**2 * (3 - 2 * weight)
            px, py = side * half, 0.22 * (y1 - y0)
            dx, dy = x - px, y - py
            shift[..., 0] += weight * (np.cos(turn) * dx - np.sin(turn) * dy - dx)
            shift[..., 1] += weight * (np.sin(turn) * dx + np.cos(turn) * dy - dy)
    return Slack(corner, shift)


def _body_half(shown: Shown) -> float:
    """Half the width of the body, from the cells of its lower part [mm]."""
    index, (left, _) = shown.index(shown.panel)
    row = index[int(0.75 * len(index))]
    columns = np.flatnonzero(row >= 0)
    return abs(left + columns.min() * 1e3 * shown.cloth.pitch)


@dataclass(frozen=True)
class Laid:
    """The garment's window of the table, at ``fine`` samples a millimetre."""

    corner: tuple[float, float]  # [mm]
    fine: float
    colour: Floats  # (h, w, 3) linear reflectance, continued beyond the edge
    cover: Floats  # (h, w) 0..1 of cloth of either panel
    front: Floats  # (h, w) 0..1 of the panel that is shown
    shadow: Floats  # (h, w) share of the light that the ground loses
    cell: Floats  # (h, w) number of the cell shown, or -1
    outline: Floats  # (n, 2) of the panel as laid [mm]


def lay_down(
    shown: Shown,
    slack: Slack,
    *,
    fine: float,
    wrinkles: float,
    lamp: float,
    rng: np.random.Generator,
) -> Laid:
    """Lay a piece down.

    Parameters
    ----------
    shown : Shown
        The side that is seen.
    slack : Slack
        How it is out of shape.
    fine : float
        Samples per millimetre.
    wrinkles : float
        Spread of the shading that wrinkles make, as a share of the light.
    lamp : float
        Direction in the table's plane from which the light comes [rad].
    rng : Generator
        Draws wrinkles and yarn.
    """
    x0, y0, x1, y1 = shown.bounds
    corner = (x0 - MARGIN, y0 - MARGIN)
    patch = Patch(int((y1 - y0 + 2 * MARGIN) * fine), int((x1 - x0 + 2 * MARGIN) * fine), fine)
    place = _flat_places(patch, corner, slack)
    front = _polygon(shown, shown.panel, slack, patch, corner)
    colour = _sampled(shown, shown.panel, place)
    light = _relief(patch, rng, wrinkles, lamp)
    depth = distance_transform_edt(front > 0.5).astype(np.float32) / fine
    colour *= (1 - 0.16 * np.exp(-depth / 1.6) - 0.03 * np.exp(-depth / 7))[..., None]
    colour *= light[..., None]
    _sew(colour, shown, shown.panel, slack, patch, corner)
    cover = front
    if shown.below is not None:
        cover = np.maximum(front, _polygon(shown, shown.below, slack, patch, corner))
        inside = _sampled(shown, shown.below, place)
        _sew(inside, shown, shown.below, slack, patch, corner)
        hollow = gaussian_filter(front, 7 * fine)
        inside *= (0.90 - 0.35 * hollow)[..., None] * light[..., None]
        colour = front[..., None] * colour + (1 - front[..., None]) * inside
    return Laid(
        corner,
        fine,
        colour,
        cover,
        front,
        _shadow(cover, fine, lamp),
        _cells(shown, place, front),
        slack.laid(shown.seen(_dense(np.asarray(shown.panel.outline.exterior.coords), 4.0))),
    )


def _flat_places(patch: Patch, corner: tuple[float, float], slack: Slack) -> Floats:
    """Where on the flat garment each sample of the window lies, (2, h, w) [mm]: x, y."""
    coarse = max(1, int(6 * patch.fine))
    rows, cols = patch.rows // coarse + 2, patch.cols // coarse + 2
    r, c = np.mgrid[:rows, :cols]
    table = np.column_stack([c.ravel(), r.ravel()]) * coarse / patch.fine + corner
    flat = slack.flat(table).reshape(rows, cols, 2)
    row, col = np.mgrid[: patch.rows, : patch.cols].astype(np.float32)
    at = [(row + 0.5) / coarse, (col + 0.5) / coarse]
    return np.stack([map_coordinates(flat[..., k], at, order=1) for k in (0, 1)])


def _raster_place(
    shown: Shown, corner: tuple[float, float], place: Floats
) -> tuple[Floats, Floats]:
    """Row and column [cells] of places of the flat garment; a cell's centre is at a half."""
    pitch = 1e3 * shown.cloth.pitch
    return (place[1] - corner[1]) / pitch, (place[0] - corner[0]) / pitch


def within_cells(shown: Shown, times: int) -> Floats:
    """Colour at so many by so many places of every dyeable cell shown, (n, 3), as it is drawn."""
    index, corner = shown.index(shown.panel)
    known = index >= 0
    known[known] = shown.cloth.dyeable[index[known]]
    row, col = (part[:, None, None] for part in np.nonzero(known))
    down, across = (np.mgrid[0:times, 0:times] + 0.5) / times
    pitch = 1e3 * shown.cloth.pitch
    place = np.stack([corner[0] + pitch * (col + across), corner[1] + pitch * (row + down)])
    return _sampled(shown, shown.panel, place).reshape(-1, 3)


def _sampled(shown: Shown, panel: Panel, place: Floats) -> Floats:
    """Colour at each place: the cells', continued past the edge and over thread."""
    index, corner = shown.index(panel)
    pad = int(MARGIN / (1e3 * shown.cloth.pitch)) + 2
    index = np.pad(index, pad, constant_values=-1)
    known = index >= 0
    known[known] = shown.cloth.dyeable[index[known]]
    near = distance_transform_edt(~known, return_distances=False, return_indices=True)
    cells = shown.light[index[near[0], near[1]]]
    row, col = _raster_place(shown, corner, place)
    at = [row - 0.5 + pad, col - 0.5 + pad]
    planes = [map_coordinates(cells[..., k], at, order=1, mode="nearest") for k in range(3)]
    return np.stack(planes, axis=-1).astype(np.float32)


def _cells(shown: Shown, place: Floats, front: Floats) -> Floats:
    index, corner = shown.index(shown.panel)
    row, col = (np.floor(part).astype(int) for part in _raster_place(shown, corner, place))
    there = (row >= 0) & (row < index.shape[0]) & (col >= 0) & (col < index.shape[1])
    out = np.full(front.shape, -1, dtype=np.int32)
    out[there] = index[row[there], col[there]]
    out[front < 0.5] = -1
    return out


def _polygon(
    shown: Shown, panel: Panel, slack: Slack, patch: Patch, corner: tuple[float, float]
) -> Floats:
    """Cover of each sample by a panel as laid, drawn three times finer and averaged."""
    times = 3
    plate = Image.new("L", (patch.cols * times, patch.rows * times), 0)
    pen = ImageDraw.Draw(plate)
    shape = panel.outline
    for ring, ink in [(shape.exterior, 255), *((hole, 0) for hole in shape.interiors)]:
        points = slack.laid(shown.seen(_dense(np.asarray(ring.coords), 3.0)))
        points = (points - corner) * patch.fine * times - 0.5
        pen.polygon([tuple(point) for point in points.tolist()], fill=ink)
    return np.asarray(plate.reduce(times), dtype=np.float32) / 255


def _dense(line: Floats, step: float) -> Floats:
    """Points along a line, no more than a step apart."""
    line = np.asarray(line, dtype=np.float64)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    many = np.linspace(0, along[-1], max(2, int(along[-1] / step) + 1))
    return np.column_stack([np.interp(many, along, line[:, k]) for k in (0, 1)])


def _relief(patch: Patch, rng: np.random.Generator, wrinkles: float, lamp: float) -> Floats:
    """Light on wrinkled knit, about 1: slow waves, sharp creases here and there, yarn."""
    toward = np.array([np.cos(lamp), np.sin(lamp)], dtype=np.float32)
    coarse = Patch(patch.rows // 3 + 2, patch.cols // 3 + 2, patch.fine / 3)

    def slope(height: Floats) -> Floats:
        down, right = np.gradient(gaussian_filter(height, 0.8))
        out = toward[0] * right + toward[1] * down
        return out / max(float(out.std()), 1e-9)

    waves = slope(rough(coarse, rng, 150) + 0.5 * rough(coarse, rng, 75))
    creases = np.zeros_like(waves)
    for _ in range(4):
        lean = float(rng.uniform(0, np.pi))
        ridge = 1 - np.abs(rough(coarse, rng, float(rng.uniform(28, 60)), 4.0, lean))
        here = np.clip(rough(coarse, rng, 190) - 0.2, 0, 1.5)
        creases += here * slope(np.clip(ridge, 0.2, 1.0))
    creases /= max(float(creases.std()), 1e-9)
    light = wrinkles * np.clip(0.7 * waves + 0.75 * creases, -3.5, 3.5)
    if rng.random() < 0.35:  # it came folded out of a packet
        u, v = coarse.millimetres()
        for line in (u - u.mean(), v - v.mean() - rng.uniform(-90, 90)):
            light -= 0.8 * wrinkles * line / 4 * np.exp(-((line / 6) ** 2)) * 2
    wide = Image.fromarray(light.astype(np.float32)).resize(
        (coarse.cols * 3, coarse.rows * 3), Image.Resampling.BICUBIC
    )
    smooth = np.asarray(wide)[: patch.rows, : patch.cols]
    u, v = patch.millimetres()
    wales = np.sin(2 * np.pi * u / 1.3 + 0.6 * np.sin(2 * np.pi * v / 1.0))
    yarn = 0.010 * wales + 0.012 * rough(patch, rng, 1.2, 3.0, np.pi / 2)
    return np.clip(1 + smooth + yarn, 0.7, 1.2).astype(np.float32)


_SEAMS: dict[str, tuple[float, float, bool]] = {  # width [mm], darker by, thread seen
    "rib edge": (2.2, 0.16, False),
    "sleeve seam": (2.4, 0.15, False),
    "cuff seam": (2.4, 0.16, False),
    "seam": (2.4, 0.15, False),
    "handle edge": (2.2, 0.16, False),
    "cuff rib": (1.2, 0.08, False),
    "hem stitching": (1.8, 0.11, True),
    "cuff stitching": (1.8, 0.11, True),
    "handle stitching": (1.8, 0.11, True),
}


def _sew(
    colour: Floats,
    shown: Shown,
    panel: Panel,
    slack: Slack,
    patch: Patch,
    corner: tuple[float, float],
) -> None:
    """Draw seams, stitching and the label: furrows in the cloth and thread that took no dye."""
    for kind, (width, shade, thread) in _SEAMS.items():
        lines = [
            (slack.laid(shown.seen(_dense(part.points, 2.0))) - corner) * patch.fine
            for part in shown.cloth.details
            if part.kind == kind and part.panel == panel.name and len(part.points) > 1
        ]
        if not lines:
            continue
        furrow = _stroke(patch, lines, width * patch.fine)
        colour *= 1 - shade * furrow[..., None]
        if kind == "rib edge":
            colour *= 1 - 0.05 * _ribbed(patch, lines)[..., None]
        if thread:
            stitches = [
                line[start : start + 2] for line in lines for start in range(0, len(line) - 1, 2)
            ]
            cover = 0.75 * _stroke(patch, stitches, 0.8 * patch.fine)[..., None]
            colour += cover * (np.array(THREAD, dtype=np.float32) * 0.9 - colour)
    for part in shown.cloth.details:
        if part.kind == "label" and part.panel == panel.name and not shown.flip:
            plate = Image.new("L", (patch.cols, patch.rows), 0)
            points = (slack.laid(shown.seen(part.points)) - corner) * patch.fine
            ImageDraw.Draw(plate).polygon([tuple(p) for p in points.tolist()], fill=255)
            cover = np.asarray(plate, dtype=np.float32)[..., None] / 255
            colour += cover * (np.array(THREAD, dtype=np.float32) - colour)


def _stroke(patch: Patch, lines: list[Floats], width: float) -> Floats:
    times = 2
    plate = Image.new("L", (patch.cols * times, patch.rows * times), 0)
    pen = ImageDraw.Draw(plate)
    for line in lines:
        points = [tuple(point) for point in (line * times).tolist()]
        pen.line(points, fill=255, width=max(1, round(width * times)), joint="curve")
    return np.asarray(plate.reduce(times), dtype=np.float32) / 255


def _ribbed(patch: Patch, lines: list[Floats]) -> Floats:
    """Fine strokes across the rib that lies along a seam, on either side of it."""
    strokes = []
    for line in lines:
        along = _dense(line, 2.6 * patch.fine)
        way = np.gradient(along, axis=0)
        way /= np.maximum(np.hypot(*way.T), 1e-9)[:, None]
        across = np.column_stack([way[:, 1], -way[:, 0]]) * 9 * patch.fine
        middle = across if across[len(across) // 2, 1] < 0 else -across
        strokes += [np.array([a, a + b]) for a, b in zip(along, middle, strict=True)]
    return _stroke(patch, strokes, 1.2 * patch.fine)


def _shadow(cover: Floats, fine: float, lamp: float) -> Floats:
    """Soft shadow: close under the edge all round, and a little further away from the light."""
    close = gaussian_filter(cover, 1.6 * fine)
    wide = gaussian_filter(cover, 6.0 * fine)
    move = (round(-3.0 * fine * np.sin(lamp)), round(-3.0 * fine * np.cos(lamp)))
    wide = np.roll(wide, move, axis=(0, 1))
    return np.clip(0.38 * close + 0.30 * wide, 0, 0.6).astype(np.float32)
