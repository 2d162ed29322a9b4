"""The flow solver's levels: against dense algebra, and how fast they are with cells held."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.sparse as sp

from meltwick.seep import multigrid
from meltwick.seep.multigrid import Multigrid


def sheet(side: int, seed: int, decades: float = 1.0) -> sp.csr_array:
    """Laplacian of a square sheet whose links span some decades."""
    rng = np.random.default_rng(seed)
    number = np.arange(side * side).reshape(side, side)
    a = np.concatenate([number[:, :-1].ravel(), number[:-1].ravel()])
    b = np.concatenate([number[:, 1:].ravel(), number[1:].ravel()])
    link = 10.0 ** rng.uniform(-decades / 2, decades / 2, a.size)
    off = sp.coo_array((link, (a, b)), shape=(side * side, side * side)).tocsr()
    both = off + off.T
    matrix = sp.csr_array(sp.diags_array(both.sum(axis=1)) - both)
    matrix.sort_indices()
    return matrix


def dense(cycle: Multigrid, n: int) -> np.ndarray:
    return np.column_stack([cycle(unit) for unit in np.eye(n)])


@pytest.mark.parametrize("held", [[0], [3, 170, 399], list(range(0, 400, 2))])
def test_a_cycle_is_symmetric_positive_and_near_the_inverse(held, monkeypatch):
    """Conjugate gradients need the first two; Saad 2003, section 9.2 (from memory)."""
    monkeypatch.setattr(multigrid, "COARSEST", 30)
    matrix, n = sheet(20, 1), 400
    flags = np.zeros(n, dtype=bool)
    flags[held] = True
    cycle = Multigrid(matrix)
    cycle.hold(flags)
    found = dense(cycle, n)
    assert found == pytest.approx(found.T, rel=1e-7, abs=1e-9 * np.abs(found).max())
    assert not found[flags].any()
    free = np.ix_(~flags, ~flags)
    # of M A all eigenvalues are near 1: their spread is what the iterations depend on
    spread = np.linalg.eigvals(found[free] @ matrix.toarray()[free]).real
    assert spread.min() > 0.2
    assert spread.max() < 1.2


def test_the_next_matrix_follows_when_cells_are_held(monkeypatch):
    """(P - H)^T A (P - H), worked out in full, on every level."""
    monkeypatch.setattr(multigrid, "COARSEST", 10)
    matrix = sheet(40, 2)
    flags = np.zeros(1600, dtype=bool)
    flags[[7, 8, 9, 805, 1590]] = True
    cycle = Multigrid(matrix)
    cycle.hold(flags)
    assert len(cycle._levels) > 2
    whole = cycle._levels[0].matrix.toarray()
    for depth, level in enumerate(cycle._levels[:-1]):
        up = level.up.toarray()
        if depth == 0:
            up[flags] = 0.0
        whole = up.T @ whole @ up
        now = cycle._now[depth + 1][0].toarray()
        assert now == pytest.approx(whole, rel=1e-9, abs=1e-12 * np.abs(whole).max())


def test_a_part_may_be_held_all_over(monkeypatch):
    """Nothing is left then of its coarser unknowns, not even a diagonal."""
    monkeypatch.setattr(multigrid, "COARSEST", 10)
    matrix = sheet(40, 8)
    flags = np.zeros(1600, dtype=bool)
    flags[:900] = True
    cycle = Multigrid(matrix)
    cycle.hold(flags)
    right = np.random.default_rng(9).normal(size=1600)
    x, rest = np.zeros(1600), np.where(flags, 0.0, right)
    for _ in range(60):  # Richardson's iteration, with the cycle for the inverse
        x += cycle(rest)
        rest = np.where(flags, 0.0, right - matrix @ x)
    assert np.linalg.norm(rest) < 1e-8 * np.linalg.norm(right)


def test_cells_can_be_freed_again():
    matrix = sheet(25, 3)
    right = np.random.default_rng(4).normal(size=625)
    one, other = np.zeros(625, dtype=bool), np.zeros(625, dtype=bool)
    one[[5, 6]] = True
    other[300] = True
    cycle, fresh = Multigrid(matrix), Multigrid(matrix)
    cycle.hold(one)
    cycle.hold(other)
    fresh.hold(other)
    assert np.array_equal(cycle(right), fresh(right))


def test_one_level_is_solved_for_at_once():
    matrix = sheet(10, 5)
    flags = np.zeros(100, dtype=bool)
    flags[[0, 55]] = True
    cycle = Multigrid(matrix)
    cycle.hold(flags)
    right = np.random.default_rng(6).normal(size=100)
    whole = matrix.toarray() * 1.0
    whole[np.diag_indices(100)] *= 1.0 + multigrid.SHIFT
    free = ~flags
    known = np.linalg.solve(whole[np.ix_(free, free)], right[free])
    found = cycle(right)
    # the ridge moves it by as much of itself as the condition number allows
    far = multigrid.RIDGE * np.linalg.cond(whole[np.ix_(free, free)])
    assert np.linalg.norm(found[free] - known) < far * np.linalg.norm(known) < 1e-3
    assert not found[flags].any()
