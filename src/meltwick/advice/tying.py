"""What the trade would warn of in a tie."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations
from math import ceil, hypot

from meltwick.advice.sizes import Garment, bundle_length, piles, strip_of
from meltwick.bundle import middle_of
from meltwick.errors import PlanError
from meltwick.folding.peaks import reach_of
from meltwick.types import (
    BandTie,
    Clamps,
    PoleWrap,
    Rosettes,
    Round,
    Spiral,
    Stitching,
    StringTie,
    TiedRings,
    TubeWrap,
)
from meltwick.units import show_length

_LONG = 2.5  # times as long as wide: bands through the middle leave the ends loose; chosen
_BREAKS = 25.0  # [N] doubled sewing thread: single cotton 40 wt holds 8 to 14 N, from memory
_STITCHES = 1500  # more than hands sew for one piece; chosen


def tie_warnings(turn: Round, garment: Garment, number: int) -> Iterator[tuple[str, str]]:
    """Yield (key, what is wrong) for a tie that does not hold, or that hands cannot make."""
    tie, where = turn.tie, f"round.{number}.tie"
    if turn.folds and tie is None:
        yield where, "Nothing holds the folds: they will open."
    elif isinstance(tie, StringTie):
        yield from _string(tie, turn, garment, number)
    elif isinstance(tie, BandTie):
        yield from _bands(turn, garment, where)
    elif isinstance(tie, Clamps):
        yield from _clamps(tie, turn, garment, where)
    elif isinstance(tie, TiedRings):
        yield from _rings(tie, garment, where)
    elif isinstance(tie, Stitching):
        yield from _stitches(tie, turn, garment, where)


def _string(
    tie: StringTie, turn: Round, garment: Garment, number: int
) -> Iterator[tuple[str, str]]:
    length = bundle_length(turn, garment, number)
    if length < 3.0 * tie.spacing:
        pushed = bool(turn.folds) and isinstance(turn.folds[-1], PoleWrap | TubeWrap)
        how = "Folded and pushed together" if pushed else "Folded"
        yield (
            f"round.{number}.tie.spacing",
            f"{how}, the cloth is {show_length(length)} long, so string every "
            f"{show_length(tie.spacing)} goes round fewer than three times.",
        )


def _bands(turn: Round, garment: Garment, where: str) -> Iterator[tuple[str, str]]:
    if turn.folds and isinstance(turn.folds[-1], Spiral | Rosettes):
        return
    wide, long = sorted(strip_of(turn, garment))
    if long > _LONG * wide:
        yield (
            f"{where}.kind",
            f"Bands all cross in the middle, and this bundle is {show_length(long)} long and "
            f"{show_length(wide)} wide: its ends will open. Take string.",
        )


def _clamps(tie: Clamps, turn: Round, garment: Garment, where: str) -> Iterator[tuple[str, str]]:
    wide, long = strip_of(turn, garment)
    if min(tie.size, tie.breadth) > 0.9 * max(wide, long):
        yield (
            f"{where}.size",
            f"The plates are {show_length(tie.size)} wide and the pile {show_length(wide)} by "
            f"{show_length(long)}: they cover nearly all of it. Take smaller ones.",
        )
    if tie.size * min(tie.breadth, tie.size) < 0.01 * wide * long:
        yield (
            f"{where}.size",
            f"The pile is {show_length(wide)} by {show_length(long)}, so plates of "
            f"{show_length(tie.size)} cover less than a hundredth of it. Fold it smaller, or take "
            "larger ones.",
        )


def _rings(tie: TiedRings, garment: Garment, where: str) -> Iterator[tuple[str, str]]:
    try:
        tips = [middle_of(garment.cloth, spot, "a peak's tip") for spot in tie.spots]
    except PlanError:
        return  # told elsewhere
    reach = reach_of(tie)
    for a, b in combinations(range(len(tips)), 2):
        if (apart := hypot(*(tips[a] - tips[b]))) < 2.0 * reach:
            yield (
                f"{where}.spots",
                f"Peaks {a + 1} and {b + 1} are {show_length(apart)} apart, and each takes the "
                f"cloth for {show_length(reach)} round its tip: they will share it, and their "
                "rings will not close. Draw them up farther apart, or tie nearer to the tips.",
            )
            return


def _stitches(
    tie: Stitching, turn: Round, garment: Garment, where: str
) -> Iterator[tuple[str, str]]:
    if tie.pull > _BREAKS and tie.thickness < 0.0012:
        yield (
            f"{where}.pull",
            f"Sewing thread breaks at about {_BREAKS:g} N, even doubled. Pull less, or take "
            "stronger thread.",
        )
    if tie.through:
        return
    left, top, right, bottom = garment.outline.bounds
    across, along = right - left, bottom - top
    row, over = (across, along) if tie.rows > 0.7 else (along, across)
    count = ceil(row / tie.stitch) * ceil(over / tie.spacing)
    for _ in piles(turn, garment):  # each halving halves what there is to sew
        count //= 2
    if count > _STITCHES:
        yield (
            f"{where}.spacing",
            f"That is about {count} stitches by hand. Longer stitches or fewer rows are quicker.",
        )
