"""What every maker knows, and the model must show. All of it: common practice, no source.

A small tee at 6 mm; medians over three hands, so that one lucky fold decides nothing.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable

import numpy as np
import pytest
from scipy.spatial import cKDTree
from tests.trade import HANDS, Piece, fixed, median, piece, white

from meltwick import chance
from meltwick.bundle import fold
from meltwick.types import Floats

pytestmark = pytest.mark.slow

# ------------------------------------------------------------------ facts 1 to 4


def test_bigger_pole_gives_less_white():
    found = [median(white, diameter=d) for d in ("33 mm", "48 mm", "114 mm")]
    assert found[0] > found[1] > found[2], found


def test_tighter_ties_give_more_white():
    found = [median(white, pull=pull) for pull in ("4 N", "10 N", "20 N")]
    assert found[0] < found[1] < found[2], found


def fineness(piece: Piece) -> float:
    """Mean steepness of the colour over its spread, along cloth [1/m]."""
    cloth, delta = piece.result.cloth, piece.result.look.delta
    a, b = cloth.edges.T
    return float(np.abs(delta[a] - delta[b]).mean() / cloth.pitch / delta.std())


@pytest.mark.parametrize("squeezes", [("3", "3", "3"), ("5", "3", "1.8")])
def test_closer_ties_give_finer_bands(squeezes):
    # at one squeeze, and with about as many pleats; white is left open
    spacings = ("12 mm", "25 mm", "50 mm")
    found = [
        median(fineness, spacing=s, squeeze=q) for s, q in zip(spacings, squeezes, strict=True)
    ]
    assert found[0] > found[1] > found[2], found


def test_more_squeeze_gives_more_white():
    found = [median(white, squeeze=squeeze) for squeeze in ("2", "3", "4")]
    assert found[0] < found[1] < found[2], found


def test_light_cloth_takes_dye_through_more_layers():
    fabrics = ("light cotton jersey", "cotton jersey", "heavy cotton jersey")
    found = [median(white, fabric=fabric) for fabric in fabrics]
    assert found[0] < found[1] < found[2], found


# ------------------------------------------------------------------ fact 5: zones


def strayed(name: str, zone: tuple[float, float]) -> Callable[[Piece], float]:
    """Share of a component's fixed dye on cells whose place along the pole is in ``zone``."""

    def measure(piece: Piece) -> float:
        names = [part.name for part in piece.result.fixed.species]
        amount = piece.result.fixed.amount[:, names.index(name)]
        place = piece.bundle.along / piece.bundle.length
        return float(amount[(place >= zone[0]) & (place < zone[1])].sum() / amount.sum())

    return measure


ROSE, BLUE = "reactive red 2", "reactive blue 19"
ROSE_HIGH = "rose, 3 g, 0.5, 1, under the ice; cornflower, 3 g, 0, 0.5, under the ice"
BLUE_HIGH = "cornflower, 3 g, 0.5, 1, under the ice; rose, 3 g, 0, 0.5, under the ice"


@pytest.mark.parametrize(
    ("name", "high", "low"), [(ROSE, ROSE_HIGH, BLUE_HIGH), (BLUE, BLUE_HIGH, ROSE_HIGH)]
)
def test_powder_at_the_high_end_colours_what_lies_below(name, high, low):
    downhill = median(strayed(name, (0.0, 0.45)), dyes=high)
    uphill = median(strayed(name, (0.55, 1.01)), dyes=low)
    assert downhill > uphill, (downhill, uphill)


# ------------------------------------------------------------------ facts 7 and 11: soda, ice


def test_no_soda_ash_almost_no_colour():
    assert median(fixed, soda="none") < 0.02


def undissolved(piece: Piece) -> float:
    balance = piece.result.rounds[0].balance
    return balance.undissolved / balance.laid


def test_too_little_ice_leaves_powder():
    little, plenty = median(undissolved, ice="100 g"), median(undissolved)
    assert little > 0.05, little
    assert plenty < 0.5 * little, (little, plenty)


def carried_off(piece: Piece) -> float:
    balance = piece.result.rounds[0].balance
    return (balance.drained + balance.ran_off) / balance.laid


def depth_of_the_dyed(piece: Piece) -> float:
    """Mean fixed dye of the cloth that is not white [kg/kg]."""
    return float(piece.total[piece.result.look.delta > 4.3].mean())


def test_too_much_ice_carries_dye_off_and_pales():
    assert median(carried_off, ice="5 kg") > median(carried_off)
    usual, flood = median(depth_of_the_dyed), median(depth_of_the_dyed, ice="5 kg")
    assert flood < usual, (flood, usual)


# ------------------------------------------------------------------ facts 12 and 17: in the bundle


def underside(piece: Piece) -> float:
    """Mean fixed dye of the bundle's underside over that of its top."""
    bundle = piece.bundle
    outer = bundle.exposed > 0.4
    facing = bundle.upward / np.maximum(bundle.exposed, 1e-9)
    top = piece.total[outer & (facing > 0.7)].mean()
    return float(piece.total[outer & (facing < 0.05)].mean() / top)


@pytest.mark.parametrize("amount", ["6 g", "2 g"])
def test_the_underside_is_paler_than_the_top(amount):
    found = median(underside, dyes=f"harbour blue, {amount}, 0, 1, under the ice")
    assert found < 1.0, found


def into_the_pleat(piece: Piece) -> Floats:
    """Mean fixed dye by cloth between a cell and the nearest outer crease, every 6 mm."""
    cloth, spec = piece.result.cloth, piece.recipe.rounds[0]
    stack = fold(cloth, spec, piece.recipe.neatness, piece.result.seed, 1)
    assert stack.crease is not None
    away = np.bincount(stack.cell, stack.crease, cloth.size) / 4.0
    part = np.digitize(away, [0.006, 0.012, 0.018, 0.024, 0.030])
    return np.array([piece.total[part == k].mean() for k in range(6)])


def test_the_outer_crease_is_darkest_and_grades_into_the_pleat():
    found = [median(lambda piece, k=k: into_the_pleat(piece)[k]) for k in range(6)]
    assert all(near > far for near, far in itertools.pairwise(found)), found


def by_depth(piece: Piece) -> Floats:
    """Mean fixed dye by depth of cloth above: outside, then 1, 2, 4 and 8 mm in."""
    edges = [-1.0, 0.3e-3, 1e-3, 2e-3, 4e-3, 8e-3]
    part = np.digitize(piece.bundle.depth, edges) - 1
    return np.array([piece.total[part == k].mean() for k in range(5)])


def test_dye_fades_with_depth_in_the_bundle():
    found = [median(lambda piece, k=k: by_depth(piece)[k]) for k in range(5)]
    assert all(a > b for a, b in itertools.pairwise(found)), found


# ------------------------------------------------------------------ fact 13: components


def wandered(name: str) -> Callable[[Piece], float]:
    """Mean distance of a component's fixed dye from the nearest powder, in the room [m]."""

    def measure(piece: Piece) -> float:
        bundle, spec = piece.bundle, piece.recipe.rounds[0]
        low, high = spec.powder[0].zone
        room = np.column_stack([bundle.along, bundle.across, bundle.height])
        place = bundle.along / bundle.length
        bare = bundle.upward * (1.0 - bundle.covered)
        under = (bare > 0.1) & (place >= low) & (place <= high)
        away = cKDTree(room[under]).query(room)[0]
        names = [part.name for part in piece.result.fixed.species]
        amount = piece.result.fixed.amount[:, names.index(name)]
        return float((away * amount).sum() / amount.sum())

    return measure


def deep(name: str) -> Callable[[Piece], float]:
    """Mean depth of cloth above a component's fixed dye [m]."""

    def measure(piece: Piece) -> float:
        names = [part.name for part in piece.result.fixed.species]
        amount = piece.result.fixed.amount[:, names.index(name)]
        return float((piece.bundle.depth * amount).sum() / amount.sum())

    return measure


SPLITTING = [("plum", ROSE, BLUE), ("harbour blue", "reactive blue 4", "reactive blue 21")]


@pytest.mark.parametrize(("dye", "fast", "slow"), SPLITTING)
@pytest.mark.parametrize("how", [wandered, deep])
def test_fast_striking_dye_stays_and_slow_dye_travels(dye, fast, slow, how):
    # where ice is not so plenty that the slow one has left the bundle altogether
    dyes = f"{dye}, 2 g, 0.5, 0.7, under the ice"
    found = [median(how(name), dyes=dyes, ice="400 g") for name in (fast, slow)]
    assert found[0] < found[1], found


# ------------------------------------------------------------------ facts 15 and 16: softness


def speckle(piece: Piece) -> float:
    """How much neighbouring dyed outer cells differ, over their mean."""
    cloth, total = piece.result.cloth, piece.total
    a, b = cloth.edges.T
    outer = piece.bundle.upward * (1.0 - piece.bundle.covered) > 0.4
    both = outer[a] & outer[b]
    return float(np.abs(total[a] - total[b])[both].mean() / total[outer].mean())


def test_powder_over_the_ice_is_softer():
    over = "harbour blue, 6 g, 0, 1, over the ice"
    soft, crisp = median(speckle, dyes=over), median(speckle)
    assert soft < crisp, (soft, crisp)


def test_powder_over_the_ice_is_less_placed():
    dyes = "cornflower, 3 g, 0.6, 0.8, "
    away = [
        median(wandered(BLUE), dyes=dyes + powder) for powder in ("over the ice", "under the ice")
    ]
    assert away[0] > away[1], away


def edge_width(piece: Piece) -> float:
    """Spread of the colour over its steepness where it passes pale [m]."""
    cloth, delta = piece.result.cloth, piece.result.look.delta
    a, b = cloth.edges.T
    across = (delta[a] < 16.9) != (delta[b] < 16.9)  # grade 2 of ISO 105-A03
    return float(delta.std() * cloth.pitch / np.abs(delta[a] - delta[b])[across].mean())


def test_wetter_cloth_spreads_more():
    whites = [median(white, damp=damp) for damp in ("spun", "dripping")]
    widths = [median(edge_width, damp=damp) for damp in ("spun", "dripping")]
    assert whites[1] < whites[0] or widths[1] > widths[0], (whites, widths)


# ------------------------------------------------------------------ hands


def test_hands_differ_about_as_makers_pieces_do():
    spread = [white(piece((), seed)) for seed in HANDS]
    assert 0.0 < max(spread) - min(spread) < 0.2, spread
    assert len({int(chance.key(seed, "melt")) for seed in HANDS}) == len(HANDS)
