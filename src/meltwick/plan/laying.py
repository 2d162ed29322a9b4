"""What lies on the bundle and what it lies in: loads of ice, dyes, and the rack or tub."""

from __future__ import annotations

import math
import re
from typing import Annotated, ClassVar

from pydantic import Field, PlainValidator, model_validator

from meltwick.plan import words
from meltwick.plan.reading import (
    Amount,
    fault,
    flag,
    is_number,
    name_in_stock,
    number,
    quantity,
    weight_or_measure,
    word,
    zone,
)
from meltwick.plan.table import Table
from meltwick.types import Patch, Sector
from meltwick.units import QuantityError, parse, shown

_SECTOR = re.compile(r"sector (\d{1,2}) of (\d{1,2})", re.IGNORECASE | re.ASCII)
_SLICES = 24
_WHERE = (
    "'sector 2 of 6', { sector = 2, of = 6 } or a patch such as "
    "{ up = 0.5, right = '3 cm', radius = '4 cm' }"
)


def place_on_bundle() -> PlainValidator:
    """Read where powder goes: a zone along the incline, a slice seen from above, or a patch."""
    along = zone(words.ZONES, f", {_WHERE}").func

    def read(found: object) -> tuple[float, float] | Sector | Patch:
        if isinstance(found, str) and (said := _SECTOR.fullmatch(" ".join(found[:40].split()))):
            return _sector(found, int(said[1]), int(said[2]))
        if isinstance(found, dict):
            if set(found) == {"sector", "of"}:
                return _sector(found, found["sector"], found["of"])
            if "radius" in found and set(found) <= {"up", "right", "left", "radius"}:
                return _patch(found)
            raise fault(f"{shown(found)} is no place on the bundle; write {_WHERE}")
        return along(found)  # type: ignore[no-any-return, call-arg]

    return PlainValidator(read)


def plan_file() -> PlainValidator:
    """Read the name of another plan's file."""

    def read(found: object) -> str:
        good = isinstance(found, str) and found.strip().casefold().endswith(".toml")
        if not good or len(str(found)) > 200 or "\0" in str(found):
            raise fault(f"{shown(found)} is not a plan's file; its name ends in .toml")
        return str(found).strip()

    return PlainValidator(read)


def _sector(found: object, which: object, of: object) -> Sector:
    good = type(which) is int and type(of) is int and 2 <= of <= _SLICES and 1 <= which <= of
    if not good:
        raise fault(
            f"{shown(found)} is no slice; count them from 1 at the high end, as a clock's hands "
            f"go, 2 to {_SLICES} in all, such as 'sector 2 of 6'"
        )
    return Sector((which - 1) / of, which / of)  # type: ignore[operator]


def _patch(found: dict[str, object]) -> Patch:
    up = found.get("up", 0.5)
    if not is_number(up) or not 0.0 <= up <= 1.0:  # type: ignore[operator]
        raise fault(f"{shown(up)} is not how far up a patch lies; write a number from 0 to 1")
    try:
        if "right" in found and "left" in found:
            raise fault(f"{shown(found)} goes right and left; write one of them")
        right = parse(found.get("right", "0 cm"), "length")  # type: ignore[arg-type]
        right -= parse(found.get("left", "0 cm"), "length")  # type: ignore[arg-type]
        radius = parse(found["radius"], "length")  # type: ignore[arg-type]
    except QuantityError as error:
        raise fault(str(error)) from None
    if not (abs(right) <= 2.0 and 0.005 <= radius <= 0.5):
        raise fault(
            f"{shown(found)} is out of reach; the radius must lie from 5 mm to 50 cm, and right "
            "or left within 2 m"
        )
    return Patch(float(up), right, radius)  # type: ignore[arg-type]


class IceTable(Table):
    """One load of ice."""

    _main: ClassVar[str] = "amount"

    amount: Annotated[Amount | None, weight_or_measure(0.01, 100.0, "10 g to 100 kg")] = Field(
        default=None,
        description="how much, by weight or by the cup; enough for the cloth if left out",
    )
    kind: Annotated[str, word(words.ICE_BULK)] = Field(default="cubes", description="what ice")
    chunk: Annotated[float | None, quantity("length", "0.5 mm", "150 mm")] = Field(
        default=None, description="a typical piece; usual for its kind if left out"
    )
    after: Annotated[float, quantity("time", "0 min", "72 h")] = Field(
        default=0.0,
        description="when it is laid, after the first ice or after the bundle is turned over",
    )
    heap: Annotated[str, word(words.HEAPS)] = Field(
        default="mounded",
        description="how it lies: of a mound much falls beside, of a level layer little, of ice "
        "with a fence round it or in a trough nothing",
    )
    turned: Annotated[bool, flag()] = Field(
        default=False,
        description="laid on the other side: the bundle is turned over when the first ice is gone",
    )


class DyeTable(Table):
    """One dye in one place on the bundle."""

    _main: ClassVar[str] = "dye"

    dye: Annotated[str, name_in_stock()] = Field(
        default="harbour blue", description="its name in stock"
    )
    amount: Annotated[
        Amount | str,
        weight_or_measure(1e-5, 0.5, "10 mg to 500 g", words=words.SPRINKLE),
    ] = Field(default="covered", description="how much powder: weight, level spoons, or a word")
    at: Annotated[tuple[float, float] | Sector | Patch, place_on_bundle()] = Field(
        default=words.ZONES["all"],
        description="where: along the incline, a slice seen from above, or a round patch",
    )
    powder: Annotated[str, word(words.POWDER)] = Field(
        default="under the ice", description="laid under the ice, over it, or half and half"
    )
    side: Annotated[str, word(words.SIDES)] = Field(
        default="top", description="the side of the bundle that gets it"
    )
    turned: Annotated[bool, flag()] = Field(
        default=False, description="laid once the bundle is turned over, before its fresh ice"
    )

    @model_validator(mode="after")
    def _over_ice_is_on_top(self) -> DyeTable:
        if self.side != "top" and words.POWDER[self.powder] is not False:
            raise fault(
                f"what lies over the ice cannot lie on '{self.side}'; write top, or powder = "
                "'under the ice'",
                "side",
            )
        return self


class RestTable(Table):
    """How the bundle lies while the ice melts."""

    _main: ClassVar[str] = "on"

    on: Annotated[str, word(words.RESTS)] = Field(
        default="rack",
        description="what it lies on: off a rack water runs away, in a tub or bucket it gathers "
        "and the lower part stands in it",
    )
    lies: Annotated[str, word(words.LIES)] = Field(
        default="",
        description="a folded pile: pleats up, or flat on the rack; pleats stand up if left out",
    )
    incline: Annotated[float, quantity("angle", "0 deg", "60 deg")] = Field(
        default=math.radians(15),
        description="how steep it lies; level on a flat rack, in a tub or a bucket, if left out",
    )
    across: Annotated[float | None, quantity("length", "10 cm", "120 cm")] = Field(
        default=None, description="how wide the floor of the tub or bucket is"
    )
    room: Annotated[float, quantity("temperature", "2 degC", "45 degC")] = Field(
        default=words.CELSIUS + 20, description="the room's temperature while the ice melts"
    )

    @model_validator(mode="after")
    def _keys_of_what_it_lies_on(self) -> RestTable:
        if self.across is not None and self.on not in words.TUBS:
            raise fault(f"it is how wide a tub is, and this lies on a {self.on}", "across")
        if self.on == "flat rack" and "incline" in self.model_fields_set and self.incline > 0.0:
            raise fault("a flat rack is level; leave incline out, or write on = 'rack'", "incline")
        return self

    @property
    def slope(self) -> float:
        """The incline as it is: what is level by its name is level unless it says more [rad]."""
        written = self.on == "rack" or "incline" in self.model_fields_set
        return self.incline if written else 0.0

    @property
    def floor(self) -> float:
        """Area of the tub's floor [m2]; 0 where water runs away."""
        if self.on not in words.TUBS:
            return 0.0
        wide = words.TUBS[self.on] if self.across is None else self.across
        return 0.25 * math.pi * wide**2


class LiquorTable(Table):
    """Run-off of another piece, caught for this one below it."""

    _main: ClassVar[str] = "plan"

    plan: Annotated[str, plan_file()] = Field(
        default="", description="the other piece's plan, a file beside this one"
    )
    share: Annotated[float, number(0.01, 1.0)] = Field(
        default=1.0, description="how much of its run-off, 0.01 to 1"
    )
    over: Annotated[float | None, quantity("time", "1 min", "72 h")] = Field(
        default=None,
        description="how long it runs over this piece; as long as the other's ice melts if left "
        "out",
    )

    @model_validator(mode="after")
    def _names_a_plan(self) -> LiquorTable:
        if not self.plan:
            raise fault("whose run-off is it? write plan = 'the-piece-above.toml'", "plan")
        return self


class BesideTable(Table):
    """Another piece that lies beside this one: it shares the tray, the ice and the liquor."""

    _main: ClassVar[str] = "plan"

    plan: Annotated[str, plan_file()] = Field(
        default="",
        description="the other piece's plan, a file beside this one: its garment, folds, tie and "
        "powder; all else is this plan's",
    )

    @model_validator(mode="after")
    def _names_a_plan(self) -> BesideTable:
        if not self.plan:
            raise fault("which piece lies beside it? write plan = 'the-other-piece.toml'", "plan")
        return self


def check_turning(
    ice: tuple[IceTable, ...], dyes: tuple[DyeTable, ...], liquor: LiquorTable | None
) -> None:
    """Refuse a turning without ice before it and after it, and no ice without liquor.

    Raises
    ------
    PydanticCustomError
        Naming what is missing.
    """
    turned = [load.turned for load in ice]
    if not ice and liquor is None:
        raise fault("0 loads of ice are written; at least 1 is needed", "ice")
    if all(turned) and liquor is None:
        raise fault("all of it is laid after the bundle is turned; some must melt before", "ice")
    if any(line.turned for line in dyes) and not any(turned):
        raise fault(
            "dye is laid after the bundle is turned, and no ice; add one with turned = true", "ice"
        )
