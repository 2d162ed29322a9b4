"""A twisted rope put down: a pile whose sections turn, and two strands that lie on each other."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from meltwick.folding.rope import coiled, most_turns
from meltwick.folding.stack import SUBS, Stack
from meltwick.stacking import merge_pairs
from meltwick.types import Cloth, Flags, Floats, Ints

if TYPE_CHECKING:
    from meltwick.bundle.flat import Lying

TAUT = 30.0  # [N] with which hands pull a rope while they twist it; chosen
HIDDEN = 0.5  # cosine to the other strand beyond which cloth lies against it; chosen: 60 degrees


@dataclass(frozen=True)
class Laid:
    """Where a rope's points lie, and what its twist does to them."""

    lying: Lying
    pairs: Ints  # (C, 2) cells of two strands that touch
    area: Floats  # (C,) [m2]
    pressure: Floats  # (P,) [Pa] of the twist
    strain: float


def lay_rope(cloth: Cloth, stack: Stack, lying: Lying, thin: float) -> Laid:
    """Turn the sections of a flat pile, and fold the rope back on itself.

    Parameters
    ----------
    lying : Lying
        The pile laid flat: along, across its creases, height over the table.
    thin : float
        Thickness of a layer [m].
    """
    twist = stack.rope
    assert twist is not None
    wide, tall = float(np.ptp(lying.across)), float(np.ptp(lying.height)) + thin
    long = float(lying.along.max())
    most = most_turns(wide, tall, long)
    turns = float(np.clip(twist.turns, -most, most))
    short, strain = coiled(wide, tall, long, abs(turns))
    along = lying.along * (short / long)
    a = lying.across - 0.5 * (lying.across.min() + lying.across.max())
    b = lying.height - 0.5 * (lying.height.min() + lying.height.max())
    turn = 2.0 * np.pi * turns * lying.along / long
    across, height = a * np.cos(turn) - b * np.sin(turn), a * np.sin(turn) + b * np.cos(turn)
    rise, fall = (face.share for face in lying.faces[:2])
    ways = np.stack([turn, turn + np.pi, turn + 0.5 * np.pi, turn - 0.5 * np.pi])
    shares = np.stack([rise, fall, lying.up, lying.down])
    ends = np.maximum(lying.side - rise - fall, 0.0)
    pairs, area = np.zeros((0, 2), np.int32), np.zeros(0)
    if twist.doubled:
        half = 0.5 * short
        second = along > half
        back = np.where(second, short - along, along)
        lean = np.pi * second - 2.0 * np.pi * 0.5 * turns * back / half
        radius = np.sqrt(wide * tall / np.pi)
        # the way from a strand's axis to the other's
        against = shares * (np.cos(ways - (lean + np.pi)) > HIDDEN)
        pairs, area = _touching(cloth, stack, against.sum(axis=0), second, back, ways, lean)
        shares = shares - against
        across, height = across + radius * np.cos(lean), height + radius * np.sin(lean)
        along = back
        ends = np.where(back > half - 0.5 * wide, 0.3 * ends, ends)  # the bend lies closed
    up = (shares * np.maximum(np.sin(ways), 0.0)).sum(axis=0)
    down = (shares * np.maximum(-np.sin(ways), 0.0)).sum(axis=0)
    side = np.maximum(shares.sum(axis=0) - up - down, 0.0) + ends
    reach = max(0.5 * float(np.hypot(wide, tall)), thin)
    press = _pressure(turns, reach, short)
    pressure = press * (1.0 - np.minimum(1.0, np.hypot(a, b) / reach) ** 2)
    laid = replace(
        lying,
        along=along - along.min(),
        across=across,
        height=height - height.min(),
        up=up,
        down=down,
        side=side,
        level=None,
    )
    return Laid(laid, pairs, area, pressure, strain)


def _pressure(turns: float, reach: float, short: float) -> float:
    """Pressure at the core of a strand that is pulled and twisted, T sin^2(psi) / (pi r^2) [Pa].

    Fibres at the helix angle psi press inwards with their curvature, sin^2(psi) / r: Laplace's
    law, as for a string wound round.
    """
    angle = np.arctan2(2.0 * np.pi * reach * abs(turns), short)
    return float(TAUT * np.sin(angle) ** 2 / (np.pi * reach**2))


def _touching(
    cloth: Cloth,
    stack: Stack,
    share: Floats,
    second: Flags,
    back: Floats,
    ways: Floats,
    lean: Floats,
) -> tuple[Ints, Floats]:
    """Pair what lies against the other strand: place by place along the rope, as far as it goes."""
    step = cloth.pitch / SUBS
    slot = np.floor(back / (2.0 * cloth.pitch)).astype(np.int64)
    hidden = share > 0.0
    one, two = (np.flatnonzero(hidden & (second == which)) for which in (False, True))
    found, areas = [], []
    one, two = one[np.argsort(slot[one], kind="stable")], two[np.argsort(slot[two], kind="stable")]
    for place in np.intersect1d(slot[one], slot[two]):
        a = one[slice(*np.searchsorted(slot[one], [place, place + 1]))]
        b = two[slice(*np.searchsorted(slot[two], [place, place + 1]))]
        a = a[np.argsort(np.sin(ways[0, a] - lean[a]), kind="stable")]
        b = b[np.argsort(-np.sin(ways[0, b] - lean[b]), kind="stable")]
        few = min(a.size, b.size)
        a = a[np.linspace(0, a.size - 1, few).astype(int)]
        b = b[np.linspace(0, b.size - 1, few).astype(int)]
        found.append(np.column_stack([stack.cell[a], stack.cell[b]]))
        areas.append(step * step * np.minimum(share[a], share[b]))
    if not found:
        return np.zeros((0, 2), np.int32), np.zeros(0)
    return merge_pairs(np.concatenate(found).astype(np.int32), np.concatenate(areas), cloth.size)
