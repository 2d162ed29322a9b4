"""Ties on a bundle without a pole: lines of string or band in plan view, plates on its faces."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from meltwick import binding, chance
from meltwick.bundle import clamps, peaks
from meltwick.bundle.pole import BARE_PRESSURE
from meltwick.constants import Constants
from meltwick.folding import Stack
from meltwick.folding.hand import WIDTH
from meltwick.folding.stack import SUBS
from meltwick.stacking import Stacked
from meltwick.types import BandTie, Clamps, Cloth, Floats, Round, Stitching, StringTie, TiedRings

if TYPE_CHECKING:
    from meltwick.bundle.flat import Lying

CLOSED = 3  # turns of thread side by side that let no film pass; chosen
ASKEW = 0.06  # [rad] spread of a line's direction at neatness 1; chosen


@dataclass(frozen=True)
class Tied:
    """What a tie does to every point."""

    pressure: Floats  # [Pa]
    covered: Floats  # 1 under a string or a band
    thickness: float  # [m] of a layer under the mean pressure
    constants: Constants
    sealed: bool = False  # what is covered neither takes water in nor lets it out


def tie_flat(
    cloth: Cloth,
    stack: Stack,
    lying: Lying,
    spec: Round,
    thin: float,
    neatness: float,
    seed: int,
    constants: Constants,
    round_number: int,
    found: Stacked,
) -> Tied:
    """Press a bundle by the hoop law: its section counts as a round one of the same area.

    Each line of pull T presses (T/r) g, g as in `binding.string_pressure`; r is the radius of a
    circle as large as the bundle's section under it.
    """
    tie = spec.tie
    points = stack.p.size
    bare = np.full(points, BARE_PRESSURE)
    if tie is None:
        thin = binding.stack_thickness(cloth.fabric, BARE_PRESSURE, constants)
        return Tied(bare, np.zeros(points), thin, constants)
    if isinstance(tie, Clamps):
        return _clamped(cloth, lying, tie, found, constants)
    if isinstance(tie, TiedRings):
        pressure, covered = peaks.threads(tie, stack, lying, cloth, constants)
        thin = binding.stack_thickness(cloth.fabric, BARE_PRESSURE, constants)
        # turns side by side close a ring: no film finds its way between them
        shut = tie.capped or tie.wound >= CLOSED
        return Tied(bare + pressure, covered, thin, constants, sealed=shut)
    if isinstance(tie, Stitching):
        return _stitched(cloth, stack, lying, tie, neatness, seed, constants, round_number)
    layer = stack.disc.thickness if stack.disc else thin
    volume = cloth.size * cloth.pitch**2 * layer
    tall = max(float(lying.height.max()), layer)
    length = float(lying.along.max())
    if isinstance(tie, StringTie):
        section, thick = volume / length, tie.thickness
        over = lying.level if tie.crossed and lying.level is not None else lying.across
        slope = _slope(over, lying.height + lying.across - over, tie)
        lines = _strings(lying.along, over, tie, slope, neatness, seed, round_number)
        between = tie.spacing / (2.0 if tie.crossed else 1.0)
        pull = tie.pull * np.cos(slope) ** 2  # a helix curves so much less than a ring
    else:
        wide = np.sqrt(4.0 * volume / tall / np.pi)
        section, thick = wide * tall, tie.width
        over = lying.across
        lines, pull = _bands(lying, tie, neatness, seed, round_number), tie.pull
        between = np.pi * wide / 4.0 / tie.count
    radius = float(np.sqrt(section / np.pi))
    pressure, covered = binding.line_pressure(
        lying.along, over, lying.depth, lines, radius, pull, thick
    )
    mean = BARE_PRESSURE + pull / (radius * between)
    thin = binding.stack_thickness(cloth.fabric, mean, constants)
    return Tied(bare + pressure, covered, thin, constants)


def _clamped(cloth: Cloth, lying: Lying, tie: Clamps, found: Stacked, constants: Constants) -> Tied:
    """Press plates on the two faces of a pile."""
    assert lying.level is not None
    at = clamps.distance(tie, lying.level, lying.along)
    tops = found.top[found.top >= 0]
    footprint = float((at[tops] > 0.0).sum()) * (cloth.pitch / SUBS) ** 2
    layers = np.minimum(found.from_outside, found.from_inside)
    pressure, covered = clamps.press(
        tie, lying.level, lying.along, layers, footprint, cloth.fabric, constants
    )
    pressure += BARE_PRESSURE
    thin = binding.stack_thickness(cloth.fabric, float(pressure.mean()), constants)
    return Tied(pressure, covered, thin, constants, sealed=True)


def _stitched(
    cloth: Cloth,
    stack: Stack,
    lying: Lying,
    tie: Stitching,
    neatness: float,
    seed: int,
    constants: Constants,
    round_number: int,
) -> Tied:
    """Press gathers along the threads that draw them up.

    A thread of pull T runs through every flank of width l and presses it on the next: the load
    is T over l along the thread, spread as wide as a flank to either side (a raised cosine).
    """
    rows = StringTie(tie.spacing, tie.pull, tie.thickness)
    lines = _strings(lying.along, lying.across, rows, 0.0, neatness, seed, round_number)
    apart = tie.spacing
    if tie.through:
        angle = stack.pleated or 0.0
        down = (stack.q * np.cos(angle) - stack.p * np.sin(angle)).max()
        ends = stack.marks[-2:, 1] * np.cos(angle) - stack.marks[-2:, 0] * np.sin(angle)
        lines = np.array([[1.0, 0.0, float(down - ends.mean())]])
        apart = float(lying.along.max())
    full = np.full(lying.along.size, tie.stitch)
    pressure, _ = binding.line_pressure(
        lying.along, lying.across, full, lines, tie.stitch, tie.pull, tie.thickness
    )
    mean = BARE_PRESSURE + tie.pull / (tie.stitch * apart)
    thin = binding.stack_thickness(cloth.fabric, mean, constants)
    return Tied(BARE_PRESSURE + pressure, np.zeros(pressure.size), thin, constants)


def _slope(over: Floats, through: Floats, tie: StringTie) -> float:
    """Angle of string to the way straight across the bundle [rad].

    String wound in one helix counts as rings. Wound there and back, it gains half a spacing on
    its way over half the girth, here and there, and makes diamonds.

    Parameters
    ----------
    over, through : ndarray of shape (P,)
        Places across the bundle's broad face, and through its thickness [m].
    """
    if not tie.crossed:
        return 0.0
    half = max(float(np.ptp(over) + np.ptp(through)), 0.5 * tie.spacing)
    return float(np.arctan(0.5 * tie.spacing / half))


def _strings(
    along: Floats,
    over: Floats,
    tie: StringTie,
    slope: float,
    neatness: float,
    seed: int,
    round_number: int,
) -> Floats:
    """Lines across the bundle, one after another: (n, 3), a along + b over = c."""
    length = float(along.max())
    ways = [("strings", slope)]
    if tie.crossed:
        ways.append(("strings back", -slope))
    found = []
    for purpose, turned in ways:
        gain = abs(np.tan(turned)) * float(np.ptp(over))
        first, last = -0.5 * gain, length + 0.5 * gain
        count = int(np.ceil((last - first) / tie.spacing / (1.0 - WIDTH * neatness * np.sqrt(3.0))))
        count += 2
        code = chance.key(seed, purpose, round_number)
        spread = neatness * np.sqrt(12.0)
        way = 1.0 + WIDTH * spread * (chance.uniforms(code, count, 0) - 0.5)
        start = first + tie.spacing * chance.uniforms(code, 1, 1)[0]
        place = start + tie.spacing * np.concatenate([[0.0], np.cumsum(way[:-1])])
        place = place[place < last + tie.spacing]
        lean = turned + ASKEW * spread * (chance.uniforms(code, place.size, 2) - 0.5)
        middle = 0.5 * float(over.min() + over.max())
        a, b = np.cos(lean), np.sin(lean)
        found.append(np.column_stack([a, b, place * a + middle * b]))
    return np.concatenate(found)


def _bands(lying: Lying, tie: BandTie, neatness: float, seed: int, round_number: int) -> Floats:
    """Lines through the middle at even angles."""
    code = chance.key(seed, "bands", round_number)
    spread = neatness * np.sqrt(12.0)
    draw = chance.uniforms(code, 3 * tie.count + 1, 0) - 0.5
    turn = np.pi * (np.arange(tie.count) / tie.count + draw[-1])
    turn = turn + ASKEW * spread * draw[: tie.count]
    middle = np.array([float(np.median(lying.along)), float(np.median(lying.across))])
    off = 2.0 * tie.width * spread * draw[tie.count : 2 * tie.count]
    a, b = np.cos(turn), np.sin(turn)
    return np.column_stack([a, b, a * middle[0] + b * middle[1] + off])
