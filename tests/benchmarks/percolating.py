"""Part 2: one percolation system of a real bundle, by a direct solver, plain CG and ours.

Unknown is w. Where the set of dripping cells is given, w is held there and the rest is linear and
symmetric: A w = b. All start from half of what would drip, and all iterations stop at the same
residual over the norm of b. Differences in w are to the direct solver's.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import scipy.sparse as sp
from scipy.sparse import linalg
from stage import arguments_of
from timing import Peak, apart, seconds_of

from meltwick.seep.graph import Network
from meltwick.seep.percolation import Percolation, laplacian

TOLERANCE = 1e-6
CLOSE = 1e-9  # of the solve that finds the dripping set which all are given
MOST = 20_000  # iterations
WHOLE = "meltwick, dripping cells found too"
DIRECT = "sparse direct"

Solve = Callable[[], tuple[np.ndarray, int]]
"""Returns w of the cells that do not drip, and the iterations."""


class System:
    """The linear system of the cells that do not drip."""

    def __init__(self, pitch: float) -> None:
        got = arguments_of("seep", pitch)
        self.net, self.cloth = got["net"], got["cloth"]
        self.melt = got["melt"] * got["effort"].levels[0]
        self.active = Percolation(self.net, self.cloth).solve(self.melt, CLOSE).active
        self.free = np.flatnonzero(~self.active)
        rows = sp.csr_matrix(laplacian(self.net))[self.free]
        held = np.flatnonzero(self.active)
        self.matrix = rows[:, self.free].tocsr()
        self.given = self.melt[self.free] - rows[:, held] @ self.net.bound[held]
        self.start = 0.5 * self.net.bound[self.free]
        self.goal = TOLERANCE * float(np.linalg.norm(self.melt))

    def residual(self, w: np.ndarray) -> float:
        """Residual over the norm of b."""
        off = np.linalg.norm(self.given - self.matrix @ w)
        return float(off / np.linalg.norm(self.melt))


def _direct(system: System) -> Solve:
    return lambda: (linalg.spsolve(system.matrix.tocsc(), system.given), 1)


def _symmetric(system: System) -> Solve:
    """Order for a symmetric pattern, pivots on the diagonal: what suits this matrix best."""

    def solve() -> tuple[np.ndarray, int]:
        factors = linalg.splu(
            system.matrix.tocsc(),
            permc_spec="MMD_AT_PLUS_A",
            diag_pivot_thresh=0.0,
            options={"SymmetricMode": True},
        )
        return factors.solve(system.given), 1

    return solve


def _gradients(system: System, prepare: Callable[[sp.csr_matrix], Any]) -> Solve:
    def solve() -> tuple[np.ndarray, int]:
        count = 0

        def tell(_: np.ndarray) -> None:
            nonlocal count
            count += 1

        w, _ = linalg.cg(
            system.matrix,
            system.given,
            x0=system.start,
            rtol=0.0,
            atol=system.goal,
            maxiter=MOST,
            M=prepare(system.matrix),
            callback=tell,
        )
        return w, count

    return solve


def _plain(system: System) -> Solve:
    return _gradients(system, lambda _: None)


def _jacobi(system: System) -> Solve:
    return _gradients(system, lambda matrix: sp.diags_array(1.0 / matrix.diagonal()))


def _given(system: System) -> Solve:
    """Let water out at the given cells alone, so that the set is found as soon as it is looked for.

    The coarser networks that give the first guess are those of every other run.
    """
    outside = np.where(system.active, system.net.outside, 0.0)
    return _ours(system, replace(system.net, outside=outside))


def _whole(system: System) -> Solve:
    return _ours(system, system.net)


def _ours(system: System, net: Network) -> Solve:
    def solve() -> tuple[np.ndarray, int]:
        flow = Percolation(net, system.cloth).solve(system.melt, TOLERANCE)
        return flow.w[system.free], flow.iterations

    return solve


SOLVERS: dict[str, Callable[[System], Solve]] = {
    DIRECT: _symmetric,
    "sparse direct, as spsolve orders it": _direct,
    "conjugate gradients": _plain,
    "conjugate gradients, diagonal": _jacobi,
    "meltwick": _given,
    WHOLE: _whole,
}


def compared(pitches: tuple[float, ...], repeats: int, seconds: float) -> list[dict[str, Any]]:
    """Solve by each, in a process of its own that has ``seconds`` for each of its calls."""
    rows = []
    for pitch in pitches:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "w.npy"
            found = [_row(name, pitch, repeats, seconds, path) for name in SOLVERS]
        base = next((row.get("seconds") for row in found if row["solver"] == WHOLE), None)
        for row in found:
            if base and "seconds" in row:
                row["times_meltwick"] = row["seconds"] / base
        rows += found
    return rows


def _row(name: str, pitch: float, repeats: int, seconds: float, path: Path) -> dict[str, Any]:
    told = apart(_solved, name, pitch, repeats, path, seconds=seconds * (repeats + 1))
    if isinstance(told, str):
        told = {"note": told}
    row = {"pitch_mm": 1e3 * pitch, "solver": name, **told}
    print(row, flush=True)
    return row


def _solved(name: str, pitch: float, repeats: int, path: Path) -> dict[str, Any]:
    system = System(pitch)
    solve = SOLVERS[name](system)
    with Peak() as peak:
        begun = time.perf_counter()
        w, iterations = solve()
        first = time.perf_counter() - begun
    if name == DIRECT:
        np.save(path, w)
    row = {
        "cells": system.active.size,
        "dripping": int(system.active.sum()),
        "tolerance": TOLERANCE,
        "iterations": iterations,
        "residual": system.residual(w),
        # far slower than a minute's worth is timed once
        "seconds": seconds_of(solve, repeats) if first < 60.0 else first,
        "peak_mib": peak.mib,
    }
    if path.exists():
        known = np.load(path)
        row["w_off_most"] = float(np.abs(w / known - 1.0).max())
        row["w_off_rms"] = float(np.sqrt(np.mean((w / known - 1.0) ** 2)))
    return row
