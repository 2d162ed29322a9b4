"""What a maker following a plan will do, step by step."""

from __future__ import annotations

from collections.abc import Iterator
from math import degrees, sin

from meltwick.advice.sizes import Garment, weigh
from meltwick.folding import ribs_angle
from meltwick.types import Accordion, Halve, PoleWrap, Recipe, Round, Spiral, StringTie
from meltwick.units import show_inches, show_length, show_mass, show_temperature, show_time


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
        lines += [*_fold_and_tie(turn, garment, fabric.thickness)]
        lines += [*_lay(recipe, turn), *_wait(turn)]
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


def _both(metres: float) -> str:
    return f"{show_length(metres)} ({show_inches(metres)})"


def _fold_and_tie(turn: Round, garment: Garment, thickness: float) -> Iterator[str]:
    layers, pleated = garment.layers, False
    if turn.folds:
        yield f"Lay it flat, the {turn.outside} up."
    for fold in turn.folds:
        if isinstance(fold, Halve):
            layers *= 2
            yield f"Fold it in half along the {fold.line}, the {fold.moves} over the other side."
        elif isinstance(fold, PoleWrap):
            yield from _wrap(fold)
        elif isinstance(fold, Accordion):
            yield _pleat(fold, pleated)
            pleated = True
        else:
            yield _twist(fold, layers, garment, thickness)
    tie = turn.tie
    if isinstance(tie, StringTie):
        yield (
            f"Wind string {show_length(tie.thickness)} thick round it every "
            f"{_both(tie.spacing)}, pulled at about {_force(tie.pull)}."
        )
    elif tie is not None:
        bands = "a band" if tie.count == 1 else f"{tie.count} bands"
        yield (
            f"Stretch {bands} {show_length(tie.width)} wide over it, through the middle, each "
            f"pulled at about {_force(tie.pull)}."
        )


def _force(newtons: float) -> str:
    return f"{newtons:.2g} N ({newtons / 9.80665:.2g} kg)"


def _wrap(fold: PoleWrap) -> Iterator[str]:
    yield (
        f"Lay a pole {_both(fold.diameter)} thick at {degrees(fold.bias):.3g}° to the "
        f"garment's length, leaning {fold.lean}, and roll the cloth on from the {fold.starts_at}."
    )
    first = "" if fold.even else f", the {fold.pushed_first} end first and tighter"
    yield f"Push it together along the pole, {fold.squeeze:.2g} times shorter{first}."


def _pleat(fold: Accordion, pleated: bool) -> str:
    slant = degrees(fold.angle)
    if slant < 5.0:
        run = "along the garment"
    elif slant > 85.0:
        run = "across the garment"
    else:
        run = f"at {slant:.3g}° to the garment's length, towards the {fold.lean} shoulder"
    what = "Fold that strip back and forth again" if pleated else "Fold it back and forth"
    return f"{what} into pleats {_both(fold.pleat)} wide, the creases {run}."


def _twist(fold: Spiral, layers: int, garment: Garment, thickness: float) -> str:
    spot = fold.centre
    off = [
        f"{show_length(abs(far))} {words[far > 0]}"
        for far, words in (
            (spot.right, ("left of", "right of")),
            (spot.down, ("above", "below")),
        )
        if far
    ]
    place = " and ".join(off) + (" " if off else "") + f"the {spot.place}"
    reach = garment.reach(layers)
    across = 2.0 * reach * sin(ribs_angle(fold, layers, reach, thickness))
    hands = "as a clock's hands go" if fold.sense == "right" else "against a clock's hands"
    often = {1.0: "once", 2.0: "twice"}.get(fold.turns, f"{fold.turns:.2g} times")
    return (
        f"Pinch it at {place} and turn it {hands}, about {often} round, until it has drawn into "
        f"a disc about {_both(across)} across; let the pleats stand {_both(fold.height)} tall."
    )


def _zone(zone: tuple[float, float]) -> str:
    low, high = zone
    if high - low > 0.9:
        return "all along"
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


def _lay(recipe: Recipe, turn: Round) -> Iterator[str]:
    spoon = {dye.name: dye.spoon for dye in recipe.dyes}
    last = turn.folds[-1] if turn.folds else None
    lies = turn.lies or ("pleats up" if isinstance(last, Accordion) else "")
    how = f", {lies}" if lies else ""
    yield f"Rest it on a {turn.rest_on}{how}, tilted {degrees(turn.incline):.3g}°."

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
