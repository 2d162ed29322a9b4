"""The march's own rules: order of convergence, chunks, scaling, conservation, threads."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable

import numba
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq
from tests.chains import Column, line_links, marching, pair_links, stream_of

from meltwick.constants import Constants
from meltwick.seep import kernels

QUIET = settings(
    deadline=None, max_examples=60, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)


def order_of(errors: list[float]) -> list[float]:
    """Measured order, from errors at halved steps."""
    return [float(np.log2(a / b)) for a, b in itertools.pairwise(errors)]


# ------------------------------------------------------------------ order of convergence


def test_sweep_is_first_order_in_pitch_and_step():
    # upwind and backward Euler are first order each (LeVeque 2002, Finite Volume Methods for
    # Hyperbolic Problems, from memory); a smooth hump carried by plain water
    v, seconds = 0.1, 4.0
    errors = []
    for n in (1, 2, 4, 8):
        dx, step = 0.01 / n, 0.04 / n
        column = Column(dx=dx, step=step, length=2.0, v=v, d=0.0, corrected=False)
        column.march.powder[:] = 0.0
        column.march.mass[1:, 0] = np.exp(-(((column.x - 0.7) / 0.15) ** 2)) * dx
        column.march.settle(column.now.volume)
        exact = np.exp(-(((column.x - 0.7 - v * seconds) / 0.15) ** 2))
        errors.append(float(np.abs(column.run(seconds) - exact).sum() * dx))
    found = order_of(errors)
    assert found[-1] == pytest.approx(1.0, abs=0.1)
    assert all(0.8 < order < 1.2 for order in found)


def test_sweep_is_first_order_in_the_step_alone():
    # Richardson: differences of halved steps fall by two
    runs = [
        Column(dx=0.01, step=0.2 / n, length=2.0, v=0.1, d=0.01, corrected=False).run(4.0)
        for n in (1, 2, 4, 8)
    ]
    gaps = [float(np.abs(a - b).sum()) for a, b in itertools.pairwise(runs)]
    assert order_of(gaps)[-1] == pytest.approx(1.0, abs=0.15)


def cosine(cells: int, steps: int, seconds: float = 0.05) -> float:
    """What is left of a cosine on a sealed line of length 1 (D 1), by the march."""
    dx = 1.0 / cells
    x = (np.arange(cells) + 0.5) * dx
    march = marching(1, cells)
    march.mass[:, 0] = dx * (1.0 + np.cos(np.pi * x))
    along = np.full(cells, 1.0 / dx)
    along[-1] = 0.0
    for _ in range(steps):
        march.spread(np.full(cells, dx), line_links(along), seconds / steps)
    wave = march.mass[:, 0] / dx - 1.0
    return float((wave * np.cos(np.pi * x)).sum() / (np.cos(np.pi * x) ** 2).sum())


def test_spreading_is_second_order_in_pitch():
    # backward Euler's own decay of the mode is known, (1 + D k^2 dt)^-n: only the pitch is left
    steps, seconds = 20, 0.05
    exact = (1.0 + np.pi**2 * seconds / steps) ** -steps
    errors = [abs(cosine(cells, steps) - exact) for cells in (8, 16, 32)]
    assert order_of(errors) == pytest.approx([2.0, 2.0], abs=0.1)


def test_spreading_is_first_order_in_the_step():
    # the mode decays as exp(-D k^2 t) (Crank 1975 ch. 2); k^2 as the line of 64 cells has it
    cells = 64
    k2 = (2.0 * cells * np.sin(np.pi / (2.0 * cells))) ** 2
    errors = [abs(cosine(cells, steps) - np.exp(-k2 * 0.05)) for steps in (5, 10, 20)]
    assert order_of(errors) == pytest.approx([1.0, 1.0], abs=0.1)


# ------------------------------------------------------------------ in chunks, or in one go


def one_cell(**more):
    march = marching(1, 1, **more)
    march.mass[:] = np.linspace(1.0, 0.3, march.kd.size)
    return march


@pytest.mark.parametrize("chunks", [2, 7])
def test_fixing_in_chunks_is_fixing_in_one_go(chunks):
    # a first-order loss is solved exactly, so that cutting its time changes nothing
    volume = np.array([2.0])
    rates = np.array([2e-4, 5e-5]), np.array([1e-4, 3e-5])
    whole = one_cell(species=2, fibre=0.5, kd=3.0)
    whole.react(volume, *rates, 9000.0)
    cut = one_cell(species=2, fibre=0.5, kd=3.0)
    for _ in range(chunks):
        cut.react(volume, *rates, 9000.0 / chunks)
    for name in ("mass", "fixed", "spent"):
        assert getattr(cut, name) == pytest.approx(getattr(whole, name), rel=1e-9)


@pytest.mark.parametrize("chunks", [2, 7])
def test_exchange_in_chunks_is_exchange_in_one_go(chunks):
    # pairs that share no cell relax exponentially, exactly
    pairs = np.array([[0, 1], [2, 3]])
    links = pair_links(4, pairs, np.array([0.3, 2.0]))
    volume = np.array([1.0, 4.0, 0.5, 2.0])
    found = []
    for count in (1, chunks):
        march = marching(1, 4)
        march.mass[:, 0] = [3.0, 0.0, 0.2, 5.0]
        for _ in range(count):
            march.spread(volume, links, 1.5 / count)
        found.append(march.mass.copy())
    assert found[1] == pytest.approx(found[0], rel=1e-12)
    rate = 0.3 * (1.0 / 1.0 + 1.0 / 4.0)  # two mixed vessels: relaxation of a linear system
    assert found[0][0, 0] == pytest.approx(0.6 + 2.4 * np.exp(-rate * 1.5), rel=1e-12)


def test_carrying_in_chunks_nears_one_limit():
    # one well-mixed cell that is rinsed: backward Euler 1/(1 + q t / n V)^n tends to exp(-q t/V)
    volume, none = np.array([2.0]), np.zeros((0, 2), np.int64)
    now = stream_of(volume, none, np.zeros(0), np.array([0.5]))
    errors = []
    for n in (8, 16, 32, 64):
        march = one_cell()
        for _ in range(n):
            march.carry(now, 4.0 / n)
        assert march.mass[0, 0] == pytest.approx((1.0 + 1.0 / n) ** -n, rel=1e-12)
        errors.append(abs(march.mass[0, 0] - np.exp(-1.0)))
    assert order_of(errors)[-1] == pytest.approx(1.0, abs=0.05)


# ------------------------------------------------------------------ a general bundle, by chance


def tangle(seed: int, cells: int, threads: int = 1, unit: tuple[float, float, float] = (1, 1, 1)):
    """A random network with every process; ``unit`` scales its volumes, times and masses.

    Dye mass over fibre mass has no dimension, so fibre scales with dye.
    """
    size, time, weight = unit
    rng = np.random.default_rng(seed)
    some = [(a, b) for b in range(1, cells) for a in range(b) if rng.random() < 0.5]
    edges = np.array(some, dtype=np.int64).reshape(-1, 2)
    speed = size / time
    amount = rng.random(len(edges)) * 10.0 ** rng.integers(-4, 2) * speed
    leave = rng.random(cells) * (rng.random(cells) < 0.4) * speed
    volume = 10.0 ** rng.uniform(-3, 1, cells) * size
    fibre = rng.random(cells) * (rng.random(cells) < 0.8) * weight
    powder = rng.random((cells, 3)) * (rng.random((cells, 3)) < 0.3) * weight
    march = marching(
        1,
        cells,
        species=3,
        fibre=fibre,
        kd=np.array([0.0, 0.5, 4.0]) * size / weight,
        sites=0.3,
        solubility=np.array([0.2, 1.0, 5.0]) * weight / size,
        powder=powder,
        constants=Constants(sorption_cap=0.4),
        threads=threads,
    )
    march.mass[:] = rng.random((cells, 3)) * (rng.random((cells, 3)) < 0.5) * weight
    now = stream_of(volume, edges, amount, leave)
    march.settle(volume)
    links = line_links(rng.random(cells) * speed)
    links.along[0][-1] = 0.0
    pairs = edges[rng.random(len(edges)) < 0.5] if len(edges) else edges
    contacts = pair_links(cells, pairs, rng.random(len(pairs)) * speed)
    rates = rng.random(3) / time, rng.random(3) / time
    return march, now, links, contacts, rates


def march_on(state, step: float, rounds: int, check: Callable[[], None] = lambda: None) -> None:
    march, now, links, contacts, rates = state
    acts = (
        lambda: march.carry(now, step),
        lambda: march.react(now.volume, *rates, step),
        lambda: march.spread(now.volume, links, step),
        lambda: march.spread(now.volume, contacts, step),
        lambda: march.settle(now.volume),
    )
    for _ in range(rounds):
        for act in acts:
            act()
            check()


@QUIET
@given(
    seed=st.integers(0, 10**6),
    cells=st.integers(1, 7),
    step=st.sampled_from([0.0, 1e-9, 1e-3, 1.0, 1e3, 1e9]),
    weight=st.sampled_from([0.0, 1e-12, 1.0, 1e6]),
    size=st.sampled_from([1e-9, 1.0]),
)
def test_dye_is_kept_and_never_negative(seed, cells, step, weight, size):
    """Conservation to 1e-12 with zero sorption, dry fibre, one cell, no or huge steps."""
    state = tangle(seed, cells, unit=(size, 1.0, weight or 1.0))
    march, now = state[0], state[1]
    if not weight:
        march.mass[:] = 0.0
        march.powder[:] = 0.0
        march.settle(now.volume)
    held = march.fibre[:, None]

    def total():
        parts = (march.powder, march.mass, march.lost, march.spent, march.fixed * held)
        return sum(part.sum(axis=0) for part in parts)

    before = total()

    def check():
        assert total() == pytest.approx(before, rel=1e-12, abs=1e-300)
        for name in ("powder", "mass", "c", "lost", "spent", "fixed"):
            values = getattr(march, name)
            assert np.isfinite(values).all()
            assert (values >= 0.0).all(), name
        assert (march.fixed.sum(axis=1) <= march.sites * (1.0 + 1e-12)).all()

    march_on(state, step, 3, check)
    march.drain(now.volume, now.volume * 0.3)
    check()


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("unit", [(1e-9, 1.0, 1.0), (8.0, 4.0, 8.0), (8e-9, 3600.0, 1e-7)])
def test_other_units_give_the_same_picture(seed, unit):
    """Lengths, times and masses in other units: equal groups, equal result.

    Dimensional homogeneity (Buckingham 1914); a coefficient with a wrong dimension shows.
    """
    plain, scaled = tangle(seed, 6), tangle(seed, 6, unit=unit)
    size, time, weight = unit
    march_on(plain, 0.7, 4)
    march_on(scaled, 0.7 * time, 4)
    for name, scale in (("mass", weight), ("lost", weight), ("spent", weight), ("fixed", 1.0)):
        ours = getattr(plain[0], name)
        assert getattr(scaled[0], name) / scale == pytest.approx(ours, rel=1e-6, abs=1e-9), name
    assert scaled[0].c * size / weight == pytest.approx(plain[0].c, rel=1e-6, abs=1e-9)


def test_threads_do_not_change_a_bit():
    most = numba.config.NUMBA_NUM_THREADS
    found = []
    try:
        for threads, workers in ((1, 1), (2, 1), (2, min(2, most)), (1, min(2, most)), (3, most)):
            numba.set_num_threads(workers)
            state = tangle(11, 40, threads=threads)
            march_on(state, 0.3, 5)
            found.append([getattr(state[0], name).tobytes() for name in ("mass", "c", "fixed")])
    finally:
        numba.set_num_threads(most)
    assert all(same == found[0] for same in found)


# ------------------------------------------------------------------ Langmuir's isotherm


@settings(QUIET, max_examples=200)
@given(
    v=st.floats(-12, 2),
    b=st.floats(-14, 3),
    g=st.floats(-8, 6),
    d=st.floats(0.0, 3.0),
    r=st.floats(-15, 3),
)
def test_one_species_finds_its_root(v, b, d, g, r):
    """v c + b c / (d + g c) = r against scipy's Brent; exponents of ten are drawn."""
    v, b, d, g, r = (float(10.0**e) for e in (v, b, d, g, r))
    found = kernels.positive_root(v, b, d, g, r)
    unit = r / v  # no concentration is higher than all in the water

    def gap(c: float) -> float:
        return (v * c * unit + b * c * unit / (d + g * c * unit)) / r - 1.0

    exact = brentq(gap, 0.0, 1.0 + 1e-9, xtol=1e-300, rtol=1e-14, maxiter=2000) * unit
    assert found == pytest.approx(exact, rel=1e-9, abs=0.0)


@QUIET
@given(seed=st.integers(0, 10**6), size=st.sampled_from([1e-9, 1.0]))
def test_competing_species_settle_where_langmuir_says(seed, size):
    """M_k = V c_k + m Kd_k c_k / (1 + sum Kd_j c_j / Qs) (Langmuir 1918, competing species)."""
    march, now, *_ = tangle(seed, 6, unit=(size, 1.0, 1.0))
    march.settle(now.volume)
    crowd = 1.0 + march.c @ march.kd / march.constants.sorption_cap
    held = march.fibre[:, None] * march.kd * march.c / crowd[:, None]
    assert now.volume[:, None] * march.c + held == pytest.approx(march.mass, rel=1e-7, abs=1e-12)


def test_fibre_holds_no_more_than_langmuirs_capacity():
    march = marching(1, 1, species=2, fibre=1.0, kd=[5.0, 0.5], constants=Constants())
    march.mass[:] = [[50.0, 80.0]]
    march.settle(np.array([1e-3]))
    held = march.mass - 1e-3 * march.c
    assert held.sum() <= march.constants.sorption_cap
    assert held.sum() > 0.99 * march.constants.sorption_cap


@QUIET
@given(st.floats(0.0, 1e6))
def test_what_is_left_falls_as_the_exponential(z):
    left = kernels.fade(z)
    assert left == pytest.approx(math.exp(-z), abs=5e-14)
    assert 0.0 <= left <= 1.0


@pytest.mark.parametrize("species", [1, 4, 7, 8])
def test_without_crowding_many_dyes_travel_as_each_alone(species):
    """A linear isotherm couples nothing: every dye goes as if there were no other."""
    cells, rng = 9, np.random.default_rng(species)
    edges = np.array([(a, b) for b in range(1, cells) for a in range(b)], dtype=np.int64)
    amount, leave = rng.random(len(edges)), rng.random(cells)
    now = stream_of(1.0 + rng.random(cells), edges, amount, leave)
    fibre, kd = rng.random(cells), rng.random(species)
    laid = rng.random((cells, species))

    def went(which: slice) -> np.ndarray:
        march = marching(1, cells, species=len(kd[which]), fibre=fibre, kd=kd[which])
        march.mass[:] = laid[:, which]
        march.settle(now.volume)
        for _ in range(3):
            march.carry(now, 0.5)
        return march.mass

    alone = np.hstack([went(slice(k, k + 1)) for k in range(species)])
    assert went(slice(0, species)) == pytest.approx(alone, rel=1e-9, abs=0)
