"""`meltwick collection`: prices by hand arithmetic, colours by a colour library, clean names."""

from __future__ import annotations

import csv
import inspect
import io
import re
import runpy
from pathlib import Path

import colour
import icalendar
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from meltwick.cli import main
from meltwick.collection import kinship, models
from meltwick.collection.costs import costs_of, needs_of, shopping, total
from meltwick.collection.filenames import check_pattern, clean, names_of
from meltwick.collection.models import PriceTable
from meltwick.collection.plans import jobs_of
from meltwick.collection.reading import read_collection
from meltwick.errors import PlanError
from meltwick.picture.forms import size_of
from meltwick.plan.table import Table
from meltwick.stock import load_stock
from meltwick.worksheet.timeline import MORE, melt_seconds
from meltwick.workshop.table import plain as plain_cell

STOCK = load_stock()
SMALL = """
name = "{name}"
{notes}
[garment]
blank = "bandana"
[[round]]
fold = [{{ kind = "accordion", pleat = "6 cm" }}]
tie = {{ kind = "string", spacing = "5 cm", pull = "tight" }}
soda = {{ how = "soaked before folding", amount = "20 g", water = "1 L" }}
ice = [{{ amount = "400 g" }}]
  [[round.dye]]
  dye = "{dye}"
  amount = "2 g"
"""


def folder_of(tmp_path: Path, whole: str | None = None, **dyes: str) -> Path:
    for name, dye in dyes.items():
        (tmp_path / f"{name}.toml").write_text(SMALL.format(name=name, dye=dye, notes=""))
    if whole is not None:
        (tmp_path / "collection.toml").write_text(whole)
    return tmp_path


def plain(lab: list[list[float]], share: list[float]) -> kinship.Colours:
    array = np.array(lab, dtype=float)
    return kinship.Colours(array, np.array(share, dtype=float), np.zeros_like(array))


# ------------------------------------------------------------------------------- nearness


def test_one_colour_and_another_lie_as_far_apart_as_the_eye_says():
    """CIEDE2000 of two single colours, by a colour library (ISO/CIE 11664-6)."""
    one, other = [52.0, 40.0, 20.0], [60.0, -10.0, -30.0]
    expected = colour.delta_E(np.array(one), np.array(other), method="CIE 2000")
    assert kinship.apart(plain([one], [1.0]), plain([other], [1.0])) == pytest.approx(
        float(expected), abs=1e-6
    )


@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_moving_a_share_costs_that_share_of_the_difference(p: float, q: float):
    """Two colours in shares p and q: |p - q| must move (closed form of the transport)."""
    two = [[50.0, 10.0, 0.0], [80.0, -20.0, 30.0]]
    whole = kinship.apart(plain(two[:1], [1.0]), plain(two[1:], [1.0]))
    moved = kinship.apart(plain(two, [p, 1.0 - p]), plain(two, [q, 1.0 - q]))
    assert moved == pytest.approx(abs(p - q) * whole, abs=1e-6 * whole)


def test_order_and_place_of_colours_do_not_count():
    rng = np.random.default_rng(3)
    srgb = rng.random((4000, 3))
    one, other = kinship.colours_of(srgb), kinship.colours_of(srgb[::-1])
    assert kinship.apart(one, other) == pytest.approx(0.0, abs=1e-9)
    assert one.share.sum() == pytest.approx(1.0)


def test_lab_of_the_screen_against_a_colour_library():
    srgb = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.5, 0.5, 0.5]])
    # red 53.233, 80.111, 67.224; blue 32.303, 79.198, -107.850; grey 53.389 (IEC 61966-2-1)
    known = np.array([[53.233, 80.111, 67.224], [32.303, 79.198, -107.850], [53.389, 0.0, 0.0]])
    np.testing.assert_allclose(kinship.as_lab(srgb), known, atol=0.05)


def test_twins_and_strangers_are_named():
    base = [[40.0, 0.0, -40.0], [90.0, 0.0, 0.0]]
    pieces = [plain(base, [0.5, 0.5]), plain(base, [0.52, 0.48]), plain(base, [0.3, 0.7])]
    pieces += [plain([[60.0, 60.0, 60.0], [50.0, 40.0, 50.0]], [0.5, 0.5])]
    found = kinship.pairs(pieces, [0.5, 0.48, 0.7, 0.5])
    near = {(pair.first, pair.second) for pair in kinship.twins(found)}
    assert (0, 1) in near
    assert (0, 2) not in near, "their white differs by a fifth of the cloth"
    assert kinship.strangers(found, 4) == (3,)
    assert kinship.strangers(found[:1], 2) == ()


@pytest.mark.parametrize(
    ("srgb", "word"),
    [
        ((0.8, 0.1, 0.1), "reds and oranges"),
        ((0.9, 0.8, 0.1), "yellows"),
        ((0.2, 0.6, 0.25), "greens"),
        ((0.15, 0.3, 0.75), "blues"),
        ((0.4, 0.1, 0.5), "violets"),
        ((0.3, 0.3, 0.3), "greys and mixed"),
    ],
)
def test_colour_families(srgb, word):
    white = kinship.as_lab(np.array([[0.98, 0.98, 0.97]]))[0]
    cells = np.array([srgb] * 60 + [(0.98, 0.98, 0.97)] * 40)
    assert kinship.family(kinship.colours_of(cells), white) == word


# ------------------------------------------------------------------------------- money


def test_costs_by_hand_arithmetic(tmp_path):
    folder_of(tmp_path, one="coral")
    (piece,) = read_collection(tmp_path, STOCK).pieces
    prices = PriceTable.model_validate(
        {"blank": {"Bandana": 2.5}, "dye": {"coral": 0.3}, "soda": 2, "ice": 0.5, "hour": 12}
    )
    needs = needs_of(piece)
    costs = {cost.what: cost.price for cost in costs_of(needs, prices, 0.5)}
    assert costs["blank"] == 2.5
    assert costs["coral"] == pytest.approx(2 * 0.3)
    assert costs["soda ash"] == pytest.approx(0.020 * 2)
    assert costs["ice"] == pytest.approx(0.4 * 0.5)
    assert costs["hands"] == pytest.approx(needs.hands / 3600 * 12)
    assert costs["string and thread"] is None
    assert costs["wash"] is None
    cost, unpriced = total(costs_of(needs, prices, 0.5))
    assert cost == pytest.approx(2.5 + 0.6 + 0.04 + 0.2 + needs.hands / 300)
    assert set(unpriced) == {"string and thread", "wash"}


def test_shopping_adds_up_and_leaves_a_tenth(tmp_path):
    whole = '[[piece]]\nplan = "one.toml"\ncount = 3\n[[piece]]\nplan = "two.toml"'
    folder_of(tmp_path, whole, one="coral", two="coral")
    pieces = read_collection(tmp_path, STOCK).pieces
    listed = {
        each.what: each
        for each in shopping([(p, needs_of(p)) for p in pieces], PriceTable(), loads=4)
    }
    assert listed["dye powder, coral"].exact == "8 g"  # 4 pieces of 2 g
    assert listed["dye powder, coral"].amount.startswith("9 g")  # 8.8 g, up to half a gram
    assert listed["soda ash"].exact == "80 g"
    assert listed["ice"].amount == "1.6 kg"
    assert listed["bandana, 22 in, cotton sheeting"].amount == "4"
    assert listed["detergent without softener"].amount == "for 4 hot loads"


def test_a_spreadsheet_reads_no_formula():
    assert plain_cell("=1+1") == "'=1+1"
    assert plain_cell("plum") == "plum"


# ------------------------------------------------------------------------------- steps


def test_steps_hold_pole_rack_and_tub_while_they_need_them(tmp_path):
    plan = SMALL.format(name="one", dye="coral", notes="").replace(
        'kind = "accordion", pleat = "6 cm"', 'kind = "pole", pole = "2 in pipe"'
    )
    (tmp_path / "one.toml").write_text(plan)
    (piece,) = read_collection(tmp_path, STOCK).pieces
    needs = needs_of(piece)
    assert needs.poles == {"2 in pipe": pytest.approx(0.0603, abs=1e-4)}
    (job,) = jobs_of([(piece, needs, "reds")])
    (steps,) = job.rounds
    held = {step.name: set(step.holds) for step in steps}
    assert held["soak"] == {"tub"}
    assert held["fold and tie"] == {"2 in pipe"}
    assert held["let the ice go"] == {"rack", "2 in pipe"}
    assert held["keep it wrapped"] == {"rack", "2 in pipe"}
    assert held["rinse cold"] == {"2 in pipe"}
    assert held["wash hot"] == {"machine"}
    assert sum(step.ice for step in steps) == pytest.approx(0.4)
    assert {step.washload for step in steps} == {None, "reds", "new, undyed"}


# ------------------------------------------------------------------------------- file names


@given(st.text(max_size=200))
def test_no_name_leaves_its_folder(text: str):
    name = clean(text)
    assert name
    assert Path(name).name == name
    assert not name.startswith(".")
    assert not re.search(r'[<>:"/\\|?*\x00-\x1f]', name)
    assert name.split(".")[0].casefold() not in {"con", "nul", "com1"}


@given(st.lists(st.text(max_size=12), min_size=1, max_size=20), st.sampled_from(["square 1080"]))
def test_no_two_names_are_the_same(pieces: list[str], form: str):
    found = names_of("{name}", pieces, form)
    assert len({each.casefold() for each in found}) == len(pieces)


def test_names_follow_their_pattern():
    assert names_of("{number}-{name}-{form}", ["dune", "reef"], "4:5 1080") == [
        "1-dune-4x5-1080",
        "2-reef-4x5-1080",
    ]
    with pytest.raises(PlanError, match="in braces go"):
        check_pattern("{colour}", "--names")


@pytest.mark.parametrize(
    ("form", "size"),
    [("square 1080", (1080, 1080)), ("4:5 1350", (1080, 1350)), ("long 2000", (2000, 1000))],
)
def test_forms_have_their_size(form, size):
    assert size_of(form, (800, 400)) == size


# ------------------------------------------------------------------------------- faults


PIECE = '[[piece]]\nplan = "one.toml"\n'


@pytest.mark.parametrize(
    ("whole", "said"),
    [
        ("name = 'x'", "there is no [[piece]]"),
        ('[[piece]]\nplan = "none.toml"', "none.toml"),
        ('[[piece]]\nplan = "one.toml"\nprise = 3', "price"),
        ('[[piece]]\nplan = "one.toml"\nprice = "3 EUR"', "write a number such as 7.5"),
        ('[[piece]]\nplan = "one.toml"\ncount = 0', "from 1 to 20"),
        (PIECE + PIECE, "count = 2"),
        (PIECE + "[prices.dye]\ncorel = 3", "coral"),
        ('prices = "lost.toml"\n' + PIECE, "lost.toml"),
        (PIECE + '[workshop]\nstart = "next week"', "2026-12-07"),
        (PIECE + '[workshop]\nstart = "2026-02-30"', "2026-12-07"),
        (PIECE + '[workshop]\nhours = "17:00 to 9:00"', "9:00 to 17:00"),
        (PIECE + '[workshop]\nhours = { Mox = "9:00 to 17:00" }', "Mon"),
        (PIECE + '[workshop]\npoles = { "1-1/2 pipe" = 2 }', "1-1/2 in pipe"),
        (PIECE + '[workshop]\npoles = { "2 in pipe" = "two" }', "workshop.poles"),
        (PIECE + '[workshop]\nracks = "two"', "whole number"),
        (PIECE + '[export]\nforms = ["round 100"]', "square 1080"),
        (PIECE + '[export]\nforms = ["square 9"]', "64"),
        ("racks = 2\n" + PIECE, "[workshop]"),
        ("schema = 9\n" + PIECE, "schema"),
        ("[[piece", "collection.toml"),
    ],
)
def test_faults_are_told_in_one_line(whole, said, tmp_path, monkeypatch, capsys):
    folder_of(tmp_path, whole, one="coral")
    before = sorted(tmp_path.iterdir())
    monkeypatch.chdir(tmp_path)
    assert main(["collection", "."]) == 2
    out, err = capsys.readouterr()
    assert not out
    assert err.count("\n") == 1, err
    assert said in err
    assert sorted(tmp_path.iterdir()) == before


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["nowhere"], "nowhere"),
        (["one.toml"], "is a plan"),
        ([""], "folder of plans"),
        ([".", "--form", "oval 10"], "--form"),
        ([".", "--names", "{size}", "--form", "square 100"], "--names"),
        ([".", "--names", "same", "--form", "square 100", "--form", "long 100"], "one name"),
        ([".", "--names", "board", "--form", "square 100"], "one name"),
    ],
)
def test_faults_of_the_command_line(words, said, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(folder_of(tmp_path, one="coral"))
    assert main(["collection", *words]) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1
    assert said in err


def test_an_empty_folder_is_told(tmp_path, capsys):
    assert main(["collection", str(tmp_path)]) == 2
    assert "holds no plan" in capsys.readouterr().err


# ------------------------------------------------------------------------------- the command


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Two bandanas, one with a hostile note, through the command."""
    folder = tmp_path_factory.mktemp("coll")
    whole = (
        'name = "two-cloths"\ncurrency = "<b>EUR"\nnotes = "<script>alert(1)</script>"\n'
        '[workshop]\nstart = "2027-01-11"\n'
        '[[piece]]\nplan = "one.toml"\nprice = 20\nnotes = "<img src=x onerror=alert(1)>"\n'
        '[[piece]]\nplan = "two.toml"\n'
    )
    folder_of(folder, whole, one="coral", two="tide")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        code = main(
            [
                *("collection", ".", "--detail", "8 mm", "--out", "out"),
                *("--form", "square 200", "--form", "4:5 250", "--names", "{number}-{name}-{form}"),
            ]
        )
    assert code == 0
    return folder / "out"


def test_everything_is_written_and_nothing_else(made):
    assert sorted(path.name for path in made.iterdir()) == [
        *("1-one-4x5-250.png", "1-one-square-200.png", "2-two-4x5-250.png"),
        *("2-two-square-200.png", "board.html", "board.png"),
        *("calendar.csv", "calendar.ics", "calendar.png", "pieces.csv", "shopping.csv"),
    ]
    assert sorted(path.name for path in made.parent.iterdir()) == [
        *("collection.toml", "one.toml", "out", "two.toml")
    ]


def test_pictures_have_the_size_asked_for(made):
    with Image.open(made / "1-one-square-200.png") as picture:
        assert picture.size == (200, 200)
        assert "meltwick-digest" in picture.info
    with Image.open(made / "2-two-4x5-250.png") as picture:
        assert picture.size == (200, 250)
    with Image.open(made / "board.png") as picture:
        assert picture.width == 1600


def test_the_page_escapes_what_a_maker_wrote(made):
    page = (made / "board.html").read_text("utf-8")
    assert "<script" not in page
    assert "onerror=alert(1)>" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page
    assert "<b>EUR" not in page
    assert not re.search(r"(?:src|href)=\"(?!data:)", page)
    assert "predicts colour, not safety" in page


def test_tables_open_in_a_spreadsheet(made):
    rows = list(csv.DictReader(io.StringIO((made / "pieces.csv").read_text("utf-8"), newline="")))
    assert [row["piece"] for row in rows] == ["one", "two"]
    for row in rows:
        parts = [float(row[f"{name} %"]) for name in ("white", "pale", "mid", "deep")]
        assert sum(parts) == pytest.approx(100.0, abs=0.3)
    bought = (made / "shopping.csv").read_text("utf-8")
    assert {len(row) for row in csv.reader(io.StringIO(bought, newline=""))} == {5}


@settings(max_examples=20)
@given(st.integers(0, 10**6))
def test_spread_of_random_pieces_is_symmetric(seed: int):
    rng = np.random.default_rng(seed)
    one, other = (kinship.colours_of(rng.random((50, 3))) for _ in range(2))
    assert kinship.apart(one, other) == pytest.approx(kinship.apart(other, one), rel=1e-6)


def test_the_page_of_the_collection_file_is_what_the_program_says():
    maker = runpy.run_path(str(Path(__file__).parents[1] / "docs" / "make_collection_file.py"))
    written = (Path(__file__).parents[1] / "docs" / "collection.md").read_text("utf-8")
    assert written == maker["page"](), "run python docs/make_collection_file.py"
    assert {record for _, record in maker["TABLES"]} == {
        each
        for _, each in inspect.getmembers(models, inspect.isclass)
        if issubclass(each, Table) and each is not Table
    }


def test_the_calendar_reads_back(made):
    """By a calendar library that keeps to RFC 5545."""
    calendar = icalendar.Calendar.from_ical((made / "calendar.ics").read_bytes())
    events = list(calendar.walk("VEVENT"))
    said = [str(event["SUMMARY"]) for event in events]
    assert any("rinse cold" in each for each in said)
    first = min(event["DTSTART"].dt for event in events)
    assert first.date().isoformat() >= "2027-01-11"
    assert first.tzinfo is None, "the maker's own clock"
    rows = list(csv.DictReader(io.StringIO((made / "calendar.csv").read_text("utf-8"), newline="")))
    assert {row["piece"] for row in rows} == {"one", "two"}


def test_each_step_lays_its_own_ice_and_waits_no_longer_than_it_must(tmp_path):
    """Three loads and a turned one, of four masses; a melt before turning is no night longer."""
    plan = SMALL.format(name="one", dye="coral", notes="").replace(
        'ice = [{ amount = "400 g" }]',
        'ice = [{ amount = "400 g" }, { amount = "200 g", after = "1 h" },'
        ' { amount = "100 g", after = "2 h" }, { amount = "300 g", turned = true }]',
    )
    (tmp_path / "one.toml").write_text(plan)
    (piece,) = read_collection(tmp_path, STOCK).pieces
    (job,) = jobs_of([(piece, needs_of(piece), "reds")])
    steps = job.rounds[0]
    assert [step.ice for step in steps if step.ice] == pytest.approx([0.4, 0.2, 0.1, 0.3])
    turn = piece.recipe.rounds[0]
    first, second = (
        [s for s in steps if s.name == name] for name in ("let it melt", "let the ice go")
    )
    at_the_ice = sum(s.seconds for s in first) + 2 * MORE + second[0].seconds
    assert at_the_ice == pytest.approx(melt_seconds(turn))
    assert second[1].seconds == pytest.approx(melt_seconds(turn, turned=True))
