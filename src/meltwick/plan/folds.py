"""The folds of a plan, and which may follow which."""

from __future__ import annotations

import math
from typing import Annotated, Any

from pydantic import BeforeValidator, Discriminator, Field, Tag, model_validator

from meltwick.plan import words
from meltwick.plan.reading import (
    fault,
    flag,
    name_in_stock,
    number,
    push,
    quantity,
    spot,
    unknown_word,
    whole,
    word,
    word_or_quantity,
)
from meltwick.plan.table import Table
from meltwick.stock.reading import choices, listed, nearest
from meltwick.types import Spot
from meltwick.units import shown


class FoldTable(Table):
    """One fold; a key of another one says which."""

    @classmethod
    def _keys_elsewhere(cls) -> dict[str, str]:
        tables = FoldTable.__subclasses__()
        keys = {key for table in tables for key in table.model_fields}
        return {
            key: "with kind = " + listed(f"'{kind}'" for kind in kinds)
            for key in keys - set(cls.model_fields)
            if (kinds := [_kind_of(table) for table in tables if key in table.model_fields])
        }


class HalveFold(FoldTable):
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


class PoleFold(FoldTable):
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
    pushed_first: Annotated[str, word(("low", "high"))] = Field(
        default="low", description="the end of the pole that is pushed first, and tighter"
    )

    @model_validator(mode="after")
    def _one_size_one_push(self) -> PoleFold:
        _check_pole(self)
        return self


def _check_pole(fold: PoleFold | TubeFold) -> None:
    """Refuse a pole of two sizes, and pushing that is both even and uneven."""
    if fold.pole is not None and fold.diameter is not None:
        raise fault("the pole has a name already; write pole or diameter, not both", "diameter")
    if fold.even and "pushed_first" in fold.model_fields_set:
        raise fault(
            "pushed evenly, neither end comes first; leave pushed_first out, or write even = false",
            "pushed_first",
        )


class AccordionFold(FoldTable):
    """Zigzag into equal pleats."""

    kind: Annotated[str, word(("accordion",))] = Field(default="accordion", description="this fold")
    pleat: Annotated[float, quantity("length", "8 mm", "600 mm")] = Field(
        default=0.06, description="width of a pleat"
    )
    creases: Annotated[float, word_or_quantity(words.CREASES, "angle", "0 deg", "90 deg")] = Field(
        default=0.0, description="how the creases run: angle to the garment's length"
    )
    lean: Annotated[str, word(("right", "left"))] = Field(
        default="right", description="the shoulder towards which slanting creases point"
    )


class SpiralFold(FoldTable):
    """Twist round a point into a disc of standing pleats."""

    kind: Annotated[str, word(("spiral",))] = Field(default="spiral", description="this fold")
    centre: Annotated[Spot, spot()] = Field(
        default=Spot("middle"),
        description="where it is pinched, left and right as you look at the front",
    )
    pleats: Annotated[int, whole(4, 60)] = Field(
        default=12, description="pleats that meet at the centre"
    )
    turns: Annotated[float, number(0.5, 5.0)] = Field(
        default=1.0,
        description="how often it is twisted round: more make a tighter disc and straighter arms",
    )
    height: Annotated[float, quantity("length", "15 mm", "200 mm")] = Field(
        default=0.05, description="of the disc: no pleat stands taller"
    )
    twist: Annotated[str, word(("right", "left"))] = Field(
        default="right", description="the way it is turned: right, as a clock's hands, or left"
    )


class ScrunchFold(FoldTable):
    """Draw together from every side into a low mound."""

    kind: Annotated[str, word(("scrunch",))] = Field(default="scrunch", description="this fold")
    draw: Annotated[float, number(1.5, 5.0)] = Field(
        default=3.0, description="how much smaller the cloth is drawn each way"
    )
    bump: Annotated[float, quantity("length", "15 mm", "120 mm")] = Field(
        default=0.035, description="size of its bumps: of the cloth that a fold takes up"
    )


class RopeFold(FoldTable):
    """Gather into a long bundle, twist it to a rope, and fold it back on itself."""

    kind: Annotated[str, word(("rope",))] = Field(default="rope", description="this fold")
    way: Annotated[str, word(words.ROPE_WAYS)] = Field(
        default="along", description="how the rope runs: along the garment, or across it"
    )
    width: Annotated[float | None, quantity("length", "15 mm", "120 mm")] = Field(
        default=None,
        description="of the gathered bundle, before it is twisted; as wide as it is thick if left "
        "out",
    )
    turns: Annotated[float, number(0.5, 20.0)] = Field(
        default=2.5, description="how often one end is turned against the other"
    )
    doubled: Annotated[bool, flag()] = Field(
        default=True,
        description="folded back on itself, so that its halves wind round each other; otherwise "
        "it lies straight",
    )
    twist: Annotated[str, word(("right", "left"))] = Field(
        default="right", description="the way it is turned: right as a usual screw, or left"
    )


class RosettesFold(FoldTable):
    """Twist round many points, and hold the small spirals together as one disc."""

    kind: Annotated[str, word(("rosettes",))] = Field(default="rosettes", description="this fold")
    spacing: Annotated[float, quantity("length", "6 cm", "40 cm")] = Field(
        default=0.16, description="from one pinch to the next, about"
    )
    pleats: Annotated[int, whole(4, 30)] = Field(
        default=8, description="pleats that meet at each pinch"
    )
    turns: Annotated[float, number(0.3, 3.0)] = Field(
        default=0.6, description="how often each is twisted round"
    )
    height: Annotated[float, quantity("length", "15 mm", "100 mm")] = Field(
        default=0.03, description="of the disc: no pleat stands taller"
    )
    twist: Annotated[str, word(("right", "left"))] = Field(
        default="right", description="the way they are turned: right, as a clock's hands, or left"
    )


class TubeFold(FoldTable):
    """Pull over a pole as a tube, and push it together along the pole."""

    kind: Annotated[str, word(("tube",))] = Field(default="tube", description="this fold")
    pole: Annotated[str | None, name_in_stock()] = Field(
        default=None, description="the pole's trade name"
    )
    diameter: Annotated[float | None, quantity("length", "5 mm", "300 mm")] = Field(
        default=None, description="the pole's outside diameter, instead of its name"
    )
    sewn: Annotated[bool, flag()] = Field(
        default=False,
        description="sewn beside the pole to fit it, the rest wound over it; otherwise it lies in "
        "gathers along the pole",
    )
    squeeze: Annotated[float, push()] = Field(
        default=3.0, description="length of the tube over its length once pushed"
    )
    even: Annotated[bool, flag()] = Field(
        default=False, description="pushed evenly; otherwise tighter at the end pushed first"
    )
    pushed_first: Annotated[str, word(("low", "high"))] = Field(
        default="low", description="the end of the pole that is pushed first, and tighter"
    )

    @model_validator(mode="after")
    def _one_size_one_push(self) -> TubeFold:
        _check_pole(self)
        return self


def _kind_of(table: type[FoldTable]) -> str:
    return str(table.model_fields["kind"].default)


def _fold_kind(found: Any) -> str:
    kind = _kind_of(type(found)) if isinstance(found, FoldTable) else found.get("kind", "pole")
    return f"<{str(kind).casefold().strip()}>"


def _check_fold(found: Any) -> Any:
    if isinstance(found, Table):
        return found
    if not isinstance(found, dict):
        meant = (nearest(found, words.FOLDS) if isinstance(found, str) else None) or "pole"
        raise fault(f'{shown(found)} is not a fold; write {{ kind = "{meant}" }}')
    kind = found.get("kind", "pole")
    same = str(kind).casefold().strip() if isinstance(kind, str) else ""
    if same in words.FOLDS_LATER:
        raise fault(f"{shown(kind)} is not built yet; {choices('', words.FOLDS)}", "kind")
    if not same:
        raise fault(f"{shown(kind)} is not a fold; {choices('', words.FOLDS)}", "kind")
    traditional = words.TRADITIONAL.get(" ".join(same.split()))
    if traditional:
        sewn = {"sewn": True} if same == "bomaki" and "sewn" not in found else {}
        return {**found, "kind": traditional, **sewn}
    if same not in words.FOLDS:
        raise fault(unknown_word(str(kind), words.FOLDS, words.FOLDS_LATER), "kind")
    return found


Fold = Annotated[
    Annotated[HalveFold, Tag("<halve>")]
    | Annotated[PoleFold, Tag("<pole>")]
    | Annotated[AccordionFold, Tag("<accordion>")]
    | Annotated[SpiralFold, Tag("<spiral>")]
    | Annotated[ScrunchFold, Tag("<scrunch>")]
    | Annotated[RopeFold, Tag("<rope>")]
    | Annotated[RosettesFold, Tag("<rosettes>")]
    | Annotated[TubeFold, Tag("<tube>")],
    Discriminator(_fold_kind),
    BeforeValidator(_check_fold),
]


_ACROSS = math.radians(60)  # least angle between creases and a line that halves the pile; chosen


_TURNED = {
    "pole": "round a pole",
    "spiral": "into a spiral",
    "scrunch": "into a mound",
    "rosettes": "into rosettes",
    "rope": "into a rope",
}


def check_order(folds: tuple[Any, ...]) -> None:
    """Refuse folds that hands could not make one after the other.

    Raises
    ------
    PydanticCustomError
        Naming the fold that is in the way.
    """
    kinds = [fold.kind for fold in folds]
    if "tube" in kinds[1:]:
        raise fault(
            "folded cloth is no tube; leave out the folds before it",
            f"fold.{kinds.index('tube', 1) + 1}",
        )
    for last, why in (
        ("tube", "cloth on a pole cannot be folded again; end with the tube"),
        ("pole", "cloth on a pole cannot be folded again; end with the pole"),
        ("spiral", "a twisted disc cannot be folded again; end with the spiral"),
        ("scrunch", "a mound cannot be folded again; end with the scrunch"),
        ("rosettes", "a twisted disc cannot be folded again; end with the rosettes"),
        ("rope", "a rope cannot be folded again; end with the rope"),
    ):
        if last in kinds[:-1]:
            raise fault(why, f"fold.{kinds.index(last) + 2}")
    for n, fold in enumerate(folds, 1):
        before = kinds[: n - 1]
        if fold.kind in _TURNED and "accordion" in before:
            raise fault(
                f"pleated cloth cannot go {_TURNED[fold.kind]}; leave out the accordion or the "
                f"{fold.kind}",
                f"fold.{n}",
            )
        if fold.kind == "halve":
            _check_halving(folds[: n - 1], fold, n)


def _check_halving(before: tuple[Any, ...], fold: HalveFold, n: int) -> None:
    if any(other.kind == "halve" and other.line == fold.line for other in before):
        raise fault(f"it is folded at the {fold.line} already", f"fold.{n}.line")
    along = 0.0 if fold.line == "spine" else 0.5 * math.pi
    for other in before:
        if other.kind == "accordion" and abs(other.creases - along) < _ACROSS:
            raise fault(
                f"the {fold.line} does not run across the pleats; halve the cloth before it is "
                "pleated, or halve it across the pleats",
                f"fold.{n}.line",
            )
