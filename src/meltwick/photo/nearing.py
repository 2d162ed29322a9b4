"""Bring maps of an outline nearer to a shape's edge, many at once.

Levenberg's and Marquardt's damped least squares (Marquardt 1963, J. SIAM 11:431, from memory) on
the signed distance to the edge, with the soft weights of Huber's kin, so that a sleeve that lies
otherwise pulls little. Maps are independent; they share every step to save time.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from meltwick.types import Flags, Floats

_ROUNDS = 40
_STILL = 1e-3  # [px] steps below which nothing moves any more
_HARDLY = 1e-4  # of the cost: what a step must save for another to be worth while
_FAR = 1e4  # [px] miss of a place that is nowhere

Places = NDArray[np.intp]
# parts of maps (T, k), and their numbers among the starts -> residuals (T, n), slopes (T, n, k)
Model = Callable[[Floats, Places], tuple[Floats, Floats]]


@dataclass(frozen=True)
class Edge:
    """Signed distance to a shape's edge [px], (H, W) above 0 outside, and its slopes."""

    far: Floats
    down: Floats
    right: Floats

    def miss(self, pixels: Floats) -> tuple[Floats, Floats]:
        """Distance at some pixels (..., 2), growing off the picture, and its slope (..., 2)."""
        height, width = self.far.shape
        there: Flags = np.asarray(np.isfinite(pixels).all(axis=-1))
        pixels = np.where(there[..., None], pixels, 0.0)
        inside = np.clip(pixels, 0.5, np.array([width - 0.5, height - 0.5]))
        off = pixels - inside
        long = np.hypot(off[..., 0], off[..., 1])
        at = (inside - 0.5).reshape(-1, 2).T[::-1]
        far = ndimage.map_coordinates(self.far, at, order=1, mode="nearest").reshape(long.shape)
        col, row = np.moveaxis(inside.astype(np.intp), -1, 0)
        slope = np.stack([self.right[row, col], self.down[row, col]], axis=-1)
        slope = np.where(off == 0.0, slope, off / np.maximum(long, 1e-9)[..., None])
        return np.where(there, far + long, _FAR), slope


def edge_of(mask: Flags) -> Edge:
    """Measure how far every pixel of a picture lies from a shape's edge."""
    outside = ndimage.distance_transform_edt(~mask)
    within = ndimage.distance_transform_edt(mask)
    far: Floats = np.where(mask, 0.5 - within, outside - 0.5)
    down, right = (np.asarray(np.gradient(far, axis=axis)) for axis in (0, 1))
    return Edge(far, down, right)


def similar(parts: Floats, centre: Floats) -> Floats:
    """Give maps by log of size, turn [rad] and x, y of the middle: (T, 4) -> (T, 3, 3)."""
    size, turn = np.exp(parts[:, 0]), parts[:, 1]
    c, s = size * np.cos(turn), size * np.sin(turn)
    matrix = np.zeros((len(parts), 3, 3))
    matrix[:, 0, 0], matrix[:, 0, 1] = c, -s
    matrix[:, 1, 0], matrix[:, 1, 1] = s, c
    matrix[:, :2, 2] = parts[:, 2:] - matrix[:, :2, :2] @ centre
    matrix[:, 2, 2] = 1.0
    return matrix


def near_similar(parts: Floats, centre: Floats, points: Floats, edge: Edge, soft: float) -> Floats:
    """Bring maps of `similar` nearer to an edge, (T, 4).

    Parameters
    ----------
    parts : ndarray of shape (T, 4)
    centre : ndarray of shape (2,)
        The point about which they turn.
    points : ndarray of shape (n, 2)
        Along the outline.
    edge : Edge
    soft : float
        Miss [px] above which a point pulls less than in proportion.
    """
    arm = points - centre

    def model(now: Floats, which: Places) -> tuple[Floats, Floats]:
        size, turn = np.exp(now[:, 0])[:, None], now[:, 1][:, None]
        c, s = size * np.cos(turn), size * np.sin(turn)
        out = np.stack([c * arm[:, 0] - s * arm[:, 1], s * arm[:, 0] + c * arm[:, 1]], axis=-1)
        left, slope = edge.miss(out + now[:, None, 2:])
        grow = (slope * out).sum(axis=-1)
        spin = slope[..., 1] * out[..., 0] - slope[..., 0] * out[..., 1]
        return left, np.concatenate([np.stack([grow, spin], axis=-1), slope], axis=-1)

    return _descend(parts, model, soft)


def near_projective(
    matrices: Floats, points: Floats, edge: Edge, soft: float, level: float, held: Floats
) -> Floats:
    """Bring projective maps nearer to an edge, (T, 3, 3).

    Parameters
    ----------
    matrices : ndarray of shape (T, 3, 3)
    points : ndarray of shape (n, 2)
        Along the outline, within about -1..1.
    edge : Edge
    soft : float
        See `near_similar`.
    level : float
        Pull [px] at each point towards a camera that looks straight down.
    held : ndarray of shape (m, 2)
        Points that stay about where they are, by pulls of `HELD`.
    """
    start = (matrices / matrices[:, 2:, 2:]).reshape(len(matrices), 9)[:, :8]
    fixed = _projected(start, held)[0]
    pull = level * np.sqrt(len(points))

    def model(now: Floats, which: Places) -> tuple[Floats, Floats]:
        pixels, slopes = _projected(now, points)
        left, slope = edge.miss(pixels)
        rows = np.einsum("tnd,tndk->tnk", slope, slopes)
        aside = np.zeros((len(now), 2, 8))
        aside[:, 0, 6] = aside[:, 1, 7] = pull
        kept, pulls = _projected(now, held)
        drift = HELD * (kept - fixed[which]).reshape(len(now), -1)
        return (
            np.concatenate([left, pull * now[:, 6:], drift], axis=1),
            np.concatenate([rows, aside, HELD * pulls.reshape(len(now), -1, 8)], axis=1),
        )

    found = _descend(start, model, soft)
    return np.concatenate([found, np.ones((len(found), 1))], axis=1).reshape(-1, 3, 3)


HELD = 2.0  # weight of a corner that was given


def _projected(parts: Floats, points: Floats) -> tuple[Floats, Floats]:
    """Carry points over by maps of eight numbers: (T, n, 2), and the slopes (T, n, 2, 8)."""
    x, y = points[:, 0], points[:, 1]
    a = parts[:, :, None]
    deep = a[:, 6] * x + a[:, 7] * y + 1.0
    deep = np.where(np.abs(deep) < 1e-6, 1e-6, deep)
    across, down = (a[:, 0] * x + a[:, 1] * y + a[:, 2]), (a[:, 3] * x + a[:, 4] * y + a[:, 5])
    pixels = np.stack([across / deep, down / deep], axis=-1)
    slopes = np.zeros((*pixels.shape, 8))
    for axis in (0, 1):
        slopes[:, :, axis, 3 * axis] = x / deep
        slopes[:, :, axis, 3 * axis + 1] = y / deep
        slopes[:, :, axis, 3 * axis + 2] = 1.0 / deep
        slopes[:, :, axis, 6] = -pixels[..., axis] * x / deep
        slopes[:, :, axis, 7] = -pixels[..., axis] * y / deep
    return pixels, slopes


def _descend(start: Floats, model: Model, soft: float) -> Floats:
    """Damped least squares from each start under a loss that grows straight beyond ``soft``."""
    now, damp = start.copy(), np.full(len(start), 1e-2)
    moving = np.arange(len(start))  # the others have come to rest
    left, slopes = model(now, moving)
    cost = _cost(left, soft)
    for _ in range(_ROUNDS):
        step, shift = _step(left[moving], slopes[moving], damp[moving], soft)
        moving, step = moving[shift > _STILL], step[shift > _STILL]
        if len(moving) == 0:
            break
        tried = now[moving] + step
        new_left, new_slopes = model(tried, moving)
        new_cost = _cost(new_left, soft)
        better = new_cost < cost[moving]
        gone = moving[better]
        now[gone], left[gone], slopes[gone] = tried[better], new_left[better], new_slopes[better]
        hardly = better & (new_cost > (1.0 - _HARDLY) * cost[moving])
        cost[gone] = new_cost[better]
        damp[moving] = np.maximum(damp[moving] * np.where(better, 0.3, 4.0), 1e-6)
        moving = moving[~hardly]
    return now


def _step(left: Floats, slopes: Floats, damp: Floats, soft: float) -> tuple[Floats, Floats]:
    """Take one damped step from each start: its parts, and how far it moves the outline [px]."""
    weight = 1.0 / np.sqrt(1.0 + (left / soft) ** 2)
    across = np.swapaxes(slopes * weight[..., None], 1, 2)
    square = across @ slopes
    fall = (across @ left[..., None])[..., 0]
    size = np.einsum("tii->ti", square) + 1e-12
    root = np.sqrt(size)
    # in units in which every part moves the edge alike
    unit = square / (root[:, :, None] * root[:, None, :])
    unit += damp[:, None, None] * np.eye(slopes.shape[2])
    step = -np.linalg.solve(unit, (fall / root)[..., None])[..., 0] / root
    return step, np.sqrt((step**2 * size).sum(axis=1) / left.shape[1])


def _cost(left: Floats, soft: float) -> Floats:
    """Sum of 2 soft^2 (sqrt(1 + (miss / soft)^2) - 1), (T,)."""
    out: Floats = np.sum(np.sqrt(1.0 + (left / soft) ** 2) - 1.0, axis=1)
    return out
