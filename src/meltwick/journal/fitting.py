"""Bounded least squares with a prior, on a model that is slow to run.

Places are measured in standard deviations of the prior, from the book's values: the prior is a
standard normal, and the cost of a place u is

    sum(((measured - level(u)) / sd)^2) + sum(u^2)

Its least place is the mode of the posterior (MAP). With a linear model this is ridge regression,
and the mode and covariance are those of Bayesian linear regression (Bishop 2006, equations 3.50,
3.51 and 3.55, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import lsq_linear

Floats = NDArray[np.float64]

_NEAR = 0.05
"""Step [standard deviations of the prior] below which a further one is not worth its runs."""


class Model(Protocol):
    """What is fitted: M observations that hang on K places."""

    def level(self, at: Floats) -> Floats:
        """Return what is expected at a place: (K,) to (M,)."""

    def slope(self, at: Floats) -> Floats:
        """Return how it changes with each place: (K,) to (M, K)."""


@dataclass(frozen=True)
class Bounds:
    """How far places may go."""

    low: Floats  # (K,)
    high: Floats  # (K,)
    prior: bool = True  # False leaves the prior out, as in plain least squares


@dataclass(frozen=True)
class Linear:
    """The model made linear at a place."""

    at: Floats  # (K,)
    level: Floats  # (M,)
    slope: Floats  # (M, K)

    def expected(self, place: Floats) -> Floats:
        """Return what the linear model gives at a place: (M,)."""
        return self.level + self.slope @ (place - self.at)


@dataclass(frozen=True)
class Fit:
    """Where a fit ended."""

    at: Floats  # (K,) the mode
    covariance: Floats  # (K, K)
    excess: float  # factor on sd that the residuals ask for, 1 or more
    linear: Linear  # the last, with its level at the mode
    start: Floats  # (M,) level at the book's values
    steps: int


def solve(measured: Floats, sd: Floats, linear: Linear, bounds: Bounds) -> Floats:
    """Find the mode of a linear model within bounds.

    Parameters
    ----------
    measured, sd : ndarray of shape (M,)
        What was seen, and one standard deviation of its error.
    linear : Linear
    bounds : Bounds

    Returns
    -------
    ndarray of shape (K,)
    """
    rows = linear.slope / sd[:, None]
    right = (measured - linear.level + linear.slope @ linear.at) / sd
    if bounds.prior:
        rows = np.vstack([rows, np.eye(rows.shape[1])])
        right = np.concatenate([right, np.zeros(rows.shape[1])])
    reach = np.linalg.norm(rows, axis=0)  # to unit columns, whatever the places are measured in
    reach[reach == 0.0] = 1.0
    span = (bounds.low * reach, bounds.high * reach)
    found = lsq_linear(rows / reach, right, bounds=span, method="bvls")
    return np.asarray(np.clip(found.x / reach, bounds.low, bounds.high))


def covariance(sd: Floats, slope: Floats, prior: bool = True) -> Floats:
    """Covariance of the posterior of a linear model, its bounds left aside: (K, K)."""
    rows = slope / sd[:, None]
    precision = rows.T @ rows + (np.eye(rows.shape[1]) if prior else 0.0)
    return np.asarray(np.linalg.inv(precision))


def excess(
    measured: Floats, sd: Floats, linear: Linear, place: Floats, prior: bool = True
) -> float:
    """Factor by which residuals pass what ``sd`` leads one to expect, 1 or more (Birge 1932).

    The places that the data fix, of which there are fewer than K where the prior has a say, are
    taken off the number of observations.
    """
    rows = linear.slope / sd[:, None]
    fixed = float(np.trace(covariance(sd, linear.slope, prior) @ rows.T @ rows))
    free = max(1.0, len(sd) - fixed)
    left = (measured - linear.expected(place)) / sd
    return max(1.0, float(np.sqrt(left @ left / free)))


def cost(measured: Floats, sd: Floats, level: Floats, place: Floats, prior: bool = True) -> float:
    """Return what the mode makes least."""
    left = (measured - level) / sd
    return float(left @ left + (place @ place if prior else 0.0))


def fit(
    model: Model,
    measured: Floats,
    sd: Floats,
    bounds: Bounds,
    *,
    start: Floats | None = None,
    steps: int = 2,
    near: float = _NEAR,
) -> Fit:
    """Fit by Gauss-Newton steps, each checked by the model itself.

    Every step costs one slope and one level; where it makes the cost worse, half of it is taken,
    for one level more. Where residuals pass what ``sd`` says, ``sd`` is widened by as much, since
    the model leaves something out; the prior then weighs more.

    Parameters
    ----------
    model : Model
    measured, sd : ndarray of shape (M,)
    bounds : Bounds
    start : ndarray of shape (K,), optional
        The book's values, 0, by default.
    steps : int
        Most steps.
    near : float
        The step that ends it.

    Returns
    -------
    Fit
    """
    at = np.zeros(len(bounds.low)) if start is None else np.asarray(start, dtype=np.float64)
    first = level = model.level(at)
    slope, wider, taken = np.zeros((len(sd), len(at))), 1.0, 0
    for _ in range(max(1, steps)):
        slope = model.slope(at)
        linear = Linear(at, level, slope)
        place, wider = _widened(measured, sd, linear, bounds)
        moved, there = _checked(model, measured, sd * wider, linear, bounds, place)
        step = float(np.max(np.abs(moved - at), initial=0.0))
        at, level, taken = moved, there, taken + 1
        if step <= near:
            break
    linear = Linear(at, level, slope)
    wider = excess(measured, sd, linear, at, bounds.prior)
    return Fit(at, covariance(sd * wider, slope, bounds.prior), wider, linear, first, taken)


def _widened(measured: Floats, sd: Floats, linear: Linear, bounds: Bounds) -> tuple[Floats, float]:
    """Solve, and solve again with the errors that the residuals ask for."""
    place = solve(measured, sd, linear, bounds)
    if not bounds.prior:
        return place, 1.0  # a common factor moves nothing
    wider = excess(measured, sd, linear, place)
    return solve(measured, sd * wider, linear, bounds), wider


def _checked(
    model: Model, measured: Floats, sd: Floats, linear: Linear, bounds: Bounds, place: Floats
) -> tuple[Floats, Floats]:
    """Take a step, or half of it, or none: whichever the model itself says is no worse."""
    before = cost(measured, sd, linear.level, linear.at, bounds.prior)
    for share in (1.0, 0.5):
        there = linear.at + share * (place - linear.at)
        level = model.level(there)
        if cost(measured, sd, level, there, bounds.prior) <= before:
            return there, level
    return linear.at, linear.level


def left_out(
    measured: Floats, sd: Floats, linear: Linear, bounds: Bounds, groups: NDArray[np.intp]
) -> Floats:
    """Predict every observation from the others: (M,).

    All observations of one group are left out at once. The model is taken as linear around the
    fit, so that it need not run again; everything else is fitted anew, the width of the errors
    too.

    Parameters
    ----------
    measured, sd : ndarray of shape (M,)
    linear : Linear
    bounds : Bounds
    groups : ndarray of shape (M,)
        Which piece each belongs to.
    """
    found = np.empty_like(measured)
    for group in np.unique(groups):
        rest = groups != group
        known = Linear(linear.at, linear.level[rest], linear.slope[rest])
        place, _ = _widened(measured[rest], sd[rest], known, bounds)
        found[~rest] = linear.expected(place)[~rest]
    return found
