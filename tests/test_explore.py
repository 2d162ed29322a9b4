"""`meltwick explore`: a spread of plans, its sheet and table, and any tile as a plan."""

from __future__ import annotations

import csv
import io
import shlex
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from scipy.stats import qmc

from meltwick.cli import main
from meltwick.errors import PlanError
from meltwick.picture import draw
from meltwick.picture.contact import _wrapped
from meltwick.plan import plan_from_text, read_plan, resolve
from meltwick.plan.reader import template
from meltwick.plan.refolding import fold_value, refolded, without
from meltwick.plan.words import FOLDS
from meltwick.stock import load_stock
from meltwick.study import store
from meltwick.study.compare import Group, as_csv
from meltwick.study.explore import Spread, points, spread
from meltwick.study.outcome import Task, as_bytes, from_bytes, make, run_key
from meltwick.study.space import Space, read_space

STOCK = load_stock()
POLE = """# my note
name = "cloth"
seed = 5
[garment]
blank = "bandana"
[[round]]
fold = [{ kind = "pole", bias = "35 deg" }]  # rolled
tie = { kind = "string", spacing = "25 mm" }
  [[round.dye]]
  dye = "ink"
  amount = "1/2 tsp"
  at = "high"
  [[round.dye]]
  dye = "rose"
  [[round.dye]]
  dye = "moss"
"""
PITCH = 1e-2


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(store, "usual_folder", lambda: tmp_path / "cache")
    (tmp_path / "cloth.toml").write_text(POLE)
    return tmp_path


def run(*words: str) -> int:
    return main(["explore", *words])


def space(*vary: str, palettes: tuple[str, ...] = (), text: str = POLE) -> Space:
    return read_space(text, "cloth.toml", plan_from_text(text, "cloth.toml"), vary, palettes, STOCK)


def made(*vary: str, palettes: tuple[str, ...] = (), n: int = 12, text: str = POLE) -> Spread:
    return spread(space(*vary, palettes=palettes, text=text), n)


# ------------------------------------------------------------------------------- the command


def test_a_sheet_a_table_and_each_tile_as_a_plan(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    keys = ["--vary", "fold=pole,accordion,spiral", "--vary", "spacing=10mm..60mm"]
    keys += ["--palette", "coral, plum", "--palette", "lemon"]
    assert run("cloth.toml", *keys, "--n", "6", "--detail", "10 mm") == 0
    out = capsys.readouterr().out
    rows = list(csv.DictReader(io.StringIO((home / "cloth" / "explore.csv").read_text("utf-8"))))
    assert [row["number"] for row in rows] == list("123456")
    assert list(rows[0])[:4] == ["number", "fold", "tie.spacing", "palette"]
    for row in rows:
        assert bool(row["tie.spacing"]) is (row["fold"] != "spiral")  # a spiral takes bands
        dyes = {name.removesuffix(" %") for name in ("coral %", "plum %", "lemon %") if row[name]}
        assert dyes == set(row["palette"].split(" + "))
        whole = sum(float(row[f"{name} median %"]) for name in ("white", "pale", "mid", "deep"))
        assert whole == pytest.approx(100.0, abs=0.21)
    white = {row["number"]: float(row["white median %"]) for row in rows}
    most, least = max(white, key=white.__getitem__), min(white, key=white.__getitem__)
    assert f"#{most} keeps the most white" in out
    assert f"#{least} the least" in out
    assert "6 plans were made." in out
    assert "cloth/explore.png" in out
    with Image.open(home / "cloth" / "explore.png") as sheet:
        assert sheet.width == 1600
        assert sheet.text["Title"].startswith("cloth")
        assert "fold, tie.spacing and palette" in sheet.text["Title"]
    # the next step, as it is told, writes the plan of the tile: its run is the tile's, in the store
    told = shlex.split(out[out.index("meltwick explore") :])
    assert told[-2:] == ["--take", most]
    for number in white:
        assert main([*told[1:-1], number]) == 0
        plan = read_plan(home / f"cloth-{number}.toml")
        key = run_key(Task(plan, plan.seed, PITCH))
        assert key in store.Store(home / "cache")
        assert (home / f"cloth-{number}.toml").read_text().startswith("# my note\n")
    capsys.readouterr()
    assert run("cloth.toml", *keys, "--n", "6", "--detail", "10 mm", "--dry-run") == 0
    assert "6 runs, of which 6 are kept from before; no time" in capsys.readouterr().out


def test_take_writes_where_it_is_told_and_never_over_a_file(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["cloth.toml", "--vary", "bias=0deg..90deg", "--take", "3"]
    assert run(*words) == 0
    first = (home / "cloth-3.toml").read_bytes()
    assert capsys.readouterr().out.startswith("#3 ")
    assert run(*words) == 2
    assert "is here already" in capsys.readouterr().err
    assert (home / "cloth-3.toml").read_bytes() == first
    assert run(*words, "--out", "slant.toml") == 0
    assert read_plan("slant.toml").name == "slant"
    assert not (home / "cloth").exists()
    assert not (home / "cache").exists()  # nothing was run


def test_take_keeps_a_plan_beside_the_files_it_names(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (home / "here").mkdir()
    (home / "here" / "sock.toml").write_text('[garment]\nblank = "socks"\n')
    (home / "here" / "tray.toml").write_text('[[round]]\nbeside = [{ plan = "sock.toml" }]\n')
    words = ["here/tray.toml", "--vary", "squeeze=2,3", "--take", "1"]
    assert run(*words) == 2
    said = capsys.readouterr().err
    assert said.rstrip().endswith(f"--out {Path('here') / 'tray-1.toml'}")
    assert run(*words, *said.split()[-2:]) == 0
    assert resolve(read_plan("here/tray-1.toml"), STOCK).rounds[0].beside


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "nothing to explore"),
        (["--vary", "fold=pole,spirall"], "did you mean 'spiral'?"),
        (["--vary", "fold=pole,,spiral"], "empty value"),
        (["--vary", "fold"], "is not a key and its values"),
        (["--vary", "spacin=1 in..2 in"], "did you mean spacing?"),
        (["--vary", "spacing=10mm..2in"], "two units"),
        (["--vary", "fold=pole,spiral", "--vary", "pleat=2cm..9cm"], "no key 'pleat'"),
        (["--vary", "fold=accordion,spiral", "--vary", "bias=0deg..9deg"], "of no use"),
        (["--vary", "spacing=1in..2in", "--vary", "tie.spacing=3in"], "written twice"),
        (["--vary", "pole", "--vary", "diameter=2cm..5cm"], "stand for one thing"),
        (["--vary", "seed=1..9", *["--vary", "squeeze=2"] * 8], "at most 8"),
        (["--vary", "diameter=40cm..50cm"], "none of these settings makes a plan"),
        (["--vary", "diameter=40cm..50cm"], "it must lie from 5 mm to 300 mm"),
        (["--palette", "coral, plumm"], "did you mean 'plum'?"),
        (["--palette", ""], "has no dye"),
        (["--palette", "coral,"], "an empty name"),
        (["--palette", "coral", "--vary", "dye.1.dye=ink,plum"], "the palettes set"),
        (["--vary", "pole", "--n", "none"], "--n"),
        (["--vary", "pole", "--n", "201"], "--n"),
        (["--vary", "pole", "--n", "100", "--hands", "25"], "at most 2000"),
        (["--vary", "pole", "--take", "0"], "--take"),
        (["--vary", "squeeze=2,3", "--take", "3"], "there is no #3"),
        (["--vary", "pole", "--take", "1", "--out", "a?b.toml"], "cannot name a plan"),
        (["--vary", "pole", "--take", "1", "--out", " "], "--out"),
        (["--vary", "pole", "--out", "cloth.toml"], "cloth.toml is a file"),
    ],
)
def test_mistakes_are_told_in_one_line(
    home: Path, capsys: pytest.CaptureFixture[str], words: list[str], said: str
) -> None:
    assert run("cloth.toml", *words) == 2
    told = capsys.readouterr()
    assert said in told.err
    assert told.err.count("\n") == 1
    assert sorted(path.name for path in home.iterdir()) == ["cloth.toml"]


def test_a_plan_without_powder_takes_no_palette(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (home / "bare.toml").write_text("[[round]]\ndye = []\n")
    assert run("bare.toml", "--palette", "coral") == 2
    assert "lays no powder" in capsys.readouterr().err


def test_what_is_left_out_is_counted(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["cloth.toml", "--vary", "diameter=280mm..320mm", "--dry-run", "--n", "20"]
    assert run(*words) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "The space holds no more than 5 plans, fewer than 20."  # 280, 285 .. 300 mm
    assert lines[1].startswith("4 points make no plan and were left out; the first, fold.diameter=")
    assert lines[2].startswith("5 runs; ")


# ------------------------------------------------------------------------------- the points


@settings(deadline=None, max_examples=12)
@given(seed=st.integers(0, 2**63 - 1), dimensions=st.integers(1, 9))
def test_points_lie_evenly(seed: int, dimensions: int) -> None:
    """Sobol: of the first 2^m points each of 2^m equal strips of a key gets one; chance misses."""
    drawn = points(seed, dimensions)[:64]
    for column in drawn.T:
        assert sorted((column * 64).astype(int)) == list(range(64))
    chance = np.random.default_rng(seed).random(drawn.shape)
    assert qmc.discrepancy(drawn) < qmc.discrepancy(chance)
    assert not np.array_equal(drawn, points(seed + 1, dimensions)[:64])


def test_a_number_is_the_same_plan_however_many_are_made() -> None:
    keys = ("fold=pole,spiral", "spacing=10mm..60mm", "diameter=200mm..400mm")
    few, many = made(*keys, n=5), made(*keys, n=14)
    assert few.texts == many.texts[:5]
    assert [each.number for each in many.settings] == list(range(1, 15))
    assert made(*keys, n=5, text=POLE.replace("seed = 5", "seed = 6")).texts != few.texts


def test_ranges_are_rounded_to_what_a_hand_can_set() -> None:
    found = made("spacing=10mm..60mm", "bias=0deg..90deg", "squeeze=2..4", n=40)
    assert len(found.settings) == 40
    seen = set()
    for each in found.settings:
        tie, fold = each.plan.round[0].tie, each.plan.round[0].fold[0]
        # 5 mm, 5 degrees and a tenth
        for steps in (tie.spacing / 0.005, np.degrees(fold.bias) / 5, fold.squeeze * 10):
            assert steps == pytest.approx(round(steps), abs=1e-9)
        seen.add(tie.spacing)
    assert {0.01, 0.06} <= seen  # both ends can come


def test_what_comes_out_the_same_is_made_once() -> None:
    found = made("pull=tight,Tight,snug", "crossed=true,false", n=30)
    assert len(found.settings) == 4
    assert found.whole
    keys = {run_key(Task(each.plan, each.plan.seed, PITCH)) for each in found.settings}
    assert len(keys) == len(found.settings)


def test_pole_alone_is_every_pole_in_stock() -> None:
    found = made("pole", n=100)
    assert {each.values["fold.pole"] for each in found.settings} <= set(STOCK.poles)
    assert len(found.settings) == len(set(STOCK.poles.values()))


def test_a_palette_replaces_the_dyes_in_order_and_round_again() -> None:
    palettes = ("Coral , plum", "lemon", "tide, fern, ink, rose")
    found = made(palettes=palettes, n=9)
    assert found.whole
    before = plan_from_text(POLE, "cloth.toml").round[0].dye
    dyes = {each.values["palette"]: each.plan.round[0].dye for each in found.settings}
    assert {name: [line.dye for line in lines] for name, lines in dyes.items()} == {
        "coral + plum": ["coral", "plum", "coral"],
        "lemon": ["lemon"] * 3,
        "tide + fern + ink + rose": ["tide", "fern", "ink"],
    }
    for lines in dyes.values():
        assert [(x.amount, x.at) for x in lines] == [(x.amount, x.at) for x in before]


def test_a_palette_goes_on_through_the_rounds() -> None:
    text = '[[round]]\n[[round]]\n[round.dye]\ndye = "ink"\n'
    (found,) = made(palettes=("coral, plum",), text=text).settings
    assert [turn.dye[0].dye for turn in found.plan.round] == ["coral", "plum"]


def test_a_key_that_a_fold_lacks_is_left_out() -> None:
    found = made("fold=pole,spiral", "bias=0deg..90deg", "turns=1..2", "count=2..5", n=30)
    for each in found.settings:
        kind = each.values["fold"]
        want = {"pole": {"fold.bias"}, "spiral": {"fold.turns", "tie.count"}}[kind]
        assert set(each.values) == {"fold", *want}
        assert each.plan.round[0].fold[0].kind == kind
        tie = each.plan.round[0].tie.kind_after(kind)
        assert tie == {"pole": "string", "spiral": "bands"}[kind]
        assert all(value in each.label for value in each.values.values())
        assert each.label.startswith(f"#{each.number} {kind}, ")
    assert {each.values["fold"] for each in found.settings} == {"pole", "spiral"}


def test_a_short_key_means_what_it_means_in_the_plan() -> None:
    found = made("fold=pole,rosettes", "spacing=10mm..60mm", n=8)
    for each in found.settings:  # rosettes have a spacing too, from 6 cm on
        assert ("tie.spacing" in each.values) is (each.values["fold"] == "pole")


def test_the_table_is_the_same_for_runs_that_were_kept() -> None:
    found = made(palettes=("rose, ink, moss", "fern, ink"))
    fresh, kept = [], []
    for setting in found.settings:
        outcome = make(Task(setting.plan, 5, PITCH))
        fresh.append(Group(setting, (outcome,)))
        kept.append(Group(setting, (from_bytes(as_bytes(outcome)),)))
    assert as_csv(fresh) == as_csv(kept) == as_csv([fresh[0], kept[1]])
    rows = list(csv.reader(io.StringIO(as_csv(kept))))
    first = found.settings[0].values["palette"].split(" + ")
    at = rows[0].index("white highest %") + 1
    assert rows[0][at : at + len(first)] == [f"{name} %" for name in first]
    for row, group in zip(rows[1:], fresh, strict=True):
        seen = group.outcomes[0].seen
        for name, cell in zip(rows[0][at : at + 4], row[at : at + 4], strict=True):
            dye = name.removesuffix(" %")
            assert cell == (f"{100 * seen[dye]:.1f}" if dye in seen else "")


# ------------------------------------------------------------------------------- the folds


@pytest.mark.parametrize("start", ["pole", "accordion", "spiral"])
@pytest.mark.parametrize("kind", FOLDS)
def test_every_fold_may_take_the_place_of_every_start(start: str, kind: str) -> None:
    text = template("sea", start)
    turned = refolded(text, "sea.toml", "round.1.fold", fold_value(kind))
    turn = plan_from_text(turned, "sea.toml").round[0]
    usual = plan_from_text(f'[[round]]\nfold = [{{ kind = "{kind}" }}]\n', "x").round[0]
    assert turn.fold == usual.fold
    # common practice, no source: string holds a pole, bands a disc
    last = usual.fold[-1].kind
    assert turn.tie.kind_after(last) == usual.tie.kind_after(last)
    assert turned.count("#") >= text.count("#") - 3  # notes stay, but those of a line that goes


@pytest.mark.parametrize(
    ("tie", "fold", "kept"),
    [
        ('{ kind = "clamps", size = "5 cm" }', "accordion", "clamps"),
        ('{ kind = "clamps", size = "5 cm" }', "pole", "string"),
        ('{ kind = "bands", count = 5 }', "spiral", "bands"),
        ('{ kind = "none" }', "spiral", "none"),
        ('{ kind = "string", spacing = "4 cm" }', "rope", "string"),
        ('{ kind = "string", spacing = "4 cm" }', "scrunch", "bands"),
    ],
)
def test_a_tie_stays_where_it_suits(tie: str, fold: str, kept: str) -> None:
    text = f'[[round]]\nfold = [{{ kind = "accordion" }}]\ntie = {tie}\n'
    turned = refolded(text, "x", "round.1.fold", fold_value(fold))
    turn = plan_from_text(turned, "x").round[0]
    assert turn.tie.kind_after(fold) == kept
    if "4 cm" in tie and kept == "string":
        assert turn.tie.spacing == 0.04


def test_folds_may_be_written_whole_and_bad_ones_are_refused() -> None:
    whole = '[{ kind = "halve" }, { kind = "accordion", pleat = "5 cm" }]'
    found = made(f"fold=pole,{whole}", n=4)
    assert {each.values["fold"] for each in found.settings} == {"pole", whole}
    with pytest.raises(PlanError, match="pleat"):
        space('fold=pole,[{ kind = "accordion", pleat = "5 km" }]')


def test_keys_are_taken_out_wherever_they_stand() -> None:
    text = '[round]\ntie = { kind = "none" }\n[round.rest]\nlies = "flat"\non = "rack"\n'
    left = without(text, ["round.1.tie", "round.1.rest.lies", "round.2.tie", "garment.blank"])
    assert plan_from_text(left, "x").round[0].model_fields_set == {"rest"}


# ------------------------------------------------------------------------------- the labels


@given(st.lists(st.text("abc 12", min_size=1, max_size=12), min_size=1, max_size=9))
def test_a_long_label_is_broken_behind_commas(parts: list[str]) -> None:
    text = ", ".join(parts)
    lines = _wrapped(text, 20, 150, 3)
    assert 1 <= len(lines) <= 3
    assert " ".join(lines) == text
    face = draw.type_face(20)
    for line in lines[:-1]:
        assert face.getlength(line) <= 150 or ", " not in line
    assert _wrapped(text, 20, 150, 1) == [text]
