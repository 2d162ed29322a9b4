"""The accordion: a zigzag of equal pleats; a second one across the first makes a brick."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numba as nb
import numpy as np

from meltwick import chance
from meltwick.folding.stack import SUBS, Stack
from meltwick.types import Accordion, Floats, Ints

TUCK = 0.6
"""Thickness of a layer in a tied pleat over its loose thickness, for the creases; chosen."""

KNOT = 0.12  # [m] along a crease between independent places; chosen
EDGE = 0.07  # spread of where a crease lands on the pile's edge, in pleats, at neatness 1
TILT = 0.025  # and of its wander along the crease
GIVES = 0.0036  # [m] most of that wander, over the root of pleats and two: it adds up; chosen
ALIKE = 0.7  # likeness of one crease's error to the next one's: a hand errs the same way
DEEPEST = 0.25  # share of a pleat that inner layers give up to a crease, at most


@dataclass(frozen=True)
class Creases:
    """Crease lines, crease after crease, at knots along them; both tables hold metres.

    Crease ``k`` lies at ``cloth`` across the pleats before folding, and lands at ``edge``.
    Between knots both are smooth, and a pleat's width is the same on the cloth and folded.
    """

    cloth: Floats  # (K, J)
    edge: Floats  # (K, J)
    first: float  # [m] along the creases, of the second knot


def axes(fold: Accordion) -> tuple[Floats, Floats]:
    """Return unit vectors (x right, y down): across the pleats, and down along the creases."""
    side = 1.0 if fold.lean == "right" else -1.0
    sine, cosine = side * np.sin(fold.angle), np.cos(fold.angle)
    return np.array([cosine, sine]), np.array([-sine, cosine])


def bend_share(distance: Floats, half: Floats | float, step: float) -> Floats:
    """Share of a point that turns outwards round a crease [-].

    Parameters
    ----------
    distance : ndarray of shape (P,)
        Of cloth to the crease [m].
    half : ndarray or float
        Half the width of the outer layer's bend [m]: the layers that it goes round.
    step : float
        Width that a point stands for [m].

    Returns
    -------
    ndarray of shape (P,)
        Summed over the cloth on both sides of a crease it gives the bend's whole width.
    """
    reach = np.minimum(distance + 0.5 * step, half) - np.maximum(distance - 0.5 * step, -half)
    return np.asarray(np.clip(reach / step, 0.0, 1.0))


def creases(
    seed: int,
    purpose: str,
    round_number: int,
    across: tuple[float, float],
    along: tuple[float, float],
    pleat: float,
    neatness: float,
) -> Creases:
    """Fold equal pleats, each laid on the pile's edge as well as the hand can.

    Parameters
    ----------
    across, along : tuple of float
        From where to where the cloth lies [m].
    pleat : float
        Width [m].
    neatness : float
        0 tidy .. 1 loose.
    """
    count = int(np.ceil((across[1] - across[0]) / pleat / (1.0 - 0.5 * neatness * EDGE * 3.0))) + 3
    code = chance.key(seed, purpose, round_number)
    each = chained((chance.uniforms(code, count, 0) - 0.5) * np.sqrt(12.0))
    # errors along a crease skew all cloth after it, and cloth gives way only so far
    most = GIVES / np.sqrt((across[1] - across[0]) / pleat + 2.0)
    strays = min(TILT * pleat, most) * wander(code, count, along)
    error = neatness * (EDGE * pleat * each[:, None] + strays)
    side = (np.arange(count) % 2).astype(np.float64)[:, None]
    return landing(across[0] + pleat * side + error, along[0])


def wander(code: np.uint64, count: int, along: tuple[float, float]) -> Floats:
    """How each of so many creases strays at its knots, (K, J); of unit variance."""
    knots = int(np.ceil((along[1] - along[0]) / KNOT)) + 4
    draw = chance.uniforms(code, count * knots, 1).reshape(count, knots)
    return chained((draw - 0.5) * np.sqrt(12.0))


def landing(edge: Floats, first: float) -> Creases:
    """Creases that land at ``edge``, (K, J): between two lies as much cloth as is folded there."""
    widths = np.abs(np.diff(edge, axis=0))
    cloth = np.vstack([edge[:1], edge[:1] + np.cumsum(widths, axis=0)])
    return Creases(cloth=cloth, edge=edge, first=first)


def chained(white: Floats) -> Floats:
    """Values of unit variance, alike from one to the next."""
    out = white.copy()
    for k in range(1, len(out)):
        out[k] = ALIKE * out[k - 1] + np.sqrt(1.0 - ALIKE**2) * white[k]
    return np.asarray(out)


@nb.njit(cache=True)
def _at(table: Floats, k: int, place: float) -> float:
    """Catmull-Rom interpolation of one crease; place in knots from the second one."""
    last = table.shape[1] - 3
    j = min(max(int(np.floor(place)), 0), last - 1)
    t = min(max(place - j, 0.0), 1.0)
    a, b, c, d = table[k, j], table[k, j + 1], table[k, j + 2], table[k, j + 3]
    curve = c - a + t * (2.0 * a - 5.0 * b + 4.0 * c - d + t * (3.0 * (b - c) + d - a))
    return float(b + 0.5 * t * curve)


@nb.njit(cache=True)
def _zigzag(
    across: Floats,
    along: Floats,
    order: Ints,
    layers: int,
    tuck: float,
    cloth: Floats,
    edge: Floats,
) -> tuple[Floats, Ints, Floats]:
    """Fold points; returns place, order and distance to the crease that each is outermost at."""
    count = across.size
    place = np.empty(count)
    stack = np.empty(count, np.int32)
    outer = np.full(count, np.inf)
    last = cloth.shape[0] - 2
    guess = (cloth[-1, 0] - cloth[0, 0]) / (cloth.shape[0] - 1)
    for i in range(count):
        k = min(max(int((across[i] - cloth[0, 0]) / guess), 0), last)
        while k > 0 and _at(cloth, k, along[i]) > across[i]:
            k -= 1
        while k < last and _at(cloth, k + 1, along[i]) <= across[i]:
            k += 1
        c0, c1 = _at(cloth, k, along[i]), _at(cloth, k + 1, along[i])
        e0, e1 = _at(edge, k, along[i]), _at(edge, k + 1, along[i])
        u = across[i] - c0
        o = order[i]
        # at a far edge the lowest layer goes round the others, at a near edge the highest
        far, near = tuck * o, tuck * (layers - 1 - o)
        if k % 2 == 0:
            stack[i] = k * layers + o
            low, high, share = e0 + near, e1 - far, u / (c1 - c0)
            near_gap, far_gap = u, c1 - across[i]
        else:
            stack[i] = k * layers + layers - 1 - o
            low, high, share = e1 + near, e0 - far, 1.0 - u / (c1 - c0)
            near_gap, far_gap = c1 - across[i], u
        place[i] = low + share * (high - low)
        if o == 0:
            outer[i] = far_gap
        if o == layers - 1 and not (k == 0 and near_gap == u):
            outer[i] = min(outer[i], near_gap)
    return place, stack, outer


def accordion(
    stack: Stack,
    fold: Accordion,
    *,
    thickness: float,
    pitch: float,
    neatness: float,
    seed: int,
    round_number: int = 1,
    number: int = 1,
) -> Stack:
    """Fold a flat stack into a zigzag.

    Parameters
    ----------
    stack : Stack
        Flat, of ``n`` layers.
    fold : Accordion
    thickness : float
        Of one layer of cloth [m].
    pitch : float
        Of the raster [m].
    neatness : float
        0 tidy .. 1 loose.
    number : int
        Which fold of the round, so that two accordions differ.

    Returns
    -------
    Stack
        Where the first pleat was, every other one on it. Each pleat adds ``n`` layers; every
        second one is turned over. Lengths across the pleats are kept, except inside a crease.
    """
    reach = extents(stack, fold)
    table = creases(
        seed, f"pleats {number}", round_number, reach[0], reach[1], fold.pleat, neatness
    )
    return zigzag(stack, fold, table, thickness=thickness, pitch=pitch)


def extents(stack: Stack, fold: Accordion) -> tuple[tuple[float, float], tuple[float, float]]:
    """From where to where a flat stack lies, across the pleats and along the creases [m]."""
    outline = stack.rim if len(stack.rim) else np.column_stack([stack.p, stack.q])
    over, down = (outline @ way for way in axes(fold))
    return (float(over.min()), float(over.max())), (float(down.min()), float(down.max()))


def zigzag(
    stack: Stack, fold: Accordion, table: Creases, *, thickness: float, pitch: float
) -> Stack:
    """Fold a flat stack at given creases, `accordion` telling how."""
    over, down = axes(fold)
    outline = stack.rim if len(stack.rim) else np.column_stack([stack.p, stack.q])
    tuck = min(TUCK * thickness, DEEPEST * fold.pleat / max(stack.layers - 1, 1))

    def turn(
        p: Floats, q: Floats, order: Ints, inset: float
    ) -> tuple[Floats, Floats, Ints, Floats]:
        u, v = p * over[0] + q * over[1], p * down[0] + q * down[1]
        knots = (v - table.first) / KNOT + 0.5
        place, layer, outer = _zigzag(u, knots, order, stack.layers, inset, table.cloth, table.edge)
        return place * over[0] + v * down[0], place * over[1] + v * down[1], layer, outer

    def moved(points: Floats) -> Floats:
        flat = np.zeros(len(points), np.int32)
        return np.column_stack(turn(points[:, 0], points[:, 1], flat, 0.0)[:2])

    p, q, order, outer = turn(stack.p, stack.q, stack.order, tuck)
    bend = bend_share(outer, stack.layers * TUCK * thickness, pitch / SUBS)
    pleats = int(np.ceil((order.max() + 1) / stack.layers))
    return replace(
        stack,
        p=p,
        q=q,
        order=order,
        layers=pleats * stack.layers,
        rim=moved(outline),
        marks=moved(stack.marks),
        pleated=fold.angle if fold.lean == "right" else -fold.angle,
        bend=bend if stack.bend is None else np.maximum(bend, stack.bend),
        strain99=max(stack.strain99, stretch(stack, lambda p, q, o: turn(p, q, o, 0.0)[:3])),
    )


Turned = tuple[Floats, Floats, Ints]
"""Places and layers of points after a fold."""

SAMPLES = 4000
"""Points at which the stretch is measured."""


def stretch(
    stack: Stack,
    turn: Callable[[Floats, Floats, Ints], Turned],
    length: Floats | None = None,
) -> float:
    """99th percentile of how far a fold stretches the cloth, by differences over 10 um.

    The stretch is the greater singular value of the map's gradient, less 1. Pairs of points
    with a crease between them are left out.

    Parameters
    ----------
    stack : Stack
        Before the fold.
    turn : callable
        From p, q and order to folded p, q and order.
    length : ndarray of shape (P,), optional
        Of what lies there, over that along folded p: less inside a bend, more outside it.
    """
    every = max(1, stack.p.size // SAMPLES)
    p, q, order = stack.p[::every], stack.q[::every], stack.order[::every]
    step = 1e-5
    here = turn(p, q, order)
    gradient, same = [], np.ones(p.size, dtype=bool)
    for ux, uy in ((1.0, 0.0), (0.0, 1.0)):
        there = turn(p + ux * step, q + uy * step, order)
        gradient.append([(there[0] - here[0]) / step, (there[1] - here[1]) / step])
        same &= there[2] == here[2]
    if length is not None:
        gradient = [[along * length[::every], up] for along, up in gradient]
    parts = np.array(gradient).transpose(2, 1, 0)[same]
    return float(np.quantile(np.linalg.svd(parts, compute_uv=False)[:, 0], 0.99)) - 1.0
