"""The plan file as records. Words are kept where only the stock can turn them into numbers.

Every key has a default, so that a plan of three lines is whole; quantities are in SI once read.
"""

from __future__ import annotations

import re
from typing import Annotated, ClassVar

from pydantic import (
    Field,
    PlainValidator,
    PrivateAttr,
    model_validator,
)

from meltwick.plan import words
from meltwick.plan.folds import Fold, PoleFold, check_order
from meltwick.plan.garment import Garment
from meltwick.plan.laying import (
    BesideTable,
    DyeTable,
    IceTable,
    LiquorTable,
    RestTable,
    check_turning,
)
from meltwick.plan.reading import (
    Amount,
    fault,
    free_text,
    quantity,
    several,
    weight_or_measure,
    whole,
    word,
    word_or_number,
)
from meltwick.plan.starting import StartTable
from meltwick.plan.table import Table
from meltwick.plan.ties import TieTable, check_tie
from meltwick.units import GALLON, shown

RESERVED = {"con", "prn", "aux", "nul"} | {f"{p}{n}" for p in ("com", "lpt") for n in range(1, 10)}
"""Names that some system keeps for itself."""


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
        and found.split(".")[0].casefold() not in RESERVED
    )
    if not good:
        raise fault(
            f"{shown(found)} cannot name a plan; use letters, digits, - and _, at most 60 of them"
        )
    return str(found)


_LIES_AS_IT_IS = {
    "pole": "a pole",
    "tube": "a pole",
    "spiral": "a spiral's disc",
    "rosettes": "a disc of rosettes",
    "rope": "a rope",
}


class SodaTable(Table):
    """Soda ash, without which next to nothing fixes."""

    _main: ClassVar[str] = "how"

    how: Annotated[str, word(words.SODA_HOW)] = Field(
        default="soaked before folding",
        description="how the cloth gets it: tied up, the core gets less; dried in, the cloth is "
        "dry; sprinkled on the bundle, or mixed with the dye, it goes on dry",
    )
    amount: Annotated[Amount, weight_or_measure(1e-4, 20.0, "0.1 g to 20 kg")] = Field(
        default=Amount("volume", float(GALLON / 32)),
        description="soda ash in the soak; two level teaspoons if it goes on dry",
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

    @model_validator(mode="after")
    def _dry_needs_no_soak(self) -> SodaTable:
        for key in ("water", "time"):
            if self.how in words.SODA_DRY and key in self.model_fields_set:
                raise fault(f"'{self.how}', soda goes on dry; leave {key} out", key)
        return self


class BatchTable(Table):
    """The wait after the ice is gone."""

    _main: ClassVar[str] = "time"

    time: Annotated[float, quantity("time", "1 min", "14 days")] = Field(
        default=86400.0, description="how long, counted from when the ice is gone"
    )
    temperature: Annotated[float, quantity("temperature", "1 degC", "60 degC")] = Field(
        default=words.CELSIUS + 20, description="how warm"
    )
    cover: Annotated[str, word(words.COVER)] = Field(
        default="wrapped", description="wrapped, or open to the air"
    )


class RoundTable(Table):
    """One dyeing, from the folding to the wash."""

    fold: Annotated[tuple[Fold, ...], several(6, "folds", 0, '[{ kind = "pole" }]')] = Field(
        default=(PoleFold(),), description="folds, in order"
    )
    outside: Annotated[str, word(("front", "back"))] = Field(
        default="front",
        description="the side of the garment that ends outside, or faces up under the ice",
    )
    tie: TieTable = Field(default=TieTable(), description="what holds the bundle")
    soda: SodaTable = Field(default=SodaTable(), description="soda ash")
    rest: RestTable = Field(default=RestTable(), description="how the bundle lies")
    batch: BatchTable = Field(default=BatchTable(), description="the wait after the ice is gone")
    wash: Annotated[str, word(words.WASH)] = Field(
        default="careful", description="how it is rinsed"
    )
    ice: Annotated[
        tuple[IceTable, ...], several(10, "loads of ice", 0, '[{ amount = "8 cups" }]')
    ] = Field(default=(IceTable(),), description="loads of ice")
    liquor: LiquorTable | None = Field(
        default=None, description="run-off of another piece, with the ice or, if ice = [], alone"
    )
    beside: Annotated[
        tuple[BesideTable, ...], several(5, "pieces beside it", 0, '[{ plan = "socks.toml" }]')
    ] = Field(default=(), description="other pieces in the same tray, under the same ice")
    dye: Annotated[tuple[DyeTable, ...], several(24, "dyes", 0, '[{ dye = "coral" }]')] = Field(
        default=(DyeTable(),), description="dyes and where each is laid; [] for none"
    )
    notes: Annotated[str, free_text(4000)] = Field(default="", description="anything to remember")

    @model_validator(mode="after")
    def _folds_go_together(self) -> RoundTable:
        check_order(self.fold)
        last = self.fold[-1].kind if self.fold else ""
        check_tie(self.tie, self.fold)
        check_turning(self.ice, self.dye, self.liquor)
        if self.rest.lies and last in _LIES_AS_IT_IS:
            raise fault(
                f"'{self.rest.lies}' is for a folded pile; {_LIES_AS_IT_IS[last]} lies as it is, "
                "so leave lies out",
                "rest.lies",
            )
        if self.rest.lies == "pleats up" and "accordion" not in [fold.kind for fold in self.fold]:
            raise fault(
                "there are no pleats to stand up; fold an accordion, or write flat", "rest.lies"
            )
        return self


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
    start: StartTable | None = Field(
        default=None, description="photographs of the piece, if it is dyed over"
    )
    round: Annotated[tuple[RoundTable, ...], several(6, "rounds", 1)] = Field(
        default=(RoundTable(),),
        description="a dyeing; another one over it, folded anew, is another [[round]]",
    )

    _read_before: ClassVar[tuple[str, ...]] = ("schema",)

    @classmethod
    def _keys_elsewhere(cls) -> dict[str, str]:
        homes = {
            "inside start": StartTable.model_fields,
            "inside the [garment]": Garment.model_fields,
            "inside the [[round]]": RoundTable.model_fields,
        }
        return {key: home for home, keys in homes.items() for key in keys}

    _where: str = PrivateAttr("plan")
    _beside: str = PrivateAttr("plan")

    @property
    def where(self) -> str:
        """The file that the plan was read from, for messages."""
        return self._where

    @property
    def beside(self) -> str:
        """The same file as it is, beside which a drawing lies."""
        return self._beside
