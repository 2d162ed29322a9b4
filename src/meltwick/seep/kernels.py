"""The hot loops, compiled. Each is a plain function of arrays, with no state of its own."""

from __future__ import annotations

import numba as nb
import numpy as np

from meltwick.types import Floats, Ints

PARTS = 64
"""Runs of cells that threads share out among themselves; no result depends on it."""


@nb.njit(cache=True, error_model="numpy")
def project(
    start: Ints,
    column: Ints,
    value: Floats,
    diagonal: Floats,
    melt: Floats,
    cap: Floats,
    w: Floats,
    sweeps: int,
) -> None:
    """Projected Gauss-Seidel for A w = b, w <= cap; forward and backward in turn, in place."""
    n = diagonal.size
    for sweep in range(sweeps):
        for k in range(n):
            i = k if sweep % 2 == 0 else n - 1 - k
            total = melt[i] + diagonal[i] * w[i]
            for e in range(start[i], start[i + 1]):
                total -= value[e] * w[column[e]]
            w[i] = min(total / diagonal[i], cap[i])


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
    species = kd.size
    cells = volume.size
    for part in nb.prange(PARTS):
        gone = np.empty(species)
        share = np.empty(species)
        for i in range(part * cells // PARTS, (part + 1) * cells // PARTS):
            total = 0.0
            for k in range(species):
                total += mass[i, k]
            if total <= 0.0:
                continue
            x = _crowding(volume[i], fibre[i], kd, capacity, mass[i], crowd[i])
            crowd[i] = x
            water = volume[i] * x
            wish = 0.0
            taken = 0.0
            for k in range(species):
                taken += fixed[i, k]
                held = fibre[i] * kd[k]
                to_fibre = fixing[k] * held
                rate = to_fibre + hydrolysing[k] * water
                share[k] = to_fibre / rate if rate > 0.0 else 0.0
                gone[k] = mass[i, k] * _lost_share(pace[i] * rate * step / (water + held))
                wish += gone[k] * share[k]
            fit = 0.0
            if wish > 0.0 and fibre[i] > 0.0 and sites[i] > taken:
                asked = wish / fibre[i]
                fit = min(1.0, (sites[i] - taken) * _lost_share(asked / sites[i]) / asked)
            for k in range(species):
                fix = gone[k] * share[k] * fit
                waste = gone[k] * (1.0 - share[k])
                if fibre[i] > 0.0:
                    fixed[i, k] += fix / fibre[i]
                spent[i, k] += waste
                mass[i, k] = max(0.0, mass[i, k] - fix - waste)


@nb.njit(cache=True, error_model="numpy")
def _lost_share(z: float) -> float:
    """Return 1 - exp(-z) for z >= 0, to 1e-11 of itself; much quicker than expm1."""
    return float(1.0 - np.exp(-z) if z > 1e-4 else z * (1.0 - 0.5 * z * (1.0 - z / 3.0)))


@nb.njit(cache=True, error_model="numpy", fastmath={"reassoc", "contract"})
def _crowding(
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
        total = 0.0
        for k in range(kd.size):
            total += mass[i, k]
        x = _crowding(volume[i], fibre[i], kd, capacity, mass[i], crowd[i]) if total > 0.0 else 1.0
        crowd[i] = x
        per = fibre[i] / x
        for k in range(kd.size):
            hold[i, k] = volume[i] + per * kd[k]
            c[i, k] = mass[i, k] / hold[i, k]


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
                pivot = keep + ahead
                rest[k] = keep / pivot
                ratio[n, k] = ahead / pivot
                last[k] = (mass[i, k] + back * last[k]) / pivot
                value[n, k] = last[k]
            back = ahead
        for m in range(count):
            n = count - 1 - m
            i = lines[begin + n]
            for k in range(species):
                if m:
                    last[k] = value[n, k] + ratio[n, k] * last[k]
                mass[i, k] = hold[i, k] * last[k]


@nb.njit(cache=True, parallel=True, error_model="numpy")
def exchange(
    pairs: Ints, link: Floats, hold: Floats, mass: Floats, step: float, least: float, chunks: int
) -> None:
    """Exact two-cell exchange over each pair in turn, in place: positive and conservative.

    Two cells that exchange at ``link`` [m3/s] relax as exp(-link (1/Ha + 1/Hb) t). Pairs in
    which neither holds ``least`` [kg] of a species are passed over.
    """
    species = mass.shape[1]
    for part in nb.prange(chunks):
        for e in range(link.size):
            a, b = pairs[e, 0], pairs[e, 1]
            for k in range(part * species // chunks, (part + 1) * species // chunks):
                ma, mb = mass[a, k], mass[b, k]
                if ma <= least and mb <= least:
                    continue
                ha, hb = hold[a, k], hold[b, k]
                rate = link[e] * (ha + hb) / (ha * hb)
                even = (ma + mb) * ha / (ha + hb)
                now = even + (ma - even) * np.exp(-rate * step)
                mass[a, k] = now
                mass[b, k] = (ma + mb) - now
