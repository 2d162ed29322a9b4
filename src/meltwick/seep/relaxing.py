"""The loops of the flow solver, compiled: relaxation and the ways between levels.

Matrices are rows of a symmetric sparse matrix with sorted columns (CSR); ``middle`` is where each
row's diagonal stands, so that a loop can run over what comes before it or after it alone.
"""

from __future__ import annotations

import numba as nb
import numpy as np

from meltwick.types import Flags, Floats, Ints


@nb.njit(cache=True, error_model="numpy")
def project(
    start: Ints,
    middle: Ints,
    column: Ints,
    value: Floats,
    melt: Floats,
    cap: Floats,
    w: Floats,
    sweeps: int,
) -> None:
    """Projected Gauss-Seidel for A w = b, w <= cap; forward and backward in turn, in place."""
    n = middle.size
    for sweep in range(sweeps):
        for k in range(n):
            i = k if sweep % 2 == 0 else n - 1 - k
            total = melt[i]
            for e in range(start[i], middle[i]):
                total -= value[e] * w[column[e]]
            for e in range(middle[i] + 1, start[i + 1]):
                total -= value[e] * w[column[e]]
            w[i] = min(total / value[middle[i]], cap[i])


@nb.njit(cache=True, parallel=True, error_model="numpy")
def product(start: Ints, column: Ints, value: Floats, x: Floats, y: Floats) -> None:
    """Set y to A x."""
    for i in nb.prange(y.size):
        total = 0.0
        for e in range(start[i], start[i + 1]):
            total += value[e] * x[column[e]]
        y[i] = total


@nb.njit(cache=True, error_model="numpy")
def advance(
    step: float, direction: Floats, pulled: Floats, held: Flags, x: Floats, rest: Floats
) -> float:
    """Go ``step`` along a direction, in place; return the norm of what rests on the free cells."""
    total = 0.0
    for i in range(x.size):
        x[i] += step * direction[i]
        rest[i] -= step * pulled[i]
        if not held[i]:
            total += rest[i] * rest[i]
    return float(np.sqrt(total))


@nb.njit(cache=True, error_model="numpy")
def relax_forward(
    start: Ints,
    middle: Ints,
    column: Ints,
    value: Floats,
    pace: Floats,
    right: Floats,
    x: Floats,
) -> None:
    """One forward Gauss-Seidel sweep from x = 0: what comes after the diagonal is still nil.

    ``pace`` is one over the diagonal; where it is 0 the unknown is held at 0.
    """
    for i in range(middle.size):
        total = right[i]
        for e in range(start[i], middle[i]):
            total -= value[e] * x[column[e]]
        x[i] = total * pace[i]


@nb.njit(cache=True, error_model="numpy")
def hand_down(
    start: Ints,
    middle: Ints,
    column: Ints,
    value: Floats,
    pace: Floats,
    x: Floats,
    first: Ints,
    parent: Ints,
    weight: Floats,
    below: Floats,
) -> None:
    """Gather on the next level what `relax_forward` left: U x, as (L + D) x is the right side.

    ``first``, ``parent`` and ``weight`` are the rows of the interpolation.
    """
    below[:] = 0.0
    for i in range(middle.size):
        if pace[i] == 0.0:
            continue
        rest = 0.0
        for e in range(middle[i] + 1, start[i + 1]):
            rest -= value[e] * x[column[e]]
        for e in range(first[i], first[i + 1]):
            below[parent[e]] += weight[e] * rest


@nb.njit(cache=True, error_model="numpy")
def hand_up(
    first: Ints, parent: Ints, weight: Floats, pace: Floats, below: Floats, x: Floats
) -> None:
    """Add what the next level found."""
    for i in range(x.size):
        if pace[i] == 0.0:
            continue
        more = 0.0
        for e in range(first[i], first[i + 1]):
            more += weight[e] * below[parent[e]]
        x[i] += more


@nb.njit(cache=True, error_model="numpy")
def relax_backward(
    start: Ints,
    middle: Ints,
    column: Ints,
    value: Floats,
    pace: Floats,
    right: Floats,
    x: Floats,
) -> None:
    """One backward Gauss-Seidel sweep, in place."""
    for k in range(middle.size):
        i = middle.size - 1 - k
        total = right[i]
        for e in range(start[i], middle[i]):
            total -= value[e] * x[column[e]]
        for e in range(middle[i] + 1, start[i + 1]):
            total -= value[e] * x[column[e]]
        x[i] = total * pace[i]


@nb.njit(cache=True, error_model="numpy")
def diagonals(start: Ints, column: Ints) -> Ints:
    """Find where each row's diagonal stands; the row's start where it has none."""
    middle = np.empty(start.size - 1, np.int32)
    for i in range(middle.size):
        middle[i] = start[i]
        for e in range(start[i], start[i + 1]):
            if column[e] == i:
                middle[i] = e
    return middle


def free_pace(diagonal: Floats, held: Flags) -> Floats:
    """One over the diagonal, and 0 where the unknown is held."""
    return np.asarray(np.where(held, 0.0, 1.0 / np.where(held, 1.0, diagonal)))
