"""A sleeve laid flat: a short one stands off the body, a long one hangs down beside it."""

from __future__ import annotations

from dataclasses import dataclass
from math import asin, cos, hypot, radians, sin

import numpy as np

from meltwick.cloth.pattern import curve
from meltwick.types import Floats

# How far below the level an arm lies, common practice, no source.
SHORT_ARM, LONG_ARM = radians(25.0), radians(42.0)
SHORT, LONG = 0.55, 1.05  # length of the sleeve over half the chest, below and beyond which
_PIT = 22  # where a short sleeve's armhole seam meets the underarm
_NEAR = 0.02  # a long one's meets it this share of half the chest beside the body

Point = tuple[float, float]


@dataclass(frozen=True)
class Sleeve:
    """The right sleeve's lines, (n, 2) [mm]: round from the shoulder's point to the flank."""

    overarm: Floats
    cuff: Floats
    pit: Floats  # the underarm, run on into the body's side
    armhole: Floats  # the seam, from the shoulder's point to the underarm
    meet: int  # the point of the underarm that the armhole's seam meets

    @property
    def outline(self) -> Floats:
        """The sleeve's own border, its last point next to its first."""
        return np.vstack([self.overarm, self.cuff, self.pit[: self.meet + 1], self.armhole[::-1]])

    @property
    def middle(self) -> Point:
        """The point half-way along the sleeve and half-way between its upper and lower edge."""
        upper = self.overarm[len(self.overarm) // 2]
        lower = self.pit[: self.meet + 1].mean(axis=0)
        return (float(upper[0] + lower[0]) / 2, float(upper[1] + lower[1]) / 2)


def draw_sleeve(
    point: Point, slope: float, length: float, cuff: float, chest: float, armhole: float
) -> Sleeve:
    """Draw the right sleeve of a shirt.

    Parameters
    ----------
    point : (float, float)
        Where the shoulder seam ends [mm].
    slope : float
        Of the shoulder seam below the level [rad].
    length : float
        Along the upper edge, from the shoulder's point to the cuff [mm].
    cuff : float
        Width of the opening [mm].
    chest : float
        Half the chest [mm].
    armhole : float
        Depth of the underarm below the shoulder's high point [mm].

    Returns
    -------
    Sleeve
        A long sleeve lies at a steeper slant than a short one and is rounder over the shoulder,
        so that both are as wide at the upper arm; its upper edge is exactly ``length`` long.
    """
    hang = min(1.0, max(0.0, (length / chest - SHORT) / (LONG - SHORT)))
    arm = SHORT_ARM + hang * (LONG_ARM - SHORT_ARM)
    overarm = _overarm(point, slope, arm, length, hang)
    top = (float(overarm[-1, 0]), float(overarm[-1, 1]))
    half = chest / 2
    # a short sleeve's cuff hangs more upright, so that its lower corner stays outside the body
    room = (top[0] - half - 0.25 * length) / cuff
    turn = min(arm + radians(4.0), asin(min(1.0, max(-1.0, room))))
    opening = _opening(top, cuff, turn)
    low = (float(opening[-1, 0]), float(opening[-1, 1]))
    corner = (half, armhole)
    pit = curve(
        low,
        (low[0] + 0.55 * (corner[0] - low[0]), low[1] + 0.55 * (corner[1] - low[1])),
        (corner[0], corner[1] + 10),
        (half, armhole + 0.12 * chest),
        points=33,
    )
    near = np.flatnonzero(pit[:, 0] <= half + _NEAR * chest)
    meet = min(len(pit) - 2, max(_PIT, int(near[0]))) if hang else _PIT
    down = pit[meet, 1] - point[1]
    seam = curve(
        point,
        (point[0] - 0.045 * chest, point[1] + 0.35 * down),
        (point[0] - 0.03 * chest, point[1] + 0.85 * down),
        (pit[meet, 0], pit[meet, 1]),
    )
    return Sleeve(overarm, opening, pit, seam, meet)


def _overarm(point: Point, slope: float, arm: float, length: float, hang: float) -> Floats:
    """Draw the upper edge, from the shoulder's point to the cuff."""
    lean = 0.5 * ((1 - hang) * arm + (1 + hang) * slope)

    def over(chord: float) -> Floats:
        top = (point[0] + chord * cos(arm), point[1] + chord * sin(arm))
        third = chord / 3
        return curve(
            point,
            (point[0] + third * cos(lean), point[1] + third * sin(lean)),
            (top[0] - third * cos(arm + 0.03), top[1] - third * sin(arm + 0.03)),
            top,
        )

    line = over(length)
    if not hang:
        return line
    along = sum(hypot(dx, dy) for dx, dy in np.diff(line, axis=0))
    return over(length * (1 + hang * (length / along - 1)))


def _opening(top: Point, cuff: float, turn: float) -> Floats:
    """Draw the edge of the cuff, from its upper to its lower corner."""
    low = (top[0] - cuff * sin(turn), top[1] + cuff * cos(turn))
    return curve(
        top,
        (top[0] - 0.33 * cuff * sin(turn - 0.04), top[1] + 0.33 * cuff * cos(turn - 0.04)),
        (low[0] + 0.33 * cuff * sin(turn + 0.04), low[1] - 0.33 * cuff * cos(turn + 0.04)),
        low,
    )
