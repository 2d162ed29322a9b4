"""`meltwick sheet`: quantities by hand arithmetic, steps in their order, a page that is safe."""

from __future__ import annotations

import re
from datetime import datetime
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from meltwick.advice.laying import level_spoons
from meltwick.cli import main
from meltwick.constants import Constants
from meltwick.plan import plan_from_text, read_plan, resolve
from meltwick.plan.words import SODA_HOW
from meltwick.stock import load_stock
from meltwick.types import Recipe
from meltwick.worksheet import sheet_html, work_sheet
from meltwick.worksheet.quantities import CUP, depth_word, gather, measure, shade, soda_cups
from meltwick.worksheet.timeline import Step, clock, melt_seconds, timeline

STOCK = load_stock()
UREG = pint.UnitRegistry()
GALLERY = Path(__file__).parents[1] / "gallery"
DAY = datetime(2026, 12, 5, 10)


def recipe_of(turn: str = "", garment: str = 'blank = "tee"') -> Recipe:
    return resolve(plan_from_text(f"[garment]\n{garment}\n[[round]]\n{turn}\n", "s.toml"), STOCK)


def amounts(recipe: Recipe) -> dict[str, str]:
    return {item.what: item.amount for group in gather(recipe) for item in group.items}


def reasons(recipe: Recipe) -> dict[str, str]:
    return {item.what: item.how for group in gather(recipe) for item in group.items}


# ------------------------------------------------------------------------------- quantities


def test_depth_of_shade_by_its_definition():
    """4 kg of dye on 100 kg of fabric is a 4 % shade (worked example, VFSTR lecture, read)."""
    assert shade(4.0, 100.0) == pytest.approx(4.0)


def test_depth_words_follow_dyers_recipes():
    """0.5, 1.5 and 4 % are pale, medium and dark (J. Mater. 2016, 9739380, table 2, read)."""
    assert [depth_word(share) for share in (0.5, 1.5, 4.0)] == ["pale", "medium", "dark"]


def test_a_cup_is_a_sixteenth_of_a_gallon():
    """236.588 2365 mL, NIST Handbook 44 appendix C; and as pint has it."""
    assert pytest.approx(236.5882365e-6, rel=1e-12) == CUP
    assert pytest.approx(UREG("1 cup").to("m^3").magnitude, rel=1e-9) == CUP


@pytest.mark.parametrize(
    ("volume", "said"),
    [
        ("1 cup", "1 cup"),
        ("0.5 cup", "1/2 cup"),
        ("1.5 cup", "1-1/2 cups"),
        ("2 tablespoon", "2 tbsp"),
        ("1 tablespoon", "1 tbsp"),
        ("1.5 teaspoon", "1-1/2 tsp"),
        ("0.25 teaspoon", "1/4 tsp"),
    ],
)
def test_measures_against_a_units_library(volume: str, said: str):
    assert measure(UREG(volume).to("m^3").magnitude) == said


def _volume(said: str) -> float:
    number, unit = said.split()
    whole = sum(
        float(part.split("/")[0]) / float(part.split("/")[1]) if "/" in part else float(part)
        for part in number.split("-")
    )
    size = {"cup": "cup", "tbsp": "tablespoon", "tsp": "teaspoon"}[unit.rstrip("s")]
    return float((whole * UREG(size)).to("m^3").magnitude)


@given(st.floats(1e-6, 2e-3))
def test_what_a_measure_says_is_within_its_own_step(volume: float):
    step = next(
        step
        for most, step in ((CUP / 17, CUP / 192), (CUP / 4.1, CUP / 32), (1.0, CUP / 8))
        if volume <= most
    )
    assert abs(_volume(measure(volume)) - volume) <= step


def test_a_cup_of_soda_ash_by_published_densities():
    """A US cup is 118 to 166 g light, 213 to 260 g dense (0.5 to 0.7, 0.9 to 1.1 g/mL, read)."""
    for mass in (0.118, 0.166):
        assert 0.7 * CUP <= _volume(soda_cups(mass).split(" of light")[0]) <= 1.3 * CUP
    light, dense = re.fullmatch(r"(.*) of light or (.*) of dense", soda_cups(0.236)).groups()
    assert light in ("1-5/8 cups", "1-3/4 cups")
    assert dense == "1 cup"


def test_soda_and_water_go_by_the_pieces_size():
    """19.07 g/L is half a cup of light soda (610 g/L) in a US gallon; 10 L/kg on a known cloth."""
    recipe = recipe_of('soda = { amount = "0.5 cup", water = "1 gal" }')
    assert recipe.rounds[0].soda.strength == pytest.approx(0.5 * 610.0 / 16.0, rel=1e-9)
    said = amounts(recipe)
    assert said["soda ash for the soak"].startswith("72.2 g, 1/2 cup of light or 1/4 cup of dense")
    litres, grams = re.match(
        r"([\d.]+) L with ([\d.]+) g", said["or, for this piece alone"]
    ).groups()
    mass = float(re.match(r"([\d.]+) g", said["a tee, size M, cotton jersey"])[1])
    assert float(litres) == pytest.approx(10.0 * mass / 1e3, rel=0.01)
    assert float(grams) / float(litres) == pytest.approx(19.06, rel=0.01)
    twice = amounts(recipe_of("", 'blank = "tee"\nsize = "XL"'))
    assert twice["or, for this piece alone"] > said["or, for this piece alone"]


def test_alkali_of_the_bath_against_phreeqc():
    """10 g/kg at 20 degC: 2.34 mmol of OH- to the kilogram (PHREEQC 3, phreeqc.dat)."""
    recipe = recipe_of('soda = { amount = "40 g", water = "4 L" }')
    said = reasons(recipe)["soda ash for the soak"]
    assert float(re.search(r"about ([\d.]+) mmol", said)[1]) == pytest.approx(2.34, abs=0.06)


@pytest.mark.parametrize(
    ("count", "said"),
    [
        (1.0, "1 level teaspoon"),
        (1.6, "1-1/2 level teaspoons"),
        (0.16, "1/8 level teaspoon"),
        (0.4, "3/8 level teaspoon"),
        (0.05, "a pinch"),
        (2.27, "2-1/4 level teaspoons"),
        (2.0, "2 level teaspoons"),
    ],
)
def test_level_spoons(count: float, said: str):
    assert level_spoons(count) == said


def test_dye_of_several_places_is_weighed_together():
    recipe = recipe_of(
        '[[round.dye]]\ndye = "coral"\namount = "2 g"\nat = "high"\n'
        '[[round.dye]]\ndye = "coral"\namount = "1 g"\nat = "low"\n'
        '[[round.dye]]\ndye = "plum"\namount = "1.5 g"\nat = "middle"'
    )
    said = amounts(recipe)
    assert said["dye powder, coral"].startswith("3 g, ")
    assert said["dye in all"] == "4.5 g"


# ------------------------------------------------------------------------------- steps


ORDERS = {
    "soaked before folding": ["mix", "soak", "wring", "fold", "ice"],
    "soaked after tying": ["wet", "fold", "mix", "soak", "wring", "ice"],
    "dried in": ["mix", "soak", "hang", "dry", "fold", "ice"],
    "sprinkled": ["wet", "fold", "soda", "ice"],
    "with the dye": ["wet", "fold", "soda", "ice"],
    "none": ["wet", "fold", "ice"],
}


def kinds(steps: tuple[Step, ...]) -> list[str]:
    return [step.kind for step in steps]


@pytest.mark.parametrize("how", SODA_HOW)
def test_steps_come_in_the_order_that_the_soda_asks_for(how: str):
    """Common practice, no source."""
    steps = kinds(timeline(recipe_of(f'soda = {{ how = "{how}" }}')))
    assert steps == ["scour", *ORDERS[how], "melt", "batch", "rinse", "wash", "line"]


def test_rinsed_cold_while_tied_then_opened_then_washed_hot_twice():
    """Common practice, no source."""
    steps = {step.kind: step for step in timeline(recipe_of())}
    rinse = " ".join(steps["rinse"].lines)
    assert 0 < rinse.index("still tied") < rinse.index("Cut it open under running cold water")
    assert "twice" in steps["wash"].lines[0]


def test_steps_follow_one_another_and_last_as_the_plan_says():
    recipe = recipe_of('batch = { time = "24 h" }\nsoda = { time = "30 min" }')
    steps = timeline(recipe)
    for one, following in pairwise(steps):
        assert following.start == pytest.approx(one.start + one.seconds)
    by_kind = {step.kind: step for step in steps}
    assert by_kind["soak"].seconds == pytest.approx(1800.0)
    assert by_kind["batch"].seconds >= 86400.0


def test_ice_lasts_as_long_as_its_heat_balance_says():
    """t = 3 M L/(U A dT) for a heap that shrinks in shape, with A of the heap's first size."""
    recipe = recipe_of('ice = [{ amount = "1 kg" }]\nrest = { room = "20 degC" }')
    c = Constants()
    area = c.heap_shape * (1.0 / c.heap_density) ** (2 / 3)
    # latent heat: 333.43 kJ/kg, IAPWS R10-06
    expected = 3.0 * 1.0 * 333.43e3 / (c.heat_transfer * area * 20.0)
    assert melt_seconds(recipe.rounds[0]) == pytest.approx(expected, rel=5e-3)


def test_later_ice_and_turning_have_their_times():
    recipe = recipe_of(
        'ice = [{ amount = "600 g" }, { amount = "400 g", after = "3 h" },'
        ' { amount = "500 g", turned = true }]\n'
        '[[round.dye]]\ndye = "coral"\namount = "2 g"\n'
        '[[round.dye]]\ndye = "plum"\namount = "2 g"\nturned = true'
    )
    steps = timeline(recipe)
    order = kinds(steps)
    assert order[order.index("ice") :] == [
        *("ice", "melt", "more", "melt", "turn", "melt"),
        *("batch", "rinse", "wash", "line"),
    ]
    laid, more = (next(s for s in steps if s.kind == kind) for kind in ("ice", "more"))
    assert more.start - (laid.start + laid.seconds) == pytest.approx(3 * 3600.0)
    assert "plum" not in " ".join(laid.lines)
    turn = next(s for s in steps if s.kind == "turn")
    assert "plum" in " ".join(turn.lines)


@settings(max_examples=30, deadline=None)
@given(st.floats(0.0, 23.9), st.floats(1.0, 100.0))
def test_nobody_rinses_at_night(hour: float, batch: float):
    recipe = recipe_of(f'batch = {{ time = "{batch:.1f} h" }}')
    rinse = next(s for s in timeline(recipe, hour) if s.kind == "rinse")
    assert 8.0 - 1e-6 <= (hour + rinse.start / 3600.0) % 24.0 <= 21.0 + 1e-6
    steps = {s.kind: s for s in timeline(recipe, hour)}
    assert steps["batch"].seconds <= batch * 3600.0 + 11 * 3600.0 + 360.0


def test_clock_by_hand():
    step = Step("x", "x", (), 60.0, True, "", 1, start=26 * 3600.0)
    assert clock(step, DAY, dated=True) == "Sun 6 Dec, 12:00"
    assert clock(step, DAY, dated=False) == "day 2, 12:00"


def test_two_rounds_are_told_one_after_the_other():
    steps = timeline(resolve(read_plan(str(GALLERY / "two-rounds.toml")), STOCK))
    assert [step.round for step in steps] == sorted(step.round for step in steps)
    assert kinds(steps).count("rinse") == 2
    assert kinds(steps).count("line") == 1


# ------------------------------------------------------------------------------- the page


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.links: list[str] = []
        self.open: list[str] = []
        self.words: list[str] = []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        if tag not in ("meta", "br", "img", "input", "link"):
            self.open.append(tag)
        for key, value in attrs:
            assert not key.startswith("on"), key
            if key in ("src", "href", "action", "data"):
                self.links.append(value)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.words.append(data)


def read(page: str) -> _Reader:
    reader = _Reader()
    reader.feed(page)
    reader.close()
    assert not reader.open
    return reader


@pytest.mark.parametrize("path", sorted(GALLERY.glob("*.toml")), ids=lambda p: p.stem)
def test_every_plan_of_the_gallery_has_its_sheet(path: Path):
    recipe = resolve(read_plan(str(path)), STOCK)
    made = work_sheet(recipe, DAY, dated=True, expect=["About half."])
    page = read(sheet_html(made, "0"))
    words = " ".join(page.words)
    assert "asthma" in words
    assert "goggles" in words
    assert "predicts colour, not safety" in words
    for turn in recipe.rounds:
        for powder in turn.powder:
            assert powder.dye in words
    assert not page.links  # no picture was given


def test_a_makers_words_are_never_markup():
    hostile = "<script>alert(1)</script><img src=x onerror=alert(1)>\"'&"
    escaped = hostile.replace('"', '\\"')
    recipe = resolve(plan_from_text(f'notes = "{escaped}"', "s.toml"), STOCK)
    made = work_sheet(recipe, DAY, dated=False, expect=[hostile], pictures={hostile: b"\x89PNG"})
    page = read(sheet_html(made, hostile))
    assert "script" not in page.tags
    assert page.tags.count("img") == 1
    assert all(link.startswith("data:image/png;base64,") for link in page.links)
    assert hostile in "".join(page.words)


def test_the_page_asks_nothing_of_anyone():
    page = sheet_html(work_sheet(recipe_of(), DAY, dated=False), "0")
    assert "default-src 'none'" in page
    assert not re.search(r"https?://", page)
    assert "@import" not in page
    assert "url(" not in page
    assert re.search(r"@page \{ margin", page)
    assert "size:" not in re.search(r"@page \{([^}]*)\}", page)[1]  # the printer's own paper


# ------------------------------------------------------------------------------- the command


def test_the_command_writes_both(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    Path("small.toml").write_text(
        '[garment]\nblank = "bandana"\n[[round]]\nfold = [{ kind = "accordion" }]\n'
    )
    assert main(["sheet", "small.toml", "--detail", "8 mm", "--start", "2026-12-05 9:30"]) == 0
    out, _ = capsys.readouterr()
    assert "small/sheet.html" in out
    assert "Take care" in out
    page = Path("small/sheet.html").read_text("utf-8")
    assert "Sat 5 Dec, 09:30" in page
    assert "What to expect" in page
    assert "--hands" not in page
    assert len(read(page).links) == 3
    with Image.open("small/sheet.png") as picture:
        assert picture.width == 1600
        assert picture.height > 3000
        assert picture.info["Software"].startswith("meltwick")
    before = Path("small/sheet.png").read_bytes()
    assert main(["sheet", "small.toml", "--detail", "8 mm", "--start", "2026-12-05 9:30"]) == 0
    assert Path("small/sheet.png").read_bytes() == before, "the same sheet, the same bytes"


def test_a_bare_sheet_simulates_nothing(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("meltwick.study.queue.run_all", None)
    Path("small.toml").write_text('[garment]\nblank = "bandana"\n')
    assert main(["sheet", "small.toml", "--detail", "8 mm", "--bare"]) == 0
    assert "What to expect" not in Path("small/sheet.html").read_text("utf-8")
    assert "day 1, 10:00" in Path("small/sheet.html").read_text("utf-8")


@pytest.mark.parametrize(
    "start", ["", "noon", "25:00", "10:61", "2026-13-01", "2026-02-30 10:00", "10", "x" * 900]
)
def test_a_start_that_is_none_is_told_in_one_line(start, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["sheet", "--start", start]) == 2
    out, err = capsys.readouterr()
    assert not out
    assert err.count("\n") == 1
    assert "2026-12-05 10:00" in err
    assert not list(tmp_path.iterdir())
