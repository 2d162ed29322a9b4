"""The tie of a plan: its kinds, the keys of each, and which bundles take it."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar

from pydantic import Field, PlainValidator, model_validator

from meltwick.plan import words
from meltwick.plan.reading import (
    fault,
    flag,
    is_number,
    name_or_quantity,
    quantity,
    spot,
    whole,
    word,
    word_or_quantity,
)
from meltwick.plan.table import Table
from meltwick.stock.reading import listed
from meltwick.types import Spot
from meltwick.units import shown

TIE_KEYS: dict[str, tuple[str, ...]] = {
    "string": ("spacing", "thickness", "crossed", "pull"),
    "bands": ("count", "width", "pull"),
    "clamps": ("shape", "size", "breadth", "at", "turn", "force"),
    "stitching": ("rows", "line", "stitch", "spacing", "thickness", "pull"),
    "rings": (
        "spots",
        "every",
        "from_tip",
        "times",
        "apart",
        "wound",
        "thickness",
        "pull",
        "outline",
        "capped",
    ),
}
"""Which keys each kind has, `kind` apart."""

_SHARED = {"spacing", "thickness", "pull"}
_MIDDLE = (0.5, 0.5)


def _spot_on_pile() -> PlainValidator:
    """Read where on a pile plates lie: middle, or how far [across, along] it, 0 to 1."""

    def read(found: object) -> tuple[float, float]:
        if isinstance(found, str) and found.strip().casefold() == "middle":
            return _MIDDLE
        pair = isinstance(found, list) and len(found) == 2 and all(map(is_number, found))
        if not (pair and all(0 <= each <= 1 for each in found)):  # type: ignore[attr-defined]
            raise fault(
                f"{shown(found)} is no place on the pile; write middle, or how far across and "
                "along it, two numbers from 0 to 1 such as [0.5, 0.3]"
            )
        return (float(found[0]), float(found[1]))  # type: ignore[index]

    return PlainValidator(read)


def _spots() -> PlainValidator:
    """Read places of the garment: one, or a list of them."""
    one = spot()

    def read(found: object) -> tuple[Spot, ...]:
        several = found if isinstance(found, list) else [found]
        if not 1 <= len(several) <= 60:
            raise fault(f"{len(several)} spots are written; write 1 to 60 such as ['chest']")
        return tuple(one.func(each) for each in several)  # type: ignore[call-arg]

    return PlainValidator(read)


def _two_spots() -> PlainValidator:
    """Read the two places of a line."""
    one = spot()

    def read(found: object) -> tuple[Spot, ...]:
        if not isinstance(found, list) or len(found) != 2:
            raise fault(
                f"{shown(found)} is no line; write two places such as ['left shoulder', 'middle']"
            )
        first, last = (one.func(each) for each in found)  # type: ignore[call-arg]
        if first == last:
            raise fault(f"{shown(found)} is one place twice; a line needs two")
        return (first, last)

    return PlainValidator(read)


class TieTable(Table):
    """How the bundle is held."""

    _main: ClassVar[str] = "kind"

    kind: Annotated[str, word(words.TIES, words.TIES_LATER, words.TRADITIONAL_TIES)] = Field(
        default="string",
        description="string wound round, bands through the middle, clamps on both faces, peaks "
        "tied off with rings of thread, rows of running stitch drawn up, or none; "
        "a spiral takes bands, and cloth that is not folded none, if nothing is written",
    )
    spacing: Annotated[float, quantity("length", "3 mm", "300 mm")] = Field(
        default=0.025,
        description="from one turn of string to the next, along the bundle, or from row to row of "
        "stitches",
    )
    pull: Annotated[str | float, name_or_quantity("force", "0.5 N", "200 N", "tight")] = Field(
        default="tight",
        description="how hard the string or each band is pulled; bands snug if left out",
    )
    thickness: Annotated[float, quantity("length", "0.3 mm", "10 mm")] = Field(
        default=0.002, description="the string's thickness"
    )
    crossed: Annotated[bool, flag()] = Field(
        default=False,
        description="whether the string is wound there and back again, so that it makes diamonds",
    )
    spots: Annotated[tuple[Spot, ...] | None, _spots()] = Field(
        default=None,
        description="where peaks are drawn up: a place, or a list of them; the middle if left out",
    )
    every: Annotated[float | None, quantity("length", "3 cm", "1 m")] = Field(
        default=None,
        description="peaks scattered over the cloth, no two nearer than this, instead of spots",
    )
    from_tip: Annotated[float, quantity("length", "1 cm", "50 cm")] = Field(
        default=0.05, description="cloth from a peak's tip to its first ring of thread"
    )
    times: Annotated[int, whole(1, 12)] = Field(
        default=1, description="rings of thread round each peak, farther and farther down"
    )
    apart: Annotated[float, quantity("length", "5 mm", "20 cm")] = Field(
        default=0.03, description="from one ring of thread to the next on a peak"
    )
    wound: Annotated[int, whole(1, 40)] = Field(
        default=6, description="turns of thread side by side in each ring"
    )
    outline: Annotated[str, word(words.OUTLINES)] = Field(
        default="circle",
        description="of a ring on the flat cloth; a square, a diamond or a heart is stitched round "
        "and drawn up, from_tip the way to the middle of its side, or half a heart's width",
    )
    capped: Annotated[bool, flag()] = Field(
        default=False, description="whether the peak is bound in film, so that its inside keeps dry"
    )
    rows: Annotated[str, word(words.ROWS)] = Field(
        default="across", description="how rows of running stitch run over the garment"
    )
    line: Annotated[tuple[Spot, ...] | None, _two_spots()] = Field(
        default=None,
        description="instead of rows: one row of stitches, from edge to edge through two places",
    )
    stitch: Annotated[float, quantity("length", "8 mm", "60 mm")] = Field(
        default=0.012, description="length of a stitch, and so the width of a gather"
    )
    count: Annotated[int, whole(1, 24)] = Field(
        default=3, description="how many bands; each makes two wedges of a disc"
    )
    width: Annotated[float, quantity("length", "1 mm", "30 mm")] = Field(
        default=0.004, description="a band's width"
    )
    shape: Annotated[str, word(words.PLATES)] = Field(
        default="square", description="of the two plates that clamps press on a pile"
    )
    size: Annotated[float, quantity("length", "1 cm", "60 cm")] = Field(
        default=0.06, description="a plate's side, the width of a disc, or the length of a bar"
    )
    breadth: Annotated[float | None, quantity("length", "5 mm", "30 cm")] = Field(
        default=None, description="of a bar; a quarter of its length if left out"
    )
    at: Annotated[tuple[float, float], _spot_on_pile()] = Field(
        default=_MIDDLE,
        description="the plates' middle: middle, or how far across and along the pile, 0 to 1",
    )
    turn: Annotated[float, quantity("angle", "0 deg", "360 deg")] = Field(
        default=0.0,
        description="how far the plates are turned: a square stands straight, a triangle points "
        "to the high end, a bar lies across",
    )
    force: Annotated[float, word_or_quantity(words.CLAMPED, "force", "5 N", "20000 N")] = Field(
        default=words.CLAMPED["tight"], description="with which the clamps press a plate"
    )

    @model_validator(mode="after")
    def _keys_of_its_kind(self) -> TieTable:
        kind = self.kind_after("")
        for key in self.model_fields_set - {"kind"}:
            homes = [other for other, keys in TIE_KEYS.items() if key in keys]
            if kind not in (*homes, "none"):
                if len(homes) > 1 and "kind" not in self.model_fields_set:
                    continue
                raise fault(
                    f"it goes with {listed(homes)}, and this tie is {kind}; leave {key} out, or "
                    f"write kind = '{homes[0]}'",
                    key,
                )
        if self.breadth is not None and self.shape != "bar":
            raise fault(
                f"it is a bar's, and this plate is a {self.shape}; leave breadth out, or write "
                "shape = 'bar'",
                "breadth",
            )
        if self.line is not None:
            for key in ("rows", "spacing"):
                if key in self.model_fields_set:
                    raise fault(f"a line is one row; leave {key} out", key)
        if self.spots is not None and self.every is not None:
            raise fault(
                "the peaks have their spots already; write spots or every, not both", "every"
            )
        return self

    def kind_after(self, last_fold: str) -> str:
        """Return the kind of tie: as written, else as its keys say, else as the fold wants."""
        if "kind" in self.model_fields_set:
            return self.kind
        for kind in ("stitching", "rings", "string", "bands", "clamps"):
            own = set(TIE_KEYS[kind]) - {"pull"}
            if self.model_fields_set & (own if kind == "string" else own - _SHARED):
                return kind
        if not last_fold and not self.model_fields_set:
            return "none"
        return "bands" if last_fold in ("spiral", "rosettes", "scrunch") else self.kind


def check_tie(tie: TieTable, folds: tuple[Any, ...]) -> None:
    """Refuse a tie that does not go on what is folded.

    Raises
    ------
    PydanticCustomError
        Naming the tie's kind.
    """
    last = folds[-1].kind if folds else ""
    kind = tie.kind_after(last)
    if kind == "stitching" and last not in ("", "halve"):
        raise fault(
            "'stitching' gathers flat cloth into pleats of its own; leave it unfolded, with "
            "fold = [], or only halve it",
            "tie.kind",
        )
    if kind == "rings" and last not in ("", "halve"):
        raise fault(
            "peaks for 'rings' are drawn up out of flat cloth; leave it unfolded, with fold = [], "
            "or only halve it",
            "tie.kind",
        )
    if last in ("pole", "tube") and kind == "bands":
        raise fault(
            "'bands' go round a disc or a brick; cloth on a pole takes string or none", "tie.kind"
        )
    if kind == "clamps" and last not in ("", "halve", "accordion"):
        raise fault(
            "'clamps' press flat piles, such as an accordion or a brick; take string, bands or "
            "none here",
            "tie.kind",
        )
