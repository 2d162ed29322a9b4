"""The rope: a helix's lengths, cloth kept, sides that change along it, strands that touch."""

from __future__ import annotations

from math import hypot, pi

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from tests.whole import check_bundle

from meltwick.bundle import build_bundle
from meltwick.bundle.rope import TAUT
from meltwick.cloth import build_cloth
from meltwick.constants import Constants
from meltwick.folding import lay_flat, rope
from meltwick.folding.rope import coiled, most_turns, section_of
from meltwick.plan import plan_from_text, resolve
from meltwick.stock import load_stock
from meltwick.types import Bundle, Cloth, Rope, Round

STOCK = load_stock()


def cloth_of(blank: str, pitch: float = 8e-3) -> Cloth:
    return build_cloth(STOCK.blank(blank), STOCK.usual_fabric(blank), pitch)


def turn_of(keys: str, blank: str = "tee", more: str = "") -> Round:
    text = f'[garment]\nblank = "{blank}"\n[[round]]\nfold = [{{ kind = "rope"{keys} }}]\n{more}'
    return resolve(plan_from_text(text, "r.toml"), STOCK).rounds[0]


def bundle_of(cloth: Cloth, spec: Round, neatness: float = 0.65) -> Bundle:
    return build_bundle(cloth, spec, neatness=neatness, seed=3, constants=Constants())


TEE = cloth_of("tee")


@given(st.floats(0.01, 0.06), st.floats(0.01, 0.06), st.floats(0.3, 2.0), st.floats(0.0, 1.0))
def test_a_twisted_bundle_keeps_its_fibres_length(
    wide: float, tall: float, long: float, part: float
) -> None:
    """Length of a helix, by quadrature of its speed: at the mean r^2 it is the fibre's own."""
    turns = part * most_turns(wide, tall, long)
    short, strain = coiled(wide, tall, long, turns)

    def helix(r: float) -> float:
        return quad(lambda s: hypot(1.0, 2 * pi * r * turns / short), 0.0, short)[0]

    mean = (wide**2 + tall**2) / 12.0  # of r^2 over a rectangle
    assert helix(mean**0.5) == pytest.approx(long, rel=1e-6)
    assert helix(hypot(wide, tall) / 2.0) == pytest.approx(long * (1.0 + strain), rel=1e-6)
    assert 0.0 < short <= long
    assert strain <= 0.1


def test_too_many_turns_are_no_rope() -> None:
    with pytest.raises(ValueError, match="turns"):
        coiled(0.03, 0.03, 0.5, 4.0 * most_turns(0.03, 0.03, 0.5))


def test_gathers_keep_every_length_of_a_tidy_hand() -> None:
    flat = lay_flat(TEE, 3)
    made = rope(flat, Rope(), thickness=5.5e-4, pitch=8e-3, neatness=0.0, seed=3)
    assert made.strain99 == pytest.approx(0.0, abs=1e-6)
    wide, tall = section_of(Rope(), float(np.ptp(flat.rim[:, 0])), flat.layers, 5.5e-4)
    assert wide == pytest.approx(tall)
    assert np.ptp(made.p) <= wide * 1.001
    # area of the section: layers times their thickness in it (0.6 of the loose one)
    assert made.layers * 0.6 * 5.5e-4 == pytest.approx(tall, rel=0.3)


@pytest.mark.parametrize("keys", ["", ", doubled = false", ', way = "across", twist = "left"'])
def test_a_rope_is_a_sound_bundle(keys: str) -> None:
    check_bundle(TEE, bundle_of(TEE, turn_of(keys)))


@pytest.mark.parametrize(("seed_pitch", "doubled"), [(8e-3, "true"), (8e-3, "false")])
def test_which_side_is_up_changes_along_a_rope(seed_pitch: float, doubled: str) -> None:
    """N turns bring each of two faces and two edges up 2 N times from end to end."""
    cloth = cloth_of("tee", seed_pitch)
    bundle = bundle_of(cloth, turn_of(f", turns = 3, doubled = {doubled}"), neatness=0.0)
    skin = bundle.exposed > 0.3
    share = bundle.upward[skin].sum() / bundle.exposed[skin].sum()
    # a convex round shows 1/pi of its outside from above; what is turned away is not up
    assert share == pytest.approx(1.0 / pi, abs=0.08)
    # and along the cloth up comes and goes, at the same cell's place in the section
    top = cloth.y[skin & (bundle.upward > 0.8 * bundle.exposed)]
    assert np.ptp(top) > 0.8 * np.ptp(cloth.y)


def test_doubled_strands_touch_and_hide_each_other() -> None:
    one = bundle_of(TEE, turn_of(", doubled = false"))
    two = bundle_of(TEE, turn_of(", doubled = true"))
    assert two.length == pytest.approx(0.5 * one.length, rel=0.1)
    assert two.exposed.sum() < 0.85 * one.exposed.sum()
    assert two.contact_area.sum() > one.contact_area.sum()
    # cells far apart on the cloth touch where the rope lies back on itself
    far = np.abs(TEE.y[two.contacts[:, 0]] - TEE.y[two.contacts[:, 1]])
    assert far.max() > 0.5 * np.ptp(TEE.y)


def test_twisting_presses_the_core() -> None:
    slack, taut = (
        bundle_of(TEE, turn_of(f", turns = {n}", more='tie = { kind = "none" }')) for n in (1, 2)
    )

    def core(bundle: Bundle, turns: int) -> float:
        """T sin^2(psi) / (pi r^2), Laplace's law for helices, with the bundle's own sizes."""
        short = 2.0 * bundle.length  # doubled
        wide, tall = section_of(Rope(), float(np.ptp(TEE.x)), 2, TEE.fabric.thickness)
        reach = 0.5 * hypot(wide, tall)
        return TAUT * np.sin(np.arctan2(2 * pi * reach * turns, short)) ** 2 / (pi * reach**2)

    # what lies at the axis feels it, over the 500 Pa of its own folds; the section that hands
    # make differs from the mean one by up to a tenth each way, its area by a fifth
    for bundle, turns in ((slack, 1), (taut, 2)):
        assert bundle.pressure.max() - 500.0 == pytest.approx(core(bundle, turns), rel=0.2)
    # 1 - rho^2/R^2 is 1 at the axis and 1/3 on the mean of a square's sides
    inner, outer = (
        taut.pressure[side].mean() - 500.0
        for side in (taut.depth > 0.8 * taut.depth.max(), taut.depth < 0.05 * taut.depth.max())
    )
    assert 1.5 < inner / outer < 3.0


def test_a_rope_does_not_depend_on_the_raster() -> None:
    coarse, fine = (
        bundle_of(cloth_of("bandana", pitch), turn_of("", "bandana")) for pitch in (4e-3, 2e-3)
    )
    assert coarse.layers.mean() == pytest.approx(fine.layers.mean(), rel=0.03)
    assert coarse.exposed.mean() == pytest.approx(fine.exposed.mean(), abs=0.02)
    assert coarse.length == pytest.approx(fine.length, rel=0.02)


def test_more_turns_than_it_takes_are_warned_of() -> None:
    from meltwick.advice import advise

    text = '[[round]]\nfold = [{{ kind = "rope", turns = {} }}]\n'
    for turns, warned in ((2.5, False), (15, True)):
        recipe = resolve(plan_from_text(text.format(turns), "r.toml"), STOCK)
        keys = [item.key for item in advise(recipe) if item.level == "warning"]
        assert ("round.1.fold.1.turns" in keys) is warned
