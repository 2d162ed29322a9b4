"""A workshop that answers at once, pieces made in it, and a profile learned from them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date

import numpy as np

from meltwick.constants import Constants
from meltwick.journal.evidence import Evidence
from meltwick.journal.factors import moved
from meltwick.journal.learning import learn
from meltwick.journal.profiles import profile_of
from meltwick.plan import plan_from_text, resolve
from meltwick.stock import load_stock
from meltwick.study.outcome import Order

CLOTH = resolve(plan_from_text('[garment]\nblank = "bandana"\n', "cloth.toml"), load_stock())
TRUE = np.array([1.3, -0.8])
"""Hidden factors of the tests [standard deviations of the prior]."""


class StandIn:
    """A workshop that answers at once: ratios that hang on the constants, bent, and on the hand.

    How far each factor moves the white of each plan is as the real model has it for poles, pleats
    and spirals (docs/learning.md); it shares no code with what learns.
    """

    def __init__(self, pieces: int, hand: float = 0.2, seed: int = 0) -> None:
        rng = np.random.default_rng(seed)
        self.base = np.column_stack(
            [rng.uniform(-1.8, 0.3, pieces), rng.uniform(0, 1.2, pieces), rng.normal(size=pieces)]
        )
        self.pull = rng.uniform(0.1, 1.0, (pieces, 2)) * (0.9, -0.8)
        self.hand, self.runs = hand, 0

    def ratios(self, piece: int, seed: int, constants: Constants) -> np.ndarray:
        book = Constants()
        way = np.array(
            [
                math.log(constants.film / book.film) / 0.611,
                math.log(constants.dispersivity / book.dispersivity) / 0.231,
            ]
        )
        push = float(self.pull[piece] @ way)
        noise = np.random.default_rng([piece, seed]).normal(size=3) * self.hand
        moved = np.array([2.0 * math.tanh(push / 2.0), -0.3 * push, -0.2 * push])
        return np.asarray(self.base[piece] + moved + noise * (1.0, 0.4, 0.6))

    def shares(self, piece: int, seed: int, constants: Constants) -> Mapping[str, float]:
        white, deep, mid = 1.0 / (1.0 + np.exp(-self.ratios(piece, seed, constants)))
        dyed, rest = 1.0 - white, (1.0 - white) * (1.0 - deep)
        return {
            "white": float(white),
            "pale": float(rest * (1 - mid)),
            "mid": float(rest * mid),
            "deep": float(dyed * deep),
        }

    def make(self, orders: Sequence[Order]) -> list[Mapping[str, float]]:
        self.runs += len(orders)
        return [
            self.shares(int(each.recipe.name), each.seed, each.constants or Constants())
            for each in orders
        ]

    def pieces(self, true: np.ndarray, classes: bool = True, first: int = 0) -> list[Evidence]:
        """Pieces as the hands of a maker made them, each with a photograph's error."""
        rng = np.random.default_rng([77, first])
        found = []
        for k in range(len(self.base)):
            shares = self.shares(k, 1000 + first + k, moved(true))
            white = float(np.clip(shares["white"] + rng.normal() * 0.01, 0.0, 1.0))
            recipe = replace(CLOTH, name=str(k))
            found.append(
                Evidence(f"piece {k}", recipe, 1, white, 0.017, shares if classes else None, k)
            )
        return found


def learned_from(pieces: int = 12):
    """What so many pieces of the stand-in teach."""
    place = StandIn(pieces)
    return learn(place.pieces(TRUE), place.make, hands=5, pitch=8e-3)


PROFILE = profile_of("mine", learned_from(), date(2026, 11, 3))
