"""Part 3: how the time of the flow and of the march grows with the number of cells.

The built-in example at finer and finer pitch, with as many steps at each and one thread, since the
program takes a second one only for larger pieces. The exponent p of seconds = a cells^p is fitted
by least squares to the logarithms.
"""

from __future__ import annotations

from typing import Any
from unittest import mock

import numpy as np
from timing import Peak, apart

from meltwick.plan import example_plan
from meltwick.seep.levels import USUAL, Effort
from meltwick.simulate import simulate

FEWEST, LARGEST = 1e4, 2e6
PER_TENFOLD = 4
AREA = 0.81  # [m2] of the example's cloth, about
AGAIN = 10.0
"""Seconds below which a run is repeated and the median taken."""
STAGES = ("percolate", "march", "both")


def grown(
    largest: float, repeats: int, threads: int, seconds: float
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Run the example at sizes evenly spread on a logarithmic scale, each in its own process.

    Returns
    -------
    rows, exponents : list of dict
        Times [s] by size, and the fit for each stage.
    """
    count = 1 + max(1, round(PER_TENFOLD * np.log10(largest / FEWEST)))
    rows = []
    for cells in np.geomspace(FEWEST, largest, count):
        told = apart(_run, float(np.sqrt(AREA / cells)), repeats, threads, seconds=seconds)
        row = {"note": f"{cells:.3g} cells: {told}"} if isinstance(told, str) else told
        print(row, flush=True)
        rows.append(row)
    whole = [row for row in rows if "cells" in row]
    return rows, [_fit(whole, stage) for stage in STAGES] if len(whole) > 1 else []


def _run(pitch: float, repeats: int, threads: int) -> dict[str, Any]:
    with mock.patch.object(Effort, "at", return_value=USUAL):
        simulate(example_plan(), pitch=max(8e-3, pitch), threads=threads)  # compiled now
        with Peak() as peak:
            results = [simulate(example_plan(), pitch=pitch, threads=threads)]
        if sum(results[0].seconds.values()) < AGAIN:
            more = range(repeats - 1)
            results += [simulate(example_plan(), pitch=pitch, threads=threads) for _ in more]
    flow = float(np.median([each.seconds["percolate"] for each in results]))
    march = float(np.median([each.seconds["march"] for each in results]))
    return {
        "pitch_mm": 1e3 * pitch,
        "cells": results[0].cloth.size,
        "threads": threads,
        "steps": USUAL.steps + USUAL.batch,
        "percolate": flow,
        "march": march,
        "both": flow + march,
        "march_per_step": march / (USUAL.steps + USUAL.batch),
        "us_per_cell": 1e6 * (flow + march) / results[0].cloth.size,
        "peak_mib": peak.mib,
    }


def _fit(rows: list[dict[str, Any]], stage: str) -> dict[str, Any]:
    """Fit the exponent, with its standard error where there are points enough."""
    x = np.log([row["cells"] for row in rows])
    y = np.log([row[stage] for row in rows])
    slope, base = np.polyfit(x, y, 1)
    off = y - slope * x - base
    free = len(rows) - 2
    spread = float(np.sqrt((off @ off) / free / ((x - x.mean()) ** 2).sum())) if free else np.nan
    return {
        "stage": stage,
        "exponent": float(slope),
        "standard_error": spread,
        "from_cells": rows[0]["cells"],
        "to_cells": rows[-1]["cells"],
    }
