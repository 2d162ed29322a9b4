"""`meltwick compare`: settings side by side, the sheet, the table, the words."""

from __future__ import annotations

import csv
import errno
import io
import os
from concurrent.futures import Executor
from contextlib import AbstractContextManager
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from meltwick.cli import main, runs
from meltwick.picture.contact import TINTS, columns_for
from meltwick.picture.plot import places_of
from meltwick.plan import plan_from_text
from meltwick.study import queue, store, workers
from meltwick.study.compare import Group, Setting, as_csv, settings_of, surely_whiter, tasks_of
from meltwick.study.outcome import Outcome, Task, make

CLOTH = '[garment]\nblank = "bandana"\n'
PLAN = plan_from_text(CLOTH, "cloth.toml")


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(store, "usual_folder", lambda: tmp_path / "cache")
    (tmp_path / "cloth.toml").write_text(CLOTH)
    return tmp_path


def run(*words: str) -> int:
    return main(list(words))


def table(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(path.read_text("utf-8"))))


def test_few_short_runs_load_no_workers_and_come_out_the_same(
    home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    hired: list[int] = []
    true = queue.processes

    def counted(count: int) -> AbstractContextManager[Executor]:
        hired.append(count)
        return true(count)

    monkeypatch.setattr(queue, "processes", counted)
    monkeypatch.setattr(workers, "usable_cores", lambda: 2)
    words = ["compare", "cloth.toml", "--vary", "squeeze=2,4", "--hands", "2"]
    words += ["--detail", "10 mm", "--out"]
    assert run(*words, "alone") == 0
    assert hired == []
    monkeypatch.setattr(store, "usual_folder", lambda: home / "another cache")
    monkeypatch.setattr(runs, "LOADING", 0.0)  # as if they took long
    assert run(*words, "helped") == 0
    assert hired == [2]
    alone, helped = (home / name / "compare.csv" for name in ("alone", "helped"))
    assert alone.read_bytes() == helped.read_bytes()


def test_one_key_gives_a_sheet_and_a_table(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["compare", "cloth.toml", "--vary", "squeeze=2,4", "--hands", "2", "--detail", "8 mm"]
    assert run(*words) == 0
    out = capsys.readouterr().out
    rows = table(home / "cloth" / "compare.csv")
    assert [row["fold.squeeze"] for row in rows] == ["2", "4"]
    for row in rows:
        parts = [float(row[f"{name} median %"]) for name in TINTS]
        assert sum(parts) == pytest.approx(100.0, abs=3.0)  # medians of each, of two hands
        assert float(row["white lowest %"]) <= parts[0] <= float(row["white highest %"])
        assert row["seeds"] == "1 2"
    assert "keeps the most white" in out
    with Image.open(home / "cloth" / "compare.png") as sheet:
        assert sheet.width == 1600
        assert sheet.text["Title"].startswith("cloth")
    # the same again, from what is kept: the same bytes
    first = (home / "cloth" / "compare.png").read_bytes()
    assert run(*words) == 0
    assert (home / "cloth" / "compare.png").read_bytes() == first
    assert run("compare", "cloth.toml", *words[2:], "--dry-run") == 0
    assert "4 runs, of which 4 are kept from before; no time" in capsys.readouterr().out


def test_several_plans_side_by_side(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (home / "flat.toml").write_text(CLOTH + "[[round]]\nfold = []\n")
    words = ["compare", "cloth.toml", "flat.toml", "--hands", "1", "--detail", "10 mm"]
    assert run(*words) == 0
    rows = table(home / "cloth-and-others" / "compare.csv")
    assert [row["plan"] for row in rows] == ["cloth", "flat"]
    # what is not folded has no inside to stay white (common practice, no source)
    assert float(rows[0]["white median %"]) > float(rows[1]["white median %"])
    assert "cloth keeps the most white" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "nothing to compare"),
        (["--vary", "spacin=1 in,2 in"], "did you mean spacing?"),
        (["--vary", "spacing=1 in,2 elephants"], "round.1.tie.spacing=2 elephants"),
        (["--vary", "pole=1 in pipe,broomhandel"], "broomhandel"),
        (["--vary", "spacing=1 in,2 in", "--vary", "tie.spacing=3 in,4 in"], "twice"),
        (["--vary", "seed=1,2", "--vary", "neatness=0,1", "--vary", "squeeze=2,3"], "at most two"),
        (["--vary", "seed=1,2", "--hands", "nine"], "--hands"),
        (["--vary", "squeeze=2..4/60", "--vary", "neatness=0..1/60"], "at most 2000"),
        (["flat.toml", "--vary", "seed=1,2"], "one plan is varied at a time"),
        (["cloth.toml"], "one name"),
        (["gone.toml"], "gone.toml"),
        (["--vary", "seed=1,2", "--out", "cloth.toml"], "cloth.toml is a file"),
    ],
)
def test_mistakes_are_told_in_one_line(
    home: Path, capsys: pytest.CaptureFixture[str], words: list[str], said: str
) -> None:
    (home / "flat.toml").write_text(CLOTH + "[[round]]\nfold = []\n")
    assert run("compare", "cloth.toml", *words) == 2
    told = capsys.readouterr()
    assert said in told.err
    assert told.err.count("\n") == 1
    assert not (home / "cloth").exists()


def test_the_cache_is_told_of_and_cleared(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run("compare", "cloth.toml", "--vary", "squeeze=2,4", "--hands", "1", "--detail", "10 mm")
    capsys.readouterr()
    assert run("cache") == 0
    assert capsys.readouterr().out.startswith("2 runs kept in ")
    assert run("cache", "--clear") == 0
    assert capsys.readouterr().out.startswith("2 runs thrown away")
    assert run("cache") == 0
    assert capsys.readouterr().out.startswith("0 runs kept in ")


def test_what_cannot_be_kept_or_thrown_away_is_said(
    home: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    words = ["compare", "cloth.toml", "--vary", "squeeze=2,4", "--hands", "1", "--detail", "10 mm"]

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as disk:
        disk.setattr(Path, "replace", full)
        assert run(*words) == 0
    told = capsys.readouterr()
    assert "keeps the most white" in told.out
    why = os.strerror(errno.ENOSPC)
    assert told.err.startswith(f"2 runs could not be kept in {home / 'cache'} ({why}), so they ")
    assert [path for path in (home / "cache").rglob("*") if path.is_file()] == []  # nothing begun
    assert run(*words) == 0
    assert capsys.readouterr().err == ""
    with monkeypatch.context() as disk:
        disk.setattr(Path, "unlink", full)
        assert run("cache", "--clear") == 2
    told = capsys.readouterr()
    assert told.out.startswith("0 runs thrown away")
    assert told.err.startswith(f"meltwick: 2 runs in {home / 'cache'} cannot be thrown away")
    assert run("cache") == 0
    assert capsys.readouterr().out.startswith("2 runs kept in ")


def test_a_forecast_counts_what_is_whole(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["compare", "cloth.toml", "--vary", "squeeze=2,4", "--hands", "1", "--detail", "10 mm"]
    run(*words)
    next((home / "cache").rglob("*.run")).write_bytes(b"")
    capsys.readouterr()
    assert run(*words, "--dry-run") == 0
    told = capsys.readouterr()
    assert told.out.startswith("2 runs, of which 1 is kept from before; ")
    assert told.err == "1 kept run was damaged and is made again.\n"


# ------------------------------------------------------------------------------- the parts


@pytest.fixture(scope="module")
def outcome() -> Outcome:
    return make(Task(PLAN, 1, 1e-2))


def with_white(outcome: Outcome, white: float) -> Outcome:
    from dataclasses import replace

    shares = {"white": white, "pale": 0.0, "mid": 0.0, "deep": 1.0 - white}
    return replace(outcome, shares=replace(outcome.shares, whole=shares))


def test_the_drawn_piece_is_the_middle_one(outcome: Outcome) -> None:
    made = [with_white(outcome, white) for white in (0.2, 0.9, 0.4, 0.5, 0.1)]
    group = Group(Setting({}, PLAN), tuple(made))
    assert group.median() == pytest.approx(0.4)
    assert group.typical is made[2]


def test_hands_agree_only_if_each_does(outcome: Outcome) -> None:
    def group(*whites: float) -> Group:
        return Group(Setting({}, PLAN), tuple(with_white(outcome, white) for white in whites))

    assert surely_whiter(group(0.5, 0.6), group(0.4, 0.5))
    assert not surely_whiter(group(0.5, 0.6), group(0.4, 0.7))


def test_two_keys_make_a_grid_and_share_their_hands() -> None:
    from meltwick.plan.varying import read_axis

    axes = [read_axis("squeeze=2,3", PLAN), read_axis("spacing=1 in,2 in,3 in", PLAN)]
    made = settings_of(CLOTH, "cloth.toml", axes)
    assert [tuple(each.values.values()) for each in made][:4] == [
        ("2", "1 in"),
        ("2", "2 in"),
        ("2", "3 in"),
        ("3", "1 in"),
    ]
    tasks = tasks_of(made, 3, 8e-3)
    assert [task.seed for task in tasks[:6]] == [1, 2, 3, 1, 2, 3]


def test_csv_is_that_of_rfc_4180(outcome: Outcome) -> None:
    """Lines end in CR LF, a field with a comma or a quote is quoted (RFC 4180)."""
    text = as_csv([Group(Setting({"fold": '[{ kind = "pole", bias = 0 }]'}, PLAN), (outcome,))])
    assert text.count("\r\n") == 2
    (row,) = csv.DictReader(io.StringIO(text))
    assert row["fold"] == '[{ kind = "pole", bias = 0 }]'


@pytest.mark.parametrize(("count", "broad", "across"), [(1, True, 1), (5, True, 3), (8, True, 4)])
def test_rows_are_even(count: int, broad: bool, across: int) -> None:
    assert columns_for(count, broad) == across


def test_values_stand_to_scale_where_they_are_numbers() -> None:
    np.testing.assert_allclose(places_of([10.0, 20.0, 50.0]), [0.0, 0.25, 1.0])
    np.testing.assert_allclose(places_of([None, 2.0]), [0.25, 0.75])
    np.testing.assert_allclose(places_of([3.0, 1.0, 2.0]), [1 / 6, 0.5, 5 / 6])
    np.testing.assert_allclose(places_of([1.0, 1.001, 2.0]), [1 / 6, 0.5, 5 / 6])
