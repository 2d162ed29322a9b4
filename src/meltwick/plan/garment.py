"""The plan's garment table, and what it means in numbers."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Annotated, Any, ClassVar

from pydantic import Field, PlainValidator, model_validator

from meltwick.errors import PlanError, StockError
from meltwick.plan import words
from meltwick.plan.outlines import LAYERS, UNITS, own_blank
from meltwick.plan.paths import MOST_POINTS
from meltwick.plan.reading import (
    fault,
    flag,
    is_number,
    name_in_stock,
    quantity,
    word,
    word_or_number,
)
from meltwick.plan.table import Table
from meltwick.stock import Stock
from meltwick.types import Blank, Fabric
from meltwick.units import shown

SIDES = ("top", "bottom", "left", "right")
_OWN = ("points", "units", "panels", "open", "hem")  # keys that want an outline of one's own


def _file() -> PlainValidator:
    def read(found: object) -> str:
        good = isinstance(found, str) and len(found) <= 300 and found.isprintable()
        if not good or not str(found).strip().casefold().endswith(".svg"):
            raise fault(
                f"{shown(found)} is not a drawing; write an SVG file such as 'my-shirt.svg'"
            )
        return str(found).strip()

    return PlainValidator(read)


def _points() -> PlainValidator:
    def read(found: object) -> tuple[tuple[float, float], ...]:
        if not isinstance(found, list) or not 3 <= len(found) <= MOST_POINTS:
            raise fault(
                f"{shown(found)} is no border; write three or more points, right and down, as in "
                "[[0, 0], [40, 0], [40, 60]]"
            )
        for number, point in enumerate(found, 1):
            pair = isinstance(point, list) and len(point) == 2 and all(map(is_number, point))
            if not pair or not all(abs(value) < 1e9 for value in point):
                raise fault(f"point {number} is {shown(point)}; each is two numbers, as in [40, 0]")
        return tuple((float(x), float(y)) for x, y in found)

    return PlainValidator(read)


def _sides() -> PlainValidator:
    def read(found: object) -> tuple[str, ...]:
        asked = found if isinstance(found, list) else [found]
        known = [side for side in SIDES if side in asked]
        if found == "none":
            return ()
        if not asked or len(known) != len(asked):
            raise fault(
                f"{shown(found)} is not a side; write {', '.join(SIDES)} or none, or several as in "
                '["top", "bottom"]'
            )
        return tuple(known)

    return PlainValidator(read)


class Garment(Table):
    """What is dyed."""

    _main: ClassVar[str] = "blank"

    blank: Annotated[str, name_in_stock()] = Field(default="tee", description="which garment")
    size: Annotated[str | None, name_in_stock()] = Field(default=None, description="its size")
    fabric: Annotated[str | None, name_in_stock()] = Field(default=None, description="its cloth")
    damp: Annotated[float, word_or_number(words.DAMP, 0.05, 3.0, percent=True)] = Field(
        default=words.DAMP["wrung"],
        description="water in the cloth at the start, over its dry weight",
    )
    scoured: Annotated[bool | None, flag()] = Field(
        default=None,
        description="whether the cloth was washed free of wax; the fabric says if left out",
    )
    ground: Annotated[str | None, name_in_stock()] = Field(
        default=None, description="the cloth's own colour: a ground in stock, or '#rrggbb'"
    )
    outline: Annotated[str, _file()] = Field(
        default="",
        description="instead of a blank: a drawing, beside the plan, of one closed shape, or of "
        "two with the ids front and back; its width and height in mm say how large it is",
    )
    points: Annotated[tuple[tuple[float, float], ...], _points()] = Field(
        default=(), description="instead of a blank: the corners of one shape, right and down"
    )
    units: Annotated[str, word(tuple(UNITS))] = Field(
        default="cm", description="what the points are measured in"
    )
    panels: Annotated[str, word(tuple(LAYERS))] = Field(
        default="", description="layers of an outline; one for each shape drawn if left out"
    )
    open: Annotated[tuple[str, ...], _sides()] = Field(
        default=("bottom",),
        description="sides of an outline where front and back are not sewn together",
    )
    hem: Annotated[float, quantity("length", "0 mm", "200 mm")] = Field(
        default=0.015, description="how wide an outline's open edges are turned up"
    )

    @model_validator(mode="after")
    def _one_piece(self) -> Garment:
        given = self.model_fields_set
        own = [key for key in ("outline", "points") if key in given]
        for key in ("blank", "size"):
            if own and key in given:
                raise fault(f"an {own[0]} takes the place of a blank; leave {key} out", key)
        if len(own) == 2:
            raise fault("an outline and points are one too many; leave one out", "points")
        for key in _OWN:
            if key in given and not own:
                raise fault("it goes with an outline or points of your own; leave it out", key)
        if "units" in given and "points" not in given:
            raise fault("it goes with points; a drawing has units of its own", "units")
        if self.points:
            scale = UNITS[self.units]
            scaled = tuple((x * scale, y * scale) for x, y in self.points)
            object.__setattr__(self, "points", scaled)
        return self


def dress(
    asked: Garment, stock: Stock, where: str, refuse: Callable[[str, str], PlanError]
) -> tuple[Blank, Fabric]:
    """Look up the blank, or take the maker's own outline, and the cloth with its ground.

    Parameters
    ----------
    asked : Garment
    stock : Stock
    where : str
        The plan's file.
    refuse : callable
        ``refuse(key, said)`` returns the error for a key of the garment.

    Raises
    ------
    PlanError
        A name is not in stock, or an outline makes no piece.
    """

    def ask(key: str, look_up: Callable[..., Any], *names: Any) -> Any:
        try:
            return look_up(*names)
        except StockError as error:
            raise refuse(key, str(error)) from None

    if asked.outline or asked.points:
        blank = own_blank(asked, where, refuse)
        usual = "cotton jersey"
    else:
        key = "size" if asked.blank in stock.blanks else "blank"
        blank = ask(key, stock.blank, asked.blank, asked.size)
        usual = stock.usual_fabric(blank.name).name
    fabric: Fabric = ask("fabric", stock.fabric, asked.fabric or usual)
    if asked.scoured is not None:
        fabric = replace(fabric, scoured=asked.scoured)
    if asked.ground is not None:
        fabric = _on_ground(asked.ground, fabric, ask, stock, refuse)
    return blank, fabric


def _on_ground(
    asked: str,
    fabric: Fabric,
    ask: Callable[..., Any],
    stock: Stock,
    refuse: Callable[[str, str], PlanError],
) -> Fabric:
    """Give cloth a ground of the stock, or a colour as it is seen."""
    bare = replace(fabric, ground=(), ground_colour="", ground_name="white")
    if asked.startswith("#"):
        if not re.fullmatch(r"#[0-9a-fA-F]{6}", asked):
            said = f"{shown(asked)} is no colour; write six figures as in '#bdd7e8'"
            raise refuse("ground", said)
        return replace(bare, ground_colour=asked.lower(), ground_name="undyed")
    if asked.casefold() == "white":
        return bare
    name, colour = ask("ground", stock.ground, asked)
    return replace(bare, ground_colour=colour, ground_name=name)
