"""What to gather for a plan, how much of each, and how each number was got."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, pi, sqrt

from meltwick.advice.laying import level_spoons
from meltwick.advice.sizes import Garment, bundle_length, weigh
from meltwick.advice.steps import cloth_words, piece_words
from meltwick.advice.stringing import string_length
from meltwick.plan import words
from meltwick.seep.chemistry import hydroxide
from meltwick.types import (
    BandTie,
    Clamps,
    PoleWrap,
    Recipe,
    Round,
    Soda,
    Stitching,
    StringTie,
    TiedRings,
    TubeWrap,
)
from meltwick.units import (
    GALLON,
    mixed,
    show_inches,
    show_length,
    show_mass,
    show_volume,
)

CUP = float(GALLON / 16)  # [m3] US, 236.6 mL (NIST Handbook 44, appendix C)
_SOAK = 10.0  # [L/kg] water that covers cloth: liquor ratio 1 : 10 (worked example of a lecture)
_SPARE_POLE = 0.1  # [m] of pole beyond each end of the bundle, to hold it by; chosen
_SPARE_PIECE = 0.05  # of string, for a second try; chosen


@dataclass(frozen=True)
class Item:
    """One thing to have at hand."""

    what: str
    amount: str  # as the scale or the measure shows it; empty where there is none
    how: str  # how the number was got


@dataclass(frozen=True)
class Gathering:
    """Things that belong together."""

    title: str
    items: tuple[Item, ...]


def gather(recipe: Recipe) -> tuple[Gathering, ...]:
    """List what a plan needs: the cloth, what each round takes, and what guards the hands.

    Parameters
    ----------
    recipe : Recipe
        The plan, resolved.

    Raises
    ------
    PlanError
        When something is to be pinched where there is no cloth.
    """
    garment = weigh(recipe)
    groups = [Gathering("The piece", tuple(_piece(recipe, garment)))]
    for number, turn in enumerate(recipe.rounds, 1):
        title = f"Round {number}" if len(recipe.rounds) > 1 else "Fold, dye and ice"
        items = (
            *_holding(turn, garment, number),
            *_soda(turn.soda, garment.mass),
            *_dyes(recipe, turn, garment),
            *_ice(turn, garment),
            *_resting(turn),
        )
        groups.append(Gathering(title, items))
    groups.append(Gathering("For the wash and for you", tuple(_always(garment))))
    return tuple(groups)


def _piece(recipe: Recipe, garment: Garment) -> Iterator[Item]:
    fabric = recipe.fabric
    yield Item(
        f"{piece_words(recipe.blank).rstrip(',')}, {cloth_words(fabric)}".replace(",,", ","),
        f"{show_mass(garment.mass)} dry",
        f"{garment.area:.2f} m² of cloth, hems and ribs counted as thicker, at "
        f"{1e3 * fabric.mass_per_area:.0f} g/m². Weigh yours: the dye goes by weight.",
    )
    for piece in {each.name: each for turn in recipe.rounds for each in turn.beside}.values():
        yield Item(f"{piece.name}, beside it", "", "has a sheet of its own, from its own plan")


# ------------------------------------------------------------------------------- dye


def _dyes(recipe: Recipe, turn: Round, garment: Garment) -> Iterator[Item]:
    spoon = {dye.name: dye.spoon for dye in recipe.dyes}
    known = {dye.name: dye.splitting_known for dye in recipe.dyes}
    total = sum(powder.mass for powder in turn.powder)
    for name in dict.fromkeys(powder.dye for powder in turn.powder):
        mass = sum(powder.mass for powder in turn.powder if powder.dye == name)
        per = spoon.get(name, 2.5e-3)
        split = "" if known.get(name, True) else " How it splits is not known."
        yield Item(
            f"dye powder, {name}",
            f"{show_mass(mass)}, about {level_spoons(mass / per)}",
            f"{depth(mass, garment.mass)} of the cloth's weight; a level teaspoon of it holds "
            f"{show_mass(per)}, so weigh it if you can.{split}",
        )
    if total > 0.0 and len({powder.dye for powder in turn.powder}) > 1:
        share = shade(total, garment.mass)
        yield Item(
            "dye in all",
            show_mass(total),
            f"{depth(total, garment.mass)} of the cloth's weight, {depth_word(share)} if all of it "
            "fixed; under ice about a third does.",
        )


def shade(dye: float, cloth: float) -> float:
    """Depth of shade [% of the cloth's mass]: mass of dye over mass of fabric, times 100."""
    return 100.0 * dye / cloth


def depth_word(share: float) -> str:
    """Name a depth of shade [%]: dyers' recipes call 0.5 pale, 1.5 medium and 4 dark."""
    return next((word for most, word in ((0.5, "pale"), (2.0, "medium")) if share <= most), "dark")


def depth(dye: float, cloth: float) -> str:
    """Write a depth of shade with the division that gives it: 2.2 g of 139 g, 1.6 %."""
    return f"{show_mass(dye)} on {show_mass(cloth)}, {shade(dye, cloth):.2g} %"


# ------------------------------------------------------------------------------- soda


def _soda(soda: Soda, cloth: float) -> Iterator[Item]:
    if soda.strength <= 0.0:
        return
    if soda.how in words.SODA_DRY:
        yield Item(
            "soda ash", f"{show_mass(soda.mass)}, {soda_cups(soda.mass)}", "as the plan says"
        )
        return
    alkali = hydroxide(soda.strength, words.CELSIUS + 20.0)
    yield Item(
        "soda ash for the soak",
        f"{show_mass(soda.mass)}, {soda_cups(soda.mass)}",
        f"{soda.strength:.3g} g to the litre: at 20 °C about {alkali:.2g} mmol of OH⁻ to the "
        "litre (reckoned with PHREEQC), which is what fixes the dye",
    )
    yield Item(
        "water for the soak",
        f"{show_volume(soda.water)}, {gallons(soda.water)}",
        f"as the plan says: {soda.water * 1e3 / cloth:.0f} litres to a kilogram of cloth"
        if cloth > 0.0
        else "as the plan says",
    )
    least = _SOAK * cloth * 1e-3  # [m3]
    if soda.water > 1.25 * least:
        mass = soda.strength * least
        yield Item(
            "or, for this piece alone",
            f"{show_volume(least)} with {show_mass(mass)}, {soda_cups(mass)}",
            f"the same strength in {_SOAK:g} litres to a kilogram, which just covers it",
        )


def soda_cups(mass: float) -> str:
    """Write soda ash by the cup or the spoon, light and dense."""
    light, dense = (measure(mass / words.SODA_BULK[kind]) for kind in ("light", "dense"))
    return f"{light} of light or {dense} of dense"


def measure(volume: float) -> str:
    """Write a dry volume [m3] in US cups, tablespoons or level teaspoons."""
    if volume >= 0.24 * CUP:
        return f"{_mixed(volume / CUP, 8)} cup{'s' if volume > 1.06 * CUP else ''}"
    if volume >= 0.9 * CUP / 16:
        return f"{_mixed(16 * volume / CUP, 2)} tbsp"
    return f"{_mixed(48 * volume / CUP, 4)} tsp"


def _mixed(count: float, part: int) -> str:
    """Write a number to the nearest half, quarter or eighth; never less than one part."""
    return mixed(Fraction(max(1, round(count * part)), part))


def gallons(volume: float) -> str:
    """Write a volume of water [m3] in US gallons or cups."""
    if volume < 0.9 * float(GALLON) / 4:
        return f"{_mixed(volume / CUP, 4)} cups"
    return f"{volume / float(GALLON):.2g} gal"


# ------------------------------------------------------------------------------- ice, ties, rest


def _ice(turn: Round, garment: Garment) -> Iterator[Item]:
    if not turn.ice:
        return
    cloth = garment.mass + sum(weigh(piece).mass for piece in turn.beside)
    mass = sum(load.mass for load in turn.ice)
    kinds = {load.kind for load in turn.ice}
    bulk = words.ICE_BULK[turn.ice[0].kind]
    loads = f" in {len(turn.ice)} loads" if len(turn.ice) > 1 else ""
    yield Item(
        f"ice, {' and '.join(sorted(kinds))}",
        f"{show_mass(mass)}{loads}, about {mass / bulk / CUP:.0f} US cups",
        f"{mass / cloth:.1f} times the weight of the cloth under it; a cup holds "
        f"{show_mass(bulk * CUP)}",
    )


def _holding(turn: Round, garment: Garment, number: int) -> Iterator[Item]:
    for fold in turn.folds:
        if isinstance(fold, PoleWrap | TubeWrap):
            long = bundle_length(turn, garment, number) + 2.0 * _SPARE_POLE
            name = fold.pole or "pole"
            yield Item(
                name,
                f"{show_length(fold.diameter)} ({show_inches(fold.diameter)}) across, at least "
                f"{show_length(long)} long",
                "the bundle's length, and a hand's breadth at each end",
            )
    tie = turn.tie
    if isinstance(tie, StringTie | TiedRings | Stitching):
        long = string_length(turn, garment, number) * (1.0 + _SPARE_PIECE)
        sewn = not isinstance(tie, StringTie)
        yield Item(
            "thread" if sewn else "string",
            f"{_cut(long)} of {show_length(tie.thickness)}",
            "measured on the model's bundle, ends, knots and a twentieth to spare included",
        )
    elif isinstance(tie, BandTie):
        yield Item("bands", f"{tie.count}, {show_length(tie.width)} wide", "as the plan says")
    elif isinstance(tie, Clamps):
        yield Item(
            f"plates, {tie.shape}",
            f"2, {show_length(tie.size)}, and clamps",
            f"as the plan says; press with about {tie.force:.0f} N",
        )
    if isinstance(tie, TiedRings) and tie.capped:
        yield Item("film to cap the peaks", "", "as the plan says")


def _cut(metres: float) -> str:
    """Write a length to cut, up to the next tenth of a metre, and in feet."""
    up = ceil(metres * 10.0 - 1e-9) / 10.0
    return f"{up:.1f} m ({ceil(up / 0.3048 - 1e-9)} ft)"


def _resting(turn: Round) -> Iterator[Item]:
    if turn.tub:
        wide = show_length(sqrt(4.0 * turn.tub / pi))
        yield Item(f"{turn.rest_on} to stand it in", f"{wide} across", "as the plan says")
    else:
        yield Item(f"{turn.rest_on} over a tray", "", "the melt drips off and is poured away")
    if turn.batch_cover == "wrapped":
        yield Item("film or a bag to wrap it", "", "so that it stays wet while it fixes")


def _always(garment: Garment) -> Iterator[Item]:
    yield Item(
        "detergent without softener",
        "for two hot washes",
        f"as its label says for {show_mass(garment.mass)} of cotton",
    )
    yield Item("dust mask, gloves, goggles, apron", "", "before a jar is opened")
    yield Item("scale, sieve, spoons, bucket", "", "never again used for food")
    yield Item("wet cloths", "", "to wipe up powder; a brush would raise it")
