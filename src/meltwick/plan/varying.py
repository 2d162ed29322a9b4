"""A plan with some keys changed: their values, and the changed file.

The file is changed as text, so that its notes and its order stay, and read again as any plan.
"""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from meltwick.errors import PlanError
from meltwick.plan.models import Plan
from meltwick.plan.naming import find_key, value_of
from meltwick.stock.reading import one_line
from meltwick.units import shown

MOST = 60  # values of one key
USUAL = 5  # values of a range that says no number
LONGEST = 2000  # characters of what is varied

EITHER = {
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


def read_choices(text: str, plan: Plan, poles: Mapping[str, float], most: int = MOST) -> Axis:
    """Read what may be chosen from: a range in steps that a hand can make, or a list.

    Parameters
    ----------
    text : str
        ``spacing=10mm..60mm``, ``pull=loose,snug,tight``, or ``pole`` alone for every pole in
        stock.
    poles : mapping
        Diameters by name [m].
    most : int
        Values of a range; where there are more, the steps are made wider.

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
    step = _STEPS.get(span.unit, 1.0 if isinstance(value_of(plan, span.key), int) else 0.1)
    while (span.high - span.low) / step > most - 2:
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
            tomllib.loads(f"value = {value}")
            return tomlkit.value(value)  # stays on one line, as it was written
        except (tomllib.TOMLDecodeError, TOMLKitError):
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
    for other in EITHER.get(last, ()):
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
