"""How long a prediction takes. Run with ``pytest tests/benchmarks``; never part of the tests."""

from __future__ import annotations

import subprocess
import sys

import pytest

from meltwick.plan import example_plan
from meltwick.simulate import simulate


@pytest.mark.parametrize("pitch", [4e-3, 2e-3, 1e-3], ids=["draft", "normal", "fine"])
def test_one_tee(benchmark, pitch):
    plan = example_plan()
    simulate(plan, pitch=8e-3)  # compile first
    benchmark.pedantic(simulate, args=(plan,), kwargs={"pitch": pitch}, rounds=1, warmup_rounds=1)


def test_help(benchmark):
    line = [sys.executable, "-m", "meltwick.cli", "--help"]
    benchmark.pedantic(subprocess.run, (line,), {"check": True, "capture_output": True}, rounds=5)
