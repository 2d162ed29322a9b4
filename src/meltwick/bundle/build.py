"""The order of things: lay the cloth flat, fold it step by step, tie it, put it to rest."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import Literal, assert_never

import numpy as np
from shapely import unary_union
from shapely.geometry import Point

from meltwick import folding
from meltwick.bundle.flat import lay_down
from meltwick.bundle.pole import LOOSE_RINGS, lay_on_pole
from meltwick.constants import Constants
from meltwick.errors import PlanError
from meltwick.folding import Stack
from meltwick.folding.peaks import raise_peaks, scatter
from meltwick.types import (
    Accordion,
    Bundle,
    Cloth,
    Floats,
    Halve,
    PoleWrap,
    Rope,
    Rosettes,
    Round,
    Scrunch,
    Spiral,
    Spot,
    Stitching,
    StringTie,
    TiedRings,
    TubeWrap,
)


def middle_of(cloth: Cloth, spot: Spot, what: str = "the spiral's centre") -> Floats:
    """Find where a spot of the garment lies before it is folded [m], shape (2,).

    Raises
    ------
    PlanError
        If the garment has no such place, or no cloth there.
    """
    if spot.place not in cloth.places:
        raise PlanError(f"this garment has no '{spot.place}'; it has {', '.join(cloth.places)}")
    found = np.array(cloth.places[spot.place]) + np.array([spot.right, spot.down])
    here = Point(*(1000.0 * found))
    if not any(panel.outline.intersects(here) for panel in cloth.panels):
        raise PlanError(f"{what} is too far from the {spot.place}: there is no cloth to pinch")
    return np.asarray(found)


def fold(cloth: Cloth, spec: Round, neatness: float, seed: int, number: int) -> Stack:
    """Fold the cloth as the round says.

    Raises
    ------
    ValueError
        When a fold follows a pole or a spiral.
    PlanError
        When a spiral's centre is no place of this garment.
    """
    stack = folding.lay_flat(cloth, seed, number, spec.outside)
    pinched = [middle_of(cloth, step.centre) for step in spec.folds if isinstance(step, Spiral)]
    drawn = spec.tie.spots if isinstance(spec.tie, TiedRings) else ()
    pinched += [middle_of(cloth, spot, "a peak's tip") for spot in drawn]
    if isinstance(spec.tie, Stitching):
        pinched += [middle_of(cloth, spot, "a line's end") for spot in spec.tie.through]
    stack = replace(stack, marks=np.vstack([stack.marks, *pinched]))
    middle = {"spine": 0.0, "waist": 0.5 * float(stack.rim[:, 1].max() + stack.rim[:, 1].min())}
    spacing = spec.tie.spacing if isinstance(spec.tie, StringTie) else LOOSE_RINGS
    thickness, pitch = cloth.fabric.thickness, cloth.pitch
    wrap = partial(folding.wrap, neatness=neatness, seed=seed, round_number=number)
    pleat = partial(folding.accordion, neatness=neatness, seed=seed, round_number=number)
    twist = partial(folding.spiral, neatness=neatness, seed=seed, round_number=number)
    gather = partial(folding.scrunch, neatness=neatness, seed=seed, round_number=number)
    bunch = partial(folding.rosettes, neatness=neatness, seed=seed, round_number=number)
    coil = partial(folding.rope, neatness=neatness, seed=seed, round_number=number)
    pull = partial(folding.pull_over, neatness=neatness, seed=seed, round_number=number)
    for count, step in enumerate(spec.folds, 1):
        if stack.radius or stack.disc:
            raise ValueError("no fold can follow the pole or the spiral")
        if isinstance(step, Halve):
            stack = folding.halve(stack, step, middle[step.line])
        elif isinstance(step, TubeWrap):
            stack = pull(stack, step, spacing=spacing, thickness=thickness)
        elif isinstance(step, PoleWrap):
            stack = wrap(stack, step, spacing=spacing, thickness=thickness)
        elif isinstance(step, Accordion):
            stack = pleat(stack, step, thickness=thickness, pitch=pitch, number=count)
        elif isinstance(step, Spiral):
            centre = stack.marks[len(cloth.places)]
            seen = replace(step, sense=_sense_seen(step.sense, spec.outside))
            stack = twist(stack, seen, centre, thickness=thickness, pitch=pitch)
        elif isinstance(step, Rope):
            stack = coil(stack, step, thickness=thickness, pitch=pitch)
        elif isinstance(step, Scrunch):
            stack = gather(stack, step, pitch=pitch)
        elif isinstance(step, Rosettes):
            outline = unary_union([panel.outline for panel in cloth.panels])
            centres = folding.throw(outline, stack.rim, step.spacing, seed, number)
            turned = replace(step, sense=_sense_seen(step.sense, spec.outside))
            stack = bunch(stack, turned, centres, thickness=thickness, pitch=pitch)
        else:
            assert_never(step)
    if isinstance(spec.tie, Stitching):  # drawn up, each stitch folds a pleat across its row
        gathers = _gathers(spec.tie, stack.marks)
        stack = pleat(stack, gathers, thickness=thickness, pitch=pitch, number=len(spec.folds) + 1)
    if isinstance(spec.tie, TiedRings):
        tips = stack.marks[len(stack.marks) - len(drawn) :]
        if not len(tips):
            tips = scatter(cloth, stack, spec.tie, seed, number)
        stack = raise_peaks(
            stack, spec.tie, tips, pitch=pitch, neatness=neatness, seed=seed, round_number=number
        )
    return stack


def _gathers(tie: Stitching, marks: Floats) -> Accordion:
    """Pleats across the rows: each stitch folds one."""
    if not tie.through:
        return Accordion(tie.stitch, 0.5 * np.pi - tie.rows)
    right, down = marks[-1] - marks[-2]
    across = np.array([-down, right]) * (1.0 if right >= 0.0 else -1.0)  # of the line, downwards
    angle = float(np.arctan2(abs(across[0]), across[1]))
    return Accordion(tie.stitch, angle, "right" if across[0] <= 0.0 else "left")


def _sense_seen(sense: Literal["right", "left"], up: str) -> Literal["right", "left"]:
    """Turn the twist of who stands over the back into the same one seen through the front."""
    if up == "front":
        return sense
    return "left" if sense == "right" else "right"


def build_bundle(
    cloth: Cloth,
    spec: Round,
    *,
    neatness: float,
    seed: int,
    constants: Constants,
    round_number: int = 1,
) -> Bundle:
    """Fold, tie and lay the cloth.

    Parameters
    ----------
    cloth : Cloth
        N cells.
    spec : Round
        Folds, tie, how it lies and at which incline.
    neatness : float
        0 tidy .. 1 loose.
    seed : int
        Of the hand.

    Returns
    -------
    Bundle
        Everything that the flow needs of the geometry.

    Raises
    ------
    PlanError
        When a spiral's centre is no place of this garment.
    """
    stack = fold(cloth, spec, neatness, seed, round_number)
    if stack.radius:
        return lay_on_pole(cloth, stack, spec, constants)
    return lay_down(cloth, stack, spec, neatness, seed, constants, round_number)
