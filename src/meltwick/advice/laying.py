"""How ice and powder go on the bundle, in a maker's words."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from math import degrees, pi, sqrt

from meltwick.advice.hands import standing
from meltwick.advice.sizes import Garment
from meltwick.types import Caught, Ice, Patch, Powder, Recipe, Round, Sector
from meltwick.units import mixed, show_length, show_mass, show_time

_HEAPED = {
    "": "Heap {} of ice on it, {}",
    "level": "Spread {} of ice over it in an even layer, {}",
    "fenced": "Fence it in, so that nothing slides off, and heap {} of ice on it, {}",
    "in a trough": "Lay it in a trough and heap {} of ice over and round it, {}",
}
_ON = {
    "top": "",
    "sides": " on its sides",
    "underneath": " underneath it",
    "all round": " on all its sides",
}

TURNING = "When that ice is gone"
"""How the step begins at which the bundle is turned over."""


def lay(recipe: Recipe, turn: Round, garment: Garment) -> Iterator[str]:
    """Say how the bundle is put to rest, and what is laid on it in which order."""
    tilt = f"tilted {degrees(turn.incline):.3g}°" if turn.incline > 0.0 else "level"
    if turn.tub:
        wide = show_length(sqrt(4.0 * turn.tub / pi))
        yield (
            f"Stand it in a {turn.rest_on} {wide} wide{standing(turn, garment)}, {tilt}: the melt "
            "water stays in it, and what it covers turns muddy."
        )
    else:
        yield f"Rest it on a {turn.rest_on}{standing(turn, garment)}, {tilt}."
    for piece in turn.beside:
        yield (
            f"Lay {piece.name} beside it, folded, tied and powdered as its own plan says; water, "
            "soda, ice, times and wash are this plan's."
        )
    yield from _laid(recipe, turn, False)
    if any(load.turned for load in turn.ice):
        yield f"{TURNING}, turn the bundle over."
        yield from _laid(recipe, turn, True)


def _laid(recipe: Recipe, turn: Round, turned: bool) -> Iterator[str]:
    spoon = {dye.name: dye.spoon for dye in recipe.dyes}
    powders = [powder for powder in turn.powder if powder.turned is turned]
    loads = sorted(
        (load for load in turn.ice if load.turned is turned), key=lambda load: load.after
    )
    for powder in powders:
        if not powder.over_ice:
            yield _sift(powder, spoon)
    if turn.liquor is not None and not turned:
        yield _catch(turn.liquor)
    for load in loads:
        yield _heap(load, loads[0].after)
    for powder in powders:
        if powder.over_ice:
            yield _sift(powder, spoon)


def _catch(caught: Caught) -> str:
    part = "" if caught.share > 0.995 else f"{round(100 * caught.share)} % of "
    name = caught.recipe.name
    if caught.seconds:
        return (
            f"Pour {part}what was caught below {name} over it, bit by bit, for "
            f"{show_time(caught.seconds)}."
        )
    return f"Set it below {name}, so that {part}what runs off that drips on it."


def _heap(load: Ice, first: float) -> str:
    said = _HEAPED[load.heap].format(show_mass(load.mass), load.kind)
    if load.after > first:
        return f"After {show_time(load.after - first)}: {said[0].lower()}{said[1:]}."
    return f"{said}."


def _sift(powder: Powder, spoon: dict[str, float]) -> str:
    level = level_spoons(powder.mass / spoon.get(powder.dye, 2.5e-3))
    return (
        f"Sift {show_mass(powder.mass)} of {powder.dye} (about {level})"
        f"{_ON[powder.side]} {_where(powder)}."
    )


def _where(powder: Powder) -> str:
    place = powder.place
    if isinstance(place, Sector):
        count = round(1.0 / (place.last - place.first))
        return (
            f"on slice {round(place.last * count)} of {count}, counted from the high end as a "
            "clock's hands go"
        )
    if isinstance(place, Patch):
        side = "right" if place.right >= 0.0 else "left"
        off = f", {show_length(abs(place.right))} {side} of its middle" if place.right else ""
        return (
            f"on a patch {show_length(2.0 * place.radius)} wide, {round(100 * place.up)} % of the "
            f"way up{off}"
        )
    return _zone(powder.zone)


def _zone(zone: tuple[float, float]) -> str:
    low, high = zone
    if high - low > 0.9:
        return "all over it"
    middle = (low + high) / 2.0
    place = "the low end" if middle < 1 / 3 else "the high end" if middle > 2 / 3 else "the middle"
    return f"at {place} ({round(100 * low)} to {round(100 * high)} % of the way up)"


def level_spoons(count: float) -> str:
    """Write level teaspoons to the nearest quarter; less than half of one to the nearest eighth."""
    parts = 4 if count >= 0.5 else 8
    spoons = Fraction(round(count * parts), parts)
    if not spoons:
        return "a pinch"
    return f"{mixed(spoons)} level teaspoon{'s' if spoons > 1 else ''}"
