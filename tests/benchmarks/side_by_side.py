"""Meltwick beside general-purpose packages, and beside what the machine can do.

Run with ``python tests/benchmarks/side_by_side.py`` from the top folder, with the extras ``test``
and ``bench`` installed and nothing else running; half an hour to an hour. It measures

- goals: what a maker waits for, and where the time goes (`goals`); with ``--before FOLDER`` of
  another checkout too,
- transport: a spot of dye on flat cloth, to one error against the closed form (`transporting`),
- percolation: the flow in the example's bundle, by other solvers of sparse systems (`percolating`),
- growth: from 10 000 to 2 million cells (`growing`); about 5 GB for the largest,
- bandwidth: of the memory, and what each compiled loop uses of it (`bandwidth`),

and writes to ``--out`` one table a part as CSV, all as JSON, and all as Markdown. ``--parts``
names some of them. A try on a busy machine: ``--goal 0.06 --pitches 8 --largest 2e5
--kernel-pitch 4 --repeats 1``.
"""

from __future__ import annotations

import argparse
import csv
import json
import os
import platform
import sys
from importlib.metadata import version
from pathlib import Path
from typing import Any

# ruff: noqa: E402
os.environ.setdefault("FIPY_SOLVERS", "scipy")
for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):  # one thread in BLAS, as meltwick has
    os.environ.setdefault(_name, "1")
sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parent)]

from meltwick.study.kernels import settle_kernels

settle_kernels()

import bandwidth
import goals
import growing
import percolating
import transporting
from timing import apart

Table = list[dict[str, Any]]
PARTS = ("goals", "bandwidth", "transport", "percolation", "growth")
PACKAGES = ("numpy", "scipy", "numba", "pyamg", "py-pde", "fipy")


def options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--out", type=Path, default=Path("side-by-side"))
    parser.add_argument("--parts", nargs="+", choices=PARTS, default=PARTS)
    parser.add_argument("--before", type=Path, help="a checkout to time beside this one")
    parser.add_argument("--repeats", type=int, default=5, help="of what is timed; median taken")
    parser.add_argument("--goal", type=float, default=0.02, help="relative error of the transport")
    parser.add_argument("--search", type=float, default=300.0, help="seconds to look for a case")
    parser.add_argument("--pitches", type=float, nargs="+", default=(4.0, 2.0), help="mm")
    parser.add_argument("--solve", type=float, default=300.0, help="seconds for one solver's call")
    parser.add_argument("--largest", type=float, default=growing.LARGEST, help="cells")
    parser.add_argument("--threads", type=int, default=1, help="of the runs that show the growth")
    parser.add_argument("--kernel-pitch", type=float, default=1.0, help="mm")
    return parser.parse_args()


def measured(given: argparse.Namespace) -> dict[str, Table]:
    """Run the parts; tables by name."""
    tables: dict[str, Table] = {"machine": [machine()]}
    if "goals" in given.parts:
        tables["goals"], tables["stages"] = goals.reached(given.before)
    if "bandwidth" in given.parts:
        found = apart(bandwidth.kernel_table, 1e-3 * given.kernel_pitch, seconds=3600.0)
        if isinstance(found, str):
            found = [{"note": found}], []
        tables["memory"], tables["loops"] = found
    if "transport" in given.parts:
        tables["transport"] = transporting.compared(given.goal, given.repeats, given.search)
    if "percolation" in given.parts:
        pitches = tuple(1e-3 * each for each in given.pitches)
        tables["percolation"] = percolating.compared(pitches, given.repeats, given.solve)
    if "growth" in given.parts:
        grown = growing.grown(given.largest, given.repeats, given.threads, seconds=3600.0)
        tables["growth"], tables["exponents"] = grown
    return tables


def machine() -> dict[str, Any]:
    """Say what it ran on, without the machine's name."""
    told = Path("/proc/cpuinfo")
    lines = told.read_text(encoding="utf-8").splitlines() if told.exists() else []
    models = [line.partition(":")[2].strip() for line in lines if line.startswith("model name")]
    return {
        "processor": models[0] if models else platform.machine(),
        "cores": os.cpu_count(),
        "system": platform.system(),
        "python": platform.python_version(),
        **{name: version(name) for name in PACKAGES},
    }


def columns(table: Table) -> list[str]:
    """Every column of a table, in the order in which they come up."""
    return list(dict.fromkeys(name for row in table for name in row))


def markdown(tables: dict[str, Table]) -> str:
    """Set every table, numbers to three places."""
    lines = []
    for title, table in tables.items():
        names = columns(table)
        lines += [f"### {title}", "", f"| {' | '.join(names)} |", "|---" * len(names) + "|"]
        for row in table:
            lines.append(f"| {' | '.join(_told(row.get(name, '')) for name in names)} |")
        lines.append("")
    return "\n".join(lines)


def _told(value: object) -> str:
    if isinstance(value, float):
        return f"{value:.3g}" if abs(value) < 1e3 else f"{value:.0f}"
    return str(value)


def write(tables: dict[str, Table], folder: Path) -> None:
    """Write a CSV for each table, and all of them as JSON and as Markdown."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, table in tables.items():
        with (folder / f"{name}.csv").open("w", newline="", encoding="utf-8") as file:
            writer = csv.DictWriter(file, columns(table))
            writer.writeheader()
            writer.writerows(table)
    (folder / "side-by-side.json").write_text(json.dumps(tables, indent=1), encoding="utf-8")
    (folder / "side-by-side.md").write_text(markdown(tables), encoding="utf-8")


if __name__ == "__main__":
    asked = options()
    write(measured(asked), asked.out)
