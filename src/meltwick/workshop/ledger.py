"""What is taken when: hands, resources, ice and wash loads, while a calendar is being made."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, time, timedelta
from functools import cached_property
from typing import Self

from meltwick.workshop.jobs import DAY, HANDS, MARK, WEEKDAYS, Workshop
from meltwick.workshop.marks import between, runs

_DUST = 1e-9  # [kg] rounding in sums


def day_hours(workshop: Workshop, day: date) -> tuple[int, int]:
    """Find the marks after midnight between which a day is worked; equal where it is not."""
    if day in workshop.days_off or WEEKDAYS[day.weekday()] not in workshop.hours:
        return 0, 0
    begin, end = workshop.hours[WEEKDAYS[day.weekday()]]
    return -(-_seconds(begin) // MARK), (_seconds(end) or DAY * MARK) // MARK


def _seconds(clock: time) -> int:
    return clock.hour * 3600 + clock.minute * 60 + clock.second


@dataclass(frozen=True)
class Load:
    """One machine load."""

    alike: tuple[object, ...]  # what its members have in common
    starts: tuple[int, ...]  # of its steps [marks]
    mass: float  # [kg]
    members: tuple[tuple[int, int, int], ...]  # piece, stretch, first step


@dataclass(frozen=True)
class Season:
    """The days that a calendar may use."""

    workshop: Workshop
    days: int
    open: int  # marks within working hours

    @classmethod
    def of(cls, workshop: Workshop, days: int) -> Season:
        """Lay out so many days from the workshop's start."""
        marks = 0
        for number in range(days):
            low, high = day_hours(workshop, workshop.start + timedelta(days=number))
            marks |= between(number * DAY + low, number * DAY + high)
        return cls(workshop, days, marks)

    @cached_property
    def whole(self) -> int:
        """All marks."""
        return between(0, self.days * DAY)


@dataclass
class Ledger:
    """What is taken so far.

    Of every resource there is a set of marks for each unit: the n-th holds the marks at which
    n + 1 or more are taken.
    """

    season: Season
    taken: dict[str, tuple[int, ...]]
    ice: dict[int, float] = field(default_factory=dict)  # [kg] by day
    loads: tuple[Load, ...] = ()
    _seen: dict[tuple[str, int, int], tuple[int, int]] = field(default_factory=dict)

    @classmethod
    def empty(cls, season: Season) -> Self:
        """Begin with nothing taken."""
        there = {**season.workshop.resources, HANDS: season.workshop.hands}
        return cls(season, {name: (0,) * count for name, count in there.items()})

    def copy(self) -> Self:
        """Make another that goes its own way."""
        return type(self)(
            self.season, dict(self.taken), dict(self.ice), self.loads, dict(self._seen)
        )

    def _free(self, name: str, count: int) -> int:
        units = self.taken[name]
        return self.season.whole & ~units[len(units) - count] if count else self.season.whole

    def free(self, holds: Mapping[str, int]) -> int:
        """Find the marks at which so many of each resource are to be had."""
        marks = self.season.whole
        for name, count in holds.items():
            marks &= self._free(name, count)
        return marks

    def _runs(self, name: str, count: int, length: int) -> int:
        """Find the marks from which so many are free so long; kept until the resource changes."""
        key, units = (name, count, length), self.taken[name]
        top = units[len(units) - count]
        known = self._seen.get(key)
        if known is None or known[0] is not top:
            free = self.season.whole & ~top
            known = top, runs(free & self.season.open if name == HANDS else free, length)
            self._seen[key] = known
        return known[1]

    def starts(self, holds: Mapping[str, int], hands: bool, length: int, ice: float) -> int:
        """Find the marks at which a step may start for what it needs itself."""
        marks = between(0, self.season.days * DAY - length + 1)
        for name, count in holds.items():
            if count:
                marks &= self._runs(name, count, length)
        if hands:
            marks &= self._runs(HANDS, 1, length)
        if ice > 0.0:
            room = self.season.workshop.ice_per_day - ice + _DUST
            for day, used in self.ice.items():
                if used > room:
                    marks &= ~between(day * DAY, (day + 1) * DAY)
        return marks

    def ice_fits(self, laid: Iterable[tuple[int, float]]) -> int | None:
        """Return the first mark of a day that would need more ice than it has; None: none would."""
        used = dict(self.ice)
        for mark, mass in laid:
            used[mark // DAY] = used.get(mark // DAY, 0.0) + mass
            if used[mark // DAY] > self.season.workshop.ice_per_day + _DUST:
                return mark // DAY * DAY
        return None

    def take(self, name: str, count: int, low: int, high: int) -> None:
        """Take so many of a resource from one mark up to another."""
        units = list(self.taken[name])
        for _ in range(count):
            carry = between(low, high)
            for n, unit in enumerate(units):
                units[n], carry = unit | carry, unit & carry
        self.taken[name] = tuple(units)

    def lay_ice(self, mark: int, mass: float) -> None:
        """Use ice on the day of a mark."""
        self.ice[mark // DAY] = self.ice.get(mark // DAY, 0.0) + mass
