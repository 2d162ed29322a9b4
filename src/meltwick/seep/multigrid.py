"""The multigrid hierarchy of a flow problem."""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from pyamg.aggregation.aggregate import standard_aggregation
from pyamg.aggregation.smooth import jacobi_prolongation_smoother
from pyamg.aggregation.tentative import fit_candidates
from pyamg.multilevel import MultilevelSolver
from pyamg.relaxation.smoothing import change_smoothers
from pyamg.relaxation.utils import relaxation_as_linear_operator
from pyamg.strength import symmetric_strength_of_connection

COARSEST = 300
"""Unknowns that are few enough to be solved for at once."""
_MOST_LEVELS = 10


def multigrid(matrix: sp.csr_matrix) -> MultilevelSolver:
    """Build the levels by smoothed aggregation (Vanek, Mandel and Brezina 1996, from memory).

    It is what ``pyamg.smoothed_aggregation_solver`` builds, level by level and number for number.
    That one asks every matrix for its absolute values, and scipy then looks for entries that come
    twice in a loop in Python, a fifth of the time of a whole solution; a product has none.

    Parameters
    ----------
    matrix : scipy.sparse.csr_matrix
        Symmetric and positive definite, shape (N, N).
    """
    matrix.symmetry = "symmetric"
    whole = MultilevelSolver.Level()
    whole.A, whole.B = matrix, np.ones((matrix.shape[0], 1))
    levels = [whole]
    while len(levels) < _MOST_LEVELS and levels[-1].A.shape[0] > COARSEST:
        levels.append(_next_level(levels[-1], first=len(levels) == 1))
    solver = MultilevelSolver(levels)
    change_smoothers(
        solver,
        ("gauss_seidel", {"sweep": "forward"}),
        ("gauss_seidel", {"sweep": "backward"}),
    )
    return solver


def _next_level(level: MultilevelSolver.Level, first: bool) -> MultilevelSolver.Level:
    """Join the unknowns of a level in groups; sets its ways down and up."""
    matrix = level.A
    strength = symmetric_strength_of_connection(matrix)
    groups = standard_aggregation(strength)[0]
    if first:  # the constant is not quite what the held cells leave slow
        smoother = ("block_gauss_seidel", {"sweep": "symmetric", "iterations": 4})
        none = np.zeros((matrix.shape[0], 1))
        level.B = relaxation_as_linear_operator(smoother, matrix, none) @ level.B
    tentative, coarse = fit_candidates(groups, level.B)
    matrix.sort_indices()
    matrix.has_canonical_format = True
    # weights by row need no spectral radius, so no random start
    level.P = jacobi_prolongation_smoother(matrix, tentative, strength, coarse, weighting="local")
    level.R = level.P.T
    following = MultilevelSolver.Level()
    following.A, following.B = level.R @ matrix @ level.P, coarse
    following.A.symmetry = "symmetric"
    return following
