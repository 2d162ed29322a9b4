"""Water in the bundle: closed forms of soil physics, and a brute-force reference."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from meltwick.seep import percolation
from meltwick.seep.coarsen import Raster
from meltwick.seep.graph import Network, edge_conductance, mean_exponential
from meltwick.seep.percolation import Percolation, laplacian

ALPHA, KS = 20.0, 3e-4  # [1/m], [m/s]: any cloth
EXACT = 1e-12


def joined(
    pairs: np.ndarray,
    shape: np.ndarray,
    height: np.ndarray,
    outside: np.ndarray,
    ks: np.ndarray | float = KS,
    alpha: float = ALPHA,
) -> Network:
    """A network of cells at given heights; ``shape`` is area over length of each edge."""
    pairs = np.asarray(pairs, dtype=np.int32).reshape(-1, 2)
    ks = np.broadcast_to(np.asarray(ks, dtype=np.float64), height.shape)
    return Network(
        pairs=pairs,
        conductance=edge_conductance(pairs, shape, height, ks, alpha),
        shape=shape,
        inside=len(pairs),
        straight=len(pairs),
        in_plane=len(pairs),
        share=np.ones(len(pairs)),
        bound=np.exp(alpha * height),
        outside=outside.astype(np.float64),
    )


def column(
    height: np.ndarray, outside: np.ndarray | None = None, ks: np.ndarray | float = KS
) -> Network:
    """A chain of cells, one square metre wide, from the foot up; the foot is open."""
    n = height.size
    pairs = np.column_stack([np.arange(n - 1), np.arange(1, n)])
    if outside is None:
        outside = np.arange(n) == 0
    return joined(pairs, 1.0 / np.diff(height), height, outside, ks)


def steady(flux: float, z: np.ndarray) -> np.ndarray:
    """Gardner 1958: exp(alpha psi) over a water table, flux downwards, times exp(alpha z)."""
    return flux / KS * np.exp(ALPHA * z) + (1.0 - flux / KS)


# ---------------------------------------------------------------------------------- edges


@settings(max_examples=80, deadline=None)
@given(
    st.floats(0.0, 0.3),
    st.floats(-0.2, 0.2) | st.sampled_from([0.0, 1e-16, 4.9e-8, 5.1e-8, -5.1e-8, 1e-6]),
    st.floats(1.0, 50.0),
)
def test_mean_exponential_is_the_integral(za: float, rise: float, alpha: float) -> None:
    known = quad(lambda s: np.exp(alpha * (za + s * rise)), 0.0, 1.0, epsabs=0.0, epsrel=1e-13)[0]
    found = mean_exponential(np.array([za]), np.array([za + rise]), alpha)[0]
    assert found == pytest.approx(known, rel=1e-9)
    back = mean_exponential(np.array([za + rise]), np.array([za]), alpha)[0]
    assert found == pytest.approx(back, rel=1e-9)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.floats(1e-5, 1e-2), min_size=2, max_size=6),
    st.floats(0.0, 0.2),
    st.floats(1e-9, 1e-6),
)
def test_layers_in_series(ks: list[float], z: float, flow: float) -> None:
    # Darcy: level layers one after another conduct as the harmonic mean weighted by thickness
    n = len(ks)
    inner = np.repeat(ks, 3)  # three cells to a layer, so that faces lie halfway along an edge
    length = 0.01 * np.full(inner.size - 1, 1.0)
    pairs = np.column_stack([np.arange(3 * n - 1), np.arange(1, 3 * n)])
    height = np.full(3 * n, z)
    net = joined(pairs, 1.0 / length, height, np.arange(3 * n) == 0, inner)
    resist = 0.03 * np.sum(1.0 / np.array(ks)) - 0.005 * (1.0 / ks[0] + 1.0 / ks[-1])
    melt = np.zeros(3 * n)
    melt[-1] = flow
    found = Percolation(net).solve(melt, EXACT)
    # along a level path w = exp(alpha z) (1 + alpha Q sum(l / K))
    rise = found.w[-1] / np.exp(ALPHA * z) - 1.0
    assert rise == pytest.approx(ALPHA * flow * resist, rel=1e-6, abs=0.0)


def test_layers_in_parallel() -> None:
    # Darcy: side by side they share the flow as K times area
    ks, area = np.array([1e-4, 4e-4, 2e-3]), np.array([0.5, 0.3, 0.2])
    pairs, shape, cells = [], [], [0.0, 0.0]
    conductivity = [1.0, 1.0]
    for k, a in zip(ks, area, strict=True):
        n = len(cells)
        cells += [0.0]
        conductivity += [k]
        pairs += [(0, n), (n, 1)]
        shape += [2.0 * a, 2.0 * a]  # half a metre each
    # the end cells are chosen to resist nothing, so each path is k a over one metre, halved
    conductivity[0] = conductivity[1] = 1e12
    net = joined(
        np.array(pairs),
        np.array(shape),
        np.array(cells),
        np.arange(5) == 0,
        np.array(conductivity),
    )
    melt = np.array([0.0, 1e-6, 0.0, 0.0, 0.0])
    found = Percolation(net).solve(melt, EXACT)
    share = net.conductance[::2] * (found.w[2:] - found.w[0]) / 1e-6
    assert share == pytest.approx(ks * area / (ks @ area), rel=1e-6)
    # 2 (k a) conducts from end to end: half of each edge lies in an end that resists nothing
    rise = found.w[1] - found.w[0]
    assert rise == pytest.approx(1e-6 * ALPHA / (2.0 * (ks @ area)), rel=1e-6)


# ---------------------------------------------------------------------------------- columns


@pytest.mark.parametrize("part", [0.01, 0.1, 0.5, 0.9, 1.0])
@pytest.mark.parametrize("even", [True, False])
def test_steady_rain_over_a_water_table(part: float, even: bool) -> None:
    # the edge law is exact in one dimension, so the profile is met at any grid
    z = np.linspace(0.0, 0.25, 41) if even else 0.25 * np.linspace(0.0, 1.0, 41) ** 2
    melt = np.zeros(z.size)
    melt[-1] = part * KS
    found = Percolation(column(z)).solve(melt, EXACT)
    assert found.w == pytest.approx(steady(part * KS, z), rel=1e-8)
    assert found.outflow[0] == pytest.approx(part * KS, rel=1e-8, abs=0.0)


@pytest.mark.parametrize("part", [0.01, 0.1, 0.5, 0.9, 1.0])
def test_far_above_the_table_the_gradient_is_one(part: float) -> None:
    # the suction there is that at which K = q
    z = np.linspace(0.0, 0.25, 41)
    melt = np.zeros(z.size)
    melt[-1] = part * KS
    found = Percolation(column(z)).solve(melt, EXACT)
    top = found.w[-1] / np.exp(ALPHA * z[-1])
    assert top == pytest.approx(part, abs=1.01 * np.exp(-ALPHA * 0.25))


@pytest.mark.parametrize("part", [0.001, 0.004])
def test_evaporation_from_a_water_table(part: float) -> None:
    # q < 0: what the top loses, the foot must be given; it is wet as long as it is given more
    z = np.linspace(0.0, 0.25, 41)
    melt = np.zeros(z.size)
    melt[-1] = -part * KS
    melt[0] = 2.0 * part * KS
    found = Percolation(column(z)).solve(melt, EXACT)
    known = steady(-part * KS, z)
    assert np.all(known > 0.0)
    assert found.w == pytest.approx(known, rel=1e-6)
    assert found.outflow[0] == pytest.approx(part * KS, rel=1e-8, abs=0.0)


@pytest.mark.parametrize(("ratio", "face"), [(0.5, 0.0), (0.99, 0.0), (2.0, 0.5), (5.0, 0.8)])
def test_seepage_face_of_a_slab(ratio: float, face: float) -> None:
    # a slab one metre wide gets rain s all along its open side, s L = ratio Ks. Saturated cloth
    # carries Ks at most, so below z* = L - Ks/s the side drips what it gets; the foot drips Ks.
    length, n = 0.2, 201
    z = np.linspace(0.0, length, n)
    h = length / (n - 1)
    rain = np.full(n, ratio * KS / length * h)
    rain[[0, -1]] *= 0.5
    found = Percolation(column(z, np.ones(n, dtype=bool))).solve(rain, EXACT)
    side = found.outflow[1:]
    assert found.outflow.sum() == pytest.approx(ratio * KS, rel=1e-9)
    assert z[1:][side > 0.0].max(initial=0.0) == pytest.approx(face * length, abs=1.01 * h)
    # the foot's own half cell drips too when the side does
    assert found.outflow[0] == pytest.approx(min(ratio, 1.0) * KS, rel=0.52 * ratio * h / length)
    assert side.sum() == pytest.approx(
        max(ratio - 1.0, 0.0) * KS, abs=1.01 * ratio * KS * h / length
    )
    wet = found.w / np.exp(ALPHA * z)
    assert np.all(wet <= 1.0 + 1e-12)
    assert wet[z < face * length - h] == pytest.approx(1.0, rel=1e-12)


def profile_error(n: int) -> float:
    """Rain along a closed column: w = 1 + (alpha s / Ks) int_0^z (L - z') exp(alpha z') dz'."""
    length, s = 0.2, 0.5 * KS / 0.2
    z = np.linspace(0.0, length, n + 1)
    rain = np.full(n + 1, s * length / n)
    rain[[0, -1]] *= 0.5
    found = Percolation(column(z)).solve(rain, EXACT)
    grown = (length - z) * np.exp(ALPHA * z) / ALPHA + np.exp(ALPHA * z) / ALPHA**2
    known = 1.0 + ALPHA * s / KS * (grown - grown[0])
    return float(np.abs(found.w / known - 1.0).max())


def test_order_of_convergence_with_rain_along_a_column() -> None:
    # flow is constant along an edge though rain falls along it: second order
    errors = [profile_error(n) for n in (10, 20, 40, 80)]
    orders = np.log2(np.array(errors[:-1]) / errors[1:])
    assert orders == pytest.approx(2.0, abs=0.2)
    assert errors[-1] < 1e-3


def sheet(n: int) -> tuple[Network, np.ndarray, np.ndarray]:
    """A square sheet hung upright, 0.1 m wide, (n + 1)^2 cells; its foot is open."""
    side = 0.1
    h = side / n
    j, i = np.divmod(np.arange((n + 1) ** 2), n + 1)
    number = np.arange((n + 1) ** 2).reshape(n + 1, n + 1)  # [row up, column]
    across = np.column_stack([number[:, :-1].ravel(), number[:, 1:].ravel()])
    up = np.column_stack([number[:-1].ravel(), number[1:].ravel()])
    row_half = np.where((j == 0) | (j == n), 0.5, 1.0)
    col_half = np.where((i == 0) | (i == n), 0.5, 1.0)
    shape = np.concatenate([row_half[across[:, 0]], col_half[up[:, 0]]])
    net = joined(np.concatenate([across, up]), shape, j * h, j == 0)
    return net, i * h, j * h


def sheet_error(n: int) -> float:
    """Against w = q/Ks exp(alpha z) + 1 - q/Ks + e cos(k x) exp(alpha z/2) sinh(beta z)."""
    net, x, z = sheet(n)
    side, h = 0.1, 0.1 / n
    k, q, e = np.pi / side, 0.5 * KS, 0.02
    beta = np.sqrt(0.25 * ALPHA**2 + k**2)
    half = np.exp(0.5 * ALPHA * z)
    known = steady(q, z) + e * np.cos(k * x) * half * np.sinh(beta * z)
    # Darcy at the top: Ks exp(-alpha z) / alpha dw/dz, over the width of each cell
    bend = 0.5 * ALPHA * np.sinh(beta * side) + beta * np.cosh(beta * side)
    flux = q + KS / ALPHA * e * np.cos(k * x) * np.exp(-0.5 * ALPHA * side) * bend
    width = np.where((x < 0.5 * h) | (x > side - 0.5 * h), 0.5 * h, h)
    # a cosine falls short by (sin(kh/2)/(kh/2)) over a cell: second order too
    melt = np.where(z > side - 0.5 * h, flux * width, 0.0)
    found = Percolation(net).solve(melt, EXACT)
    assert np.all(found.active == (z == 0.0))
    return float(np.abs(found.w - known).max())


def test_order_of_convergence_on_a_sheet() -> None:
    # Philip 1968: w obeys div(exp(-alpha z) grad w) = 0; five-point edges are second order
    errors = [sheet_error(n) for n in (8, 16, 32)]
    orders = np.log2(np.array(errors[:-1]) / errors[1:])
    assert orders == pytest.approx(2.0, abs=0.2)


# ---------------------------------------------------------------------------------- reference


def by_enumeration(net: Network, melt: np.ndarray) -> np.ndarray:
    """Try every set of dripping cells; the right one has r >= 0 there and w <= bound elsewhere."""
    matrix = laplacian(net).toarray()
    free = np.flatnonzero(net.outside > 0.0)
    best, least = None, np.inf
    for choice in product([False, True], repeat=free.size):
        active = np.zeros(melt.size, dtype=bool)
        active[free[np.array(choice)]] = True
        if not active.any():
            continue
        w = np.where(active, net.bound, 0.0)
        rest = ~active
        if rest.any():
            right = melt[rest] - matrix[np.ix_(rest, active)] @ net.bound[active]
            w[rest] = np.linalg.solve(matrix[np.ix_(rest, rest)], right)
        leave = melt - matrix @ w
        scale = melt.sum()
        short = max(0.0, float((-leave[active]).max())) / scale
        over = float(np.maximum(w / net.bound - 1.0, 0.0)[free].max())
        if max(short, over) < least:
            best, least = w, max(short, over)
    assert best is not None
    assert least < 1e-6
    return best


@st.composite
def small_graphs(draw: st.DrawFn) -> tuple[Network, np.ndarray]:
    n = draw(st.integers(2, 7))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    tree = [(int(rng.integers(0, i)), i) for i in range(1, n)]
    more = [(a, b) for a in range(n) for b in range(a + 1, n) if rng.random() < 0.3]
    pairs = np.array(sorted(set(tree + more)))
    outside = rng.random(n) < draw(st.sampled_from([0.3, 0.7, 1.0]))
    assume(outside.any())
    shape = 10.0 ** rng.uniform(-1.0, 1.0, len(pairs))
    height = rng.uniform(0.0, 0.15, n)
    net = joined(pairs, shape, height, outside)
    melt = np.where(rng.random(n) < 0.6, 10.0 ** rng.uniform(-2.0, 1.0, n), 0.0) * KS
    assume(melt.sum() > 0.0)
    return net, melt


@settings(max_examples=120, deadline=None)
@given(small_graphs())
def test_the_solver_finds_the_set_that_drips(case: tuple[Network, np.ndarray]) -> None:
    net, melt = case
    found = Percolation(net).solve(melt, EXACT)
    assert found.w == pytest.approx(by_enumeration(net, melt), rel=1e-6)
    check_conditions(net, melt, found, 1e-8)


def check_conditions(
    net: Network, melt: np.ndarray, found: percolation.Flow, tolerance: float
) -> None:
    """Water is kept, nothing is sucked in, and outflow waits for suction to be nil."""
    total = melt.sum()
    free = net.outside > 0.0
    assert found.outflow.sum() == pytest.approx(total, rel=tolerance, abs=0.0)
    assert np.all(found.outflow >= 0.0)
    assert np.all(found.outflow[~free] == 0.0)
    assert np.all(found.outflow[~found.active] == 0.0)
    assert np.all(found.w[free] <= net.bound[free] * (1.0 + tolerance))
    assert found.w[found.active] == pytest.approx(net.bound[found.active], rel=1e-12)
    leave = melt - laplacian(net) @ found.w
    assert leave[found.active].min() >= -tolerance * total


@pytest.fixture(scope="module")
def slope() -> tuple[Network, Raster, np.ndarray]:
    """A sheet on a slope, uneven and half open, under uneven rain."""
    net, x, z = sheet(50)
    rng = np.random.default_rng(5)
    n = x.size
    rows = np.rint(z / 0.002).astype(np.int32)
    cols = np.rint(x / 0.002).astype(np.int32)
    outside = (rng.random(n) < 0.5) | (rows == 0)
    shape = net.shape * 10.0 ** rng.uniform(-0.5, 0.5, len(net.pairs))
    hung = joined(net.pairs, shape, 0.5 * z, outside)
    melt = np.where(rows > 25, rng.exponential(1.0, n), 0.0) * KS * 0.002
    return hung, Raster(np.zeros(n, np.int32), rows, cols), melt


def test_a_coarse_guess_changes_nothing(
    slope: tuple[Network, Raster, np.ndarray], monkeypatch: pytest.MonkeyPatch
) -> None:
    net, raster, melt = slope
    monkeypatch.setattr(percolation, "SMALLEST", 100)
    guessed = Percolation(net, raster).solve(melt, 1e-10)
    alone = Percolation(net).solve(melt, 1e-10)
    assert guessed.w == pytest.approx(alone.w, rel=1e-6)
    for flow in (guessed, alone):
        check_conditions(net, melt, flow, 1e-6)


def test_the_usual_tolerance_is_near_the_exact_answer(
    slope: tuple[Network, Raster, np.ndarray],
) -> None:
    net, raster, melt = slope
    usual = Percolation(net, raster).solve(melt)
    exact = Percolation(net).solve(melt, 1e-10)
    assert usual.outflow.sum() == pytest.approx(melt.sum(), rel=1e-2)
    moved = np.abs(usual.outflow - exact.outflow).sum() / melt.sum()
    assert moved < 0.02


@settings(max_examples=30, deadline=None)
@given(small_graphs(), st.floats(1e-6, 1e6))
def test_other_units_of_flow(case: tuple[Network, np.ndarray], factor: float) -> None:
    # cubic metres or litres a second: w has no unit and does not change
    net, melt = case
    scaled = Network(
        net.pairs,
        net.conductance * factor,
        net.shape,
        net.inside,
        net.straight,
        net.in_plane,
        net.share,
        net.bound,
        net.outside,
    )
    one = Percolation(net).solve(melt, EXACT)
    two = Percolation(scaled).solve(melt * factor, EXACT)
    assert two.w == pytest.approx(one.w, rel=1e-6)


def test_more_rain_is_wetter_everywhere(slope: tuple[Network, Raster, np.ndarray]) -> None:
    # comparison principle of an M-matrix with obstacles
    net, _, melt = slope
    problem = Percolation(net)
    less, more = problem.solve(0.5 * melt, 1e-10), problem.solve(melt, 1e-10)
    assert np.all(more.w >= less.w * (1.0 - 1e-6))


def test_water_needs_a_way_out() -> None:
    net = column(np.linspace(0.0, 0.1, 5), np.zeros(5, dtype=bool))
    with pytest.raises(ValueError, match="exposed"):
        Percolation(net)


def test_the_matrix_is_a_graph_laplacian(slope: tuple[Network, Raster, np.ndarray]) -> None:
    net = slope[0]
    matrix = laplacian(net)
    assert abs(matrix - matrix.T).max() <= 1e-15 * net.conductance.max()
    assert np.abs(matrix @ np.ones(net.bound.size)).max() <= 1e-12 * net.conductance.max()
    assert np.all(matrix.diagonal() > 0.0)
