"""Settings side by side: each made by the same hands, and what they come to."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from statistics import median
from typing import TYPE_CHECKING

from meltwick.shares import CLASSES
from meltwick.study.hands import hand_seeds
from meltwick.study.outcome import Outcome, Task

if TYPE_CHECKING:
    from meltwick.constants import Constants
    from meltwick.plan import Plan
    from meltwick.plan.varying import Axis


@dataclass(frozen=True)
class Setting:
    """One plan to compare, and what tells it from the others."""

    values: Mapping[str, str]  # by the key's word: tie.spacing, 25 mm; empty for a plan as it is
    plan: Plan
    number: int = 0  # among many that were spread over a space; 0 where none is told

    @property
    def label(self) -> str:
        """What is written under its picture."""
        if not self.number:
            return ", ".join(self.values.values()) if self.values else self.plan.name
        return " ".join((self.short, ", ".join(_said(*each) for each in self.values.items())))

    @property
    def short(self) -> str:
        """What it is called in a sentence: its number, where it has one."""
        return f"#{self.number}" if self.number else self.label


def _said(key: str, value: str) -> str:
    """Name the key of a value that says nothing by itself: pleats 12, doubled true."""
    bare = value in ("true", "false") or not any(letter.isalpha() for letter in value)
    return f"{key.rpartition('.')[2]} {value}" if bare else value


@dataclass(frozen=True)
class Group:
    """What the hands made of one setting."""

    setting: Setting
    outcomes: tuple[Outcome, ...]  # hand after hand

    def shares(self, name: str = "white") -> list[float]:
        """Share of a class by every hand."""
        return [each.share(name) for each in self.outcomes]

    def median(self, name: str = "white") -> float:
        """Share of the middle hand."""
        return float(median(self.shares(name)))

    @property
    def typical(self) -> Outcome:
        """The piece whose white share is nearest to the median, the earlier of two."""
        middle = self.median()
        return min(self.outcomes, key=lambda each: abs(each.white - middle))


def settings_of(
    text: str, where: str, axes: Sequence[Axis], name: str | None = None
) -> list[Setting]:
    """Make the plan of every setting; the last key changes fastest.

    Parameters
    ----------
    text, where : str
        The plan file and its name, for messages.
    axes : sequence of Axis
        One or two keys.
    name : str, optional
        The plan's name where the file gives none.

    Raises
    ------
    PlanError
        When a setting makes no plan: one line that names the key and the value.
    """
    from meltwick.errors import PlanError
    from meltwick.plan import plan_from_text, resolve
    from meltwick.plan.varying import with_values
    from meltwick.stock import load_stock

    stock, made = load_stock(), []
    for values in product(*(axis.values for axis in axes)):
        keyed = {axis.key: value for axis, value in zip(axes, values, strict=True)}
        shown = {axis.word: value for axis, value in zip(axes, values, strict=True)}
        try:
            plan = plan_from_text(with_values(text, where, keyed), where)
            resolve(plan, stock)
        except PlanError as error:
            told = ", ".join(f"{key}={value}" for key, value in keyed.items())
            raise PlanError(f"--vary {told}: {error}") from None
        made.append(Setting(shown, plan))
    return made


def tasks_of(
    settings: Sequence[Setting], hands: int, pitch: float, constants: Constants | None = None
) -> list[Task]:
    """List the runs: hand after hand of one setting, then the next.

    Every setting is made by the same hands, so that their differences are the settings'.
    """
    return [
        Task(setting.plan, seed, pitch, constants)
        for setting in settings
        for seed in hand_seeds(setting.plan.seed, hands)
    ]


def groups_of(settings: Sequence[Setting], hands: int, outcomes: Sequence[Outcome]) -> list[Group]:
    """Put the runs of `tasks_of` together again."""
    return [
        Group(setting, tuple(outcomes[n * hands : (n + 1) * hands]))
        for n, setting in enumerate(settings)
    ]


def surely_whiter(one: Group, other: Group) -> bool:
    """Whether hand by hand the one keeps more white than the other, for every hand."""
    pairs = zip(one.outcomes, other.outcomes, strict=True)
    return all(a.white > b.white for a, b in pairs)


def _dyes(groups: Sequence[Group]) -> list[str]:
    """List every dye that is seen, in the order in which the plans first name them.

    A run that was kept has its dyes in another order than one that was just made.
    """
    plans = [group.setting.plan for group in groups]
    lines = [line.dye.casefold() for plan in plans for turn in plan.round for line in turn.dye]
    place = {name: -n for n, name in enumerate(reversed(lines))}  # the first of each stays
    found = {name for group in groups for name in group.outcomes[0].seen}
    return sorted(found, key=lambda name: (place.get(name.casefold(), 1), name))


def as_csv(groups: Sequence[Group], keys: Sequence[str] = ()) -> str:
    """Write a table that a spreadsheet opens: a row for each setting, shares in per cent.

    A key or a dye that a setting lacks is an empty cell. ``keys`` names the columns of the values,
    if they are not those of the first setting.
    """
    keys = keys or list(groups[0].setting.values) or ["plan"]
    dyes = _dyes(groups)
    numbered = any(group.setting.number for group in groups)
    head = [
        *(["number"] if numbered else []),
        *keys,
        "hands",
        *(f"{name} median %" for name in CLASSES),
    ]
    head += ["white lowest %", "white highest %"]
    head += [f"{name} %" for name in dyes]
    head += ["dye fixed g", "seeds", "digest"]
    stream = io.StringIO()
    table = csv.writer(stream, lineterminator="\r\n")  # RFC 4180
    table.writerow(head)
    for group in groups:
        white = group.shares()
        seen = {name: f"{100 * group.median(name):.1f}" for name in group.outcomes[0].seen}
        values = group.setting.values or {"plan": group.setting.plan.name}
        table.writerow(
            [
                *([group.setting.number] if numbered else []),
                *(values.get(key, "") for key in keys),
                len(white),
                *(f"{100 * group.median(name):.1f}" for name in CLASSES),
                f"{100 * min(white):.1f}",
                f"{100 * max(white):.1f}",
                *(seen.get(name, "") for name in dyes),
                f"{1e3 * median(each.fixed for each in group.outcomes):.2f}",
                " ".join(str(each.seed) for each in group.outcomes),
                group.outcomes[0].digest,
            ]
        )
    return stream.getvalue()
