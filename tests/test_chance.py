"""Draws and fields of chance against statistics that they must have."""

from __future__ import annotations

import hashlib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from meltwick import chance

KEYS = [chance.key(seed, "test") for seed in (0, 7, 2**40)]


def test_mix_is_the_published_scrambler() -> None:
    # splitmix64 (Steele, Lea & Flood 2014); first outputs from state 1234567, the values that
    # the algorithm's public reference implementations print (from memory)
    state = 1234567
    found = []
    for _ in range(5):
        found.append(int(chance.mix(np.uint64(state))))
        state = (state + 0x9E3779B97F4A7C15) % 2**64
    assert found == [
        6457827717110365317,
        3203168211198807973,
        9817491932198370423,
        4593380528125082431,
        16408922859458223821,
    ]


def test_key_is_a_hash_of_its_words() -> None:
    # BLAKE2b, RFC 7693, by the standard library
    words = hashlib.blake2b(b"7/rings/2", digest_size=8).digest()
    assert int(chance.key(7, "rings", 2)) == int.from_bytes(words, "little")
    all_of_them = {
        int(chance.key(seed, purpose, number))
        for seed in range(20)
        for purpose in ("rings", "skew", "sub-cells")
        for number in (1, 2)
    }
    assert len(all_of_them) == 120


@pytest.mark.parametrize("code", KEYS)
@pytest.mark.parametrize("stream", [0, 1, 5])
def test_draws_are_uniform(code: np.uint64, stream: int) -> None:
    draws = chance.uniforms(code, 20_000, stream)
    assert draws.min() >= 0.0
    assert draws.max() < 1.0
    # Kolmogorov-Smirnov, nine fixed cases: a fair generator fails one at 1e-3 once in 110
    assert stats.kstest(draws, "uniform").pvalue > 1e-3


@pytest.mark.parametrize("code", KEYS)
def test_draws_do_not_follow_one_another(code: np.uint64) -> None:
    one, two = chance.uniforms(code, 20_000, 0), chance.uniforms(code, 20_000, 1)
    bound = 4.0 / np.sqrt(20_000)  # four standard errors of a correlation of nothing
    assert abs(np.corrcoef(one[1:], one[:-1])[0, 1]) < bound
    assert abs(np.corrcoef(one, two)[0, 1]) < bound
    assert abs(np.corrcoef(one, chance.uniforms(chance.key(1, "other"), 20_000))[0, 1]) < bound


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**64 - 1), st.integers(-(2**31), 2**31), st.integers(-(2**31), 2**31))
def test_a_draw_depends_on_its_place_only(code: int, i: int, j: int) -> None:
    draw = chance.unit(np.uint64(code), i, j)
    assert 0.0 <= draw < 1.0
    assert draw == chance.unit(np.uint64(code), i, j)
    assert draw != chance.unit(np.uint64(code), i + 1, j)
    assert draw != chance.unit(np.uint64(code), i, j + 1)


def test_a_longer_list_begins_with_the_shorter() -> None:
    assert np.array_equal(chance.uniforms(KEYS[1], 1000)[:10], chance.uniforms(KEYS[1], 10))


# ---------------------------------------------------------------------------------- fields


def places(count: int, width: float) -> tuple[np.ndarray, np.ndarray]:
    draws = stats.qmc.Halton(2, seed=3).random(count) * width
    return draws[:, 0] - 0.5 * width, draws[:, 1] - 0.5 * width


def test_a_field_has_variance_one() -> None:
    x, y = places(40_000, 4.0)
    values = np.array([chance.smooth_field(code, x, y, 0.02) for code in KEYS])
    # 200 x 200 patches: the error of a variance is about sqrt(2 / 40000), a tenth of the bound
    assert values.var(axis=1) == pytest.approx(1.0, rel=0.05)
    assert values.mean(axis=1) == pytest.approx(0.0, abs=0.05)


def test_a_field_forgets_over_its_length() -> None:
    # a uniform cubic B-spline spans four lattice steps, so 4 sqrt(2) lengths away all is new
    x, y = places(40_000, 4.0)
    here = chance.smooth_field(KEYS[0], x, y, 0.02)
    for away, low, high in ((0.001, 0.99, 1.0), (0.02, 0.3, 0.75), (0.02 * 5.7, -0.03, 0.03)):
        there = chance.smooth_field(KEYS[0], x + away, y, 0.02)
        assert low <= np.corrcoef(here, there)[0, 1] <= high


def test_a_field_is_smooth() -> None:
    # twice differentiable: second differences fall by four when the step is halved
    x = np.linspace(0.0, 0.3, 400)
    spread = []
    for step in (1e-3, 5e-4):
        parts = [chance.smooth_field(KEYS[0], x + k * step, 0 * x, 0.05) for k in (-1, 0, 1)]
        spread.append(np.abs(parts[0] - 2.0 * parts[1] + parts[2]).max())
    assert spread[0] / spread[1] == pytest.approx(4.0, rel=0.1)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32), st.floats(0.005, 0.5))
def test_a_field_does_not_know_which_points_are_asked(seed: int, length: float) -> None:
    code = chance.key(seed, "field")
    x, y = places(50, 1.0)
    values = chance.smooth_field(code, x, y, length)
    back = chance.smooth_field(code, x[::-1].copy(), y[::-1].copy(), length)[::-1]
    fewer = chance.smooth_field(code, x[::7].copy(), y[::7].copy(), length)
    assert np.array_equal(values, back)
    assert np.array_equal(values[::7], fewer)


def test_a_field_in_other_units_is_the_same() -> None:
    x, y = places(500, 1.0)
    metres = chance.smooth_field(KEYS[0], x, y, 0.05)
    millimetres = chance.smooth_field(KEYS[0], 1000.0 * x, 1000.0 * y, 50.0)
    assert np.allclose(metres, millimetres, rtol=0.0, atol=1e-9)
