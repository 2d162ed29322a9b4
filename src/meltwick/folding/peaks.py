"""Peaks: cloth drawn up at a spot into gathers, to be tied off at a distance from its tip."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from shapely import contains_xy
from shapely.ops import unary_union

from meltwick import chance
from meltwick.folding.stack import SUBS, Stack
from meltwick.types import Cloth, Floats, Ints, TiedRings

GATHER = 0.012  # [m] width of a gather's flank where the outermost thread goes; chosen
FEWEST = 4  # gathers of a peak
UNEVEN = 0.06  # spread of a peak's size at neatness 1; chosen
WAVY = 0.03  # spread of a thread's distance from the tip, round a peak, at neatness 1; chosen
DARTS = 4000  # tries to place a scattered peak
GAP = 4  # sub-cells between peaks that are folded side by side


@dataclass(frozen=True)
class Peaks:
    """Which points of a flat stack are drawn up; P points, C peaks."""

    number: Ints  # (P,) of the peak, -1 where the cloth stays flat
    radius: Floats  # (P,) [m] of cloth from the tip
    tied: Floats  # (P,) [m] the same, as the hand meant it: threads lie at even distances
    way: Floats  # (P,) [rad] round the peak
    facing: Floats  # (P,) cosine of the angle to what lies uppermost once the peak has fallen over
    gathers: int
    right: Floats  # (P,) [m] where the point lies before the cloth is drawn up
    down: Floats  # (P,) [m]
    rank: Ints  # (P,) layer of the flat stack
    reach: float  # [m] of cloth that a peak takes
    layers: int  # of the flat stack


@lru_cache(maxsize=1)
def heart() -> tuple[Floats, Floats]:
    """Radius of a heart at angles round it, over half its width, (720,) each.

    The sextic (x^2 + y^2 - 1)^3 = x^2 y^3 (a well-known curve, from memory), which every ray from
    the origin meets once; angles from the right [rad], y up.
    """
    turn = np.linspace(-np.pi, np.pi, 720)
    pull = np.cos(turn) ** 2 * np.sin(turn) ** 3
    low, high = np.zeros_like(turn), np.full_like(turn, 2.0)
    for _ in range(60):
        middle = 0.5 * (low + high)
        inside = (middle**2 - 1.0) ** 3 < middle**5 * pull
        low, high = np.where(inside, middle, low), np.where(inside, high, middle)
    radius = 0.5 * (low + high)
    return turn, np.asarray(radius / np.max(radius * np.cos(turn)))


def gauge(tie: TiedRings, right: Floats, down: Floats) -> Floats:
    """Distance from the tip to the middle of the side of the outline through a point [m].

    A heart is measured by half its width.
    """
    if tie.outline == "square":
        return np.asarray(np.maximum(np.abs(right), np.abs(down)))
    if tie.outline == "diamond":
        return np.asarray((np.abs(right) + np.abs(down)) / np.sqrt(2.0))
    if tie.outline == "heart":
        return np.asarray(np.hypot(right, down) / np.interp(np.arctan2(-down, right), *heart()))
    return np.asarray(np.hypot(right, down))


def reach_of(tie: TiedRings) -> float:
    """Cloth from a peak's tip to just past its outermost thread, or to that side's middle [m]."""
    return tie.from_tip + (tie.times - 1) * tie.apart + 0.5 * tie.thickness * tie.wound


def scatter(cloth: Cloth, stack: Stack, tie: TiedRings, seed: int, round_number: int) -> Floats:
    """Throw spots on the cloth, none nearer to another than ``every`` (Poisson-disc), (C, 2) [m].

    They are drawn in metres, so that they do not depend on the raster.
    """
    outline = unary_union([panel.outline for panel in cloth.panels]).buffer(-300.0 * reach_of(tie))
    low, high = stack.rim.min(axis=0), stack.rim.max(axis=0)
    code = chance.key(seed, "peaks", round_number)
    darts = np.column_stack([chance.uniforms(code, DARTS, stream) for stream in (0, 1)])
    darts = low + darts * (high - low)
    darts = darts[contains_xy(outline, 1e3 * darts[:, 0], 1e3 * darts[:, 1])]
    kept = np.zeros((0, 2))
    for dart in darts:
        if not len(kept) or np.hypot(*(kept - dart).T).min() >= tie.every:
            kept = np.vstack([kept, dart])
    return kept


def raise_peaks(
    stack: Stack,
    tie: TiedRings,
    centres: Floats,
    *,
    pitch: float,
    neatness: float,
    seed: int,
    round_number: int = 1,
) -> Stack:
    """Gather the cloth round each centre like a shut umbrella.

    A disc folded along even radii, mountain and valley by turns, folds flat (Kawasaki's theorem:
    alternate angles have equal sums) and keeps every length.

    Parameters
    ----------
    stack : Stack
        Flat.
    centres : ndarray of shape (C, 2)
        Tips of the peaks [m].
    """
    reach = reach_of(tie)
    gathers = max(FEWEST, round(np.pi * reach / GATHER))
    code = chance.key(seed, "peak sizes", round_number)
    number = np.full(stack.p.size, -1, np.int32)
    radius, tied, way, facing = (np.zeros(stack.p.size) for _ in range(4))
    nearest = np.full(stack.p.size, np.inf)
    for c, (right, down) in enumerate(centres):
        r = np.hypot(stack.p - right, stack.q - down)
        turn = np.arctan2(stack.q - down, stack.p - right)
        draw = (chance.uniforms(code, 7, c) - 0.5) * np.sqrt(12.0) * neatness
        wave = sum(
            draw[2 * k - 1] * np.cos(k * turn) + draw[2 * k] * np.sin(k * turn) for k in (1, 2, 3)
        )
        meant = gauge(tie, stack.p - right, stack.q - down) / (
            1.0 + UNEVEN * draw[0] + WAVY / np.sqrt(3.0) * wave
        )
        mine = (meant < reach) & (r < nearest)
        number[mine], nearest[mine] = c, r[mine]
        radius[mine], tied[mine], way[mine] = r[mine], meant[mine], turn[mine]
        up = 2.0 * np.pi * chance.uniforms(code, 8, c)[7]
        facing[mine] = np.cos(turn[mine] - up)
    peaks = Peaks(
        number=number,
        radius=radius,
        tied=tied,
        way=way,
        facing=facing,
        gathers=gathers,
        right=stack.p,
        down=stack.q,
        rank=stack.order,
        reach=reach,
        layers=stack.layers,
    )
    return _folded(stack, peaks, pitch / SUBS)


def _folded(stack: Stack, peaks: Peaks, step: float) -> Stack:
    """Fold each peak in its sectors, beside the flat cloth and the other peaks."""
    up = peaks.number >= 0
    sector = np.pi / peaks.gathers
    turn = np.mod(peaks.way[up], 2.0 * np.pi)
    flank = np.minimum((turn / sector).astype(np.int32), 2 * peaks.gathers - 1)
    within = turn - flank * sector
    within = np.where(flank % 2 == 0, within, sector - within)
    p, q, order = stack.p.copy(), stack.q.copy(), stack.order.copy()
    most = 2.0 * peaks.reach  # an outline has corners, and an uneven hand takes a little more
    tall, wide = most + GAP * step, most * np.sin(sector) + GAP * step
    rows = max(1, int(np.ptp(stack.q) / wide))
    shelf, row = np.divmod(peaks.number[up], rows)
    start = float(stack.p.max()) + GAP * step
    p[up] = start + shelf * tall + peaks.radius[up] * np.cos(within)
    q[up] = float(stack.q.min()) + row * wide + peaks.radius[up] * np.sin(within)
    n = stack.layers
    turned = np.where(flank % 2 == 0, peaks.rank[up], n - 1 - peaks.rank[up])
    order[up] = flank * n + turned
    return replace(
        stack, p=p, q=q, order=order, layers=2 * peaks.gathers * n if up.any() else n, peaks=peaks
    )
