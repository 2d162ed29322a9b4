"""The rope: cloth gathered into a long bundle, twisted, and folded back on itself.

Hands gather the cloth into uneven folds along it, then turn one end against the other. A section
of the bundle keeps its layers, as a pile of pleats has them; the twist turns each section a little
further than the one before. Which side of the pile faces up so changes along the rope.
"""

from __future__ import annotations

from dataclasses import replace
from math import hypot, pi, sqrt

import numpy as np

from meltwick import chance
from meltwick.folding.accordion import GIVES, TUCK, Creases, extents, landing, wander, zigzag
from meltwick.folding.stack import Stack, Twist
from meltwick.types import Accordion, Rope

GIVE = 0.0999
"""Stretch of the outside at which a bundle can be turned no more: a tenth; chosen."""
INWARD = 0.45  # of the bundle's width, by which a gather may end short of its edge; chosen
WANDER = 0.06  # of a gather's width, that its end strays along the rope; chosen
FILLED = 1.0 - INWARD
"""Mean width of a gather over the bundle's: its ends lie evenly between the edge and `INWARD`."""


def coiled(wide: float, tall: float, length: float, turns: float) -> tuple[float, float]:
    """Length of a twisted bundle [m], and how far its outside is stretched.

    A fibre at a distance r from the axis runs as a helix: l^2 = L^2 + (2 pi r N)^2. The bundle
    shortens until its fibres keep their length on the mean, r^2 being (w^2 + h^2) / 12 over a
    rectangle; its corners stretch, its core buckles.

    Parameters
    ----------
    wide, tall : float
        Section of the bundle [m].
    length : float
        Before it is twisted [m].
    turns : float
        N, from end to end.

    Raises
    ------
    ValueError
        When it cannot be turned that often: no length would be left.
    """
    core = 2.0 * pi * turns * hypot(wide, tall) / sqrt(12.0)
    if core >= length:
        raise ValueError(f"{turns} turns take {core} m of a bundle {length} m long")
    short = sqrt(length**2 - core**2)
    outer = hypot(short, pi * turns * hypot(wide, tall))
    return short, outer / length - 1.0


def section_of(fold: Rope, across: float, layers: int, thickness: float) -> tuple[float, float]:
    """Width and height of the gathered bundle [m]; as wide as it is thick, unless the plan says.

    Parameters
    ----------
    fold : Rope
    across : float
        Of the flat cloth [m].
    layers : int
        Of it.
    thickness : float
        Of one layer [m].
    """
    area = across * layers * TUCK * thickness / FILLED
    wide = fold.gather or sqrt(area)
    return wide, area / wide


def most_turns(wide: float, tall: float, length: float) -> float:
    """How often a bundle can be turned before its outside is stretched by `GIVE`.

    With `coiled`, (1 + e)^2 = 1 + 2/3 (pi N d / L)^2, d being the diagonal of its section.
    """
    give = (1.0 + GIVE) ** 2 - 1.0
    return length * sqrt(1.5 * give) / (pi * hypot(wide, tall))


def gathers(
    seed: int,
    round_number: int,
    across: tuple[float, float],
    along: tuple[float, float],
    wide: float,
    neatness: float,
) -> Creases:
    """Gather cloth by hand: every fold ends somewhere near one edge of the bundle or the other.

    Parameters
    ----------
    across, along : tuple of float
        From where to where the cloth lies [m].
    wide : float
        Of the bundle [m].
    neatness : float
        0 tidy .. 1 loose: how far ends stray along the rope. That they are uneven is in the fold.
    """
    count = int(np.ceil((across[1] - across[0]) / (wide * (1.0 - 2.0 * INWARD)))) + 3
    code = chance.key(seed, "gathers", round_number)
    inward = INWARD * chance.uniforms(code, count, 0)[:, None]
    most = GIVES / np.sqrt((across[1] - across[0]) / (wide * FILLED) + 2.0)
    side = (np.arange(count) % 2).astype(np.float64)[:, None]
    edge = across[0] + wide * (side + (1.0 - 2.0 * side) * inward)
    edge = edge + neatness * min(WANDER * wide, most) * wander(code, count, along)
    table = landing(edge, along[0])
    return replace(table, cloth=table.cloth - edge[0].min() + across[0])


def rope(
    stack: Stack,
    fold: Rope,
    *,
    thickness: float,
    pitch: float,
    neatness: float,
    seed: int,
    round_number: int = 1,
) -> Stack:
    """Gather a flat stack for a rope; it is turned when it is put down.

    Parameters
    ----------
    stack : Stack
        Flat.
    fold : Rope
    thickness, pitch : float
        Of one layer of cloth, and of the raster [m].
    neatness : float
        0 tidy .. 1 loose.
    """
    across, along = extents(stack, Accordion(0.04, fold.angle))
    wide, _ = section_of(fold, across[1] - across[0], stack.layers, thickness)
    pleats = Accordion(wide, fold.angle)
    table = gathers(seed, round_number, across, along, wide, neatness)
    gathered = zigzag(stack, pleats, table, thickness=thickness, pitch=pitch)
    sense = 1.0 if fold.sense == "right" else -1.0
    return replace(gathered, rope=Twist(sense * fold.turns, fold.doubled))
