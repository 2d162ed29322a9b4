"""Powder as it is laid and dissolves; loose dye and grains in the wash."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.chains import components, marching, stream_of
from tests.flats import flat_bundle, flat_cloth

from meltwick import chance
from meltwick.constants import Constants
from meltwick.seep import wash
from meltwick.seep.powder import lay, species_of
from meltwick.types import Dye, Powder

ONE, TWO, THREE = components(3)
DYES = (
    Dye("rust", ((ONE, 0.7), (TWO, 0.3)), solubility=60.0),
    Dye("sea", ((TWO, 0.25), (THREE, 0.75))),
)
SPECIES = species_of(DYES)
CLOTH = flat_cloth(0.4, 0.1, 2e-3)
BUNDLE = flat_bundle(CLOTH)


def laid(*powders, bundle=BUNDLE, seed=3, constants=None):
    return lay(bundle, powders, DYES, SPECIES, seed, 1, constants or Constants())


# ------------------------------------------------------------------ powder


def test_every_gram_is_laid():
    found = laid(Powder("rust", 3e-3, (0.5, 1.0)), Powder("sea", 2e-3, (0.0, 0.5), over_ice=True))
    assert [part.name for part in found.species] == [ONE.name, TWO.name, THREE.name]
    assert found.under.sum(axis=0) == pytest.approx([2.1e-3, 0.9e-3, 0.0], rel=1e-12)
    ((share, masses),) = found.over
    assert share.sum() == pytest.approx(1.0, rel=1e-12)
    assert masses == pytest.approx([0.0, 0.5e-3, 1.5e-3], rel=1e-12)
    assert found.laid == pytest.approx(5e-3, rel=1e-12)
    assert (found.under >= 0.0).all()
    # each part dissolves at its share of the jar, and the better of two jars counts
    assert found.solubility == pytest.approx([42.0, 18.0, 52.5])


def test_powder_lies_where_it_is_put():
    found = laid(Powder("rust", 1e-3, (0.4, 0.6)))
    place = BUNDLE.along / BUNDLE.length
    mass = found.under.sum(axis=1)
    inside = (place > 0.4) & (place < 0.6)
    assert mass[inside].sum() > 0.9 * mass.sum()
    far = (place < 0.3) | (place > 0.7)  # 4 cm away, many times the fading edge
    assert mass[far].sum() < 1e-4 * mass.sum()


def test_powder_reaches_the_ends_when_its_zone_does():
    mass = laid(Powder("sea", 1e-3, (0.0, 1.0))).under.sum(axis=1)
    place = BUNDLE.along / BUNDLE.length
    ends = [mass[place < 0.1].sum(), mass[place > 0.9].sum()]
    assert min(ends) > 0.03 * mass.sum()


def test_powder_lands_on_what_faces_up_and_is_bare():
    rng = np.random.default_rng(5)
    up = rng.random(CLOTH.size) * (rng.random(CLOTH.size) < 0.5)
    covered = rng.random(CLOTH.size) < 0.3
    bundle = replace(BUNDLE, upward=up, covered=covered.astype(np.float64))
    for over in (False, True):
        found = laid(Powder("rust", 1e-3, (0.0, 1.0), over_ice=over), bundle=bundle)
        where = found.over[0][0] if over else found.under.sum(axis=1)
        assert (where[(up == 0.0) | covered] == 0.0).all()
        assert where.sum() == pytest.approx(1.0 if over else 1e-3)


def test_hands_sprinkle_differently_and_one_hand_the_same():
    once = laid(Powder("rust", 1e-3, (0.0, 1.0)))
    again = laid(Powder("rust", 1e-3, (0.0, 1.0)))
    other = laid(Powder("rust", 1e-3, (0.0, 1.0)), seed=4)
    assert once.under.tobytes() == again.under.tobytes()
    assert np.abs(once.under - other.under).max() > 1e-3 * once.under.max()


def test_speckle_over_the_ice_is_softer():
    # common practice, no source: powder over the ice is softer and less placed
    under = laid(Powder("rust", 1e-3, (0.0, 1.0))).under.sum(axis=1)
    over = laid(Powder("rust", 1e-3, (0.0, 1.0), over_ice=True)).over[0][0]
    assert under.std() / under.mean() > 2.0 * over.std() / over.mean()


def speckle(pitch: float, seed: int) -> tuple[float, float]:
    """Spread of powder over squares of 12 mm, and heavy squares by area [1/m2]."""
    cloth = flat_cloth(0.48, 0.48, pitch)
    powder = Powder("rust", 1e-3, (0.0, 1.0))
    found = laid(powder, bundle=flat_bundle(cloth), seed=seed, constants=Constants(grain=3e-3))
    side = round(12e-3 / pitch)
    rows = round(0.48 / pitch)
    block = found.under.sum(axis=1).reshape(rows // side, side, rows // side, side).sum((1, 3))
    relative = block / block.mean()
    return float(relative.std()), float((relative > 2.0).sum()) / 0.48**2


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_speckle_does_not_depend_on_the_pitch(seed):
    # 1600 squares: chance alone moves the spread by about 3 %, the heavy count by 10 %
    coarse, fine = speckle(4e-3, seed), speckle(2e-3, seed)
    assert coarse[0] == pytest.approx(fine[0], rel=0.1)
    assert coarse[1] == pytest.approx(fine[1], rel=0.3)


# ------------------------------------------------------------------ dissolving


@settings(deadline=None, max_examples=60, derandomize=True)
@given(
    seed=st.integers(0, 10**6),
    step=st.sampled_from([1e-3, 1.0, 1e3, 1e6]),
    kd=st.sampled_from([0.0, 1e-3, 0.1]),
    grams=st.sampled_from([1e-9, 1e-3, 1.0]),
)
def test_water_takes_up_no_more_than_the_solubility(seed, step, kd, grams):
    """In steady flow no water holds more than saturated water, and it is full under powder."""
    rng = np.random.default_rng(seed)
    n, full = 12, 60.0
    flow = np.cumsum(rng.random(n)) * 1e-9  # melt joins along the way
    leave = np.zeros(n)
    leave[-1] = flow[-1]
    edges = np.column_stack([np.arange(n - 1), np.arange(1, n)])
    now = stream_of(np.full(n, 1e-9), edges, flow[:-1], leave)
    powder = grams * rng.random((n, 1)) * (rng.random((n, 1)) < 0.4)
    constants = Constants(sorption_cap=0.1)
    march = marching(1, n, fibre=6e-7, kd=kd, solubility=full, powder=powder, constants=constants)
    for _ in range(5):
        before = march.powder.copy()
        march.carry(now, step)
        assert (march.c <= full * (1.0 + 1e-9)).all()
        lasting = march.powder[:, 0] > 0.0
        assert march.c[lasting, 0] == pytest.approx(full, rel=1e-9)
        assert (march.powder <= before).all()
        march.settle(now.volume)


def test_a_dry_place_under_powder_stays_below_its_solubility():
    # a cell without flow: what dissolves fills water and fibre, and no more
    march = marching(
        1, 1, fibre=1e-3, kd=1e-2, solubility=50.0, powder=np.ones((1, 1)), constants=Constants()
    )
    none = np.zeros((0, 2), np.int64)
    now = stream_of(np.array([1e-3]), none, np.zeros(0), np.zeros(1))
    for _ in range(4):
        march.carry(now, 10.0)
    cap = march.constants.sorption_cap
    held = 1e-3 * 1e-2 * 50.0 / (1.0 + 1e-2 * 50.0 / cap)
    assert 1.0 - march.powder[0, 0] == pytest.approx(1e-3 * 50.0 + held, rel=1e-9)


# ------------------------------------------------------------------ wash


def returned(kind: str, fixed=None, loose=(2e-3, 1e-3), fibre=None, **more):
    n = CLOTH.size
    fixed = np.zeros((n, 2)) if fixed is None else fixed
    fibre = np.full(n, 1e-3) if fibre is None else fibre
    constants = Constants(backstain_careful=2e-4)
    sites = np.full(n, 0.08)
    return wash.backstain(fixed, np.array(loose), fibre, sites, kind, constants)


def test_backstain_grows_from_careful_to_hurried_and_is_kept():
    # common practice, no source: a hurried wash stains white
    back = [returned(kind) * 1e-3 for kind in ("careful", "ordinary", "hurried")]
    sums = [b.sum(axis=0) for b in back]
    assert (sums[0] < sums[1]).all()
    assert (sums[1] < sums[2]).all()
    assert (sums[2] < [2e-3, 1e-3]).all()
    assert sums[0] == pytest.approx([2e-4 * 2e-3, 2e-4 * 1e-3], rel=1e-9, abs=0.0)


def test_backstain_takes_free_sites_only():
    rng = np.random.default_rng(2)
    fixed = 0.04 * rng.random((CLOTH.size, 2))
    fixed[:50] = 0.04  # full
    fibre = np.where(rng.random(CLOTH.size) < 0.2, 0.0, 1e-3)
    back = returned("hurried", fixed=fixed, fibre=fibre)
    assert (back[:50] == 0.0).all()
    assert (back >= 0.0).all()
    share = back[50:].sum(axis=1) / (0.08 - fixed[50:].sum(axis=1))
    assert share == pytest.approx(share[0], rel=1e-9)


@pytest.mark.parametrize("loose", [1e-3, 1.0, 1e3])
def test_backstain_never_overfills_the_sites(loose):
    fixed = np.full((CLOTH.size, 2), 0.0399)
    back = returned("hurried", fixed=fixed, loose=(loose, loose))
    assert ((fixed + back).sum(axis=1) <= 0.08 * (1.0 + 1e-12)).all()


def test_nothing_returns_to_cloth_that_takes_no_dye():
    assert (returned("hurried", fibre=np.zeros(CLOTH.size)) == 0.0).all()


def test_spots_are_kept_and_land_where_cloth_takes_dye():
    code = chance.key(1, "spots")
    takes = np.random.default_rng(3).random(CLOTH.size) < 0.8
    powder = np.array([0.02, 0.0, 0.06])
    for kind, share in wash.SPOT_SHARE.items():
        found = wash.spots(CLOTH, powder, takes, kind, code)
        assert (found >= 0.0).all()
        assert (found[~takes] == 0.0).all()
        assert (found[:, 1] == 0.0).all()
        # a grain that finds no dyeable cell under it washes away: few do
        assert 0.97 * 0.08 * share < found.sum() <= 0.08 * share * (1.0 + 1e-12)
    by_kind = [wash.spots(CLOTH, powder, takes, k, code).sum() for k in wash.BACKSTAIN]
    assert by_kind[0] < by_kind[1] < by_kind[2]
    # species in proportion to the powder that was left, within the chance of so many grains
    parts = found.sum(axis=0) / found.sum()
    assert parts == pytest.approx([0.25, 0.0, 0.75], abs=0.1)


@pytest.mark.parametrize("pitch", [2e-3, 1e-3])
def test_spots_are_as_many_and_as_large_at_every_pitch(pitch):
    # a tenth of a gram of grains: each a disc of SPOT_RADIUS, SPOT_DEPTH deep, few overlapping
    cloth = flat_cloth(0.4, 0.4, pitch)
    code = chance.key(1, "spots")
    found = wash.spots(cloth, np.array([1e-4]), np.ones(cloth.size, bool), "hurried", code)
    assert found.sum() == pytest.approx(1e-6, rel=1e-9, abs=0.0)
    grain = np.pi * wash.SPOT_RADIUS**2 * 0.160 * wash.SPOT_DEPTH
    grains = int(1e-6 / grain)
    depth = found[:, 0] / (pitch**2 * 0.160)
    wide = (depth > 0.5 * wash.SPOT_DEPTH).sum() * pitch**2 / grains
    # exp(-2 r^2/R^2) of the same mass as the disc is 2 deep in its middle, and half as deep as
    # the disc at r^2 = R^2 ln(4)/2; a cell or two of the raster is 40 % of that area
    assert wide / (np.pi * wash.SPOT_RADIUS**2) == pytest.approx(0.5 * np.log(4.0), rel=0.4)
    assert depth.max() < 8.0 * wash.SPOT_DEPTH


def test_spots_never_overfill_the_sites():
    rng = np.random.default_rng(1)
    stuck, taken = rng.random((40, 2)), 0.08 * rng.random((40, 2))
    fibre, sites = rng.random(40) * (rng.random(40) < 0.8), np.full(40, 0.08)
    kept = wash.fitting(stuck, taken, fibre, sites)
    assert (kept >= 0.0).all()
    assert (kept <= stuck).all()
    room = np.maximum(sites - taken.sum(axis=1), 0.0) * fibre
    assert kept.sum(axis=1) == pytest.approx(np.minimum(room, stuck.sum(axis=1)), rel=1e-12)


def test_no_powder_no_spots():
    found = wash.spots(CLOTH, np.zeros(2), np.ones(CLOTH.size, bool), "hurried", chance.key(1, "s"))
    assert (found == 0.0).all()
