"""The true run, draft, through the command: nothing is replaced."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from PIL import Image

pytestmark = pytest.mark.slow


def command(folder: Path, *words: str, **extra: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-W", "error", "-m", "meltwick", *words],
        cwd=folder,
        env=os.environ | extra,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )


@pytest.fixture(scope="module")
def example(tmp_path_factory):
    folder = tmp_path_factory.mktemp("run")
    return folder, command(folder, "preview", "--detail", "draft")


def load(folder: Path) -> dict:
    record = json.loads((folder / "result.json").read_text("utf-8"))
    record.pop("seconds")
    return record


def test_example_without_a_plan(example):
    folder, done = example
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("Expect ")
    assert "Traceback" not in done.stderr
    with Image.open(folder / "harbour-tee" / "preview.png") as picture:
        assert max(picture.size) == 1600
    record = load(folder / "harbour-tee")
    assert record["pitch_mm"] == 4.0
    assert 0.0 < record["white_share"] < 1.0
    assert record["rounds"][0]["balance"]["laid_g"] == pytest.approx(7.3)
    assert record["rounds"][0]["balance"]["relative_error"] < 1e-9


@pytest.mark.parametrize("threads", ["1", "2"])
def test_same_again_for_any_number_of_threads(example, threads, tmp_path):
    folder, _ = example
    done = command(tmp_path, "preview", "--detail", "draft", "--json", NUMBA_NUM_THREADS=threads)
    assert done.returncode == 0, done.stderr
    assert load(tmp_path / "harbour-tee") == load(folder / "harbour-tee")
    old, new = (f / "harbour-tee" / "preview.png" for f in (folder, tmp_path))
    assert old.read_bytes() == new.read_bytes()
    printed = json.loads(done.stdout)
    printed.pop("seconds")
    assert printed == load(folder / "harbour-tee")


def test_another_seed_is_another_piece(example, tmp_path):
    folder, _ = example
    done = command(tmp_path, "preview", "--detail", "draft", "--seed", "8", "--json")
    assert done.returncode == 0, done.stderr
    other = load(tmp_path / "harbour-tee")
    assert other["seed"] == 8
    assert other["white_share"] != load(folder / "harbour-tee")["white_share"]


def test_a_new_plan_runs_as_it_is(tmp_path):
    assert command(tmp_path, "new", "dune").returncode == 0
    assert command(tmp_path, "check", "dune.toml").returncode == 0
    done = command(tmp_path, "preview", "dune.toml", "--detail", "8 mm")
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "dune" / "preview.png").is_file()


def test_without_soda_almost_no_colour(tmp_path):
    """No soda ash, almost no colour on cellulose after wash-out (common practice, no source)."""
    (tmp_path / "bare.toml").write_text('[[round]]\nsoda = { how = "none" }\n', "utf-8")
    done = command(tmp_path, "preview", "bare.toml", "--detail", "8 mm", "--json")
    assert done.returncode == 0, done.stderr
    balance = json.loads(done.stdout)["rounds"][0]["balance"]
    assert balance["fixed_g"] < 0.02 * balance["laid_g"]
