"""The pole wrap: roll round a cylinder at a bias, then push into knife pleats."""

from __future__ import annotations

from dataclasses import replace

import numba as nb
import numpy as np

from meltwick import chance
from meltwick.folding.hand import KNOTS, SKEW, SKEW_LENGTH, Rings, rings
from meltwick.folding.stack import Stack
from meltwick.types import Floats, Ints, PoleWrap


def roll_angle(distance: Floats, radius: float, thickness: float) -> Floats:
    """Angle at which rolled cloth lies, [rad].

    The roll is the Archimedean spiral r = R + T theta / (2 pi); its arc length, with the
    small radial part left out, is s = R theta + T theta^2 / (4 pi).

    Parameters
    ----------
    distance : ndarray of shape (P,)
        Cloth rolled up before the point [m].
    radius : float
        Of the pole [m].
    thickness : float
        Of the stack that is rolled [m].
    """
    growth = thickness / (2.0 * np.pi)
    return np.asarray(
        2.0 * distance / (radius + np.sqrt(radius * radius + 2.0 * growth * distance))
    )


def axes(fold: PoleWrap) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return unit vectors (x right, y down): up along the pole, and the way the cloth rolls."""
    sine, cosine = np.sin(fold.bias), np.cos(fold.bias)
    side = 1.0 if fold.lean == "right" else -1.0
    along = (side * sine, -cosine)
    roll = (-side * cosine, -sine)
    if fold.starts_at == "shoulder":
        roll = (-roll[0], -roll[1])
    return along, roll


def squeeze_along(fold: PoleWrap) -> Floats:
    """Squeeze from the low to the high end; uneven hands push the low end tighter."""
    if fold.even:
        return np.full(3, fold.squeeze)
    lean = 0.25 * (fold.squeeze - 1.0) / fold.squeeze
    return fold.squeeze * np.array([1.0 + lean, 1.0, 1.0 - lean])


@nb.njit(cache=True)
def _around(table: Floats, k: int, turn: float) -> float:
    """Periodic Catmull-Rom interpolation of one ring; turn in [0, 1)."""
    u = turn * KNOTS
    j = int(u)
    t = u - j
    a = table[k, (j - 1) % KNOTS]
    b = table[k, j % KNOTS]
    c = table[k, (j + 1) % KNOTS]
    d = table[k, (j + 2) % KNOTS]
    return b + 0.5 * t * (
        c - a + t * (2.0 * a - 5.0 * b + 4.0 * c - d + t * (3.0 * (b - c) + d - a))
    )


@nb.njit(cache=True)
def _pleat(
    along: Floats,
    angle: Floats,
    order: Ints,
    layers: int,
    wall: int,
    cloth_rings: Floats,
    pole_rings: Floats,
) -> tuple[Floats, Floats, Ints, Floats, Floats]:
    count = along.size
    place = np.empty(count)
    turn = np.empty(count)
    stack = np.empty(count, np.int32)
    ring = np.empty(count)
    gap = np.empty(count)
    last = cloth_rings.shape[0] - 2
    guess = (cloth_rings[-1, 0] - cloth_rings[0, 0]) / (cloth_rings.shape[0] - 1)
    for i in range(count):
        turns = angle[i] / (2.0 * np.pi)
        whole = int(np.floor(turns))
        part = turns - whole
        k = min(max(int((along[i] - cloth_rings[0, 0]) / guess), 0), last)
        while k > 0 and _around(cloth_rings, k, part) > along[i]:
            k -= 1
        while k < last and _around(cloth_rings, k + 1, part) <= along[i]:
            k += 1
        c0 = _around(cloth_rings, k, part)
        c1 = _around(cloth_rings, k + 1, part)
        x0 = _around(pole_rings, k, part)
        x1 = _around(pole_rings, k + 1, part)
        forward = 0.5 * ((c1 - c0) + (x1 - x0))
        u = along[i] - c0
        layer = whole * layers + order[i]
        if u < forward:
            place[i] = x0 + u
            stack[i] = 2 * k * wall + layer
        else:
            place[i] = x0 + 2.0 * forward - u
            stack[i] = (2 * k + 1) * wall + (wall - 1 - layer)
        turn[i] = 2.0 * np.pi * part
        while k < last and x1 <= place[i]:
            k += 1
            x0, x1 = x1, _around(pole_rings, k + 1, part)
        ring[i] = place[i] - x0
        gap[i] = x1 - x0
    return place, turn, stack, ring, gap


def wrap(
    stack: Stack,
    fold: PoleWrap,
    *,
    spacing: float,
    thickness: float,
    neatness: float,
    seed: int,
    round_number: int = 1,
) -> Stack:
    """Roll a flat stack round a pole and push it along.

    Knife pleats go forward f and back b with f - b the spacing on the pole and f + b the
    cloth between two rings of string. Each lies over the one before, as shingles do, so
    about 1/squeeze of the outer turn stays outside. All turns pleat together: a pleat
    carries the whole wall of the roll, turned over on its way back.

    Parameters
    ----------
    stack : Stack
        Flat.
    fold : PoleWrap
        The pole, bias and squeeze.
    spacing : float
        Mean distance of the string's rings on the pole, after pushing [m].
    thickness : float
        Of one layer of cloth [m].
    neatness : float
        0 tidy .. 1 loose.

    Returns
    -------
    Stack
        ``p`` along the pole from its low end [m], ``q`` the angle from the pole's top [rad].
    """
    (ax, ay), (bx, by) = axes(fold)
    rise = stack.p * ax + stack.q * ay
    rolled = stack.p * bx + stack.q * by
    rolled = rolled - rolled.min()
    skew = SKEW * neatness * SKEW_LENGTH
    if skew:
        code = chance.key(seed, "skew", round_number)
        rise = rise + skew * chance.smooth_field(code, rise, rolled, SKEW_LENGTH)
    radius = 0.5 * fold.diameter
    angle = roll_angle(rolled, radius, stack.layers * thickness)
    cloth_step = fold.squeeze * spacing
    table = rings(
        seed,
        round_number,
        float(rise.min()),
        float(rise.max()),
        cloth_step,
        squeeze_along(fold),
        neatness,
    )
    wall = stack.layers * (1 + int(angle.max() / (2.0 * np.pi)))
    place, turn, order, ring, gap = _pleat(
        rise, angle, stack.order, stack.layers, wall, table.cloth, table.pole
    )
    low = place.min()
    return replace(
        stack,
        p=place - low,
        q=turn,
        order=order,
        layers=wall,
        radius=radius,
        ring=ring,
        gap=gap,
        strain99=_strain(table, radius + 0.25 * wall * thickness, skew),
    )


def _strain(table: Rings, radius: float, skew: float) -> float:
    """99th percentile of the stretch that wandering rings and skewed rolling ask of the cloth.

    A pleat's flank is sheared by gamma, the slope of (crest on the pole less crest on the
    cloth) round the pole; a shear gamma stretches by sqrt(1 + gamma^2/4) + gamma/2 - 1.
    """
    turn = np.linspace(0.0, 1.0, 60, endpoint=False)
    step = 2.0 * np.pi * radius / turn.size
    grid = np.array(
        [
            [[_around(part, k, t) for t in turn] for k in range(part.shape[0])]
            for part in (table.cloth, table.pole)
        ]
    )
    slope = [np.roll(g, -1, axis=1) - g for g in grid]
    flank = np.concatenate([(slope[1] - slope[0]).ravel(), (slope[1] + slope[0]).ravel()])
    gamma = np.abs(flank) / step + 1.2 * skew / SKEW_LENGTH
    return float(np.quantile(np.sqrt(1.0 + gamma**2 / 4.0) + gamma / 2.0 - 1.0, 0.99))
