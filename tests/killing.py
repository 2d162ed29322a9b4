"""A study that is killed again and again, at random moments, until it is complete."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from dataclasses import dataclass, field, replace
from pathlib import Path

from tests.processes import SEEN, children, gone

from meltwick.study.kernels import settle_kernels
from meltwick.study.outcome import as_bytes
from meltwick.study.store import Store

PLAN = '[garment]\nblank = "bandana"\n'
RUNS = 20
WORDS = ["compare", "cloth.toml", "--vary", "squeeze=2..4/4", "--hands", "5", "--detail", "10 mm"]


@dataclass
class Report:
    """What came of it."""

    whole: float  # [s] that an undisturbed study takes
    after: list[float] = field(default_factory=list)  # [s] at which it was killed
    kept: list[int] = field(default_factory=list)  # runs in the store after each kill
    damaged: int = 0
    begun: int = 0  # files that a killed writer left
    finished: int = 0  # studies that ended before they were killed


class Study:
    """`meltwick compare` as a process in a group of its own, with a cache of its own."""

    def __init__(self, folder: Path, name: str) -> None:
        self.folder, self.name = folder, name
        self.store = Store(folder / name / "meltwick" / "runs")
        settle_kernels()  # those of every other test, although the cache is another

    def start(self) -> subprocess.Popen[str]:
        (self.folder / "cloth.toml").write_text(PLAN)
        return subprocess.Popen(
            [sys.executable, "-m", "meltwick", *WORDS, "--out", f"{self.name}-out"],
            cwd=self.folder,
            env={
                **os.environ,
                "XDG_CACHE_HOME": str(self.folder / self.name),
            },
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )

    def finish(self) -> str:
        """Let it run to its end; what it said on standard error."""
        process = self.start()
        out, err = process.communicate(timeout=600)
        assert process.returncode == 0, err
        assert "keeps the most white" in out
        return err

    def names(self) -> list[str]:
        """Keys of the runs in the store, one for each file."""
        return sorted(path.stem for _, _, path in self.store.files() if path.suffix == ".run")

    def content(self) -> dict[str, bytes]:
        """Every run that is whole, with its seconds set aside."""
        found = {name: self.store.get(name) for name in self.names()}
        return {
            name: as_bytes(replace(each, seconds=0.0))
            for name, each in found.items()
            if each is not None
        }

    def table(self) -> bytes:
        return (self.folder / f"{self.name}-out" / "compare.csv").read_bytes()

    def kill(self, after: float) -> bool:
        """Start it and kill -9 it, its workers too, after so long; False if it ended before."""
        process = self.start()
        try:
            process.wait(after)
        except subprocess.TimeoutExpired:
            workers = children(process.pid) if SEEN else []
            os.killpg(process.pid, signal.SIGKILL)
            process.communicate()
            assert gone(workers, 20.0)
            return True
        _, err = process.communicate()
        assert process.returncode == 0, err
        return False


def undisturbed_study(folder: Path) -> tuple[Study, float]:
    """A study that is complete, and how long it took [s]."""
    study = Study(folder, "undisturbed")
    begun = time.monotonic()
    if "compiling" in study.finish():
        study.store.clear()
        begun = time.monotonic()
        study.finish()
    return study, time.monotonic() - begun


def kill_often(undisturbed: Study, whole: float, times: int, seed: int = 20) -> Report:
    """Kill a study so many times at moments from its start to its end; check it after each.

    ``undisturbed`` is the same study, complete, which took ``whole`` seconds. The moments are
    spread over all of it. Where it ends before it is killed, or every run is there when it is, it
    is checked whole and begun anew with an empty store. A study that goes on from kept runs, or on
    a machine less busy than at first, is shorter: the later moments are then shares of what it
    took.
    """
    study = Study(undisturbed.folder, "killed")
    report = Report(whole)
    wanted = undisturbed.content()
    assert len(wanted) == RUNS
    dice, before = random.Random(seed), set[str]()
    moments = [(k + dice.random()) / times for k in range(times)]  # shares of the whole
    dice.shuffle(moments)
    length = report.whole
    while moments:
        assert report.finished <= 4 * times, "it ends before it can be killed"
        after, begun = length * moments[-1], time.monotonic()
        if not study.kill(after):
            report.finished += 1
            length = min(length, time.monotonic() - begun)
            _complete(study, undisturbed, wanted)
            study.store.clear()
            before = set()
            continue
        moments.pop()
        there = set(study.names())
        assert before <= there, "a run that was there is lost"
        whole = study.content()
        assert whole.items() <= wanted.items()  # each is whole, and as it should be, or
        report.damaged += len(there) - len(whole)  # it was noticed, and thrown out
        assert study.store.damaged == report.damaged
        before = set(study.names())
        report.begun += sum(path.name.startswith(".") for _, _, path in study.store.files())
        report.after.append(after)
        report.kept.append(len(before))
        if len(before) == RUNS and moments:
            study.store.clear()
            before = set()
    study.finish()
    _complete(study, undisturbed, wanted)
    return report


def _complete(study: Study, undisturbed: Study, wanted: dict[str, bytes]) -> None:
    assert study.names() == sorted(wanted)  # every run once
    assert study.content() == wanted
    assert study.table() == undisturbed.table()
