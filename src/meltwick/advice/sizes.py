"""How big and heavy a garment is, before and after it is folded."""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, pi, sin, sqrt

from meltwick.cloth import build_cloth
from meltwick.types import Accordion, Halve, PoleWrap, Recipe, Round, Spiral

_COARSE = 0.01  # [m] enough to weigh the cloth


@dataclass(frozen=True)
class Garment:
    """A blank as it lies flat."""

    mass: float  # [kg]
    area: float  # [m2] of cloth, all layers
    layers: int
    width: float  # [m] across, sleeves included
    length: float  # [m]

    def reach(self, layers: int) -> float:
        """Radius of a round piece as large as the stack of so many layers [m]."""
        return sqrt(self.area / layers / pi)


def weigh(recipe: Recipe) -> Garment:
    """Measure a plan's blank."""
    cloth = build_cloth(recipe.blank, recipe.fabric, _COARSE)
    bounds = [panel.outline.bounds for panel in cloth.panels]
    return Garment(
        mass=float(cloth.mass_per_area.sum()) * _COARSE**2,
        area=cloth.size * _COARSE**2,
        layers=len(cloth.panels),
        width=(max(b[2] for b in bounds) - min(b[0] for b in bounds)) / 1e3,
        length=(max(b[3] for b in bounds) - min(b[1] for b in bounds)) / 1e3,
    )


def slanted(angle: float, wide: float, long: float) -> tuple[float, float]:
    """Extent of a rectangle across and along a line at an angle to its length [m]."""
    c, s = abs(cos(angle)), abs(sin(angle))
    return wide * c + long * s, long * c + wide * s


def bundle_length(turn: Round, garment: Garment) -> float:
    """Length of the folded bundle, along the pole or the creases, or across a disc [m]."""
    wide, long = garment.width, garment.length
    length, layers = long, garment.layers
    for fold in turn.folds:
        if isinstance(fold, Halve):
            wide, long = (wide / 2.0, long) if fold.line == "spine" else (wide, long / 2.0)
            length, layers = long, 2 * layers
        elif isinstance(fold, PoleWrap):
            length = slanted(fold.bias, wide, long)[1] / fold.squeeze
        elif isinstance(fold, Accordion):
            length = slanted(fold.angle, wide, long)[1]
            across = slanted(fold.angle, wide, long)[0]
            steep = abs(sin(fold.angle)) > 0.5
            wide, long = (wide, min(long, fold.pleat)) if steep else (min(wide, fold.pleat), long)
            length = min(length, max(wide, long)) if fold.pleat < across else length
        elif isinstance(fold, Spiral):
            length = 2.0 * garment.reach(layers)
    return length
