"""The hot loops, compiled. Each is a plain function of arrays, with no state of its own."""

from __future__ import annotations

import numba as nb
import numpy as np

from meltwick.types import Floats, Ints

TILE = 16
"""Pairs whose exchange is reckoned at once: the compiler makes vector code of it."""


@nb.njit(cache=True, error_model="numpy")
def route(pairs: Ints, flow: Floats, place: Ints, cells: int) -> tuple[Ints, Ints, Floats, Floats]:
    """List what flows into each cell, in sweep order.

    Parameters
    ----------
    pairs : ndarray of shape (E, 2)
    flow : ndarray of shape (E,)
        From the first cell to the second [m3/s]; negative the other way.
    place : ndarray of shape (N,)
        Position of each cell in the sweep.

    Returns
    -------
    start, source, amount, out
        Inflow of the cell at place n: ``source[start[n]:start[n+1]]``, ``amount`` [m3/s];
        ``out`` (N,) is what leaves each cell by its edges.
    """
    start = np.zeros(cells + 1, np.int32)
    out = np.zeros(cells)
    for e in range(flow.size):
        if flow[e] > 0.0:
            start[place[pairs[e, 1]] + 1] += 1
        elif flow[e] < 0.0:
            start[place[pairs[e, 0]] + 1] += 1
    for n in range(cells):
        start[n + 1] += start[n]
    source = np.empty(start[cells], np.int32)
    amount = np.empty(start[cells])
    used = start[:-1].copy()
    for e in range(flow.size):
        q = flow[e]
        if q == 0.0:
            continue
        a, b = (pairs[e, 0], pairs[e, 1]) if q > 0.0 else (pairs[e, 1], pairs[e, 0])
        n = used[place[b]]
        source[n] = a
        amount[n] = abs(q)
        used[place[b]] += 1
        out[a] += abs(q)
    return start, source, amount, out


@nb.njit(cache=True, error_model="numpy")
def positive_root(v: float, b: float, d: float, g: float, r: float) -> float:
    """Solve v c + b c / (d + g c) = r for c >= 0 (water, and fibre by Langmuir)."""
    if g * r < 1e-12 * (v * d + b):
        return r / (v + b / d)
    p = v * d + b - r * g
    q = np.sqrt(p * p + 4.0 * v * g * r * d)
    return float(2.0 * r * d / (p + q) if p > 0.0 else (q - p) / (2.0 * v * g))


@nb.njit(cache=True, parallel=True, error_model="numpy")
def sweep(
    order: Ints,
    start: Ints,
    source: Ints,
    amount: Floats,
    out: Floats,
    leave: Floats,
    volume: Floats,
    fibre: Floats,
    kd: Floats,
    capacity: float,
    crowd: Floats,
    saturated: Floats,
    powder: Floats,
    mass: Floats,
    c: Floats,
    lost: Floats,
    step: float,
    least: float,
    chunks: int,
) -> None:
    """One backward-Euler upwind step of all species, in order of falling w; in place.

    Parameters
    ----------
    order : ndarray of shape (N,)
        Cells by falling w, so that every inflow is known when a cell is reached.
    start, source, amount, out
        From `route`; ``leave`` (N,) is what drips or runs off [m3/s].
    volume, fibre : ndarray of shape (N,)
        Water [m3] and dyeable fibre [kg].
    kd, saturated : ndarray of shape (K,)
        Isotherm slope [m3/kg] and solubility [kg/m3]; ``capacity`` Langmuir's Qs [kg/kg].
    crowd : ndarray of shape (N,)
        1 + sum of kd c / Qs before the step: the other species are lagged.
    powder, mass, c : ndarray of shape (N, K)
        Undissolved [kg], dissolved and sorbed [kg], concentration [kg/m3].
    lost : ndarray of shape (N, K)
        Dye that has left each cell for good [kg], added to.
    least : float
        Cells with less dye than this wait until more has come [kg].
    chunks : int
        Species are shared out among so many threads; the result does not depend on it.
    """
    species = kd.size
    for part in nb.prange(chunks):
        first = part * species // chunks
        last = (part + 1) * species // chunks
        load = np.empty(species)
        slope = kd / capacity
        for n in range(order.size):
            i = order[n]
            _gather(mass, i, start[n], start[n + 1], source, amount, c, step, first, last, load)
            carry = volume[i] + step * (out[i] + leave[i])
            for k in range(first, last):
                r = load[k]
                if r + powder[i, k] <= least:
                    c[i, k] = 0.0
                    mass[i, k] = r
                    continue
                g = slope[k]
                d = crowd[i] - g * c[i, k]
                b = fibre[i] * kd[k]
                if powder[i, k] > 0.0:
                    full = carry * saturated[k] + b * saturated[k] / (d + g * saturated[k])
                    release = min(powder[i, k], max(0.0, full - r))
                    powder[i, k] -= release
                    r += release
                new = positive_root(carry, b, d, g, r) if r > 0.0 else 0.0
                away = step * leave[i] * new
                lost[i, k] += away
                mass[i, k] = max(0.0, r - step * out[i] * new - away)
                c[i, k] = new


@nb.njit(cache=True, error_model="numpy", inline="always")
def _gather(
    mass: Floats,
    i: int,
    begin: int,
    end: int,
    source: Ints,
    amount: Floats,
    c: Floats,
    step: float,
    first: int,
    last: int,
    load: Floats,
) -> None:
    """Add up what a cell holds and what flows into it, into ``load``.

    Four species at a time, so that their sums stay in registers: half the time of the sweep.
    """
    four = last - (last - first) % 4
    for k in range(first, four, 4):
        one, two, three, last_one = mass[i, k], mass[i, k + 1], mass[i, k + 2], mass[i, k + 3]
        for e in range(begin, end):
            j, q = source[e], amount[e] * step
            one += q * c[j, k]
            two += q * c[j, k + 1]
            three += q * c[j, k + 2]
            last_one += q * c[j, k + 3]
        load[k], load[k + 1], load[k + 2], load[k + 3] = one, two, three, last_one
    for k in range(four, last):
        one = mass[i, k]
        for e in range(begin, end):
            one += amount[e] * step * c[source[e], k]
        load[k] = one


@nb.njit(cache=True, parallel=True, error_model="numpy")
def lay_out(order: Ints, hold: Floats, mass: Floats, held: Floats, laid: Floats) -> None:
    """Copy ``hold`` and ``mass`` (N, K), in another ``order`` (N,), into ``held`` and ``laid``."""
    for n in nb.prange(order.size):
        i = order[n]
        for k in range(mass.shape[1]):
            held[n, k] = hold[i, k]
            laid[n, k] = mass[i, k]


@nb.njit(cache=True, parallel=True, error_model="numpy")
def lay_back(place: Ints, laid: Floats, hold: Floats, mass: Floats, c: Floats) -> None:
    """Copy ``laid`` (N, K) back from its ``place`` (N,) into ``mass``; set concentrations ``c``."""
    for i in nb.prange(place.size):
        n = place[i]
        for k in range(mass.shape[1]):
            mass[i, k] = laid[n, k]
            c[i, k] = laid[n, k] / hold[i, k]


@nb.njit(cache=True, parallel=True, error_model="numpy")
def spread_lines(
    lines: Ints,
    first: Ints,
    link: Floats,
    hold: Floats,
    mass: Floats,
    step: float,
) -> None:
    """Implicit spreading along raster lines (tridiagonal, Thomas), in place.

    Parameters
    ----------
    lines : ndarray of shape (N,)
        Cells line after line.
    first : ndarray of shape (L + 1,)
        Where each line starts in ``lines``.
    link : ndarray of shape (N,)
        Exchange of each cell with the next of its line [m3/s]; 0 at its end.
    hold : ndarray of shape (N, K)
        Mass per concentration [m3].
    mass : ndarray of shape (N, K)
        [kg]; conserved along each line, and never negative.
    """
    species = mass.shape[1]
    for line in nb.prange(first.size - 1):
        begin, count = first[line], first[line + 1] - first[line]
        ratio = np.empty((count, species))
        value = np.empty((count, species))
        rest = np.zeros(species)  # 1 - ratio, summed without cancelling so that mass is kept
        last = np.zeros(species)
        back = 0.0
        for n in range(count):
            i = lines[begin + n]
            ahead = step * link[i]
            for k in range(species):
                keep = hold[i, k] + back * rest[k]
                over = 1.0 / (keep + ahead)
                rest[k] = keep * over
                ratio[n, k] = ahead * over
                last[k] = (mass[i, k] + back * last[k]) * over
                value[n, k] = last[k]
            back = ahead
        for m in range(count):
            n = count - 1 - m
            i = lines[begin + n]
            for k in range(species):
                if m:
                    last[k] = value[n, k] + ratio[n, k] * last[k]
                mass[i, k] = hold[i, k] * last[k]


@nb.njit(cache=True, error_model="numpy", inline="always")
def fade(z: float) -> float:
    """Return exp(-z) for z >= 0, to 5e-14: Taylor's series of exp(z/64), to the 64th power.

    Never above 1, and without table or branch, so that loops over it become vector code.
    """
    y = min(z, 3000.0) / 64.0
    p = 1 / 120 + y * (1 / 720 + y / 5040)
    p = 1.0 / (1.0 + y * (1.0 + y * (1 / 2 + y * (1 / 6 + y * (1 / 24 + y * p)))))
    p *= p
    p *= p
    p *= p
    p *= p
    p *= p
    return p * p


@nb.njit(cache=True, parallel=True, error_model="numpy", fastmath={"contract"})
def exchange(
    pairs: Ints, link: Floats, hold: Floats, mass: Floats, step: float, chunks: int
) -> None:
    """Exact two-cell exchange over each pair in turn, in place: positive and conservative.

    Two cells that exchange at ``link`` [m3/s] relax as exp(-link (1/Ha + 1/Hb) t). How far, and
    to what share of their dye, does not depend on the dye: a tile of pairs at once.
    """
    for part in nb.prange(chunks):
        first = part * mass.shape[1] // chunks
        last = (part + 1) * mass.shape[1] // chunks
        low, wide = np.uint64(first), np.uint64(last - first)  # unsigned: no test for below 0
        share, other = np.empty(TILE * wide), np.empty(TILE * wide)
        left = np.empty(TILE * wide)
        for begin in range(0, link.size, TILE):
            end = min(begin + TILE, link.size)
            n = np.uint64(0)
            for e in range(begin, end):
                a, b = np.uint64(pairs[e, 0]), np.uint64(pairs[e, 1])
                pace = link[e] * step
                for k in range(wide):
                    share[n + k] = hold[a, low + k]
                    other[n + k] = hold[b, low + k]
                    left[n + k] = pace
                n += wide
            for j in range((end - begin) * (last - first)):
                ours, both = share[j], share[j] + other[j]
                product = ours * other[j]
                over = 1.0 / (both * product)  # one division for two
                left[j] = fade(left[j] * both * both * over)
                share[j] = ours * product * over * (1.0 - left[j])
            n = np.uint64(0)
            for e in range(begin, end):
                a, b = np.uint64(pairs[e, 0]), np.uint64(pairs[e, 1])
                for k in range(wide):
                    ma = mass[a, low + k]
                    together = ma + mass[b, low + k]
                    now = min(together, together * share[n + k] + ma * left[n + k])
                    mass[a, low + k] = now
                    mass[b, low + k] = together - now
                n += wide
