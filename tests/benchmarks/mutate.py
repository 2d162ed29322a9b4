"""Spoil one factor or sign of the physics at a time, and see that a test fails.

``python tests/benchmarks/mutate.py [WORD ...]`` copies the repository to a scratch folder and, for
each row of ``CHANGES`` (of those whose module or text holds a WORD), puts the second text in the
place of the first and runs the tests named beside it until one fails. A change that no test notices
is listed, and the exit code is 1. Compiled loops are compiled anew each time: half an hour for all.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
MARCH = ("test_march.py", "test_transport.py")
WATER = ("test_percolation.py", "test_multigrid.py")

CHANGES: tuple[tuple[str, str, str, tuple[str, ...]], ...] = (
    (
        "seep/kernels.py",
        "start[place[pairs[e, 1]] + 1] += 1",
        "start[place[pairs[e, 0]] + 1] += 1",
        MARCH,
    ),
    ("seep/kernels.py", "p = v * d + b - r * g", "p = v * d + b + r * g", MARCH),
    ("seep/kernels.py", "4.0 * v * g * r * d", "2.0 * v * g * r * d", MARCH),
    (
        "seep/kernels.py",
        "carry = volume[i] + step * (out[i] + leave[i])",
        "carry = volume[i] + step * out[i]",
        MARCH,
    ),
    (
        "seep/kernels.py",
        "away = step * leave[i] * new",
        "away = 0.5 * step * leave[i] * new",
        MARCH,
    ),
    ("seep/kernels.py", "powder[i, k] -= release", "powder[i, k] -= 0.5 * release", MARCH),
    ("seep/kernels.py", "three += q * c[j, k + 2]", "three += q * c[j, k + 1]", MARCH),
    (
        "seep/kernels.py",
        "one += amount[e] * step * c[source[e], k]",
        "one += amount[e] * c[source[e], k]",
        MARCH,
    ),
    ("seep/kernels.py", "keep = hold[i, k] + back * rest[k]", "keep = hold[i, k] + back", MARCH),
    (
        "seep/kernels.py",
        "last[k] = (mass[i, k] + back * last[k]) * over",
        "last[k] = (mass[i, k] - back * last[k]) * over",
        MARCH,
    ),
    ("seep/kernels.py", "y = min(z, 3000.0) / 64.0", "y = min(z, 3000.0) / 63.0", MARCH),
    (
        "seep/kernels.py",
        "share[j] = ours * product * over * (1.0 - left[j])",
        "share[j] = other[j] * product * over * (1.0 - left[j])",
        MARCH,
    ),
    ("seep/cellwise.py", "held = fibre * kd[k]\n", "held = 2.0 * fibre * kd[k]\n", MARCH),
    (
        "seep/cellwise.py",
        "rate[n + k] = to_fibre[n + k] + hydrolysing[k] * wet * time",
        "rate[n + k] = to_fibre[n + k] - hydrolysing[k] * wet * time",
        MARCH,
    ),
    ("seep/cellwise.py", "fixed[i, k] += fix * per", "fixed[i, k] += fix", MARCH),
    (
        "seep/cellwise.py",
        "hold[i, k] = volume[i] + per * kd[k]",
        "hold[i, k] = volume[i] - per * kd[k]",
        MARCH,
    ),
    (
        "seep/relaxing.py",
        "rest -= value[e] * x[column[e]]",
        "rest += value[e] * x[column[e]]",
        WATER,
    ),
    ("seep/relaxing.py", "below[parent[e]] += weight[e] * rest", "below[parent[e]] += rest", WATER),
    ("seep/relaxing.py", "more += weight[e] * below[parent[e]]", "more += below[parent[e]]", WATER),
    ("seep/relaxing.py", "rest[i] -= step * pulled[i]", "rest[i] += step * pulled[i]", WATER),
    (
        "seep/relaxing.py",
        "w[i] = min(total / value[middle[i]], cap[i])",
        "w[i] = total / value[middle[i]]",
        WATER,
    ),
    (
        "seep/multigrid.py",
        "return sp.csr_array(own - pulled - pulled.T)",
        "return sp.csr_array(own - pulled)",
        WATER,
    ),
    ("seep/graph.py", "middle = 0.5 * (height[a] + height[b])", "middle = height[a]", WATER),
    ("seep/graph.py", "shape / (alpha * resist)", "shape / resist", WATER),
    (
        "seep/stages.py",
        "current.spreading(flowed / waits / current.level * passing)",
        "current.spreading(1.0)",
        ("test_transport.py",),
    ),
    ("seep/flow.py", "ours + scale * theirs", "ours + theirs", MARCH),
    (
        "seep/flow.py",
        "constants.dispersivity / reach - 0.5",
        "constants.dispersivity / reach + 0.5",
        MARCH,
    ),
    (
        "seep/flow.py",
        "return volume / (cloth.pitch**2 * bundle.thickness)",
        "return volume / (cloth.pitch**2 * cloth.thickness)",
        MARCH,
    ),
    (
        "seep/chemistry.py",
        "np.exp(-activation / GAS",
        "np.exp(activation / GAS",
        ("test_chemistry.py",),
    ),
    ("seep/ice.py", "return mass * LATENT_HEAT /", "return mass / LATENT_HEAT /", ("test_ice.py",)),
)


def survives(tree: Path, module: str, before: str, after: str, tests: tuple[str, ...]) -> bool:
    """Tell whether the tests pass with ``after`` in the place of ``before``.

    Raises
    ------
    SystemExit
        When the module holds no such text.
    """
    path = tree / "src" / "meltwick" / module
    whole = path.read_text("utf-8")
    if before not in whole:
        raise SystemExit(f"{module} does not hold {before!r}: put CHANGES right")
    path.write_text(whole.replace(before, after, 1), "utf-8")
    try:
        with tempfile.TemporaryDirectory() as cache:
            line = [sys.executable, "-m", "pytest", "-x", "-q", "-n", "0", "--no-header"]
            found = subprocess.run(
                [*line, *(f"tests/{test}" for test in tests)],
                cwd=tree,
                env={**os.environ, "PYTHONPATH": str(tree / "src"), "NUMBA_CACHE_DIR": cache},
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )
    finally:
        path.write_text(whole, "utf-8")
    return found.returncode == 0


def main() -> None:
    """Try every change, and list those that no test notices."""
    words = sys.argv[1:]
    unseen = 0
    with tempfile.TemporaryDirectory() as scratch:
        tree = Path(scratch) / "tree"
        shutil.copytree(ROOT, tree, ignore=shutil.ignore_patterns(".git", ".venv", "gallery"))
        for module, before, after, tests in CHANGES:
            if words and not any(word in f"{module} {before}" for word in words):
                continue
            passed = survives(tree, module, before, after, tests)
            unseen += passed
            print("NOT SEEN" if passed else "seen    ", module, after.strip(), flush=True)
    raise SystemExit(1 if unseen else 0)


if __name__ == "__main__":
    main()
