"""Lengths that repeat along the cloth, scaled so that a piece of another size has as many."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from math import ceil

from meltwick.advice.measuring import measured
from meltwick.advice.sizes import (
    Garment,
    Pile,
    bundle_length,
    creases_of,
    folded,
    laid,
    pleats_of,
    rosettes_of,
)
from meltwick.types import (
    Accordion,
    Fold,
    PoleWrap,
    Rosettes,
    Round,
    Scrunch,
    Stitching,
    StringTie,
    TiedRings,
    TubeWrap,
)
from meltwick.units import parse, show_length

Written = Callable[[str], str | None]
"""Given a key of the round, such as ``tie.spacing``, returns what the plan has, if it has it."""


@dataclass(frozen=True)
class Scaled:
    """One length, before and after."""

    key: str  # within the round: fold.2.pleat
    what: str  # in words
    old: str
    new: str


def repeated(turn: Round, old: Garment, new: Garment, written: Written) -> Iterator[Scaled]:
    """Scale the lengths of a round that repeat along the cloth.

    Pleats go by the extent of the pile across their creases, string by the length of the bundle
    that it is wound along, rows of stitches by the extent across them, and what is scattered over
    the cloth by the root of its area. The folds are gone through one by one, since each pile
    lies as the new pleats before it make it.

    Parameters
    ----------
    turn : Round
        As it is now.
    old, new : Garment
        The blank in its size now, and in the new one.
    written : callable
    """
    before, after = laid(old), laid(new)
    folds: list[Fold] = []
    pleated = sum(isinstance(fold, Accordion) for fold in turn.folds)
    for n, fold in enumerate(turn.folds, 1):
        found = _of_fold(fold, before, after, written, f"fold.{n}")
        if found is not None and pleated > 1:
            found = replace(found, what=f"{found.what}, fold {n}")
        if found is not None:
            yield found
        folds.append(_with(fold, found))
        before, after = folded(before, fold), folded(after, folds[-1])
    yield from _of_tie(
        turn, replace(turn, folds=tuple(folds)), (old, before), (new, after), written
    )


def _with(fold: Fold, found: Scaled | None) -> Fold:
    """Return a fold with its length as it is now written."""
    if found is None:
        return fold
    value = parse(found.new, "length")
    if isinstance(fold, Accordion):
        return replace(fold, pleat=value)
    if isinstance(fold, Rosettes):
        return replace(fold, spacing=value)
    return replace(fold, bump=value) if isinstance(fold, Scrunch) else fold


def _of_fold(fold: Fold, before: Pile, after: Pile, written: Written, key: str) -> Scaled | None:
    if isinstance(fold, Accordion):
        across = [pile.extent(fold.angle, fold.lean)[0] for pile in (before, after)]
        count = pleats_of(fold, across[0])

        def same(pleat: float) -> bool:
            return pleats_of(replace(fold, pleat=pleat), across[1]) == count

        ratio = across[1] / across[0]
        return _scaled(f"{key}.pleat", "pleats", fold.pleat, ratio, written, same)
    reach = after.reach / before.reach
    if isinstance(fold, Rosettes):
        some = rosettes_of(fold, before)
        return _scaled(
            f"{key}.spacing",
            "between rosettes",
            fold.spacing,
            reach,
            written,
            lambda spacing: rosettes_of(replace(fold, spacing=spacing), after) == some,
        )
    if isinstance(fold, Scrunch):
        return _scaled(f"{key}.bump", "bumps", fold.bump, reach, written)
    return None


def _of_tie(
    turn: Round,
    changed: Round,
    old: tuple[Garment, Pile],
    new: tuple[Garment, Pile],
    written: Written,
) -> Iterator[Scaled]:
    tie = turn.tie
    if isinstance(tie, StringTie):
        long = _wound_along(turn, *old), _wound_along(changed, *new)
        yield _even("tie.spacing", "string, turn to turn", tie.spacing, long, written)
    elif isinstance(tie, Stitching) and not tie.through:
        wide = old[1].extent(tie.rows)[0], new[1].extent(tie.rows)[0]
        yield _even("tie.spacing", "rows of stitches", tie.spacing, wide, written)
    elif isinstance(tie, TiedRings):
        reach = laid(new[0]).reach / laid(old[0]).reach
        if tie.every:
            yield _scaled("tie.every", "between peaks", tie.every, reach, written)
        yield _scaled("tie.from_tip", "tip to first ring", tie.from_tip, reach, written)
        if tie.times > 1:
            yield _scaled("tie.apart", "ring to ring", tie.apart, reach, written)


def _wound_along(turn: Round, garment: Garment, pile: Pile) -> float:
    """Length of the bundle that string is wound along [m], pushed together."""
    last = turn.folds[-1] if turn.folds else None
    if isinstance(last, PoleWrap):
        return pile.extent(last.bias, last.lean)[1] / last.squeeze
    if isinstance(last, TubeWrap):
        return pile.extent()[1] / last.squeeze
    if isinstance(last, Accordion):
        return pile.extent(*creases_of(turn))[1]
    return bundle_length(turn, garment)


def _even(key: str, what: str, value: float, long: tuple[float, float], written: Written) -> Scaled:
    count = ceil(long[0] / value - 1e-9)

    def same(spacing: float) -> bool:
        return ceil(long[1] / spacing - 1e-9) == count

    return _scaled(key, what, value, long[1] / long[0], written, same)


def _scaled(
    key: str,
    what: str,
    value: float,
    ratio: float,
    written: Written,
    same: Callable[[float], bool] = lambda value: True,
) -> Scaled:
    old = written(key) or show_length(value)
    return Scaled(key, what, old, measured(old, ratio, "length", same))
