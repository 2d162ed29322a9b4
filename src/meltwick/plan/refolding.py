"""A plan folded another way: what of its tie and its rest goes with the new fold stays."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import tomlkit

from meltwick.errors import PlanError
from meltwick.plan import words
from meltwick.plan.models import RoundTable
from meltwick.plan.reader import plan_from_text
from meltwick.plan.reading import unknown_word
from meltwick.plan.ties import TieTable
from meltwick.plan.varying import with_values

_GIVING_WAY = ((), ("rest.lies",), ("tie",), ("rest.lies", "tie"))
"""Keys that give way to their defaults, the fewest first."""


def fold_value(written: str) -> str:
    """Turn a bare word into the value of ``fold``: one fold of that kind with its defaults.

    Parameters
    ----------
    written : str
        ``spiral``, or folds as a plan has them, ``[{ kind = "spiral", turns = 2 }]``, which stay.

    Raises
    ------
    PlanError
        If the word is no fold.
    """
    if written[:1] in "[{":
        return written
    kind = " ".join(written[:80].casefold().split()).strip("\"'")
    if kind not in (*words.FOLDS, *words.TRADITIONAL):
        raise PlanError(f"--vary: fold {unknown_word(written, words.FOLDS, words.FOLDS_LATER)}")
    return f'[{{ kind = "{kind}" }}]'


def refolded(text: str, where: str, key: str, value: str) -> str:
    """Return a plan's text with other folds; a tie that does not suit them becomes theirs.

    A tie does not suit when it cannot go on the new folds, or when it is the usual one of the old
    folds and the new ones are usually held by another: string on a pole becomes bands on a spiral.

    Parameters
    ----------
    text, where : str
        The plan file and its name, for messages.
    key : str
        ``round.1.fold``.
    value : str
        As `fold_value` returns it.

    Raises
    ------
    PlanError
        If the folds are none: what the plan with them would be refused for.
    """
    turn = key.rpartition(".")[0]
    number = int(turn.rpartition(".")[2]) - 1
    before = plan_from_text(text, where).round[number]
    changed = with_values(text, where, {key: value})
    for left_out in _GIVING_WAY:
        tried = without(changed, [f"{turn}.{each}" for each in left_out])
        try:
            after = plan_from_text(tried, where).round[number]
        except PlanError as error:
            fault = error
            continue
        if "tie" in left_out or _suits(before, after):
            return tried
    raise fault


def _suits(before: RoundTable, after: RoundTable) -> bool:
    """Whether a tie that can go on other folds is more than what the old ones usually take."""
    old, new = (turn.fold[-1].kind if turn.fold else "" for turn in (before, after))
    usual = TieTable()
    changes = usual.kind_after(old) != usual.kind_after(new)
    return not (changes and before.tie.kind_after(old) == usual.kind_after(old))


def without(text: str, keys: list[str]) -> str:
    """Return a plan's text without some keys; those that are not written are no matter."""
    document = tomlkit.parse(text)
    for key in keys:
        *way, last = key.split(".")
        table: Any = document
        for part in way:
            table = _inside(table, part)
        if isinstance(table, Mapping) and last in table:
            table.pop(last)  # type: ignore[attr-defined]
    return tomlkit.dumps(document)


def _inside(table: Any, part: str) -> Any:
    """Go one part down, or None; a single table serves as a list of one."""
    if isinstance(table, Mapping):
        return table if re.fullmatch("1", part) else table.get(part)
    if isinstance(table, list) and part.isdigit() and int(part) <= len(table):
        return table[int(part) - 1]
    return None
