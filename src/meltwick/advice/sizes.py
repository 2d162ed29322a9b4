"""How big and heavy a garment is, before and after it is folded by a tidy hand."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil, degrees, pi, sqrt

import numpy as np
from shapely import affinity, get_coordinates
from shapely.geometry import box
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from meltwick.bundle import build_bundle, middle_of
from meltwick.bundle.pole import LOOSE_RINGS
from meltwick.cloth import coarse_cloth
from meltwick.constants import Constants
from meltwick.errors import PlanError
from meltwick.folding import drawn_in, girth, ribs_angle
from meltwick.types import (
    Accordion,
    Cloth,
    Fold,
    Halve,
    PoleWrap,
    Recipe,
    Rosettes,
    Round,
    Scrunch,
    Spiral,
    Spot,
    Stitching,
    StringTie,
    Tie,
    TiedRings,
    TubeWrap,
)

_COARSE = 0.01  # [m] enough to weigh the cloth
_FAR = 10.0  # [m] farther than any cloth reaches


@dataclass(frozen=True)
class Garment:
    """A blank as it lies flat."""

    mass: float  # [kg]
    area: float  # [m2] of cloth, all layers
    layers: int
    thickness: float  # [m] of one layer
    outline: BaseGeometry  # [m] x right as seen from the front, y down
    cloth: Cloth  # coarse
    neatness: float
    seed: int


@dataclass(frozen=True)
class Pile:
    """Cloth as it lies before a fold."""

    outline: BaseGeometry  # [m]
    layers: int
    area: float  # [m2] of cloth, all layers

    @property
    def reach(self) -> float:
        """Radius of a round piece as large as the pile [m]."""
        return sqrt(self.area / self.layers / pi)

    def extent(self, angle: float = 0.0, lean: str = "right") -> tuple[float, float]:
        """Extent across and along a line at an angle to the garment's length [m]."""
        left, top, right, bottom = _upright(self.outline, angle, lean).bounds
        return right - left, bottom - top


def weigh(recipe: Recipe) -> Garment:
    """Measure a plan's blank.

    Raises
    ------
    PlanError
        When a spiral or a peak is to be pinched where there is no cloth.
    """
    cloth = coarse_cloth(recipe.blank, recipe.fabric, _COARSE)
    for number, turn in enumerate(recipe.rounds, 1):
        for n, fold in enumerate(turn.folds, 1):
            if isinstance(fold, Spiral):
                _pinch(cloth, fold.centre, f"{recipe.name}: round.{number}.fold.{n}.centre")
        for spot in turn.tie.spots if isinstance(turn.tie, TiedRings) else ():
            _pinch(cloth, spot, f"{recipe.name}: round.{number}.tie.spots", "a peak's tip")
        for spot in turn.tie.through if isinstance(turn.tie, Stitching) else ():
            _pinch(cloth, spot, f"{recipe.name}: round.{number}.tie.line", "a line's end")
    outline = unary_union([panel.outline for panel in cloth.panels])
    return Garment(
        mass=float(cloth.mass_per_area.sum()) * _COARSE**2,
        area=cloth.size * _COARSE**2,
        layers=len(cloth.panels),
        thickness=recipe.fabric.thickness,
        outline=affinity.scale(outline, 1e-3, 1e-3, origin=(0, 0)),
        cloth=cloth,
        neatness=recipe.neatness,
        seed=recipe.seed,
    )


def _pinch(cloth: Cloth, spot: Spot, where: str, what: str = "the spiral's centre") -> None:
    try:
        middle_of(cloth, spot, what)
    except PlanError as error:
        raise PlanError(f"{where}: {error}") from None


def piles(turn: Round, garment: Garment) -> Iterator[tuple[Fold, Pile]]:
    """Go through the folds of a round, each with the pile that it finds."""
    pile = laid(garment)
    for fold in turn.folds:
        yield fold, pile
        pile = folded(pile, fold)


def bundle_length(turn: Round, garment: Garment, number: int = 1) -> float:
    """Length of the tied bundle, along the pole or the creases, or across a disc [m]."""
    return build_bundle(
        garment.cloth,
        turn,
        neatness=garment.neatness,
        seed=garment.seed,
        constants=Constants(),
        round_number=number,
    ).length


def strip_of(turn: Round, garment: Garment) -> tuple[float, float]:
    """Width and length of a flat pile, across and along its creases [m]."""
    pile = laid(garment)
    for fold, before in piles(turn, garment):
        pile = folded(before, fold)
    return pile.extent(*creases_of(turn))


def creases_of(turn: Round) -> tuple[float, str]:
    """Direction of the last pleats' creases, that of the garment's length if there are none."""
    pleated = [fold for fold in turn.folds if isinstance(fold, Accordion)]
    return (pleated[-1].angle, pleated[-1].lean) if pleated else (0.0, "right")


def pushed_length(fold: PoleWrap, pile: Pile, tie: Tie | None) -> float:
    """Length of a roll once it is pushed [m].

    The last pleat lies past its string by up to half of what it is squeezed, by half that on the
    mean.
    """
    spacing = tie.spacing if isinstance(tie, StringTie) else LOOSE_RINGS
    last = 0.25 * (fold.squeeze - 1.0) * spacing
    return pile.extent(fold.bias, fold.lean)[1] / fold.squeeze + last


def pushed_tube(fold: TubeWrap, pile: Pile, tie: Tie | None) -> float:
    """Length of a tube once it is pushed [m], as a roll's along the garment."""
    along = PoleWrap(fold.diameter, 0.0, squeeze=fold.squeeze)
    return pushed_length(along, pile, tie)


def disc_width(fold: Spiral, pile: Pile, thickness: float) -> float:
    """Width of the disc that a pile is twisted into, its corners tucked in [m]."""
    angle = ribs_angle(fold, pile.layers, pile.reach, thickness)
    return 2.0 * pile.reach * drawn_in(angle)


def girth_of(garment: Garment) -> float:
    """Cloth once round a garment's body, or a flat piece's width [m]."""
    outlines = [get_coordinates(panel.outline) for panel in garment.cloth.panels]
    return girth(np.concatenate(outlines) / 1e3, garment.layers)


def rosettes_of(fold: Rosettes, pile: Pile) -> int:
    """How many small spirals a pile makes, about: centres stand as in a triangular lattice."""
    return max(1, round(pile.area / pile.layers / (0.5 * sqrt(3.0) * fold.spacing**2)))


def pack_width(fold: Rosettes, pile: Pile, thickness: float) -> float:
    """Width of the disc that rosettes make together [m]."""
    reach = pile.reach / sqrt(rosettes_of(fold, pile))
    one = Spiral(Spot("middle"), fold.pleats, fold.turns, fold.height)
    return 2.0 * pile.reach * drawn_in(ribs_angle(one, pile.layers, reach, thickness))


def laid(garment: Garment) -> Pile:
    """Return a blank as a pile that nothing has folded yet."""
    return Pile(garment.outline, garment.layers, garment.area)


def _upright(outline: BaseGeometry, angle: float, lean: str) -> BaseGeometry:
    """Turn an outline so that a line at an angle to its length runs straight down."""
    turn = -degrees(angle) if lean == "right" else degrees(angle)
    return affinity.rotate(outline, turn, origin=(0, 0))


def folded(pile: Pile, fold: Fold) -> Pile:
    """Return what a fold makes of a pile; what stands on a pole or in a disc is no other pile."""
    if isinstance(fold, Halve):
        return _halved(pile, fold)
    if isinstance(fold, Accordion):
        return _pleated(pile, fold)
    if isinstance(fold, Scrunch):
        small = affinity.scale(pile.outline, 1.0 / fold.draw, 1.0 / fold.draw)
        return Pile(small, round(pile.layers * fold.draw**2), pile.area)
    return pile


def _halved(pile: Pile, fold: Halve) -> Pile:
    _, top, _, bottom = pile.outline.bounds
    across = fold.line == "spine"
    middle = (0.0, 0.5 * (top + bottom))
    flipped = affinity.scale(
        pile.outline, -1.0 if across else 1.0, 1.0 if across else -1.0, origin=middle
    )
    stays = {
        "left": box(0.0, -_FAR, _FAR, _FAR),
        "right": box(-_FAR, -_FAR, 0.0, _FAR),
        "top": box(-_FAR, middle[1], _FAR, _FAR),
        "bottom": box(-_FAR, -_FAR, _FAR, middle[1]),
    }[fold.moves]
    both = unary_union([pile.outline, flipped]).intersection(stays)
    return Pile(both, 2 * pile.layers, pile.area)


def _pleated(pile: Pile, fold: Accordion) -> Pile:
    """Lay pleat on pleat, every other one turned over, on the first."""
    flat = _upright(pile.outline, fold.angle, fold.lean)
    left, _, right, _ = flat.bounds
    count = pleats_of(fold, right - left)
    parts = []
    for k in range(count):
        start = left + k * fold.pleat
        part = flat.intersection(box(start, -_FAR, start + fold.pleat, _FAR))
        if k % 2:
            part = affinity.scale(part, -1.0, 1.0, origin=(start + 0.5 * fold.pleat, 0.0))
        parts.append(affinity.translate(part, left - start))
    outline = _upright(unary_union(parts), -fold.angle, fold.lean)
    return Pile(outline, count * pile.layers, pile.area)


def pleats_of(fold: Accordion, across: float) -> int:
    """How many pleats cloth of a width across the creases makes; the last may be a narrow one."""
    return max(1, ceil(across / fold.pleat - 1e-9))
