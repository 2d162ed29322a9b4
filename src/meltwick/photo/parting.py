"""Tell cloth from the ground it lies on, from colours alone.

The ground is learned from the photograph's border, the cloth from what the border does not
explain; both are held as histograms of colour and of fine texture. A convex total-variation
segmentation (Chambolle and Pock 2011, J. Math. Imaging Vis. 40:120, from memory; the convex form
of two-region segmentation is Chan, Esedoglu and Nikolova 2006, from memory) then draws the shape
with the least border that fits the odds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from meltwick.types import Flags, Floats

BORDER = 0.04
"""Width of the strip along the photograph's edge that shows ground, over its shorter side."""
_BINS = (24, 20, 20)  # lightness, red to green, yellow to blue
_ENDS = ((-4.0, 2.5), (-1.6, 1.6), (-2.0, 2.5))  # logarithms of light, from the border's median
_GRAINS = 16  # bins of fine texture
_SELDOM = 1e-5  # share of a colour that neither has shown
_SURE = 4.0  # most that one pixel's colour may say, as a logarithm of odds
_MIXED = 3  # [px] about an edge whose colour is a mixture of both sides
_BESIDE = 2.0  # what a border beside an edge costs more than one on it; chosen
_ROUNDS = 5  # times that the two colour models are learned anew

Places = NDArray[np.intp]
Seen = tuple[tuple[Places, Places, Places], Places]


@dataclass(frozen=True)
class Split:
    """Odds and shape on a photograph of (H, W) pixels."""

    odds: Floats  # (H, W) logarithm of the odds that a pixel shows cloth
    mask: Flags  # (H, W) cloth
    border: float  # share of the photograph's border strip that is taken for cloth


def part(linear: Floats) -> Split:
    """Part cloth from ground.

    Parameters
    ----------
    linear : ndarray of shape (H, W, 3)
        Linear light; a few hundred pixels on each side are enough.

    Returns
    -------
    Split
    """
    seen = _features(linear)
    strip = border(linear.shape)
    ground = _histogram(seen, strip)
    cloth = _rest(_histogram(seen, ~strip), ground)
    weights = _edges(linear)
    odds = _odds(seen, cloth, ground)
    mask = smooth(odds, weights)
    for _ in range(_ROUNDS):
        if not mask.any() or mask.all():
            break
        inside, outside = _inner(mask), _inner(~mask) | strip
        known = _histogram(seen, inside), _histogram(seen, outside)
        odds = _odds(seen, *known, inside | outside)
        new = smooth(odds, weights)
        settled = np.count_nonzero(new != mask) < 1e-3 * mask.size
        mask = new
        if settled:
            break
    return Split(odds, mask, float(mask[strip].mean()))


def odds_by(linear: Floats, mask: Flags) -> Floats:
    """Odds of cloth on a finer picture, (H, W), from a shape that is roughly known there."""
    seen = _features(linear)
    cloth, ground = _inner(mask), _inner(~mask)
    return _odds(seen, _histogram(seen, cloth), _histogram(seen, ground), cloth | ground)


def _inner(mask: Flags) -> Flags:
    """Leave out pixels near a shape's edge, which are neither's colour; all, where few are left."""
    inner: Flags = ndimage.binary_erosion(mask, iterations=_MIXED, border_value=1)
    return inner if np.count_nonzero(inner) > 0.5 * np.count_nonzero(mask) else mask


def border(shape: tuple[int, ...]) -> Flags:
    """Mark the strip along the edge, (H, W)."""
    wide = max(2, round(BORDER * min(shape[:2])))
    strip = np.ones(shape[:2], dtype=bool)
    strip[wide:-wide, wide:-wide] = False
    return strip


def _features(linear: Floats) -> Seen:
    """Bins of each pixel's colour and fine texture, slow light and shade taken off."""
    light = np.log(np.maximum(linear, 1e-4))
    strip = border(light.shape)
    light = light - slow_shade(light.mean(axis=2), strip)[..., None]
    light = ndimage.gaussian_filter(light, (1.0, 1.0, 0.0))
    grey = light.mean(axis=2)
    red, green, blue = np.moveaxis(light, 2, 0)
    bins = []
    for number, values in enumerate((grey, red - green, 0.5 * (red + green) - blue)):
        low, high = _ENDS[number]
        place = (values - np.median(values[strip]) - low) / (high - low) * _BINS[number]
        bins.append(np.clip(place, 0, _BINS[number] - 1).astype(np.intp))
    fine = grey - ndimage.uniform_filter(grey, 5)
    grain = np.log2(np.sqrt(np.maximum(ndimage.uniform_filter(fine**2, 7), 0.0)) + 1e-3)
    return (bins[0], bins[1], bins[2]), np.clip(2.0 * (grain + 8.0), 0, _GRAINS - 1).astype(np.intp)


def slow_shade(values: Floats, where: Flags, order: int = 2) -> Floats:
    """Fit a slow surface to some pixels, robustly; it spans the whole picture.

    Parameters
    ----------
    values : ndarray of shape (H, W)
        Such as the logarithm of light.
    where : ndarray of shape (H, W), bool
        Pixels that one even surface would show alike.
    order : int
        Highest power of the polynomial.

    Returns
    -------
    ndarray of shape (H, W)
        Its mean over ``where`` is 0.
    """
    rows, cols = np.nonzero(where)
    if len(rows) > 20_000:
        keep = slice(None, None, len(rows) // 20_000 + 1)
        rows, cols = rows[keep], cols[keep]
    found = values[rows, cols]
    terms = polynomial(rows, cols, values.shape, order)
    weight = np.ones(len(found))
    for _ in range(8):
        ridge = 1e-3 * len(found) * np.eye(terms.shape[1])
        ridge[0, 0] = 0.0
        solved = np.linalg.solve(
            terms.T @ (weight[:, None] * terms) + ridge, terms.T @ (weight * found)
        )
        left = found - terms @ solved
        scale = 1.4826 * np.median(np.abs(left)) + 1e-6
        weight = 1.0 / (1.0 + (left / (2.0 * scale)) ** 2)
    height, width = values.shape
    all_rows, all_cols = np.mgrid[0:height, 0:width]
    surface = polynomial(all_rows.ravel(), all_cols.ravel(), values.shape, order) @ solved
    surface = surface.reshape(height, width)
    out: Floats = surface - float(np.mean(surface[where]))
    return out


def polynomial(
    rows: Places | Floats, cols: Places | Floats, shape: tuple[int, ...], order: int = 2
) -> Floats:
    """Powers of the place in a picture, each side running from -1 to 1, (n, terms)."""
    long = max(shape[:2])
    y = (2.0 * np.asarray(rows, dtype=np.float64) - shape[0]) / long
    x = (2.0 * np.asarray(cols, dtype=np.float64) - shape[1]) / long
    return np.stack(
        [
            x**i * y**j
            for total in range(order + 1)
            for i in range(total, -1, -1)
            for j in [total - i]
        ],
        axis=1,
    )


def _histogram(seen: Seen, where: Flags) -> tuple[Floats, Floats]:
    """Share of some pixels in every bin of colour, and of texture; smooth."""
    bins, grain = seen
    table = np.zeros(_BINS)
    np.add.at(table, tuple(each[where] for each in bins), 1.0)
    lines = np.bincount(grain[where], minlength=_GRAINS).astype(np.float64)
    table = ndimage.gaussian_filter(table, 0.8, mode="nearest")
    lines = ndimage.gaussian_filter1d(lines, 1.0, mode="nearest")
    return table / max(table.sum(), 1e-9), lines / max(lines.sum(), 1e-9)


def _rest(
    everything: tuple[Floats, Floats], ground: tuple[Floats, Floats]
) -> tuple[Floats, Floats]:
    """Keep what is left when as much ground is taken off as everything can hold."""
    left = []
    for whole, part_ in zip(everything, ground, strict=True):
        common = part_ > 0.02 * part_.max()
        share = min(0.95, float(np.quantile(whole[common] / part_[common], 0.25)))
        more = np.maximum(whole - share * part_, 0.0)
        left.append(more / max(more.sum(), 1e-9))
    return left[0], left[1]


def _odds(
    seen: Seen,
    cloth: tuple[Floats, Floats],
    ground: tuple[Floats, Floats],
    plain: Flags | bool = True,
) -> Floats:
    """Logarithm of the odds of cloth, (H, W), within what one pixel may say.

    Near an edge, where it is not ``plain``, the edge itself is the texture, which says nothing.
    """
    bins, grain = seen
    by_colour = np.log((cloth[0] + _SELDOM) / (ground[0] + _SELDOM))[bins]
    by_grain = np.log((cloth[1] + 1e-3) / (ground[1] + 1e-3))[grain]
    out: Floats = np.clip(by_colour, -_SURE, _SURE) + 0.5 * np.where(
        plain, np.clip(by_grain, -2.0, 2.0), 0.0
    )
    return out


def _edges(linear: Floats) -> Floats:
    """Cost of a border at each pixel, (H, W): small where the picture has an edge.

    The edge is where light itself is steepest: by its logarithm it would lie in the darker side.
    """
    light = ndimage.gaussian_filter(np.maximum(linear, 0.0) ** 0.8, (0.7, 0.7, 0.0))
    down, right = (np.gradient(light, axis=axis) for axis in (0, 1))
    steep = np.sqrt((down**2 + right**2).sum(axis=2))
    scale = float(np.quantile(steep, 0.8)) + 1e-6
    beside = 1.0 - steep / (ndimage.maximum_filter(steep, 5) + 1e-6)  # 0 on the edge's ridge
    out: Floats = (0.15 + 0.85 * np.exp(-steep / scale)) * (1.0 + _BESIDE * beside)
    return out


def smooth(odds: Floats, weights: Floats, stiffness: float = 2.5, steps: int = 200) -> Flags:
    """Draw the shape with the least weighted border that fits the odds.

    Minimises stiffness sum weights |grad u| - sum u odds over 0 <= u <= 1; the shape is where
    u > 1/2.

    Parameters
    ----------
    odds, weights : ndarray of shape (H, W)
        See `Split` and the module.
    stiffness : float
        Odds that one pixel of border outweighs.
    steps : int
        Of the primal-dual iteration.

    Returns
    -------
    ndarray of shape (H, W), bool
    """
    odds = odds.astype(np.float32)  # enough to tell sides, and twice as quick
    u = (odds > 0).astype(np.float32)
    ahead = u.copy()
    down, right = np.zeros_like(u), np.zeros_like(u)
    bound = (stiffness * weights).astype(np.float32)
    tau = sigma = np.float32(1.0 / np.sqrt(8.0))
    for step in range(steps):
        down[:-1] += sigma * (ahead[1:] - ahead[:-1])
        right[:, :-1] += sigma * (ahead[:, 1:] - ahead[:, :-1])
        shrink = np.sqrt(down * down + right * right)
        shrink /= bound
        np.maximum(shrink, 1.0, out=shrink)
        down /= shrink
        right /= shrink
        spread = down + right
        spread[1:] -= down[:-1]
        spread[:, 1:] -= right[:, :-1]
        spread += odds
        spread *= tau
        spread += u
        new = np.clip(spread, 0.0, 1.0, out=spread)
        ahead = 2.0 * new - u
        if step % 20 == 19 and float(np.abs(new - u).max()) < 1e-3:
            u = new
            break
        u = new
    shape: Flags = np.asarray(u > 0.5, dtype=bool)
    return shape
