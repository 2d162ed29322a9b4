"""What a plan may say, and the plans that come with the program."""

import math
import re
import subprocess
import sys

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
        ("rosettes", "it may be pole, accordion or spiral"),
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
