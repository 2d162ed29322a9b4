"""Advice: each warning appears for the plan that deserves it, and not for the usual one."""

from dataclasses import replace
from math import radians

import pytest

from meltwick.advice import advise, describe
from meltwick.plan import example_plan, resolve
from meltwick.stock import load_stock
from meltwick.types import Halve, Ice, PoleWrap, Powder, Soda, StringTie

STOCK = load_stock()


@pytest.fixture(scope="module")
def usual():
    return resolve(example_plan(), STOCK)


def changed(recipe, **changes):
    """The recipe with its only round changed."""
    return replace(recipe, rounds=(replace(recipe.rounds[0], **changes),))


def warned(recipe):
    return {item.key for item in advise(recipe) if item.level == "warning"}


def noted(recipe):
    return {item.key for item in advise(recipe) if item.level == "note"}


def test_the_example_needs_no_warning(usual):
    assert warned(usual) == set()
    assert noted(usual) == {"care"}


def test_care_is_always_said_last(usual):
    for recipe in (usual, changed(usual, powder=(), ice=(), soda=Soda("none", 0.0))):
        last = advise(recipe)[-1]
        assert last.key == "care"
        for word in ("lungs", "eyes", "mask", "labels", "local rules"):
            assert word in last.text


def test_dark_above_light_only_matters_on_a_slope(usual):
    """Light colours go high and dark ones low (common practice, no source)."""
    upside = tuple(
        replace(p, zone=(1.0 - p.zone[1], 1.0 - p.zone[0])) for p in usual.rounds[0].powder
    )
    assert "round.1.dye" in warned(changed(usual, powder=upside))
    assert "round.1.dye" not in warned(changed(usual, powder=upside, incline=0.0))
    text = next(i.text for i in advise(changed(usual, powder=upside)) if i.key == "round.1.dye")
    assert "ink lies higher than coral" in text


@pytest.mark.parametrize(("kilograms", "warns"), [(0.1, True), (1.0, False), (5.0, True)])
def test_ice(usual, kilograms, warns):
    """Six to eight US cups for a shirt, about 0.7 to 1 kg (common practice, no source)."""
    recipe = changed(usual, ice=(Ice(kilograms, 0.025),))
    assert ("round.1.ice" in warned(recipe)) is warns


def test_much_powder_wants_more_ice(usual):
    powder = (Powder("coral", 0.016, (0.0, 1.0)),)
    recipe = changed(usual, ice=(Ice(0.6, 0.025),), powder=powder)
    assert "round.1.ice" in warned(recipe)
    little = (Powder("coral", 0.004, (0.0, 1.0)),)
    assert "round.1.ice" not in warned(changed(recipe, powder=little))


@pytest.mark.parametrize(
    ("strength", "warns"),
    [(0.0, True), (5.0, True), (16.0, False), (44.0, False), (80.0, True)],
)
def test_soda(usual, strength, warns):
    """Half to one US cup a US gallon of light soda ash is 16 to 44 g/L."""
    recipe = changed(usual, soda=Soda("soaked before folding", strength))
    assert ("round.1.soda" in warned(recipe)) is warns


@pytest.mark.parametrize(
    ("hours", "celsius", "warns"),
    [(24, 20, False), (24, 8, True), (48, 10, False), (4, 20, True), (4, 35, False)],
)
def test_batching_counts_cold_hours_for_less(usual, hours, celsius, warns):
    recipe = changed(usual, batch_time=hours * 3600.0, batch_temperature=celsius + 273.15)
    assert ("round.1.batch" in warned(recipe)) is warns


def test_open_or_long_batching_is_noted(usual):
    assert "round.1.batch" in noted(changed(usual, batch_cover="open"))
    assert "round.1.batch" in noted(changed(usual, batch_time=7 * 86400.0))


def test_wash_and_room(usual):
    assert "round.1.wash" in warned(changed(usual, wash="hurried"))
    assert "round.1.wash" not in warned(changed(usual, wash="ordinary"))
    assert "round.1.rest.room" in noted(changed(usual, room=305.0))
    assert "round.1.rest.room" in noted(changed(usual, room=278.0))


@pytest.mark.parametrize(
    ("fabric", "warns"),
    [("polyester", True), ("cotton polyester 50/50", True), ("linen", False)],
)
def test_fibre(usual, fabric, warns):
    """Polyester has no hydroxyl groups for a reactive dye to join (Shore, 1995, from memory)."""
    recipe = replace(usual, fabric=STOCK.fabric(fabric))
    assert ("garment.fabric" in warned(recipe)) is warns


def test_dark_ground_and_raw_cloth(usual):
    dark = replace(usual.fabric, ground=(0.05,) * 31, ground_name="black")
    assert "garment.fabric" in warned(replace(usual, fabric=dark))
    raw = STOCK.fabric("raw cotton jersey")
    assert "garment.fabric" in noted(replace(usual, fabric=raw))


def test_pole_that_the_cloth_does_not_go_round(usual):
    """A tee M is 51 + 2 x about 19 cm across; at bias 0 a pole 30 cm thick is 94 cm round."""
    thick = PoleWrap(0.30, 0.0)
    assert "round.1.fold.1" in warned(changed(usual, folds=(thick,)))
    assert "round.1.fold.1" not in warned(changed(usual, folds=(PoleWrap(0.15, 0.0),)))
    # Folded along the spine it is half as wide, so half the pole is already too thick.
    halved = (Halve("spine", "left"), PoleWrap(0.15, 0.0))
    assert "round.1.fold.2" in warned(changed(usual, folds=halved))


def test_pushed_too_hard_or_string_too_wide(usual):
    hard = PoleWrap(0.048, radians(35), squeeze=8.0)
    assert "round.1.fold.1" in warned(changed(usual, folds=(hard,)))
    wide = StringTie(0.2, 20.0, 0.002)
    assert "round.1.tie.spacing" in warned(changed(usual, tie=wide))
    assert "round.1.tie" in warned(changed(usual, tie=None))


@pytest.mark.parametrize(("grams", "warns"), [(0.2, True), (8.0, False), (30.0, True)])
def test_depth(usual, grams, warns):
    """Shades are pale from 0.1 % of fibre mass and dark at 4 % (published lab recipes)."""
    powder = (Powder("coral", grams / 1e3, (0.0, 1.0)),)
    recipe = changed(usual, powder=powder, ice=(Ice(1.6, 0.025),))
    assert ("round.1.dye" in warned(recipe)) is warns


def test_nothing_laid(usual):
    assert "round.1.dye" in warned(changed(usual, powder=()))
    assert "round.1.ice" in warned(changed(usual, ice=()))


def test_steps_name_what_the_maker_handles(usual):
    text = " ".join(describe(usual))
    for words in ("tee", "1.2 kg of ice", "2.2 g of coral", "string", "35°", "24 h", "Soda ash"):
        assert words in text
    for step in describe(usual):
        assert step.endswith(".")
        assert "\n" not in step


def test_powder_over_the_ice_is_laid_after_it(usual):
    over = tuple(replace(p, over_ice=True) for p in usual.rounds[0].powder)
    steps = describe(changed(usual, powder=over))
    ice = next(i for i, step in enumerate(steps) if "of ice" in step)
    powder = next(i for i, step in enumerate(steps) if "coral" in step)
    assert ice < powder
    under = describe(usual)
    ice = next(i for i, step in enumerate(under) if "of ice" in step)
    assert next(i for i, step in enumerate(under) if "coral" in step) < ice
