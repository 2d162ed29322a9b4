"""Pairs of cells that touch, and points on a face of the bundle that lie side by side."""

from __future__ import annotations

import numba as nb
import numpy as np

from meltwick.types import Floats, Ints


def side_by_side(
    line: Ints, place: Floats, width: Floats, cell: Ints, closest: float, furthest: float
) -> tuple[Ints, Floats]:
    """Join points that follow each other along lines over a face of the bundle.

    Parameters
    ----------
    line : ndarray of shape (P,)
        Number of the line that a point lies on; points on different lines are not joined.
    place : ndarray of shape (P,)
        Along the line [m].
    width : ndarray of shape (P,)
        Of the strip of face that the point stands for [m].
    cell : ndarray of shape (P,)
    closest, furthest : float
        Shorter steps count as ``closest`` [m]; longer ones are gaps, with nothing between.

    Returns
    -------
    pairs, weight : ndarray of shape (E, 2) and (E,)
        Cells, and the strip's width over the step [-].
    """
    order = np.lexsort((place, line))
    a, b = order[:-1], order[1:]
    step = place[b] - place[a]
    joined = (line[a] == line[b]) & (step <= furthest) & (cell[a] != cell[b])
    a, b, step = a[joined], b[joined], step[joined]
    weight = 0.5 * (width[a] + width[b]) / np.maximum(step, closest)
    return np.column_stack([cell[a], cell[b]]).astype(np.int32), np.asarray(weight)


@nb.njit(cache=True)
def merge_pairs(pairs: Ints, weight: Floats, cells: int) -> tuple[Ints, Floats]:
    """Add up the weights of pairs that join the same two cells, lower number first.

    Parameters
    ----------
    pairs : ndarray of shape (E, 2)
        Cells; no pair joins a cell to itself.
    weight : ndarray of shape (E,)

    Returns
    -------
    pairs, weight : ndarray of shape (M, 2) and (M,)
        Sorted by the lower, then the higher cell.
    """
    start = np.zeros(cells + 1, np.int64)
    for e in range(weight.size):
        start[min(pairs[e, 0], pairs[e, 1]) + 1] += 1
    for c in range(cells):
        start[c + 1] += start[c]
    other = np.empty(weight.size, np.int32)
    amount = np.empty(weight.size)
    used = start[:-1].copy()
    for e in range(weight.size):
        c = min(pairs[e, 0], pairs[e, 1])
        d = max(pairs[e, 0], pairs[e, 1])
        k = used[c]
        while k > start[c] and other[k - 1] > d:  # keep each short list sorted
            other[k] = other[k - 1]
            amount[k] = amount[k - 1]
            k -= 1
        other[k] = d
        amount[k] = weight[e]
        used[c] += 1
    out = np.empty((weight.size, 2), np.int32)
    total = np.empty(weight.size)
    found = 0
    for c in range(cells):
        for k in range(start[c], start[c + 1]):
            if k > start[c] and other[k] == other[k - 1]:
                total[found - 1] += amount[k]
            else:
                out[found, 0] = c
                out[found, 1] = other[k]
                total[found] = amount[k]
                found += 1
    return out[:found].copy(), total[:found].copy()
