"""What the trade would warn of before a plan is carried out.

Limits come from published ranges where there are any; the rest is common practice and says so
beside the number.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import pi
from typing import Literal

from meltwick.advice.resting import rest_warnings
from meltwick.advice.sizes import (
    Garment,
    Pile,
    girth_of,
    piles,
    pleats_of,
    rosettes_of,
    weigh,
)
from meltwick.advice.tying import tie_warnings
from meltwick.advice.unsplit import unsplit_dyes
from meltwick.colour.spectra import undyed
from meltwick.folding import most_turns
from meltwick.folding.rope import most_turns as rope_turns
from meltwick.folding.rope import section_of
from meltwick.types import (
    Accordion,
    Clamps,
    PoleWrap,
    Powder,
    Recipe,
    Rope,
    Rosettes,
    Round,
    Scrunch,
    Spiral,
    Stitching,
    TiedRings,
    TubeWrap,
)
from meltwick.units import show_length, show_mass, show_temperature, show_time

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
_FEW_PLEATS = 2.5  # fewer make no zigzag; chosen
_FEW_ROSETTES = 3  # fewer are a spiral with company; chosen
_THICK = 0.25  # of a pleat: a pile thicker than that folds no narrower; chosen
_SQUEEZE_HARD = 5.0  # more than hands push; common practice, no source


@dataclass(frozen=True)
class Advice:
    """One thing to know before starting."""

    level: Literal["note", "warning"]
    key: str  # the plan's key that it is about, such as round.1.ice
    text: str


def advise(recipe: Recipe) -> tuple[Advice, ...]:
    """List what the trade would warn of in a plan; the cautions always come last.

    Parameters
    ----------
    recipe : Recipe
        The plan, resolved.
    """
    garment = weigh(recipe)
    found: list[Advice] = list(_fibre(recipe))
    found += [Advice("warning", *each) for each in unsplit_dyes(recipe)]
    for number, turn in enumerate(recipe.rounds, start=1):
        where = f"round.{number}"
        found += _folds(turn, garment, where)
        found += [Advice("warning", *each) for each in tie_warnings(turn, garment, number)]
        found += _powder(recipe, turn, garment, where)
        found += _ice(recipe, turn, garment, where)
        found += _soda(turn, where)
        found += [
            Advice("warning", key, said) for key, said in rest_warnings(turn, garment, number)
        ]
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
    if (fabric.ground or fabric.ground_colour) and float(undyed(fabric).mean()) < 0.35:
        word = fabric.ground_name if fabric.ground_name != "undyed" else "dark"
        at = key if fabric.ground else "garment.ground"
        yield Advice("warning", at, f"On a {word} ground this dye will hardly show.")


def _folds(turn: Round, garment: Garment, where: str) -> Iterator[Advice]:
    if not turn.folds and not isinstance(turn.tie, Clamps | TiedRings | Stitching):
        yield Advice(
            "note", f"{where}.fold", "Nothing is folded, so little but the ice makes the pattern."
        )
    for number, (fold, pile) in enumerate(piles(turn, garment), start=1):
        key = f"{where}.fold.{number}"
        if isinstance(fold, PoleWrap):
            yield from _pole(fold, pile, key)
        elif isinstance(fold, TubeWrap):
            yield from _tube(fold, pile, garment, key)
        elif isinstance(fold, Accordion):
            yield from _accordion(fold, pile, garment.thickness, key)
        elif isinstance(fold, Spiral):
            yield from _spiral(fold, pile, garment, key)
        elif isinstance(fold, Rope):
            yield from _rope(fold, pile, garment.thickness, key)
        elif isinstance(fold, Scrunch):
            yield from _scrunch(fold, pile, garment.thickness, key)
        elif isinstance(fold, Rosettes) and rosettes_of(fold, pile) < _FEW_ROSETTES:
            yield Advice(
                "warning",
                f"{key}.spacing",
                f"Pinches {show_length(fold.spacing)} apart make hardly more than one spiral of "
                "this cloth. Pinch it closer.",
            )


def _pole(fold: PoleWrap, pile: Pile, key: str) -> Iterator[Advice]:
    across, along = pile.extent(fold.bias, fold.lean)
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


def _tube(fold: TubeWrap, pile: Pile, garment: Garment, key: str) -> Iterator[Advice]:
    cloth, round_it = girth_of(garment), pi * fold.diameter
    if round_it > cloth:
        yield Advice(
            "warning",
            key,
            f"The pole is {show_length(round_it)} round and the tube only {show_length(cloth)}: it "
            "will not go over. Take a thinner pole.",
        )
    if fold.squeeze > _SQUEEZE_HARD:
        long = pile.extent()[1]
        yield Advice(
            "warning",
            key,
            f"Pushing {show_length(long)} of cloth to {show_length(long / fold.squeeze)} is more "
            "than hands manage: 2 to 4 times is usual.",
        )


def _accordion(fold: Accordion, pile: Pile, thickness: float, key: str) -> Iterator[Advice]:
    across, _ = pile.extent(fold.angle, fold.lean)
    pleats = across / fold.pleat
    if pleats_of(fold, across) == 1:
        yield Advice(
            "warning",
            key,
            f"A pleat {show_length(fold.pleat)} wide takes in all of the {show_length(across)} "
            "of cloth: nothing is folded. Take narrower pleats.",
        )
        return
    if pleats < _FEW_PLEATS:
        yield Advice(
            "warning",
            key,
            f"Pleats {show_length(fold.pleat)} wide in {show_length(across)} of cloth are only "
            f"{pleats:.2g}: hardly an accordion. Take narrower pleats.",
        )
    thick = pile.layers * thickness
    if thick > _THICK * fold.pleat:
        yield Advice(
            "warning",
            key,
            f"The cloth lies {pile.layers} layers thick, {show_length(thick)}, and will not fold "
            f"into pleats {show_length(fold.pleat)} wide. Take wider pleats.",
        )


def _spiral(fold: Spiral, pile: Pile, garment: Garment, key: str) -> Iterator[Advice]:
    most = most_turns(fold, pile.layers, pile.reach, garment.thickness)
    if fold.turns > most:
        yield Advice(
            "warning",
            f"{key}.turns",
            f"Cloth this thick turns about {most:.2g} times in a disc "
            f"{show_length(fold.height)} tall, not {fold.turns:.2g}: it is reckoned as turned that "
            "far. Let the disc stand taller, or turn it less.",
        )


def _rope(fold: Rope, pile: Pile, thickness: float, key: str) -> Iterator[Advice]:
    across, along = pile.extent(fold.angle)
    wide, tall = section_of(fold, across, pile.layers, thickness)
    most = rope_turns(wide, tall, along)
    if fold.turns > most:
        yield Advice(
            "warning",
            f"{key}.turns",
            f"A bundle {show_length(along)} long and about {show_length(wide)} by "
            f"{show_length(tall)} thick can be turned about {most:.2g} times, not "
            f"{fold.turns:.2g}: it is reckoned as turned that far.",
        )
    if fold.gather and tall > 3.0 * wide:
        yield Advice(
            "warning",
            f"{key}.width",
            f"Gathered {show_length(wide)} wide it would stand {show_length(tall)} tall, and "
            "fall over. Gather it wider, or leave width out.",
        )


def _scrunch(fold: Scrunch, pile: Pile, thickness: float, key: str) -> Iterator[Advice]:
    wide = min(pile.extent())
    if fold.bump > 0.3 * wide / fold.draw:
        yield Advice(
            "warning",
            f"{key}.bump",
            f"A mound about {show_length(wide / fold.draw)} wide has no room for bumps that take "
            f"up {show_length(fold.bump)}: they are reckoned smaller.",
        )
    thick = pile.layers * fold.draw * thickness
    if thick > _THICK * fold.bump:
        yield Advice(
            "warning",
            f"{key}.bump",
            f"Cloth this thick, {pile.layers} layers before it is drawn together, will not bend "
            f"into bumps of {show_length(fold.bump)}. Make them larger.",
        )


def _powder(recipe: Recipe, turn: Round, garment: Garment, where: str) -> Iterator[Advice]:
    key = f"{where}.dye"
    mass = sum(powder.mass for powder in turn.powder)
    fibre = garment.mass * recipe.fabric.dyeable_share
    if mass <= 0.0:
        if turn.liquor is None:
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


def _ice(recipe: Recipe, turn: Round, garment: Garment, where: str) -> Iterator[Advice]:
    key = f"{where}.ice"
    mass = sum(load.mass for load in turn.ice)
    cloth = garment.mass + sum(weigh(piece).mass for piece in turn.beside)
    ratio = mass / cloth
    solubility = {dye.name: dye.solubility for dye in recipe.dyes}
    # Water that the powder needs [kg] if a sixth of the melt passes it (chosen).
    need = 6.0 * sum(1e3 * powder.mass / solubility.get(powder.dye, 70.0) for powder in turn.powder)
    if turn.liquor is not None:
        pass  # another piece's water comes too
    elif mass <= 0.0:
        yield Advice("warning", key, "There is no ice, so no water carries the dye.")
    elif ratio < _ICE_LITTLE or mass < need:
        yield Advice(
            "warning",
            key,
            f"{show_mass(mass)} of ice is little for this cloth and its powder: some may stay "
            "undissolved and spot the white at rinsing. Take "
            f"{show_mass(max(need, _ICE_USUAL * cloth))} or more.",
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
    elif turn.soda.how in ("sprinkled", "with the dye"):
        yield Advice(
            "note",
            key,
            "Soda ash laid on dry reaches the inside only as far as the melt carries it.",
        )
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
