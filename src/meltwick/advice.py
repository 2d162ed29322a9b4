"""What a plan will do, step by step, and what the trade would warn of before it is done.

Limits come from published ranges where there are any; the rest is common practice and says so
beside the number.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import cos, degrees, pi, sin
from typing import Literal

from meltwick.cloth import build_cloth
from meltwick.types import Halve, PoleWrap, Powder, Recipe, Round
from meltwick.units import show_inches, show_length, show_mass, show_temperature, show_time

# Soda ash in the soak: half to one US cup to a US gallon (common practice, no source) of light
# soda ash, 118 to 166 g a cup (bulk density of makers' data sheets), is 16 to 44 g/L.
_SODA_WEAK, _SODA_STRONG = 10.0, 60.0  # [kg/m3], a margin about that range
_SODA_HARD = 70.0  # [kg/m3] dissolves at 0 degC (dealers' solubility tables)
# Six to eight US cups of ice for a shirt (common practice, no source): 5 to 7 times its mass.
_ICE_LITTLE, _ICE_USUAL, _ICE_MUCH = 3.0, 6.0, 14.0  # [kg/kg]
# Depth of shade, % of fibre mass: pale from 0.1, dark to 4 (lab recipes). About a third of what
# is laid under ice is fixed (chosen), so three times that in the jar.
_DEPTH_LOW, _DEPTH_HIGH = 0.3, 12.0  # [%]
# 24 to 48 h at about 20 degC (common practice, no source); fixing runs 2.7 times faster for each
# 10 K (75 kJ/mol, from memory), so other temperatures are turned into hours at 20 degC.
_BATCH_SHORT, _BATCH_LONG, _PER_TEN_KELVIN = 12.0, 96.0, 2.7  # [h], [h], [-]
_WARM, _COLD = 301.0, 283.0  # [K] a room that melts fast and muddies, or slowly (common practice)
_DARKER = 0.2  # difference of darkness (0 light .. 1 dark) that muddies; chosen
_TILTED = 0.035  # [rad] about 2 degrees: less hardly steers the dye; chosen
_SQUEEZE_HARD = 5.0  # more than hands push; common practice, no source
_COARSE = 0.01  # [m] enough to weigh the cloth


@dataclass(frozen=True)
class Advice:
    """One thing to know before starting."""

    level: Literal["note", "warning"]
    key: str  # the plan's key that it is about, such as round.1.ice
    text: str


@dataclass(frozen=True)
class _Garment:
    mass: float  # [kg]
    width: float  # [m] across, sleeves included
    length: float  # [m]


def _weigh(recipe: Recipe) -> _Garment:
    cloth = build_cloth(recipe.blank, recipe.fabric, _COARSE)
    bounds = [panel.outline.bounds for panel in cloth.panels]
    return _Garment(
        mass=float(cloth.mass_per_area.sum()) * _COARSE**2,
        width=(max(b[2] for b in bounds) - min(b[0] for b in bounds)) / 1e3,
        length=(max(b[3] for b in bounds) - min(b[1] for b in bounds)) / 1e3,
    )


def advise(recipe: Recipe) -> tuple[Advice, ...]:
    """List what the trade would warn of in a plan; the cautions always come last.

    Parameters
    ----------
    recipe : Recipe
        The plan, resolved.
    """
    garment = _weigh(recipe)
    found: list[Advice] = list(_fibre(recipe))
    for number, turn in enumerate(recipe.rounds, start=1):
        where = f"round.{number}"
        found += _pole(turn, garment, where)
        found += _powder(recipe, turn, garment, where)
        found += _ice(recipe, turn, garment, where)
        found += _soda(turn, where)
        found += _time(turn, where)
    found.append(
        Advice(
            "note",
            "care",
            "Dye powder harms the lungs and soda ash the eyes: wear a dust mask, gloves and "
            "goggles, keep out draughts, food, children and pets, and wipe up wet. The labels of "
            "what you buy and your local rules come first.",
        )
    )
    return tuple(found)


def _fibre(recipe: Recipe) -> Iterator[Advice]:
    fabric, key = recipe.fabric, "garment.fabric"
    if fabric.dyeable_share <= 0.0 or fabric.uptake <= 0.0:
        yield Advice("warning", key, f"{fabric.name} takes none of this dye: it will wash out.")
    elif fabric.dyeable_share < 0.9:
        share = round(100 * fabric.dyeable_share)
        yield Advice(
            "warning",
            key,
            f"Only {share} % of {fabric.name} takes this dye, so colours come out heathered "
            "and paler.",
        )
    if not fabric.scoured:
        yield Advice("note", key, f"{fabric.name} is not scoured: it wets, and dyes, in patches.")
    if fabric.ground and sum(fabric.ground) / len(fabric.ground) < 0.35:
        yield Advice("warning", key, f"On a {fabric.ground_name} ground this dye will hardly show.")


def _folded(turn: Round, garment: _Garment) -> Iterator[tuple[PoleWrap, float, float]]:
    """Each pole wrap with the cloth's length across and along the pole [m]."""
    wide, long = garment.width, garment.length
    for fold in turn.folds:
        if isinstance(fold, Halve):
            if fold.line == "spine":
                wide /= 2.0
            else:
                long /= 2.0
        else:
            c, s = abs(cos(fold.bias)), abs(sin(fold.bias))
            yield fold, wide * c + long * s, long * c + wide * s


def _pole(turn: Round, garment: _Garment, where: str) -> Iterator[Advice]:
    key = f"{where}.fold"
    if not turn.folds:
        yield Advice("note", key, "Nothing is folded, so little but the ice makes the pattern.")
    if turn.folds and turn.tie is None:
        yield Advice("warning", f"{where}.tie", "Nothing holds the folds: they will open.")
    for fold, across, along in _folded(turn, garment):
        round_it = pi * fold.diameter
        if round_it > across:
            yield Advice(
                "warning",
                key,
                f"The pole is {show_length(round_it)} round and the cloth only "
                f"{show_length(across)} across: it will not go round once. Take a thinner pole.",
            )
        if fold.squeeze > _SQUEEZE_HARD:
            yield Advice(
                "warning",
                key,
                f"Pushing {show_length(along)} of cloth to {show_length(along / fold.squeeze)} is "
                "more than hands manage: 2 to 4 times is usual.",
            )
        if turn.tie is not None and along / fold.squeeze < 3.0 * turn.tie.spacing:
            yield Advice(
                "warning",
                f"{where}.tie.spacing",
                f"Pushed together the cloth is {show_length(along / fold.squeeze)} long, so string "
                f"every {show_length(turn.tie.spacing)} goes round fewer than three times.",
            )


def _powder(recipe: Recipe, turn: Round, garment: _Garment, where: str) -> Iterator[Advice]:
    key = f"{where}.dye"
    mass = sum(powder.mass for powder in turn.powder)
    fibre = garment.mass * recipe.fabric.dyeable_share
    if mass <= 0.0:
        yield Advice("warning", key, "No dye is laid.")
        return
    if turn.incline > _TILTED and (pair := _darkest_above(recipe, turn.powder)):
        high, low = pair
        yield Advice(
            "warning",
            key,
            f"{high} lies higher than {low} and runs down over it: it will muddy. "
            "Light colours go high, dark ones low.",
        )
    depth = 100.0 * mass / fibre if fibre > 0.0 else 0.0
    if fibre > 0.0 and depth < _DEPTH_LOW:
        yield Advice(
            "warning",
            key,
            f"{show_mass(mass)} of dye is {depth:.2g} % of the cloth: expect a very pale piece.",
        )
    if depth > _DEPTH_HIGH:
        yield Advice(
            "warning",
            key,
            f"{show_mass(mass)} of dye is {depth:.2g} % of the cloth, more than it can hold: "
            "much of it will only wash out.",
        )


def _darkest_above(recipe: Recipe, laid: tuple[Powder, ...]) -> tuple[str, str] | None:
    """Find the two dyes of which the higher is darkest against the lower, if it is much darker."""
    dark = {dye.name: dye.dark for dye in recipe.dyes}
    worst, pair = _DARKER, None
    for high in laid:
        for low in laid:
            step = dark.get(high.dye, 0.5) - dark.get(low.dye, 0.5)
            if sum(high.zone) > sum(low.zone) and step >= worst:
                worst, pair = step, (high.dye, low.dye)
    return pair


def _ice(recipe: Recipe, turn: Round, garment: _Garment, where: str) -> Iterator[Advice]:
    key = f"{where}.ice"
    mass = sum(load.mass for load in turn.ice)
    ratio = mass / garment.mass
    solubility = {dye.name: dye.solubility for dye in recipe.dyes}
    # Water that the powder needs [kg] if a sixth of the melt passes it (chosen).
    need = 6.0 * sum(1e3 * powder.mass / solubility.get(powder.dye, 70.0) for powder in turn.powder)
    if mass <= 0.0:
        yield Advice("warning", key, "There is no ice, so no water carries the dye.")
    elif ratio < _ICE_LITTLE or mass < need:
        yield Advice(
            "warning",
            key,
            f"{show_mass(mass)} of ice is little for this cloth and its powder: some may stay "
            "undissolved and spot the white at rinsing. Take "
            f"{show_mass(max(need, _ICE_USUAL * garment.mass))} or more.",
        )
    elif ratio > _ICE_MUCH:
        yield Advice(
            "warning",
            key,
            f"{show_mass(mass)} of ice is a lot for this cloth: it carries dye off and pales.",
        )
    if turn.room > _WARM:
        yield Advice(
            "note",
            f"{where}.rest.room",
            f"At {show_temperature(turn.room)} the ice goes fast and colours muddy.",
        )
    elif turn.room < _COLD:
        yield Advice(
            "note",
            f"{where}.rest.room",
            f"At {show_temperature(turn.room)} the ice goes slowly; expect soft edges.",
        )


def _soda(turn: Round, where: str) -> Iterator[Advice]:
    key, strength = f"{where}.soda", turn.soda.strength
    if strength <= 0.0:
        yield Advice("warning", key, "Without soda ash almost no colour stays after washing.")
    elif strength < _SODA_WEAK:
        yield Advice(
            "warning",
            key,
            f"{strength:.2g} g of soda ash to the litre is weak: half to one cup to a gallon "
            "(16 to 44 g/L) is usual.",
        )
    elif strength > _SODA_HARD:
        yield Advice(
            "warning",
            key,
            f"{strength:.3g} g of soda ash to the litre is more than ice-cold water holds: it will "
            "crystallise in the cloth.",
        )
    elif strength > _SODA_STRONG:
        yield Advice(
            "note", key, f"{strength:.2g} g of soda ash to the litre is strong and gains little."
        )


def _time(turn: Round, where: str) -> Iterator[Advice]:
    key = f"{where}.batch"
    hours = turn.batch_time / 3600.0
    like = hours * _PER_TEN_KELVIN ** ((turn.batch_temperature - 293.15) / 10.0)
    said = f"{show_time(turn.batch_time)} at {show_temperature(turn.batch_temperature)}"
    if like < _BATCH_SHORT:
        yield Advice(
            "warning",
            key,
            f"{said} fixes no more than {max(like, 0.1):.2g} h would at 20 °C: leave it longer or "
            "warmer, counted from when the ice is gone. 24 to 48 h at 20 °C are usual.",
        )
    elif like > _BATCH_LONG:
        yield Advice("note", key, f"{said} gains little beyond a day or two at 20 °C.")
    if turn.batch_cover == "open" and hours > 12.0:
        yield Advice("note", key, "Left open it may dry, and dry cloth fixes no more: wrap it.")
    if turn.wash == "hurried":
        yield Advice(
            "warning",
            f"{where}.wash",
            "A hurried wash lets loose dye back on to the white: rinse cold until it runs clear, "
            "then wash hot.",
        )


# ------------------------------------------------------------------------ steps in words


def describe(recipe: Recipe) -> list[str]:
    """Say what a maker following the plan will do, one step a line."""
    garment = _weigh(recipe)
    blank, fabric = recipe.blank, recipe.fabric
    steps = [
        f"Take a {blank.name}, size {blank.size}, of {fabric.name}: about "
        f"{show_mass(garment.mass)} dry."
    ]
    for number, turn in enumerate(recipe.rounds, start=1):
        lines = list(_wet(recipe, turn))
        lines += [*_fold_and_tie(turn), *_lay(recipe, turn), *_wait(turn)]
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


def _fold_and_tie(turn: Round) -> Iterator[str]:
    for fold in turn.folds:
        if isinstance(fold, Halve):
            yield f"Fold it in half along the {fold.line}, the {fold.moves} over the other side."
            continue
        yield (
            f"Lay a pole {_both(fold.diameter)} thick at {degrees(fold.bias):.3g}° to the "
            f"garment's length, leaning {fold.lean}, and roll the cloth on from the "
            f"{fold.starts_at}."
        )
        yield f"Push it together along the pole, {fold.squeeze:.2g} times shorter."
    if turn.tie is not None:
        yield (
            f"Wind string {show_length(turn.tie.thickness)} thick round it every "
            f"{_both(turn.tie.spacing)}, pulled at about {turn.tie.pull:.2g} N "
            f"({turn.tie.pull / 9.80665:.2g} kg)."
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
    yield f"Rest it on a {turn.rest_on}, tilted {degrees(turn.incline):.3g}°."

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
