"""From a plan's words to numbers, and the digest that tells whether two plans are the same."""

import dataclasses
import hashlib
import json
import math
import pickle

import fluids
import numpy as np
import pytest

from meltwick.cloth import build_cloth
from meltwick.errors import PlanError
from meltwick.plan import canonical, digest, example_plan, plan_from_text, resolve, template
from meltwick.plan.recipe import cloth_area
from meltwick.stock import load_stock
from meltwick.types import Accordion, BandTie, Halve, PoleWrap, Spiral, Spot, StringTie


@pytest.fixture(scope="module")
def stock(tmp_path_factory):
    return load_stock(tmp_path_factory.mktemp("none"))


@pytest.fixture
def cook(stock):
    return lambda text: resolve(plan_from_text(text, "my.toml"), stock)


def in_round(line):
    return f"[[round]]\n{line}\n"


def only(recipe):
    (one,) = recipe.rounds
    return one


# ------------------------------------------------------------------------------ numbers


def test_the_example_resolves(stock):
    recipe = resolve(example_plan(), stock)
    (fold,) = only(recipe).folds
    assert isinstance(fold, PoleWrap)
    # ASME B36.10M
    assert fold.diameter == pytest.approx(
        fluids.nearest_pipe(NPS=1.5, schedule="40")[2], abs=5.1e-5
    )
    assert fold.pole == "1-1/2 in pipe"
    assert only(recipe).tie.pull == stock.tie_pull("tight")
    assert [p.dye for p in only(recipe).powder] == [d.name for d in recipe.dyes]
    assert recipe.blank.size == "M"


@pytest.mark.parametrize("fold", ["pole", "accordion", "spiral"])
def test_the_template_resolves_and_needs_no_warning(stock, fold):
    from meltwick.advice import advise

    recipe = resolve(plan_from_text(template("tee", fold), "tee.toml"), stock)
    assert [each.key for each in advise(recipe)] == ["care"]
    if fold == "pole":
        assert only(recipe).folds[0].squeeze == pytest.approx(3.0)


def test_every_blank_resolves_with_its_usual_size_and_cloth(cook, stock):
    for name, line in stock.blanks.items():
        recipe = cook(f"[garment]\nblank = '{name}'")
        assert recipe.blank.size == line.usual_size
        assert recipe.fabric.name == line.usual_fabric


def test_every_dye_pole_pull_and_fabric_of_the_stock_may_be_named(cook, stock):
    for name in stock.dyes:
        assert cook(f"[[round.dye]]\ndye = '{name}'").dyes == (stock.dyes[name],)
    for name in stock.poles:
        fold = only(cook(in_round(f"fold = [{{ pole = '{name}' }}]"))).folds[0]
        assert fold.diameter == stock.poles[name]
    for word, pull in stock.ties.items():
        assert only(cook(in_round(f"tie = {{ pull = '{word}' }}"))).tie.pull == pull
    for name in stock.fabrics:
        assert cook(f"[garment]\nfabric = '{name}'").fabric == stock.fabrics[name]


def test_halves_keep_their_side(cook):
    text = "fold = [{ kind = 'halve' }, { kind = 'halve', line = 'waist' }, { kind = 'pole' }]"
    folds = only(cook(in_round(text))).folds
    assert folds[:2] == (Halve("spine", "left"), Halve("waist", "bottom"))


def test_accordions_and_spirals_keep_what_they_say(cook):
    text = "fold = [{ kind = 'accordion', pleat = '2 in', creases = '30 deg', lean = 'left' }]"
    (fold,) = only(cook(in_round(text))).folds
    assert fold == Accordion(pytest.approx(0.0508), pytest.approx(math.radians(30)), "left")
    text = (
        "fold = [{ kind = 'spiral', centre = '2 in left of the chest', pleats = 9, turns = 1.5, "
        "height = '4 cm', twist = 'left' }]"
    )
    (fold,) = only(cook(in_round(text))).folds
    assert fold == Spiral(Spot("chest", pytest.approx(-0.0508)), 9, 1.5, 0.04, "left")


def test_bands_are_pulled_snug_and_string_tight_if_nothing_is_said(cook, stock):
    spiral = "fold = [{ kind = 'spiral' }]"
    tie = only(cook(in_round(spiral))).tie
    assert tie == BandTie(3, stock.tie_pull("snug"), 0.004, "snug")
    tie = only(
        cook(in_round(f"{spiral}\ntie = {{ count = 5, pull = '12 N', width = '6 mm' }}"))
    ).tie
    assert tie == BandTie(5, 12.0, 0.006, "")
    tie = only(cook(in_round(f"{spiral}\ntie = {{ kind = 'string' }}"))).tie
    assert tie == StringTie(0.025, stock.tie_pull("tight"), 0.002, "tight")
    assert only(cook(in_round("fold = []"))).tie is None


def test_every_place_of_every_blank_may_be_the_centre(cook, stock):
    from meltwick.plan.words import PLACES

    every = {place for places in PLACES.values() for place in places}
    for name, line in stock.blanks.items():
        for place in every:
            text = f"[garment]\nblank = '{name}'\n" + in_round(
                f"fold = [{{ kind = 'spiral', centre = '{place}' }}]"
            )
            if place in PLACES[line.cut]:
                assert only(cook(text)).folds[0].centre.place == place
            else:
                with pytest.raises(
                    PlanError, match=rf"1\.centre: a {name} has no '{place}'; it may"
                ):
                    cook(text)


@pytest.mark.parametrize("side", ["front", "back"])
@pytest.mark.parametrize(
    "folds",
    [
        "{}",
        "{ kind = 'halve' }",
        "{ kind = 'halve' }, {}",
        "{ kind = 'halve' }, { kind = 'halve', line = 'waist' }, {}",
        "{ kind = 'accordion' }",
        "{ kind = 'accordion', creases = 'slanting' }",
        "{ kind = 'accordion', creases = 'across' }, { kind = 'halve' }",
        "{ kind = 'accordion' }, { kind = 'accordion', creases = 'across' }",
        "{ kind = 'halve' }, { kind = 'accordion' }",
        "{ kind = 'spiral' }",
        "{ kind = 'halve' }, { kind = 'spiral' }",
        "",
    ],
)
def test_the_side_asked_for_ends_outside_and_faces_the_ice(cook, side, folds):
    from meltwick.bundle import build_bundle
    from meltwick.constants import Constants

    recipe = cook(in_round(f"outside = '{side}'\nfold = [{folds}]"))
    cloth = build_cloth(recipe.blank, recipe.fabric, 1e-2)
    bundle = build_bundle(cloth, only(recipe), neatness=0.3, seed=1, constants=Constants())
    front, back = (float(bundle.upward[cloth.panel == panel].mean()) for panel in (0, 1))
    asked, other = (front, back) if side == "front" else (back, front)
    # deep in a brick both sides turn outwards somewhere, elsewhere hardly the other one does
    brick = folds.count("accordion") == 2
    assert asked > (1.4 if brick else 3.0) * other


def test_a_piece_of_one_layer_may_have_its_wrong_side_outside(cook):
    for outside in ("front", "back"):
        text = f"[garment]\nblank = 'bandana'\n[[round]]\noutside = '{outside}'"
        assert only(cook(text)).outside == outside


def test_a_diameter_serves_instead_of_a_pole(cook):
    fold = only(cook(in_round("fold = [{ diameter = '38 mm' }]"))).folds[0]
    assert (fold.diameter, fold.pole) == (0.038, "")


def test_no_tie_no_soda_no_dye(cook):
    one = only(cook(in_round("tie = { kind = 'none' }\nsoda = { how = 'none' }\ndye = []")))
    assert one.tie is None
    assert one.soda.strength == 0
    assert one.powder == ()


def test_half_a_cup_to_a_gallon_is_a_usual_soda_bath(cook):
    # bulk density of light soda ash 570 to 650 kg/m3 (a maker's sheet): half a US cup weighs
    # 67 to 77 g, in 3.785 L of water 17.8 to 20.3 g/L
    assert 17.8 < only(cook("")).soda.strength < 20.3
    dense = only(cook(in_round("soda = { kind = 'dense' }"))).soda.strength
    # dense: 1000 to 1050 kg/m3, so a cup weighs 237 to 248 g
    assert 118 / 3.785 < dense < 125 / 3.785
    weighed = only(cook(in_round("soda = { amount = '40 g', water = '4 L' }"))).soda
    assert weighed.strength == pytest.approx(10.0)


def test_soda_that_cannot_dissolve_is_refused(cook):
    # 17.7 % by weight at 20 degC (a maker's sheet): 215 g in a litre of water
    assert only(cook(in_round("soda = { amount = '214 g', water = '1 L' }"))).soda.strength == 214
    with pytest.raises(PlanError, match=r"my.toml: round\.1\.soda\.amount: 216 g .* at most 215 g"):
        cook(in_round("soda = { amount = '216 g', water = '1 L' }"))


def test_ice_by_the_cup_is_weighed_by_its_packing(cook):
    # cubes pack to 450 to 550 kg/m3 (from memory): a US cup holds 106 to 130 g
    ice = only(cook("[[round.ice]]\namount = '7 cups'")).ice[0]
    assert 7 * 0.106 < ice.mass < 7 * 0.130
    assert only(cook("[[round.ice]]\namount = '2 kg'")).ice[0].mass == 2.0
    kinds = [
        only(cook(f"[[round.ice]]\nkind = '{k}'")).ice[0].chunk
        for k in ("cubes", "crushed", "snow")
    ]
    assert kinds == sorted(kinds, reverse=True)


def test_ice_left_out_is_six_to_eight_cups_for_a_tee_and_less_for_a_bandana(cook):
    # common practice, no source: 6 to 8 US cups for a shirt
    mass = only(cook("")).ice[0].mass
    cups = mass / (500 * 236.5882365e-6)
    assert 6 <= cups <= 8
    assert only(cook("[garment]\nblank = 'bandana'")).ice[0].mass < mass / 3


def test_powder_by_weight_by_spoon_and_by_word(cook, stock):
    def laid(line):
        return only(cook(f"[[round.dye]]\ndye = 'coral'\n{line}")).powder[0].mass

    spoon = stock.dye("coral").spoon
    assert laid("amount = '3 g'") == 0.003
    assert laid("amount = '1 tsp'") == pytest.approx(spoon)
    assert laid("amount = '1/2 tsp'") == pytest.approx(spoon / 2)
    assert laid("amount = '1 tbsp'") == pytest.approx(3 * spoon)  # NIST: 3 teaspoons
    words = [laid(f"amount = '{w}'\nat = 'high'") for w in ("dusting", "covered", "heavy")]
    assert words == sorted(words)
    assert laid("amount = 'covered'\nat = 'all'") == pytest.approx(3 * words[1])
    assert laid("amount = 'covered'\nat = [0.0, 0.1]") == pytest.approx(0.3 * words[1])


def test_covered_all_over_is_a_full_depth_on_a_tee(cook):
    # depth classes: dark from 2 % of fibre mass; about a third of the powder stays on ice
    recipe = cook("")
    cloth = cloth_area(recipe.blank) * recipe.fabric.mass_per_area
    depth = sum(p.mass for p in only(recipe).powder) / cloth
    assert 0.04 < depth < 0.08


def test_cloth_area_is_close_to_the_cut_cloth(stock):
    for line in stock.blanks.values():
        for size in line.sizes:
            blank = stock.blank(line.name, size)
            cloth = build_cloth(blank, stock.usual_fabric(line.name), 4e-3)
            assert cloth_area(blank) == pytest.approx(cloth.size * 4e-3**2, rel=0.03)


def test_a_makers_own_words_and_names_serve_in_a_plan(tmp_path):
    (tmp_path / "mine.toml").write_text('[tie]\nfirm = "15 N"\n[pole]\n"oar" = "35 mm"\n')
    text = in_round("tie = { pull = 'Firm' }\nfold = [{ pole = 'oar' }]")
    one = only(resolve(plan_from_text(text, "my.toml"), load_stock(tmp_path)))
    assert (one.tie.pull, one.tie.word) == (15.0, "firm")
    assert one.folds[0].diameter == 0.035


def test_a_cloth_may_be_said_to_be_unscoured(cook, stock):
    assert cook("[garment]\nscoured = false").fabric.scoured is False
    assert cook("").fabric.scoured is True
    assert stock.fabric("cotton jersey").scoured is True


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[garment]\nblank = 'te'", r"garment\.blank: no blank 'te' .* did you mean 'tee'"),
        ("[garment]\nsize = 'XXL'", r"garment\.size: no size 'XXL' of the tee; it may be S, M, L"),
        ("[garment]\nfabric = 'coton'", r"garment\.fabric: no fabric 'coton'"),
        ("[[round.dye]]\n[[round.dye]]\ndye = 'corel'", r"round\.1\.dye\.2\.dye: .*'coral'"),
        (
            in_round("fold = [{ pole = '5 in pipe' }]"),
            r"round\.1\.fold\.1\.pole: no pole '5 in pipe'",
        ),
        (
            in_round("tie = { pull = 'tigt' }"),
            r"round\.1\.tie\.pull: no pull 'tigt' in stock; it may be hardly, loose, snug, "
            r"tight or very tight, or a force such as '20 N'; did you mean 'tight'\?",
        ),
        (in_round("tie = { spacing = '4 mm', thickness = '5 mm' }"), r"round\.1\.tie\.spacing"),
        ("[[round.dye]]\namount = '10 cups'", r"round\.1\.dye\.1\.amount: comes to"),
        ("[[round.dye]]\namount = 'dusting'\nat = [0.0, 0.001]", r"round\.1\.dye\.1\.amount"),
    ],
)
def test_what_is_not_in_stock_is_the_plans_fault_in_one_line(cook, text, said):
    with pytest.raises(PlanError, match=rf"^my\.toml: {said}") as caught:
        cook(text)
    assert str(caught.value).isprintable()


# ------------------------------------------------------------------------------ digest


def test_the_digest_is_the_sha256_of_the_canonical_json(stock):
    recipe = resolve(example_plan(), stock)
    text = canonical(recipe)
    assert digest(recipe) == hashlib.sha256(text.encode()).hexdigest()
    assert len(digest(recipe)) == 64
    read = json.loads(text)
    assert read["recipe"]["seed"] == 7
    assert read["recipe"]["rounds"][0]["folds"][0]["bias"] == math.radians(35)
    assert json.dumps(read, sort_keys=True, separators=(",", ":"), ensure_ascii=False) == text


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("", "[garment]\nblank = 'tee'\nsize = 'm'\nfabric = 'Cotton Jersey'\ndamp = 'wrung'"),
        ("name = 'a'", "name = 'b'\nnotes = 'for the market'"),
        (in_round("tie = { spacing = '1.5 in' }"), in_round("tie = { spacing = '1-1/2 in' }")),
        (in_round("tie = { spacing = '38.1 mm' }"), in_round("tie = { spacing = '1½ in' }")),
        (in_round("tie = { pull = 'tight' }"), in_round("tie = { pull = '20 N' }")),
        (
            in_round("fold = [{ pole = '1-1/2 in pipe' }]"),
            in_round("fold = [{ diameter = '1.9 in' }]"),
        ),
        (in_round("batch = { time = '24 h' }"), in_round("batch = { time = '1 day' }")),
        (in_round("rest = { room = '68 degF' }"), in_round("rest = { room = '20 degC' }")),
        (in_round("fold = { kind = 'pole' }"), in_round("fold = [{ kind = 'pole' }]")),
    ],
)
def test_plans_that_mean_the_same_have_one_digest(cook, one, other):
    assert digest(cook(one)) == digest(cook(other))


CHANGES = [
    "seed = 2",
    "neatness = 0.51",
    "[garment]\nsize = 'L'",
    "[garment]\nfabric = 'linen'",
    "[garment]\ndamp = 1.16",
    "[garment]\nscoured = false",
    in_round("fold = [{ bias = '36 deg' }]"),
    in_round("fold = [{ lean = 'left' }]"),
    in_round("fold = [{ starts_at = 'shoulder' }]"),
    in_round("fold = [{ squeeze = 3.1 }]"),
    in_round("fold = [{ even = true }]"),
    in_round("fold = [{ diameter = '40 mm' }]"),
    in_round("fold = [{ kind = 'halve' }, {}]"),
    in_round("fold = [{ kind = 'halve', moves = 'right' }, {}]"),
    in_round("fold = [{ kind = 'halve', line = 'waist' }, {}]"),
    in_round("fold = [{ pushed_first = 'high' }]"),
    in_round("fold = []"),
    in_round("fold = [{ kind = 'accordion' }]"),
    in_round("fold = [{ kind = 'accordion', pleat = '7 cm' }]"),
    in_round("fold = [{ kind = 'accordion', creases = 'across' }]"),
    in_round("fold = [{ kind = 'accordion', lean = 'left' }]"),
    in_round("fold = [{ kind = 'accordion' }]\nrest = { lies = 'flat' }"),
    in_round("fold = [{ kind = 'accordion' }]\ntie = { kind = 'bands' }"),
    in_round("fold = [{ kind = 'accordion' }]\ntie = { kind = 'bands', count = 2 }"),
    in_round("fold = [{ kind = 'accordion' }]\ntie = { kind = 'bands', width = '5 mm' }"),
    in_round("fold = [{ kind = 'accordion' }, { kind = 'accordion', creases = 'across' }]"),
    in_round("fold = [{ kind = 'spiral' }]"),
    in_round("fold = [{ kind = 'spiral', centre = 'chest' }]"),
    in_round("fold = [{ kind = 'spiral', centre = '1 cm above the chest' }]"),
    in_round("fold = [{ kind = 'spiral', pleats = 13 }]"),
    in_round("fold = [{ kind = 'spiral', turns = 1.1 }]"),
    in_round("fold = [{ kind = 'spiral', height = '6 cm' }]"),
    in_round("fold = [{ kind = 'spiral', twist = 'left' }]"),
    in_round("outside = 'back'"),
    in_round("tie = { spacing = '26 mm' }"),
    in_round("tie = { pull = '21 N' }"),
    in_round("tie = { thickness = '3 mm' }"),
    in_round("tie = { kind = 'none' }"),
    in_round("soda = { how = 'none' }"),
    in_round("soda = { amount = '1 cup' }"),
    in_round("soda = { time = '30 min' }"),
    in_round("rest = { incline = '20 deg' }"),
    in_round("rest = { room = '21 degC' }"),
    in_round("batch = { time = '25 h' }"),
    in_round("batch = { temperature = '21 degC' }"),
    in_round("batch = { cover = 'open' }"),
    in_round("wash = 'hurried'"),
    "[[round.ice]]\namount = '2 kg'",
    "[[round.ice]]\nkind = 'snow'",
    "[[round.dye]]\ndye = 'plum'",
    "[[round.dye]]\namount = '3 g'",
    "[[round.dye]]\nat = 'low'",
    "[[round.dye]]\npowder = 'over the ice'",
]


def test_every_key_that_changes_the_piece_changes_the_digest(cook):
    digests = [digest(cook(text)) for text in ["", *CHANGES]]
    assert len(set(digests)) == len(digests)


def test_the_digest_takes_in_the_stock_and_the_constants(stock, tmp_path):
    @dataclasses.dataclass(frozen=True)
    class Assumed:
        alpha: float = 20.0

    recipe = resolve(plan_from_text("", "my.toml"), stock)
    assert digest(recipe, Assumed()) == digest(recipe, Assumed(20.0))
    assert len({digest(recipe), digest(recipe, Assumed()), digest(recipe, Assumed(21.0))}) == 3
    (tmp_path / "mine.toml").write_text('[tie]\ntight = "25 N"\n')
    other = resolve(plan_from_text("", "my.toml"), load_stock(tmp_path))
    assert digest(other) != digest(recipe)


def test_the_canonical_form_is_exact_and_refuses_what_is_not_finite(stock):
    recipe = resolve(plan_from_text("", "my.toml"), stock)
    third = dataclasses.replace(recipe, damp=np.float64(1) / 3)
    assert '"damp":0.3333333333333333,' in canonical(third)
    assert digest(dataclasses.replace(recipe, damp=-0.0)) == digest(
        dataclasses.replace(recipe, damp=0.0)
    )
    with pytest.raises(ValueError, match="not JSON compliant"):
        canonical(dataclasses.replace(recipe, damp=math.nan))


def test_a_recipe_travels_to_another_process(stock):
    recipe = resolve(example_plan(), stock)
    assert pickle.loads(pickle.dumps(recipe)) == recipe
