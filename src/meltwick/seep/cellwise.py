"""The hot loops over cells that do not wait for each other: what happens within a cell, compiled.

Each is a plain function of arrays, with no state of its own.
"""

from __future__ import annotations

import numba as nb
import numpy as np

from meltwick.seep.kernels import fade
from meltwick.types import Floats

TILE = 32
"""Cells that are reckoned at once; what is the same for all species is spread out beside them, so
that the compiler makes vector code of the long loops. No result depends on it."""


@nb.njit(cache=True, error_model="numpy", fastmath={"reassoc", "contract"})
def crowding(
    volume: float, fibre: float, kd: Floats, capacity: float, mass: Floats, guess: float
) -> float:
    """Find the crowding term x = 1 + sum kd c(x) / Qs that all species share.

    With c = m / (V + B kd / x) it is x = 1 + x sum kd m / Qs / (V x + B kd), whose right side is
    concave in x, so Newton's steps from above fall to the root; a guess from below is used only
    where the step cannot run away. One division a species and step, and sums in any order.
    """
    species = kd.size
    top = 0.0
    for k in range(species):
        top += kd[k] * mass[k]
    top = 1.0 + top / (capacity * volume)
    if top - 1.0 < 1e-9:
        return 1.0
    x = min(max(guess, 1.0), top)
    for _ in range(40):
        found = 0.0
        slope = 0.0
        for k in range(species):
            held = fibre * kd[k]
            over = 1.0 / (volume * x + held)
            part = kd[k] * mass[k] * over
            found += part
            slope += part * held * over
        gap = 1.0 + x * found / capacity - x
        slope /= capacity
        if abs(gap) < 1e-10 * x:
            break
        x = min(top, max(1.0, x + gap / (1.0 - slope))) if slope < 0.9 or gap < 0.0 else top
    return float(x)


@nb.njit(cache=True, error_model="numpy", inline="always")
def _lost_share(z: float) -> float:
    """Return 1 - exp(-z) for z >= 0, to 1e-10 of itself."""
    return 1.0 - fade(z) if z > 1e-3 else z * (1.0 - z / 2.0 * (1.0 - z / 3.0 * (1.0 - z / 4.0)))


@nb.njit(cache=True, parallel=True, error_model="numpy", fastmath={"contract"})
def react(
    volume: Floats,
    fibre: Floats,
    kd: Floats,
    capacity: float,
    fixing: Floats,
    hydrolysing: Floats,
    sites: Floats,
    crowd: Floats,
    mass: Floats,
    fixed: Floats,
    spent: Floats,
    pace: Floats,
    step: float,
) -> None:
    """Fix and hydrolyse for one step, exact for a first-order loss; in place.

    Parameters
    ----------
    volume, fibre : ndarray of shape (N,)
        Water [m3] and dyeable fibre [kg].
    fixing, hydrolysing : ndarray of shape (K,)
        Rates of the sorbed and of the dissolved dye [1/s].
    sites : ndarray of shape (N,)
        Most dye that can fix [kg/kg].
    crowd : ndarray of shape (N,)
        The crowding term, a guess that is corrected.
    mass, fixed, spent : ndarray of shape (N, K)
        Dye in the cell [kg], fixed [kg/kg], hydrolysed [kg].
    pace : ndarray of shape (N,)
        Both rates are so many times as great in the cell.
    step : float
        [s].
    """
    species = np.uint64(kd.size)
    tiles = (volume.size + TILE - 1) // TILE
    for tile in nb.prange(tiles):
        first = np.uint64(tile * TILE)
        count = np.uint64(min(TILE, volume.size - tile * TILE))
        here = mass[first : first + count].copy().reshape(-1)
        held, water = np.empty_like(here), np.empty_like(here)
        to_fibre, rate = np.empty_like(here), np.empty_like(here)
        n = np.uint64(0)
        for t in range(count):
            i = first + t
            x = crowding(volume[i], fibre[i], kd, capacity, mass[i], crowd[i])
            crowd[i] = x
            wet, time = volume[i] * x, pace[i] * step
            for k in range(species):
                held[n + k] = fibre[i] * kd[k]
                water[n + k] = wet
                to_fibre[n + k] = fixing[k] * held[n + k] * time
                rate[n + k] = to_fibre[n + k] + hydrolysing[k] * wet * time
            n += species
        for j in range(here.size):
            gone = here[j] * _lost_share(rate[j] / (water[j] + held[j]))
            here[j] = gone
            to_fibre[j] = gone * to_fibre[j] / max(rate[j], 1e-300)
        n = np.uint64(0)
        for t in range(count):
            i = first + t
            wish, taken = 0.0, 0.0
            for k in range(species):
                taken += fixed[i, k]
                wish += to_fibre[n + k]
            fit, per = 0.0, 0.0
            if wish > 0.0 and fibre[i] > 0.0:
                per = 1.0 / fibre[i]
                if sites[i] > taken:
                    asked = wish * per
                    fit = min(1.0, (sites[i] - taken) * _lost_share(asked / sites[i]) / asked)
            for k in range(species):
                fix = to_fibre[n + k] * fit
                waste = here[n + k] - to_fibre[n + k]
                fixed[i, k] += fix * per
                spent[i, k] += waste
                mass[i, k] = max(0.0, mass[i, k] - fix - waste)
            n += species


@nb.njit(cache=True, parallel=True, error_model="numpy")
def settle(
    volume: Floats,
    fibre: Floats,
    kd: Floats,
    capacity: float,
    crowd: Floats,
    mass: Floats,
    c: Floats,
    hold: Floats,
) -> None:
    """Bring water and fibre to equilibrium at the masses there are; in place.

    Sets the crowding term (N,), which is also the guess, concentrations (N, K) [kg/m3] and
    what each cell holds per concentration (N, K) [m3].
    """
    for i in nb.prange(volume.size):
        x = crowding(volume[i], fibre[i], kd, capacity, mass[i], crowd[i])
        crowd[i] = x
        per = fibre[i] / x
        for k in range(kd.size):
            hold[i, k] = volume[i] + per * kd[k]
            c[i, k] = mass[i, k] / hold[i, k]
