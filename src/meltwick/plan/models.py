"""The plan file as records. Words are kept where only the stock can turn them into numbers.

Every key has a default, so that a plan of three lines is whole; quantities are in SI once read.
"""

from __future__ import annotations

import math
import re
from typing import Annotated, Any, ClassVar

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    PlainValidator,
    PrivateAttr,
    Tag,
    model_validator,
)

from meltwick.plan import words
from meltwick.plan.reading import (
    Amount,
    fault,
    flag,
    free_text,
    name_in_stock,
    name_or_quantity,
    push,
    quantity,
    several,
    unknown_word,
    weight_or_measure,
    whole,
    word,
    word_or_number,
    zone,
)
from meltwick.stock.reading import choices
from meltwick.units import GALLON, shown

CELSIUS = 273.15  # [K] at 0 degC
_RESERVED = {"con", "prn", "aux", "nul"} | {f"{p}{n}" for p in ("com", "lpt") for n in range(1, 10)}


def check_name(found: object) -> str:
    """Return a plan's name; it names a folder, so it is plain.

    Raises
    ------
    PydanticCustomError
        If it holds anything but letters, digits, spaces, hyphens, underscores and points.
    """
    good = (
        isinstance(found, str)
        and re.fullmatch(r"\w(?:[\w .-]{0,58}[\w-])?", found) is not None
        and found.split(".")[0].casefold() not in _RESERVED
    )
    if not good:
        raise fault(
            f"{shown(found)} cannot name a plan; use letters, digits, - and _, at most 60 of them"
        )
    return str(found)


class Table(BaseModel):
    """A table of the plan; a key it does not have is an error that names the nearest."""

    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True)

    _read_before: ClassVar[tuple[str, ...]] = ()
    _main: ClassVar[str] = ""  # the key that a bare word most likely means

    @classmethod
    def _keys_inside(cls) -> dict[str, str]:
        """Keys that belong in a table inside this one, and which."""
        return {}

    @model_validator(mode="before")
    @classmethod
    def _known_keys(cls, found: Any) -> Any:
        if isinstance(found, cls):
            return found
        if not isinstance(found, dict):
            plain = isinstance(found, str) and len(found) <= 30 and found.isprintable()
            value = f'"{found}"' if plain and '"' not in found else "..."
            hint = f" such as {{ {cls._main} = {value} }}" if cls._main else ""
            raise fault(f"{shown(found)} is not a table of keys{hint}")
        for key in found:
            if key not in cls.model_fields:
                allowed = [*cls._read_before, *cls.model_fields]
                home = cls._keys_inside().get(str(key))
                hint = f"; '{key}' goes inside the {home}" if home else ""
                raise fault(f"no such key; {choices(str(key), allowed)}{hint}", str(key))
        return found


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


class HalveFold(Table):
    """Fold in half."""

    kind: Annotated[str, word(("halve",))] = Field(default="halve", description="this fold")
    line: Annotated[str, word(("spine", "waist"))] = Field(
        default="spine", description="where it folds"
    )
    moves: Annotated[str, word(("left", "right", "top", "bottom"))] = Field(
        default="", description="the side that is turned over and lands on top"
    )

    @model_validator(mode="after")
    def _side_of_the_line(self) -> HalveFold:
        sides = ("left", "right") if self.line == "spine" else ("bottom", "top")
        if self.moves and self.moves not in sides:
            raise fault(
                f"'{self.moves}' does not lie beside the {self.line}; it may be "
                f"{sides[0]} or {sides[1]}",
                "moves",
            )
        return self

    @property
    def moving(self) -> str:
        """The side that moves, the usual one when the plan names none."""
        return self.moves or ("left" if self.line == "spine" else "bottom")


class PoleFold(Table):
    """Roll round a pole at a bias and push the roll together along it."""

    kind: Annotated[str, word(("pole",))] = Field(default="pole", description="this fold")
    pole: Annotated[str | None, name_in_stock()] = Field(
        default=None, description="the pole's trade name"
    )
    diameter: Annotated[float | None, quantity("length", "5 mm", "300 mm")] = Field(
        default=None, description="the pole's outside diameter, instead of its name"
    )
    bias: Annotated[float, quantity("angle", "0 deg", "90 deg")] = Field(
        default=math.radians(35), description="angle between the pole and the garment's length"
    )
    lean: Annotated[str, word(("right", "left"))] = Field(
        default="right", description="the shoulder towards which the pole points"
    )
    starts_at: Annotated[str, word(("hem", "shoulder"))] = Field(
        default="hem", description="the end that is laid on the pole first"
    )
    squeeze: Annotated[float, push()] = Field(
        default=3.0, description="length of the roll over its length once pushed"
    )
    even: Annotated[bool, flag()] = Field(
        default=False, description="pushed evenly; otherwise tighter at the end pushed first"
    )

    @model_validator(mode="after")
    def _one_size(self) -> PoleFold:
        if self.pole is not None and self.diameter is not None:
            raise fault("the pole has a name already; write pole or diameter, not both", "diameter")
        return self


def _fold_kind(found: Any) -> str:
    kind = found.kind if isinstance(found, HalveFold | PoleFold) else found.get("kind", "pole")
    return f"<{str(kind).casefold().strip()}>"


def _check_fold(found: Any) -> Any:
    if isinstance(found, Table):
        return found
    if not isinstance(found, dict):
        raise fault(f'{shown(found)} is not a fold; write {{ kind = "pole" }}')
    kind = found.get("kind", "pole")
    same = str(kind).casefold().strip() if isinstance(kind, str) else ""
    if same in words.FOLDS_LATER:
        raise fault(f"{shown(kind)} is not built yet; {choices('', words.FOLDS)}", "kind")
    if not same:
        raise fault(f"{shown(kind)} is not a fold; {choices('', words.FOLDS)}", "kind")
    if same not in words.FOLDS:
        raise fault(unknown_word(str(kind), words.FOLDS, words.FOLDS_LATER), "kind")
    return found


Fold = Annotated[
    Annotated[HalveFold, Tag("<halve>")] | Annotated[PoleFold, Tag("<pole>")],
    Discriminator(_fold_kind),
    BeforeValidator(_check_fold),
]


class TieTable(Table):
    """How the bundle is held."""

    _main: ClassVar[str] = "kind"

    kind: Annotated[str, word(words.TIES, words.TIES_LATER)] = Field(
        default="string", description="string wound round, or none"
    )
    spacing: Annotated[float, quantity("length", "3 mm", "300 mm")] = Field(
        default=0.025, description="from one turn of string to the next, along the pole"
    )
    pull: Annotated[str | float, name_or_quantity("force", "0.5 N", "200 N", "tight")] = Field(
        default="tight", description="how hard the string is pulled"
    )
    thickness: Annotated[float, quantity("length", "0.3 mm", "10 mm")] = Field(
        default=0.002, description="the string's thickness"
    )


class SodaTable(Table):
    """Soda ash, without which next to nothing fixes."""

    _main: ClassVar[str] = "how"

    how: Annotated[str, word(words.SODA_HOW, words.SODA_LATER)] = Field(
        default="soaked before folding", description="how the cloth gets it"
    )
    amount: Annotated[Amount, weight_or_measure(1e-4, 20.0, "0.1 g to 20 kg")] = Field(
        default=Amount("volume", float(GALLON / 32)), description="soda ash in the soak"
    )
    kind: Annotated[str, word(words.SODA_BULK)] = Field(
        default="light", description="light or dense powder, for amounts by the cup"
    )
    water: Annotated[float, quantity("volume", "100 mL", "200 L")] = Field(
        default=float(GALLON), description="water of the soak"
    )
    time: Annotated[float, quantity("time", "1 min", "48 h")] = Field(
        default=1200.0, description="how long it soaks"
    )


class RestTable(Table):
    """How the bundle lies while the ice melts."""

    _main: ClassVar[str] = "on"

    on: Annotated[str, word(words.RESTS, words.RESTS_LATER)] = Field(
        default="rack", description="what it lies on"
    )
    incline: Annotated[float, quantity("angle", "0 deg", "60 deg")] = Field(
        default=math.radians(15), description="how steep it lies"
    )
    room: Annotated[float, quantity("temperature", "2 degC", "45 degC")] = Field(
        default=CELSIUS + 20, description="the room's temperature while the ice melts"
    )


class BatchTable(Table):
    """The wait after the ice is gone."""

    _main: ClassVar[str] = "time"

    time: Annotated[float, quantity("time", "1 min", "14 days")] = Field(
        default=86400.0, description="how long, counted from when the ice is gone"
    )
    temperature: Annotated[float, quantity("temperature", "1 degC", "60 degC")] = Field(
        default=CELSIUS + 20, description="how warm"
    )
    cover: Annotated[str, word(words.COVER)] = Field(
        default="wrapped", description="wrapped, or open to the air"
    )


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


class DyeTable(Table):
    """One dye on one stretch of the bundle."""

    _main: ClassVar[str] = "dye"

    dye: Annotated[str, name_in_stock()] = Field(
        default="harbour blue", description="its name in stock"
    )
    amount: Annotated[
        Amount | str,
        weight_or_measure(1e-5, 0.5, "10 mg to 500 g", words=words.SPRINKLE),
    ] = Field(default="covered", description="how much powder: weight, level spoons, or a word")
    at: Annotated[tuple[float, float], zone(words.ZONES)] = Field(
        default=words.ZONES["all"], description="where along the incline"
    )
    powder: Annotated[str, word(words.POWDER)] = Field(
        default="under the ice", description="laid under the ice, or over it"
    )


class RoundTable(Table):
    """One dyeing, from the folding to the wash."""

    fold: Annotated[tuple[Fold, ...], several(6, "folds", 0, '[{ kind = "pole" }]')] = Field(
        default=(PoleFold(),), description="folds, in order"
    )
    tie: TieTable = Field(default=TieTable(), description="what holds the bundle")
    soda: SodaTable = Field(default=SodaTable(), description="soda ash")
    rest: RestTable = Field(default=RestTable(), description="how the bundle lies")
    batch: BatchTable = Field(default=BatchTable(), description="the wait after the ice is gone")
    wash: Annotated[str, word(words.WASH)] = Field(
        default="careful", description="how it is rinsed"
    )
    ice: Annotated[
        tuple[IceTable, ...], several(10, "loads of ice", 1, '[{ amount = "8 cups" }]')
    ] = Field(default=(IceTable(),), description="loads of ice")
    dye: Annotated[tuple[DyeTable, ...], several(24, "dyes", 0, '[{ dye = "coral" }]')] = Field(
        default=(DyeTable(),), description="dyes and where each is laid; [] for none"
    )
    notes: Annotated[str, free_text(4000)] = Field(default="", description="anything to remember")

    @model_validator(mode="after")
    def _folds_go_together(self) -> RoundTable:
        kinds = [fold.kind for fold in self.fold]
        if "pole" in kinds[:-1]:
            number = kinds.index("pole") + 2
            raise fault(
                "cloth on a pole cannot be folded again; end with the pole", f"fold.{number}"
            )
        if kinds[-1:] != ["pole"]:
            raise fault("a bundle without a pole is not built yet; end with a pole", "fold")
        lines = [fold.line for fold in self.fold if isinstance(fold, HalveFold)]
        for number, line in enumerate(lines, 1):
            if line in lines[: number - 1]:
                raise fault(f"it is folded at the {line} already", f"fold.{number}.line")
        return self


def _one_round(found: Any) -> Any:
    if isinstance(found, list) and len(found) > 1:
        raise fault(
            f"{len(found)} rounds are written; a second one is not built yet, so keep one [[round]]"
        )
    return found


class Plan(Table):
    """What a maker means to do, whole, with every default filled in."""

    name: Annotated[str, PlainValidator(check_name)] = Field(
        default="plan",
        description="names the folder of the results; the file's own name if left out",
    )
    notes: Annotated[str, free_text(4000)] = Field(default="", description="anything to remember")
    seed: Annotated[int, whole(0, 2**63 - 1)] = Field(
        default=1,
        description="which hand folds: another number, another piece made to the same plan",
    )
    neatness: Annotated[float, word_or_number(words.NEATNESS, 0.0, 1.0)] = Field(
        default=words.NEATNESS["relaxed"], description="how evenly the hand folds, 0 to 1"
    )
    garment: Garment = Field(default=Garment(), description="what is dyed")
    round: Annotated[
        tuple[RoundTable, ...], several(1, "rounds", 1), BeforeValidator(_one_round)
    ] = Field(default=(RoundTable(),), description="the dyeing")

    _read_before: ClassVar[tuple[str, ...]] = ("schema",)

    @classmethod
    def _keys_inside(cls) -> dict[str, str]:
        return dict.fromkeys(Garment.model_fields, "[garment]") | dict.fromkeys(
            RoundTable.model_fields, "[[round]]"
        )

    _where: str = PrivateAttr("plan")

    @property
    def where(self) -> str:
        """The file that the plan was read from, for messages."""
        return self._where
