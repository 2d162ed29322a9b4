"""A second round over a true photograph: a JPEG, read as a maker's would be, and kept with it."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pytest
from tests.photographs import Conditions, Piece, photograph

from meltwick.cli import main
from meltwick.constants import Constants
from meltwick.journal import Journal
from meltwick.plan import digest, plan_from_text, read_plan, resolve
from meltwick.simulate import simulate
from meltwick.stock import load_stock
from meltwick.study import store

BANDANA = '[garment]\nblank = "bandana"\n'
FIRST = (
    BANDANA + '[[round]]\nfold = [{ kind = "pole" }]\ndye = [{ dye = "coral", amount = "1 g" }]\n'
)
SECOND = (
    'start = { photo = "../front.jpg", dyes = ["coral"] }\n'
    + BANDANA
    + '[[round]]\nfold = [{ kind = "spiral" }]\ndye = [{ dye = "ink", amount = "0.3 g" }]\n'
)
QUICK = ("--hands", "1", "--detail", "10 mm")


@pytest.fixture(scope="module")
def made() -> tuple[Piece, bytes]:
    """A dyed bandana, and its photograph as a telephone writes it."""
    plan = plan_from_text(FIRST, "first.toml")
    blank = resolve(plan, load_stock()).blank
    piece = Piece("first", blank.name, blank.size, simulate(plan, pitch=4e-3))
    light = Conditions(seed=3, ground="paper", long_side=600, fill=0.8, tilt=8, turn=6, quality=90)
    return piece, photograph(piece, "front", light).jpeg


@pytest.fixture
def shed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, made: tuple[Piece, bytes]) -> Path:
    """A folder with a plan in it, and the photograph above."""
    folder = tmp_path / "shed" / "plans"
    folder.mkdir(parents=True)
    monkeypatch.chdir(folder)
    monkeypatch.setattr(store, "usual_folder", lambda: tmp_path / "cache")
    (folder.parent / "front.jpg").write_bytes(made[1])
    (folder / "second.toml").write_text(SECOND)
    return folder


def test_a_preview_begins_with_what_a_jpeg_shows(
    shed: Path, made: tuple[Piece, bytes], capsys: pytest.CaptureFixture[str]
) -> None:
    """White before the round is that of the piece; after it there is less, where ink was laid."""
    code = main(["preview", "second.toml", "--detail", "10 mm", "--json"])
    out, err = capsys.readouterr()
    assert code == 0, err
    said = json.loads(out)
    white = made[0].white("front")
    assert said["start"]["white_share"] == pytest.approx(white, abs=0.06)
    assert said["start"]["unseen"] == []
    assert said["white_share"] < said["start"]["white_share"] - 0.02


def test_a_recorded_second_round_outlives_its_photograph(
    shed: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Record, export, import elsewhere, give back: the plan means what it meant."""
    words = ("record", "second.toml", "--by-eye", "20%", *QUICK, "--journal", "one.db")
    assert main(list(words)) == 0
    (piece,) = Journal(Path("one.db")).pieces()
    photo = (shed.parent / "front.jpg").read_bytes()
    assert piece.files == {"../front.jpg": photo}
    assert main(["journal", "export", "--json", "all.json", "--journal", "one.db"]) == 0
    assert main(["journal", "backup", "copy.db", "--journal", "one.db"]) == 0
    for name, file in (("two", "all.json"), ("three", "copy.db")):
        moved = tmp_path / name
        moved.mkdir()
        shutil.copyfile(file, moved / file)
        assert main(["journal", "import", f"{moved}/{file}", "--journal", f"{moved}/own.db"]) == 0
        assert Journal(moved / "own.db").pieces()[0].files == {"../front.jpg": photo}
    (shed.parent / "front.jpg").unlink()
    capsys.readouterr()
    assert main(["journal", "show", "1", "--journal", "one.db", "--out", "again"]) == 0
    out = capsys.readouterr().out
    assert "Kept with it: ../front.jpg" in out
    plan = re.search("The plan is (.*?toml)", out)[1]
    again = resolve(read_plan(plan), load_stock())
    assert digest(again, Constants()) == piece.digest


def test_the_piece_as_it_was_is_no_outcome(shed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code = main(["record", "second.toml", "../front.jpg", *QUICK, "--journal", "one.db"])
    out, err = capsys.readouterr()
    assert (code, out) == (2, "")
    assert "is the photograph that the plan starts from; name one of the piece after" in err
    assert len(err.splitlines()) == 1
    assert not Path("one.db").exists()
