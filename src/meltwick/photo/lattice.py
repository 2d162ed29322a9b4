"""Rows and columns of patches in a photograph, seen at a slant."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np

from meltwick.photo.ground import label, regionprops
from meltwick.types import Flags, Floats

_SMALL, _LARGE = 0.3, 3.0  # of the usual area of a patch; chosen
_SOLID = 0.75  # of its convex hull; a patch is no ring and no letter; chosen
_NEAR = 0.3  # of a pitch, from where a neighbour is looked for; chosen
_STEEP = 0.7  # tangent of the most that rows may lean; chosen

Index = tuple[int, int]


@dataclass(frozen=True)
class Lattice:
    """Where the patch of every row and column lies."""

    warp: Floats  # (3, 3) from (column, row, 1) to (x, y, w) [px]
    found: dict[Index, int]  # (row, column) of the patches that were seen, to their label
    labels: Floats  # (H, W) label of each patch that was seen, 0 elsewhere
    size: float  # half width of a patch over the pitch

    def at(self, column: Floats, row: Floats) -> Floats:
        """Take columns and rows to pixels, (..., 2)."""
        column, row = np.broadcast_arrays(column, row)
        return project(self.warp, np.stack([column, row], axis=-1).astype(np.float64))


def project(warp: Floats, points: Floats) -> Floats:
    """Apply a projective map (3, 3) to points (..., 2)."""
    full = np.concatenate([points, np.ones((*points.shape[:-1], 1))], axis=-1) @ warp.T
    out: Floats = full[..., :2] / full[..., 2:]
    return out


def solve_warp(source: Floats, target: Floats) -> Floats:
    """Fit a projective map to points, an affine one to fewer than four; (3, 3).

    Parameters
    ----------
    source, target : ndarray of shape (n, 2)
        At least three, not on one line.

    References
    ----------
    Hartley and Zisserman, Multiple View Geometry, 2003, algorithm 4.2 (from memory).
    """
    if len(source) < 4:
        full = np.c_[source, np.ones(len(source))]
        affine = np.linalg.lstsq(full, target, rcond=None)[0].T
        return np.vstack([affine, [0.0, 0.0, 1.0]])
    to_source, to_target = _centred(source), _centred(target)
    a, b = project(to_source, source), project(to_target, target)
    rows = []
    for (x, y), (u, v) in zip(a, b, strict=True):
        rows.append([x, y, 1, 0, 0, 0, -u * x, -u * y, -u])
        rows.append([0, 0, 0, x, y, 1, -v * x, -v * y, -v])
    warp = np.linalg.svd(np.array(rows))[2][-1].reshape(3, 3)
    out = np.linalg.inv(to_target) @ warp @ to_source
    return np.asarray(out / out[2, 2] if out[2, 2] else np.zeros((3, 3)), dtype=np.float64)


def _centred(points: Floats) -> Floats:
    """Scale and shift points to a middle of 0 and a spread of about 1."""
    middle, spread = points.mean(axis=0), max(float(points.std()), 1e-9)
    return np.array(
        [[1 / spread, 0, -middle[0] / spread], [0, 1 / spread, -middle[1] / spread], [0, 0, 1]]
    )


@dataclass(frozen=True)
class _Blob:
    label: int
    place: Floats  # (2,) x, y [px]
    area: float


def _blobs(things: Flags, count: int) -> tuple[list[_Blob], Floats]:
    """Return what could be patches: solid, of like size, not at the picture's border."""
    labels = label(things)
    height, width = things.shape
    parts = []
    for part in regionprops(labels):
        top, left, low, right = part.bbox
        inside = top > 0 and left > 0 and low < height and right < width
        if inside and part.area >= 30 and part.solidity >= _SOLID:
            place = np.array([part.centroid[1] + 0.5, part.centroid[0] + 0.5])
            parts.append(_Blob(int(part.label), place, float(part.area)))
    parts.sort(key=lambda blob: -blob.area)
    if not parts:
        return [], labels
    usual = float(np.median([blob.area for blob in parts[: max(1, count)]]))
    return [b for b in parts if _SMALL * usual < b.area < _LARGE * usual], labels


def _steps(places: Floats) -> tuple[Floats, Floats] | None:
    """Return the usual way from a patch to its right and to its lower neighbour."""
    ways = []
    for axis in (0, 1):
        gap = places[None] - places[:, None]
        ahead, aside = gap[..., axis], np.abs(gap[..., 1 - axis])
        length = np.where((ahead > 0) & (aside < _STEEP * ahead), ahead, np.inf)
        nearest = np.argmin(length, axis=1)
        has = np.isfinite(length[np.arange(len(places)), nearest])
        if not has.any():
            return None
        ways.append(np.median(gap[np.arange(len(places)), nearest][has], axis=0))
    return ways[0], ways[1]


def _walk(places: Floats, right: Floats, down: Floats) -> dict[Index, int]:
    """Give each patch its row and column, walking from neighbour to neighbour."""
    first = int(np.argmin(np.linalg.norm(places - places.mean(axis=0), axis=1)))
    found: dict[Index, int] = {(0, 0): first}
    taken, queue = {first}, deque([((0, 0), right, down)])
    while queue:
        (row, column), way_right, way_down = queue.popleft()
        here = places[found[row, column]]
        for down_by, right_by in ((0, 1), (0, -1), (1, 0), (-1, 0)):
            spot = (row + down_by, column + right_by)
            if spot in found:
                continue
            way = right_by * way_right + down_by * way_down
            gap = np.linalg.norm(places - (here + way), axis=1)
            near = int(np.argmin(gap))
            if near in taken or gap[near] > _NEAR * np.linalg.norm(way):
                continue
            found[spot] = near
            taken.add(near)
            step = (places[near] - here) * (right_by + down_by)
            fresh = (step, way_down) if right_by else (way_right, step)
            queue.append((spot, *fresh))
    return found


def _sound(warp: Floats) -> bool:
    """Tell whether a map can be turned round: its points lay not on one line."""
    return bool(np.all(np.isfinite(warp)) and np.linalg.cond(warp) < 1e9)


def _completed(found: dict[Index, int], places: Floats) -> dict[Index, int]:
    """Add patches beyond a gap, where the map of the others puts one."""
    if len({row for row, _ in found}) < 2 or len({column for _, column in found}) < 2:
        return found
    for _ in range(2):
        spots = np.array([(column, row) for row, column in found], dtype=np.float64)
        warp = solve_warp(spots, places[list(found.values())])
        if not _sound(warp):
            return found
        back = project(np.asarray(np.linalg.inv(warp), dtype=np.float64), places)
        for number in set(range(len(places))) - set(found.values()):
            column, row = np.round(back[number]).astype(int).tolist()
            if np.abs(back[number] - (column, row)).max() < _NEAR and (row, column) not in found:
                found[row, column] = number
    return found


def _window(found: dict[Index, int], rows: int, columns: int) -> dict[Index, int]:
    """Return the rows x columns of the walk that hold most patches, counted from 0."""
    best: dict[Index, int] = {}
    for top in {row for row, _ in found}:
        for left in {column for _, column in found}:
            part = {
                (row - top, column - left): number
                for (row, column), number in found.items()
                if 0 <= row - top < rows and 0 <= column - left < columns
            }
            if len(part) > len(best):
                best = part
    return best


def span(found: dict[Index, int]) -> tuple[int, int]:
    """Rows and columns that numbered patches span."""
    if not found:
        return 0, 0
    rows, columns = zip(*found, strict=True)
    return max(rows) - min(rows) + 1, max(columns) - min(columns) + 1


def find_lattice(things: Flags, rows: int, columns: int) -> Lattice | None:
    """Find patches that lie in rows and columns; None when there are none.

    Parameters
    ----------
    things : ndarray of shape (H, W)
        What lies on the ground.
    rows, columns : int
        Of the card. A patch of the ground's own colour may be missing.

    Returns
    -------
    Lattice or None
        With as many rows and columns as were found; see `span`.
    """
    blobs, labels = _blobs(things, rows * columns)
    if len(blobs) < 3:
        return None
    places = np.array([blob.place for blob in blobs])
    ways = _steps(places)
    if ways is None:
        return None
    found = _window(_completed(_walk(places, *ways), places), rows, columns)
    if span(found) == (0, 0) or min(span(found)) < 2 or len(found) < 3:
        return None
    spots = np.array([(column, row) for row, column in found], dtype=np.float64)
    warp = solve_warp(spots, places[list(found.values())])
    if not _sound(warp):
        return None
    pitch = 0.5 * (np.linalg.norm(ways[0]) + np.linalg.norm(ways[1]))
    area = float(np.median([blobs[n].area for n in found.values()]))
    marked = {spot: blobs[n].label for spot, n in found.items()}
    return Lattice(warp, marked, labels, 0.5 * float(np.sqrt(area)) / float(pitch))


def lattice_from_corners(corners: Floats, rows: int, columns: int, shape: Index) -> Lattice:
    """Lay rows and columns between the middles of the four corner patches.

    Parameters
    ----------
    corners : ndarray of shape (4, 2)
        x, y [px]: upper left, upper right, lower right, lower left.
    """
    last = (columns - 1.0, rows - 1.0)
    spots = np.array([(0.0, 0.0), (last[0], 0.0), last, (0.0, last[1])])
    return Lattice(solve_warp(spots, corners), {}, np.zeros(shape), 0.25)
