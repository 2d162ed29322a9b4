"""The setting that meets a wish: as few settings as may be, all made by the same hands."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

NEAR = 0.02
"""Share by which the middle hand may miss a wish and still meet it; chosen."""
FIRST = 5
"""Settings over the whole range that are tried before any nearer one."""

Try = Callable[[Sequence[int]], dict[int, list[float]]]
"""Given the numbers of some settings, returns the share that every hand gave at each."""


@dataclass(frozen=True)
class Aimed:
    """What a search found."""

    wish: float
    best: int  # number of the setting that comes nearest
    tried: dict[int, tuple[float, ...]]  # shares by hand, of every setting that was made

    def middle(self, number: int) -> float:
        """Share of the middle hand at a setting."""
        return float(median(self.tried[number]))

    def miss(self, number: int) -> float:
        """How far the middle hand is from the wish."""
        return abs(self.middle(number) - self.wish)

    @property
    def met(self) -> bool:
        """Whether the best setting meets the wish: by the middle hand, or between two hands."""
        hands = self.tried[self.best]
        return self.miss(self.best) <= NEAR or min(hands) <= self.wish <= max(hands)

    def others(self, count: int = 2) -> list[int]:
        """Return what else comes close, the nearest first."""
        rest = [number for number in self.tried if number != self.best]
        return sorted(rest, key=lambda number: (self.miss(number), number))[:count]


def aim(count: int, wish: float, attempt: Try) -> Aimed:
    """Find which of so many settings comes nearest to a wish.

    The settings stand in order of one key, along which the share is taken to change without
    leaps. Some are spread over the whole range; then, between the two neighbours whose middle
    hands lie on both sides of the wish, the one where a straight line meets it, until no setting
    is left between. Where none lies on the other side, those beside the best are tried. The same
    hands make every setting, so that what a hand does to one it does to the next, and the middle
    changes by the setting alone (common random numbers).

    Parameters
    ----------
    count : int
        Settings, 1 or more.
    wish : float
        Share, 0 to 1.
    attempt : callable
        Makes settings.

    Returns
    -------
    Aimed
    """
    tried: dict[int, tuple[float, ...]] = {}

    def make(numbers: Sequence[int]) -> None:
        new = sorted(set(numbers) - set(tried))
        if new:
            tried.update({n: tuple(hands) for n, hands in attempt(new).items()})

    first = min(FIRST, count)
    make([round(k * (count - 1) / max(first - 1, 1)) for k in range(first)])
    while more := _between(tried, wish) or _beside(tried, wish, count):
        make(more)
    best = min(tried, key=lambda number: (abs(median(tried[number]) - wish), number))
    return Aimed(wish, best, tried)


def _between(tried: dict[int, tuple[float, ...]], wish: float) -> list[int]:
    """Where a straight line meets the wish between neighbours on both sides of it."""
    known = sorted(tried)
    found = []
    for low, high in pairwise(known):
        a, b = median(tried[low]) - wish, median(tried[high]) - wish
        if high - low > 1 and a * b < 0.0:
            place = low + a / (a - b) * (high - low)
            found.append(min(max(round(place), low + 1), high - 1))
    return found


def _beside(tried: dict[int, tuple[float, ...]], wish: float, count: int) -> list[int]:
    """Neighbours of the best that were not tried, while none lies on the wish's other side."""
    sides = {median(hands) > wish for hands in tried.values()}
    if len(sides) > 1:
        return []
    best = min(tried, key=lambda number: (abs(median(tried[number]) - wish), number))
    return [n for n in (best - 1, best + 1) if 0 <= n < count and n not in tried]
