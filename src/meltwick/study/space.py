"""The space of plans that a maker names: keys, ways to fold, palettes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product
from math import prod
from typing import TYPE_CHECKING

from meltwick.errors import PlanError, StockError
from meltwick.plan import plan_from_text
from meltwick.plan.naming import find_key, fitting
from meltwick.plan.refolding import fold_value, refolded
from meltwick.plan.ties import TIE_KEYS
from meltwick.plan.varying import EITHER, Axis, read_axis, read_choices

if TYPE_CHECKING:
    from meltwick.plan import Plan
    from meltwick.stock import Stock

MOST_KEYS = 8
MOST_FOLDINGS = 100
_FINEST = 10_000  # values of a range


@dataclass(frozen=True)
class Folding:
    """The plan under one choice of folds, and which keys can be set there."""

    text: str
    plan: Plan
    shown: dict[str, str]  # the folds, by the key's word
    axes: tuple[Axis | None, ...]  # None where the folds or their tie have no such key

    @property
    def size(self) -> int:
        """How many settings its keys allow."""
        return prod(len(axis.values) for axis in self.axes if axis is not None)


@dataclass(frozen=True)
class Space:
    """What may change in a plan."""

    where: str  # the plan's name, for messages
    seed: int
    folds: tuple[int, ...]  # number of choices of each key that sets folds
    foldings: dict[tuple[int, ...], Folding]  # by the number of each choice
    words: tuple[str, ...]  # of the other keys, as told
    palettes: tuple[tuple[str, ...], ...]

    @property
    def told(self) -> list[str]:
        """The keys that change, as told."""
        first = next(iter(self.foldings.values()))
        return [*first.shown, *self.words, *(["palette"] if self.palettes else [])]

    @property
    def dimensions(self) -> int:
        """One a key, and one for the palettes."""
        return len(self.folds) + len(self.words) + bool(self.palettes)

    @cached_property
    def size(self) -> int:
        """How many settings it holds, valid or not."""
        return sum(each.size for each in self.foldings.values()) * max(1, len(self.palettes))


def read_space(
    text: str,
    where: str,
    plan: Plan,
    vary: Sequence[str],
    palettes: Sequence[str],
    stock: Stock,
) -> Space:
    """Read the keys and the palettes that a maker names.

    Parameters
    ----------
    text, where, plan
        The plan file, its name for messages, and what it holds.
    vary : sequence of str
        ``spacing=10mm..60mm``, ``pull=loose,tight``, ``pole``, ``fold=pole,spiral``.
    palettes : sequence of str
        Names of dyes with commas between.
    stock : Stock

    Raises
    ------
    PlanError
        One line that names the option and what is wrong with it.
    """
    if len(vary) > MOST_KEYS:
        raise PlanError(f"--vary: {len(vary)} keys are written; at most {MOST_KEYS} may change")
    folds = [each for each in vary if _sets_folds(each, plan)]
    rest = [each for each in vary if each not in folds]
    choices = tuple(read_axis(each, plan) for each in folds)
    if prod(len(axis.values) for axis in choices) > MOST_FOLDINGS:
        raise PlanError(f"--vary: more than {MOST_FOLDINGS} ways to fold; write fewer")
    foldings = {}
    for numbers in product(*(range(len(axis.values)) for axis in choices)):
        foldings[numbers] = _folding(text, plan, choices, numbers, rest, stock)
    names = _names(plan, rest, list(foldings.values()), stock)
    named = tuple(dict.fromkeys(_palette(each, stock) for each in palettes))
    _refuse_rivals(foldings.values(), [axis.key for axis in choices], bool(named))
    if named and not any(turn.dye for turn in plan.round):
        raise PlanError(f"--palette: {where} lays no powder, so there is no dye to replace")
    sizes = tuple(len(axis.values) for axis in choices)
    return Space(where, plan.seed, sizes, foldings, names, named)


def _sets_folds(written: str, plan: Plan) -> bool:
    found = fitting(written.partition("=")[0], plan)
    return len(found) == 1 and found[0].endswith(".fold")


def _folding(
    text: str,
    before: Plan,
    choices: Sequence[Axis],
    numbers: Sequence[int],
    rest: Sequence[str],
    stock: Stock,
) -> Folding:
    shown, where = {}, before.beside
    for axis, number in zip(choices, numbers, strict=True):
        written = axis.values[number]
        text = refolded(text, where, axis.key, fold_value(written))
        shown[axis.word if len(choices) == 1 else axis.key] = written
    plan = plan_from_text(text, where)
    if choices:
        axes = tuple(_axis(each, before, plan, stock) for each in rest)
    else:
        axes = tuple(read_choices(each, plan, stock.poles, most=_FINEST) for each in rest)
    return Folding(text, plan, shown, axes)


def _axis(written: str, before: Plan, plan: Plan, stock: Stock) -> Axis | None:
    """Read a key that new folds may lack, then None; what it means in the plan itself comes first.

    In a plan tied with string, spacing is the string's, also where new folds have a spacing.
    """
    name = written.partition("=")[0]
    found, meant = fitting(name, plan), fitting(name, before)
    if len(found) > 1 and len(meant) == 1 and meant[0] in found:
        written, found = written.replace(name, meant[0], 1), meant
    if not found or (len(found) == 1 and not _ties(found[0], plan)):
        return None
    return read_choices(written, plan, stock.poles, most=_FINEST)


def _ties(key: str, plan: Plan) -> bool:
    """Whether a key, if it is a tie's, is one of the kind of tie that the folds have."""
    parts = key.split(".")
    if parts[-2:-1] != ["tie"] or parts[-1] == "kind":
        return True
    turn = plan.round[int(parts[1]) - 1]
    kind = turn.tie.kind_after(turn.fold[-1].kind if turn.fold else "")
    return parts[-1] in TIE_KEYS.get(kind, ())


def _names(
    plan: Plan, rest: Sequence[str], foldings: Sequence[Folding], stock: Stock
) -> tuple[str, ...]:
    """Name each key as it is told: short, unless two would be named alike."""
    found = []
    for n, written in enumerate(rest):
        there = [each.axes[n] for each in foldings]
        axis = next((each for each in there if each is not None), None)
        if axis is None:  # under no fold: say so as of the plan itself
            find_key(written.partition("=")[0], plan)
            axis = read_choices(written, plan, stock.poles)
            raise PlanError(f"--vary: {axis.key} is of no use under any of these folds or ties")
        found.append(axis)
    short = [axis.word for axis in found]
    return tuple(axis.word if short.count(axis.word) == 1 else axis.key for axis in found)


def _palette(written: str, stock: Stock) -> tuple[str, ...]:
    """Read names of dyes, as the stock spells them."""
    names = [name.strip() for name in written.split(",")]
    if not all(names):
        what = "an empty name" if any(names) else "no dye"
        raise PlanError(f'--palette: {written[:40]!r} has {what}; write one such as "coral, plum"')
    try:
        return tuple(stock.dye(name).name for name in names)
    except StockError as error:
        raise PlanError(f"--palette: {error}") from None


def _refuse_rivals(foldings: Iterable[Folding], folds: Sequence[str], painted: bool) -> None:
    """Refuse a key that is written twice, and two that set the same thing."""
    for folding in foldings:
        keys = [*folds, *(axis.key for axis in folding.axes if axis is not None)]
        for key in keys:
            if keys.count(key) > 1:
                raise PlanError(f"--vary: {key} is written twice")
            way, _, last = key.rpartition(".")
            for other in EITHER.get(last, ()):
                if f"{way}.{other}" in keys:
                    raise PlanError(f"--vary: {key} and {other} stand for one thing; vary one")
            if painted and last == "dye":
                raise PlanError(f"--vary: the palettes set {key} already; leave one of them out")
