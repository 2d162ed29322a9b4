"""Multigrid for the flow of water: one cycle is the preconditioner of the conjugate gradients.

The levels are made once, of the network alone. Which cells drip changes while the flow is being
found, and a cell that drips is held: its row leaves the interpolation, and the change of each
coarser matrix, which few held cells make sparse, is carried down. That is cheaper than new levels
and serves as well; with levels made for other held cells a stitched tee at 2 mm took up to 161
iterations for 10.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from pyamg.aggregation.aggregate import standard_aggregation
from pyamg.aggregation.smooth import jacobi_prolongation_smoother
from pyamg.aggregation.tentative import fit_candidates
from pyamg.strength import symmetric_strength_of_connection
from scipy.linalg import cho_factor, cho_solve

from meltwick.seep import relaxing
from meltwick.types import Flags, Floats, Ints

COARSEST = 300
"""Unknowns that are few enough to be solved for at once."""
MOST_LEVELS = 10
STRONG = 0.02
"""Neighbours count as joined from so much of the geometric mean of both diagonals. At 0 layers
that hardly touch are put together with those that do: four times the iterations on tied rings."""
SHIFT = 1e-6
"""Of the diagonal, added, so that a part without a held cell has an answer too."""
GONE = 1e-9
"""Share of its diagonal below which a coarser unknown has only held cells left."""
RIDGE = 1e-8
"""On the diagonal of the last matrix: where most cells are held its unknowns can hang together."""


@dataclass(frozen=True)
class _Level:
    """A matrix, and the interpolation to it from the next, coarser one."""

    matrix: sp.csr_array
    middle: Ints  # where each row's diagonal stands
    diagonal: Floats
    up: sp.csr_array  # interpolation, (n, m)
    down: sp.csr_array  # its transpose


class Multigrid:
    """Levels by smoothed aggregation (Vanek, Mandel and Brezina 1996, from memory).

    Parameters
    ----------
    matrix : scipy.sparse.csr_array
        Weighted graph Laplacian, shape (N, N), columns sorted.
    """

    def __init__(self, matrix: sp.csr_array) -> None:
        self._levels: list[_Level] = []
        shifted = sp.csr_matrix(matrix + sp.diags_array(SHIFT * matrix.diagonal()))
        constant = np.ones((matrix.shape[0], 1))
        while len(self._levels) < MOST_LEVELS - 1 and shifted.shape[0] > COARSEST:
            level, shifted, constant = _next_level(shifted, constant)
            self._levels.append(level)
        self._last = shifted.toarray()

    def hold(self, held: Flags) -> None:
        """Hold the unknowns that ``held`` (N,) names at 0, and free all others."""
        self._held = held
        self._now: list[tuple[sp.csr_array, Ints, Floats]] = []
        change: sp.csr_array | None = None
        for depth, level in enumerate(self._levels):
            if depth == 0:
                pace = relaxing.free_pace(level.diagonal, held)
                self._now.append((level.matrix, level.middle, pace))
                change = _truncated(level, np.flatnonzero(held))
            else:
                matrix = sp.csr_array(level.matrix + change)
                matrix.sort_indices()
                middle = relaxing.diagonals(matrix.indptr, matrix.indices)
                diagonal = matrix.diagonal()
                pace = relaxing.free_pace(diagonal, diagonal < GONE * level.diagonal)
                self._now.append((matrix, middle, pace))
                change = level.down @ change @ level.up
        self._factorise(change)

    def _factorise(self, change: sp.csr_array | None) -> None:
        """Make ready to solve on the last level for what is left of it."""
        last = self._last.copy()
        gone = self._held
        if change is not None:
            last += change.toarray()
            gone = last.diagonal() < GONE * self._last.diagonal()
        last[gone] = last[:, gone] = 0.0
        last[gone, gone] = 1.0
        self._scale = 1.0 / np.sqrt(last.diagonal())  # rows may span decades
        last *= self._scale[:, None] * self._scale
        last[np.diag_indices_from(last)] += RIDGE
        self._factor = cho_factor(last, lower=True)

    def __call__(self, right: Floats) -> Floats:
        """Return about A^-1 ``right`` on the free unknowns and 0 on the held ones: one V-cycle."""
        return self._cycle(0, right)

    def _cycle(self, depth: int, right: Floats) -> Floats:
        if depth == len(self._levels):
            found: Floats = self._scale * cho_solve(self._factor, self._scale * right)
            return found if depth else np.where(self._held, 0.0, found)
        matrix, middle, pace = self._now[depth]
        rows = matrix.indptr, middle, matrix.indices, matrix.data, pace
        up = self._levels[depth].up
        ways = up.indptr, up.indices, up.data
        x, below = np.empty_like(right), np.empty(up.shape[1])
        relaxing.relax_forward(*rows, right, x)
        relaxing.hand_down(*rows, x, *ways, below)
        relaxing.hand_up(*ways, pace, self._cycle(depth + 1, below), x)
        relaxing.relax_backward(*rows, right, x)
        return x


def _next_level(matrix: sp.csr_matrix, constant: Floats) -> tuple[_Level, sp.csr_matrix, Floats]:
    """Join the unknowns of a level in groups: the level, the next matrix and its constant."""
    matrix.symmetry = "symmetric"
    matrix.sort_indices()
    matrix.has_canonical_format = True
    strength = symmetric_strength_of_connection(matrix, theta=STRONG)
    groups = standard_aggregation(strength)[0]
    tentative, coarse = fit_candidates(groups, constant)
    # weights by row need no spectral radius, so no random start
    up = sp.csr_array(
        jacobi_prolongation_smoother(
            matrix, tentative, strength, coarse, weighting="local", filter_entries=True
        )
    )
    down = up.T.tocsr()
    level = _Level(
        matrix=sp.csr_array(matrix),
        middle=relaxing.diagonals(matrix.indptr, matrix.indices),
        diagonal=matrix.diagonal(),
        up=up,
        down=down,
    )
    return level, sp.csr_matrix(down @ level.matrix @ up), coarse


def _truncated(level: _Level, held: NDArray[np.intp]) -> sp.csr_array:
    """Change of the next matrix when the rows ``held`` leave the interpolation.

    With H those rows, (P - H)^T A (P - H) - P^T A P = H^T A H - H^T A P - P^T A H.
    """
    rows = level.up[held]
    pulled = rows.T @ (level.matrix[held] @ level.up)
    own = rows.T @ level.matrix[held][:, held] @ rows
    return sp.csr_array(own - pulled - pulled.T)
