"""How much string or thread a tie takes, knots and ends included."""

from __future__ import annotations

from math import hypot, pi, sqrt

import numpy as np

from meltwick.advice.sizes import Garment
from meltwick.bundle import build_bundle
from meltwick.bundle.peaks import GIRTH, neck
from meltwick.constants import Constants
from meltwick.types import (
    BandTie,
    Bundle,
    Clamps,
    PoleWrap,
    Round,
    Stitching,
    StringTie,
    TiedRings,
    TubeWrap,
)
from meltwick.units import show_length

KNOTS = 0.4  # [m] for both ends and their knots; chosen
_THREAD_KNOT = 0.15  # [m] of each thread; chosen


def section(bundle: Bundle, incline: float) -> tuple[float, float]:
    """Width and height of a bundle's section across its length [m], the middle of its outside.

    The outermost tenth is left out: a single corner that stands off takes no more string.
    """
    shown = bundle.exposed > 0.0
    over = (bundle.height - bundle.along * np.sin(incline)) / np.cos(incline)
    wide, tall = (
        float(np.subtract(*np.percentile(values[shown], (95.0, 5.0))))
        for values in (bundle.across, over)
    )
    return wide, tall


def string_length(turn: Round, garment: Garment, number: int = 1) -> float:
    """Length of the string or thread of a round's tie [m]; 0 where none is wound.

    String on a pole is a helix: turns times the root of girth squared and spacing squared. A pile
    has the girth of its section. Thread is sewn from side to side, or wound round each peak, whose
    neck holds all the cloth that goes round there.
    """
    tie = turn.tie
    if tie is None or isinstance(tie, BandTie | Clamps):
        return 0.0
    if isinstance(tie, TiedRings):
        return _thread(tie, garment)
    if isinstance(tie, Stitching):
        return _sewn(tie, garment)
    bundle = build_bundle(
        garment.cloth,
        turn,
        neatness=0.0,
        seed=garment.seed,
        constants=Constants(),
        round_number=number,
    )
    wide, tall = section(bundle, turn.incline)
    rolled = any(isinstance(fold, PoleWrap | TubeWrap) for fold in turn.folds)
    girth = pi * (wide + tall) / 2.0 if rolled else 2.0 * (wide + tall)
    there = bundle.length / tie.spacing * hypot(girth, tie.spacing)
    return there * (2.0 if tie.crossed else 1.0) + KNOTS


def _sewn(tie: Stitching, garment: Garment) -> float:
    left, top, right, low = garment.outline.bounds
    if tie.through:
        return float(2.0 * (hypot(right - left, low - top) + _THREAD_KNOT))
    across = tie.rows > 0.7
    row, rows = (right - left, low - top) if across else (low - top, right - left)
    return float(2.0 * (row + _THREAD_KNOT) * max(1, round(rows / tie.spacing)))


def _thread(tie: TiedRings, garment: Garment) -> float:
    area = 0.75 * garment.area / garment.layers
    peaks = len(tie.spots) or max(1, round(area / (sqrt(0.75) * tie.every**2)))
    one = 0.0
    for ring in range(tie.times):
        reach = tie.from_tip + ring * tie.apart
        round_it = float(neck(np.array(reach), garment.layers, garment.thickness))
        one += 2.0 * pi * round_it * GIRTH[tie.outline] * tie.wound
    return float(peaks * (one + _THREAD_KNOT))


def string_words(turn: Round, garment: Garment, number: int = 1) -> str:
    """Say where string comes and how much of it to cut; nothing where no tie shows."""
    tie = turn.tie
    if isinstance(tie, Clamps):
        return "under the plates"
    if isinstance(tie, BandTie):
        return "under a band"
    if not isinstance(tie, StringTie | TiedRings | Stitching):
        return ""
    long = string_length(turn, garment, number)
    if isinstance(tie, StringTie):
        return f"string lies here; cut {show_length(long)}, ends and knots included"
    if isinstance(tie, TiedRings):
        return f"bound with thread; {show_length(long)} in all, knots included"
    return f"{show_length(long)} of thread for all rows, doubled, knots included"
