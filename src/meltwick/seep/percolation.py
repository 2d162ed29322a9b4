"""Where the water goes: steady unsaturated flow with a seepage face.

The unknown is w = exp(alpha H). On exposed cells w <= exp(alpha z) (no pressure outside),
the outflow r = b - A w is not negative, and one of the two is tight: cloth drips only where
its suction is nil. An active-set method finds which cells drip, first on coarser networks.
"""

from __future__ import annotations

from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass

import numba as nb
import numpy as np
import scipy.sparse as sp

from meltwick.seep import relaxing
from meltwick.seep.coarsen import Coarser, Raster, coarser
from meltwick.seep.graph import Network
from meltwick.seep.multigrid import Multigrid
from meltwick.types import Cloth, Flags, Floats

ROUNDS = 60
INNER = 400
LOOSE = 0.1
TIGHT = 2e-3
SWEEPS = 4
SMALLEST = 3000
"""Networks below this size are not coarsened further."""


@dataclass(frozen=True)
class Flow:
    """One steady state."""

    w: Floats  # (N,)
    outflow: Floats  # (N,) r [m3/s]
    active: Flags  # (N,) cells that drip
    rounds: int
    iterations: int


class Percolation:
    """The flow problem of one bundle, solved for several melt rates.

    Parameters
    ----------
    net : Network
        Edges and bounds.
    cloth : Cloth or None
        Lets the solver start from coarser networks; None solves on the network alone.

    Raises
    ------
    ValueError
        When no cell is exposed, so that water has no way out.
    """

    def __init__(self, net: Network, cloth: Cloth | Raster | None = None) -> None:
        self.net = net
        self.matrix = laplacian(net)
        self.middle = relaxing.diagonals(self.matrix.indptr, self.matrix.indices)
        self.diagonal = self.matrix.data[self.middle]
        self.free = net.outside > 0.0
        if not self.free.any():
            raise ValueError("no part of the bundle is exposed: water cannot leave")
        self.lowest = int(np.argmin(np.where(self.free, net.bound, np.inf)))
        self._levels = _beside(self.matrix)
        self._below: tuple[Coarser, Percolation] | None = None
        if cloth is not None and net.bound.size > SMALLEST:
            step = coarser(net, cloth)
            self._below = (step, Percolation(step.net, step.cloth))

    def solve(self, melt: Floats, tolerance: float = TIGHT) -> Flow:
        """Solve for w with melt ``b`` [m3/s] on each cell, shape (N,).

        ``tolerance`` is the residual of the inner solves over the norm of b; they are loose
        until the set of dripping cells settles.
        """
        if not melt.any():  # nothing flows: one head everywhere, that of the lowest way out
            w = np.full(self.net.bound.size, self.net.bound[self.lowest])
            return Flow(w, np.zeros_like(w), self.free & (w >= self.net.bound), 0, 0)
        w = self._start(melt)
        cycle = self._levels.result()
        bound, total = self.net.bound, max(float(melt.sum()), 1e-300)
        now, iterations, turn = max(LOOSE, tolerance), 0, 0
        residual, active = melt, self.free
        while turn < ROUNDS:
            turn += 1
            self._project(melt, w)
            active = self.free & (w >= bound)
            if not active.any():  # water leaves somewhere, so the lowest way out drips
                active[self.lowest] = True
                w[self.lowest] = bound[self.lowest]
            cycle.hold(active)
            w, residual, used = self._inner(cycle, melt, w, active, now)
            iterations += used
            wrong = (active & (residual < 0.0)) | (self.free & ~active & (w > bound))
            moved = float(np.abs(residual[wrong & active]).sum()) + float(
                (self.diagonal * (w - bound))[wrong & ~active].sum()
            )
            if moved < min(1e-3, tolerance) * total:
                if now <= tolerance and used < INNER:
                    break
                now = tolerance
        outflow = np.where(active, np.maximum(residual, 0.0), 0.0)
        return Flow(np.maximum(w, 1e-300), outflow, active, turn, iterations)

    def _start(self, melt: Floats) -> Floats:
        """Guess w from the coarser network, loosely solved, or as half of what would drip."""
        if self._below is None:
            return 0.5 * self.net.bound
        step, below = self._below
        gathered = np.bincount(step.parent, melt, step.net.bound.size).astype(np.float64)
        return below.solve(gathered, LOOSE).w[step.parent]

    def _project(self, melt: Floats, w: Floats) -> None:
        """Projected Gauss-Seidel in place: it finds which cells drip, near where they drip."""
        m = self.matrix
        cap = np.where(self.free, self.net.bound, np.inf)
        relaxing.project(m.indptr, self.middle, m.indices, m.data, melt, cap, w, SWEEPS)

    def _inner(
        self, cycle: Multigrid, melt: Floats, w: Floats, active: Flags, tol: float
    ) -> tuple[Floats, Floats, int]:
        """Conjugate gradients on the cells that do not drip; returns w, b - A w, iterations."""
        m = self.matrix
        residual = melt - m @ w
        size = float(np.linalg.norm(np.where(active, 0.0, residual)))
        goal = tol * float(np.linalg.norm(melt))
        x, count = w.copy(), 0
        direction, pulled, rz = np.zeros_like(w), np.empty_like(w), 1.0
        while size > goal and count < INNER:
            z = cycle(residual)
            rz, before = float(residual @ z), rz  # z is 0 where water drips
            direction *= rz / before if count else 0.0
            direction += z
            relaxing.product(m.indptr, m.indices, m.data, direction, pulled)
            step = rz / float(direction @ pulled)
            size = relaxing.advance(step, direction, pulled, active, x, residual)
            count += 1
        return x, residual, count


def _beside(matrix: sp.csr_array) -> Future[Multigrid]:
    """Make the levels on another core, if we may, while coarser networks are made and solved."""
    made: Future[Multigrid] = Future()
    if nb.get_num_threads() == 1:
        made.set_result(Multigrid(matrix))
    else:
        beside = ThreadPoolExecutor(1)
        made = beside.submit(Multigrid, matrix)
        beside.shutdown(wait=False)
    return made


def laplacian(net: Network) -> sp.csr_array:
    """Weighted graph Laplacian of the edges, shape (N, N)."""
    a, b, g = net.pairs[:, 0], net.pairs[:, 1], net.conductance
    n = net.bound.size
    own = np.bincount(a, g, n) + np.bincount(b, g, n)
    each = np.arange(n, dtype=np.int32)
    rows = np.concatenate([a, b, each])
    cols = np.concatenate([b, a, each])
    data = np.concatenate([-g, -g, own])
    matrix = sp.coo_array((data, (rows, cols)), shape=(n, n)).tocsr()
    matrix.sort_indices()
    return matrix
