"""What pictures of the bundle are drawn from: a round of a plan, folded, tied and laid."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from shapely import unary_union

from meltwick.bundle import build_bundle, fold, middle_of
from meltwick.cloth import build_cloth
from meltwick.colour import ground_lab, ground_srgb, swatch
from meltwick.constants import Constants
from meltwick.folding import lay_flat, throw
from meltwick.folding.creases import CreaseLine, crease_lines
from meltwick.folding.peaks import scatter
from meltwick.picture.bundle_view import FILM, PLATE, STRING, Heap, Scene
from meltwick.picture.guide import Pinch
from meltwick.seep.powder import lay, species_of
from meltwick.shares import measure_shares
from meltwick.types import (
    Accordion,
    Bundle,
    Clamps,
    Cloth,
    FixedDye,
    Look,
    PoleWrap,
    Recipe,
    Result,
    Rope,
    Rosettes,
    Round,
    Scrunch,
    Spiral,
    Stitching,
    TiedRings,
    TubeWrap,
)

_SHADE = 2.5  # [% of fibre] depth at which a jar's colour stands for its powder; chosen


def scene_of(recipe: Recipe, number: int, pitch: float, neatness: float | None = None) -> Scene:
    """Fold, tie and lay one round of a plan, powder and all.

    Parameters
    ----------
    recipe : Recipe
    number : int
        Of the round, from 1.
    pitch : float
        Size of a cell [m].
    neatness : float, optional
        Of the hand, instead of the plan's.
    """
    spec, constants = recipe.rounds[number - 1], Constants()
    cloth = build_cloth(recipe.blank, recipe.fabric, pitch)
    bundle = build_bundle(
        cloth,
        spec,
        neatness=recipe.neatness if neatness is None else neatness,
        seed=recipe.seed,
        constants=constants,
        round_number=number,
    )
    poles = [fold for fold in spec.folds if isinstance(fold, PoleWrap | TubeWrap)]
    return Scene(
        cloth=cloth,
        bundle=bundle,
        heaps=_heaps(recipe, bundle, number),
        pole=poles[-1].diameter if poles else 0.0,
        incline=spec.incline,
        seal=_seal(spec),
        upright=spec.lies != "flat" and any(isinstance(fold, Accordion) for fold in spec.folds),
    )


def _seal(spec: Round) -> tuple[int, int, int]:
    if isinstance(spec.tie, Clamps):
        return PLATE
    return FILM if isinstance(spec.tie, TiedRings) and spec.tie.capped else STRING


def _heaps(recipe: Recipe, bundle: Bundle, number: int) -> list[Heap]:
    """Lay every powder by itself, with the grain that it has among the others."""
    spec, constants = recipe.rounds[number - 1], Constants()
    dyes = {dye.name: dye for dye in recipe.dyes}
    found = []
    for n, powder in enumerate(spec.powder):
        if powder.turned:
            continue
        alone = tuple(
            each if k == n else replace(each, mass=0.0) for k, each in enumerate(spec.powder)
        )
        laid = lay(
            bundle, alone, recipe.dyes, species_of(recipe.dyes), recipe.seed, number, constants
        )
        mass = laid.under.sum(axis=1)
        for share, masses in laid.over:
            mass = mass + share * float(masses.sum())
        dye = dyes[powder.dye]
        found.append(Heap(dye.name, swatch(dye, _SHADE, recipe.fabric), mass))
    return found


def undyed(recipe: Recipe, cloth: Cloth) -> Result:
    """Return the blank as it was bought, as a result that pictures are drawn from."""
    lab, srgb = ground_lab(cloth.fabric), ground_srgb(cloth.fabric)
    every = (cloth.size, 1)
    look = Look(np.tile(srgb, every), np.tile(lab, every), np.zeros(cloth.size), srgb)
    return Result(
        plan=recipe.name,
        digest="",
        seed=recipe.seed,
        detail_pitch=cloth.pitch,
        cloth=cloth,
        fixed=FixedDye((), np.zeros((cloth.size, 0))),
        look=look,
        shares=measure_shares(cloth, look),
        rounds=(),
        seconds={},
    )


def creases_of(recipe: Recipe, number: int, cloth: Cloth) -> list[CreaseLine]:
    """Creases that hands lay one by one, on the flat cloth; of gathers there are none to lay."""
    spec = recipe.rounds[number - 1]
    laid = tuple(fold for fold in spec.folds if not isinstance(fold, _GATHERED))
    plain = replace(spec, folds=laid, tie=None if isinstance(spec.tie, _DRAWN) else spec.tie)
    stack = fold(cloth, plain, 0.0, recipe.seed, number)
    return crease_lines(cloth, stack, spec.outside)


def pinches_of(recipe: Recipe, number: int, cloth: Cloth) -> list[Pinch]:
    """Points that are pinched and twisted, or pulled up, on the side that faces up."""
    spec = recipe.rounds[number - 1]
    up = next((p.name for p in cloth.panels if p.name == spec.outside), cloth.panels[0].name)
    points, said = np.zeros((0, 2)), "pinch and twist here"
    for step in spec.folds:
        if isinstance(step, Spiral):
            points = middle_of(cloth, step.centre)[None]
        elif isinstance(step, Rosettes):
            before = spec.folds[: spec.folds.index(step)]
            flat = fold(cloth, replace(spec, folds=before, tie=None), 0.0, recipe.seed, number)
            outline = unary_union([panel.outline for panel in cloth.panels])
            points = throw(outline, flat.rim, step.spacing, recipe.seed, number)
    if isinstance(spec.tie, TiedRings):
        said = "pull up a peak here"
        points = np.array([middle_of(cloth, spot, "a peak's tip") for spot in spec.tie.spots])
        if not len(points):
            flat = lay_flat(cloth, recipe.seed, number, spec.outside)
            points = scatter(cloth, flat, spec.tie, recipe.seed, number)
    return [Pinch(up, point, said) for point in points]


_GATHERED = (Scrunch, Rosettes, Rope, TubeWrap)
_DRAWN = (TiedRings, Stitching)
