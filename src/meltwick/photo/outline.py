"""Lay a blank's outline on the shape found in a photograph.

The outline goes over by a turn, shift and size (from several turns), then by a projective map as
a camera makes it, then by a thin plate that takes up what a soft garment adds. Distances go over
the signed distance transform of the shape, so that no point needs a partner.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from PIL import Image, ImageDraw
from scipy import ndimage
from scipy.interpolate import RBFInterpolator, RegularGridInterpolator
from scipy.optimize import least_squares
from shapely.geometry import Polygon

from meltwick.types import Flags, Floats

POINTS = 240  # along the outline
_TURNS = 24  # that are tried
_BEST = 4  # of them that are followed
STIFF = 30.0  # smoothing of the thin plate
_GRID = 48  # lines across and down the thin plate
_LEVEL = 0.2  # pull [px] towards a camera that looks straight down: it seldom looks from far aside
_HELD = 2.0  # weight of a corner that was given
_STRAIGHT = 0.02  # sine of a corner, about a degree, below which it is taken for none; chosen


@dataclass(frozen=True)
class Fit:
    """A blank's outline on a photograph."""

    matrix: Floats  # (3, 3) projective map from mm on the piece to pixels
    overlap: float  # of outline and shape: area of both over area of either
    turn: float  # [deg] clockwise, of the piece in the photograph
    plate: RegularGridInterpolator | None = None  # what the soft garment adds, by place [mm]
    plate_scale: float = 1.0  # pixels in one of the plate

    def moved(self, step: float, corner: Floats) -> Fit:
        """Carry it over to a picture with so many times smaller pixels, and more around it."""
        matrix = np.array([[step, 0, corner[0]], [0, step, corner[1]], [0, 0, 1]]) @ self.matrix
        return replace(self, matrix=matrix, plate_scale=step * self.plate_scale)

    def place(self, points: Floats) -> Floats:
        """Pixels of points on the piece [mm], (n, 2): x right, y down, the first centre at 0.5."""
        found = project(self.matrix, points)
        if self.plate is not None:
            found = found + self.plate_scale * self.plate(points)
        return found


def project(matrix: Floats, points: Floats) -> Floats:
    """Carry points over by a projective map, (n, 2)."""
    wide = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    out: Floats = wide[:, :2] / wide[:, 2:]
    return out


def along(outline: Polygon, count: int = POINTS) -> tuple[Floats, Floats]:
    """Points evenly along an outline, and the outward normal at each, (n, 2) both."""
    ring = shapely.orient_polygons(outline).exterior
    step = ring.length / count
    at = (np.arange(count) + 0.5) * step
    points = shapely.get_coordinates(shapely.line_interpolate_point(ring, at))
    ahead = shapely.get_coordinates(
        shapely.line_interpolate_point(ring, (at + step / 4) % ring.length)
    )
    behind = shapely.get_coordinates(
        shapely.line_interpolate_point(ring, (at - step / 4) % ring.length)
    )
    run = ahead - behind
    run /= np.maximum(np.hypot(run[:, 0], run[:, 1]), 1e-9)[:, None]
    normal = np.column_stack([run[:, 1], -run[:, 0]])
    return points, normal


def signed_distance(mask: Flags) -> Floats:
    """Pixels to a shape's edge, (H, W): above 0 outside, below inside."""
    outside = ndimage.distance_transform_edt(~mask)
    within = ndimage.distance_transform_edt(mask)
    far: Floats = np.where(mask, 0.5 - within, outside - 0.5)
    return far


def fit(outline: Polygon, mask: Flags, corners: Floats | None = None) -> Fit:
    """Lay an outline on a shape.

    Parameters
    ----------
    outline : Polygon
        [mm], y down.
    mask : ndarray of shape (H, W), bool
        The shape, neither empty nor everything.
    corners : ndarray of shape (4, 2), optional
        Pixels of the outline's corners, in the order of `corner_points`; else they are found.

    Returns
    -------
    Fit

    Raises
    ------
    ValueError
        Three of the corners that are given, or of the outline's own, lie nearly on a line.
    """
    far = signed_distance(mask)
    points, _ = along(outline)
    if corners is not None:
        matrix = through(corner_points(outline), corners)
        matrix = _settle(matrix, points, far, outline, keep=corner_points(outline))
        return _judged(matrix, outline, mask)
    middle, size = _middle_and_size(mask)
    centre = np.array(outline.centroid.coords[0])
    scale = size / np.sqrt(outline.area)
    starts = []
    for turn in 2.0 * np.pi * np.arange(_TURNS) / _TURNS:
        first = np.array([np.log(scale), turn, *middle])
        found = least_squares(
            lambda p: _miss(_similar(p, centre), points[::3], far),
            first,
            loss="soft_l1",
            f_scale=0.02 * size,
            x_scale=np.array([0.1, 0.1, 0.05 * size, 0.05 * size]),
            max_nfev=30,
        )
        # by overlap, since an outline shrunk to a point of the edge would miss nothing
        starts.append(_judged(_similar(found.x, centre), outline, mask))
    starts.sort(key=lambda each: -each.overlap)
    fits = [
        _judged(_settle(each.matrix, points, far, outline), outline, mask)
        for each in starts[:_BEST]
    ]
    best = max(each.overlap for each in fits)
    # of shapes that are as good either way up, such as squares, take the one most upright
    alike = [each for each in fits if each.overlap > best - 0.01]
    return min(alike, key=lambda each: abs(each.turn))


def corner_points(outline: Polygon) -> Floats:
    """Find the outline's upper left, upper right, lower right and lower left corner [mm], (4, 2).

    Each is the point that reaches furthest towards that corner of the box about the outline.
    """
    points = shapely.get_coordinates(outline.exterior)
    signs = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)], dtype=np.float64)
    picked: Floats = points[np.argmax(points @ signs.T, axis=0)]
    return picked


def through(points: Floats, pixels: Floats) -> Floats:
    """Find the projective map that carries four points over exactly, (3, 3).

    Raises
    ------
    ValueError
        Three of the points, or of the pixels, lie nearly on a line.
    """
    if on_a_line(points):
        raise ValueError("three of the points lie on a line")
    if on_a_line(pixels):
        raise ValueError("three of the pixels lie on a line")
    rows = []
    for (x, y), (u, v) in zip(points, pixels, strict=True):
        rows.append([x, y, 1, 0, 0, 0, -u * x, -u * y, -u])
        rows.append([0, 0, 0, x, y, 1, -v * x, -v * y, -v])
    table = np.array(rows)
    right = np.linalg.svd(table / np.abs(table).max(axis=0))[2]
    matrix = (right[-1] / np.abs(table).max(axis=0)).reshape(3, 3)
    out: Floats = matrix / matrix[2, 2]
    return out


def on_a_line(four: Floats) -> bool:
    """Tell whether three of four points in turn, (4, 2), lie nearly on a line or in one place.

    They do where a corner is straight or folded back to within about a degree, `_STRAIGHT`.
    """
    edges = np.roll(four, -1, axis=0) - four
    after = np.roll(edges, -1, axis=0)
    turn = edges[:, 0] * after[:, 1] - edges[:, 1] * after[:, 0]
    long = np.hypot(*edges.T) * np.hypot(*after.T)
    return not bool(np.all(np.abs(turn) > _STRAIGHT * long))


def _middle_and_size(mask: Flags) -> tuple[Floats, float]:
    rows, cols = np.nonzero(mask)
    return np.array([cols.mean() + 0.5, rows.mean() + 0.5]), float(np.sqrt(len(rows)))


def _similar(parts: Floats, centre: Floats) -> Floats:
    """Map of a size, turn and shift."""
    size, turn = np.exp(parts[0]), parts[1]
    c, s = size * np.cos(turn), size * np.sin(turn)
    linear = np.array([[c, -s], [s, c]])
    shift = parts[2:] - linear @ centre
    return np.array([[*linear[0], shift[0]], [*linear[1], shift[1]], [0.0, 0.0, 1.0]])


def _miss(matrix: Floats, points: Floats, far: Floats) -> Floats:
    """Signed distance of the mapped points from the shape's edge [px]; off the picture it grows."""
    pixels = project(matrix, points)
    height, width = far.shape
    inside = np.clip(pixels, 0.5, [width - 0.5, height - 0.5])
    off = np.hypot(*(pixels - inside).T)
    at = ndimage.map_coordinates(far, (inside - 0.5).T[::-1], order=1, mode="nearest")
    return np.where(np.isfinite(off), at + off, 1e4)


def _settle(
    matrix: Floats, points: Floats, far: Floats, outline: Polygon, keep: Floats | None = None
) -> Floats:
    """Refine a map to the best projective one."""
    box = np.array(outline.bounds).reshape(2, 2)
    middle, half = box.mean(axis=0), float(np.max(box[1] - box[0])) / 2.0
    frame = np.array(
        [[1 / half, 0, -middle[0] / half], [0, 1 / half, -middle[1] / half], [0, 0, 1]]
    )
    start = matrix @ np.linalg.inv(frame)
    start = start / start[2, 2]
    height, width = far.shape
    unit = float(np.hypot(height, width)) / 4.0
    local = project(frame, points)
    held = local[:0] if keep is None else project(frame, keep)
    fixed = project(start, held)
    units = np.array([unit] * 6 + [1.0, 1.0])

    def spread(parts: Floats) -> Floats:
        """Eight numbers about 1 as a matrix."""
        return np.append(parts * units, 1.0).reshape(3, 3)

    def left(parts: Floats) -> Floats:
        now = spread(parts)
        aside = _LEVEL * np.sqrt(len(local)) * parts[6:]
        drift = _HELD * (project(now, held) - fixed).ravel()
        return np.concatenate([_miss(now, local, far), aside, drift])

    found = least_squares(
        left, start.ravel()[:8] / units, loss="soft_l1", f_scale=0.04 * unit, max_nfev=80
    )
    out: Floats = spread(found.x) @ frame
    return out


def _judged(matrix: Floats, outline: Polygon, mask: Flags) -> Fit:
    """Overlap and turn of a map."""
    covered = drawn(project(matrix, shapely.get_coordinates(outline.exterior)), mask.shape)
    both, either = int((covered & mask).sum()), int((covered | mask).sum())
    middle = np.array(outline.centroid.coords[0])
    up, down = project(matrix, middle + np.array([[0.0, -1.0], [0.0, 1.0]]))
    aside, below = (down - up).tolist()
    turn = float(np.degrees(np.arctan2(aside, below)))
    flipped = np.linalg.det(matrix[:2, :2]) <= 0.0
    return Fit(matrix, 0.0 if flipped else both / max(1, either), -turn)


def drawn(pixels: Floats, shape: tuple[int, ...]) -> Flags:
    """Fill a ring of pixels, (H, W)."""
    if not np.all(np.isfinite(pixels)):
        return np.zeros(shape, dtype=bool)
    plate = Image.new("1", (shape[1], shape[0]))
    points = np.clip(pixels - 0.5, -1e5, 1e5)
    ImageDraw.Draw(plate).polygon([(x, y) for x, y in points.tolist()], fill=1)
    return np.array(plate, dtype=bool)


def soften(fitted: Fit, outline: Polygon, odds: Floats, reach: float) -> Fit:
    """Let the outline give way to the edge that it passes, as soft cloth does.

    At each point the edge is sought along the normal, where the sum of the odds of cloth inside
    and of ground outside is greatest; a thin plate smooths what is found.

    Parameters
    ----------
    fitted : Fit
        Near the edge already.
    outline : Polygon
        [mm].
    odds : ndarray of shape (H, W)
        Logarithm of the odds of cloth.
    reach : float
        How far the edge is sought [px].

    Returns
    -------
    Fit
    """
    points, normal = along(outline)
    base = fitted.place(points)
    out = fitted.place(points + normal) - base
    out /= np.hypot(out[:, 0], out[:, 1])[:, None]
    steps = np.arange(-reach, reach + 0.25, 0.5)
    lines = base[:, None] + steps[None, :, None] * out[:, None]
    value = ndimage.map_coordinates(
        odds, (lines - 0.5).reshape(-1, 2).T[::-1], order=1, mode="nearest"
    ).reshape(len(points), len(steps))
    gain = 2.0 * np.cumsum(value, axis=1) - value.sum(axis=1, keepdims=True)
    gain -= 0.02 * np.abs(value).sum(axis=1, keepdims=True) * (steps / reach) ** 2
    at = np.argmax(gain, axis=1)
    # an edge at the end of the search, or where the odds are flat, was not found
    clear = (
        (at > 1) & (at < len(steps) - 2) & (value.max(axis=1) > 1.0) & (value.min(axis=1) < -1.0)
    )
    if np.count_nonzero(clear) < 20:
        return fitted
    shift = ndimage.median_filter(np.where(clear, steps[at] + 0.25, 0.0), 5, mode="wrap")
    moved = (base + out * shift[:, None] - project(fitted.matrix, points))[clear]
    thin = RBFInterpolator(
        points[clear], moved, smoothing=STIFF, kernel="thin_plate_spline", degree=1
    )
    return replace(fitted, plate=_on_grid(thin, outline), plate_scale=1.0)


def _on_grid(plate: RBFInterpolator, outline: Polygon) -> RegularGridInterpolator:
    """Hold a smooth plate by its values on a grid, which costs little at many points."""
    left, top, right, bottom = outline.buffer(0.05 * outline.length / 4.0).bounds
    x, y = np.linspace(left, right, _GRID), np.linspace(top, bottom, _GRID)
    places = np.stack(np.meshgrid(x, y, indexing="ij"), axis=2).reshape(-1, 2)
    values = plate(places).reshape(_GRID, _GRID, 2)
    return RegularGridInterpolator((x, y), values, bounds_error=False, fill_value=None)
