"""How one value of a plan is read: a quantity, a word, a number, each with its bounds.

Every fault is raised with its whole text, so that `messages` only has to put the path before it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from pydantic import BeforeValidator, PlainValidator
from pydantic_core import PydanticCustomError

from meltwick.plan.words import PLACES
from meltwick.stock.reading import choices, nearest, one_line
from meltwick.types import Spot
from meltwick.units import QuantityError, parse, parse_one_of, shown

_WAYS = {  # direction -> (right, down)
    "above": (0, -1),
    "below": (0, 1),
    "left of": (-1, 0),
    "right of": (1, 0),
}
_FROM = re.compile(
    r" (?:to the )?(above|below|left of|right of)(?: and (?=\S)| |$)", re.IGNORECASE | re.ASCII
)
_WORDS = re.compile(r" *[^\W\d_]+(?:[ '-][^\W\d_]+)* *")  # letters, no figures


class Amount(NamedTuple):
    """A quantity of stuff by weight [kg] or by measure [m3]."""

    dimension: str  # "mass" or "volume"
    value: float


def fault(said: str, key: str = "") -> PydanticCustomError:
    """Return an error whose text is complete; `key` is added to the path."""
    return PydanticCustomError("plan", "{said}", {"said": one_line(said), "key": key})


def is_number(value: object) -> bool:
    """Return whether a value is a number in a plan; true and false are not."""
    return isinstance(value, int | float) and not isinstance(value, bool)


def _bounded(found: object, value: float, low: float, high: float, bounds: str) -> float:
    # a little slack, so that a bound written in other units is inside
    slack = 1e-9 * max(abs(low), abs(high))
    if not (low - slack <= value <= high + slack):
        raise fault(f"{shown(found)} is out of reach; it must lie from {bounds}")
    return float(value)


def _read(found: object, dimension: str) -> float:
    try:
        return parse(found, dimension)  # type: ignore[arg-type]
    except QuantityError as error:
        raise fault(str(error)) from None


def quantity(dimension: str, low: str, high: str) -> PlainValidator:
    """Read a quantity between two bounds written as a maker would."""
    least, most = parse(low, dimension), parse(high, dimension)

    def read(found: object) -> float:
        return _bounded(found, _read(found, dimension), least, most, f"{low} to {high}")

    return PlainValidator(read)


def weight_or_measure(
    low: float, high: float, bounds: str, words: Iterable[str] = ()
) -> PlainValidator:
    """Read a weight or a measure; `low` and `high` are the weights [kg] it may have.

    A measure is only held to be finite here; what it weighs is known when stock is at hand.
    """
    known = tuple(words)

    def read(found: object) -> Amount | str:
        if isinstance(found, str) and (word := _same(found, known)):
            return word
        try:
            dimension, value = parse_one_of(found, ("mass", "volume"))  # type: ignore[arg-type]
        except QuantityError as error:
            if known and isinstance(found, str) and not re.search("[0-9]", found):
                also = ", or a weight such as '3 g', or level spoons such as '1/2 tsp'"
                said = f"{shown(found)} is not known; {choices(found, known, also)}"
                raise fault(said) from None
            raise fault(str(error)) from None
        if dimension == "mass":
            _bounded(found, value, low, high, bounds)
        elif not 0 < value <= 0.2:
            raise fault(f"{shown(found)} is out of reach; it must be more than 0 and at most 200 L")
        return Amount(dimension, value)

    return PlainValidator(read)


def _same(found: str, known: Iterable[str]) -> str | None:
    folded = " ".join(found[:80].casefold().split())
    return next((word for word in known if word.casefold() == folded), None)


def unknown_word(found: str, allowed: Iterable[str], coming: Iterable[str]) -> str:
    """Say that a word is not known, or that it is but cannot be done yet."""
    allowed, coming = tuple(allowed), tuple(coming)
    if _same(found, coming):
        return f"{shown(found)} is not built yet; {choices('', allowed)}"
    if nearest(found, allowed) is None and (later := nearest(found, coming)):
        return f"{shown(found)} is not known, and '{later}' not built yet; {choices('', allowed)}"
    return f"{shown(found)} is not known; {choices(found, allowed)}"


def word(
    known: Iterable[str], later: Iterable[str] = (), also: Mapping[str, str] | None = None
) -> PlainValidator:
    """Read one of several words; those of `later` are known to the trade but not built yet.

    ``also`` holds other words for some of them, which are accepted and not offered.
    """
    allowed, coming, names = tuple(known), tuple(later), also or {}

    def read(found: object) -> str:
        if not isinstance(found, str):
            raise fault(f"{shown(found)} is not a word; {choices('', allowed)}")
        if chosen := _same(found, allowed):
            return chosen
        if chosen := _same(found, names):
            return names[chosen]
        raise fault(unknown_word(found, allowed, coming))

    return PlainValidator(read)


def word_or_number(
    known: Mapping[str, float], low: float, high: float, percent: bool = False
) -> PlainValidator:
    """Read a word that stands for a number, or the number itself."""

    def read(found: object) -> float:
        if isinstance(found, str):
            if chosen := _same(found, known):
                return known[chosen]
            if percent and "%" in found:
                value = _read(found, "share")
                return _bounded(found, value, low, high, f"{100 * low:g} % to {100 * high:g} %")
            also = f", or a number from {low:g} to {high:g}"
            raise fault(f"{shown(found)} is not known; {choices(found, known, also)}")
        if not is_number(found):
            raise fault(f"{shown(found)} is neither a word nor a number; {choices('', known)}")
        return _bounded(found, found, low, high, f"{low:g} to {high:g}")  # type: ignore[arg-type]

    return PlainValidator(read)


def word_or_quantity(
    known: Mapping[str, float], dimension: str, low: str, high: str
) -> PlainValidator:
    """Read a word that stands for a quantity, or the quantity between two bounds."""
    least, most = parse(low, dimension), parse(high, dimension)

    def read(found: object) -> float:
        if isinstance(found, str) and (chosen := _same(found, known)):
            return known[chosen]
        if isinstance(found, str) and not re.search("[0-9]", found):
            also = f", or from {low} to {high}"
            raise fault(f"{shown(found)} is not known; {choices(found, known, also)}")
        return _bounded(found, _read(found, dimension), least, most, f"{low} to {high}")

    return PlainValidator(read)


def number(low: float, high: float) -> PlainValidator:
    """Read a number between two bounds."""

    def read(found: object) -> float:
        if not is_number(found):
            raise fault(f"{shown(found)} is not a number; write one from {low:g} to {high:g}")
        return _bounded(found, found, low, high, f"{low:g} to {high:g}")  # type: ignore[arg-type]

    return PlainValidator(read)


def name_or_quantity(dimension: str, low: str, high: str, example: str) -> PlainValidator:
    """Read a word that the stock will look up, or a quantity."""
    least, most = parse(low, dimension), parse(high, dimension)

    def read(found: object) -> str | float:
        if isinstance(found, str) and _WORDS.fullmatch(found[:61]):
            return found.strip()
        try:
            value = parse(found, dimension)  # type: ignore[arg-type]
        except QuantityError as error:
            also = f"; write a word in stock such as '{example}', or "
            raise fault(str(error).replace("; write ", also)) from None
        return _bounded(found, value, least, most, f"{low} to {high}")

    return PlainValidator(read)


def name_in_stock() -> PlainValidator:
    """Read a name that the stock will look up."""

    def read(found: object) -> str:
        if not isinstance(found, str):
            raise fault(f"{shown(found)} is not a name; write it in quotes")
        if not 0 < len(found.strip()) <= 60:
            raise fault(f"{shown(found)} is not a name; a name has 1 to 60 characters")
        return found.strip()

    return PlainValidator(read)


def flag() -> PlainValidator:
    """Read true or false."""

    def read(found: object) -> bool:
        if not isinstance(found, bool):
            raise fault(f"{shown(found)} is neither true nor false")
        return found

    return PlainValidator(read)


def whole(low: int, high: int) -> PlainValidator:
    """Read a whole number between two bounds."""

    def read(found: object) -> int:
        if isinstance(found, bool) or not isinstance(found, int):
            raise fault(f"{shown(found)} is not a whole number; write one from {low} to {high}")
        if not low <= found <= high:
            raise fault(f"{shown(found)} is out of reach; it must lie from {low} to {high}")
        return found

    return PlainValidator(read)


def free_text(longest: int) -> PlainValidator:
    """Read a note."""

    def read(found: object) -> str:
        if not isinstance(found, str) or len(found) > longest:
            raise fault(f"{shown(found)} is not a text of at most {longest} characters")
        return found

    return PlainValidator(read)


def push() -> PlainValidator:
    """Read how far the cloth is pushed together: 3, or "70 cm to 25 cm"."""

    def read(found: object) -> float:
        if isinstance(found, str) and " to " in found:
            first, _, last = found.partition(" to ")
            try:
                whole_length, pushed = parse(first, "length"), parse(last, "length")
            except QuantityError:
                raise fault(
                    f"{shown(found)} is not a squeeze; write 3, or '70 cm to 25 cm'"
                ) from None
            if whole_length < pushed:
                raise fault(
                    f"{shown(found)} is out of reach: the longer length comes first, and the "
                    "squeeze must lie from 1 (not pushed) to 6"
                )
            value = whole_length / pushed if pushed > 0 else math.inf
        elif is_number(found):
            value = float(found) if abs(found) < 1e9 else math.inf  # type: ignore[arg-type]
        else:
            raise fault(f"{shown(found)} is not a squeeze; write 3, or '70 cm to 25 cm'")
        return _bounded(found, value, 1.0, 6.0, "1 (not pushed) to 6")

    return PlainValidator(read)


def zone(known: Mapping[str, tuple[float, float]], more: str = "") -> PlainValidator:
    """Read where along the incline powder is laid: a word or [from, to]; `more` is allowed too."""

    def read(found: object) -> tuple[float, float]:
        if isinstance(found, str):
            if chosen := _same(found, known):
                return known[chosen]
            also = f", or two numbers such as [0.65, 1.0]{more}"
            raise fault(f"{shown(found)} is not known; {choices(found, known, also)}")
        numbers = isinstance(found, list) and len(found) == 2 and all(map(is_number, found))
        if not (numbers and 0 <= found[0] < found[1] <= 1):  # type: ignore[index]
            raise fault(
                f"{shown(found)} is not a zone; write low, middle, high, all, or two numbers "
                "from 0 (low end) to 1 (high end), the smaller first, such as [0.65, 1.0]"
            )
        return (float(found[0]), float(found[1]))  # type: ignore[index]

    return PlainValidator(read)


def spot(places: Mapping[str, Iterable[str]] = PLACES) -> PlainValidator:
    """Read a point of the garment: "chest", "10 cm below the neck", "2 in left of the middle".

    Two offsets go together: "1 in right of and 10 cm below the neck". Whether the blank has the
    place is known when the stock is at hand; here it must be a place of some blank.
    """
    known = tuple(dict.fromkeys(place for each in places.values() for place in each))
    example = "'10 cm below the neck'"

    def move(found: str, moved: list[float], length: str, way: str) -> None:
        length = length.strip()
        if not length:
            raise fault(f"{shown(found)} does not say how far; write it as in {example}")
        axis, sign = max(enumerate(_WAYS[way.casefold()]), key=lambda each: abs(each[1]))
        if moved[axis]:
            raise fault(f"{shown(found)} goes one way twice; write it as in {example}")
        moved[axis] = sign * _bounded(length, _read(length, "length"), 0.0, 2.0, "0 to 2 m")

    def read(found: object) -> Spot:
        if not isinstance(found, str) or len(found) > 200:
            raise fault(f"{shown(found)} is not a place; write one such as 'chest' or {example}")
        *offsets, named = _FROM.split(" " + " ".join(found.split()))
        moved = [0.0, 0.0]
        for length, way in zip(offsets[::2], offsets[1::2], strict=True):
            move(found, moved, length, way)
        named = re.sub("^ ?(?:the )?", "", named, flags=re.IGNORECASE)
        place = _same(named, known)
        if place:
            return Spot(place, *moved)
        if not named:
            raise fault(f"{shown(found)} names no place; write one such as 'chest' or {example}")
        if re.match("[0-9]", named):
            raise fault(
                f"{shown(found)} is not a place; with a length goes above, below, left of or "
                f"right of, as in {example}"
            )
        said = choices(named, known, f", or how far from one, such as {example}")
        raise fault(f"{shown(named)} is not a place; {said}")

    return PlainValidator(read)


def several(most: int, what: str, least: int = 0, example: str = "") -> BeforeValidator:
    """Read a list of tables; a single table serves as a list of one."""

    def read(found: Any) -> Any:
        if isinstance(found, Mapping):
            return [found]
        if not isinstance(found, list | tuple):
            hint = f" such as {example}" if example else ""
            raise fault(f"{shown(found)} is not a list of {what}{hint}")
        if not least <= len(found) <= most:
            allowed = (
                f"at least {least} is needed" if len(found) < least else f"at most {most} may be"
            )
            raise fault(f"{len(found)} {what} are written; {allowed}")
        return found

    return BeforeValidator(read)
