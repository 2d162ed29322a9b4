"""Lay a photograph on the cloth's raster: the colour of every cell that it shows."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage

from meltwick.photo.finding import Found
from meltwick.photo.reading import Light
from meltwick.types import Cloth, Flags, Floats, Panel

EDGE = 2.5  # pixels at the outline in which cloth and ground run into each other


def pixels_of(found: Found) -> Floats:
    """Pixels of the centres of the cells of the panel that is seen, (n, 2)."""
    here = cells_of(found.cloth, found.panel)
    x = 1000.0 * found.cloth.x[here] * (-1.0 if found.behind else 1.0)
    return found.fit.place(np.column_stack([x, 1000.0 * found.cloth.y[here]]))


def cells_of(cloth: Cloth, panel: int) -> slice:
    """Cells of a panel."""
    first = cloth.panels[panel].first
    return slice(first, first + cloth.panels[panel].count)


def on_raster(panel: Panel, values: NDArray[Any]) -> NDArray[Any]:
    """Put a panel's cells in their places: (n, ...) to (rows, cols, ...), zeros elsewhere."""
    grid = np.zeros((*panel.index.shape, *values.shape[1:]), dtype=values.dtype)
    there = panel.index >= 0
    grid[there] = values[panel.index[there] - panel.first]
    return grid


def off_raster(panel: Panel, grid: NDArray[Any]) -> NDArray[Any]:
    """Take a panel's cells from their places: the inverse of `on_raster`."""
    there = panel.index >= 0
    values = np.empty((panel.count, *grid.shape[2:]), dtype=grid.dtype)
    values[panel.index[there] - panel.first] = grid[there]
    return values


def colours_at(linear: Light | Floats, pixels: Floats) -> Floats:
    """Linear light at some pixels, between the nearest ones, (n, 3).

    Parameters
    ----------
    linear : ndarray of shape (H, W, 3)
        The photograph.
    pixels : ndarray of shape (n, 2)
        x right, y down; the first pixel's centre lies at 0.5.
    """
    at = (pixels - 0.5).T[::-1]
    return np.stack(
        [ndimage.map_coordinates(linear[..., k], at, order=1, mode="nearest") for k in range(3)],
        axis=1,
    ).astype(np.float64)


def well_inside(found: Found) -> Flags:
    """Cells of the seen panel that lie further inside its outline than its edge is soft, (n,)."""
    cloth, here = found.cloth, cells_of(found.cloth, found.panel)
    inner = cloth.panels[found.panel].outline.buffer(-EDGE / found.scale)
    shapely.prepare(inner)
    return np.asarray(
        shapely.contains_xy(inner, 1000.0 * cloth.x[here], 1000.0 * cloth.y[here]), dtype=bool
    )
