"""A plan with some keys changed: their dotted names, their values, and the changed file.

The file is changed as text, so that its notes and its order stay, and read again as any plan.
"""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

import tomlkit
from pydantic import BaseModel
from tomlkit.exceptions import TOMLKitError

from meltwick.errors import PlanError
from meltwick.plan.models import Plan
from meltwick.stock.reading import one_line
from meltwick.units import shown

MOST = 60  # values of one key
USUAL = 5  # values of a range that says no number
LONGEST = 2000  # characters of what is varied

_EITHER = {
    "diameter": ("pole",),
    "pole": ("diameter",),
    "spots": ("every",),
    "every": ("spots",),
    "blank": ("outline", "points"),
}
"""Keys that stand for one thing: writing one takes the others away."""

_NUMBER = re.compile(r"[-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)")
_RANGE = re.compile(
    r"\s*([-+]?[0-9.]+)\s*(.*?)\s*\.\.\s*([-+]?[0-9.]+)\s*(.*?)\s*(?:/\s*([0-9]+))?\s*"
)


@dataclass(frozen=True)
class Axis:
    """One key of a plan and the values it shall have, as written."""

    key: str  # dotted, whole, counted from 1: round.1.tie.spacing
    values: tuple[str, ...]

    @property
    def word(self) -> str:
        """The key without what only tells where it stands: tie.spacing, fold.pole."""
        parts = [part for part in self.key.split(".") if not part.isdigit() and part != "round"]
        return ".".join(parts[-2:])


@dataclass(frozen=True)
class Span:
    """One key and the two ends of what it may be, as numbers with one unit."""

    key: str
    low: float
    high: float
    unit: str

    def value(self, number: float) -> str:
        """Write a number as the plan would: 25 mm."""
        return f"{number:.10g} {self.unit}".strip()


# ------------------------------------------------------------------------------- keys


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
    known = keys(plan)
    asked = ".".join(part.strip() for part in text.strip().casefold().split("."))
    if asked in known:
        return asked
    wanted = asked.split(".")
    found = [key for key in known if _ends(key.split("."), wanted)]
    if len(found) > 1:  # what the maker wrote is more likely meant than what was left out
        found = [key for key in found if _written(plan, key)] or found
    if len(found) == 1:
        return found[0]
    if found:
        some = ", ".join(found[:4]) + (" and more" if len(found) > 4 else "")
        raise PlanError(f"{plan.where} has several keys {shown(text)}; write one of {some}")
    short = {_bare(key): None for key in known} | {key.split(".")[-1]: None for key in known}
    near = get_close_matches(asked, short, n=1)
    said = f"did you mean {near[0]}?" if near else "its keys are told in docs/plan-file.md"
    raise PlanError(f"{plan.where} has no key {shown(text)}; {said}")


def _value(plan: Plan, key: str) -> Any:
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


# ------------------------------------------------------------------------------- values


def split_values(text: str) -> list[str]:
    """Split at commas, but not inside brackets, braces or quotes."""
    parts, depth, quote, start = [], 0, "", 0
    for place, letter in enumerate(text):
        if quote:
            quote = "" if letter == quote else quote
        elif letter in "\"'" and (not text[:place].rstrip() or text[place - 1] in " ,[{=("):
            quote = letter
        elif letter in "[{(":
            depth += 1
        elif letter in "]})":
            depth -= 1
        elif letter == "," and depth == 0:
            parts.append(text[start:place])
            start = place + 1
    return [part.strip() for part in (*parts, text[start:])]


def read_axis(text: str, plan: Plan) -> Axis:
    """Read what is written after --vary: a key, =, and its values or a range.

    Parameters
    ----------
    text : str
        ``tie.spacing=10mm,25mm,50mm`` or ``spacing=10mm..50mm/5``, or ``pull=loose,tight``.

    Raises
    ------
    PlanError
        If it is none of these, or the plan has no such key.
    """
    key, written = _halves(text, plan)
    values: list[str] = []
    for value in split_values(written):
        if not value:
            raise PlanError(f"--vary: {shown(text)} has an empty value; write as in {_EXAMPLE}")
        span = _RANGE.fullmatch(value)
        values += _stepped(span, text) if span and ".." in value else [value]
    if len(values) > MOST:
        raise PlanError(f"--vary: {key} has {len(values)} values; at most {MOST} may be compared")
    return Axis(key, tuple(dict.fromkeys(values)))


def read_span(text: str, plan: Plan) -> Span:
    """Read a key and the range that is searched, ``tie.spacing=10mm..60mm``.

    Raises
    ------
    PlanError
        If it is none, its ends have different units or the plan has no such key.
    """
    key, written = _halves(text, plan)
    span = _RANGE.fullmatch(written)
    if not span or ".." not in written:
        raise PlanError(
            f"--vary: {shown(text)} is not a key and a range such as tie.spacing=10mm..60mm"
        )
    low, high, unit = _ends_of(span, text)
    return Span(key, low, high, unit)


_STEPS = {
    "mm": 5.0,
    "cm": 0.5,
    "m": 0.05,
    "in": 0.25,
    "deg": 5.0,
    "g": 0.25,
    "kg": 0.1,
    "cup": 0.5,
    "cups": 0.5,
    "min": 5.0,
    "h": 2.0,
    "N": 5.0,
    "degC": 1.0,
    "%": 5.0,
}
"""How finely a hand can set each unit; chosen."""


def read_choices(text: str, plan: Plan, poles: Mapping[str, float]) -> Axis:
    """Read what `meltwick aim` may choose from: a range in steps that a hand can make, or a list.

    Parameters
    ----------
    text : str
        ``spacing=10mm..60mm``, ``pull=loose,snug,tight``, or ``pole`` alone for every pole in
        stock.
    poles : mapping
        Diameters by name [m].

    Raises
    ------
    PlanError
        As `read_axis` and `read_span`.
    """
    if "=" not in text and find_key(text, plan).endswith(".pole"):
        return Axis(find_key(text, plan), tuple(sorted(poles, key=lambda name: poles[name])))
    if ".." not in text or "/" in text.partition("..")[2]:
        return read_axis(text, plan)
    span = read_span(text, plan)
    step = _STEPS.get(span.unit, 1.0 if isinstance(_value(plan, span.key), int) else 0.1)
    while (span.high - span.low) / step > MOST - 2:
        step *= 2.0
    first, last = math.ceil(span.low / step - 1e-9), math.floor(span.high / step + 1e-9)
    values = [span.value(round(k * step, 9)) for k in range(first, last + 1)]
    return Axis(span.key, tuple(values or [span.value(span.low)]))


_EXAMPLE = "tie.spacing=10mm,25mm or tie.spacing=10mm..50mm/5"


def _halves(text: str, plan: Plan) -> tuple[str, str]:
    key, equals, written = text.partition("=")
    if not equals or not key.strip() or not written.strip() or len(text) > LONGEST:
        raise PlanError(f"--vary: {shown(text)} is not a key and its values such as {_EXAMPLE}")
    return find_key(key, plan), written


def _ends_of(span: re.Match[str], text: str) -> tuple[float, float, str]:
    first, one, last, other, _ = span.groups()
    try:
        low, high = float(first), float(last)
    except ValueError:
        raise PlanError(f"--vary: {shown(text)} is not a range such as 10mm..50mm/5") from None
    if one and other and one != other:
        raise PlanError(f"--vary: {shown(text)} has two units; write both ends in {one}")
    if low >= high:
        raise PlanError(f"--vary: {shown(text)} ends below where it begins; write low..high")
    return low, high, one or other


def _stepped(span: re.Match[str], text: str) -> list[str]:
    low, high, unit = _ends_of(span, text)
    count = int(span[5]) if span[5] else USUAL
    if not 2 <= count <= MOST:
        raise PlanError(f"--vary: {shown(text)} asks for {count} values; 2 to {MOST} may be")
    steps = [low + (high - low) * k / (count - 1) for k in range(count)]
    return [f"{step:.6g} {unit}".strip() for step in steps]


def _literal(value: str) -> Any:
    """Return a value as TOML has it; what is no number, table or list is a text."""
    if value[:1] in "[{\"'" or value in ("true", "false"):
        try:
            return tomllib.loads(f"value = {value}")["value"]
        except tomllib.TOMLDecodeError:
            raise PlanError(f"--vary: {shown(value)} is not a list or a table of TOML") from None
    if re.fullmatch(r"[-+]?[0-9]+", value) and len(value) < 19:
        return int(value)
    if _NUMBER.fullmatch(value):
        return float(value)
    return value


# ------------------------------------------------------------------------------- the file


def with_values(text: str, where: str, values: Mapping[str, str]) -> str:
    """Return a plan's text with some keys set anew; notes and order stay.

    Parameters
    ----------
    text : str
        The plan file.
    where : str
        Its name, for messages.
    values : mapping
        By whole dotted name, as `find_key` returns it.

    Raises
    ------
    PlanError
        If the text is no TOML, or a key leads through something that is no table.
    """
    try:
        document = tomlkit.parse(text)
    except (TOMLKitError, RecursionError) as error:
        raise PlanError(one_line(f"{where} is not TOML: {error}")) from None
    for key, value in values.items():
        _put(document, key, _literal(value), where)
    return tomlkit.dumps(document)


def _put(document: Any, key: str, value: Any, where: str) -> None:
    *way, last = key.split(".")
    table = document
    for n, part in enumerate(way):
        following = way[n + 1] if n + 1 < len(way) else last
        table = _step(table, part, following, f"{where}: {'.'.join(way[: n + 1])}")
    if last.isdigit() or not hasattr(table, "remove"):
        raise PlanError(f"{where}: {key} is not a key that can be set")
    for other in _EITHER.get(last, ()):
        if other in table:
            table.remove(other)
    table[last] = value


def _step(table: Any, part: str, following: str, told: str) -> Any:
    """Go one part down; what is not written yet is made as its default is."""
    if part.isdigit():
        number = int(part) - 1
        if isinstance(table, Mapping) and number == 0:
            return table  # a single table serves as a list of one
        if isinstance(table, Mapping) or not 0 <= number < len(table):
            raise PlanError(f"{told} is not there")
        return table[number]
    if part not in table:
        table[part] = _made(part, following)
    return table[part]


def _made(part: str, following: str) -> Any:
    if not following.isdigit():
        return tomlkit.table() if part == "garment" else tomlkit.inline_table()
    if part == "fold":
        pole = tomlkit.inline_table()
        pole["kind"] = "pole"
        made = tomlkit.array()
        made.append(pole)
        return made
    tables = tomlkit.aot()
    tables.append(tomlkit.table())
    return tables
