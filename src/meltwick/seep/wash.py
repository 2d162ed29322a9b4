"""Wash-out: loose dye leaves; a little of it, and of powder that never dissolved, comes back."""

from __future__ import annotations

import numpy as np

from meltwick import chance
from meltwick.constants import Constants
from meltwick.types import Cloth, Flags, Floats

BACKSTAIN = {"careful": 1.0, "ordinary": 8.0, "hurried": 60.0}
"""How much more loose dye returns than in a careful wash; chosen."""

SPOT_SHARE = {"careful": 0.002, "ordinary": 0.005, "hurried": 0.01}
"""Share of undissolved powder that sticks to cloth when it is rinsed; chosen."""

SPOT_RADIUS = 1.6e-3  # [m] of the stain of one grain; chosen
SPOT_DEPTH = 0.012  # [kg/kg] of dye in it; chosen


def backstain(
    fixed: Floats, loose: Floats, fibre: Floats, sites: Floats, wash: str, constants: Constants
) -> Floats:
    """Dye that returns to the cloth from the rinse, (N, K) [kg/kg].

    It spreads evenly over the free sites of all the fibre, and never fills more than there are.

    Parameters
    ----------
    fixed : ndarray of shape (N, K)
        [kg/kg].
    loose : ndarray of shape (K,)
        Dye in the rinse [kg].
    fibre, sites : ndarray of shape (N,)
        [kg] and [kg/kg].
    """
    share = min(1.0, constants.backstain_careful * BACKSTAIN[wash])
    free = np.clip(1.0 - fixed.sum(axis=1) / np.maximum(sites, 1e-30), 0.0, 1.0)
    weight = free * fibre
    total = float(weight.sum())
    if total <= 0.0:
        return np.zeros_like(fixed)
    each = share * loose / total
    room = float(np.min(sites, where=weight > 0.0, initial=np.inf))
    return np.asarray(free[:, None] * (each * min(1.0, room / max(float(each.sum()), 1e-300))))


def fitting(stuck: Floats, taken: Floats, fibre: Floats, sites: Floats) -> Floats:
    """Of the dye in spots, what free sites hold, (N, K) [kg per cell]; the rest rinses away.

    Parameters
    ----------
    stuck : ndarray of shape (N, K)
        [kg] per cell.
    taken : ndarray of shape (N, K)
        Fixed already [kg/kg].
    fibre, sites : ndarray of shape (N,)
        [kg] and [kg/kg].
    """
    room = np.maximum(sites - taken.sum(axis=1), 0.0) * fibre
    share = np.minimum(1.0, room / np.maximum(stuck.sum(axis=1), 1e-300))
    return np.asarray(stuck * share[:, None])


def spots(cloth: Cloth, powder: Floats, takes: Flags, wash: str, code: np.uint64) -> Floats:
    """Dye that grains of undissolved powder leave where they stick, (N, K) [kg per cell].

    Grains land anywhere on the cloth; each stains a small disc.

    Parameters
    ----------
    powder : ndarray of shape (K,)
        Undissolved [kg].
    takes : ndarray of shape (N,)
        Cells that take dye.
    """
    grain = np.pi * SPOT_RADIUS**2 * np.mean(cloth.fabric.mass_per_area) * SPOT_DEPTH
    out = np.zeros((cloth.size, powder.size))
    total = float(powder.sum()) * SPOT_SHARE[wash]
    count = min(int(total / grain), 4000)
    if count == 0:
        return out
    pick = chance.uniforms(code, count, 0)
    which = np.searchsorted(np.cumsum(powder) / powder.sum(), chance.uniforms(code, count, 1))
    where = np.minimum((pick * cloth.size).astype(np.int64), cloth.size - 1)
    size = SPOT_RADIUS * (0.6 + 0.8 * chance.uniforms(code, count, 2)) / cloth.pitch
    off_x, off_y = chance.uniforms(code, count, 3) - 0.5, chance.uniforms(code, count, 4) - 0.5
    reach = int(np.ceil(1.4 * SPOT_RADIUS / cloth.pitch + 0.5))
    offsets = np.arange(-reach, reach + 1)
    dy, dx = np.meshgrid(offsets, offsets, indexing="ij")
    for p, panel in enumerate(cloth.panels):
        here = np.flatnonzero(cloth.panel[where] == p)
        rows = cloth.row[where[here]][:, None] + dy.ravel()
        cols = cloth.col[where[here]][:, None] + dx.ravel()
        inside = (rows >= 0) & (rows < panel.index.shape[0])
        inside &= (cols >= 0) & (cols < panel.index.shape[1])
        cell = np.where(inside, panel.index[rows * inside, cols * inside], -1)
        good = (cell >= 0) & takes[np.maximum(cell, 0)]
        away = (dx.ravel() - off_x[here][:, None]) ** 2 + (dy.ravel() - off_y[here][:, None]) ** 2
        weight = np.where(good, np.exp(-2.0 * away / size[here][:, None] ** 2), 0.0)
        amount = weight / np.maximum(weight.sum(axis=1, keepdims=True), 1e-30) * (total / count)
        species = np.broadcast_to(which[here][:, None], cell.shape)
        np.add.at(out, (cell[good], species[good]), amount[good])
    return out
