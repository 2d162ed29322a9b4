"""Grounds, fibres, unscoured cloth, legs and feet: against colour-science and the trade."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import colour
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meltwick.advice import advise, describe
from meltwick.cli.words import sentence
from meltwick.cloth import build_cloth
from meltwick.cloth.wetting import wetted
from meltwick.colour.ground import smoothest
from meltwick.errors import PlanError
from meltwick.picture.preview import caption, draw_preview
from meltwick.plan import digest, plan_from_text, resolve
from meltwick.simulate import simulate
from meltwick.stock import load_stock
from meltwick.types import Cloth, Recipe, Result

STOCK = load_stock(Path(__file__).parent / "no such folder")
SMALL = 'blank = "scarf"\nsize = "8 x 54 in"\n'
COLOURS = st.integers(0, 0xFFFFFF).map(lambda n: f"#{n:06x}")


def plan_text(garment: str, turn: str = 'fold = []\ndye = [{ dye = "harbour blue" }]') -> str:
    return f"seed = 3\n[garment]\n{garment}\n[[round]]\n{turn}"


@cache
def predicted(garment: str, turn: str = 'fold = []\ndye = [{ dye = "harbour blue" }]') -> Result:
    plan = plan_from_text(plan_text(garment, turn), "my.toml")
    return simulate(plan, pitch=10e-3, threads=1)


def cook(garment: str) -> Recipe:
    return resolve(plan_from_text(plan_text(garment), "my.toml"), STOCK)


def lightness(result: Result) -> float:
    return float(result.look.lab[result.cloth.dyeable, 0].mean())


# ------------------------------------------------------------------------------------- grounds


def seen(curve: tuple[float, ...]) -> np.ndarray:
    """Colour of a reflectance in daylight, sRGB 0..255, by the colour-science library."""
    wavelengths = np.arange(400, 701, 10)
    shape = colour.SpectralShape(360, 780, 10)
    spectrum = colour.SpectralDistribution(dict(zip(wavelengths.tolist(), curve, strict=True)))
    xyz = colour.sd_to_XYZ(
        spectrum.extrapolate(shape),
        cmfs=colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape),
        illuminant=colour.SDS_ILLUMINANTS["D65"].copy().align(shape),
        method="Integration",
    )
    return np.asarray(colour.XYZ_to_sRGB(xyz / 100.0)) * 255


def channels(text: str) -> np.ndarray:
    return np.array([int(text[n : n + 2], 16) for n in (1, 3, 5)], dtype=float)


@pytest.mark.parametrize("name", STOCK.grounds)
def test_a_ground_has_its_colour(name: str) -> None:
    curve = smoothest(STOCK.grounds[name])
    assert seen(curve) == pytest.approx(channels(STOCK.grounds[name]), abs=1.0)
    assert np.abs(np.diff(curve)).max() < 0.06  # smooth: no spectrum of a dyeing is steeper
    assert 0.0 < min(curve) < max(curve) < 1.0


@settings(max_examples=40, deadline=None)
@given(COLOURS)
def test_any_colour_has_a_smooth_reflectance(text: str) -> None:
    curve = np.array(smoothest(text))
    assert np.all((curve > 0.0) & (curve < 1.0))
    # beyond what cloth reflects the nearest light or dark stands in (see the module)
    low, high = 255 * colour.cctf_encoding(0.01), 255 * colour.cctf_encoding(0.94)
    assert seen(tuple(curve)) == pytest.approx(np.clip(channels(text), low, high), abs=1.5)


def test_undyed_cloth_keeps_its_ground_and_counts_as_undyed() -> None:
    result = predicted(SMALL + 'ground = "sky"', "fold = []\ndye = []")
    assert result.white_share == 1.0
    assert 255 * np.array(result.look.undyed_srgb) == pytest.approx(
        channels(STOCK.grounds["sky"]), abs=1.0
    )
    middle = np.asarray(draw_preview(result, plain=True))
    here = middle[middle.shape[0] // 2 - 40, middle.shape[1] // 2]
    assert here.astype(float) == pytest.approx(channels(STOCK.grounds["sky"]), abs=2.0)


def test_sentence_and_caption_name_the_ground() -> None:
    for ground, word in (("sky", "sky"), ("#bdd7e8", "undyed")):
        result = predicted(SMALL + f'ground = "{ground}"')
        assert f"dyed to {word}" in sentence(result)
        assert f"left {word}" in sentence(result)
        assert f"dyed to {word}" in caption(result)
        assert "white" not in sentence(result)
        assert result.cloth.fabric.ground_name == word
    assert "dyed to white" in caption(predicted(SMALL))


def test_dye_on_a_ground_mixes_with_it() -> None:
    """Colours only ever add: over butter a blue turns greener, over either it turns darker."""
    white, butter = predicted(SMALL), predicted(SMALL + 'ground = "butter"')
    assert lightness(butter) < lightness(white)
    assert butter.look.lab[:, 2].mean() > white.look.lab[:, 2].mean()
    np.testing.assert_array_equal(white.fixed.amount, butter.fixed.amount)


def test_white_is_the_ground_when_none_is_named() -> None:
    assert digest(cook('ground = "White"')) == digest(cook(""))
    assert digest(cook('ground = "sky"')) != digest(cook(""))
    assert digest(cook('ground = "SKY"')) == digest(cook('ground = "sky"'))


@pytest.mark.parametrize(
    ("ground", "said"),
    [
        ("skye", "did you mean 'sky'"),
        ("ecru", "'#bdd7e8'"),
        ("#12", "six figures"),
        ("#gggggg", "six figures"),
    ],
)
def test_an_unknown_ground_is_refused_by_its_key(ground: str, said: str) -> None:
    with pytest.raises(PlanError, match=r"my\.toml: garment\.ground: ") as caught:
        cook(f'ground = "{ground}"')
    assert said in str(caught.value)


def test_a_dark_ground_is_warned_of_and_a_pale_one_is_not() -> None:
    keys = {advice.key for advice in advise(cook('ground = "charcoal"'))}
    assert "garment.ground" in keys
    assert "garment.ground" not in {advice.key for advice in advise(cook('ground = "oat"'))}


# ------------------------------------------------------------------------------ fibres and blends


def test_fibres_take_dye_as_the_trade_says() -> None:
    """Viscose takes more dye than cotton, linen and hemp less: common practice, no source."""
    took = {}
    for name in ("viscose jersey", "cotton jersey", "linen", "hemp jersey"):
        balance = predicted(SMALL + f'fabric = "{name}"').rounds[0].balance
        took[name] = balance.fixed / balance.laid
    assert took["viscose jersey"] > took["cotton jersey"]
    assert took["cotton jersey"] > max(took["linen"], took["hemp jersey"])


def test_a_blend_takes_dye_on_its_dyeable_share() -> None:
    cotton, half = predicted(SMALL), predicted(SMALL + 'fabric = "cotton polyester 50/50"')
    none = predicted(SMALL + 'fabric = "polyester"')
    assert lightness(cotton) < lightness(half) < lightness(none)
    assert none.white_share == 1.0
    assert none.rounds[0].balance.fixed == 0.0
    assert none.rounds[0].balance.relative_error < 1e-9
    for name, fabric in STOCK.fabrics.items():
        shares = re.search(r"polyester (\d+)/(\d+)", name)
        if shares:  # cotton first
            assert fabric.dyeable_share == pytest.approx(int(shares[1]) / 100)
            density = 100 / (int(shares[1]) / 1540 + int(shares[2]) / 1380)  # see the stock file
            assert fabric.fibre_density == pytest.approx(density, abs=1)


# ------------------------------------------------------------------------------ unscoured cloth


def raw(pitch: float = 4e-3, seed: int = 3) -> Cloth:
    blank, fabric = STOCK.blank("bandana"), STOCK.fabric("raw cotton jersey")
    return wetted(build_cloth(blank, fabric, pitch), seed)


def test_unscoured_cloth_wets_in_patches_of_its_own() -> None:
    cloth = raw()
    assert cloth.wets.shape == (cloth.size,)
    assert 0.29 < cloth.wets.min() < 0.4
    assert 0.9 < cloth.wets.max() <= 1.0
    assert 0.3 < np.mean(cloth.wets < 0.65) < 0.7  # about half
    assert not np.array_equal(cloth.wets, raw(seed=4).wets)
    # neighbours are alike, places 20 cm apart are not
    one, two = cloth.edges.T
    near = np.corrcoef(cloth.wets[one], cloth.wets[two])[0, 1]
    index = cloth.panels[0].index
    far = np.corrcoef(cloth.wets[index[5:-60, 5]], cloth.wets[index[5:-60, 55]])[0, 1]
    assert near > 0.9
    assert abs(far) < 0.4


def test_patches_do_not_depend_on_the_pitch() -> None:
    coarse, fine = raw(8e-3), raw(4e-3)
    index = fine.panels[0].index
    at = [
        index[np.abs(fine.y[index[:, 0]] - y).argmin(), np.abs(fine.x[index[0]] - x).argmin()]
        for x, y in zip(coarse.x[::7], coarse.y[::7], strict=True)
    ]
    assert np.corrcoef(coarse.wets[::7], fine.wets[at])[0, 1] > 0.9


def test_scoured_cloth_has_no_patches() -> None:
    cloth = build_cloth(STOCK.blank("bandana"), STOCK.fabric("linen"), 8e-3)
    assert wetted(cloth, 3) is cloth
    assert cloth.wets.size == 0
    assert cloth.taking == 1.0


def test_patches_come_out_paler_and_the_balance_closes() -> None:
    result = predicted(SMALL + "scoured = false")
    cloth, clean = result.cloth, predicted(SMALL)
    counted = cloth.dyeable
    waxy, wet = counted & (cloth.wets < 0.5), counted & (cloth.wets > 0.85)
    assert waxy.sum() > 50
    assert wet.sum() > 50
    gap = [r.look.lab[waxy, 0].mean() - r.look.lab[wet, 0].mean() for r in (result, clean)]
    assert gap[0] > 5.0 + abs(gap[1])  # lighter by more than place alone explains
    assert result.rounds[0].balance.relative_error < 1e-9
    assert np.all(result.fixed.amount >= 0.0)
    assert lightness(result) > lightness(clean)


# ------------------------------------------------------------------------- legs, feet and the eye


def test_a_pair_of_socks_lies_sock_on_sock() -> None:
    cloth = build_cloth(STOCK.blank("socks"), STOCK.usual_fabric("socks"), 4e-3)
    names = [panel.name for panel in cloth.panels]
    assert names == ["front", "back", "second front", "second back"]
    first = cloth.panels[0]
    for panel in cloth.panels:
        np.testing.assert_array_equal(panel.index >= 0, first.index >= 0)
    joined = {(int(cloth.panel[a]), int(cloth.panel[b])) for a, b in cloth.seams}
    assert joined == {(0, 1), (2, 3)}  # the two socks are not sewn to each other


def test_leggings_part_below_the_crotch() -> None:
    blank = STOCK.blank("leggings")
    cloth = build_cloth(blank, STOCK.usual_fabric("leggings"), 4e-3)
    for panel in cloth.panels:
        for share, legs in ((0.5, 1), (1.3, 2), (3.0, 2)):
            row = int(share * blank.measures["rise"] / cloth.pitch)
            runs = np.diff((panel.index[row] >= 0).astype(int), prepend=0)
            assert np.sum(runs == 1) == legs


@pytest.mark.parametrize(
    ("garment", "said"),
    [
        ('blank = "socks"', "Take a pair of socks, size M, one laid on the other"),
        ('blank = "leggings"', "Take leggings, size M, of cotton elastane jersey"),
        ('blank = "tank"\nground = "sage"', "Take a tank, size M, of sage cotton jersey"),
        ("points = [[0, 0], [40, 0], [40, 60]]", "Take your own piece, own outline, one layer"),
    ],
)
def test_the_first_step_says_what_to_take(garment: str, said: str) -> None:
    first = describe(cook(garment))[0]
    assert first.startswith(said)
    assert ",," not in first


@pytest.mark.parametrize(
    ("word", "meant"),
    [("dish towel", "tea towel"), ("sock", "socks"), ("vest", "tank"), ("sweater", "sweatshirt")],
)
def test_a_makers_other_word_is_understood(word: str, meant: str) -> None:
    with pytest.raises(PlanError, match=f"did you mean '{meant}'"):
        cook(f'blank = "{word}"')
