"""The upright sides of discs: what lies outermost, and where rosettes touch."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from meltwick.bundle.faces import spread_of
from meltwick.folding import Disc, Stack
from meltwick.types import Floats, Ints

WINDOW = 4e-3  # [m] of a disc's side in which one layer is outermost; chosen
TOUCH = 0.025  # [m] between the outermost layers of two rosettes that still press together; chosen


def rim_of(disc: Disc, angle: Floats, height: Floats) -> tuple[Floats, Floats]:
    """Find the one layer that lies outermost all round.

    Returns
    -------
    skin, depth : ndarray of shape (P,)
        1 in that layer and 0 elsewhere; and how far behind it a point lies [m].
    """
    # a multiple of four, so that windows look alike in a mirror and after half a turn
    parts = 4 * max(2, round(0.5 * np.pi * disc.reach / WINDOW))
    turned = (angle / (2.0 * np.pi) % 1.0) * parts
    place = np.floor(turned).astype(np.int64) % parts
    level = spread_of(height, WINDOW)
    number = place * (int(level.max()) + 1) + level
    # what a rib gains on its way through the window is no depth
    off = 2.0 * np.pi / parts * (turned - np.floor(turned) - 0.5)
    radius = disc.radius * (1.0 - disc.slope * off)
    furthest = np.zeros(int(number.max()) + 1)
    np.maximum.at(furthest, number, radius)
    behind = furthest[number] - radius
    return (behind < disc.thickness).astype(np.float64), np.asarray(behind)


def side_by_side(stack: Stack, disc: Disc, step: float) -> tuple[Ints, Floats]:
    """Join what lies outermost on each rosette with the nearest of another one.

    Returns
    -------
    pairs, areas : ndarray of shape (E, 2) and (E,)
        Cells, and the contact that each point shares [m2].
    """
    assert disc.owner is not None
    assert disc.middles is not None
    outer = np.zeros(stack.p.size, dtype=bool)
    for c, (right, below) in enumerate(disc.middles):
        mine = np.flatnonzero(disc.owner == c)
        across, down = disc.across[mine] - right, disc.down[mine] - below
        radius = np.hypot(across, down)
        alone = replace(disc, radius=radius, reach=float(np.quantile(radius, 0.9)))
        skin, _ = rim_of(alone, np.arctan2(down, across), stack.q[mine])
        outer[mine[skin > 0.0]] = True
    on = np.flatnonzero(outer)
    place = np.column_stack([disc.across[on], disc.down[on], stack.q[on]])
    here, there = [], []
    for c in range(len(disc.middles)):
        mine, others = disc.owner[on] == c, disc.owner[on] != c
        if not mine.any() or not others.any():
            continue
        away, nearest = cKDTree(place[others]).query(place[mine], distance_upper_bound=TOUCH)
        near = np.isfinite(away)
        here.append(stack.cell[on[mine][near]])
        there.append(stack.cell[on[others][nearest[near]]])
    if not here:
        return np.zeros((0, 2), np.int32), np.zeros(0)
    pairs = np.column_stack([np.concatenate(here), np.concatenate(there)]).astype(np.int32)
    pairs = pairs[pairs[:, 0] != pairs[:, 1]]
    return pairs, np.full(len(pairs), 0.5 * step * step)  # met from either side
