"""Folds and ties in words and sizes: piles, steps, and warnings before they are folded."""

from dataclasses import replace
from math import cos, pi, radians, sin, sqrt

import pytest

from meltwick.advice import advise, describe
from meltwick.advice.hands import fold_and_tie
from meltwick.advice.sizes import bundle_length, disc_width, piles, pushed_length, strip_of, weigh
from meltwick.bundle import build_bundle, fold
from meltwick.cloth import build_cloth
from meltwick.constants import Constants
from meltwick.errors import PlanError
from meltwick.plan import example_plan, plan_from_text, resolve
from meltwick.stock import load_stock
from meltwick.types import Accordion, BandTie, Halve, PoleWrap, Spiral, Spot, StringTie

STOCK = load_stock()


@pytest.fixture(scope="module")
def usual():
    return resolve(example_plan(), STOCK)


def changed(recipe, **changes):
    """The recipe with its only round changed."""
    return replace(recipe, rounds=(replace(recipe.rounds[0], **changes),))


def warned(recipe):
    return {item.key for item in advise(recipe) if item.level == "warning"}


# ------------------------------------------------------------------------------ piles

ALONG, ACROSS, SLANTING = Accordion(0.06), Accordion(0.06, pi / 2), Accordion(0.06, pi / 4)
HALF, WAIST = Halve("spine", "left"), Halve("waist", "bottom")


@pytest.fixture(scope="module")
def square():
    """A bandana of 22 by 22 in."""
    return resolve(plan_from_text("[garment]\nblank = 'bandana'", "square.toml"), STOCK)


@pytest.mark.parametrize(
    ("folds", "wide", "long"),
    [
        ((), 1.0, 1.0),
        ((HALF,), 0.5, 1.0),
        ((WAIST,), 1.0, 0.5),
        ((HALF, WAIST), 0.5, 0.5),
        ((ALONG,), 0.06 / 0.5588, 1.0),
        # pleats slanting at 45 degrees run along a square's diagonal
        ((SLANTING,), 0.06 / 0.5588, sqrt(2.0)),
        ((ALONG, WAIST), 0.06 / 0.5588, 0.5),
        ((HALF, ALONG, ACROSS), 0.06 / 0.5588, 0.06 / 0.5588),
        # the leg of a right-angled triangle cut off a 22 in square: half its diagonal
        ((HALF, WAIST, SLANTING), 0.06 / 0.5588, sqrt(0.5)),
    ],
)
def test_a_square_folds_to_what_geometry_says(square, folds, wide, long):
    across, along = strip_of(changed(square, folds=folds).rounds[0], weigh(square))
    assert along == pytest.approx(0.5588 * long, rel=0.005)  # 22 in; the corners are a bit round
    assert across == pytest.approx(0.5588 * wide, rel=0.005)


@pytest.mark.parametrize("blank", ["tee", "bandana", "scarf"])
@pytest.mark.parametrize(
    "folds",
    [
        (PoleWrap(0.048, radians(35)),),
        (PoleWrap(0.048, radians(90), "left"),),
        (HALF, WAIST, PoleWrap(0.048, radians(35))),
        (ALONG,),
        (ACROSS,),
        (SLANTING,),
        (Accordion(0.05, radians(20), "left"),),
        (Accordion(0.08), Accordion(0.08, pi / 2)),
        (HALF, SLANTING),
        (ALONG, WAIST),
        (HALF, WAIST),
        (Spiral(Spot("middle")),),
        (HALF, Spiral(Spot("middle"), turns=2.0, sense="left")),
    ],
)
def test_the_bundles_length_is_that_of_the_real_one(blank, folds):
    recipe = resolve(plan_from_text(f"[garment]\nblank = '{blank}'", "x.toml"), STOCK)
    turn = changed(recipe, folds=folds).rounds[0]
    garment = weigh(recipe)
    cloth = build_cloth(recipe.blank, recipe.fabric, 4e-3)
    real, tidy = (
        build_bundle(cloth, turn, neatness=n, seed=recipe.seed, constants=Constants()).length
        for n in (recipe.neatness, 0.0)
    )
    assert bundle_length(turn, garment) == pytest.approx(real, rel=0.05)
    if not isinstance(folds[-1], PoleWrap | Spiral):
        # a point lies somewhere in its cell, so a slanting corner misses a diagonal at most
        assert strip_of(turn, garment)[1] == pytest.approx(tidy, abs=2 * sqrt(2.0) * 4e-3)
    if isinstance(folds[-1], PoleWrap):
        *_, (wrap, pile) = piles(turn, garment)
        assert pushed_length(wrap, pile, turn.tie) == pytest.approx(real, rel=0.08)


def test_a_tighter_spiral_makes_a_smaller_disc(square):
    garment = weigh(square)
    (_, flat), *_ = piles(changed(square, folds=(ALONG,)).rounds[0], garment)
    widths = [disc_width(Spiral(Spot("middle"), turns=t), flat, 3e-4) for t in (0.5, 1.0, 2.0)]
    assert widths == sorted(widths, reverse=True)
    assert widths[0] < 2.0 * flat.reach
    assert flat.reach == pytest.approx(sqrt(garment.area / pi), rel=1e-9)


# ------------------------------------------------------------------------------ folds and ties


def test_an_accordion_of_hardly_any_pleats_or_too_thick_a_pile(usual):
    """A tee M is about 83 cm across its sleeves."""
    assert "round.1.fold.1" in warned(changed(usual, folds=(Accordion(0.5),)))
    assert "round.1.fold.1" not in warned(changed(usual, folds=(Accordion(0.2),)))
    whole = changed(usual, folds=(Accordion(0.6, radians(90)), Accordion(0.6)))
    assert "nothing is folded" not in str(advise(whole))
    none = changed(usual, folds=(HALF, WAIST, Accordion(0.6)))
    assert "nothing is folded" in str(advise(none))
    twice = str(advise(changed(usual, folds=(Accordion(0.06), Accordion(0.06)))))
    assert "nothing is folded" in twice
    assert "Take wider pleats" not in twice
    thick = changed(usual, folds=(Accordion(0.03), Accordion(0.03, pi / 2)))
    assert "round.1.fold.2" in warned(thick)
    stout = changed(usual, folds=(Accordion(0.1), Accordion(0.1, pi / 2)))
    assert "round.1.fold.2" not in warned(stout)


def test_a_spiral_turned_further_than_the_cloth_lets_it(usual):
    tight = changed(usual, folds=(Spiral(Spot("chest"), turns=5.0, height=0.02),))
    assert "round.1.fold.1.turns" in warned(tight)
    easy = changed(usual, folds=(Spiral(Spot("chest"), turns=1.0),))
    assert "round.1.fold.1.turns" not in warned(easy)


def test_a_spiral_pinched_off_the_cloth_cannot_be_made(usual):
    far = changed(usual, folds=(Spiral(Spot("hem", down=0.05)),))
    for act in (advise, describe):
        with pytest.raises(PlanError, match=r"^harbour-tee: round\.1\.fold\.1\.centre: .* hem"):
            act(far)
    assert describe(changed(usual, folds=(Spiral(Spot("hem", down=-0.05)),)))


def test_bands_leave_the_ends_of_a_strip_loose(usual):
    bands = BandTie(3, 10.0, 0.004)
    strip = changed(usual, folds=(ALONG,), tie=bands)
    assert "round.1.tie.kind" in warned(strip)
    brick = changed(usual, folds=(Accordion(0.1), Accordion(0.1, pi / 2)), tie=bands)
    assert "round.1.tie.kind" not in warned(brick)
    disc = changed(usual, folds=(Spiral(Spot("chest")),), tie=bands)
    assert "round.1.tie.kind" not in warned(disc)


def test_string_too_wide_for_a_brick(usual):
    brick = (Accordion(0.1), Accordion(0.1, pi / 2))
    wide, close = StringTie(0.05, 20.0, 0.002), StringTie(0.025, 20.0, 0.002)
    assert "round.1.tie.spacing" in warned(changed(usual, folds=brick, tie=wide))
    assert "round.1.tie.spacing" not in warned(changed(usual, folds=brick, tie=close))


def told(recipe, **changes):
    recipe = changed(recipe, **changes)
    return fold_and_tie(recipe.rounds[0], weigh(recipe))


def test_whoever_rolls_lays_the_outside_down(usual):
    """A pole laid on the cloth and rolled up in it leaves the lower side outside."""
    first, second, *_ = told(usual)
    assert first == "Lay it flat, the back up, so that the front ends outside."
    assert "leaning to your left" in second  # the right, as seen from the front
    first, second, *_ = told(usual, outside="back")
    assert first == "Lay it flat, the front up, so that the back ends outside."
    assert "leaning to your right" in second


def test_steps_of_an_accordion_and_a_brick(usual):
    lines = told(usual, outside="back", folds=(Accordion(0.1), Accordion(0.1, pi / 2)))
    assert lines[0] == "Lay it flat, the back up, so that the front ends outside."
    assert lines[1].startswith("Fold it back and forth into pleats 10 cm (3-7/8 in) wide")
    assert "along the garment: about 9 pleats" in lines[1]
    assert "10 cm wide and about 74 cm long" in lines[1]
    assert lines[2].startswith("Fold that strip back and forth again")
    assert "across the garment: about 8 pleats" in lines[2]
    steps = describe(changed(usual, outside="back", folds=(ALONG,)))
    assert any("pleats stand up and the front shows" in step for step in steps)
    steps = describe(changed(usual, folds=(ALONG,), lies="flat"))
    assert any("on a rack, flat, tilted" in step for step in steps)


def test_steps_of_halves_name_the_hand_of_who_folds(usual):
    assert "the half on your left over the other" in told(usual, folds=(HALF,))[1]
    assert "the half on your right over the other" in told(usual, folds=(HALF,), outside="back")[1]
    assert "the bottom half over the other" in told(usual, folds=(WAIST,), outside="back")[1]
    slanting = told(usual, folds=(HALF, SLANTING), outside="back")[2]
    assert "at 45° to the garment's length, leaning to your left at the top" in slanting


def test_steps_of_a_spiral(usual, square):
    lines = told(usual, folds=(Spiral(Spot("chest")),), tie=BandTie(3, 10.0, 0.004, "snug"))
    assert lines[0] == "Lay it flat, the front up."
    assert lines[1].startswith("Pinch it at the chest and turn it as a clock's hands go")
    assert "about once round" in lines[2]
    assert "50 mm (2 in) tall" in lines[2]
    assert "3 bands 4 mm wide" in lines[3]
    assert "6 wedges" in lines[3]
    assert "pulled snug, about 10 N (1 kg)" in lines[3]
    place = Spiral(Spot("left sleeve", right=-0.02, down=0.05), sense="left")
    seen = told(usual, folds=(place,))[1]
    assert "Pinch it 20 mm (3/4 in) left of and 50 mm (2 in) below the left sleeve" in seen
    assert "against a clock's hands" in seen
    seen = told(usual, folds=(place,), outside="back")[1]
    assert "20 mm (3/4 in) right of and 50 mm (2 in) below the right sleeve" in seen
    one = told(square, folds=(Spiral(Spot("middle")),), tie=BandTie(1, 10.0, 0.004))
    assert one[0] == "Lay it flat, the right side up."
    assert "Stretch a band 4 mm wide over its middle, pulled at about 10 N" in one[-1]


def test_unfolded_cloth_is_laid_and_left(square):
    assert told(square, folds=(), tie=None, outside="back") == [
        "Lay it flat, the wrong side up, and leave it unfolded."
    ]


# ------------------------------------------------------------------------------ hands and bundles


def test_twisting_is_seen_from_above_whichever_side_is_up(usual):
    """Seen through the front, a clock's hands over the back run the other way."""
    cloth = build_cloth(usual.blank, usual.fabric, 8e-3)

    def twisted(outside, sense):
        turn = changed(usual, folds=(Spiral(Spot("chest"), sense=sense),), outside=outside)
        return fold(cloth, turn.rounds[0], 0.5, 3, 1).disc

    same, other = twisted("front", "left"), twisted("front", "right")
    over = twisted("back", "right")
    assert (over.rib == same.rib).all()
    assert (over.rib != other.rib).any()


def test_a_place_keeps_its_side_when_the_cloth_is_halved(usual):
    """A spot 4 cm left of the left shoulder lies 4 cm beyond it, turned over or not."""
    cloth = build_cloth(usual.blank, usual.fabric, 8e-3)
    x, y = cloth.places["left shoulder"]
    spiral = Spiral(Spot("left shoulder", right=0.04, down=0.05))
    for folds, where in (((spiral,), x + 0.04), ((HALF, spiral), -(x + 0.04))):
        stack = fold(cloth, changed(usual, folds=folds).rounds[0], 0.5, 3, 1)
        assert stack.marks[-1] == pytest.approx((where, y + 0.05))


@pytest.mark.parametrize("angle", [20, 35, 60])
def test_cloth_halved_twice_is_wrapped_from_corner_to_corner(square, angle):
    """Without pushing, its length is that of a square of half the side, along the pole."""
    wrap = PoleWrap(0.03, radians(angle), squeeze=1.0, even=True)
    turn = changed(square, folds=(HALF, WAIST, wrap)).rounds[0]
    cloth = build_cloth(square.blank, square.fabric, 4e-3)
    length = build_bundle(cloth, turn, neatness=0.0, seed=1, constants=Constants()).length
    side = 0.5 * 0.5588  # [m] half of 22 in
    wanted = side * (cos(radians(angle)) + sin(radians(angle)))
    assert length == pytest.approx(wanted, rel=0.04)
