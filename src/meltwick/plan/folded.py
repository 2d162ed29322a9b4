"""The folds of a plan in numbers, with the stock at hand."""

from __future__ import annotations

from typing import Any

from meltwick.plan import words
from meltwick.plan.folds import (
    AccordionFold,
    HalveFold,
    PoleFold,
    RopeFold,
    RosettesFold,
    ScrunchFold,
    SpiralFold,
    TubeFold,
)
from meltwick.plan.place import Place
from meltwick.stock import Stock
from meltwick.stock.reading import choices
from meltwick.types import (
    Accordion,
    Blank,
    Fold,
    Halve,
    PoleWrap,
    Rope,
    Rosettes,
    Scrunch,
    Spiral,
    TubeWrap,
)

_USUAL_POLE = "1-1/2 in pipe"


def fold_of(fold: Any, stock: Stock, blank: Blank, place: Place) -> Fold:
    """Turn one fold of a plan into numbers."""
    if isinstance(fold, HalveFold):
        return Halve(line=fold.line, moves=fold.moving)  # type: ignore[arg-type]
    if isinstance(fold, AccordionFold):
        return Accordion(pleat=fold.pleat, angle=fold.creases, lean=fold.lean)  # type: ignore[arg-type]
    if isinstance(fold, SpiralFold):
        return _spiral(fold, blank, place)
    if isinstance(fold, TubeFold):
        return _tube(fold, stock, place)
    if isinstance(fold, ScrunchFold):
        return Scrunch(draw=fold.draw, bump=fold.bump)
    if isinstance(fold, RopeFold):
        return Rope(
            gather=fold.width or 0.0,
            angle=words.ROPE_WAYS[fold.way],
            turns=fold.turns,
            doubled=fold.doubled,
            sense=fold.twist,  # type: ignore[arg-type]
        )
    if isinstance(fold, RosettesFold):
        return Rosettes(
            spacing=fold.spacing,
            pleats=fold.pleats,
            turns=fold.turns,
            height=fold.height,
            sense=fold.twist,  # type: ignore[arg-type]
        )
    return _pole(fold, stock, place)


def _spiral(fold: SpiralFold, blank: Blank, place: Place) -> Spiral:
    known = words.PLACES.get(blank.cut, ())
    if fold.centre.place not in known:
        raise place.key("centre").error(
            f"a {blank.name} has no '{fold.centre.place}'; {choices('', known)}"
        )
    return Spiral(
        centre=fold.centre,
        pleats=fold.pleats,
        turns=fold.turns,
        height=fold.height,
        sense=fold.twist,  # type: ignore[arg-type]
    )


def _tube(fold: TubeFold, stock: Stock, place: Place) -> TubeWrap:
    name, diameter = _pole_of(fold, stock, place)
    return TubeWrap(
        diameter=diameter,
        squeeze=fold.squeeze,
        sewn=fold.sewn,
        even=fold.even,
        pushed_first=fold.pushed_first,  # type: ignore[arg-type]
        pole=name,
    )


def _pole_of(fold: PoleFold | TubeFold, stock: Stock, place: Place) -> tuple[str, float]:
    """Trade name, empty for a plan in millimetres, and diameter [m]."""
    if fold.diameter is not None:
        return "", fold.diameter
    name = place.key("pole").ask(stock.pole_name, fold.pole or _USUAL_POLE)
    return name, stock.poles[name]


def _pole(fold: PoleFold, stock: Stock, place: Place) -> PoleWrap:
    name, diameter = _pole_of(fold, stock, place)
    return PoleWrap(
        diameter=diameter,
        bias=fold.bias,
        lean=fold.lean,  # type: ignore[arg-type]
        starts_at=fold.starts_at,  # type: ignore[arg-type]
        squeeze=fold.squeeze,
        even=fold.even,
        pushed_first=fold.pushed_first,  # type: ignore[arg-type]
        pole=name,
    )
