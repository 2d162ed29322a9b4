"""One plan made by several hands: how far apart the pieces come out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from statistics import median
from typing import TYPE_CHECKING

from meltwick.study.workers import Job, NoWorkersError, run_in_workers, usable_cores

if TYPE_CHECKING:
    from meltwick.constants import Constants
    from meltwick.plan import Plan
    from meltwick.types import FixedDye, Observer, Result

SEEDS = 2**63
"""Seeds run from 0 to one less than this."""


@dataclass(frozen=True)
class Spread:
    """What several hands made of one plan.

    Whole results are kept of three hands only: the first, the lightest and the darkest, which may
    be one and the same. They share one cloth.
    """

    seeds: tuple[int, ...]  # of every hand, the plan's own first
    white: tuple[float, ...]  # white share of every hand
    main: Result
    lightest: Result  # the most white; the earlier hand where two are equal
    darkest: Result

    @property
    def hands(self) -> int:
        """Number of hands."""
        return len(self.seeds)

    @property
    def median(self) -> float:
        """White share of the middle hand, or the mean of the middle two."""
        return float(median(self.white))

    @property
    def low(self) -> float:
        """White share of the darkest hand."""
        return min(self.white)

    @property
    def high(self) -> float:
        """White share of the lightest hand."""
        return max(self.white)


def hand_seeds(first: int, count: int) -> tuple[int, ...]:
    """List the seeds of several hands: ``first``, ``first + 1`` and on; 0 follows 2^63 - 1.

    So any hand of a spread can be made alone, by its seed.

    Raises
    ------
    ValueError
        If there is no hand, or ``first`` is not from 0 to 2^63 - 1.
    """
    if count < 1 or not 0 <= first < SEEDS:
        raise ValueError(f"{count} hands from seed {first}: want 1 or more, from 0 to 2^63 - 1")
    return tuple((first + k) % SEEDS for k in range(count))


class _Keeper:
    """Notes every hand's white share; keeps the first, the lightest and the darkest piece."""

    def __init__(self) -> None:
        self.white: dict[int, float] = {}
        self.kept: dict[int, Result] = {}

    def _wanted(self) -> set[int]:
        order = sorted(self.white)  # so that ties go to the earlier hand, whoever came first
        return {
            0,
            max(order, key=lambda hand: self.white[hand]),
            min(order, key=lambda hand: self.white[hand]),
        }

    def note(self, hand: int, white: float) -> bool:
        """Note a white share; say whether the piece itself is worth keeping, for now."""
        self.white[hand] = white
        return hand in self._wanted()

    def keep(self, hand: int, result: Result) -> None:
        """Keep a piece, and drop those that are neither first nor at an end any more."""
        self.kept[hand] = result
        wanted = self._wanted()
        self.kept = {each: piece for each, piece in self.kept.items() if each in wanted}

    def spread(self, seeds: Sequence[int]) -> Spread:
        """Put the spread together once every hand is in."""
        white = tuple(self.white[hand] for hand in range(len(seeds)))
        main = self.kept[0]

        def piece(share: float) -> Result:
            return replace(self.kept[white.index(share)], cloth=main.cloth)

        return Spread(tuple(seeds), white, main, piece(max(white)), piece(min(white)))


def _told(observer: Observer | None, hand: int, count: int) -> Observer:
    def tell(stage: str, done: int, total: int) -> None:
        if observer is not None:
            observer(stage if count == 1 else f"hand {hand + 1} of {count}: {stage}", done, total)

    return tell


def _run_here(
    job: Job, seeds: Sequence[int], keeper: _Keeper, tell: Callable[[int], Observer]
) -> None:
    from meltwick.simulate import simulate

    for hand, seed in enumerate(seeds):
        result = simulate(
            job.plan,
            pitch=job.pitch,
            seed=seed,
            start=job.start,
            constants=job.constants,
            observer=tell(hand),
        )
        if keeper.note(hand, result.white_share):
            keeper.keep(hand, result)


def run_hands(
    plan: Plan,
    count: int,
    *,
    pitch: float = 2e-3,
    seed: int | None = None,
    start: FixedDye | None = None,
    constants: Constants | None = None,
    observer: Observer | None = None,
    workers: int | None = None,
) -> Spread:
    """Predict a plan as several hands would make it.

    Parameters
    ----------
    plan : Plan
        Read by ``read_plan`` or ``plan_from_text``.
    count : int
        Hands, 1 or more.
    pitch : float
        Size of a cell of cloth [m].
    seed : int, optional
        Of the first hand, instead of the plan's. For the others see `hand_seeds`.
    start : FixedDye, optional
        Dye already on the cloth, as `meltwick.simulate.simulate` takes it.
    constants : Constants, optional
        The model's numbers.
    observer : callable, optional
        Told of the earliest hand that is not done, as ``hand 2 of 5: folding``.
    workers : int, optional
        Processes at work at once: by default one a core that this process may use. The result
        does not depend on it. With one, or where none can be started, hands are made in this
        process, one after another.

    Returns
    -------
    Spread

    Raises
    ------
    ValueError
        No hands, or a seed out of range.
    ResourceError
        A worker was ended from outside, as happens when memory runs out.
    MeltwickError
        The plan cannot be carried out.
    """
    seeds = hand_seeds(plan.seed if seed is None else seed, count)
    job = Job(plan, pitch, constants, start)
    keeper = _Keeper()

    def tell(hand: int) -> Observer:
        return _told(observer, hand, count)

    crew = min(count, usable_cores() if workers is None else max(1, workers))
    if crew > 1:
        try:
            run_in_workers(job, seeds, crew, note=keeper.note, keep=keeper.keep, tell=tell)
            return keeper.spread(seeds)
        except NoWorkersError:
            keeper = _Keeper()
    _run_here(job, seeds, keeper, tell)
    return keeper.spread(seeds)
