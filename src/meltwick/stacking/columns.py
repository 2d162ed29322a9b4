"""Columns of the bundle: points binned by where they lie, sorted by layer, holes closed.

A slot is one layer of one column. Jitter leaves some slots without a point although cloth
passes there; such a hole is closed with a neighbour's point when the cloth on two opposite
sides of it has that layer. Slots are addressed directly (column start plus layer), so nothing
is sorted.
"""

from __future__ import annotations

from dataclasses import dataclass

import numba as nb
import numpy as np

from meltwick.folding import Stack
from meltwick.folding.stack import SUBS
from meltwick.stacking.pairs import merge_pairs
from meltwick.types import Floats, Ints

_NONE = -1


@dataclass(frozen=True)
class Columns:
    """Bins of the footprint; ``down`` wraps round when the bundle is on a pole."""

    column: Ints  # (P,)
    across: int
    down: int
    wraps: bool
    area: float  # [m2] of one bin


@dataclass(frozen=True)
class Stacked:
    """What lies on what. Point arrays have shape (P,), pairs are of cells."""

    contacts: Ints
    contact_area: Floats
    film: Ints
    film_width: Floats
    exposed: Floats
    from_inside: Floats
    from_outside: Floats
    layers: Floats
    top: Ints  # a point of the uppermost layer of each column, -1 where there is none
    bottom: Ints  # and of the lowest


def columns(stack: Stack, pitch: float, mean_radius: float) -> Columns:
    """Bin a stack's footprint at the size of a sub-cell.

    Parameters
    ----------
    stack : Stack
        Flat or on a pole.
    pitch : float
        Of the raster [m].
    mean_radius : float
        Radius at which a bin round the pole is as long as a sub-cell [m].
    """
    step = pitch / SUBS
    ix = np.floor((stack.p - stack.p.min()) / step).astype(np.int64)
    if stack.radius:
        down = max(8, round(2.0 * np.pi * mean_radius / step))
        iy = np.floor(stack.q / (2.0 * np.pi) * down).astype(np.int64) % down
        area = step * 2.0 * np.pi * mean_radius / down
    else:
        iy = np.floor((stack.q - stack.q.min()) / step).astype(np.int64)
        down = int(iy.max()) + 1
        area = step * step
    across = int(ix.max()) + 1
    return Columns(
        column=(ix * down + iy).astype(np.int32),
        across=across,
        down=down,
        wraps=bool(stack.radius),
        area=area,
    )


def stack_up(stack: Stack, bins: Columns, cells: int) -> Stacked:
    """Find contacts, the outer film's neighbours, exposure and rank of every point."""
    wall = stack.layers if stack.radius else 0
    shape = (bins.across, bins.down, bins.wraps, wall, stack.flat)
    first, start, members, fill = _slots(bins.column, stack.order, *shape)
    pairs, areas, inside, outside, layers, top, bottom = _climb(
        first, start, members, fill, stack.cell, bins.area
    )
    exposed, top = _skin(top, stack.order, bins.column, outside, *shape)
    contacts, contact_area = merge_pairs(pairs, areas, cells)
    film, film_width = merge_pairs(*column_film(top, stack.cell, bins), cells)
    return Stacked(
        contacts=contacts,
        contact_area=contact_area,
        film=film,
        film_width=film_width,
        exposed=exposed,
        from_inside=inside,
        from_outside=outside,
        layers=layers,
        top=top,
        bottom=bottom,
    )


def column_film(points: Ints, cell: Ints, bins: Columns) -> tuple[Ints, Floats]:
    """Join the cells that lie side by side on the top or the underside of a stack.

    Parameters
    ----------
    points : ndarray of shape (columns,)
        The point that shows of each column, or -1.
    cell : ndarray of shape (P,)
    bins : Columns

    Returns
    -------
    pairs, weight : ndarray of shape (E, 2) and (E,)
        Shared width over distance [-], one for each pair of columns of a sub-cell's size.
    """
    pairs, weight = _film(points, cell, bins.across, bins.down, bins.wraps)
    return pairs, np.asarray(weight / SUBS)


@nb.njit(cache=True)
def _beside(i: int, j: int, side: int, across: int, down: int, wraps: bool) -> int:
    """Column to the left, right, above or below (0..3), or -1."""
    if side == 0:
        return (i - 1) * down + j if i > 0 else -1
    if side == 1:
        return (i + 1) * down + j if i < across - 1 else -1
    if side == 2:
        if j > 0:
            return i * down + j - 1
        return i * down + down - 1 if wraps else -1
    if j < down - 1:
        return i * down + j + 1
    return i * down if wraps else -1


@nb.njit(cache=True)
def _seam(order: int, side: int, j: int, down: int, wall: int, flat: int) -> int:
    """Layer of our column that goes on as a neighbour's layer ``order``, or -1.

    Across the seam of a roll (row 0 beside the last) a layer goes on as the same one of the
    next turn, ``flat`` layers up the wall; up is down in a flank that is turned over.
    """
    if wall == 0 or not ((side == 2 and j == 0) or (side == 3 and j == down - 1)):
        return order
    step = flat if side == 2 else -flat
    if (order // wall) % 2 == 1:
        step = -step
    other = order + step
    return other if other >= 0 and other // wall == order // wall else -1


PASSES = 2
"""Times that holes are closed: a hole's neighbour may itself have been one."""


@nb.njit(cache=True)
def _slots(
    column: Ints, order: Ints, across: int, down: int, wraps: bool, wall: int, flat: int
) -> tuple[Ints, Ints, Ints, Ints]:
    """Return first slot of each column, first member of each slot, members, fillers.

    ``fill[slot]`` is a neighbour's point that stands in for a missing one, or -1.
    """
    count = across * down
    base = np.full(count, np.int32(2147483647), np.int32)
    roof = np.full(count, np.int32(-1), np.int32)
    for i in range(column.size):
        c = column[i]
        base[c] = min(base[c], order[i])
        roof[c] = max(roof[c], order[i])
    for _ in range(PASSES):
        base, roof = _widen(base, roof, across, down, wraps, wall, flat)
    first = np.zeros(count + 1, np.int32)
    for c in range(count):
        first[c + 1] = first[c] + (roof[c] - base[c] + 1 if roof[c] >= base[c] else 0)
    slots = first[count]
    start = np.zeros(slots + 1, np.int32)
    for i in range(column.size):
        start[first[column[i]] + order[i] - base[column[i]] + 1] += 1
    for s in range(slots):
        start[s + 1] += start[s]
    members = np.empty(column.size, np.int32)
    used = np.zeros(slots, np.int32)
    for i in range(column.size):
        s = first[column[i]] + order[i] - base[column[i]]
        members[start[s] + used[s]] = i
        used[s] += 1
    held = np.full(slots, np.int32(_NONE), np.int32)
    for s in range(slots):
        if used[s]:
            held[s] = members[start[s]]
    for _ in range(PASSES):
        held = _close(held, first, base, across, down, wraps, wall, flat)
    for s in range(slots):
        if used[s]:
            held[s] = _NONE
    return first, start, members, held


@nb.njit(cache=True)
def _widen(
    base: Ints, roof: Ints, across: int, down: int, wraps: bool, wall: int, flat: int
) -> tuple[Ints, Ints]:
    """Lowest and highest layer that each column has, or that cloth on both sides of it has."""
    low, high = base.copy(), roof.copy()
    for i in range(across):
        for j in range(down):
            c = i * down + j
            for axis in range(2):
                a = _beside(i, j, 2 * axis, across, down, wraps)
                b = _beside(i, j, 2 * axis + 1, across, down, wraps)
                if a < 0 or b < 0 or roof[a] < base[a] or roof[b] < base[b]:
                    continue
                side = 2 * axis
                top_a = _seam(roof[a], side, j, down, wall, flat)
                top_b = _seam(roof[b], side + 1, j, down, wall, flat)
                low_a = _seam(base[a], side, j, down, wall, flat)
                low_b = _seam(base[b], side + 1, j, down, wall, flat)
                if min(top_a, top_b) >= 0:
                    high[c] = max(high[c], min(top_a, top_b))
                if min(low_a, low_b) >= 0:
                    low[c] = min(low[c], max(low_a, low_b))
    return low, high


@nb.njit(cache=True)
def _close(
    held: Ints,
    first: Ints,
    base: Ints,
    across: int,
    down: int,
    wraps: bool,
    wall: int,
    flat: int,
) -> Ints:
    """Give an empty slot a neighbour's point where two opposite neighbours have that layer."""
    out = held.copy()
    for i in range(across):
        for j in range(down):
            c = i * down + j
            for s in range(first[c], first[c + 1]):
                if held[s] >= 0:
                    continue
                layer = base[c] + s - first[c]
                for axis in range(2):
                    a = _beside(i, j, 2 * axis, across, down, wraps)
                    b = _beside(i, j, 2 * axis + 1, across, down, wraps)
                    if a < 0 or b < 0:
                        continue
                    # the seam's map from them to us, the other way round
                    la = _seam(layer, 2 * axis, j, down, wall, -flat)
                    lb = _seam(layer, 2 * axis + 1, j, down, wall, -flat)
                    if la < 0 or lb < 0:
                        continue
                    sa = first[a] + la - base[a]
                    sb = first[b] + lb - base[b]
                    if sa < first[a] or sa >= first[a + 1] or sb < first[b] or sb >= first[b + 1]:
                        continue
                    if held[sa] >= 0 and held[sb] >= 0:
                        out[s] = held[sa]
                        break
    return out


@nb.njit(cache=True)
def _climb(
    first: Ints, start: Ints, members: Ints, fill: Ints, cell: Ints, area: float
) -> tuple[Ints, Floats, Floats, Floats, Floats, Ints, Ints]:
    """Walk up every column: pairs that touch, ranks, the uppermost and the lowest point."""
    points = cell.size
    limit = points + fill.size
    pairs = np.empty((limit, 2), np.int32)
    areas = np.empty(limit)
    inside = np.zeros(points)
    outside = np.zeros(points)
    layers = np.zeros(points)
    top = np.full(first.size - 1, np.int32(_NONE), np.int32)
    bottom = top.copy()
    found = 0
    one = np.empty(1, np.int32)
    for c in range(first.size - 1):
        height = 0
        for s in range(first[c], first[c + 1]):
            if start[s + 1] > start[s] or fill[s] >= 0:
                height += 1
        rank = 0
        below = one[:0]
        for s in range(first[c], first[c + 1]):
            if start[s + 1] > start[s]:
                here = members[start[s] : start[s + 1]]
            elif fill[s] >= 0:
                here = fill[s : s + 1]
            else:
                continue
            wide = max(below.size, here.size)
            for k in range(wide if below.size else 0):
                a = cell[below[k * below.size // wide]]
                b = cell[here[k * here.size // wide]]
                if a != b and found < limit:
                    pairs[found, 0] = a
                    pairs[found, 1] = b
                    areas[found] = area / wide
                    found += 1
            if start[s + 1] > start[s]:
                for m in here:
                    inside[m] = rank
                    outside[m] = height - 1 - rank
                    layers[m] = height
            if rank == height - 1:
                top[c] = here[0]
            if rank == 0:
                bottom[c] = here[0]
            rank += 1
            below = here
    return pairs[:found], areas[:found], inside, outside, layers, top, bottom


@nb.njit(cache=True)
def _skin(
    top: Ints,
    order: Ints,
    column: Ints,
    outside: Floats,
    across: int,
    down: int,
    wraps: bool,
    wall: int,
    flat: int,
) -> tuple[Floats, Ints]:
    """Find which points lie outside, and the point that stands for each column's outside.

    In a pleated wall (``wall`` layers to a flank, 0: no pleats) the edge of a crease falls
    between columns, and a deeper layer of the same pleat would show there. The neighbour's
    outer layer goes round it, so it covers that column.
    """
    exposed = np.zeros(order.size)
    shown = top.copy()
    for i in range(across):
        for j in range(down):
            c = i * down + j
            if top[c] < 0 or wall == 0:
                continue
            highest = order[top[c]]
            flank = highest // wall
            for side in range(4):
                other = _beside(i, j, side, across, down, wraps)
                if other < 0 or top[other] < 0:
                    continue
                theirs = _seam(order[top[other]], side, j, down, wall, flat)
                over = theirs // wall
                if theirs > highest and (over == flank or (flank % 2 == 1 and over == flank + 1)):
                    shown[c], highest = top[other], theirs
    for m in range(order.size):
        if outside[m] == 0.0 and shown[column[m]] == top[column[m]]:
            exposed[m] = 1.0
    return exposed, shown


@nb.njit(cache=True)
def _film(top: Ints, cell: Ints, across: int, down: int, wraps: bool) -> tuple[Ints, Floats]:
    """Cells whose outsides are side by side: one shared bin edge counts one."""
    pairs = np.empty((2 * top.size, 2), np.int32)
    found = 0
    for i in range(across):
        for j in range(down):
            here = top[i * down + j]
            if here < 0:
                continue
            for side in (1, 3):
                other = _beside(i, j, side, across, down, wraps)
                if other < 0 or top[other] < 0:
                    continue
                a, b = cell[here], cell[top[other]]
                if a != b:
                    pairs[found, 0] = a
                    pairs[found, 1] = b
                    found += 1
    return pairs[:found], np.ones(found)
