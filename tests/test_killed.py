"""`meltwick compare` killed with its workers at any moment goes on where it was."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from tests.killing import PLAN, RUNS, Study, kill_often, undisturbed_study

from meltwick.plan import plan_from_text
from meltwick.study.outcome import Task, as_bytes, make
from meltwick.study.store import Store

KILLS = 5
"""Twenty take two to four minutes: ``python tests/benchmarks/kill_study.py``."""

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="there is no SIGKILL for a group")


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> tuple[Study, float]:
    return undisturbed_study(tmp_path_factory.mktemp("studies"))


@pytest.mark.slow
def test_nothing_is_lost_and_nothing_made_twice(undisturbed: tuple[Study, float]) -> None:
    report = kill_often(*undisturbed, KILLS)
    assert len(report.after) == KILLS
    assert max(report.kept) > 0  # it was at work when it was killed


def test_a_writer_killed_before_its_file_is_in_place(tmp_path: Path) -> None:
    """Kill -9 between writing a run beside its place and putting it there."""
    script = (
        "import os, pathlib, signal, sys\n"
        "from meltwick.study.outcome import from_bytes\n"
        "from meltwick.study.store import Store\n"
        "pathlib.Path.replace = lambda *_: os.kill(os.getpid(), signal.SIGKILL)\n"
        "whole = from_bytes(pathlib.Path(sys.argv[1]).read_bytes())\n"
        "Store(pathlib.Path(sys.argv[2])).put('ab' * 32, whole)\n"
    )
    outcome, key = make(Task(plan_from_text(PLAN, "cloth.toml"), 1, 1e-2)), "ab" * 32
    (tmp_path / "whole").write_bytes(as_bytes(outcome))
    words = [sys.executable, "-c", script, str(tmp_path / "whole"), str(tmp_path / "runs")]
    assert subprocess.run(words, check=False).returncode == -signal.SIGKILL
    store = Store(tmp_path / "runs")
    ((_, size, left),) = store.files()
    assert left.name.startswith(".")
    assert size == (tmp_path / "whole").stat().st_size
    assert store.tally()[0] == 0
    assert store.get(key) is None
    assert store.damaged == 0  # it never was in its place
    assert store.put(key, outcome)
    assert store.trim() == 0
    os.utime(left, (1000.0, 1000.0))
    assert store.trim() == 1
    assert not left.exists()
    assert key in store


@pytest.mark.slow
def test_damaged_files_are_told_of_and_made_again(
    undisturbed: tuple[Study, float], tmp_path: Path
) -> None:
    """A flipped bit, a file cut short and an empty one; the rest is not made again."""
    study = Study(tmp_path, "damaged")
    for what in ("", "-out"):
        shutil.copytree(undisturbed[0].folder / f"undisturbed{what}", tmp_path / f"damaged{what}")
    wanted = study.content()
    assert len(wanted) == RUNS
    paths = [study.store.path(name) for name in study.names()]
    flipped = bytearray(paths[0].read_bytes())
    flipped[len(flipped) // 2] ^= 4
    paths[0].write_bytes(flipped)
    paths[1].write_bytes(paths[1].read_bytes()[:100])
    paths[2].write_bytes(b"")
    whole = {path: path.read_bytes() for path in paths[3:]}
    assert "3 kept runs were damaged and are made again." in study.finish()
    assert study.content() == wanted
    assert study.store.damaged == 0
    assert {path: path.read_bytes() for path in paths[3:]} == whole  # seconds and all
    assert "damaged" not in study.finish()
