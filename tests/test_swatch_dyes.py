"""From colours to dyes and back: Kubelka and Munk both ways, spectra recovered, mixtures found.

K/S against the published relation (Kubelka and Munk 1931; values by hand); colour differences by
colour-science (CIEDE2000); spectra of the stock's own dyes as hidden truth.
"""

import itertools
import tomllib
import warnings
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meltwick.advice.mixing import DEEPEST, nearest_mixtures
from meltwick.advice.parting import Part, learn_split, one_dye
from meltwick.advice.swatching import KEPT, Swatch, learn_dye
from meltwick.colour import colours, strengths, undyed
from meltwick.colour.kubelka import absorption, reflectance
from meltwick.colour.recovering import HALF_WIDTH, recover
from meltwick.colour.unmixing import dyed_lab, eye_weights, fit_amounts, within
from meltwick.errors import StockError
from meltwick.stock import load_stock, load_stock_with
from meltwick.stock.own import check_name, with_dyes
from meltwick.types import Dye

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it warns when plotting libraries are missing
    import colour

NOWHERE = Path("no such folder")
STOCK = load_stock(NOWHERE)
JERSEY = STOCK.fabric("cotton jersey")
DYES = tuple(STOCK.dyes.values())


def lab_of(dye: Dye, depth: float, fabric=JERSEY) -> np.ndarray:
    """CIELAB with so much powder by mass of cloth [kg/kg]."""
    amount = np.array([[share * KEPT * depth for _, share in dye.parts]])
    return colours([part for part, _ in dye.parts], amount, fabric)[0]


def apart(one, two) -> float:
    return float(colour.delta_E(np.asarray(one), np.asarray(two), method="CIE 2000"))


# ------------------------------------------------------------------------- K/S


@pytest.mark.parametrize(
    ("r", "ratio"), [(0.9, 0.005556), (0.5, 0.25), (0.1, 4.05), (0.05, 9.025), (0.02, 24.01)]
)
def test_k_over_s_of_published_reflectances(r, ratio):
    assert absorption(np.array([r]))[0] == pytest.approx(ratio, rel=1e-4)


@pytest.mark.parametrize(
    ("ratio", "r"), [(0.01, 0.86823), (1, 0.26795), (5, 0.083920), (10, 0.045549), (20, 0.023823)]
)
def test_reflectances_of_published_k_over_s(ratio, r):
    assert reflectance(np.array([ratio]))[0] == pytest.approx(r, rel=1e-4)


@given(st.floats(1e-3, 60.0))
def test_there_and_back(ratio):
    assert absorption(reflectance(np.array([ratio])))[0] == pytest.approx(ratio, rel=1e-9)


# ------------------------------------------------------------------------- recovered spectra


@pytest.mark.parametrize("name", STOCK.dyes)
@pytest.mark.parametrize("depth", [0.5, 2.8])
def test_the_model_gives_a_swatch_back(name, depth):
    dye = STOCK.dyes[name]
    lab = lab_of(dye, depth / 100 / KEPT)
    found = recover(lab[None], np.array([depth]), JERSEY)
    assert found.residual[0] < 1.0
    assert apart(found.lab[0], lab) == pytest.approx(found.residual[0], abs=1e-6)
    assert all(height > 0 for _, _, height in found.bands)
    assert all(width == HALF_WIDTH for _, width, _ in found.bands)


@pytest.mark.parametrize("fabric", ["linen", "cotton canvas", "viscose jersey"])
def test_on_the_makers_own_cloth(fabric):
    cloth = STOCK.fabric(fabric)
    lab = lab_of(STOCK.dyes["tide"], 0.02, cloth)
    assert recover(lab[None], np.array([2 * KEPT]), cloth).residual[0] < 1.0


def test_other_depths_and_mixtures_come_near_what_the_true_dyes_give():
    """A colour does not fix a spectrum: the limits are what was measured, and a little room.

    Hidden truth: the stock's dyes at 2 % of powder. A dye's own colour at a quarter and at twice
    that is within 2 units in nine of ten; half and half of two dyes within 2 in the middle.
    """
    learnt = {}
    for dye in DYES:
        swatch = Swatch(dye.name, 0.02, lab_of(dye, 0.02))
        learnt[dye.name] = learn_dye(dye.name, [swatch], JERSEY, "").dye
    deep = [
        apart(lab_of(dye, depth), lab_of(learnt[dye.name], depth))
        for dye in DYES
        for depth in (0.005, 0.04)
    ]
    assert np.median(deep) < 0.8
    assert np.quantile(deep, 0.9) < 2.0
    ground = absorption(undyed(JERSEY))
    mixed = []
    for one, two in itertools.combinations(DYES, 2):
        labs = []
        for pair in ((one, two), (learnt[one.name], learnt[two.name])):
            rows = np.array(
                [
                    [100 * share for _, share in each.parts]
                    @ strengths([part for part, _ in each.parts])
                    for each in pair
                ]
            )
            labs.append(dyed_lab(ground, rows[None], np.full((1, 2), 0.01 * KEPT))[0])
        mixed.append(apart(*labs))
    assert np.median(mixed) < 2.0
    assert np.quantile(mixed, 0.9) < 6.0


def test_two_depths_pin_a_dye_down_better_than_one():
    gaps = []
    for name in ("brick", "plum", "moss", "harbour blue"):
        dye = STOCK.dyes[name]
        swatches = [Swatch(name, d, lab_of(dye, d)) for d in (0.005, 0.04)]
        both = learn_dye(name, swatches, JERSEY, "")
        assert both.residual.max() < 1.0
        one = learn_dye(name, swatches[1:], JERSEY, "")
        gaps.append([apart(lab_of(each.dye, 0.012), lab_of(dye, 0.012)) for each in (one, both)])
    assert np.mean(gaps, axis=0)[1] < np.mean(gaps, axis=0)[0]


def test_a_colour_no_dye_can_have_leaves_its_residual():
    bright = np.array([98.0, 0.0, 60.0])  # lighter than the cloth itself
    found = recover(bright[None], np.array([1.4]), JERSEY)
    assert found.residual[0] > 1.0
    assert apart(found.lab[0], bright) == pytest.approx(found.residual[0], abs=1e-6)


def test_faulty_questions():
    with pytest.raises(ValueError, match="depth above 0"):
        recover(np.zeros((1, 3)), np.array([0.0]), JERSEY)
    with pytest.raises(ValueError, match="three numbers"):
        recover(np.zeros((2, 3)), np.array([1.0]), JERSEY)


# ------------------------------------------------------------------------- mixtures


@given(
    picks=st.lists(st.integers(0, len(DYES) - 1), min_size=1, max_size=3, unique=True),
    depths=st.lists(st.floats(0.002, 0.015), min_size=3, max_size=3),
)
@settings(max_examples=4, deadline=None)
def test_a_mixture_is_found_again(picks, depths):
    """Three numbers do not tell which dyes, but some mixture of as many must look the same."""
    table = np.array(
        [
            100
            * KEPT
            * np.array([share for _, share in DYES[n].parts])
            @ strengths([part for part, _ in DYES[n].parts])
            for n in picks
        ]
    )
    wish = dyed_lab(absorption(undyed(JERSEY)), table[None], np.array([depths[: len(picks)]]))[0]
    found = nearest_mixtures(wish, DYES, JERSEY, len(picks))
    assert found[-1].delta < 0.6
    for mixture in found:
        assert sum(depth for _, depth in mixture.parts) <= DEEPEST * (1 + 1e-9)
        assert all(depth > 0 for _, depth in mixture.parts)
        assert mixture.delta == pytest.approx(apart(mixture.lab, wish), abs=1e-6)
    assert [m.delta for m in found] == sorted((m.delta for m in found), reverse=True)


def test_a_single_dye_by_brute_force():
    wish = np.array([55.0, 45.0, 30.0])
    (found, *_) = nearest_mixtures(wish, DYES, JERSEY, 1)
    depth = KEPT * np.linspace(2e-4, DEEPEST, 400)[:, None]
    best = min(
        colour.delta_E(
            colours([p for p, _ in dye.parts], depth * [share for _, share in dye.parts], JERSEY),
            wish,
            method="CIE 2000",
        ).min()
        for dye in DYES
    )
    assert found.delta == pytest.approx(best, abs=0.02)


def test_weights_are_those_of_ciede2000_nearby():
    for lab in ([50.0, 0.0, 0.0], [70.0, 30.0, 20.0], [35.0, -20.0, 25.0]):
        lab = np.array(lab)
        for step in np.eye(3) * 0.2:
            quick = np.linalg.norm(eye_weights(lab)[0] @ step)
            assert quick == pytest.approx(apart(lab, lab + step), rel=0.35)


@given(st.lists(st.floats(-0.1, 0.2), min_size=1, max_size=4), st.floats(0.01, 0.1))
def test_amounts_stay_within_bounds(amounts, most):
    kept = within(np.array(amounts), most)
    assert kept.min() >= 0
    assert kept.sum() <= most * (1 + 1e-9)


def test_unmixing_finds_amounts_that_went_in():
    rng = np.random.default_rng(4)
    parts = [STOCK.components[n] for n in ("reactive red 2", "reactive blue 21")]
    table = np.tile(100 * strengths(parts), (50, 1, 1))
    true = rng.uniform(0, 0.02, (50, 2)) * (rng.random((50, 2)) > 0.2)
    ground = absorption(undyed(JERSEY))
    wish = dyed_lab(ground, table, true)
    found, misfit = fit_amounts(ground, table, wish, eye_weights(wish), 0.1)
    np.testing.assert_allclose(found, true, atol=2e-5)
    assert misfit.max() < 0.02


# ------------------------------------------------------------------------- the stock file


def swatch_dye(name="my teal"):
    return learn_dye(name, [Swatch(name, 0.02, lab_of(STOCK.dyes["tide"], 0.02))], JERSEY, "n").dye


def test_a_dye_is_written_and_read_back(tmp_path):
    dye = swatch_dye('teal "no. 2" é')
    text = with_dyes("", [dye], (), "own.toml")
    tomllib.loads(text)
    stock = load_stock_with(tmp_path / "own.toml", text, NOWHERE)
    back = stock.dye(dye.name)
    assert not back.splitting_known
    assert apart(lab_of(back, 0.02), lab_of(STOCK.dyes["tide"], 0.02)) < 0.2
    assert set(STOCK.dyes) < set(stock.dyes)


def test_what_a_maker_wrote_stays(tmp_path):
    mine = '# my shelf\nschema = 1\n\n[pole]\n"broom stick" = "23 mm"\n\n'
    mine += '[dye.mud] # brown\nparts = { "plain gold" = 1.0 }\n'
    text = with_dyes(mine, [swatch_dye()], (), "own.toml")
    assert text.startswith(mine)
    again = with_dyes(text, [swatch_dye()], (), "own.toml", replace=True)
    assert "# my shelf" in again
    assert "# brown" in again
    assert tomllib.loads(again) == tomllib.loads(text)
    assert set(load_stock_with(tmp_path / "o.toml", again, NOWHERE).poles) > {"broom stick"}
    with pytest.raises(StockError, match=r"own\.toml has the dye 'my teal' already; write --repl"):
        with_dyes(text, [swatch_dye()], (), "own.toml")


def test_replacing_leaves_no_orphan_and_takes_none_that_is_used():
    text = with_dyes("", [swatch_dye("a"), swatch_dye("b")], (), "own.toml")
    text += '\n[dye.c]\nparts = { "b, as a swatch" = 1.0 }\n'
    parts = [Part(STOCK.components[n], 0.5, r) for n, r in
             (("reactive red 2", 1.0), ("reactive blue 21", 2.0))]  # fmt: skip
    fresh = [learn_split(swatch_dye(n), parts, JERSEY).dye for n in "ab"]
    tables = tomllib.loads(with_dyes(text, fresh, (), "own.toml", replace=True))
    assert "a, as a swatch" not in tables["component"]
    assert "b, as a swatch" in tables["component"]
    assert len(tables["component"]) == 5


@pytest.mark.parametrize("name", ["", "  ", "a\nb" * 30, "x" * 41, "bell\x07"])
def test_names_that_no_dye_can_have(name):
    with pytest.raises(StockError, match="not a name for a dye"):
        check_name(name, "names.csv")


# ------------------------------------------------------------------------- split tests become dyes


def test_the_hold_of_parts_follows_the_areas_they_cover():
    """Retardation: of two fronts, areas are as 1 / hold; their weighted mean stays."""
    coral = STOCK.dyes["coral"]
    parts = [Part(component, share, reach) for (component, share), reach in
             zip(coral.parts, (3.0, 1.5), strict=True)]  # fmt: skip
    parted = learn_split(coral, parts, JERSEY)
    far, near = (part for part, _ in parted.dye.parts)
    assert near.kd / far.kd == pytest.approx(4.0, rel=1e-6)
    assert parted.hold == pytest.approx((1.0, 4.0))
    shares = np.array(parted.shares)
    before = np.exp(sum(s * np.log(c.kd) for c, s in coral.parts))
    after = np.exp(shares @ np.log([far.kd, near.kd]))
    assert after == pytest.approx(before, rel=1e-6)
    assert parted.residual < 0.2
    assert parted.dye.splitting_known


def test_the_flat_colour_stays_when_shares_were_guessed_wrong():
    coral = STOCK.dyes["coral"]
    wrong = [Part(component, share, 1.0) for (component, _), share in
             zip(coral.parts, (0.75, 0.25), strict=True)]  # fmt: skip
    parted = learn_split(coral, wrong, JERSEY)
    assert parted.residual < 3.0
    assert 0.55 < parted.shares[0] < 0.75


def test_a_dye_that_does_not_part():
    plain = one_dye(swatch_dye())
    assert plain.splitting_known
    assert plain.parts == swatch_dye().parts
    mixed = one_dye(STOCK.dyes["coral"])
    assert len({(part.kd, part.strike) for part, _ in mixed.parts}) == 1
    assert apart(lab_of(mixed, 0.02), lab_of(STOCK.dyes["coral"], 0.02)) < 1e-6
