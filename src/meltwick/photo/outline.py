"""Lay a blank's outline on the shape found in a photograph.

The outline goes over by a turn, shift and size (from several turns), then by a projective map as
a camera makes it, then by a thin plate that takes up what a soft garment adds. Distances go over
the signed distance transform of the shape, so that no point needs a partner.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from scipy import ndimage
from scipy.interpolate import RBFInterpolator, RegularGridInterpolator
from shapely.geometry import Polygon

from meltwick.photo.nearing import Edge, edge_of, near_projective, near_similar, similar
from meltwick.types import Flags, Floats

POINTS = 240  # along the outline
_TURNS = 24  # that are tried
_BEST = 4  # of them that are followed
STIFF = 30.0  # smoothing of the thin plate
_GRID = 48  # lines across and down the thin plate
_LEVEL = 0.2  # pull [px] towards a camera that looks straight down: it seldom looks from far aside
HOPEFUL = 5  # outlines that are followed, of many
BEHIND = 0.15  # of overlap, by which one may be behind the best and still come out first; chosen
SLANT = 1.6
"""Most that a garment may be drawn out one way.

A camera 25 degrees from straight down draws out by 1.1; a piece's own proportions add to it.
"""
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
    edge = edge_of(mask)
    if corners is not None:
        own = corner_points(outline)
        matrix = _settled(through(own, corners)[None], outline, edge, keep=own)[0]
        return _judged(matrix, outline, mask)
    return _settle(approach(outline, mask, edge), outline, mask, edge)


def best_fit(outlines: Sequence[Polygon], mask: Flags) -> tuple[int, Fit]:
    """Lay each of some outlines on a shape; give the number of the one that fits best, and how.

    Those that fit badly when merely turned and shifted are followed no further.
    """
    edge = edge_of(mask)
    starts = [approach(outline, mask, edge) for outline in outlines]
    worth = [
        max(each.overlap - 0.5 * (slant(each, outline) - 1.0) for each in tried)
        for tried, outline in zip(starts, outlines, strict=True)
    ]
    order = sorted(range(len(starts)), key=lambda n: -worth[n])
    hopeful = [n for n in order[:HOPEFUL] if worth[n] > worth[order[0]] - BEHIND]
    fits = {n: _settle(starts[n], outlines[n], mask, edge) for n in hopeful}

    def likely(n: int) -> float:
        # a square seen far aslant is more likely a longer piece seen from above
        drawn_out = slant(fits[n], outlines[n])
        return fits[n].overlap - 0.02 * (drawn_out - 1.0) - (drawn_out > SLANT)

    number = max(hopeful, key=likely)
    return number, fits[number]


def slant(found: Fit, outline: Polygon) -> float:
    """How many times longer one way than the other a map makes things, at the box's middle."""
    left, top, right, low = outline.bounds
    strength = strengths(found, np.array([(left + right) / 2, (top + low) / 2]))
    return float(strength[0] / max(strength[1], 1e-9))


def strengths(found: Fit, place: Floats) -> Floats:
    """Pixels along a millimetre at a place [mm]: the most and the least over all ways, (2,)."""
    at, across, down = project(found.matrix, place + np.array([[0, 0], [1.0, 0], [0, 1.0]]))
    out: Floats = np.linalg.svd(np.stack([across - at, down - at]), compute_uv=False)
    return out


def approach(outline: Polygon, mask: Flags, edge: Edge) -> list[Fit]:
    """Turn, shift and size an outline to a shape from several turns, the best overlap first.

    Within a thin shape every place is near its sides, so nothing draws an outline that ends too
    soon to the shape's end; such are caught by drawing the outline out as the shape is.
    """
    middle, size = _middle_and_size(mask)
    centre = np.array(outline.centroid.coords[0])
    points, _ = along(outline)
    first = np.empty((_TURNS, 4))
    first[:, 0] = np.log(size / np.sqrt(outline.area))
    first[:, 1] = 2.0 * np.pi * np.arange(_TURNS) / _TURNS
    first[:, 2:] = middle
    found = first
    for soft in (0.3 * size, 0.02 * size):  # first an end that lies far inside must pull
        found = near_similar(found, centre, points[::3], edge, soft)
    # by overlap, since an outline shrunk to a point of the edge would miss nothing
    maps = [*similar(found, centre), *_by_spread(outline, mask)]
    fits = [_judged(matrix, outline, mask) for matrix in maps]
    return sorted(fits, key=lambda each: -each.overlap)


def _settle(starts: Sequence[Fit], outline: Polygon, mask: Flags, edge: Edge) -> Fit:
    """Refine the best starts to projective maps; take the best of them."""
    matrices = np.stack([each.matrix for each in starts[:_BEST]])
    fits = [_judged(matrix, outline, mask) for matrix in _settled(matrices, outline, edge)]
    best = max(each.overlap for each in fits)
    # of shapes that are as good either way up, such as squares, take the one most upright
    alike = [each for each in fits if each.overlap > best - 0.01]
    return min(alike, key=lambda each: abs(each.turn))


def _settled(matrices: Floats, outline: Polygon, edge: Edge, keep: Floats | None = None) -> Floats:
    """Refine maps to the best projective ones, (T, 3, 3)."""
    box = np.array(outline.bounds).reshape(2, 2)
    middle, half = box.mean(axis=0), float(np.max(box[1] - box[0])) / 2.0
    frame = np.array(
        [[1 / half, 0, -middle[0] / half], [0, 1 / half, -middle[1] / half], [0, 0, 1]]
    )
    local = project(frame, along(outline)[0])
    held = local[:0] if keep is None else project(frame, keep)
    soft = 0.01 * float(np.hypot(*edge.far.shape))
    found = matrices @ np.linalg.inv(frame)
    for wide in (10.0 * soft, soft):
        found = near_projective(found, local, edge, wide, _LEVEL, held)
    out: Floats = found @ frame
    return out


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


def turns(four: Floats) -> tuple[Floats, Floats]:
    """Cross products of each side of a quadrilateral, (4, 2), with the next, and of their lengths.

    Both (4,); the first are above 0 where the corners go clockwise on a picture.
    """
    edges = np.roll(four, -1, axis=0) - four
    after = np.roll(edges, -1, axis=0)
    cross = edges[:, 0] * after[:, 1] - edges[:, 1] * after[:, 0]
    return cross, np.hypot(*edges.T) * np.hypot(*after.T)


def on_a_line(four: Floats) -> bool:
    """Tell whether three of four points in turn, (4, 2), lie nearly on a line or in one place.

    They do where a corner is straight or folded back to within about a degree, `_STRAIGHT`.
    """
    cross, long = turns(four)
    return not bool(np.all(np.abs(cross) > _STRAIGHT * long))


def _by_spread(outline: Polygon, mask: Flags) -> Floats:
    """Affine maps that give the outline the shape's middle and spread, at each turn, (T, 3, 3)."""
    left, top, right, low = outline.bounds
    fine = 200.0 / max(right - left, low - top)
    to_plate = np.array([[fine, 0.0, -fine * left], [0.0, fine, -fine * top], [0.0, 0.0, 1.0]])
    ring = project(to_plate, shapely.get_coordinates(outline.exterior))
    first, root = _spread(drawn(ring, (200, 200)))
    last, wanted = _spread(mask)
    maps = np.zeros((_TURNS, 3, 3))
    for number, turn in enumerate(2.0 * np.pi * np.arange(_TURNS) / _TURNS):
        c, s = np.cos(turn), np.sin(turn)
        linear = wanted @ np.array([[c, -s], [s, c]]) @ np.linalg.inv(root)
        maps[number, :2, :2], maps[number, :2, 2] = linear, last - linear @ first
    maps[:, 2, 2] = 1.0
    out: Floats = maps @ to_plate
    return out


def _spread(mask: Flags) -> tuple[Floats, Floats]:
    """Give the middle of a shape, and the root of the covariance of its pixels, (2, 2)."""
    rows, cols = np.nonzero(mask)
    places = np.stack([cols + 0.5, rows + 0.5])
    around = np.cov(places) + 0.1 * np.eye(2)  # a shape one pixel wide has a spread too
    value, vector = np.linalg.eigh(around)
    return places.mean(axis=1), vector @ np.diag(np.sqrt(value)) @ vector.T


def _middle_and_size(mask: Flags) -> tuple[Floats, float]:
    rows, cols = np.nonzero(mask)
    return np.array([cols.mean() + 0.5, rows.mean() + 0.5]), float(np.sqrt(len(rows)))


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
    """Fill a ring of pixels, (H, W): all whose centre lies within, by the even-odd rule."""
    height, width = shape[:2]
    if not np.all(np.isfinite(pixels)):
        return np.zeros((height, width), dtype=bool)
    one, two = pixels, np.roll(pixels, -1, axis=0)
    ends = np.sort(np.stack([one[:, 1], two[:, 1]]), axis=0)
    first, stop = np.clip(np.ceil(ends - 0.5), 0, height).astype(np.intp)
    side = np.repeat(np.arange(len(pixels)), stop - first)  # each side crosses so many rows
    begin = np.cumsum(stop - first) - (stop - first)
    row = np.arange(len(side)) - begin[side] + first[side]
    share = (row + 0.5 - one[side, 1]) / (two[side, 1] - one[side, 1])
    x = one[side, 0] + share * (two[side, 0] - one[side, 0])
    crossed = np.zeros((height, width + 1), dtype=np.int32)
    np.add.at(crossed, (row, np.clip(np.ceil(x - 0.5), 0, width).astype(np.intp)), 1)
    out: Flags = np.cumsum(crossed, axis=1)[:, :width] % 2 == 1
    return out


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
