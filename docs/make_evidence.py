"""Measure how near the checks of model-evidence.toml come, and write model-evidence.csv.

Run it as ``python docs/make_evidence.py`` from the top of the repository when the model's number
is raised; it takes some minutes. It runs the tests themselves and notes, of all that each compares,
the comparison that uses the largest part of what it allows. Comparisons to round-off count only in
a test that has no others. A test that fails stops it.
"""

from __future__ import annotations

import csv
import runpy
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from meltwick.constants import MODEL

HERE = Path(__file__).parent
MAKER = runpy.run_path(str(HERE / "make_model.py"))
_APPROX, _CLOSE = pytest.approx, np.testing.assert_allclose
ROUND_OFF = 1e-10


class Noting:
    """A pytest plugin that notes the worst comparison of every test."""

    def __init__(self) -> None:
        self.now = ""
        # whether more than round-off is allowed and the share used, allowed, reached
        self.worst: dict[str, tuple[tuple[bool, float], str, str]] = {}
        self.failed = False

    def pytest_runtest_setup(self, item: pytest.Item) -> None:
        """Learn which test runs."""
        self.now = item.nodeid.split("/")[-1].split("[")[0]

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Learn whether it held."""
        self.failed |= report.failed or report.skipped

    def note(self, found: Any, wanted: Any, rel: float, least: float) -> None:
        """Compare, and keep what is worst of this test."""
        try:
            a, b = np.broadcast_arrays(
                np.asarray(found, dtype=float), np.asarray(wanted, dtype=float)
            )
        except (TypeError, ValueError):
            return
        if not a.size:
            return
        gap, scale = np.abs(a - b), np.abs(b)
        allowed = np.maximum(rel * scale, least)
        used = np.where(allowed > 0.0, gap / np.maximum(allowed, 1e-300), 0.0)
        at = np.unravel_index(np.argmax(used), used.shape)
        relative = rel * scale[at] >= least and scale[at] > 0.0
        rank = (rel if relative else least) > ROUND_OFF, float(used[at])
        if self.now in self.worst and rank < self.worst[self.now][0]:
            return
        if relative:
            told = f"{rel:.2g} of it", f"{gap[at] / scale[at]:.2g}"
        else:
            told = f"{least:.2g}", f"{gap[at]:.2g}"
        self.worst[self.now] = (rank, *told)


class Noted:
    """What `pytest.approx` returns, which notes each comparison before it makes it."""

    __array_ufunc__ = None  # so that an array on the left leaves the comparison to this

    def __init__(self, plugin: Noting, wanted: Any, rel: Any, least: Any, nan_ok: bool) -> None:
        self._real = _APPROX(wanted, rel=rel, abs=least, nan_ok=nan_ok)
        self._note = lambda found: plugin.note(
            found,
            wanted,
            rel if rel is not None else (0.0 if least is not None else 1e-6),
            1e-12 if least is None else least,
        )

    def __eq__(self, found: object) -> bool:
        self._note(found)
        return bool(self._real == found)

    __hash__ = None  # type: ignore[assignment]


def main() -> None:
    """Run the tests and write what they reached."""
    plugin = Noting()

    def approx(expected: Any, rel: Any = None, abs: Any = None, nan_ok: bool = False) -> Noted:
        return Noted(plugin, expected, rel, abs, nan_ok)

    def close(
        actual: Any, desired: Any, rtol: float = 1e-7, atol: float = 0.0, **more: Any
    ) -> None:
        plugin.note(actual, desired, rtol, atol)
        _CLOSE(actual, desired, rtol=rtol, atol=atol, **more)

    pytest.approx, np.testing.assert_allclose = approx, close  # type: ignore[assignment]
    tests = [check["test"] for check in MAKER["checks"]()]
    chosen = [str(HERE.parent / "tests" / test) for test in tests]
    words = ["-n", "0", "-q", "-p", "no:cacheprovider", "--hypothesis-seed=0"]
    code = pytest.main([*words, *chosen], plugins=[plugin])
    if code or plugin.failed:
        raise SystemExit("a check failed or was left out: nothing is written")
    with MAKER["REACHED"].open("w", newline="", encoding="utf-8") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow(("test", "allowed", "reached", "model"))
        for test in tests:
            _, allowed, reached = plugin.worst[test]
            out.writerow((test, allowed, reached, MODEL))


if __name__ == "__main__":
    main()
