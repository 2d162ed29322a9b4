"""What a maker following a plan will do, step by step."""

from __future__ import annotations

from collections.abc import Iterator
from math import degrees

from meltwick.advice.hands import fold_and_tie, standing
from meltwick.advice.sizes import Garment, weigh
from meltwick.types import Recipe, Round
from meltwick.units import show_mass, show_temperature, show_time


def describe(recipe: Recipe) -> list[str]:
    """Say what a maker following the plan will do, one step a line."""
    garment = weigh(recipe)
    blank, fabric = recipe.blank, recipe.fabric
    steps = [
        f"Take a {blank.name}, size {blank.size}, of {fabric.name}: about "
        f"{show_mass(garment.mass)} dry."
    ]
    for number, turn in enumerate(recipe.rounds, start=1):
        lines = list(_wet(recipe, turn))
        lines += fold_and_tie(turn, garment)
        lines += [*_lay(recipe, turn, garment), *_wait(turn)]
        if len(recipe.rounds) > 1:
            lines[0] = f"Round {number}: {lines[0][0].lower()}{lines[0][1:]}"
        steps += lines
    return steps


def _wet(recipe: Recipe, turn: Round) -> Iterator[str]:
    damp = f"When you fold it, it holds {round(100 * recipe.damp)} % of its weight in water."
    if turn.soda.strength > 0.0:
        yield (
            f"Soda ash, {turn.soda.how}: {turn.soda.strength:.3g} g to the litre of water, "
            f"{turn.soda.minutes:g} min. {damp}"
        )
    else:
        yield f"No soda ash. {damp}"


def _zone(zone: tuple[float, float]) -> str:
    low, high = zone
    if high - low > 0.9:
        return "all over it"
    middle = (low + high) / 2.0
    place = "the low end" if middle < 1 / 3 else "the high end" if middle > 2 / 3 else "the middle"
    return f"at {place} ({round(100 * low)} to {round(100 * high)} % of the way up)"


def _spoons(count: float) -> str:
    whole, quarters = divmod(round(4 * count), 4)
    part = ("", "1/4", "1/2", "3/4")[quarters]
    if not whole and not part:
        return "a pinch"
    number = "-".join(word for word in (str(whole or ""), part) if word)
    return f"{number} level teaspoon{'s' if whole + (quarters > 0) > 1 else ''}"


def _lay(recipe: Recipe, turn: Round, garment: Garment) -> Iterator[str]:
    spoon = {dye.name: dye.spoon for dye in recipe.dyes}
    tilt = f"tilted {degrees(turn.incline):.3g}°" if turn.incline > 0.0 else "level"
    yield f"Rest it on a {turn.rest_on}{standing(turn, garment)}, {tilt}."

    def laid(over: bool) -> Iterator[str]:
        for powder in turn.powder:
            if powder.over_ice is over:
                level = _spoons(powder.mass / spoon.get(powder.dye, 2.5e-3))
                yield (
                    f"Sift {show_mass(powder.mass)} of {powder.dye} (about {level}) "
                    f"{_zone(powder.zone)}."
                )

    yield from laid(False)
    for load in turn.ice:
        yield f"Heap {show_mass(load.mass)} of ice on it, {load.kind}."
    yield from laid(True)


def _wait(turn: Round) -> Iterator[str]:
    yield f"Let the ice go, at {show_temperature(turn.room)}."
    yield (
        f"Then keep it {turn.batch_cover} for {show_time(turn.batch_time)} at "
        f"{show_temperature(turn.batch_temperature)}, counted from when the ice is gone."
    )
    yield f"Rinse cold until clear, then wash hot: a {turn.wash} wash."
