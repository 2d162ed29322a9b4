"""From the colours of a maker's swatches to dyes of the stock."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from meltwick.colour.look import colours
from meltwick.colour.recovering import recover
from meltwick.constants import Constants
from meltwick.types import Component, Dye, Fabric, Floats

KEPT = Constants().fixed_yield
"""Share of the powder that an evenly dyed swatch, well washed, keeps; read, see Constants."""

# An average cold reactive dye: the geometric means of the stock's own components. A flat swatch
# tells nothing of how a dye travels.
KD, STRIKE, DIFFUSIVITY = 3.5e-3, 1.0, 3.9e-10
_LIGHT, _DARK = 88.0, 22.0  # [L*] at 2 % of the stock's lightest and darkest dyes


@dataclass(frozen=True)
class Swatch:
    """One colour of one dye."""

    name: str
    depth: float  # powder by mass of cloth [kg/kg]
    lab: Floats  # (3,) L*, a*, b*


@dataclass(frozen=True)
class Learnt:
    """A dye from its swatches."""

    dye: Dye
    swatches: tuple[Swatch, ...]
    lab: Floats  # (D, 3) that the dye gives at each swatch's depth
    residual: Floats  # (D,) Delta E 2000 to it


def darkness(part: Sequence[tuple[Component, float]], fabric: Fabric) -> float:
    """Return how dark a dye counts, 0 to 1, from its lightness at 2 % on the fibre."""
    amount = np.array([[0.02 * share for _, share in part]])
    light = float(colours([component for component, _ in part], amount, fabric)[0, 0])
    return float(np.clip((_LIGHT - light) / (_LIGHT - _DARK), 0.0, 1.0))


def learn_dye(name: str, swatches: Sequence[Swatch], fabric: Fabric, note: str) -> Learnt:
    """Make a dye of one component that gives the colours of its swatches.

    Parameters
    ----------
    name : str
    swatches : sequence of Swatch
        Of this dye; more depths pin its spectrum down better.
    fabric : Fabric
        What they are on.
    note : str
        Where they come from.

    Returns
    -------
    Learnt
        Its splitting is marked unknown.
    """
    depth = np.array([100.0 * KEPT * each.depth for each in swatches])
    found = recover(np.array([each.lab for each in swatches]), depth, fabric)
    part = Component(f"{name}, as a swatch", found.bands, KD, STRIKE, DIFFUSIVITY, note)
    parts = ((part, 1.0),)
    dye = Dye(name, parts, dark=round(darkness(parts, fabric), 2), splitting_known=False)
    return Learnt(dye, tuple(swatches), found.lab, found.residual)
