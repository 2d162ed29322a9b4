"""What a piece takes and costs, and what to buy for all of them."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil

from meltwick.advice.laying import level_spoons
from meltwick.advice.sizes import weigh
from meltwick.advice.steps import cloth_words
from meltwick.advice.stringing import string_length
from meltwick.collection.models import PriceTable
from meltwick.collection.reading import Piece
from meltwick.plan import words
from meltwick.types import BandTie, PoleWrap, Round, Stitching, TiedRings, TubeWrap
from meltwick.units import show_inches, show_length, show_mass
from meltwick.worksheet.quantities import measure, soda_cups
from meltwick.worksheet.timeline import steps_of

_MARGIN = 1.1  # a tenth more than is reckoned, for what is spilt; chosen


@dataclass(frozen=True)
class Needs:
    """What one piece takes."""

    blank: str  # its name, for prices
    article: str  # what is bought: blank, size, cloth
    mass: float  # [kg] dry
    dyes: dict[str, float]  # [kg] by name
    soda: float  # [kg]
    ice: float  # [kg]
    string: float  # [m]
    thread: float  # [m]
    bands: int
    poles: dict[str, float]  # outside diameter [m] by name
    hands: float  # [s]


@dataclass(frozen=True)
class Cost:
    """One line of what a piece costs; None where the maker gave no price."""

    what: str
    amount: str
    price: float | None


@dataclass(frozen=True)
class Bought:
    """One line of the shopping list."""

    what: str
    amount: str
    exact: str  # as the recipes add up, without what is spilt
    how: str
    price: float | None


def needs_of(piece: Piece) -> Needs:
    """Add up what all rounds of a piece take."""
    recipe = piece.recipe
    garment = weigh(recipe)
    dyes: dict[str, float] = defaultdict(float)
    poles: dict[str, float] = {}
    string = thread = soda = ice = 0.0
    bands = 0
    for number, turn in enumerate(recipe.rounds, 1):
        for powder in turn.powder:
            dyes[powder.dye] += powder.mass
        soda += turn.soda.mass
        ice += sum(load.mass for load in turn.ice)
        long = string_length(turn, garment, number)
        if isinstance(turn.tie, TiedRings | Stitching):
            thread += long
        else:
            string += long
        bands = max(bands, turn.tie.count if isinstance(turn.tie, BandTie) else 0)
        poles |= poles_of(turn)
    return Needs(
        blank=recipe.blank.name,
        article=f"{recipe.blank.name}, {recipe.blank.size}, {cloth_words(recipe.fabric)}",
        mass=garment.mass,
        dyes=dict(dyes),
        soda=soda,
        ice=ice,
        string=string,
        thread=thread,
        bands=bands,
        poles=poles,
        hands=sum(step.seconds for step in steps_of(recipe) if step.hands),
    )


def poles_of(turn: Round) -> dict[str, float]:
    """Name the poles of a round, by trade name or by size, with their outside diameters [m]."""
    return {
        fold.pole or f"pole {show_length(fold.diameter)}": fold.diameter
        for fold in turn.folds
        if isinstance(fold, PoleWrap | TubeWrap)
    }


def costs_of(needs: Needs, prices: PriceTable, wash: float | None) -> tuple[Cost, ...]:
    """List what a piece costs.

    Parameters
    ----------
    needs : Needs
    prices : PriceTable
        The maker's own; what has no price is listed without one.
    wash : float or None
        Wash loads that fall to the piece: its share of every load it was in.
    """

    def at(price: float | None, amount: float) -> float | None:
        return None if price is None else price * amount

    lines = [Cost("blank", needs.article, prices.of_blank(needs.blank))]
    for name, mass in needs.dyes.items():
        each = prices.of_dye(name)
        lines.append(Cost(name, show_mass(mass), at(each, 1e3 * mass)))
    if needs.soda:
        lines.append(Cost("soda ash", show_mass(needs.soda), at(prices.soda, needs.soda)))
    if needs.ice:
        lines.append(Cost("ice", show_mass(needs.ice), at(prices.ice, needs.ice)))
    long = needs.string + needs.thread
    if long:
        lines.append(Cost("string and thread", show_length(long), at(prices.string, long)))
    if wash is not None:
        lines.append(Cost("wash", f"{wash:.2g} loads", at(prices.wash, wash)))
    lines.append(Cost("hands", _hours(needs.hands), at(prices.hour, needs.hands / 3600.0)))
    if prices.other is not None:
        lines.append(Cost("label, paper, post", "", prices.other))
    return tuple(lines)


def _hours(seconds: float) -> str:
    hours, minutes = divmod(round(seconds / 300.0) * 5, 60)
    return f"{hours} h {minutes:02d} min"


def total(costs: Sequence[Cost]) -> tuple[float, tuple[str, ...]]:
    """Add up what has a price, and name what has none."""
    priced = sum(each.price for each in costs if each.price is not None)
    return priced, tuple(each.what for each in costs if each.price is None)


# ------------------------------------------------------------------------------- shopping


def shopping(
    pieces: Sequence[tuple[Piece, Needs]], prices: PriceTable, loads: int
) -> tuple[Bought, ...]:
    """List what to buy for all pieces, each made as often as its count says.

    Powders, soda and string are a tenth more than the recipes add up to.
    """
    return tuple(_bought(pieces, prices, loads))


def _bought(
    pieces: Sequence[tuple[Piece, Needs]], prices: PriceTable, loads: int
) -> Iterator[Bought]:
    articles: Counter[tuple[str, str]] = Counter()
    dyes: dict[str, float] = defaultdict(float)
    poles: dict[str, float] = {}
    soda = ice = long = thread = 0.0
    bands = 0
    spoons = {dye.name: dye.spoon for piece, _ in pieces for dye in piece.recipe.dyes}
    for piece, needs in pieces:
        count = piece.table.count
        articles[needs.blank, needs.article] += count
        for name, mass in needs.dyes.items():
            dyes[name] += count * mass
        soda, ice = soda + count * needs.soda, ice + count * needs.ice
        long, thread = long + count * needs.string, thread + count * needs.thread
        bands += count * needs.bands
        poles |= needs.poles
    for (blank, article), count in articles.items():
        each = prices.of_blank(blank)
        cost = None if each is None else count * each
        yield Bought(article, str(count), str(count), "one for each piece", cost)
    for name, mass in sorted(dyes.items(), key=lambda each: -each[1]):
        each = prices.of_dye(name)
        more = _MARGIN * mass
        yield Bought(
            f"dye powder, {name}",
            f"{_up(1e3 * more)} g, about {level_spoons(more / spoons.get(name, 2.5e-3))}",
            show_mass(mass),
            "all rounds of all pieces, and a tenth for what is spilt",
            None if each is None else 1e3 * more * each,
        )
    if soda:
        more = _MARGIN * soda
        yield Bought(
            "soda ash",
            f"{show_mass(more)}, {soda_cups(more)}",
            show_mass(soda),
            "a fresh soak for every piece; pieces soaked together take less "
            f"({measure(more / words.SODA_BULK['light'])} of light powder at most)",
            None if prices.soda is None else more * prices.soda,
        )
    if ice:
        yield Bought(
            "ice",
            show_mass(ice),
            show_mass(ice),
            "all loads; the calendar says how much on which day",
            None if prices.ice is None else ice * prices.ice,
        )
    for what, metres in (("string", long), ("thread", thread)):
        if metres:
            up = ceil(_MARGIN * metres)
            cost = None if prices.string is None else up * prices.string
            yield Bought(what, f"{up} m", show_length(metres), "with ends and knots", cost)
    if bands:
        yield Bought("rubber bands", str(bands), str(bands), "they can be used again", None)
    for name, diameter in poles.items():
        size = f"{show_length(diameter)} ({show_inches(diameter)}) across"
        yield Bought(name, "have it at hand", size, "outside diameter", None)
    if loads:
        cost = None if prices.wash is None else loads * prices.wash
        yield Bought(
            "detergent without softener", f"for {loads} hot loads", str(loads), "two a wash", cost
        )


def _up(grams: float) -> str:
    """Round grams up to what a scale shows."""
    step = 0.5 if grams < 20.0 else 5.0
    return f"{step * ceil(grams / step - 1e-9):g}"
