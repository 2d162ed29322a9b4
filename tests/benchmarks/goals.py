"""How long it takes what a maker waits for, against the goals that were set for it.

Another checkout of the project can be timed beside this one, turn by turn.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median
from typing import Any

HERE = Path(__file__).parents[2]
DETAILS = (("draft", 4e-3, 0.7, 3), ("normal", 2e-3, 3.0, 3), ("fine", 1e-3, 14.0, 3))
"""Pitch [m], goal [s] and number of timed runs."""

ONE = """
import json, resource, sys, time
from meltwick.plan import example_plan
from meltwick.seep.percolation import Percolation
from meltwick.simulate import simulate

pitch, repeats = float(sys.argv[1]), int(sys.argv[2])
plan, flows, runs = example_plan(), [], []
solve = Percolation.solve

def solved(*args, **words):
    flows.append(solve(*args, **words))
    return flows[-1]

Percolation.solve = solved
simulate(plan, pitch=pitch)
for _ in range(repeats):
    flows.clear()
    stages = {}
    last = begun = time.perf_counter()

    def tell(stage, done, total):
        global last
        now = time.perf_counter()
        stages[stage] = stages.get(stage, 0.0) + now - last
        last = now

    made = simulate(plan, pitch=pitch, observer=tell)
    runs.append((time.perf_counter() - begun, stages))
seconds, stages = sorted(runs, key=lambda run: run[0])[len(runs) // 2]
print(json.dumps({
    "seconds": seconds,
    "cells": made.cloth.size,
    "species": made.fixed.amount.shape[1],
    "MB": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024,
    "iterations": flows[-1].iterations,
    "stages": stages,
}))
"""

STUDY = ("--vary", "spacing=10mm..50mm/5", "--hands", "5", "--detail", "draft")


def loop() -> float:
    """Seconds of ten million turns of a bare loop, to know the machine's state by."""
    begun = time.perf_counter()
    for _ in range(10**7):
        pass
    return time.perf_counter() - begun


class Bench:
    """A checkout, with a home of its own for caches and settings."""

    def __init__(self, tree: Path, home: Path) -> None:
        self._home = home
        self.environment = {
            **os.environ,
            "PYTHONPATH": str(tree / "src"),
            "HOME": str(home),
            "XDG_CACHE_HOME": str(home / "cache"),
            "XDG_DATA_HOME": str(home / "data"),
        }
        for name in ("NUMBA_CACHE_DIR", "PYTHONDONTWRITEBYTECODE"):
            self.environment.pop(name, None)

    def command(self, *words: str) -> float:
        """Seconds of a command of the program, run in a folder of the home."""
        folder = self._home / "work"
        folder.mkdir(parents=True, exist_ok=True)
        line = (sys.executable, "-m", "meltwick", *words)
        begun = time.perf_counter()
        subprocess.run(line, check=True, capture_output=True, cwd=folder, env=self.environment)
        return time.perf_counter() - begun

    def one(self, pitch: float, repeats: int) -> dict[str, Any]:
        """Predict the example again and again in one process, the first time untimed."""
        kept = self.environment | {"NUMBA_CACHE_DIR": str(self._home / "kernels")}
        line = (sys.executable, "-c", ONE, str(pitch), str(repeats))
        told = subprocess.run(line, check=True, capture_output=True, text=True, env=kept)
        found: dict[str, Any] = json.loads(told.stdout)
        return found


def reached(before: Path | None, repeats: int = 3) -> tuple[list[dict[str, Any]], ...]:
    """Time everything for which there is a goal, and the stages of a prediction.

    Parameters
    ----------
    before : Path, optional
        Another checkout, timed beside this one.
    repeats : int
        Of the shorter commands; the median is taken.

    Returns
    -------
    goals, stages
        Tables, one row for each thing that is waited for, and for each detail and stage.
    """
    trees = {"now": HERE} | ({"before": before} if before else {})
    goals: list[dict[str, Any]] = []
    stages: list[dict[str, Any]] = []
    with tempfile.TemporaryDirectory() as scratch:
        benches = {name: Bench(tree, Path(scratch) / name) for name, tree in trees.items()}

        def row(what: str, goal: float, took: dict[str, float]) -> None:
            goals.append({"what": what, "goal s": goal, **took, "bare loop s": loop()})

        first = {name: bench.command("preview") for name, bench in benches.items()}
        row("first run ever, normal, compiling included", 25.0, first)
        draft: dict[str, float] = {}
        for detail, pitch, goal, runs in DETAILS:
            made = {name: bench.one(pitch, runs) for name, bench in benches.items()}
            took = {name: each["seconds"] for name, each in made.items()}
            draft = draft or took
            row(f"{detail}, second simulate()", goal, took)
            for name, each in made.items():
                stages.append({"tree": name, "detail": detail, **_line(each)})
        whole = {
            name: median(bench.command("preview", "--detail", "draft") for _ in range(repeats))
            for name, bench in benches.items()
        }
        row("the command's own share, draft", 1.5, {n: whole[n] - draft[n] for n in whole})
        helped = {
            name: median(bench.command("--help") for _ in range(repeats))
            for name, bench in benches.items()
        }
        row("meltwick --help", 0.4, helped)
        for bench in benches.values():
            bench.command("new", "salt-marsh")
        studied = {
            name: bench.command("compare", "salt-marsh.toml", *STUDY)
            for name, bench in benches.items()
        }
        row("five spacings by five hands, draft", 20.0, studied)
    return goals, stages


def _line(made: dict[str, Any]) -> dict[str, Any]:
    """Cells, speed, memory, iterations and the share of every stage."""
    whole = made["seconds"]
    told = {stage: f"{100 * took / whole:.0f} %" for stage, took in made["stages"].items()}
    return {
        "cells": made["cells"],
        "dyes' parts": made["species"],
        "s": whole,
        "cells/s": made["cells"] / whole,
        "MB at most": made["MB"],
        "iterations": made["iterations"],
        **told,
    }
