"""What is used how much, and what one more of it would bring."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from meltwick.workshop.calendar import fit
from meltwick.workshop.jobs import HANDS, MARK, Entry, Piece, Workshop, together
from meltwick.workshop.ledger import day_hours

ICE = "ice"
_EFFORT = 0.5  # of the usual search, for every trial; chosen


@dataclass(frozen=True)
class Use:
    """How much of one thing is used."""

    name: str  # a resource, or hands, or ice
    count: float  # how many there are; of ice, kg a day
    share: float  # of what could be used from the first step's start to the last one's end, 0..1


@dataclass(frozen=True)
class Relief:
    """What one more of something would bring."""

    name: str
    sooner: timedelta  # by which the last piece would be ready earlier, 0 where it brings nothing
    line: str  # in words


def busy(entries: Sequence[Entry], workshop: Workshop) -> tuple[Use, ...]:
    """Say for every resource, for hands and ice, what share is used; the busiest first."""
    begin, end = min(e.start for e in entries), max(e.end for e in entries)
    span = (end - begin).total_seconds()
    held = {
        (name, unit, e.start, e.until or e.end) for e in entries for name, unit in e.holds
    }  # a set, as those who share a load hold its machine together
    seconds: dict[str, float] = defaultdict(float)
    for name, _, start, until in held:
        seconds[name] += (until - start).total_seconds()
    uses = [
        Use(name, count, seconds[name] / (count * span))
        for name, count in workshop.resources.items()
        if count
    ]
    days = [begin.date() + timedelta(days=n) for n in range((end.date() - begin.date()).days + 1)]
    open_ = sum(_open(workshop, day, begin, end) for day in days) * workshop.hands
    by_hand = sum((e.end - e.start).total_seconds() for e, _ in together(entries) if e.hands)
    uses.append(Use(HANDS, workshop.hands, by_hand / open_ if open_ else 0.0))
    if math.isfinite(workshop.ice_per_day) and workshop.ice_per_day > 0.0:
        iced = sum(_open(workshop, day, begin, end) > 0.0 for day in days)
        laid = sum(e.ice for e in entries)
        uses.append(Use(ICE, workshop.ice_per_day, laid / (workshop.ice_per_day * iced)))
    return tuple(sorted(uses, key=lambda use: (-use.share, use.name)))


def _open(workshop: Workshop, day: date, begin: datetime, end: datetime) -> float:
    """Seconds that are worked on a day, from one time to another."""
    low, high = day_hours(workshop, day)
    midnight = datetime.combine(day, datetime.min.time())
    since = max(begin, midnight + timedelta(seconds=low * MARK))
    till = min(end, midnight + timedelta(seconds=high * MARK))
    return max(0.0, (till - since).total_seconds())


def reliefs(
    pieces: Sequence[Piece], workshop: Workshop, entries: Sequence[Entry]
) -> tuple[Relief, ...]:
    """Fit again with one more of each thing that is used; the greatest gain first.

    Half as much ice again is tried for ice. The search is not exact: a gain is at least what it
    finds, and where it finds none there may be one.
    """
    ready = max(e.end for e in entries)
    tried: list[tuple[str, str, Workshop]] = []
    for use in busy(entries, workshop):
        if use.share == 0.0:
            continue
        if use.name == ICE:
            more = replace(workshop, ice_per_day=1.5 * workshop.ice_per_day)
            tried.append((use.name, "half as much ice again", more))
        elif use.name == HANDS:
            words = f"{_ordinal(workshop.hands + 1)} pair of hands"
            tried.append((use.name, words, replace(workshop, hands=workshop.hands + 1)))
        else:
            count = workshop.resources[use.name] + 1
            resources = {**workshop.resources, use.name: count}
            words = f"{_ordinal(count)} {use.name}"
            tried.append((use.name, words, replace(workshop, resources=resources)))
    found = []
    for name, words, shop in tried:
        sooner = ready - max(e.end for e in fit(pieces, shop, _EFFORT))
        sooner = max(sooner, timedelta())
        found.append(Relief(name, sooner, f"{words} would {_gain(sooner)}"))
    return tuple(sorted(found, key=lambda each: -each.sooner))


_ORDINALS = ("a first", "a second", "a third", "a fourth", "a fifth", "a sixth", "a seventh")


def _ordinal(number: int) -> str:
    return _ORDINALS[number - 1] if number <= len(_ORDINALS) else "one more"


_COUNTS = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def _gain(sooner: timedelta) -> str:
    hours = round(sooner.total_seconds() / 3600.0)
    if hours == 0:
        return "finish no sooner"
    number, word = (hours, "hour") if hours < 20 else (round(hours / 24.0), "day")
    count = _COUNTS[number - 1] if number <= len(_COUNTS) else str(number)
    return f"finish {count} {word}{'' if number == 1 else 's'} sooner"
