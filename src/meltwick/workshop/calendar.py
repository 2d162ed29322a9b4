"""The calendar: every step of every piece in a maker's days."""

from __future__ import annotations

from collections.abc import Sequence

from meltwick.errors import WishError
from meltwick.workshop.checks import check, why_not
from meltwick.workshop.entries import entries
from meltwick.workshop.jobs import DAY, Entry, Piece, Workshop
from meltwick.workshop.ledger import Season
from meltwick.workshop.placing import Style
from meltwick.workshop.search import Fit, Work, fill, search

_SPARE = 14  # [days] that the first season has beyond the slowest piece's own time
_LONGEST = 3660  # [days] no calendar is longer


def fit(pieces: Sequence[Piece], workshop: Workshop, effort: float = 1.0) -> tuple[Entry, ...]:
    """Fit all steps of all pieces into a workshop's days.

    The last piece is to be ready as early as possible, and then there are to be few wash loads.
    The same pieces give the same calendar. It is found by rules and exchanges, so that there may
    be a better one; for small collections the tests say how much better.

    Parameters
    ----------
    pieces : sequence of Piece
        Each with a name of its own.
    workshop : Workshop
        What there is.
    effort : float
        Share of the usual search; 1 takes a few seconds for 30 pieces of two rounds.

    Returns
    -------
    tuple of Entry
        In the order of their start.

    Raises
    ------
    PlanError
        Something in the pieces or the workshop cannot be read.
    WishError
        A piece cannot be made in this workshop: what is lacking, and what would help.
    """
    check(pieces, workshop)
    return entries(pieces, best_fit(pieces, workshop, effort))


def best_fit(pieces: Sequence[Piece], workshop: Workshop, effort: float) -> Fit:
    """Search, over more and more days until all fits; pieces and workshop are checked."""
    work = Work.of(pieces)
    soonest = max(_alone(piece, workshop) for piece in pieces)
    days = soonest // DAY + _SPARE
    while days <= _LONGEST:
        found = search(work, Season.of(workshop, days), soonest, effort)
        if found:
            return found
        days *= 2
    raise WishError(
        f"{len(pieces)} pieces do not fit into ten years; make fewer, or work on more days"
    )


def _alone(piece: Piece, workshop: Workshop) -> int:
    """Mark at which a piece is ready that has the workshop to itself.

    A step may have to wait for its weekday, so that a week is given to each.
    """
    work = Work.of([piece])
    tasks = work.tasks[0]
    off = max(((day - workshop.start).days for day in workshop.days_off), default=0)
    steps = sum(len(task.lengths) for task in tasks)
    length = sum(task.least for task in tasks)
    season = Season.of(workshop, length // DAY + 1 + max(off, 0) + 7 * (steps + 1))
    lone = fill(work, season, (0,) * len(tasks), Style())
    if lone is None:
        raise WishError(why_not(piece, tasks, season))
    return lone.ready
