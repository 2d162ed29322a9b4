"""The pole wrap: roll round a cylinder at a bias, then push into knife pleats."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numba as nb
import numpy as np

from meltwick import chance
from meltwick.folding.accordion import TUCK
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
    """Squeeze from the low to the high end; uneven hands push one end tighter."""
    if fold.even:
        return np.full(3, fold.squeeze)
    lean = 0.25 * (fold.squeeze - 1.0) / fold.squeeze
    if fold.pushed_first == "high":
        lean = -lean
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
    curve = c - a + t * (2.0 * a - 5.0 * b + 4.0 * c - d + t * (3.0 * (b - c) + d - a))
    return float(b + 0.5 * t * curve)


@nb.njit(cache=True)
def _pleat(
    along: Floats,
    angle: Floats,
    order: Ints,
    layers: int,
    wall: int,
    tuck: float,
    cloth_rings: Floats,
    pole_rings: Floats,
) -> tuple[Floats, Floats, Ints, Floats, Floats, Floats]:
    count = along.size
    place = np.empty(count)
    turn = np.empty(count)
    stack = np.empty(count, np.int32)
    ring = np.empty(count)
    gap = np.empty(count)
    crease = np.empty(count)
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
        # the wall turns round its inner layers at the outer crease, so they stay further in
        inset = tuck * (wall - 1 - layer)
        if u < forward:
            place[i] = x0 + u
            stack[i] = 2 * k * wall + layer
        else:
            place[i] = x0 + 2.0 * forward - u
            stack[i] = (2 * k + 1) * wall + (wall - 1 - layer)
        place[i] += inset
        crease[i] = min(u, (c1 - c0) - u)
        turn[i] = 2.0 * np.pi * part
        while k < last and x1 <= place[i]:
            k += 1
            x0, x1 = x1, _around(pole_rings, k + 1, part)
        ring[i] = place[i] - x0
        gap[i] = x1 - x0
    return place, turn, stack, ring, gap, crease


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
    outline = stack.rim if len(stack.rim) else np.column_stack([stack.p, stack.q])
    hand = _Hand.of(outline, fold, spacing, stack.layers * thickness, neatness, seed, round_number)
    rise, angle = hand.roll(stack.p, stack.q)
    wall = stack.layers * hand.turns
    tuck = TUCK * thickness
    place, turn, order, ring, gap, crease = _pleat(
        rise, angle, stack.order, stack.layers, wall, tuck, hand.table.cloth, hand.table.pole
    )
    return replace(
        stack,
        p=place - place.min(),
        q=turn,
        order=order,
        layers=wall,
        radius=hand.radius,
        flat=stack.layers,
        squeeze=fold.squeeze,
        ring=ring,
        gap=gap,
        crease=crease,
        strain99=_strain(stack, hand),
    )


@dataclass(frozen=True)
class _Hand:
    """One wrapping: where the cloth goes on the pole, and the rings it is pushed between."""

    fold: PoleWrap
    edge: float  # [m] first of the cloth to touch the pole, along the way it rolls
    reach: float  # [m] of cloth that is rolled up
    thickness: float  # [m] of the flat stack
    code: np.uint64
    skew: float  # [m]
    table: Rings

    @classmethod
    def of(
        cls,
        outline: Floats,
        fold: PoleWrap,
        spacing: float,
        thickness: float,
        neatness: float,
        seed: int,
        round_number: int,
    ) -> _Hand:
        """Lay the rings by the cloth's outline, so that they are the same at every pitch."""
        bare = cls(
            fold=fold,
            edge=float((outline @ np.array(axes(fold)[1])).min()),
            reach=0.0,
            thickness=thickness,
            code=chance.key(seed, "skew", round_number),
            skew=SKEW * neatness * SKEW_LENGTH,
            table=Rings(np.zeros((0, KNOTS)), np.zeros((0, KNOTS))),
        )
        rise, rolled = bare.lay(outline[:, 0], outline[:, 1])
        table = rings(
            seed,
            round_number,
            float(rise.min()),
            float(rise.max()),
            fold.squeeze * spacing,
            squeeze_along(fold),
            neatness,
            bare.radius,
        )
        return replace(bare, reach=float(rolled.max()), table=table)

    @property
    def radius(self) -> float:
        """Of the pole [m]."""
        return 0.5 * self.fold.diameter

    @property
    def turns(self) -> int:
        """Turns of the roll, the last one begun counted whole."""
        end = roll_angle(np.array([self.reach]), self.radius, self.thickness)
        return 1 + int(end[0] / (2.0 * np.pi))

    def lay(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Where flat points come before pushing: along the pole, and along the roll [m]."""
        (ax, ay), (bx, by) = axes(self.fold)
        rise = x * ax + y * ay
        rolled = x * bx + y * by - self.edge
        if self.skew:
            drift = chance.smooth_field(self.code, rise, rolled, SKEW_LENGTH)
            slack = chance.smooth_field(~self.code, rise, rolled, SKEW_LENGTH)
            rise = rise + self.skew * drift
            rolled = rolled + self.skew * slack
        return rise, rolled

    def roll(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Height along the pole before pushing [m], and angle rolled [rad], of flat points."""
        rise, rolled = self.lay(x, y)
        # cells at the rim reach half a cell beyond the outline
        inside = np.clip(rolled, 0.0, self.reach)
        return rise, roll_angle(inside, self.radius, self.thickness)


SAMPLES = 4000
"""Points at which the stretch is measured."""


def _strain(stack: Stack, hand: _Hand) -> float:
    """99th percentile of how far the hand stretches the cloth, by differences over 10 um.

    The stretch is the greater singular value of the map's gradient, from the flat cloth to
    (along the pole, along the roll). Pairs of points with a crease between them are left out.
    """
    every = max(1, stack.p.size // SAMPLES)
    p, q, order = stack.p[::every], stack.q[::every], stack.order[::every]
    step, wall = 1e-5, stack.layers * hand.turns

    def place(x: Floats, y: Floats) -> tuple[Floats, Ints]:
        rise, angle = hand.roll(x, y)
        table = hand.table
        out = _pleat(rise, angle, order, stack.layers, wall, 0.0, table.cloth, table.pole)
        return np.array([out[0], hand.lay(x, y)[1]]), out[2] // wall

    here, flank = place(p, q)
    gradient, same = [], np.ones(p.size, dtype=bool)
    for ux, uy in axes(hand.fold):
        there, other = place(p + ux * step, q + uy * step)
        gradient.append((there - here) / step)
        same &= other == flank
    parts = np.array(gradient).transpose(2, 1, 0)[same]
    return float(np.quantile(np.linalg.svd(parts, compute_uv=False)[:, 0], 0.99)) - 1.0
