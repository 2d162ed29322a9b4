"""What a maker's own pieces can correct: a few of the model's constants, moved together.

White and the three classes of the dyed tell two things apart, whatever the fold
(docs/make_learning.py measures it, docs/learning.md gives the figures):

- **resist**: how little dye gets past the outside. More water along the outer film and less
  through touching layers do the same to the shares, so one constant rises as the other falls.
- **travel**: how far dye goes from where it lands: sideways in the cloth, sideways where layers
  touch, and the less far the more strongly cold, soda-wet cloth holds it. Their effects are
  alike to 0.94 and more, so three constants move as one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from meltwick.constants import Constants

Floats = NDArray[np.float64]

FEWEST = 3
"""Pieces to learn from; with fewer, leaving one out leaves nothing to check by."""


@dataclass(frozen=True)
class Factor:
    """One thing that is learned: constants that move together, and what that means."""

    name: str
    constants: Mapping[str, int]  # by name, +1 or -1: which way each goes as the factor grows
    more: str  # said of a maker's work when it is above the book's
    less: str


FACTORS = (
    Factor(
        "resist",
        {"film": 1, "contact": -1},
        "your bundles keep out more than the book says",
        "your bundles let in more than the book says",
    ),
    Factor(
        "travel",
        {"dispersivity": 1, "contact_spread": 1, "grip": -1},
        "dye travels farther through your cloth than the book says",
        "dye stays nearer to where it lands than the book says",
    ),
)


@cache
def _prior(name: str) -> tuple[float, float, float, float]:
    """Logarithms of a constant's value and range, and one standard deviation of the prior.

    The range's own: as likely anywhere in it, on a logarithmic scale.
    """
    (data,) = (each.metadata for each in fields(Constants) if each.name == name)
    low, high = math.log(data["low"]), math.log(data["high"])
    return math.log(getattr(Constants(), name)), low, high, (high - low) / math.sqrt(12.0)


def stride(factor: Factor, name: str) -> float:
    """How far one standard deviation of a factor moves the logarithm of a constant.

    Constants of one factor are taken as independent before anything is learned. Their common way
    then has a standard deviation of 1 when each goes its own over the root of their number.
    """
    return factor.constants[name] * _prior(name)[3] / math.sqrt(len(factor.constants))


def moved(place: Floats) -> Constants:
    """Return the constants at a place, one number a factor [standard deviations of the prior]."""
    values = {
        name: getattr(Constants(), name) * math.exp(float(at) * stride(factor, name))
        for factor, at in zip(FACTORS, place, strict=True)
        for name in factor.constants
    }
    return replace(Constants(), **values)


def reach() -> tuple[Floats, Floats]:
    """How far down and up each factor may go, so that its constants stay in their ranges: (K,)."""
    low, high = [], []
    for factor in FACTORS:
        ends = []
        for name in factor.constants:
            value, least, most, _ = _prior(name)
            pair = [(end - value) / stride(factor, name) for end in (least, most)]
            ends.append((min(pair), max(pair)))
        low.append(max(end[0] for end in ends))
        high.append(min(end[1] for end in ends))
    return np.array(low), np.array(high)


def spans(place: Floats, covariance: Floats) -> dict[str, tuple[float, float, float]]:
    """Value of every learned constant, and one standard deviation below and above it."""
    found, (low, high) = {}, reach()
    constants = moved(place)
    for number, factor in enumerate(FACTORS):
        off = float(np.sqrt(covariance[number, number]))
        down, up = (
            moved(np.clip(place + way * off * np.eye(len(place))[number], low, high))
            for way in (-1.0, 1.0)
        )
        for name in factor.constants:
            ends = sorted((getattr(down, name), getattr(up, name)))
            found[name] = (getattr(constants, name), ends[0], ends[1])
    return found
