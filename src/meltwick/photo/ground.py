"""The plain ground that things lie on: where it is, and how the light falls off across it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from skimage import measure, morphology

from meltwick.types import Flags, Floats

Whole = NDArray[np.int64]
Places = NDArray[np.floating[Any]]

label: Any = measure.label  # the library has no types
regionprops: Any = measure.regionprops
_hull: Any = morphology.convex_hull_image

_DARK = 0.004  # [-] of full light, added before the logarithm so that noise in black stays small
_ROUNDS = 8
_NEAREST, _FURTHEST = 0.05, 0.18  # [-] bounds of what still counts as ground, in log light; chosen
_START = 0.25  # [-] of log light about the first guess of the ground's colour; chosen


def log_light(linear: Floats, dark: float = _DARK) -> Floats:
    """Logarithm of linear light and a little more, so that shading adds; same shape."""
    out: Floats = np.log(np.maximum(np.asarray(linear, dtype=np.float64), 0.0) + dark)
    return out


def terms(x: Places, y: Places, order: int) -> Floats:
    """Return every product x^a y^b with a + b up to the order, last axis; x and y within -1..1."""
    parts = [x**a * y**b for a in range(order + 1) for b in range(order + 1 - a)]
    return np.stack(parts, axis=-1)


@dataclass(frozen=True)
class Shading:
    """Smooth logarithm of the ground's light over a picture."""

    weights: Floats  # (terms, channels)
    order: int
    shape: tuple[int, int]

    def at(self, x: Places, y: Places) -> Floats:
        """Log light at places [px of the picture it was fitted to], (..., channels)."""
        height, width = self.shape
        return terms(2.0 * x / width - 1.0, 2.0 * y / height - 1.0, self.order) @ self.weights


def fit_shading(values: Floats, x: Whole, y: Whole, shape: tuple[int, int], order: int) -> Shading:
    """Fit a smooth surface to what is seen on the ground.

    Parameters
    ----------
    values : ndarray of shape (n, channels)
        Log light at pixels of the ground.
    x, y : ndarray of shape (n,)
        Columns and rows of the pixels.
    shape : (int, int)
        Height and width of the picture.
    order : int
        Of the polynomial in x and y.
    """
    height, width = shape
    table = terms(
        np.asarray((2.0 * x + 1.0) / width - 1.0), np.asarray((2.0 * y + 1.0) / height - 1.0), order
    )
    weights = np.linalg.lstsq(table, values, rcond=None)[0]
    return Shading(np.asarray(weights, dtype=np.float64), order, shape)


def some_of(mask: Flags, most: int = 20_000) -> tuple[Whole, Whole]:
    """Return rows and columns of a mask's pixels, evenly thinned out to so many at most."""
    spots = np.flatnonzero(mask)
    if len(spots) > most:  # no more are needed for some ten numbers
        spots = spots[np.linspace(0, len(spots) - 1, most).astype(np.int64)]
    return spots // mask.shape[1], spots % mask.shape[1]


def shading_on(values: Floats, mask: Flags, order: int) -> Shading:
    """Fit a smooth surface to log light (H, W, channels) on a ground (H, W)."""
    y, x = some_of(mask)
    height, width = mask.shape
    return fit_shading(values[y, x], x, y, (height, width), order)


def _starts(values: Floats) -> Iterator[Floats]:
    """Guess the ground's colour: along the rim, the commonest within, the commonest light one.

    A card on a table has the table along its rim.
    """
    height, width = values.shape[:2]
    rim = max(2, round(0.03 * min(height, width)))
    inner = np.zeros((height, width), dtype=bool)
    inner[rim:-rim, rim:-rim] = True
    yield np.median(values[~inner], axis=0)
    high, wide = height // 5, width // 5
    middle = values[high : height - high, wide : width - wide].reshape(-1, 3)
    yield _commonest(middle)
    light = middle.mean(axis=1)
    yield _commonest(middle[light >= np.quantile(light, 0.6)])


def _commonest(values: Floats) -> Floats:
    steps = np.round(values / 0.12).astype(np.int64)
    _, which, count = np.unique(steps, axis=0, return_inverse=True, return_counts=True)
    best = values[np.asarray(which).ravel() == int(np.argmax(count))]
    out: Floats = np.median(best, axis=0)
    return out


def grounds(values: Floats) -> Iterator[Flags]:
    """Yield likely grounds of a picture, each a mask (H, W), from log light (H, W, 3)."""
    height, width = values.shape[:2]
    y, x = np.mgrid[:height, :width] + 0.5
    for start in _starts(values):
        mask = np.abs(values - start).max(axis=-1) < _START
        for _ in range(_ROUNDS):
            if np.count_nonzero(mask) < 200:
                break
            fitted = shading_on(values, mask, 2)
            gap = np.abs(values - fitted.at(x, y)).max(axis=-1)
            spread = 1.4826 * float(np.median(gap[mask]))
            fresh = gap < float(np.clip(3.0 * spread, _NEAREST, _FURTHEST))
            if np.array_equal(fresh, mask):
                break
            mask = fresh
        if np.count_nonzero(mask) >= 200:
            yield mask


def lying_on(ground: Flags) -> tuple[Flags, Flags]:
    """Return what lies on a ground, and all that the ground spans, both (H, W).

    The ground is its largest connected part; what lies within that part's convex hull and is no
    ground lies on it.
    """
    closed = ndimage.binary_closing(np.pad(ground, 2, mode="edge"), iterations=2)[2:-2, 2:-2]
    parts = label(closed)
    if parts.max() == 0:
        return np.zeros_like(ground), np.zeros_like(ground)
    largest = max(regionprops(parts), key=lambda part: float(part.area)).label
    hull = _hull(parts == largest)
    things = ndimage.binary_opening(hull & ~ground, iterations=1)
    return ndimage.binary_fill_holes(things), hull
