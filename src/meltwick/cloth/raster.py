"""Polygons on a raster: which cells lie inside, and what share of each cell is covered."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from meltwick.types import Flags, Floats

Counts = NDArray[np.int64]
HAIR = 1e-9
"""Share of its distance from the spine by which a border is drawn in; beyond round-off."""


@dataclass(frozen=True)
class Grid:
    """A raster of square cells, row 0 at the top. Lengths in millimetres."""

    left: float
    top: float
    pitch: float
    rows: int
    cols: int

    @classmethod
    def around(cls, bounds: tuple[float, float, float, float], pitch: float) -> Grid:
        """Centre a raster on a box, with an even number of columns.

        Parameters
        ----------
        bounds : tuple of float
            xmin, ymin, xmax, ymax [mm].
        pitch : float
            Width of a cell [mm].

        Returns
        -------
        Grid
            No cell straddles the box's upright middle line, so that a garment cut alike left and
            right gets cells that are alike, and one folded along its spine splits no cell.
        """
        xmin, ymin, xmax, ymax = bounds
        half = max(1, round((xmax - xmin) / (2 * pitch)))
        rows = max(1, round((ymax - ymin) / pitch))
        left = (xmin + xmax) / 2 - half * pitch
        top = (ymin + ymax) / 2 - rows * pitch / 2
        return cls(left, top, pitch, rows, 2 * half)


def inside(region: BaseGeometry, grid: Grid, alike: bool = False) -> Flags:
    """Tell which cells have their centre inside a polygon.

    Parameters
    ----------
    region : Polygon or MultiPolygon
        In the grid's frame [mm].
    grid : Grid
        The raster.
    alike : bool
        Left and right of x = 0 count alike: the region is drawn in by a hair towards that line,
        since a centre on its border would else belong on the left and not on the right.

    Returns
    -------
    ndarray of shape (rows, cols), bool
    """
    centres = grid.top + (np.arange(grid.rows, dtype=np.float64) + 0.5) * grid.pitch
    row, x, sign = _crossings(region, centres)
    if alike:
        x = x * (1.0 - HAIR)
    # the first centre to the right of the crossing
    first = np.ceil((x - grid.left) / grid.pitch - 0.5)
    col = np.clip(first, 0, grid.cols).astype(np.int64)
    winding = _scatter(row, col, sign, grid.rows, grid.cols)
    return np.abs(winding) > 0.5


def covered(region: BaseGeometry, grid: Grid, strips: int = 4) -> Floats:
    """Measure the share of each cell that a polygon covers.

    Each row of cells is cut into strips; along a strip's middle line the overlap is exact.

    Parameters
    ----------
    region : Polygon or MultiPolygon
        In the grid's frame [mm].
    grid : Grid
        The raster.
    strips : int
        Strips in a row of cells.

    Returns
    -------
    ndarray of shape (rows, cols)
        0 to 1.
    """
    lines = grid.top + (np.arange(grid.rows * strips, dtype=np.float64) + 0.5) * (
        grid.pitch / strips
    )
    strip, x, sign = _crossings(region, lines)
    place = np.clip((x - grid.left) / grid.pitch, 0.0, float(grid.cols))
    col = np.floor(place).astype(np.int64)
    part = place - col
    row = strip // strips
    # everything right of a crossing, and the right part of the cell it falls in
    share = _scatter(row, col, sign * (1 - part), grid.rows, grid.cols)
    share += _scatter(row, col + 1, sign * part, grid.rows, grid.cols)
    out: Floats = np.clip(np.abs(share) / strips, 0.0, 1.0)
    return out


def _scatter(row: Counts, col: Counts, value: Floats, rows: int, cols: int) -> Floats:
    """Add values at (row, col) and carry each on to the right end of its row."""
    width = cols + 2
    flat = np.bincount(row * width + col, weights=value, minlength=rows * width)
    wide = flat.astype(np.float64, copy=False).reshape(rows, width)
    return np.cumsum(wide, axis=1)[:, :cols]


def _crossings(region: BaseGeometry, lines: Floats) -> tuple[Counts, Floats, Floats]:
    """Cross horizontal lines with the border of a polygon.

    Returns the line's number, the crossing's x and its direction (+1, -1), so that the running
    sum along a line is the winding number (even where rings touch).
    """
    starts, ends = [], []
    for part in shapely.get_parts(shapely.orient_polygons(region)):
        for ring in (part.exterior, *part.interiors):
            points = shapely.get_coordinates(ring)
            starts.append(points[:-1])
            ends.append(points[1:])
    if not starts:
        nothing = np.zeros(0)
        return np.zeros(0, dtype=np.int64), nothing, nothing
    a, b = np.concatenate(starts), np.concatenate(ends)
    down = b[:, 1] >= a[:, 1]
    top, bottom = np.where(down[:, None], a, b), np.where(down[:, None], b, a)
    first = np.searchsorted(lines, top[:, 1], side="left")
    count = np.searchsorted(lines, bottom[:, 1], side="left") - first
    segment = np.repeat(np.arange(len(a)), count)
    within = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    line = first[segment] + within
    top, bottom = top[segment], bottom[segment]
    share = (lines[line] - top[:, 1]) / (bottom[:, 1] - top[:, 1])
    x = top[:, 0] + share * (bottom[:, 0] - top[:, 0])
    return line, x, np.where(down[segment], 1.0, -1.0)
