"""What is to be done and with what: steps, pieces, the workshop, and the calendar's entries."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from itertools import groupby

HANDS = "hands"  # how the people are called where resources are told
MARK = 300  # [s] all times fall on marks so far apart; what takes longer is rounded up
DAY = 86400 // MARK  # marks a day
FOREVER = 10**9  # marks, more than any calendar has

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def day_name(day: date) -> str:
    """Say a day in English wherever it is run: ``Mon 2 Mar``."""
    return f"{WEEKDAYS[day.weekday()]} {day.day} {_MONTHS[day.month - 1]}"


@dataclass(frozen=True)
class Step:
    """One thing that happens to a piece; the next step follows it.

    What a step holds it holds from its start until the next step starts, so that a bundle keeps
    its rack while it waits. What two steps in a row both hold stays one and the same thing.

    Steps in a row with the same ``washload`` are one machine load. Pieces of that colour family
    whose load steps are alike may share it: hands and machine are then needed once, and are let
    go at the end of the load's last step.
    """

    name: str
    seconds: float  # [s] it takes at least this long
    hands: bool = False  # somebody does it, within working hours
    holds: Mapping[str, int] = field(default_factory=dict)  # how many of each resource
    ice: float = 0.0  # [kg] laid on the day on which it starts
    longest_wait: float = math.inf  # [s] from its end until the next step must begin
    washload: str | None = None  # colour family of the machine load that it is part of
    goes_on: bool = False  # it lasts until the next step begins, as a batch does
    remind: bool = False  # a bell rings before it, as before the wash-out


@dataclass(frozen=True)
class Piece:
    """One garment and what is done to it, round after round."""

    name: str
    rounds: Sequence[Sequence[Step]]
    mass: float = 0.0  # [kg] of the dry cloth, for wash loads


@dataclass(frozen=True)
class Workshop:
    """When work is done, by how many, and with what."""

    start: date
    hours: Mapping[str, tuple[time, time]]
    """Of every weekday that is worked, by ``WEEKDAYS``: from and to; to 0:00 is midnight."""
    days_off: frozenset[date] = frozenset()
    resources: Mapping[str, int] = field(default_factory=dict)  # how many of each there are
    ice_per_day: float = math.inf  # [kg] that can be frozen or bought
    load_kg: float = math.inf  # [kg] of dry cloth that a wash load takes
    load_pieces: int | None = None  # at most so many pieces a load
    hands: int = 1  # people


@dataclass(frozen=True)
class Entry:
    """One step of one piece in the calendar; local times that know no time zone."""

    piece: str
    round: int  # from 1
    step: str
    start: datetime
    end: datetime
    hands: bool
    holds: tuple[tuple[str, int], ...] = ()
    """Which of each resource, from 1; 0 where there is one only."""
    until: datetime | None = None  # when it lets go of what it holds; None: at its end
    load: int = 0  # number of the wash load, from 1; 0: none
    ice: float = 0.0  # [kg]
    remind: bool = False
    note: str = ""

    @property
    def where(self) -> str:
        """Name what it holds: ``rack 1, 1-1/2 in pipe 2``."""
        return ", ".join(f"{name} {number}" if number else name for name, number in self.holds)


def together(entries: Sequence[Entry]) -> list[tuple[Entry, tuple[str, ...]]]:
    """Put what is done to several pieces at once, as a wash load is, into one, with their names."""
    found: dict[object, tuple[Entry, tuple[str, ...]]] = {}
    for number, entry in enumerate(entries):
        key = (entry.load, entry.step, entry.start) if entry.load else number
        first, names = found.get(key, (entry, ()))
        found[key] = first, (*names, entry.piece)
    return list(found.values())


@dataclass(frozen=True)
class Stretch:
    """Steps of one piece between two points where it may lie for any time and holds nothing."""

    piece: int  # number among the pieces, from 0
    number: int  # among the piece's stretches, from 0
    steps: tuple[Step, ...]
    rounds: tuple[int, ...]  # of each step, from 1

    @property
    def pivot(self) -> int:
        """The longest step: what comes before it is done late, what comes after it early."""
        return max(range(len(self.steps)), key=lambda n: (self.steps[n].seconds, -n))


def same_load(one: Step, other: Step) -> bool:
    """Whether two steps in a row belong to one machine load."""
    return one.washload is not None and one.washload == other.washload


def lets_go(before: Step, after: Step) -> bool:
    """Whether a piece may lie for ever between two steps in a row, with nothing held."""
    in_load = same_load(before, after)
    held = any(before.holds.values()) and (before.washload is None or in_load)
    return math.isinf(before.longest_wait) and not held and not in_load


def stretches(number: int, piece: Piece) -> Iterator[Stretch]:
    """Cut a piece's steps wherever it may lie for ever and holds nothing."""
    steps = [(step, turn) for turn, each in enumerate(piece.rounds, 1) for step in each]
    cuts = [n for n in range(1, len(steps)) if lets_go(steps[n - 1][0], steps[n][0])]
    for count, (low, high) in enumerate(zip([0, *cuts], [*cuts, len(steps)], strict=True)):
        part = steps[low:high]
        yield Stretch(number, count, tuple(s for s, _ in part), tuple(t for _, t in part))


def load_blocks(stretch: Stretch) -> list[tuple[int, int]]:
    """Find the machine loads of a stretch: first step and one past the last of each."""
    blocks, at = [], 0
    for family, group in groupby(step.washload for step in stretch.steps):
        size = len(list(group))
        if family is not None:
            blocks.append((at, at + size))
        at += size
    return blocks


def marks(seconds: float) -> int:
    """Count the marks that a time takes, rounded up, at least one."""
    return max(1, math.ceil(seconds / MARK - 1e-9))


def wait_marks(step: Step) -> int:
    """Count the marks that may pass until the next step begins, `FOREVER` where any may.

    Counted so that step and wait together never exceed what was allowed, but for a step whose
    own time does not fall on a mark.
    """
    if math.isinf(step.longest_wait):
        return FOREVER
    longest = math.floor((step.seconds + step.longest_wait) / MARK + 1e-9)
    return max(0, longest - marks(step.seconds))
