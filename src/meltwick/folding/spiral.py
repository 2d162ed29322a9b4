"""The spiral: cloth twisted round a point into a disc of standing pleats.

Pleats that meet at the centre follow logarithmic spirals on the cloth, at one angle to the
radius. In the disc they lean the other way of a coil: whoever goes once round the centre on the
cloth comes back one winding further in. That ties the two angles together: ribs at an angle b on
the cloth stand at 90 degrees less b in the disc. A disc of radius ``a r`` coils what lay at ``r``
without stretching it when ``a = tan b`` (a logarithmic spiral's arc from the centre is r / cos of
its angle, so a r / sin b = r / cos b; calculus).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from meltwick import chance
from meltwick.folding.accordion import DEEPEST, TUCK, Turned, bend_share, stretch
from meltwick.folding.hand import SKEW, SKEW_LENGTH
from meltwick.folding.stack import SUBS, Disc, Stack
from meltwick.types import Floats, Ints, Spiral

PINCH = 0.02  # [m] radius of the cloth that fingers hold, where the coil begins; chosen
UNEVEN = 0.22  # spread of the ways from rib to rib at neatness 1
TALL = 0.10  # spread of the pleats' heights from rib to rib at neatness 1
SUNK = 0.012  # [m] a crest this far below its neighbours is hidden between them; chosen
TABLE = 257  # points of the tables of feet
NEAR_ENOUGH = 1e-15  # [rad] step of Newton's method after which only the last digit still moves
NEAREST = 1e-4  # [m] to the centre, where a spiral has no end


@dataclass(frozen=True)
class _Twist:
    """One twisting. Angles run as the arms turn; a rib lies between two of its bounds."""

    centre: Floats  # (2,) [m]
    turn: float  # 1.0: angles run as a clock's hands; -1.0: against them
    angle: float  # [rad] of the ribs to the radius
    valleys: Floats  # (n,) [rad] where each rib is folded up from, at radius 1 m
    bounds: Floats  # (n + 1,) [rad] crests between the ribs
    heights: Floats  # (n + 1,) [m] of the pleats beside each bound
    code: np.uint64
    skew: float  # [m]


def lean_angle(turns: float, reach: float) -> float:
    """Angle of the ribs on the cloth for a coil of so many turns, tan b = ln(R/r0) / (2 pi T).

    Parameters
    ----------
    turns : float
        T, of the coil from the pinch at r0 to the edge.
    reach : float
        R, radius of the cloth [m].

    Returns
    -------
    float
        [rad]
    """
    return float(np.arctan(np.log(max(reach / PINCH, 2.0)) / (2.0 * np.pi * turns)))


def ribs_angle(fold: Spiral, layers: int, reach: float, thickness: float) -> float:
    """Angle of the ribs [rad]: by the turns, but no tighter than the cloth's thickness allows.

    Ribs at an angle b fill a disc of height H with flanks a^2 H thick (area is kept), a = tan b.
    The disc is never wider than the cloth: b is at most 45 degrees.

    Parameters
    ----------
    layers : int
        Of the stack.
    reach, thickness : float
        Radius of the cloth, and one layer's thickness [m].
    """
    thinnest = min(0.9, float(np.sqrt(layers * TUCK * thickness / fold.height)))
    return min(max(lean_angle(fold.turns, reach), float(np.arctan(thinnest))), 0.25 * np.pi)


def drawn_in(angle: float) -> float:
    """Radius of the disc over that of the cloth [-], for ribs at an angle [rad] on the cloth."""
    return float(np.tan(angle))


def most_turns(fold: Spiral, layers: int, reach: float, thickness: float) -> float:
    """Return the turns beyond which cloth cannot be twisted into a disc of its height."""
    tightest = ribs_angle(replace(fold, turns=1e6), layers, reach, thickness)
    return float(np.log(max(reach / PINCH, 2.0)) / (2.0 * np.pi * np.tan(tightest)))


def feet(angle: float, offsets: Floats) -> tuple[Floats, Floats]:
    """Drop a perpendicular on a logarithmic spiral from points at radius 1.

    Parameters
    ----------
    angle : float
        Between the spiral and the radius [rad].
    offsets : ndarray of shape (M,)
        Polar angle from the spiral's point at radius 1 to the point [rad], small.

    Returns
    -------
    radius, distance : ndarray of shape (M,)
        Of the foot from the centre, and of the point from the foot, to the spiral's left
        positive. Both scale with the point's radius.
    """
    slope = np.tan(angle)
    point = np.exp(1j * offsets)
    u = offsets * np.sin(angle) * np.cos(angle)
    along = 1.0 + 1j * slope
    for _ in range(30):
        curve = np.exp(along * u)
        miss = point - curve
        tangent = along * curve
        error = np.real(miss * np.conj(tangent))
        bend = -(np.abs(tangent) ** 2) + np.real(miss * np.conj(along * tangent))
        step = error / bend
        u = u - step
        if np.all(np.abs(step) <= NEAR_ENOUGH):
            break
    curve = np.exp(along * u)
    normal = 1j * along * curve / np.abs(along * curve)
    return np.exp(u), np.asarray(np.real((point - curve) * np.conj(normal)))


def crests(angle: float, ways: Floats) -> Floats:
    """Find the crest as far from the valley before it as from the valley after it.

    Parameters
    ----------
    angle : float
        Between the ribs and the radius [rad].
    ways : ndarray of shape (M,)
        Polar angle from valley to valley [rad].

    Returns
    -------
    ndarray of shape (M,)
        Polar angle from the first valley [rad]. The two sides of the pleat are then as wide.
    """
    low, high = np.zeros_like(ways), ways.copy()
    for _ in range(50):
        middle = 0.5 * (low + high)
        before, after = feet(angle, middle)[1], -feet(angle, middle - ways)[1]
        low, high = np.where(before < after, middle, low), np.where(before < after, high, middle)
    return np.asarray(0.5 * (low + high))


@dataclass(frozen=True)
class _Pleated:
    """Where points come to lie; P points."""

    rib: Ints
    along: Floats  # [m] along the rib
    rise: Floats  # [m] of the cloth from the rib's valley, across it
    flank: Ints  # 0 and up on the far side of the valley, -1 and down on the near side
    height: Floats  # [m]
    pleat: Floats  # [m] height of the pleats there
    edge: Floats  # [m] rise of the crest to the next rib there
    radius: Floats  # [m] on the cloth
    round: Floats  # [rad] in the disc
    coiled: Floats  # length in the coil over that along the rib's valley: its sides lie inside


def _twisting(
    fold: Spiral, centre: Floats, angle: float, neatness: float, code: np.uint64
) -> _Twist:
    spread = neatness * np.sqrt(12.0)
    way = 1.0 + UNEVEN * spread * (chance.uniforms(code, fold.pleats, 0) - 0.5)
    start = 2.0 * np.pi * chance.uniforms(code, 1, 1)[0]
    valleys = start + 2.0 * np.pi * np.cumsum(way) / way.sum()
    bounds = valleys + crests(angle, 2.0 * np.pi * np.roll(way, -1) / way.sum())
    tall = 1.0 - TALL * neatness * 2.0 * chance.uniforms(code, fold.pleats, 2)
    heights = fold.height * np.append(tall[-1], tall)
    return _Twist(
        centre=centre,
        turn=-1.0 if fold.sense == "right" else 1.0,
        angle=angle,
        valleys=valleys,
        bounds=np.append(bounds[-1] - 2.0 * np.pi, bounds),
        heights=heights,
        code=code,
        skew=SKEW * neatness * SKEW_LENGTH,
    )


def _pleat(twist: _Twist, x: Floats, y: Floats) -> _Pleated:
    """Fold flat points into the ribs."""
    x, y = x - twist.centre[0], y - twist.centre[1]
    if twist.skew:
        drift = chance.smooth_field(twist.code, x, y, SKEW_LENGTH)
        slack = chance.smooth_field(~twist.code, x, y, SKEW_LENGTH)
        x, y = x + twist.skew * drift, y + twist.skew * slack
    r = np.maximum(np.hypot(x, y), NEAREST)
    polar = twist.turn * np.arctan2(y, x)
    slope = np.tan(twist.angle)
    base = twist.bounds[0]
    psi = base + np.mod(polar - slope * np.log(r) - base, 2.0 * np.pi)
    rib = np.clip(np.searchsorted(twist.bounds, psi, "right") - 1, 0, len(twist.valleys) - 1)
    offset = psi - twist.valleys[rib]
    bound = rib + (offset >= 0.0)
    left, right = twist.valleys - twist.bounds[:-1], twist.bounds[1:] - twist.valleys
    widest = 1.01 * float(max(left.max(), right.max()))
    grid = np.linspace(-widest, widest, TABLE)
    foot, distance = feet(twist.angle, grid)
    reach = np.interp(np.concatenate([-left, right]), grid, np.abs(distance))
    sideways = np.interp(offset, grid, distance)
    radius = np.interp(offset, grid, foot)
    rise = r * np.abs(sideways)
    pleat = twist.heights[bound]
    k = np.floor(rise / pleat).astype(np.int32)
    rest = rise - k * pleat
    coil = (1.0 / slope - slope) * np.log(r / PINCH)
    return _Pleated(
        rib=rib.astype(np.int32),
        along=r * radius / np.cos(twist.angle),
        rise=rise,
        flank=np.where(offset >= 0.0, k, -1 - k).astype(np.int32),
        height=np.where(k % 2 == 0, rest, pleat - rest),
        pleat=pleat,
        edge=r * reach[rib + (offset >= 0.0) * len(left)],
        radius=r,
        round=polar + coil,
        coiled=1.0 - np.sin(twist.angle) * sideways / radius,
    )


def _bends(found: _Pleated, order: Ints, layers: int, half: Floats, step: float) -> Floats:
    """Share of each point that shows at the crest or in the valley that it goes round."""
    k = np.where(found.flank >= 0, found.flank, -1 - found.flank)
    up = k % 2 == 0  # this flank rises away from the valley
    below, above = found.rise - k * found.pleat, (k + 1) * found.pleat - found.rise
    last = found.edge < (k + 1) * found.pleat
    end = found.edge - k * found.pleat  # of the last flank, before the next rib
    far = np.where(last, found.edge - found.rise, above)
    tip = np.where(up, end, found.pleat - end)  # height of its crease
    roof = np.minimum(found.pleat, found.edge)
    sunk = np.where(up, roof - tip, tip)
    hidden = last & (sunk > SUNK)
    far = np.where(hidden, np.inf, far)
    crest, valley = np.where(up, far, below), np.where(up, below, far)
    out = np.zeros(order.size)
    top, low = order == layers - 1, order == 0
    out[top] = bend_share(crest[top], half[top], step)
    out[low] = np.maximum(out[low], bend_share(valley[low], half[low], step))
    return out


def _standing(
    found: _Pleated, rank: Ints, layers: int, small: float, thin: float
) -> tuple[Floats, Floats]:
    """Radius [m] and angle [rad] in the disc: flanks stand upright, layer behind layer.

    Parameters
    ----------
    rank : ndarray of shape (P,)
        Of the layer in its flank, from the outer side.
    small : float
        Radius of the disc over that of the cloth.
    thin : float
        Thickness of a layer as it stands [m].
    """
    k = np.where(found.flank >= 0, found.flank, -1 - found.flank)
    middle = 0.5 * (k * found.pleat + np.minimum((k + 1) * found.pleat, found.edge))
    inwards = np.where(found.flank >= 0, 1.0, -1.0)
    out = small**2 * inwards * (found.rise - middle) + thin * (0.5 * (layers - 1) - rank)
    out = out / np.hypot(1.0, small)  # square to the ribs: so much outwards, the rest round
    where = small * found.radius
    return np.maximum(0.0, where + out), found.round - small * out / np.maximum(where, np.abs(out))


def spiral(
    stack: Stack,
    fold: Spiral,
    centre: Floats,
    *,
    thickness: float,
    pitch: float,
    neatness: float,
    seed: int,
    round_number: int = 1,
    number: int = 0,
) -> Stack:
    """Twist a flat stack into a disc of standing pleats.

    Parameters
    ----------
    stack : Stack
        Flat, of ``n`` layers.
    fold : Spiral
    centre : ndarray of shape (2,)
        Where fingers hold the stack [m].
    thickness : float
        Of one layer of cloth [m].
    pitch : float
        Of the raster [m].
    neatness : float
        0 tidy .. 1 loose.
    number : int
        Of one rosette among many, so that they differ; 0 for a spiral alone.

    Returns
    -------
    Stack
        ``p`` along the ribs from the centre, ``q`` up the pleats, order round the disc within
        each rib. Where cloth is wider than a rib's pleat is tall, it is folded again: no pleat
        is taller than the disc.
    """
    outline = stack.rim if len(stack.rim) else np.column_stack([stack.p, stack.q])
    one = pitch**2 / SUBS**2
    reach = float(np.sqrt(stack.p.size * one / stack.layers / np.pi))
    angle = ribs_angle(fold, stack.layers, reach, thickness)
    code = chance.key(seed, f"spiral {number}" if number else "spiral", round_number)
    twist = _twisting(fold, centre, angle, neatness, code)
    found = _pleat(twist, stack.p, stack.q)
    layers = stack.layers
    deepest = int(_pleat(twist, outline[:, 0], outline[:, 1]).rise.max() / twist.heights.min()) + 2

    def order_of(flank: Ints, order: Ints) -> Ints:
        rank = np.where(flank % 2 == 0, layers - 1 - order, order)
        return np.asarray((flank + deepest) * layers + rank).astype(np.int32)

    def turn(x: Floats, y: Floats, order: Ints) -> Turned:
        place = _pleat(twist, x, y)
        layer = order_of(place.flank, order) + np.int32(10**6) * place.rib
        return place.along, place.height, np.asarray(layer)

    small = drawn_in(angle)
    half = np.maximum(small**2 * np.minimum(found.pleat, found.edge), layers * TUCK * thickness)
    tuck = min(TUCK * thickness, DEEPEST * fold.height / max(layers - 1, 1))
    inset = tuck * stack.order + found.height * (1.0 - tuck * (layers - 1) / fold.height)
    left, right = twist.valleys - twist.bounds[:-1], twist.bounds[1:] - twist.valleys
    foot = feet(angle, np.concatenate([-np.roll(left, -1), right]))[0]
    thin = small**2 * fold.height / layers
    rank = order_of(found.flank, stack.order) % layers
    where, way = _standing(found, rank, layers, small, thin)
    return replace(
        stack,
        p=found.along,
        q=np.asarray(inset),
        order=order_of(found.flank, stack.order),
        layers=2 * deepest * layers,
        bend=_bends(found, stack.order, layers, half, pitch / SUBS),
        pleated=0.0,
        disc=Disc(
            rib=found.rib,
            across=where * np.cos(way),
            down=where * np.sin(twist.turn * way),
            height=fold.height,
            reach=small * reach,
            thickness=thin,
            ribs=fold.pleats,
            step_back=foot[: fold.pleats] / foot[fold.pleats :],
            roof=np.minimum(found.pleat, found.edge),
            radius=where,
            slope=twist.turn * small,
            cloth=reach,
        ),
        strain99=max(stack.strain99, stretch(stack, turn, found.coiled)),
    )
