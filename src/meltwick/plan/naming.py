"""The dotted names of a plan's keys, whole or in part."""

from __future__ import annotations

from collections.abc import Iterator
from difflib import get_close_matches
from typing import Any

from pydantic import BaseModel

from meltwick.errors import PlanError
from meltwick.plan.models import Plan
from meltwick.units import shown


def _walk(table: BaseModel, path: tuple[str, ...]) -> Iterator[tuple[str, ...]]:
    for name in type(table).model_fields:
        value = getattr(table, name)
        here = (*path, name)
        if isinstance(value, BaseModel):
            yield here
            yield from _walk(value, here)
        elif isinstance(value, tuple) and value and isinstance(value[0], BaseModel):
            yield here
            for number, each in enumerate(value, 1):
                yield from _walk(each, (*here, str(number)))
        else:
            yield here


def keys(plan: Plan) -> list[str]:
    """List the dotted names of all keys that a plan has, written or left out."""
    return [".".join(path) for path in _walk(plan, ()) if path[0] not in ("name", "notes")]


def fitting(text: str, plan: Plan) -> list[str]:
    """Return the whole names of the keys that a text, a part of one, may mean."""
    known = keys(plan)
    asked = _asked(text)
    if asked in known:
        return [asked]
    wanted = asked.split(".")
    found = [key for key in known if _ends(key.split("."), wanted)]
    if len(found) > 1:  # what the maker wrote is more likely meant than what was left out
        found = [key for key in found if _written(plan, key)] or found
    return found


def find_key(text: str, plan: Plan) -> str:
    """Return the whole dotted name of a key, of which a part may be left out.

    Parameters
    ----------
    text : str
        ``round.1.tie.spacing``, or as much of it as leaves no doubt: ``tie.spacing``, ``spacing``.

    Raises
    ------
    PlanError
        If the plan has no such key, or several: one line that names the nearest, or them.
    """
    known, found = keys(plan), fitting(text, plan)
    if len(found) == 1:
        return found[0]
    if found:
        some = ", ".join(found[:4]) + (" and more" if len(found) > 4 else "")
        raise PlanError(f"{plan.where} has several keys {shown(text)}; write one of {some}")
    short = {_bare(key): None for key in known} | {key.split(".")[-1]: None for key in known}
    near = get_close_matches(_asked(text), short, n=1)
    said = f"did you mean {near[0]}?" if near else "its keys are told in docs/plan-file.md"
    raise PlanError(f"{plan.where} has no key {shown(text)}; {said}")


def _asked(text: str) -> str:
    return ".".join(part.strip() for part in text.strip().casefold().split("."))


def value_of(plan: Plan, key: str) -> Any:
    """Return what a key has, written or left out."""
    found: Any = plan
    for part in key.split("."):
        found = found[int(part) - 1] if part.isdigit() else getattr(found, part)
    return found


def _written(plan: Plan, key: str) -> bool:
    table: Any = plan
    for part in key.split("."):
        if part.isdigit():
            table = table[int(part) - 1]
        elif part not in table.model_fields_set:
            return False
        else:
            table = getattr(table, part)
    return True


def _bare(key: str) -> str:
    return ".".join(part for part in key.split(".") if part != "round" and not part.isdigit())


def _ends(key: list[str], wanted: list[str]) -> bool:
    """Whether a key ends as asked; numbers may be left out of what is asked."""
    place = len(key) - 1
    for part in reversed(wanted):
        while place >= 0 and key[place] != part and key[place].isdigit() and not part.isdigit():
            place -= 1
        if place < 0 or key[place] != part:
            return False
        place -= 1
    return True
