"""More of what every maker knows: batching, splitting, the room, opposite hues, the wash.

All of it: common practice, no source. That a hot room muddies colours as well is left out: the
model shows that it melts faster and leaves less white, but mixes two dyes no more.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from tests.trade import Piece, fixed, median, white

from meltwick.types import Floats

pytestmark = pytest.mark.slow


def test_longer_batching_fixes_more_with_little_gain_beyond_a_day_or_two():
    hours = ("4 h", "24 h", "48 h", "96 h")
    found = [median(fixed, batch=batch) for batch in hours]
    assert all(short < long for short, long in itertools.pairwise(found)), found
    first_day, second_day, after = np.diff(found)
    assert first_day > 5.0 * second_day
    assert second_day > after
    assert found[3] - found[2] < 0.02 * found[2]


def test_warmer_batching_fixes_more():
    found = [median(fixed, warmth=warmth) for warmth in ("5 degC", "20 degC", "30 degC")]
    assert found[0] < found[1] < found[2], found


# ------------------------------------------------------------------ fact 9: splitting


def hues(piece: Piece) -> Floats:
    """Unit vectors of the hues of cells that are more than pale (ISO 105-A03, grade 2)."""
    lab = piece.result.look.lab[piece.result.look.delta > 16.9]
    plane = lab[:, 1] + 1j * lab[:, 2]
    return np.asarray(plane / np.abs(plane))


def spread(unit: Floats) -> float:
    """Circular standard deviation [deg] (Mardia; from memory)."""
    return float(np.degrees(np.sqrt(-2.0 * np.log(np.minimum(1.0, np.abs(unit.mean()))))))


def hue_spread(piece: Piece) -> float:
    return spread(hues(piece))


def split(piece: Piece) -> float:
    """Spread of hue among cells that are dyed equally deep [deg]: nothing that depth explains."""
    deep = piece.total[piece.result.look.delta > 16.9]
    unit = hues(piece)[np.argsort(deep)]
    return float(np.median([spread(part) for part in np.array_split(unit, 100)]))


def laid(dye: str) -> str:
    return f"{dye}, 6 g, 0, 1, under the ice"


@pytest.mark.parametrize("dye", ["plum", "harbour blue", "coral"])
def test_mixed_colours_split(dye):
    assert median(split, dyes=laid(dye)) > 3.0


@pytest.mark.parametrize("dye", ["rose", "cornflower"])
def test_single_colours_do_not_split(dye):
    assert median(split, dyes=laid(dye)) < 0.5


def test_a_split_is_seen():
    # plum is rose and cornflower in one jar
    alone = [median(hue_spread, dyes=laid(dye)) for dye in ("rose", "cornflower")]
    mixed = median(hue_spread, dyes=laid("plum"))
    assert mixed > 1.5 * max(alone), (mixed, alone)


# ------------------------------------------------------------------ fact 14: the room


def melting(piece: Piece) -> float:
    return piece.result.rounds[0].melt_hours


def test_a_hot_room_melts_fast_and_a_cold_one_slowly():
    rooms = ("8 degC", "20 degC", "32 degC")
    hours = [median(melting, room=room) for room in rooms]
    # melting goes as the room's warmth over the ice's (1.11)
    assert np.array(hours) * (8.0, 20.0, 32.0) == pytest.approx(hours[1] * 20.0, rel=1e-6)
    whites = [median(white, room=room) for room in rooms]
    assert whites[0] > whites[1] > whites[2], whites


# ------------------------------------------------------------------ fact 18: opposite hues

OPPOSITE = "tangerine, 3 g, 0, 1, under the ice; cornflower, 3 g, 0, 1, under the ice"


def shares_of(piece: Piece) -> tuple[Floats, Floats, Floats]:
    """Share of the orange in each well dyed cell, its chroma, and its CIELAB colour."""
    names = [part.name for part in piece.result.fixed.species]
    deep = piece.total > 2e-3
    orange = piece.result.fixed.amount[deep, names.index("reactive orange 16")]
    lab = piece.result.look.lab[deep]
    return orange / piece.total[deep], np.hypot(lab[:, 1], lab[:, 2]), lab


def dulling(piece: Piece) -> float:
    """Chroma where the two hues meet half and half, over that of the duller one alone."""
    share, chroma, _ = shares_of(piece)
    met = chroma[(share > 0.4) & (share < 0.6)].mean()
    return float(met / min(chroma[share > 0.9].mean(), chroma[share < 0.1].mean()))


def brown(piece: Piece) -> float:
    """Share of brown where the orange leads: dark, dull, between red and yellow in hue."""
    share, chroma, lab = shares_of(piece)
    hue = np.degrees(np.arctan2(lab[:, 2], lab[:, 1]))
    is_brown = (lab[:, 0] < 55.0) & (chroma < 45.0) & (hue > 0.0) & (hue < 90.0)
    return float(is_brown[(share > 0.5) & (share < 0.8)].mean())


def test_opposite_hues_that_meet_go_dull():
    assert median(dulling, dyes=OPPOSITE) < 0.5


def test_opposite_hues_that_meet_go_brown():
    assert median(brown, dyes=OPPOSITE) > 0.5


# ------------------------------------------------------------------ fact 19: the wash


def cleanest(piece: Piece) -> float:
    """Colour difference to undyed cloth of the cleanest twentieth of the piece."""
    return float(np.quantile(piece.result.look.delta, 0.05))


def test_a_hurried_wash_stains_white():
    washes = ("careful", "ordinary", "hurried")
    whites = [median(white, wash=wash) for wash in washes]
    assert whites[0] > whites[1] > whites[2], whites
    stains = [median(cleanest, wash=wash) for wash in washes]
    assert stains[0] < stains[1] < stains[2], stains
