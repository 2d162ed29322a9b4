"""Part 1: one transport problem, to one measured error, by meltwick and by general packages.

Each works with one thread, and is timed without what it compiles or prepares once.
"""

from __future__ import annotations

import time
import warnings
from typing import Any

import numba as nb
from pulse import EVEN, UNEVEN, Case, Water
from pulse_tools import OURS, TOOLS, Tool
from timing import Peak, apart, seconds_of

COLS = (60, 75, 90, 120, 150, 180, 240, 300, 360, 480, 600)
MORE = 1.5
"""Next number of steps over the last, while more steps lessen the error."""
WORTH = 0.95
"""Error over that with fewer steps, above which the pitch is at fault and not the step."""


def compared(goal: float, repeats: int, search: float) -> list[dict[str, Any]]:
    """Solve each problem by each tool, in a process of its own.

    Parameters
    ----------
    goal : float
        Relative error in the root of summed squares that each must keep.
    search : float
        Seconds after which a tool that has not reached the goal gives up.
    """
    rows = []
    for water in (EVEN, UNEVEN):
        found = [_row(tool, water, goal, repeats, search) for tool in TOOLS]
        base = next((row.get("seconds") for row in found if row["tool"] == OURS), None)
        for row in found:
            if base and "seconds" in row:
                row["times_meltwick"] = row["seconds"] / base
        rows += found
    return rows


def _row(tool: Tool, water: Water, goal: float, repeats: int, search: float) -> dict[str, Any]:
    told = apart(_solved, tool.name, water, goal, repeats, search, seconds=4 * search + 120)
    if isinstance(told, str):
        told = {"note": told}
    row = {"water": water.name, "tool": tool.name, "goal": goal, **told}
    print(row, flush=True)
    return row


def _solved(name: str, water: Water, goal: float, repeats: int, search: float) -> dict[str, Any]:
    warnings.simplefilter("ignore")  # theirs
    nb.set_num_threads(1)
    tool = next(each for each in TOOLS if each.name == name)
    best = cheapest(tool, water, goal, search)
    if isinstance(best, str):
        return {"note": best}
    begun = time.perf_counter()
    with Peak() as prepared:
        run = tool.make(best)
        found = run()
    first = time.perf_counter() - begun
    with Peak() as again:
        run()
    return {
        "cols": best.cols,
        "pitch_mm": 1e3 * best.pitch,
        "cells": best.cols * best.rows,
        "steps": best.steps,
        "error": best.error(found),
        "lowest": float(found.min() / found.max()),
        "seconds": seconds_of(run, repeats),
        "first_seconds": first,
        "first_peak_mib": prepared.mib,
        "peak_mib": again.mib,
    }


def cheapest(tool: Tool, water: Water, goal: float, seconds: float) -> Case | str:
    """Find the case that keeps the goal in the least time, among two pitches that can keep it.

    One is enough where steps are as many as stability wants: they grow with a finer pitch.
    """
    begun, kept, nearest = time.monotonic(), [], float("inf")
    for cols in COLS:
        steps, last = tool.fewest(Case(water, cols, 1)), float("inf")
        while len(kept) < (1 if tool.by_pitch else 2) and time.monotonic() - begun < seconds:
            case = Case(water, cols, steps)
            run = (tool.try_out or tool.make)(case)
            error = case.error(run())
            nearest = min(nearest, error)
            if error <= goal:
                kept.append((seconds_of(run, 1), case))
                break
            if tool.by_pitch or error > WORTH * last:
                break
            steps, last = round(MORE * steps), error
    if not kept:
        return f"not reached in {seconds:.0f} s; nearest {nearest:.3f}"
    return min(kept, key=lambda each: each[0])[1]
