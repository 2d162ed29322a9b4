"""The scrunch: cloth gathered from every side into a low mound, pleat upon pleat.

Hands draw the cloth together with one knife pleat after another, each at its own angle, place and
width, through all that lies there already. A knife pleat is two reflections and keeps every length;
a later pleat's straight crease is broken, on the cloth, at each earlier one, so that no two creases
of the opened cloth run alike.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numba as nb
import numpy as np
from numpy.typing import NDArray

from meltwick import chance
from meltwick.folding.accordion import Turned, stretch
from meltwick.folding.stack import SUBS, Stack
from meltwick.types import Floats, Ints, Scrunch

Long = NDArray[np.int64]
"""Orders before they are numbered afresh: they outgrow 32 bits."""

WAYS = 12
"""Directions in which the mound's extent is watched."""

VARIED = 0.5  # pleats are wider or narrower than the bump by up to this share; chosen
BENT = 0.02  # spread of a crease's slope off its straight line at neatness 1; chosen
WAVES = (0.07, 0.19)  # [m] shortest and longest wave of that wander; chosen
MOST = 400  # tries at a pleat, however large the cloth
PATIENCE = 12  # pleats that would draw it in too far, before hands let it be
WIDEST = 0.3  # of the mound: no pleat takes up more
AT_ONCE = 12  # pleats between two renumberings of the layers: each makes three of one


@dataclass(frozen=True)
class Pleats:
    """Knife pleats in the order in which they are laid; all are made through the whole mound."""

    rows: Floats  # (n, 8): angle of the way across the crease [rad], place of the first crease
    # along that way [m], width folded back [m], 1 where the cloth beyond comes to lie on top and 0
    # where underneath, then two wave numbers [rad/m] and two phases [rad] of the creases' wander
    slope: float  # of each wave

    @property
    def angle(self) -> Floats:
        """(n,) [rad]."""
        return self.rows[:, 0]

    @property
    def width(self) -> Floats:
        """(n,) [m]."""
        return self.rows[:, 2]


@nb.njit(cache=True)
def _fold(
    p: Floats, q: Floats, order: Long, layers: int, rows: Floats, slope: float
) -> tuple[Floats, Floats, Long]:
    """Lay pleats one after another; the order needs 3 to the number of pleats times layers."""
    x, y, rank = p.copy(), q.copy(), order.copy()
    for j in range(rows.shape[0]):
        cosine, sine = np.cos(rows[j, 0]), np.sin(rows[j, 0])
        width, over = rows[j, 2], rows[j, 3] > 0.5
        for i in range(x.size):
            u = x[i] * cosine + y[i] * sine
            v = y[i] * cosine - x[i] * sine
            crease = rows[j, 1]
            for w in range(4, 6):
                crease += slope / rows[j, w] * np.sin(rows[j, w] * v + rows[j, w + 2])
            flank = 0
            if u > crease:
                flank = 1 if u < crease + width else 2
            if flank == 1:
                u = 2.0 * crease - u
                rank[i] = layers - 1 - rank[i]
            elif flank == 2:
                u -= 2.0 * width
            rank[i] += (flank if over else 2 - flank) * layers
            x[i], y[i] = u * cosine - v * sine, u * sine + v * cosine
        layers *= 3
    return x, y, rank


def extents(points: Floats) -> Floats:
    """Extent [m] of points (M, 2) in each of `WAYS` directions."""
    turn = np.pi * np.arange(WAYS) / WAYS
    return np.asarray(np.ptp(points @ np.array([np.cos(turn), np.sin(turn)]), axis=0))


def pleats_of(outline: Floats, fold: Scrunch, neatness: float, code: np.uint64) -> Pleats:
    """Gather an outline until it is as much smaller as asked, on the mean of all directions.

    Parameters
    ----------
    outline : ndarray of shape (M, 2)
        Lines of the cloth before it is folded [m].
    fold : Scrunch
    neatness : float
        0 tidy .. 1 loose. How pleats fall is chance for any hand.
    code : uint64
        From `chance.key`.
    """
    slope = BENT * neatness * min(1.0, 3.0 / fold.draw)  # it adds up, pleat upon pleat
    flat = extents(outline)
    points, found = outline, np.zeros((0, 8))
    none = np.zeros(len(points), np.int64)
    refused = 0
    for n in range(MOST):
        drawn = flat / extents(points)
        if drawn.mean() >= fold.draw or refused == PATIENCE:
            break
        row = _pleat(points, drawn, fold, chance.uniforms(code, 10, n))
        x, y, _ = _fold(points[:, 0], points[:, 1], none, 1, row, slope)
        laid = np.column_stack([x, y])
        past = (flat / extents(laid)).mean() - fold.draw
        if past > fold.draw - drawn.mean():  # nearer without it
            refused += 1
            continue
        points, found = laid, np.vstack([found, row])
    return Pleats(found, slope)


def _pleat(points: Floats, drawn: Floats, fold: Scrunch, draw: Floats) -> Floats:
    """Choose the next pleat, a row: hands go for the side that sticks out, at odd angles."""
    likely = np.maximum(fold.draw / drawn - 0.95, 0.02) ** 2
    way = np.interp(draw[0], np.cumsum(likely) / likely.sum(), np.arange(1, WAYS + 1)) - draw[1]
    angle = np.pi * (way / WAYS + float(draw[2] < 0.5))
    across = points @ np.array([np.cos(angle), np.sin(angle)])
    low, high = float(across.min()), float(across.max())
    width = min(fold.bump * (1.0 + VARIED * (2.0 * draw[3] - 1.0)), WIDEST * (high - low))
    place = low + (0.1 + 0.75 * draw[4]) * (high - low)
    length = WAVES[0] * (WAVES[1] / WAVES[0]) ** draw[6:8]
    over = float(draw[5] < 0.5)
    row = np.array([angle, place, width, over])
    return np.concatenate([row, 2.0 * np.pi / length, 2.0 * np.pi * draw[8:10]])[None, :]


def _gathered(
    pleats: Pleats, p: Floats, q: Floats, order: Ints, layers: int
) -> tuple[Floats, Floats, Long]:
    """Fold points; layers are numbered afresh before their numbers grow too large."""
    rows, rank = pleats.rows, order.astype(np.int64)
    for first in range(0, len(rows), AT_ONCE):
        some = rows[first : first + AT_ONCE]
        p, q, rank = _fold(p, q, rank, layers, some, pleats.slope)
        used, rank = np.unique(rank, return_inverse=True)
        layers = used.size
    return p, q, rank


@nb.njit(cache=True)
def _climb(lower: Long, upper: Long, count: int) -> Ints:
    """Level of each sheet: one above the highest that it lies on; pairs sorted by the upper."""
    level = np.zeros(count, np.int32)
    for k in range(lower.size):
        level[upper[k]] = max(level[upper[k]], level[lower[k]] + 1)
    return level


def levels(p: Floats, q: Floats, sheet: Long, step: float) -> Ints:
    """Bring sheets of cloth as low as what lies below them allows.

    Parameters
    ----------
    p, q : ndarray of shape (P,)
        Where points lie [m].
    sheet : ndarray of shape (P,)
        Number of each point's sheet; of two that overlap the higher number lies above.
    step : float
        Of the columns in which overlap is looked for [m].

    Returns
    -------
    ndarray of shape (P,)
        Layers, in the same order at every place, without gaps in their numbers.
    """
    across = np.floor((p - p.min()) / step).astype(np.int64)
    down = np.floor((q - q.min()) / step).astype(np.int64)
    column = across * (down.max() + 1) + down
    order = np.lexsort((sheet, column))
    a, b = order[:-1], order[1:]
    on = (column[a] == column[b]) & (sheet[a] != sheet[b])
    lower, upper = sheet[a[on]], sheet[b[on]]
    rising = np.argsort(upper, kind="stable")
    return np.asarray(_climb(lower[rising], upper[rising], int(sheet.max()) + 1)[sheet])


def scrunch(
    stack: Stack,
    fold: Scrunch,
    *,
    pitch: float,
    neatness: float,
    seed: int,
    round_number: int = 1,
) -> Stack:
    """Draw a flat stack together into a low mound.

    Parameters
    ----------
    stack : Stack
        Flat, of ``n`` layers.
    fold : Scrunch
    pitch : float
        Of the raster [m].
    neatness : float
        0 tidy .. 1 loose.

    Returns
    -------
    Stack
        The mound as it lies, every length kept but for the wander of creases.
    """
    outline = stack.rim if len(stack.rim) else np.column_stack([stack.p, stack.q])
    pleats = pleats_of(outline, fold, neatness, chance.key(seed, "scrunch", round_number))
    p, q, sheet = _gathered(pleats, stack.p, stack.q, stack.order, stack.layers)
    order = levels(p, q, sheet, pitch / SUBS)

    def turn(x: Floats, y: Floats, _: Ints) -> Turned:
        # which facet a point lies on: an order that may overflow still tells one from another
        none = np.zeros(x.size, np.int64)
        place, across, facet = _fold(x, y, none, 1, pleats.rows, pleats.slope)
        return place, across, np.asarray(facet)

    def moved(points: Floats) -> Floats:
        none = np.zeros(len(points), np.int32)
        return np.column_stack(turn(points[:, 0], points[:, 1], none)[:2])

    return replace(
        stack,
        p=p,
        q=q,
        order=order,
        layers=int(order.max()) + 1,
        rim=moved(stack.rim),
        marks=moved(stack.marks),
        strain99=max(stack.strain99, stretch(stack, turn)),
    )
