"""What cannot be read, and what cannot be made in a workshop: one clear line for each."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from difflib import get_close_matches

from meltwick.errors import PlanError, WishError
from meltwick.units import show_mass, show_time
from meltwick.workshop.jobs import DAY, MARK, WEEKDAYS, Piece, Step, Workshop, marks
from meltwick.workshop.ledger import Ledger, Season, day_hours
from meltwick.workshop.placing import Style, Task, place

_LAST_YEAR = 9900  # so that no calendar runs out of dates
_DAYS_OFF = 3660  # [days] from the start within which days off lie
_DUST = 1e-9  # [kg]


def check(pieces: Sequence[Piece], workshop: Workshop) -> None:
    """Read all that a calendar is made from.

    Raises
    ------
    PlanError
        Something is not what it must be.
    WishError
        A piece needs more than the workshop has.
    """
    _check_workshop(workshop)
    if not pieces:
        raise PlanError("there are no pieces to fit into a calendar; name at least one")
    names = [piece.name for piece in pieces]
    for name in names:
        if names.count(name) > 1:
            raise PlanError(f"two pieces are called {name!r}; give each a name of its own")
    for piece in pieces:
        if not any(piece.rounds) or not all(piece.rounds):
            raise PlanError(f"{piece.name}: a round has no steps; leave it out or give it some")
        if not (math.isfinite(piece.mass) and piece.mass >= 0.0):
            raise PlanError(f"{piece.name}: mass {piece.mass:g} kg is none; write 0.2, for 200 g")
        for where, step in _steps(piece):
            _check_step(where, step)
            _check_wish(where, step, workshop)
        _check_mass(piece, workshop)


def _steps(piece: Piece) -> Iterator[tuple[str, Step]]:
    for turn, steps in enumerate(piece.rounds, 1):
        for step in steps:
            yield f"{piece.name}, round {turn}, {step.name}", step


def _count(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and value >= 0


def _check_workshop(shop: Workshop) -> None:
    if not isinstance(shop.start, date) or isinstance(shop.start, datetime):
        raise PlanError(f"start: {shop.start!r} is not a day; write one such as 2026-03-02")
    if shop.start.year > _LAST_YEAR:
        raise PlanError(f"start: the year {shop.start.year} is too late; write one up to 9900")
    if not shop.hours:
        raise PlanError("hours: no day is worked; give at least one weekday its hours")
    for day, (begin, end) in shop.hours.items():
        if day not in WEEKDAYS:
            raise PlanError(f"hours: {day!r} is no weekday; write one of {', '.join(WEEKDAYS)}")
        if end.hour + end.minute + end.second and end <= begin:
            raise PlanError(
                f"hours: {day} ends at {end:%H:%M}, not after its start at {begin:%H:%M};"
                " write from and to of one day, such as 9:00 to 17:00"
            )
    for off in sorted(shop.days_off):
        if (off - shop.start).days > _DAYS_OFF:
            raise PlanError(f"days off: {off} is more than ten years away; write an earlier day")
    for name, count in shop.resources.items():
        if not _count(count):
            raise PlanError(f"{name}: {count!r} is not how many there are; write a whole number")
    if not _count(shop.hands) or not shop.hands:
        raise PlanError(f"hands: {shop.hands!r} people cannot work; write 1 or more")
    pieces = shop.load_pieces
    if pieces is not None and (not _count(pieces) or not pieces):
        raise PlanError(f"load: {pieces!r} pieces are no load; write 1 or more")
    for key, mass in (("ice a day", shop.ice_per_day), ("load", shop.load_kg)):
        if math.isnan(mass) or mass < 0.0:
            raise PlanError(f"{key}: {mass:g} kg cannot be; write 0 or more")


def _check_step(where: str, step: Step) -> None:
    if not (math.isfinite(step.seconds) and step.seconds > 0.0):
        raise PlanError(f"{where}: takes {step.seconds:g} s; write a time above 0, such as 15 min")
    if math.isnan(step.longest_wait) or step.longest_wait < 0.0:
        raise PlanError(f"{where}: longest wait {step.longest_wait:g} s; write 0 or more")
    if not (math.isfinite(step.ice) and step.ice >= 0.0):
        raise PlanError(f"{where}: ice {step.ice:g} kg; write 0 or more")
    if step.washload is not None and step.ice > 0.0:
        raise PlanError(f"{where}: ice in a wash load; lay ice in a step of its own")
    for name, count in step.holds.items():
        if not _count(count):
            raise PlanError(f"{where}: holds {count!r} of {name}; write a whole number")


def _check_wish(where: str, step: Step, shop: Workshop) -> None:
    for name, count in step.holds.items():
        there = shop.resources.get(name, 0)
        if count > there:
            raise WishError(f"{where}: {_lacking(name, count, there, shop.resources)}")
    if step.hands:
        week = [shop.start + timedelta(days=n) for n in range(7)]
        open_days = [day_hours(Workshop(shop.start, shop.hours), day) for day in week]
        longest = max(high - low for low, high in open_days)
        if marks(step.seconds) > longest:
            raise WishError(
                f"{where}: {show_time(step.seconds)} by hand, but the longest day has"
                f" {show_time(longest * MARK)}; work longer that day or split the step in two"
            )
    if step.ice > shop.ice_per_day + _DUST:
        raise WishError(
            f"{where}: {show_mass(step.ice)} of ice, but a day gives"
            f" {show_mass(shop.ice_per_day)}; buy more that day or lay it in two loads"
        )


def _lacking(name: str, count: int, there: int, resources: Mapping[str, int]) -> str:
    has = f"the workshop has {there}" if there else "the workshop has none"
    near = get_close_matches(name, [key for key in resources if key != name], 1)
    hint = f", or use the {near[0]}" if near and resources[near[0]] >= count else ""
    many = f"a {name}" if count == 1 else f"{count} of {name}"
    return f"needs {many}, and {has}; get {'one' if not there else 'more'}{hint}"


def _check_mass(piece: Piece, shop: Workshop) -> None:
    washed = any(step.washload is not None for _, step in _steps(piece))
    if washed and piece.mass > shop.load_kg + _DUST:
        raise WishError(
            f"{piece.name}: weighs {show_mass(piece.mass)} dry, but a wash load takes"
            f" {show_mass(shop.load_kg)}; wash it by hand, or in a larger machine"
        )


# ----------------------------------------------------------------- what no day allows


def why_not(piece: Piece, tasks: Sequence[Task], season: Season) -> str:
    """Say why a piece cannot be made even with the whole workshop to itself.

    Its steps are tried one more at a time; the first that finds no time is named.
    """
    plenty = Season(replace(season.workshop, ice_per_day=math.inf), season.days, season.open)
    for task in tasks:
        for last in range(len(task.lengths)):
            if not _fits(task, last, season):
                return _no_time(piece, task, last, season, iced=_fits(task, last, plenty))
    return f"{piece.name}: does not fit into {season.days} days; work on more days, or longer"


def _fits(task: Task, last: int, season: Season) -> bool:
    stretch = task.stretch
    part = replace(stretch, steps=stretch.steps[: last + 1], rounds=stretch.rounds[: last + 1])
    end = season.days * DAY
    return place(Task(part, task.mass), 0, Ledger.empty(season), Style(), end) is not None


def _no_time(piece: Piece, task: Task, last: int, season: Season, iced: bool) -> str:
    step, before = task.stretch.steps[last], task.stretch.steps[last - 1]
    where = f"{piece.name}, round {task.stretch.rounds[last]}, {step.name}"
    if iced:
        kept = show_mass(season.workshop.ice_per_day)
        return (
            f"{where}: {show_mass(step.ice)} of ice falls on a day that needs ice already, and a"
            f" day gives {kept}; buy more ice for that day or lay less"
        )
    if last == 0:
        return f"{where}: finds no day in {season.days}; work on more days, or longer"
    never = "nobody works then on any day" if step.hands else "it cannot begin then on any day"
    if before.longest_wait == 0.0:
        when = f"must begin as soon as {before.name} ends"
    else:
        when = f"must begin within {show_time(before.longest_wait)} after {before.name}"
    return f"{where}: {when}, and {never}; work on more days or longer, or let it wait longer"
