"""What a plan may say, and what it is told when it says something else."""

import math
import re
import subprocess
import sys
import time

import pytest

from meltwick.errors import FileError, MeltwickError, PlanError
from meltwick.plan import example_plan, plan_from_text, read_plan, template
from meltwick.plan.folds import AccordionFold, HalveFold, PoleFold, SpiralFold
from meltwick.plan.models import (
    BatchTable,
    DyeTable,
    Garment,
    IceTable,
    Plan,
    RestTable,
    RoundTable,
    SodaTable,
    TieTable,
)

# The plan of the design, every key written out.
WHOLE = """
schema = 1
name = "harbour-tee"
seed = 7
neatness = "relaxed"

[garment]
blank = "tee"
size = "M"
fabric = "cotton jersey"
damp = "wrung"

[[round]]
tie  = { kind = "string", spacing = "25 mm", pull = "tight", thickness = "2 mm" }
soda = { how = "soaked before folding", amount = "0.5 cup", water = "1 gal", time = "20 min" }
rest = { on = "rack", incline = "15 deg" }
batch = { time = "24 h", temperature = "20 degC", cover = "wrapped" }
wash = "careful"

  [[round.fold]]
  kind = "pole"
  pole = "1-1/2 in pipe"
  bias = "35 deg"
  lean = "right"
  starts_at = "hem"
  squeeze = 3

  [[round.ice]]
  amount = "1.2 kg"
  kind = "cubes"

  [[round.dye]]
  dye = "coral"
  amount = "3 g"
  at = "high"
  powder = "under the ice"
"""


def plan(text):
    return plan_from_text(text, "my.toml")


def told(text):
    """The one line that a faulty plan gets."""
    with pytest.raises(PlanError) as caught:
        plan(text)
    message = str(caught.value)
    assert message.startswith("my.toml")
    assert message.isprintable()
    assert caught.value.exit_code == 2
    return message


def in_round(line):
    return f"[[round]]\n{line}\n"


# ------------------------------------------------------------------------------ reading


def test_the_whole_plan_is_read_in_si_units():
    read = plan(WHOLE)
    assert (read.name, read.seed, read.neatness) == ("harbour-tee", 7, 0.65)
    assert (read.garment.blank, read.garment.size, read.garment.damp) == ("tee", "M", 1.15)
    (one,) = read.round
    (fold,) = one.fold
    assert fold.pole == "1-1/2 in pipe"
    assert math.degrees(fold.bias) == pytest.approx(35)
    assert (one.tie.spacing, one.tie.pull, one.tie.thickness) == (0.025, "tight", 0.002)
    # NIST Handbook 44: a US gallon is 3.785411784 L, a cup a sixteenth of it
    assert one.soda.water == pytest.approx(3.785411784e-3, rel=1e-15)
    assert one.soda.amount.value == pytest.approx(3.785411784e-3 / 32, rel=1e-15)
    assert (one.soda.time, one.batch.time, one.batch.temperature) == (1200, 86400, 293.15)
    assert math.degrees(one.rest.incline) == pytest.approx(15)
    assert one.ice[0].amount == ("mass", 1.2)
    assert one.dye[0].at == (2 / 3, 1.0)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[garment]\n",
        "[[round]]\n",
        "[round]\n",
        "[garment]\n[round]\n[round.tie]\n[[round.ice]]\n",
        'schema = 1\n[[round.dye]]\ndye = "plum"\n',
    ],
    ids=["empty", "garment", "round", "single-round", "empty-tables", "three-lines"],
)
def test_a_few_lines_or_none_make_a_plan(text):
    read = plan(text)
    assert len(read.round) == 1
    assert read.round[0].fold
    assert read.round[0].ice
    assert read.name == "my"


def test_defaults_are_what_the_example_of_the_design_says():
    one = plan("").round[0]
    assert one.tie == plan(WHOLE).round[0].tie
    assert one.soda == plan(WHOLE).round[0].soda
    assert one.rest.incline == pytest.approx(plan(WHOLE).round[0].rest.incline)
    assert one.batch == plan(WHOLE).round[0].batch


@pytest.mark.parametrize(
    ("table", "model"),
    [
        ("", Plan),
        ("garment", Garment),
        ("round", RoundTable),
        ("tie", TieTable),
        ("soda", SodaTable),
        ("rest", RestTable),
        ("batch", BatchTable),
        ("ice", IceTable),
        ("dye", DyeTable),
        ("pole", PoleFold),
        ("halve", HalveFold),
        ("accordion", AccordionFold),
        ("spiral", SpiralFold),
    ],
)
def test_every_key_has_a_default_and_a_description(table, model):
    assert model()
    assert all(field.description for field in model.model_fields.values())


@pytest.mark.parametrize(
    ("line", "key", "value"),
    [
        ("neatness = 'tidy'", "neatness", 0.2),
        ("neatness = 'LOOSE'", "neatness", 1.0),
        ("neatness = 0.3", "neatness", 0.3),
        ("neatness = 1", "neatness", 1.0),
        ("seed = 0", "seed", 0),
        ("notes = 'for the market'", "notes", "for the market"),
    ],
)
def test_words_and_numbers_serve_alike(line, key, value):
    assert getattr(plan(line), key) == value


@pytest.mark.parametrize(
    ("written", "value"),
    [('"dry"', 0.08), ('"spun"', 0.5), ('"wrung"', 1.15), ('"dripping"', 2.0), ("1.3", 1.3)],
)
def test_dampness(written, value):
    assert plan(f"[garment]\ndamp = {written}").garment.damp == value
    assert plan(f'[garment]\ndamp = "{100 * value} %"').garment.damp == pytest.approx(value)


@pytest.mark.parametrize(
    ("written", "value"),
    [("3", 3.0), ("2.5", 2.5), ('"70 cm to 25 cm"', 2.8), ('"28 in to 10 in"', 2.8)],
)
def test_squeeze_is_a_number_or_two_lengths(written, value):
    read = plan(in_round(f"fold = [{{ kind = 'pole', squeeze = {written} }}]"))
    assert read.round[0].fold[0].squeeze == pytest.approx(value)


@pytest.mark.parametrize(
    ("written", "value"),
    [
        ('"low"', (0, 1 / 3)),
        ('"middle"', (1 / 3, 2 / 3)),
        ('"high"', (2 / 3, 1)),
        ('"all"', (0, 1)),
        ("[0.65, 1]", (0.65, 1)),
    ],
)
def test_zones(written, value):
    assert plan(f"[[round.dye]]\nat = {written}").round[0].dye[0].at == pytest.approx(value)


def test_pull_is_a_word_or_a_force():
    assert plan(in_round("tie = { pull = 'very tight' }")).round[0].tie.pull == "very tight"
    assert plan(in_round("tie = { pull = '20 N' }")).round[0].tie.pull == 20.0
    pounds = plan(in_round("tie = { pull = '5 lbf' }")).round[0].tie.pull
    assert pounds == pytest.approx(5 * 4.4482216152605)


def test_no_dye_may_be_said():
    assert plan(in_round("dye = []")).round[0].dye == ()


def test_folds_compose_and_the_pole_comes_last():
    read = plan(in_round("fold = [{ kind = 'halve' }, { kind = 'halve', line = 'waist' }, {}]"))
    kinds = [fold.kind for fold in read.round[0].fold]
    assert kinds == ["halve", "halve", "pole"]
    assert read.round[0].fold[0].moving == "left"
    assert read.round[0].fold[1].moving == "bottom"


def test_an_accordion_takes_a_word_or_an_angle():
    for written, degrees in {
        "along": 0,
        "Slanting": 45,
        "across": 90,
        "30 deg": 30,
        "90 deg": 90,
    }.items():
        read = plan(in_round(f"fold = [{{ kind = 'accordion', creases = '{written}' }}]"))
        assert math.degrees(read.round[0].fold[0].creases) == pytest.approx(degrees)


def test_a_spiral_is_centred_on_a_place_of_the_body():
    read = plan(in_round("fold = [{ kind = 'spiral', centre = '10 cm below the neck' }]"))
    (fold,) = read.round[0].fold
    assert (fold.centre.place, fold.centre.right, fold.centre.down) == ("neck", 0, 0.1)
    usual = plan(in_round("fold = [{ kind = 'spiral' }]")).round[0].fold[0]
    assert (usual.centre.place, usual.pleats, usual.turns, usual.twist) == (
        "middle",
        12,
        1,
        "right",
    )
    assert plan(in_round("fold = [{ kind = 'spiral', turns = 2 }]")).round[0].fold[0].turns == 2


@pytest.mark.parametrize(
    ("line", "kind"),
    [
        ("", "string"),
        ("fold = [{ kind = 'accordion' }]", "string"),
        ("fold = [{ kind = 'spiral' }]", "bands"),
        ("fold = [{ kind = 'halve' }, { kind = 'spiral' }]", "bands"),
        ("fold = []", "none"),
        ("fold = []\ntie = { pull = 'loose' }", "string"),
        ("fold = [{ kind = 'spiral' }]\ntie = { kind = 'none' }", "none"),
        ("fold = [{ kind = 'spiral' }]\ntie = { kind = 'string' }", "string"),
        ("fold = [{ kind = 'spiral' }]\ntie = { spacing = '4 cm' }", "string"),
        ("fold = [{ kind = 'spiral' }]\ntie = { pull = 'loose' }", "bands"),
        ("fold = [{ kind = 'accordion' }]\ntie = { count = 2 }", "bands"),
        ("tie = { kind = 'none', spacing = '4 cm', count = 2 }", "none"),
    ],
)
def test_a_tie_left_out_suits_the_fold(line, kind):
    (one,) = plan(in_round(line)).round
    assert one.tie.kind_after(one.fold[-1].kind if one.fold else "") == kind


@pytest.mark.parametrize(
    "folds",
    [
        "{ kind = 'accordion' }, { kind = 'accordion', creases = 'across' }",
        "{ kind = 'halve' }, { kind = 'accordion', creases = 'slanting' }",
        "{ kind = 'accordion' }, { kind = 'halve', line = 'waist' }",
        "{ kind = 'accordion', creases = '80 deg' }, { kind = 'halve' }",
        "{ kind = 'halve', line = 'waist' }, { kind = 'spiral' }",
    ],
)
def test_folds_that_hands_can_make_are_taken(folds):
    assert plan(in_round(f"fold = [{folds}]")).round[0].fold


def test_a_pile_stands_or_lies():
    for fold in (
        "{ kind = 'accordion' }",
        "{ kind = 'accordion' }, { kind = 'halve', line = 'waist' }",
    ):
        for lies in ("pleats up", "flat"):
            read = plan(in_round(f"fold = [{fold}]\nrest = {{ lies = '{lies}' }}"))
            assert read.round[0].rest.lies == lies
    assert plan(in_round("fold = [{ kind = 'halve' }]\nrest = { lies = 'flat' }"))


# ------------------------------------------------------------------------------ faults

FAULTS = {
    "colour = 1": ("colour: no such key", "schema, name, notes, seed, neatness, garment or round"),
    "[garmet]": ("garmet: no such key", "did you mean 'garment'?"),
    "[garment]\nsise = 'M'": ("garment.sise: no such key", "did you mean 'size'?"),
    in_round("tie = { spacng = '25 mm' }"): ("round.1.tie.spacng", "did you mean 'spacing'?"),
    in_round("fold = [{ kind = 'pole', byas = '35 deg' }]"): (
        "round.1.fold.1.byas",
        "did you mean 'bias'?",
    ),
    "[[round.dye]]\n[[round.dye]]\ncolour = 'plum'": ("round.1.dye.2.colour", "dye, amount, at"),
    in_round("wash = 'carefull'"): (
        "round.1.wash: 'carefull' is not known; it may be careful, ordinary or hurried",
        "did you mean 'careful'?",
    ),
    in_round("wash = 3"): ("round.1.wash: 3 is not a word", "careful, ordinary or hurried"),
    "neatness = 'tody'": ("neatness: 'tody'", "did you mean 'tidy'?"),
    "neatness = 1.5": ("neatness: 1.5 is out of reach", "0 to 1"),
    "neatness = nan": ("neatness: nan", "0 to 1"),
    "neatness = []": ("neatness: []", "tidy, relaxed or loose"),
    "seed = -1": ("seed: -1", "from 0 to"),
    "seed = true": ("seed: true", "whole number"),
    "seed = 1.5": ("seed: 1.5", "whole number"),
    "name = 'a/b'": ("name: 'a/b'", "letters, digits"),
    "name = '..'": ("name: '..'", "letters, digits"),
    "name = ''": ("name: ''", "letters, digits"),
    "name = 'con'": ("name: 'con'", "letters, digits"),
    'name = "a\\nb"': ("name: 'a\\nb'", "letters, digits"),
    "name = 3": ("name: 3", "letters, digits"),
    "[garment]\ndamp = 9": ("garment.damp: 9", "0.05 to 3"),
    "[garment]\ndamp = 'moist'": ("garment.damp: 'moist'", "dry, spun, wrung or dripping"),
    "[garment]\nblank = 3": ("garment.blank: 3", "in quotes"),
    "[garment]\nscoured = 'no'": ("garment.scoured: 'no'", "true nor false"),
    "garment = 3": ("garment: 3", "not a table"),
    "round = 3": ("round: 3", "rounds"),
    "round = []": ("round: 0 rounds", "at least 1"),
    "round = [3]": ("round.1: 3", "not a table"),
    "[[round]]\n[[round]]": ("round: 2 rounds", "not built yet"),
    in_round("fold = [{ kind = 'scrunch' }]"): ("round.1.fold.1.kind: 'scrunch'", "not built yet"),
    in_round("fold = [{ kind = 'poll' }]"): ("round.1.fold.1.kind", "did you mean 'pole'?"),
    in_round("fold = [{ kind = 3 }]"): (
        "round.1.fold.1.kind: 3",
        "pole, halve, accordion or spiral",
    ),
    in_round("fold = ['pole']"): ("round.1.fold.1: 'pole'", "kind ="),
    in_round("fold = 'pole'"): ("round.1.fold: 'pole'", "folds"),
    in_round("fold = [{ bias = 35 }]"): ("round.1.fold.1.bias: 35 has no unit", "'35 deg'"),
    in_round("fold = [{ bias = '95 deg' }]"): ("round.1.fold.1.bias: '95 deg'", "0 deg to 90 deg"),
    in_round("fold = [{ squeeze = 9 }]"): ("round.1.fold.1.squeeze: 9", "to 6"),
    in_round("fold = [{ squeeze = nan }]"): ("round.1.fold.1.squeeze: nan", "to 6"),
    in_round("fold = [{ squeeze = '70 cm to 0 cm' }]"): ("round.1.fold.1.squeeze", "to 6"),
    in_round("fold = [{ squeeze = '25 cm to 70 cm' }]"): ("round.1.fold.1.squeeze", "to 6"),
    in_round("fold = [{ squeeze = 'hard' }]"): ("round.1.fold.1.squeeze", "70 cm to 25 cm"),
    in_round("fold = [{ pole = '1 in pipe', diameter = '38 mm' }]"): (
        "round.1.fold.1.diameter",
        "not both",
    ),
    in_round("fold = [{ diameter = '2 m' }]"): ("round.1.fold.1.diameter: '2 m'", "5 mm to 300"),
    in_round("fold = [{ kind = 'pole' }, { kind = 'halve' }]"): (
        "round.1.fold.2: cloth on a pole cannot be folded again",
    ),
    in_round("fold = [{ kind = 'halve' }, { kind = 'halve' }, {}]"): (
        "round.1.fold.2.line: it is folded at the spine already",
    ),
    in_round("fold = [{ kind = 'halve', moves = 'top' }]"): (
        "round.1.fold.1.moves: 'top' does not lie beside the spine",
        "left or right",
    ),
    in_round("fold = [{ kind = 'halve', line = 'waist', moves = 'left' }]"): (
        "round.1.fold.1.moves",
        "bottom or top",
    ),
    in_round("fold = ['spiral']"): ("round.1.fold.1: 'spiral'", '{ kind = "spiral" }'),
    in_round("fold = [{ pleat = '6 cm' }]"): (
        "round.1.fold.1.pleat: no such key",
        "'pleat' goes with kind = 'accordion'",
    ),
    in_round("fold = [{ kind = 'spiral', lean = 'left' }]"): (
        "round.1.fold.1.lean: no such key",
        "'lean' goes with kind = 'pole' or 'accordion'",
    ),
    in_round("fold = [{ even = true, pushed_first = 'low' }]"): (
        "round.1.fold.1.pushed_first: pushed evenly",
        "even = false",
    ),
    in_round("fold = [{ kind = 'accordion', pleat = 6 }]"): (
        "round.1.fold.1.pleat: 6 has no unit",
    ),
    in_round("fold = [{ kind = 'accordion', pleat = '2 mm' }]"): (
        "round.1.fold.1.pleat: '2 mm'",
        "8 mm to 600 mm",
    ),
    in_round("fold = [{ kind = 'accordion', creases = 'sideways' }]"): (
        "round.1.fold.1.creases: 'sideways' is not known",
        "along, slanting or across, or from 0 deg to 90 deg",
    ),
    in_round("fold = [{ kind = 'accordion', creases = 45 }]"): (
        "round.1.fold.1.creases: 45 has no unit",
    ),
    in_round("fold = [{ kind = 'accordion', creases = '95 deg' }]"): (
        "round.1.fold.1.creases: '95 deg'",
        "0 deg to 90 deg",
    ),
    in_round("fold = [{ kind = 'spiral', centre = 'elbow' }]"): (
        "round.1.fold.1.centre: 'elbow' is not a place",
        "'10 cm below the neck'",
    ),
    in_round("fold = [{ kind = 'spiral', pleats = 3 }]"): ("round.1.fold.1.pleats: 3", "4 to 60"),
    in_round("fold = [{ kind = 'spiral', pleats = 12.5 }]"): (
        "round.1.fold.1.pleats: 12.5 is not a whole number",
        "from 4 to 60",
    ),
    in_round("fold = [{ kind = 'spiral', turns = 'once' }]"): (
        "round.1.fold.1.turns: 'once' is not a number",
        "from 0.4 to 5",
    ),
    in_round("fold = [{ kind = 'spiral', turns = true }]"): ("round.1.fold.1.turns: true",),
    in_round("fold = [{ kind = 'spiral', turns = 9 }]"): ("round.1.fold.1.turns: 9", "0.4 to 5"),
    in_round("fold = [{ kind = 'spiral', turns = inf }]"): ("round.1.fold.1.turns: inf",),
    in_round("fold = [{ kind = 'spiral', height = '1 m' }]"): (
        "round.1.fold.1.height: '1 m'",
        "15 mm to 200 mm",
    ),
    in_round("fold = [{ kind = 'spiral', twist = 'up' }]"): (
        "round.1.fold.1.twist: 'up'",
        "right or left",
    ),
    in_round("fold = [{ kind = 'accordion' }, {}]"): (
        "round.1.fold.2: pleated cloth cannot go round a pole",
    ),
    in_round("fold = [{ kind = 'accordion' }, { kind = 'spiral' }]"): (
        "round.1.fold.2: pleated cloth cannot go into a spiral",
    ),
    in_round("fold = [{ kind = 'spiral' }, { kind = 'accordion' }]"): (
        "round.1.fold.2: a twisted disc cannot be folded again",
    ),
    in_round("fold = [{ kind = 'accordion' }, { kind = 'halve' }]"): (
        "round.1.fold.2.line: the spine does not run across the pleats",
    ),
    in_round("fold = [{ kind = 'accordion', creases = 'slanting' }, { kind = 'halve' }]"): (
        "round.1.fold.2.line: the spine does not run across the pleats",
    ),
    in_round("outside = 'inside'"): ("round.1.outside: 'inside'", "front or back"),
    in_round("outside = 1"): ("round.1.outside: 1", "front or back"),
    in_round("rest = { lies = 'flat' }"): (
        "round.1.rest.lies: 'flat' is for a folded pile; a pole lies as it is",
    ),
    in_round("fold = [{ kind = 'spiral' }]\nrest = { lies = 'flat' }"): (
        "round.1.rest.lies: 'flat' is for a folded pile; a spiral's disc lies as it is",
    ),
    in_round("fold = [{ kind = 'halve' }]\nrest = { lies = 'pleats up' }"): (
        "round.1.rest.lies: there are no pleats",
    ),
    in_round("tie = { kind = 'string', count = 3 }"): (
        "round.1.tie.count: it goes with bands, and this tie is string",
    ),
    in_round("tie = { kind = 'bands', spacing = '2 cm' }"): (
        "round.1.tie.spacing: it goes with string, and this tie is bands",
    ),
    in_round("tie = { spacing = '2 cm', width = '4 mm' }"): (
        "round.1.tie.width: it goes with bands",
    ),
    in_round("tie = { count = 0 }"): ("round.1.tie.count: 0", "1 to 24"),
    in_round("tie = { count = 2.0 }"): ("round.1.tie.count: 2.0 is not a whole number",),
    in_round("tie = { width = '5 cm' }"): ("round.1.tie.width: '5 cm'", "1 mm to 30 mm"),
    in_round("tie = { spacing = '0 mm' }"): ("round.1.tie.spacing: '0 mm'", "3 mm to 300 mm"),
    in_round("tie = { spacing = '-25 mm' }"): ("round.1.tie.spacing: '-25 mm'", "negative"),
    in_round("tie = { spacing = 'nan mm' }"): ("round.1.tie.spacing: 'nan mm'", "a length"),
    in_round("tie = { spacing = '1e9 mm' }"): ("round.1.tie.spacing: '1e9 mm'", "3 mm to 300 mm"),
    in_round("tie = { spacing = '9**9**9 mm' }"): ("round.1.tie.spacing", "a length"),
    in_round("tie = { spacing = 25 }"): ("round.1.tie.spacing: 25 has no unit", "'25 mm'"),
    in_round("tie = { pull = '' }"): (
        "round.1.tie.pull: ''",
        "a word in stock such as 'tight', or a force",
    ),
    in_round("tie = { pull = 20 }"): ("round.1.tie.pull: 20 has no unit", "'20 N'"),
    in_round("tie = { pull = '20 mm' }"): ("round.1.tie.pull: '20 mm' is a length", "'20 N'"),
    in_round("tie = { pull = '900 N' }"): ("round.1.tie.pull: '900 N'", "0.5 N to 200 N"),
    in_round("tie = { kind = 'plates' }"): ("round.1.tie.kind: 'plates'", "not built yet"),
    in_round("tie = { kind = 'bands' }"): ("round.1.tie.kind: ", "a pole takes string"),
    in_round("soda = { how = 'sprinkled' }"): ("round.1.soda.how", "not built yet"),
    in_round("soda = { amount = '0 g' }"): ("round.1.soda.amount: '0 g'", "0.1 g to 20 kg"),
    in_round("soda = { amount = '0 cups' }"): ("round.1.soda.amount", "more than 0"),
    in_round("soda = { amount = '3 mm' }"): ("round.1.soda.amount: '3 mm' is a length", "weight"),
    in_round("soda = { kind = 'washing' }"): ("round.1.soda.kind", "light or dense"),
    in_round("soda = { water = '1e9 L' }"): ("round.1.soda.water", "100 mL to 200 L"),
    in_round("rest = { on = 'tub' }"): ("round.1.rest.on", "not built yet"),
    in_round("rest = { incline = '80 deg' }"): ("round.1.rest.incline", "0 deg to 60 deg"),
    in_round("rest = { room = '-20 degC' }"): ("round.1.rest.room", "2 degC to 45 degC"),
    in_round("batch = { time = '0 h' }"): ("round.1.batch.time: '0 h'", "1 min to 14 days"),
    in_round("batch = { temperature = '90 degC' }"): ("round.1.batch.temperature", "60 degC"),
    in_round("batch = { cover = 'lid' }"): ("round.1.batch.cover: 'lid'", "wrapped or open"),
    in_round("ice = []"): ("round.1.ice: 0 loads of ice", "at least 1"),
    "[[round.ice]]\namount = '1e9 kg'": ("round.1.ice.1.amount: '1e9 kg'", "10 g to 100 kg"),
    "[[round.ice]]\nkind = 'dry'": ("round.1.ice.1.kind: 'dry'", "cubes, crushed or snow"),
    "[[round.ice]]\nchunk = '1 m'": ("round.1.ice.1.chunk: '1 m'", "to 150 mm"),
    "[[round.dye]]\namount = 'lots'": ("round.1.dye.1.amount", "dusting, covered or heavy"),
    "[[round.dye]]\namount = '900 g'": ("round.1.dye.1.amount: '900 g'", "10 mg to 500 g"),
    "[[round.dye]]\nat = [1, 0]": ("round.1.dye.1.at: [1, 0]", "[0.65, 1.0]"),
    "[[round.dye]]\nat = [0.2, nan]": ("round.1.dye.1.at", "[0.65, 1.0]"),
    "[[round.dye]]\nat = 'hi'": ("round.1.dye.1.at: 'hi'", "did you mean 'high'?"),
    "[[round.dye]]\npowder = 'in the ice'": ("round.1.dye.1.powder", "under the ice"),
    "schema = 2": ("schema 2 is newer", "reads (1)"),
    "schema = 'x'": ("schema is a whole number", ""),
    "seed = 1\nseed = 2": ("line 2: 'seed' is written twice", ""),
    "[garment]\n[garment]": ("line 2: this table is written twice", ""),
    "name = tee": ("line 1: the value of 'name'", "need quotes"),
    "name = 'tee": ("line 1: a quote is opened but not closed", ""),
    'name = "tee\nseed = 1': ("line 1: a quote is opened but not closed", ""),
    'name = "C:\\pieces"': ("line 1: write a backslash twice", "single quotes"),
    "name = 'tee' seed = 1": ("line 1: there is more after the value of 'name'", "need quotes"),
    "[garment": ("line 1: a table's name must end", ""),
    "garment = { size = 'M'": ("line 1: a { is opened but not closed", ""),
    "name = 2026-02-30": ("line 1: the value of 'name'", "need quotes"),
    "= 3": ("line 1: a line must begin with a key", ""),
    "seed = 1\x00": ("line 1", ""),
    "name 'tee'": ("line 1: a key must be followed by =", ""),
    "\n\nround = [": ("line 3", ""),
    "seed = 1" + "0" * 9000: ("thousands of digits", ""),
}


@pytest.mark.parametrize("text", FAULTS, ids=lambda t: ascii(t[:40]))
def test_a_fault_names_key_value_allowed_and_nearest(text):
    said = told(text)
    for part in FAULTS[text]:
        assert part in said


def test_several_faults_are_counted():
    said = told("seed = -1\nneatness = 9\nname = '/'")
    assert said.endswith("(and 2 more)")


@pytest.mark.parametrize(
    "text",
    [
        "a = " + "[" * 100_000,
        "a = " + "{a=" * 100_000,
        "a = " + "[" * 100_000 + "]" * 100_000,
        ".".join("a" * 200_000) + " = 1",
        "[" + ".".join("a" * 200_000) + "]",
        '"' + '\\"' * 200_000,
        'a = """' + '\\"' * 200_000,
        "a = [" + "1," * 200_000 + "]",
        "\n".join(f"[a{n}]" for n in range(30_000)),
        "\n".join("[[round.dye]]" for _ in range(30_000)),
        "#" * 1_100_000,
        "notes = '" + "x" * 900_000 + "'",
    ],
    ids=lambda t: ascii(t[:16]),
)
def test_a_hostile_text_is_refused_soon(text):
    began = time.perf_counter()
    said = told(text)
    assert time.perf_counter() - began < 3
    assert len(said) < 500


# ------------------------------------------------------------------------------ files


def test_a_plan_is_read_from_a_file_and_named_after_it(tmp_path):
    path = tmp_path / "beach tee.toml"
    path.write_bytes(b"\xef\xbb\xbf[garment]\r\nsize = 'L'\r\n")
    read = read_plan(path)
    assert (read.name, read.garment.size) == ("beach tee", "L")
    assert read_plan(str(path)).where == str(path)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"name = '\xff\xfe'", "line 1: this is not UTF-8"),
        (b"\n\nname = 'caf\xe9'", "line 3: this is not UTF-8"),
        (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", "not a text file"),
        ("name = 'tee'".encode("utf-16"), "not a text file"),
        (b"# " + b"x" * 1_000_001, "larger than 1 MB"),
    ],
    ids=["bytes", "latin", "picture", "utf-16", "large"],
)
def test_what_is_no_plain_text_file_is_refused(tmp_path, content, said):
    path = tmp_path / "x.toml"
    path.write_bytes(content)
    with pytest.raises(FileError, match=said) as caught:
        read_plan(path)
    assert str(caught.value).startswith(str(path))
    assert str(caught.value).isprintable()


@pytest.mark.parametrize("name", ["missing.toml", "", "a\0b", "x" * 5000, "new\nline.toml"])
def test_a_missing_file_or_a_folder_is_refused(tmp_path, name):
    with pytest.raises(FileError) as caught:
        read_plan(tmp_path / name)
    assert str(caught.value).isprintable()
    assert caught.value.exit_code == 2


# ------------------------------------------------------------------------------ built in


def test_the_built_in_example_shows_a_slanted_pole_and_several_dyes():
    read = example_plan()
    (fold,) = read.round[0].fold
    assert fold.kind == "pole"
    assert math.degrees(fold.bias) == pytest.approx(35)
    assert 3 <= len(read.round[0].dye) <= 4


@pytest.mark.parametrize("fold", ["pole", "accordion", "spiral"])
def test_a_template_is_commented_runs_as_it_is_and_has_the_name_given(fold):
    text = template("market day 2", fold)
    read = plan(text)
    assert read.name == "market day 2"
    assert [each.kind for each in read.round[0].fold] == [fold]
    assert text.count("#") > 15
    assert re.search("harms lungs", text)
    assert re.search("harms eyes", text)
    assert max(map(len, text.splitlines())) < 160
    assert not re.search("NAME|FOLD", text)


def test_the_template_of_an_accordion_shows_how_to_make_a_brick():
    text = template("tee", "accordion")
    swapped = re.sub(r"^(fold|tie) =", r"# \1 =", text, flags=re.MULTILINE)
    for line in re.findall("^# (?:fold|tie) = .*", text, re.MULTILINE):
        swapped = swapped.replace(line, line[2:])
    (one,) = plan(swapped).round
    assert [fold.kind for fold in one.fold] == ["accordion", "accordion"]
    assert one.tie.kind == "bands"


@pytest.mark.parametrize(
    ("fold", "said"),
    [
        ("acordion", "did you mean 'accordion'"),
        ("halve", "it may be pole, accordion or spiral"),
        ("rosettes", "not built yet"),
        ("../secret", "is not known"),
        ("x" * 9000, "is not known"),
    ],
)
def test_a_template_is_not_made_for_another_fold(fold, said):
    with pytest.raises(PlanError, match=said) as caught:
        template("tee", fold)
    assert str(caught.value).startswith("fold: ")
    assert len(str(caught.value)) < 300


@pytest.mark.parametrize("name", ["a/b", "..", "", "\n", "x" * 99, 'a"b', "nul", "a\\b", "~", "-x"])
def test_a_template_is_not_made_for_an_odd_name(name):
    with pytest.raises(MeltwickError, match="cannot name a plan"):
        template(name)


def test_pydantic_is_imported_only_when_a_plan_is_read():
    code = (
        "import sys, meltwick.plan, meltwick.units; "
        "assert not {'pydantic', 'numpy', 'shapely'} & set(sys.modules), 'imported early'; "
        "meltwick.plan.example_plan(); assert 'pydantic' in sys.modules; "
        "assert not {'shapely', 'numba', 'scipy'} & set(sys.modules), 'too much'"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
