"""String and bands round a bundle without a pole: lines in plan view that press and cover."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from meltwick import binding, chance
from meltwick.bundle.pole import BARE_PRESSURE
from meltwick.constants import Constants
from meltwick.folding import Stack
from meltwick.folding.hand import WIDTH
from meltwick.types import BandTie, Cloth, Floats, Round, StringTie

if TYPE_CHECKING:
    from meltwick.bundle.flat import Lying

ASKEW = 0.06  # [rad] spread of a line's direction at neatness 1; chosen


@dataclass(frozen=True)
class Tied:
    """What a tie does to every point."""

    pressure: Floats  # [Pa]
    covered: Floats  # 1 under a string or a band
    thickness: float  # [m] of a layer under the mean pressure
    constants: Constants


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
    layer = stack.disc.thickness if stack.disc else thin
    volume = cloth.size * cloth.pitch**2 * layer
    tall = max(float(lying.height.max()), layer)
    length = float(lying.along.max())
    if isinstance(tie, StringTie):
        section, thick = volume / length, tie.thickness
        lines = _strings(lying, tie, neatness, seed, round_number)
        between = tie.spacing
    else:
        wide = np.sqrt(4.0 * volume / tall / np.pi)
        section, thick = wide * tall, tie.width
        lines = _bands(lying, tie, neatness, seed, round_number)
        between = np.pi * wide / 4.0 / max(tie.count, 1)
    radius = float(np.sqrt(section / np.pi))
    pressure, covered = binding.line_pressure(
        lying.along, lying.across, lying.depth, lines, radius, tie.pull, thick
    )
    mean = BARE_PRESSURE + tie.pull / (radius * between)
    thin = binding.stack_thickness(cloth.fabric, mean, constants)
    return Tied(bare + pressure, covered, thin, constants)


def _strings(lying: Lying, tie: StringTie, neatness: float, seed: int, round_number: int) -> Floats:
    """Lines across the bundle, one after another: (n, 3), a x + b y = c in plan view."""
    length = float(lying.along.max())
    count = int(np.ceil(length / tie.spacing / (1.0 - WIDTH * neatness * np.sqrt(3.0)))) + 2
    code = chance.key(seed, "strings", round_number)
    spread = neatness * np.sqrt(12.0)
    way = 1.0 + WIDTH * spread * (chance.uniforms(code, count, 0) - 0.5)
    start = tie.spacing * chance.uniforms(code, 1, 1)[0]
    place = start + tie.spacing * np.concatenate([[0.0], np.cumsum(way[:-1])])
    place = place[place < length + tie.spacing]
    lean = ASKEW * spread * (chance.uniforms(code, place.size, 2) - 0.5)
    middle = 0.5 * float(lying.across.min() + lying.across.max())
    return np.column_stack(
        [np.cos(lean), np.sin(lean), place * np.cos(lean) + middle * np.sin(lean)]
    )


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
