"""What a maker's pieces teach: the fit, what it finds again, and when it finds nothing."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares
from tests.learned import CLOTH, TRUE, StandIn

from meltwick.constants import Constants
from meltwick.errors import ProfileError
from meltwick.journal.evidence import Evidence, evidence_of, measured, observed, white_of
from meltwick.journal.factors import FACTORS, moved, reach, spans, stride
from meltwick.journal.fitting import Bounds, Linear, covariance, fit, left_out, solve
from meltwick.journal.learning import first_orders, learn, most_runs, require_enough

WIDE = Bounds(np.full(3, -50.0), np.full(3, 50.0))

# --------------------------------------------------------------------------- the fit alone

MISRA = """10.07 77.6  14.73 114.9  17.94 141.1  23.93 190.8  29.61 239.9  35.18 289.0  40.02 332.8
44.82 378.4  50.76 434.8  55.05 477.3  61.01 536.8  66.40 593.1  75.47 689.1  81.78 760.0"""
"""NIST StRD, nonlinear regression, Misra1a: y = b1 (1 - exp(-b2 x)); y and x by turns.

www.itl.nist.gov/div898/strd/nls/data/misra1a.shtml; data and certified values read in copies.
"""


class Misra:
    def __init__(self) -> None:
        pairs = np.array(MISRA.split(), dtype=float).reshape(-1, 2)
        self.y, self.x = pairs.T

    def level(self, at: np.ndarray) -> np.ndarray:
        return at[0] * (1.0 - np.exp(-at[1] * self.x))

    def slope(self, at: np.ndarray) -> np.ndarray:
        gone = np.exp(-at[1] * self.x)
        return np.column_stack([1.0 - gone, at[0] * self.x * gone])


@pytest.mark.parametrize("start", [(500.0, 1e-4), (250.0, 5e-4)])
def test_steps_reach_the_certified_values(start: tuple[float, float]) -> None:
    model = Misra()
    bounds = Bounds(np.array([1.0, 1e-6]), np.array([1e4, 1e-1]), prior=False)
    sd = np.full(14, 1e-2)
    found = fit(model, model.y, sd, bounds, start=np.array(start), steps=60, near=1e-9)
    assert found.at == pytest.approx([2.3894212918e02, 5.5015643181e-04], rel=1e-8)
    errors = np.sqrt(np.diag(found.covariance))
    assert errors == pytest.approx([2.7070075241e00, 7.2668688436e-06], rel=1e-6)
    assert 1e-2 * found.excess == pytest.approx(1.0187876330e-01, rel=1e-6)  # residual sd


def some(seed: int, rows: int = 8) -> tuple[np.ndarray, np.ndarray, Linear]:
    rng = np.random.default_rng(seed)
    slope = rng.normal(size=(rows, 3)) * (3.0, 1.0, 0.2)
    linear = Linear(rng.normal(size=3), rng.normal(size=rows), slope)
    return rng.normal(size=rows) * 2.0, rng.uniform(0.2, 1.5, rows), linear


@given(seed=st.integers(0, 2**32 - 1))
@settings(max_examples=40, deadline=None)
def test_a_linear_fit_is_bayesian_linear_regression(seed: int) -> None:
    """Mode and covariance in closed form: Bishop 2006, equations 3.50 and 3.51 (from memory)."""
    seen, sd, linear = some(seed)
    target = seen - linear.level + linear.slope @ linear.at
    weight = np.diag(sd**-2.0)
    precision = np.eye(3) + linear.slope.T @ weight @ linear.slope
    wanted = np.linalg.solve(precision, linear.slope.T @ weight @ target)
    assert solve(seen, sd, linear, WIDE) == pytest.approx(wanted, abs=1e-9)
    assert covariance(sd, linear.slope) @ precision == pytest.approx(np.eye(3), abs=1e-9)


@given(seed=st.integers(0, 2**32 - 1))
@settings(max_examples=40, deadline=None)
def test_within_bounds_it_agrees_with_another_solver(seed: int) -> None:
    """SciPy's least_squares (trust region), another algorithm than the active set used here."""
    seen, sd, linear = some(seed)
    bounds = Bounds(np.full(3, -0.3), np.full(3, 0.4))

    def misses(place: np.ndarray) -> np.ndarray:
        return np.concatenate([(seen - linear.expected(place)) / sd, place])

    other = least_squares(misses, np.zeros(3), bounds=(-0.3, 0.4), xtol=1e-14, gtol=1e-14)
    found = solve(seen, sd, linear, bounds)
    assert np.all((found >= -0.3) & (found <= 0.4))
    assert np.sum(misses(found) ** 2) <= 2.0 * other.cost + 1e-9


def test_a_piece_left_out_has_no_say_in_its_own_prediction() -> None:
    seen, sd, linear = some(5, rows=12)
    groups = np.repeat(np.arange(4), 3)
    first = left_out(seen, sd, linear, WIDE, groups)
    changed = np.where(groups == 2, seen + 7.0, seen)
    again = left_out(changed, sd, linear, WIDE, groups)
    assert again[groups == 2] == pytest.approx(first[groups == 2])
    assert not np.allclose(again[groups != 2], first[groups != 2])


class Bent:
    """One place, whose full step overshoots: the level is flat far out."""

    def level(self, at: np.ndarray) -> np.ndarray:
        return np.tanh(3.0 * at)

    def slope(self, at: np.ndarray) -> np.ndarray:
        return (3.0 / np.cosh(3.0 * at) ** 2)[:, None]


@given(wish=st.floats(-0.99, 0.99), start=st.floats(-0.8, 0.8))
@settings(max_examples=60, deadline=None)
def test_no_step_makes_it_worse(wish: float, start: float) -> None:
    model, sd = Bent(), np.array([0.1])
    bounds = Bounds(np.array([-5.0]), np.array([5.0]), prior=False)
    at = np.array([start])
    found = fit(model, np.array([wish]), sd, bounds, start=at, steps=4)

    def miss(place: np.ndarray) -> float:
        return abs(wish - float(model.level(place)[0]))

    assert miss(found.at) <= miss(at) * (1.0 + 1e-9)
    assert found.linear.level == pytest.approx(model.level(found.at))


# ------------------------------------------------------------------------ shares and constants


@given(parts=st.lists(st.floats(0.0, 1.0), min_size=4, max_size=4).filter(lambda p: sum(p) > 0.1))
def test_ratios_turn_back_into_the_white(parts: list[float]) -> None:
    total = sum(parts)
    shares = {name: each / total for name, each in zip(CLASSES, parts, strict=True)}
    ratios = observed(shares)
    assert np.all(np.isfinite(ratios))
    assert float(white_of(ratios[0])) == pytest.approx(shares["white"], abs=1e-12)


CLASSES = ("white", "pale", "mid", "deep")


def test_a_margin_becomes_the_error_of_a_ratio() -> None:
    """A small change of the white, by finite differences, against the slope used."""
    for white in (0.02, 0.3, 0.9):
        seen, error = measured(Evidence("a", CLOTH, 1, white, 0.017))
        more, _ = measured(Evidence("a", CLOTH, 1, white + 1e-6, 0.017))
        assert error[0] == pytest.approx(float(more[0] - seen[0]) / 1e-6 * 0.01, rel=1e-3)


def test_places_keep_constants_in_their_ranges() -> None:
    table = {row["name"]: row for row in Constants.table()}
    low, high = reach()
    assert np.all(low < -1.0)
    assert np.all(high > 1.0)
    for place in (low, high, np.zeros(2), 0.5 * low):
        constants = moved(place)
        for factor in FACTORS:
            for name in factor.constants:
                row, value = table[name], getattr(constants, name)
                assert row["low"] * (1 - 1e-12) <= value <= row["high"] * (1 + 1e-12)
    assert moved(np.zeros(2)) == Constants()


def test_one_standard_deviation_is_that_of_the_range() -> None:
    """Uniform in the logarithm over the range: sd = range / sqrt(12) (textbook)."""
    for factor in FACTORS:
        for name, way in factor.constants.items():
            row = next(row for row in Constants.table() if row["name"] == name)
            sd = math.log(row["high"] / row["low"]) / math.sqrt(12.0)
            assert stride(factor, name) == pytest.approx(way * sd / len(factor.constants) ** 0.5)
    found = spans(np.zeros(2), 0.04 * np.eye(2))
    value, below, above = found["grip"]
    step = -0.2 * stride(FACTORS[1], "grip")
    assert (value, below, above) == pytest.approx((15, 15 * math.exp(-step), 15 * math.exp(step)))


def test_a_piece_of_the_journal_becomes_evidence() -> None:
    whole = {"white": 0.4, "pale": 0.2, "mid": 0.1, "deep": 0.3}
    outcome = SimpleNamespace(white_share=0.4, white_margin=0.03, shares=whole, how="photo")
    piece = SimpleNamespace(name="dune", seed=9, number=4, outcome=outcome, only_panel="back")
    assert evidence_of(piece, CLOTH) == Evidence("dune", CLOTH, 9, 0.4, 0.03, whole, 4, "back")
    outcome.shares = {"white": 0.4}
    assert evidence_of(piece, CLOTH).shares is None


# ------------------------------------------------------------------------------- learning


@pytest.mark.parametrize("classes", [True, False])
def test_twelve_pieces_give_hidden_constants_back(classes: bool) -> None:
    place = StandIn(12)
    found = learn(place.pieces(TRUE, classes), place.make, hands=5, pitch=8e-3)
    sd = np.sqrt(np.diag(found.covariance))
    assert np.all(np.abs(found.place - TRUE) < 2.5 * sd), (found.place, sd)
    assert sd[0] < 0.5  # it was 1 before: the pieces say something of resist
    assert found.gain
    assert found.after < 0.7 * found.before
    assert place.runs <= most_runs(12, 5)


def test_what_is_learned_narrows_with_more_pieces() -> None:
    widths = []
    for count in (4, 12, 36):
        place = StandIn(count)
        found = learn(place.pieces(TRUE), place.make, hands=3, pitch=8e-3)
        widths.append(float(np.sqrt(np.trace(found.covariance))))
    assert widths[0] > widths[1] > widths[2]


def test_the_stated_doubt_holds_the_truth_as_often_as_it_says() -> None:
    """Of normal errors 68 % lie within one standard deviation and 95 % within two (textbook)."""
    gaps = []
    for trial in range(25):
        place = StandIn(12, seed=trial)
        truth = np.clip(np.random.default_rng(trial).normal(size=2), -1.5, 1.5)
        found = learn(place.pieces(truth, first=100 * trial), place.make, hands=5, pitch=8e-3)
        gaps.append((found.place - truth) / np.sqrt(np.diag(found.covariance)))
    inside = np.abs(np.array(gaps))
    assert 0.55 < np.mean(inside < 1.0) < 0.85
    assert np.mean(inside < 2.0) > 0.88


def test_pure_noise_teaches_nothing() -> None:
    """Pieces made by the book: a gain is told about as seldom as its test says, one in ten."""
    told, worse = 0, 0
    for trial in range(30):
        place = StandIn(12, seed=trial)
        nothing = place.pieces(np.zeros(2), first=50 * trial)
        found = learn(nothing, place.make, hands=5, pitch=8e-3)
        told += found.gain
        worse += found.after > 1.5 * found.before
    assert told <= 5
    assert worse == 0  # the prior holds it near the book


def test_a_model_that_leaves_something_out_is_less_sure() -> None:
    """Errors larger than hands and margins explain widen what is said of the constants."""
    place = StandIn(12)
    good = place.pieces(TRUE)
    rng = np.random.default_rng(3)
    off = [
        replace(piece, white=float(np.clip(piece.white + 0.25 * rng.normal(), 0.02, 0.98)))
        for piece in good
    ]
    sure, unsure = (learn(each, place.make, hands=5, pitch=8e-3) for each in (good, off))
    assert unsure.excess > 1.2 * sure.excess
    assert np.trace(unsure.covariance) > np.trace(sure.covariance)


def test_effects_add_up_to_what_changed() -> None:
    place = StandIn(12)
    found = learn(place.pieces(TRUE), place.make, hands=5, pitch=8e-3)
    whole = float(np.mean(np.array(found.fitted) - np.array(found.book)))
    assert sum(found.effects) == pytest.approx(whole, abs=0.02)
    assert found.effects[0] > 0.0  # more resist, more white
    assert found.effects[1] > 0.0  # less travel, too
    assert found.hand_spread == pytest.approx(0.04, abs=0.03)


@pytest.mark.parametrize("count", [0, 1, 2])
def test_fewer_than_three_pieces_are_refused(count: int) -> None:
    place = StandIn(3)
    with pytest.raises(ProfileError, match="learning needs 3 or more"):
        learn(place.pieces(TRUE)[:count], place.make, hands=2, pitch=8e-3)
    with pytest.raises(ProfileError):
        require_enough(count)
    assert place.runs == 0


def test_one_hand_cannot_tell_how_hands_differ() -> None:
    place = StandIn(3)
    with pytest.raises(ValueError, match="2 or more"):
        learn(place.pieces(TRUE), place.make, hands=1, pitch=8e-3)


def test_the_first_runs_are_by_the_book_and_by_the_piece_s_own_hands() -> None:
    orders = first_orders(StandIn(3).pieces(TRUE), 2, 8e-3)
    assert [(each.recipe.name, each.seed) for each in orders] == [
        ("0", 1), ("0", 2), ("1", 1), ("1", 2), ("2", 1), ("2", 2)
    ]  # fmt: skip
    assert {each.constants for each in orders} == {None}
