"""Lay a photograph on the cloth's raster: the colour of every cell that it shows."""

from __future__ import annotations

import numpy as np
import shapely
from scipy import ndimage

from meltwick.photo.finding import Found
from meltwick.photo.reading import Light
from meltwick.types import Cloth, Flags, Floats

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


def colours_at(linear: Light | Floats, pixels: Floats, wide: float) -> Floats:
    """Mean linear light about some pixels, (n, 3).

    Parameters
    ----------
    linear : ndarray of shape (H, W, 3)
        The photograph.
    pixels : ndarray of shape (n, 2)
        x right, y down; the first pixel's centre lies at 0.5.
    wide : float
        Width of what is averaged [px].
    """
    soft = linear
    if wide > 2.0:
        soft = ndimage.gaussian_filter(linear, (0.3 * wide, 0.3 * wide, 0.0), mode="nearest")
    at = (pixels - 0.5).T[::-1]
    return np.stack(
        [ndimage.map_coordinates(soft[..., k], at, order=1, mode="nearest") for k in range(3)],
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
