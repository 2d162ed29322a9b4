"""What a maker following a plan will do, step by step."""

from __future__ import annotations

from collections.abc import Iterator

from meltwick.advice.hands import fold_and_tie
from meltwick.advice.laying import lay
from meltwick.advice.sizes import weigh
from meltwick.types import Blank, Fabric, Recipe, Round
from meltwick.units import show_mass, show_temperature, show_time


def describe(recipe: Recipe) -> list[str]:
    """Say what a maker following the plan will do, one step a line."""
    garment = weigh(recipe)
    blank, fabric = recipe.blank, recipe.fabric
    piece = f"{piece_words(blank)} of {cloth_words(fabric)}: about {show_mass(garment.mass)} dry."
    steps = [f"Take {piece}"]
    if recipe.start is not None:
        steps = [f"Take the piece of {recipe.start.names}, {piece} It is dyed over, washed clean."]
    for number, turn in enumerate(recipe.rounds, start=1):
        lines = list(_wet(recipe, turn))
        lines += fold_and_tie(turn, garment)
        lines += [*lay(recipe, turn, garment), *_wait(turn)]
        if len(recipe.rounds) > 1:
            lines[0] = f"Round {number}: {lines[0][0].lower()}{lines[0][1:]}"
        steps += lines
    return steps


def piece_words(blank: Blank) -> str:
    """Name what is dyed as one says it."""
    if blank.shapes:
        layers = "two layers" if len(blank.shapes) == 2 else "one layer"
        return f"your own piece, {blank.name}, {layers}"
    name = f"{blank.name}, size {blank.size},"
    if blank.cut == "socks":
        return f"a pair of {name} one laid on the other, toe on toe,"
    return name if blank.cut == "leggings" else f"a {name}"


def cloth_words(fabric: Fabric) -> str:
    """Name the cloth and, where it is not white, its ground."""
    named = fabric.ground_name not in ("white", "undyed")
    word = fabric.ground_name if named else fabric.ground_colour
    return f"{word} {fabric.name}" if word else fabric.name


def _wet(recipe: Recipe, turn: Round) -> Iterator[str]:
    damp = f"When you fold it, it holds {round(100 * recipe.damp)} % of its weight in water."
    soda = turn.soda
    if soda.how == "sprinkled":
        yield f"{damp} Sift {show_mass(soda.mass)} of soda ash over it once it is tied."
    elif soda.how == "with the dye":
        yield f"{damp} Mix {show_mass(soda.mass)} of soda ash with the dye, just before you lay it."
    elif soda.how == "dried in":
        yield (
            f"Soak it in {soda.strength:.3g} g of soda ash to the litre of water, "
            f"{soda.minutes:g} min, and hang it until dry: it is folded dry."
        )
    elif soda.strength > 0.0:
        yield (
            f"Soda ash, {soda.how}: {soda.strength:.3g} g to the litre of water, "
            f"{soda.minutes:g} min. {damp}"
        )
    else:
        yield f"No soda ash. {damp}"


def _wait(turn: Round) -> Iterator[str]:
    gone = "Let the ice go" if turn.ice else "Let it drip until the ice above is gone"
    yield f"{gone}, at {show_temperature(turn.room)}."
    yield (
        f"Then keep it {turn.batch_cover} for {show_time(turn.batch_time)} at "
        f"{show_temperature(turn.batch_temperature)}, counted from when the ice is gone."
    )
    yield f"Rinse cold until clear, then wash hot: a {turn.wash} wash."
