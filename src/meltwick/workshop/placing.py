"""Where one stretch of steps fits between what is already in the calendar, exactly.

Forwards, every mark at which each step can start is found from those of the step before;
backwards, those are kept from which the rest can still be done. Earlier starts lead to earlier
ends, so the earliest kept mark of any step gives the earliest end of the whole stretch.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from heapq import heappop, heappush

from meltwick.workshop.jobs import DAY, HANDS, Stretch, load_blocks, marks, wait_marks
from meltwick.workshop.ledger import Ledger, Load
from meltwick.workshop.marks import (
    backwards,
    between,
    first,
    free_since,
    free_until,
    last,
    onwards,
)

_ICE_TRIES = 200  # ways to spread a stretch's ice over days that are tried


@dataclass(frozen=True)
class Task:
    """A stretch counted in marks."""

    stretch: Stretch
    mass: float  # [kg] of its piece

    @cached_property
    def lengths(self) -> tuple[int, ...]:
        """Of every step."""
        return tuple(marks(step.seconds) for step in self.stretch.steps)

    @cached_property
    def waits(self) -> tuple[int, ...]:
        """After every step, at most."""
        return tuple(wait_marks(step) for step in self.stretch.steps)

    @cached_property
    def blocks(self) -> list[tuple[int, int]]:
        """Its machine loads."""
        return load_blocks(self.stretch)

    @cached_property
    def after(self) -> tuple[Mapping[str, int], ...]:
        """What is held from the end of every step until the next starts: a load lets go."""
        ends = {high - 1 for _, high in self.blocks}
        steps = self.stretch.steps
        return tuple({} if n in ends else step.holds for n, step in enumerate(steps))

    @cached_property
    def least(self) -> int:
        """Marks from its start to its end, if nobody waits."""
        return sum(self.lengths)

    def alike(self, block: tuple[int, int]) -> tuple[object, ...]:
        """Say what another piece's load must have in common with this one to be shared."""
        low, high = block
        within = self.stretch.steps[low:high]
        return (
            self.waits[low : high - 1],
            *((s.washload, s.name, s.seconds, s.hands, *sorted(s.holds.items())) for s in within),
        )


@dataclass(frozen=True)
class Style:
    """How a stretch is placed where there is a choice."""

    delays: Mapping[tuple[int, int], int] = field(default_factory=dict)
    """Marks that loads of a stretch, by piece and number, may run later to be shared."""


@dataclass(frozen=True)
class Placing:
    """When the steps of a stretch start [marks], and which loads it shares."""

    starts: tuple[int, ...]
    end: int
    shared: Mapping[int, Load]  # by number of the block


def _joined(task: Task, ledger: Ledger, block: tuple[int, int], ready: int, end: int) -> list[Load]:
    """Find the loads that a stretch could share and yet end by a mark."""
    shop, alike = ledger.season.workshop, task.alike(block)
    after = task.least - sum(task.lengths[: block[1] - 1])
    found = [
        load
        for load in ledger.loads
        if load.alike == alike
        and load.starts[-1] + after <= end
        and load.mass + task.mass <= shop.load_kg + 1e-9
        and (shop.load_pieces is None or len(load.members) < shop.load_pieces)
    ]
    arrivals = _arrivals(task, ledger, block[0], ready) if found else 0
    return [load for load in found if arrivals >> load.starts[0] & 1]


def _arrivals(task: Task, ledger: Ledger, block: int, ready: int) -> int:
    """Find the marks at which a stretch can come to one of its steps, were that free to start."""
    whole = ledger.season.whole
    if block == 0:
        return whole & ~between(0, ready)
    before = task.stretch.steps[:block]
    may = [
        ledger.starts(step.holds, step.hands, length, step.ice)
        for step, length in zip(before, task.lengths, strict=False)
    ]
    gaps = [ledger.free(held) for held in task.after[:block]]
    reached = _reached(task, [*may, whole], [*gaps, whole], ready)
    return reached[-1]


def place(task: Task, ready: int, ledger: Ledger, style: Style, latest: int) -> Placing | None:
    """Find the best place for a stretch.

    Parameters
    ----------
    task : Task
        The stretch.
    ready : int
        Mark from which it may start.
    ledger : Ledger
        What is taken; it is not changed.
    style : Style
        What is preferred.
    latest : int
        Mark by which it must end.

    Returns
    -------
    Placing or None
        None where it does not fit.
    """
    shared: dict[int, Load] = {}
    delay = style.delays.get((task.stretch.piece, task.stretch.number), 0)
    found = _lay(task, ready, ledger, style, latest, shared)
    for number, block in enumerate(task.blocks):
        trials = []
        by = min(latest, found.end + delay) if found else latest
        for load in _joined(task, ledger, block, ready, by):
            tried = _lay(task, ready, ledger, style, latest, {**shared, number: load})
            if tried:
                trials.append(tried)
        best = min(trials, key=lambda each: each.end, default=None)
        if best and best.end <= by:
            found, shared = best, dict(best.shared)
    return found


def _lay(
    task: Task, ready: int, ledger: Ledger, style: Style, latest: int, shared: Mapping[int, Load]
) -> Placing | None:
    """Place a stretch with its loads given.

    Where its own lots of ice are too much for one day, each in turn is kept off that day: in any
    place that fits, at least one of them lies on another. What ends first is tried next, and no
    lot kept off a day lets it end sooner, so the first that fits ends as early as any.
    """
    iced = [n for n, step in enumerate(task.stretch.steps) if step.ice > 0.0]
    tried: list[dict[int, int]] = []
    open_: list[tuple[int, int, tuple[int, ...]]] = []

    def try_out(off: dict[int, int]) -> None:
        if off not in tried:
            starts = _walk(task, ready, ledger, style, latest, shared, off)
            tried.append(off)
            if starts is not None:
                heappush(open_, (starts[-1], len(tried) - 1, starts))

    try_out({})
    while open_ and len(tried) < _ICE_TRIES:
        _, number, starts = heappop(open_)
        over = ledger.ice_fits([(starts[n], task.stretch.steps[n].ice) for n in iced])
        if over is None:
            return Placing(starts, starts[-1] + task.lengths[-1], shared)
        off, day = tried[number], between(over, over + DAY)
        for n in iced:
            if day >> starts[n] & 1:
                try_out({**off, n: off.get(n, 0) | day})
    return None


def _walk(
    task: Task,
    ready: int,
    ledger: Ledger,
    style: Style,
    latest: int,
    shared: Mapping[int, Load],
    barred: Mapping[int, int],
) -> tuple[int, ...] | None:
    steps, forced = task.stretch.steps, _forced(task, shared)
    may = [
        1 << forced[n]
        if n in forced
        else ledger.starts(step.holds, step.hands, task.lengths[n], step.ice) & ~barred.get(n, 0)
        for n, step in enumerate(steps)
    ]
    whole = ledger.season.whole
    gaps = [whole if n in forced else ledger.free(task.after[n]) for n in range(len(steps))]
    kept = _kept(task, may, gaps, ready, latest)
    if kept is None:
        return None
    pivot = task.stretch.pivot
    delay = style.delays.get((task.stretch.piece, task.stretch.number), 0)
    delayed = {low for low, _ in task.blocks if low not in forced} if delay else set()
    starts = [0] * len(steps)
    starts[pivot] = first(kept[pivot])
    for n in range(pivot - 1, -1, -1):
        top = starts[n + 1]
        low = max(free_since(gaps[n], top), top - task.waits[n])
        starts[n] = last(kept[n] & between(low - task.lengths[n], top - task.lengths[n] + 1))
    for n in range(pivot + 1, len(steps)):
        low = starts[n - 1] + task.lengths[n - 1]
        top = min(free_until(gaps[n - 1], low), low + task.waits[n - 1])
        choice = kept[n] & between(low, top + 1)
        starts[n] = first(choice)
        if n in delayed:
            starts[n] = last(choice & between(starts[n], starts[n] + delay + 1))
    return tuple(starts)


def _forced(task: Task, shared: Mapping[int, Load]) -> dict[int, int]:
    """Take the starts that shared loads prescribe."""
    return {
        low + k: start
        for number, load in shared.items()
        for low in (task.blocks[number][0],)
        for k, start in enumerate(load.starts)
    }


def _reached(task: Task, may: Sequence[int], gaps: Sequence[int], ready: int) -> list[int]:
    """Find the starts of the first steps that can be reached."""
    reached = [may[0] & ~between(0, ready)]
    for n in range(1, len(may)):
        ends = reached[-1] << task.lengths[n - 1]
        reached.append(onwards(ends, gaps[n - 1], task.waits[n - 1]) & may[n])
    return reached


def _kept(
    task: Task, may: Sequence[int], gaps: Sequence[int], ready: int, latest: int
) -> list[int] | None:
    """Find the starts that can be reached and from which the rest can be done in time."""
    kept = _reached(task, may, gaps, ready)
    kept[-1] &= between(0, latest - task.lengths[-1] + 1)
    if not kept[-1]:
        return None
    for n in range(len(may) - 2, -1, -1):
        before = backwards(kept[n + 1], gaps[n], task.waits[n])
        kept[n] &= before >> task.lengths[n]
    return kept


def settle(task: Task, placing: Placing, ledger: Ledger) -> None:
    """Write a placing into the ledger."""
    forced = _forced(task, placing.shared)
    starts, me = placing.starts, (task.stretch.piece, task.stretch.number)
    for n, step in enumerate(task.stretch.steps):
        if n in forced:
            continue
        end = starts[n] + task.lengths[n]
        until = starts[n + 1] if n + 1 < len(starts) and task.after[n] else end
        for name, count in step.holds.items():
            ledger.take(name, count, starts[n], until)
        if step.hands:
            ledger.take(HANDS, 1, starts[n], end)
        if step.ice > 0.0:
            ledger.lay_ice(starts[n], step.ice)
    loads = list(ledger.loads)
    for number, (low, high) in enumerate(task.blocks):
        member = (*me, low)
        if number in placing.shared:
            old = placing.shared[number]
            at = loads.index(old)
            loads[at] = Load(old.alike, old.starts, old.mass + task.mass, (*old.members, member))
        else:
            alike = task.alike((low, high))
            loads.append(Load(alike, starts[low:high], task.mass, (member,)))
    ledger.loads = tuple(loads)
