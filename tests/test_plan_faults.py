"""What a plan is told when it says something that cannot be read or done: one line."""

import time

import pytest

from meltwick.errors import FileError, PlanError
from meltwick.plan import plan_from_text, read_plan


def told(text):
    """The one line that a faulty plan gets."""
    with pytest.raises(PlanError) as caught:
        plan_from_text(text, "my.toml")
    message = str(caught.value)
    assert message.startswith("my.toml")
    assert message.isprintable()
    assert caught.value.exit_code == 2
    return message


def in_round(line):
    return f"[[round]]\n{line}\n"


FAULTS = {
    "colour = 1": (
        "colour: no such key",
        "schema, name, notes, seed, neatness, garment, start or round",
    ),
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
    "[[round]]\n" * 7: ("round: 7 rounds", "at most 6"),
    in_round("fold = [{ kind = 'rosette' }]"): ("round.1.fold.1.kind", "did you mean 'rosettes'?"),
    in_round("fold = [{ kind = 'poll' }]"): ("round.1.fold.1.kind", "did you mean 'pole'?"),
    in_round("fold = [{ kind = 3 }]"): (
        "round.1.fold.1.kind: 3",
        "pole, halve, accordion, spiral, scrunch, rosettes, rope or tube",
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
        "from 0.5 to 5",
    ),
    in_round("fold = [{ kind = 'spiral', turns = true }]"): ("round.1.fold.1.turns: true",),
    in_round("fold = [{ kind = 'spiral', turns = 9 }]"): ("round.1.fold.1.turns: 9", "0.5 to 5"),
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
        "round.1.tie.spacing: it goes with string or stitching, and this tie is bands",
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
    in_round("tie = { kind = 'plates' }"): ("round.1.tie.kind: 'plates'", "mean 'clamps'"),
    in_round("tie = { kind = 'bands' }"): ("round.1.tie.kind: ", "a pole takes string"),
    in_round("soda = { how = 'sprinkle' }"): ("round.1.soda.how", "mean 'sprinkled'"),
    in_round("soda = { how = 'sprinkled', water = '1 L' }"): ("round.1.soda.water", "dry"),
    in_round("soda = { amount = '0 g' }"): ("round.1.soda.amount: '0 g'", "0.1 g to 20 kg"),
    in_round("soda = { amount = '0 cups' }"): ("round.1.soda.amount", "more than 0"),
    in_round("soda = { amount = '3 mm' }"): ("round.1.soda.amount: '3 mm' is a length", "weight"),
    in_round("soda = { kind = 'washing' }"): ("round.1.soda.kind", "light or dense"),
    in_round("soda = { water = '1e9 L' }"): ("round.1.soda.water", "100 mL to 200 L"),
    in_round("rest = { on = 'tubs' }"): ("round.1.rest.on: 'tubs'", "mean 'tub'"),
    in_round("rest = { across = '40 cm' }"): ("round.1.rest.across", "lies on a rack"),
    in_round("rest = { on = 'flat rack', incline = '9 deg' }"): ("rest.incline", "level"),
    in_round("ice = [{ turned = true }]"): ("round.1.ice", "before"),
    in_round("dye = [{ turned = true }]"): ("round.1.ice", "turned = true"),
    in_round("ice = [{ heap = 'pile' }]"): ("round.1.ice.1.heap: 'pile'", "mounded"),
    in_round("dye = [{ at = 'sector 7 of 6' }]"): ("round.1.dye.1.at", "count them from 1"),
    in_round("dye = [{ at = { sector = 1 } }]"): ("round.1.dye.1.at", "sector 2 of 6"),
    in_round("dye = [{ at = { radius = '9 m' } }]"): ("round.1.dye.1.at", "5 mm to 50 cm"),
    in_round("dye = [{ at = { left = '1 cm', right = '1 cm', radius = '3 cm' } }]"): (
        "round.1.dye.1.at",
        "right and left",
    ),
    in_round("dye = [{ at = { radius = 9 } }]"): ("round.1.dye.1.at: 9 has no unit", "'25 mm'"),
    in_round("liquor = { share = 0.5 }"): ("round.1.liquor", "plan = "),
    in_round("liquor = { plan = 'above' }"): ("round.1.liquor.plan: 'above'", ".toml"),
    in_round("liquor = { plan = 'a.toml', share = 2 }"): ("round.1.liquor.share", "0.01 to 1"),
    in_round("dye = [{ side = 'sides', powder = 'over' }]"): ("round.1.dye.1.side", "top"),
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


def test_a_very_long_name_is_cut_short(tmp_path):
    with pytest.raises(FileError) as error:
        read_plan(tmp_path / ("x" * 2000 + ".toml"))
    assert len(str(error.value)) < 400
    assert "xxx.toml cannot be read: file name too long" in str(error.value)
