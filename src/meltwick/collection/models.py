"""The collection file as records: its pieces, the maker's prices, the workshop."""

from __future__ import annotations

import re
from datetime import date, time
from typing import Annotated, ClassVar

from pydantic import Field, PlainValidator

from meltwick.plan.models import check_name
from meltwick.plan.reading import (
    fault,
    flag,
    free_text,
    is_number,
    name_in_stock,
    quantity,
    several,
    whole,
)
from meltwick.plan.table import Table
from meltwick.stock.reading import choices
from meltwick.units import shown
from meltwick.workshop.jobs import WEEKDAYS

_FULL = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
MOST = 60  # pieces of one collection


def _day(found: object) -> date:
    if isinstance(found, date):
        return date(found.year, found.month, found.day)
    if isinstance(found, str) and re.fullmatch(r"\d{4}-\d{2}-\d{2}", found.strip()):
        try:
            return date.fromisoformat(found.strip())
        except ValueError:
            pass
    raise fault(f"{shown(found)} is not a day; write one such as '2026-12-07'")


def _days(found: object) -> tuple[date, ...]:
    if not isinstance(found, list):
        raise fault(f"{shown(found)} is not a list of days such as ['2026-12-24', '2026-12-25']")
    return tuple(_day(each) for each in found)


def _weekday(found: object) -> str:
    if isinstance(found, str):
        word = found.strip().casefold()
        for short, full in zip(WEEKDAYS, _FULL, strict=True):
            if word == short.casefold() or word == full:
                return short
        raise fault(f"{shown(found)} is not a day of the week; {choices(found, WEEKDAYS)}")
    raise fault(f"{shown(found)} is not a day of the week; {choices('', WEEKDAYS)}")


def _clock(text: str) -> time | None:
    found = re.fullmatch(r"\s*(\d{1,2})[:.](\d{2})\s*", text)
    if not found or int(found[1]) > 24 or int(found[2]) > 59:
        return None
    if int(found[1]) == 24:
        return time(0, 0) if int(found[2]) == 0 else None
    return time(int(found[1]), int(found[2]))


def _span(found: object) -> tuple[time, time]:
    if isinstance(found, str) and len(found) <= 40:
        first, _, last = found.partition(" to ")
        start, end = _clock(first), _clock(last)
        if start is not None and end is not None and (end == time(0, 0) or start < end):
            return start, end
    raise fault(f"{shown(found)} are not hours of work; write them such as '9:00 to 17:00'")


def _hours(found: object) -> dict[str, tuple[time, time]]:
    """Read one span for all days, or a table of days and their spans."""
    if isinstance(found, str):
        span = _span(found)
        return dict.fromkeys(WEEKDAYS[:5], span)
    if isinstance(found, dict) and found:
        return {_weekday(day): _span(span) for day, span in found.items()}
    raise fault(
        f"{shown(found)} are not hours of work; write '9:00 to 17:00', or "
        "{ Mon = '9:00 to 17:00', Sat = '10:00 to 14:00' }"
    )


def _counts(what: str) -> PlainValidator:
    def read(found: object) -> dict[str, int]:
        good = isinstance(found, dict) and all(
            isinstance(count, int) and not isinstance(count, bool) and 0 <= count <= 99
            for count in found.values()
        )
        if not good:
            raise fault(f"{shown(found)} is not a table of {what}")
        return {str(name): int(count) for name, count in found.items()}  # type: ignore[attr-defined]

    return PlainValidator(read)


def _price(found: object) -> float:
    if not is_number(found) or not 0 <= found <= 1e6:  # type: ignore[operator]
        raise fault(f"{shown(found)} is not a price; write a number such as 7.5, without currency")
    return float(found)  # type: ignore[arg-type]


def _prices(what: str) -> PlainValidator:
    def read(found: object) -> dict[str, float]:
        if not isinstance(found, dict):
            raise fault(f"{shown(found)} is not a table of prices such as {{ {what} }}")
        return {str(name).strip().casefold(): _price(each) for name, each in found.items()}

    return PlainValidator(read)


Price = Annotated[float | None, PlainValidator(lambda found: _price(found))]


class PriceTable(Table):
    """What things cost the maker, in the maker's currency."""

    blank: Annotated[dict[str, float], _prices("tee = 7.5")] = Field(
        default={}, description="each blank, by its name, one piece"
    )
    dye: Annotated[dict[str, float], _prices("coral = 0.3, other = 0.25")] = Field(
        default={}, description="each dye, by its name, one gram; other for all not named"
    )
    soda: Price = Field(default=None, description="soda ash, one kilogram")
    ice: Price = Field(default=None, description="ice, one kilogram")
    string: Price = Field(default=None, description="string or thread, one metre")
    wash: Price = Field(default=None, description="one load of the washing machine")
    hour: Price = Field(default=None, description="one hour of your hands")
    other: Price = Field(default=None, description="label, paper, post: one piece")

    def of_blank(self, name: str) -> float | None:
        """Price of a blank; None where there is none."""
        return self.blank.get(name.casefold())

    def of_dye(self, name: str) -> float | None:
        """Price of a gram of a dye: its own, or that of all others; None where there is none."""
        return self.dye.get(name.casefold(), self.dye.get("other"))


class WorkshopTable(Table):
    """When the maker works, and with what."""

    start: Annotated[date | None, PlainValidator(_day)] = Field(
        default=None, description="the first day; tomorrow if left out"
    )
    hours: Annotated[dict[str, tuple[time, time]], PlainValidator(_hours)] = Field(
        default_factory=lambda: _hours("9:00 to 17:00"),
        description="hours of work on Monday to Friday, or a table of days and hours",
    )
    days_off: Annotated[tuple[date, ...], PlainValidator(_days)] = Field(
        default=(), description="days without work"
    )
    racks: Annotated[int, whole(0, 99)] = Field(default=2, description="racks that hold a bundle")
    tubs: Annotated[int, whole(1, 99)] = Field(default=2, description="tubs to soak in")
    poles: Annotated[dict[str, int], _counts("poles such as { '1-1/2 in pipe' = 2 }")] = Field(
        default={}, description="poles by trade name, how many of each; one each if left out"
    )
    machines: Annotated[int, whole(1, 20)] = Field(default=1, description="washing machines")
    ice: Annotated[float | None, quantity("mass", "100 g", "1000 kg")] = Field(
        default=None, description="ice that can be frozen or bought a day; no bound if left out"
    )
    load: Annotated[float, quantity("mass", "100 g", "100 kg")] = Field(
        default=3.0, description="dry cloth that a wash load takes"
    )
    load_pieces: Annotated[int, whole(1, 99)] = Field(
        default=6, description="pieces that a wash load takes"
    )
    people: Annotated[int, whole(1, 20)] = Field(default=1, description="people at work")


class PieceTable(Table):
    """One piece of the collection."""

    _main: ClassVar[str] = "plan"

    plan: Annotated[str, name_in_stock()] = Field(description="its plan, a file beside this one")
    price: Price = Field(default=None, description="what it shall be sold for")
    count: Annotated[int, whole(1, 20)] = Field(default=1, description="how many are made")
    notes: Annotated[str, free_text(400)] = Field(default="", description="a line on the board")


class ExportTable(Table):
    """Pictures of single pieces."""

    forms: Annotated[tuple[str, ...], PlainValidator(lambda found: _forms(found))] = Field(
        default=(), description="square 1080, 4:5 1080, long 2048: form and longest side in pixels"
    )
    names: Annotated[str, free_text(80)] = Field(
        default="{name}-{form}", description="pattern of file names: {number}, {name}, {form}"
    )
    plain: Annotated[bool, flag()] = Field(default=False, description="no words on the pictures")


def _forms(found: object) -> tuple[str, ...]:
    if isinstance(found, str):
        found = [found]
    if not isinstance(found, list | tuple) or not all(isinstance(x, str) for x in found):
        raise fault(f"{shown(found)} is not a list of forms such as ['square 1080', 'long 2048']")
    return tuple(check_form(each) for each in found)


def check_form(text: str) -> str:
    """Return a picture's form as it is kept: ``square 1080``, ``4:5 1080``, ``long 2048``.

    Raises
    ------
    PydanticCustomError
        If it is none.
    """
    match = re.fullmatch(r"(square|[1-9]\d?:[1-9]\d?|long)\s+(\d{2,5})(?:\s*px)?", text.strip())
    if not match or not 64 <= int(match[2]) <= 6000:
        raise fault(
            f"{shown(text)} is not a form; write square 1080, 4:5 1080 or long 2048, from 64 to "
            "6000 pixels on the longest side"
        )
    wide, _, tall = match[1].partition(":")
    if tall and not 0.25 <= int(wide) / int(tall) <= 4.0:
        raise fault(f"{shown(text)} is too narrow; sides may be 1:4 to 4:1")
    return f"{match[1]} {int(match[2])}"


class Collection(Table):
    """Pieces that belong together."""

    name: Annotated[str, PlainValidator(check_name)] = Field(
        default="collection", description="names the folder of the results"
    )
    notes: Annotated[str, free_text(4000)] = Field(default="", description="a text on the board")
    currency: Annotated[str, free_text(8)] = Field(
        default="", description="word or sign written after prices"
    )
    piece: Annotated[tuple[PieceTable, ...], several(MOST, "pieces", 1)] = Field(
        default=(), description="the pieces, in the order of the board"
    )
    prices: PriceTable = Field(default=PriceTable(), description="what things cost you")
    workshop: WorkshopTable = Field(
        default_factory=WorkshopTable, description="when you work, and with what"
    )
    export: ExportTable = Field(default=ExportTable(), description="pictures of single pieces")
    _read_before: ClassVar[tuple[str, ...]] = ("schema",)

    @classmethod
    def _keys_elsewhere(cls) -> dict[str, str]:
        return (
            dict.fromkeys(WorkshopTable.model_fields, "inside the [workshop]")
            | dict.fromkeys(PriceTable.model_fields, "inside the [prices]")
            | dict.fromkeys(PieceTable.model_fields, "inside a [[piece]]")
        )
