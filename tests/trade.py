"""A small tee, the usual way on the pole, with a few words of its plan changed.

At 6 mm; medians over three hands, so that one lucky fold decides nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np

from meltwick.bundle import build_bundle
from meltwick.constants import Constants
from meltwick.plan import plan_from_text, resolve
from meltwick.simulate import simulate
from meltwick.stock import load_stock
from meltwick.types import Bundle, Floats, Recipe, Result

PITCH = 6e-3
HANDS = (1, 2, 3)
USUAL: dict[str, str] = {
    "fabric": "cotton jersey",
    "damp": "wrung",
    "diameter": "48 mm",
    "squeeze": "3",
    "spacing": "25 mm",
    "pull": "20 N",
    "soda": "soaked before folding",
    "room": "20 degC",
    "batch": "24 h",
    "warmth": "20 degC",
    "wash": "careful",
    "ice": "720 g",  # 7 US cups for a medium tee, by the weight of a small one
    "dyes": "harbour blue, 6 g, 0, 1, under the ice",
}


def plan_of(**changes: str):
    """The usual plan with a few words changed; dyes are 'name, amount, from, to, powder'."""
    words = USUAL | changes
    rows = []
    for line in words["dyes"].split(";"):
        name, amount, low, high, powder = (part.strip() for part in line.split(","))
        rows.append(
            f'  [[round.dye]]\n  dye = "{name}"\n  amount = "{amount}"\n'
            f'  at = [{low}, {high}]\n  powder = "{powder}"\n'
        )
    text = f"""
schema = 1
name = "trade"
[garment]
blank = "tee"
size = "S"
fabric = "{words["fabric"]}"
damp = "{words["damp"]}"
[[round]]
fold = [ {{ kind = "pole", diameter = "{words["diameter"]}", squeeze = {words["squeeze"]} }} ]
tie = {{ spacing = "{words["spacing"]}", pull = "{words["pull"]}" }}
soda = {{ how = "{words["soda"]}" }}
rest = {{ room = "{words["room"]}" }}
batch = {{ time = "{words["batch"]}", temperature = "{words["warmth"]}" }}
wash = "{words["wash"]}"
  [[round.ice]]
  amount = "{words["ice"]}"
{"".join(rows)}"""
    return plan_from_text(text, "trade.toml")


@dataclass(frozen=True)
class Piece:
    recipe: Recipe
    result: Result
    bundle: Bundle

    @property
    def total(self) -> Floats:
        """Fixed dye of every cell [kg/kg]."""
        return np.asarray(self.result.fixed.amount.sum(axis=1))


@cache
def piece(changes: tuple[tuple[str, str], ...], seed: int) -> Piece:
    plan = plan_of(**dict(changes))
    recipe = resolve(plan, load_stock())
    result = simulate(plan, pitch=PITCH, seed=seed, threads=1)
    bundle = build_bundle(
        result.cloth,
        recipe.rounds[0],
        neatness=recipe.neatness,
        seed=seed,
        constants=Constants(),
    )
    return Piece(recipe, result, bundle)


def median(measure: Callable[[Piece], float], **changes: str) -> float:
    """Median over hands of what is measured on each piece."""
    key = tuple(sorted(item for item in changes.items() if item not in USUAL.items()))
    return float(np.median([measure(piece(key, seed)) for seed in HANDS]))


def white(piece: Piece) -> float:
    return piece.result.white_share


def fixed(piece: Piece) -> float:
    balance = piece.result.rounds[0].balance
    return balance.fixed / balance.laid
