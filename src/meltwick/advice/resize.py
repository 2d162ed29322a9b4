"""The same recipe on another size of the blank: what is weighed and measured goes by the cloth."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from meltwick.advice.lengths import repeated
from meltwick.advice.measuring import measured
from meltwick.advice.sizes import weigh
from meltwick.cloth import coarse_cloth
from meltwick.errors import PlanError
from meltwick.plan import plan_from_text, resolve, words
from meltwick.plan.varying import with_values
from meltwick.stock.reading import choices
from meltwick.types import Patch, Powder
from meltwick.units import parse, parse_one_of, show_mass, shown

if TYPE_CHECKING:
    from meltwick.plan import Plan
    from meltwick.plan.models import RoundTable
    from meltwick.stock import Stock
    from meltwick.types import Recipe, Round

KEEP = ("width", "count")
MOVED = 0.1  # share by which rounding may move a depth of shade unsaid
_PITCH = 2e-3  # [m] at which hems are told from single cloth
_CHILD = "child "
_SODA, _WATER = "1/2 cup", "1 gal"  # of a soak, where a plan names none


@dataclass(frozen=True)
class Change:
    """One amount or length, before and after."""

    what: str
    old: str
    new: str
    more: str = ""  # what it comes to


@dataclass(frozen=True)
class Shade:
    """One powder, before and after, and how deep it dyes."""

    what: str
    old: str
    new: str
    before: float  # depth of shade [% of the cloth's mass]
    after: float

    @property
    def moved(self) -> float:
        """How far the depth of shade moved, as a share of what it was."""
        return self.after / self.before - 1.0


@dataclass
class _Tally:
    """What is found on the way."""

    values: dict[str, str] = field(default_factory=dict)  # for `with_values`
    changes: list[Change] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def set(self, key: str, what: str, old: str, new: str, more: str = "") -> None:
        """Take down what is written anew."""
        if new != old:
            self.values[key] = json.dumps(new, ensure_ascii=False)
            self.changes.append(Change(what, old, new, more))


@dataclass(frozen=True)
class Resized:
    """A plan for another size."""

    text: str  # the plan file, but for its name
    size: str  # as told: child 6
    masses: tuple[float, float]  # [kg] of the dry piece, before and after
    shades: tuple[Shade, ...]
    changes: tuple[Change, ...]  # all else
    notes: tuple[str, ...]


# ------------------------------------------------------------------------------- the size


def sizes_of(plan: Plan, stock: Stock) -> dict[str, tuple[str, str]]:
    """List what a plan's blank may be had in: blank and size by the words for it.

    A child's sizes belong to the grown-ups' blank of that name, and the other way round.

    Raises
    ------
    PlanError
        For a piece of the maker's own outline.
    """
    if plan.garment.outline or plan.garment.points:
        raise PlanError(
            f"{plan.where}: a piece of your own outline comes in no sizes; draw it larger or "
            "smaller, and change the amounts by its area"
        )
    own = stock.blank(plan.garment.blank).name
    kin = own.removeprefix(_CHILD) if own.startswith(_CHILD) else f"{_CHILD}{own}"
    known = {size: (own, size) for size in stock.blanks[own].sizes}
    if kin in stock.blanks:
        before = _CHILD if kin.startswith(_CHILD) else ""
        known |= {f"{before}{size}": (kin, size) for size in stock.blanks[kin].sizes}
    return known


def find_size(asked: str, plan: Plan, stock: Stock) -> tuple[str, str, str]:
    """Return the words for a size, the blank that has it, and the size.

    Raises
    ------
    PlanError
        If there is none: one line that lists what there is.
    """
    known = sizes_of(plan, stock)
    wanted = " ".join(asked.casefold().split())
    for told, (blank, size) in known.items():
        same = {told, f"{blank} {size}"}
        if blank.startswith(_CHILD):
            same.add(f"{_CHILD}{size}")
        if wanted in {each.casefold() for each in same}:
            return told, blank, size
    alone = [(told, *each) for told, each in known.items() if each[1].casefold() == wanted]
    if len(alone) == 1:  # 6 of a tee: only children have it
        return alone[0]
    said = choices(asked, known)
    raise PlanError(f"--size: no size {shown(asked)} of the {plan.garment.blank}; {said}")


# ------------------------------------------------------------------------------- the plan


def resize(
    text: str, where: str, plan: Plan, stock: Stock, size: str, keep: str = "width"
) -> Resized:
    """Write a plan for another size of its blank.

    Powder, soda with its water, and ice go by the mass of the cloth, so that the depth of shade,
    dye mass / cloth mass x 100 % (source: VFSTR lecture on dyeing calculations), and the strength
    of the soda stay. Amounts keep their unit and are rounded as a hand measures.

    Parameters
    ----------
    text, where, plan
        The plan file, its name for messages, and what it holds.
    stock : Stock
    size : str
        ``L``, ``child 6``.
    keep : str
        ``width``: lengths stay, and a smaller piece has fewer bands and pleats; ``count``: those
        that repeat along the cloth are scaled, so that their number stays.

    Raises
    ------
    PlanError
        If there is no such size, or the plan cannot be done in it.
    """
    told, blank, chosen = find_size(size, plan, stock)
    old = resolve(plan, stock)
    tally = _Tally()
    if (blank, chosen) != (old.blank.name, old.blank.size):
        tally.values["garment.size"] = json.dumps(chosen, ensure_ascii=False)
    if blank != old.blank.name:
        tally.values["garment.blank"] = json.dumps(blank, ensure_ascii=False)
        tally.values["garment.fabric"] = json.dumps(old.fabric.name, ensure_ascii=False)
    new = _resolved(text, where, tally, stock, told)
    masses = _mass(old), _mass(new)
    tables = tomllib.loads(text)
    for number, table in enumerate(plan.round, 1):
        _round(tally, tables, plan, number, table, (old, new), masses)
        if keep == "count":
            _lengths(tally, tables, plan, number, (old, new))
    new = _resolved(text, where, tally, stock, told)
    shades = tuple(_shades(tables, plan, (old, new), masses, tally))
    powders = {shade.what for shade in shades}
    return Resized(
        text=with_values(text, where, tally.values),
        size=told,
        masses=masses,
        shades=shades,
        changes=tuple(each for each in tally.changes if each.what not in powders),
        notes=tuple(dict.fromkeys(tally.notes)),
    )


def _resolved(text: str, where: str, tally: _Tally, stock: Stock, told: str) -> Recipe:
    """Read the plan with what is changed so far.

    Raises
    ------
    PlanError
        That names the size.
    """
    try:
        recipe = resolve(plan_from_text(with_values(text, where, tally.values), where), stock)
        weigh(recipe)  # refuses what is to be pinched where there is no cloth
    except PlanError as error:
        raise PlanError(f"in size {told}, {error}") from None
    return recipe


def _mass(recipe: Recipe) -> float:
    """Dry mass of a piece, hems and ribs included [kg]."""
    cloth = coarse_cloth(recipe.blank, recipe.fabric, _PITCH)
    return float(cloth.mass_per_area.sum()) * _PITCH**2


def _written(tables: Mapping[str, Any], key: str) -> str | None:
    """Return what a plan file has for a key, if it has it; a table serves as a list of one."""
    found: Any = tables
    for part in key.split("."):
        if part.isdigit():
            found = found if isinstance(found, Mapping) else found[int(part) - 1]
        elif isinstance(found, Mapping) and part in found:
            found = found[part]
        else:
            return None
    return str(found)


def _prefix(plan: Plan, number: int) -> str:
    return f"round {number}: " if len(plan.round) > 1 else ""


def _round(
    tally: _Tally,
    tables: Mapping[str, Any],
    plan: Plan,
    number: int,
    table: RoundTable,
    recipes: tuple[Recipe, Recipe],
    masses: tuple[float, float],
) -> None:
    """Scale what one round weighs and measures."""
    here, told = f"round.{number}", _prefix(plan, number)
    turn = recipes[0].rounds[number - 1]
    ratio = masses[1] / masses[0]
    for n, (line, name) in enumerate(_named(plan, number), 1):
        if not isinstance(line.amount, str):
            key = f"{here}.dye.{n}.amount"
            old = str(_written(tables, key))
            tally.set(key, name, old, measured(old, ratio, "powder"))
        if isinstance(line.at, Patch):
            tally.notes.append("Patches of powder keep their width; look whether they still fit.")
    beside = sum(_mass(piece) for piece in turn.beside)
    shared = (masses[1] + beside) / (masses[0] + beside)
    _soda(tally, tables, table, (here, told), shared, turn.soda.strength)
    for n, load in enumerate(table.ice, 1):
        if load.amount is not None:
            key = f"{here}.ice.{n}.amount"
            old = str(_written(tables, key))
            which = f"{told}ice, load {n}" if len(table.ice) > 1 else f"{told}ice"
            tally.set(key, which, old, measured(old, shared, "ice"))
    _note(tally, turn)


def _note(tally: _Tally, turn: Round) -> None:
    for piece in turn.beside:
        tally.notes.append(
            f"{piece.name} lies beside it and keeps its own size and powder; ice and soda go by "
            "all the cloth in the tray."
        )
    if turn.liquor is not None:
        tally.notes.append(f"{turn.liquor.recipe.name}, whose run-off it catches, keeps its size.")


def _soda(
    tally: _Tally,
    tables: Mapping[str, Any],
    table: RoundTable,
    place: tuple[str, str],
    ratio: float,
    strength: float,
) -> None:
    """Scale soda, and its water by what rounding makes of it, so that its strength [g/L] stays."""
    soda, (here, told) = table.soda, place
    if soda.how == "none" or ratio == 1.0:
        return
    usual = show_mass(words.SODA_SPOONS) if soda.how in words.SODA_DRY else _SODA
    old = _written(tables, f"{here}.soda.amount") or usual
    new = measured(old, ratio, "powder")
    real = parse_one_of(new, ("mass", "volume"))[1] / parse_one_of(old, ("mass", "volume"))[1]
    if soda.how in words.SODA_DRY:
        tally.set(f"{here}.soda.amount", f"{told}soda ash", old, new)
        return
    water = _written(tables, f"{here}.soda.water") or _WATER
    less = measured(water, real, "water")
    after = strength * real * parse(water, "volume") / parse(less, "volume")
    more = f"{strength:.1f} -> {after:.1f} g/L"
    tally.set(f"{here}.soda.amount", f"{told}soda ash", old, new, more)
    tally.set(f"{here}.soda.water", f"{told}its water", water, less)


def _lengths(
    tally: _Tally,
    tables: Mapping[str, Any],
    plan: Plan,
    number: int,
    recipes: tuple[Recipe, Recipe],
) -> None:
    here, told = f"round.{number}", _prefix(plan, number)
    garments = weigh(recipes[0]), weigh(recipes[1])
    turn = recipes[0].rounds[number - 1]
    for each in repeated(turn, *garments, lambda key: _written(tables, f"{here}.{key}")):
        tally.set(f"{here}.{each.key}", f"{told}{each.what}", each.old, each.new)


# ------------------------------------------------------------------------------- the shades


def _named(plan: Plan, number: int) -> Iterator[tuple[Any, str]]:
    """Go through the powders of a round, each with the words that tell it from the others."""
    lines = plan.round[number - 1].dye
    names = [line.dye for line in lines]
    for n, line in enumerate(lines):
        again = names[: n + 1].count(line.dye)
        count = f" ({again})" if names.count(line.dye) > 1 else ""
        yield line, f"{_prefix(plan, number)}{line.dye}{count}"


def _shades(
    tables: Mapping[str, Any],
    plan: Plan,
    recipes: tuple[Recipe, Recipe],
    masses: tuple[float, float],
    tally: _Tally,
) -> Iterator[Shade]:
    anew = {change.what: change for change in tally.changes}
    for number in range(1, len(plan.round) + 1):
        laid = [list(recipe.rounds[number - 1].powder) for recipe in recipes]
        for n, (line, name) in enumerate(_named(plan, number), 1):
            parts = 2 if words.POWDER[line.powder] is None else 1  # under and over the ice
            depths = [
                100.0 * _taken(powders, parts) / mass
                for powders, mass in zip(laid, masses, strict=True)
            ]
            old = _written(tables, f"round.{number}.dye.{n}.amount") or str(line.amount)
            new = anew[name].new if name in anew else old
            yield Shade(name, old, new, *depths)


def _taken(powders: list[Powder], count: int) -> float:
    """Take so many powders off a list and return what they weigh [kg]."""
    return sum(powders.pop(0).mass for _ in range(count))
