"""Fit what a maker's own pieces can tell apart, and say how much nearer predictions come.

A piece is one hand's, and no two hands fold alike. So each is compared with the middle of several
hands that fold its plan, the same hands at every trial (common random numbers), and the spread of
hands counts as noise of the piece.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from meltwick.errors import ProfileError
from meltwick.journal.evidence import Evidence, measured, observed, white_of
from meltwick.journal.factors import FACTORS, FEWEST, moved, reach
from meltwick.journal.fitting import Bounds, Fit, fit, left_out
from meltwick.study.hands import hand_seeds
from meltwick.study.outcome import Order

if TYPE_CHECKING:
    from meltwick.constants import Constants

Floats = NDArray[np.float64]
Make = Callable[[Sequence[Order]], Sequence[Mapping[str, float]]]
"""Makes runs, and returns the share of each class that every one of them gave."""

STEPS = 2
"""Gauss-Newton steps at most; a third moved no constant by a tenth of its doubt (chosen)."""
SLOPE_HANDS = 2
"""Hands that tell how shares change with a constant: differences of one hand vary little."""
_STRIDE = 0.5
"""Step of a finite difference [standard deviations of the prior]: well above what a cell that
changes class makes, well below where the answer bends; chosen."""
_LEAST = 0.01
"""Smallest error of an observation, where hands and margins say none."""
_SURE = 0.9
"""How sure it must be that errors fell, before a gain is told; chosen."""
_WORTH = 0.9
"""Share of the book's miss below which the miss must fall to be worth a profile; chosen."""


@dataclass(frozen=True)
class Learned:
    """What a maker's pieces taught."""

    evidence: tuple[Evidence, ...]
    place: Floats  # (K,) [standard deviations of the prior]
    covariance: Floats  # (K, K)
    book: tuple[float, ...]  # white share of every piece as the book predicts it
    fitted: tuple[float, ...]  # with what was learned, by runs
    others: tuple[float, ...]  # as the other pieces predict it, by the linear model
    effects: tuple[float, ...]  # white share that each factor adds, the mean of the pieces
    hand_spread: float  # one standard deviation of a hand's white share, the mean of the pieces
    excess: float  # factor on the errors that the residuals ask for, 1 or more
    hands: int
    pitch: float  # [m]

    @property
    def before(self) -> float:
        """Root of the mean square of what the book misses [share]."""
        return _rms(self._misses(self.book))

    @property
    def after(self) -> float:
        """The same, of each piece as the others predict it."""
        return _rms(self._misses(self.others))

    @property
    def gain(self) -> bool:
        """Whether what was learned predicts a new piece better than the book, surely enough.

        The mean fall of the miss is asked for, by a t-test on pairs, one-sided; and that it falls
        by a tenth or more.
        """
        from scipy.stats import t

        fall = np.abs(self._misses(self.book)) - np.abs(self._misses(self.others))
        error = float(np.std(fall, ddof=1)) / np.sqrt(len(fall))
        sure = float(fall.mean()) > float(t.ppf(_SURE, len(fall) - 1)) * error
        return sure and self.after < _WORTH * self.before

    def _misses(self, predicted: Sequence[float]) -> Floats:
        white = np.array([piece.white for piece in self.evidence])
        return np.asarray(np.array(predicted) - white)


def _rms(misses: Floats) -> float:
    return float(np.sqrt(np.mean(np.square(misses))))


def require_enough(count: int) -> None:
    """Refuse to learn from too few pieces.

    Raises
    ------
    ProfileError
    """
    if count < FEWEST:
        have = ("no piece that was", "1 piece that was", "2 pieces that were")[count]
        raise ProfileError(
            f"the journal has {have} measured; learning needs {FEWEST} or more, so record more "
            "with meltwick record"
        )


def most_runs(pieces: int, hands: int) -> int:
    """Count the runs that learning takes if no step has to be halved."""
    slopes = len(FACTORS) * min(hands, SLOPE_HANDS)
    return pieces * (hands * (STEPS + 1) + slopes * STEPS)


def first_orders(evidence: Sequence[Evidence], hands: int, pitch: float) -> list[Order]:
    """List the runs by the book, which come first."""
    return _Trials(evidence, lambda orders: [], hands, pitch).orders(None, hands)


def learn(evidence: Sequence[Evidence], make: Make, *, hands: int = 3, pitch: float) -> Learned:
    """Fit the factors to a maker's pieces.

    Parameters
    ----------
    evidence : sequence of Evidence
        Three pieces or more.
    make : callable
        Makes runs.
    hands : int
        Hands that fold each plan, 2 or more.
    pitch : float
        Size of a cell of cloth [m].

    Raises
    ------
    ProfileError
        Too few pieces.
    ValueError
        Fewer than two hands: their spread is not known then.
    """
    require_enough(len(evidence))
    if hands < 2:
        raise ValueError(f"{hands} hand tells nothing of how hands differ; 2 or more are needed")
    trials = _Trials(evidence, make, hands, pitch)
    book = trials.level(np.zeros(len(FACTORS)))
    seen, sd = trials.seen(), trials.errors()
    bounds = Bounds(*reach())
    found = fit(trials, seen, sd, bounds, steps=STEPS)
    others = left_out(seen, sd, found.linear, bounds, trials.groups())
    first = trials.firsts()
    return Learned(
        evidence=tuple(evidence),
        place=found.at,
        covariance=found.covariance,
        book=_shares(book[first]),
        fitted=_shares(found.linear.level[first]),
        others=_shares(others[first]),
        effects=_effects(found, first),
        hand_spread=trials.white_spread(),
        excess=found.excess,
        hands=hands,
        pitch=pitch,
    )


def _shares(ratios: Floats) -> tuple[float, ...]:
    return tuple(float(share) for share in white_of(ratios))


def _effects(found: Fit, first: NDArray[np.intp]) -> tuple[float, ...]:
    """White share that each factor adds to the pieces, on average.

    What all add together, by runs, is parted as the linear model parts it.
    """
    after = white_of(found.linear.level[first])
    parts = []
    for number, at in enumerate(found.at):
        without = white_of(found.linear.level[first] - at * found.linear.slope[first, number])
        parts.append(float(np.mean(after - without)))
    whole = float(np.mean(after - white_of(found.start[first])))
    added = sum(parts)
    scale = whole / added if added * whole > 0.0 and 0.5 < whole / added < 2.0 else 1.0
    return tuple(scale * part for part in parts)


class _Trials:
    """The model as `fit` asks it: each trial is a few hands on every piece's plan."""

    def __init__(self, evidence: Sequence[Evidence], make: Make, hands: int, pitch: float) -> None:
        self._evidence, self._make = evidence, make
        self._hands, self._pitch = hands, pitch
        self._counts = [1 if piece.shares is None else 3 for piece in evidence]
        self._known: dict[bytes, Floats] = {}  # by place: (pieces, hands, 3)

    def orders(self, constants: Constants | None, hands: int) -> list[Order]:
        """List the runs of one trial: hand after hand of one piece, then the next."""
        return [
            Order(piece.plan, seed, self._pitch, constants)
            for piece in self._evidence
            for seed in hand_seeds(piece.seed, hands)
        ]

    def _tried(self, at: Floats, hands: int) -> Floats:
        """Observations of every hand on every piece: (pieces, hands, 3)."""
        key = np.asarray(at, dtype=np.float64).tobytes()
        if key not in self._known or self._known[key].shape[1] < hands:
            constants = moved(at) if np.any(at) else None
            shares = self._make(self.orders(constants, hands))
            found = np.array([observed(each) for each in shares])
            self._known[key] = found.reshape(len(self._evidence), hands, 3)
        return self._known[key][:, :hands]

    def _flat(self, each: Floats) -> Floats:
        """Keep what was also measured: (pieces, 3) to (M,)."""
        return np.concatenate([row[:n] for row, n in zip(each, self._counts, strict=True)])

    def level(self, at: Floats) -> Floats:
        """Return what the middle hand gives: (M,)."""
        return self._flat(np.median(self._tried(at, self._hands), axis=1))

    def slope(self, at: Floats) -> Floats:
        """How that changes with each factor, from differences of the same hands: (M, K)."""
        _, high = reach()
        hands = min(self._hands, SLOPE_HANDS)
        columns = []
        for number in range(len(at)):
            step = _STRIDE if at[number] + _STRIDE <= high[number] else -_STRIDE
            there = np.array(at, dtype=np.float64)
            there[number] += step
            gap = self._tried(there, hands) - self._tried(at, self._hands)[:, :hands]
            columns.append(self._flat(gap.mean(axis=1)) / step)
        return np.column_stack(columns)

    def seen(self) -> Floats:
        """Return what was measured: (M,)."""
        return np.concatenate([measured(piece)[0] for piece in self._evidence])

    def errors(self) -> Floats:
        """One standard deviation of each: of measuring, of the maker's hand, and of our middle.

        The spread of hands is that of the book's runs, all pieces together. The variance of the
        middle of n is at most pi/2 over n of one's (large n, normal; a textbook's, from memory).
        """
        tried = self._tried(np.zeros(len(FACTORS)), self._hands)
        hand = np.mean(np.var(tried, axis=1, ddof=1), axis=0)
        whole = hand * (1.0 + min(1.0, np.pi / 2.0 / self._hands))
        own = np.concatenate([measured(piece)[1] for piece in self._evidence])
        shared = np.concatenate([whole[:n] for n in self._counts])
        return np.asarray(np.maximum(np.sqrt(np.square(own) + shared), _LEAST))

    def white_spread(self) -> float:
        """One standard deviation of a hand's white share."""
        tried = self._tried(np.zeros(len(FACTORS)), self._hands)
        return float(np.sqrt(np.mean(np.var(white_of(tried[:, :, 0]), axis=1, ddof=1))))

    def groups(self) -> NDArray[np.intp]:
        """Which piece each observation belongs to: (M,)."""
        return np.repeat(np.arange(len(self._counts)), self._counts)

    def firsts(self) -> NDArray[np.intp]:
        """Which observations are of white: one a piece."""
        return np.concatenate([[0], np.cumsum(self._counts)[:-1]]).astype(np.intp)
