"""Checks a calendar against what was asked, from the records alone; and small collections."""

from __future__ import annotations

import math
import random
from collections import defaultdict
from datetime import date, datetime, time, timedelta

from meltwick.workshop.jobs import Piece, Step, Workshop

NAMES = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MARK = timedelta(minutes=5)
HOUR = 3600.0
ALL_DAY = dict.fromkeys(NAMES, (time(0), time(0)))
OFFICE = dict.fromkeys(NAMES[:5], (time(9), time(17)))


def most_at_once(spans):
    """Largest sum of counts at one time; a span does not hold at its end."""
    turns = sorted([(b, 1, n) for b, e, n in spans if e > b] + [(e, 0, -n) for b, e, n in spans])
    most = now = 0
    for _, _, change in turns:
        now += change
        most = max(most, now)
    return most


def worked(shop: Workshop, begin: datetime, end: datetime) -> bool:
    """Whether a time lies within hours, those of two days where both meet at midnight."""
    day = begin.date()
    midnight = datetime.combine(day + timedelta(days=1), time(0))
    if end > midnight:
        return worked(shop, begin, midnight) and worked(shop, midnight, end)
    if day in shop.days_off or NAMES[day.weekday()] not in shop.hours:
        return False
    low, high = shop.hours[NAMES[day.weekday()]]
    closes = datetime.combine(day, high) + timedelta(days=high == time(0))
    return datetime.combine(day, low) <= begin and end <= closes


def check(pieces, shop, entries):
    """Assert every constraint; returns when the last piece is ready and how many loads ran."""
    assert list(entries) == sorted(entries, key=lambda e: e.start)
    hands, held, units, ice = [], defaultdict(list), defaultdict(list), defaultdict(float)
    loads = defaultdict(list)
    for piece in pieces:
        mine = sorted((e for e in entries if e.piece == piece.name), key=lambda e: e.start)
        steps = [(n, step) for n, turn in enumerate(piece.rounds, 1) for step in turn]
        assert [(e.round, e.step) for e in mine] == [(n, step.name) for n, step in steps]
        for n, (entry, (_, step)) in enumerate(zip(mine, steps, strict=True)):
            after = mine[n + 1] if n + 1 < len(mine) else None
            check_step(shop, entry, step, after)
            ends_load = step.washload is not None and (
                after is None or steps[n + 1][1].washload != step.washload
            )
            until = entry.end if after is None or ends_load else after.start
            assert entry.until == until or not entry.holds
            assert sorted({name for name, _ in entry.holds}) == sorted(
                name for name, count in step.holds.items() if count
            )
            for name, count in step.holds.items():
                assert sum(each == name for each, _ in entry.holds) == count
            if n and not same_load(steps[n - 1][1], step) and mine[n - 1].until == entry.start:
                kept(mine[n - 1], entry, steps[n - 1][1], step)
            ice[entry.start.date()] += step.ice
            assert (entry.load > 0) == (step.washload is not None)
            if step.washload is not None:
                loads[entry.load].append((entry, step, piece, until))
                continue
            demand(hands, held, units, entry, step, until)
    count_loads(shop, loads, hands, held, units)
    assert most_at_once(hands) <= shop.hands
    for name, spans in held.items():
        assert most_at_once(spans) <= shop.resources[name], name
    for spans in units.values():
        assert most_at_once(spans) <= 1
    for (name, unit), _ in units.items():
        assert unit <= shop.resources[name]
        assert (unit == 0) == (shop.resources[name] == 1)
    assert all(mass <= shop.ice_per_day + 1e-6 for mass in ice.values())
    return max(e.end for e in entries), len(loads)


def same_load(before, after):
    return before.washload is not None or after.washload is not None


def kept(before, entry, step, following):
    """What both hold in full number is the same thing."""
    for name, count in step.holds.items():
        if following.holds.get(name, 0) == count:
            one = [unit for each, unit in before.holds if each == name]
            assert one == [unit for each, unit in entry.holds if each == name]


def check_step(shop, entry, step, after):
    """Check one step's own length, hours, and the wait behind it."""
    least = timedelta(seconds=step.seconds)
    uneven = step.seconds % 300 != 0
    assert entry.start.minute % 5 == entry.end.minute % 5 == 0
    assert entry.hands == step.hands
    assert entry.end - entry.start >= least
    if step.goes_on and after is not None:
        assert entry.end == after.start
    else:
        assert entry.end - entry.start < least + MARK
    if step.hands:
        assert worked(shop, entry.start, entry.end)
    if after is not None:
        assert after.start >= entry.start + least
        assert after.start >= entry.end
        if math.isfinite(step.longest_wait):
            latest = entry.start + least + timedelta(seconds=step.longest_wait)
            assert after.start <= latest + uneven * MARK


def demand(hands, held, units, entry, step, until):
    if step.hands:
        hands.append((entry.start, entry.end, 1))
    for name, count in step.holds.items():
        held[name].append((entry.start, until, count))
    for each in entry.holds:
        units[each].append((entry.start, until, 1))


def count_loads(shop, loads, hands, held, units):
    """A load's steps run once, for all its members at the same times."""
    assert sorted(loads) == list(range(1, len(loads) + 1))
    for members in loads.values():
        by_piece = defaultdict(list)
        for entry, step, piece, until in members:
            by_piece[piece.name].append((entry, step, until))
        runs = [[(e.step, e.start, e.end) for e, _, _ in each] for each in by_piece.values()]
        assert all(run == runs[0] for run in runs)
        assert len({step.washload for _, step, _, _ in members}) == 1
        masses = {piece.name: piece.mass for _, _, piece, _ in members}
        assert sum(masses.values()) <= shop.load_kg + 1e-6
        assert shop.load_pieces is None or len(masses) <= shop.load_pieces
        for entry, step, until in next(iter(by_piece.values())):
            demand(hands, held, units, entry, step, until)


# ------------------------------------------------------------------- small collections


def small(seed: int) -> tuple[list[Piece], Workshop]:
    """Two to four pieces in whole hours, for `exact`."""
    draw = random.Random(seed)
    pieces = []
    for n in range(draw.choice([2, 3, 3, 4])):
        pole, longer = draw.choice(["pipe", "pole"]), draw.choice([0, 6, 24, 48])
        onto = {pole: 1, "rack": 1}
        steps = [
            Step("soak", HOUR, True, {"tub": 1}, longest_wait=draw.choice([2, 24]) * HOUR),
            Step("fold", draw.choice([1, 2]) * HOUR, True, {pole: 1}, longest_wait=24 * HOUR),
            Step("ice", HOUR, True, onto, draw.choice([1.0, 2.0]), 0.0),
            Step("batch", draw.choice([12, 20, 24]) * HOUR, False, onto, 0.0, (12 + longer) * HOUR),
            Step("rinse", HOUR, True, {}, longest_wait=24 * HOUR),
            Step("wash", 2 * HOUR, holds={"machine": 1}, washload=draw.choice(["red", "blue"])),
        ]
        if draw.random() < 0.3:
            steps = steps[2:]
        turns = 2 if draw.random() < 0.2 else 1
        pieces.append(Piece(f"p{n}", [steps] * turns, draw.choice([0.2, 0.3])))
    days = NAMES[: draw.choice([5, 7])]
    hours = {day: (time(9), time(draw.choice([13, 17]))) for day in days}
    there = {"rack": draw.choice([1, 2]), "pipe": 1, "pole": draw.choice([1, 2])}
    shop = Workshop(
        date(2026, 3, draw.choice([2, 5])),
        hours,
        resources={**there, "tub": 1, "machine": 1},
        ice_per_day=draw.choice([2.0, 3.0, 9.0]),
        load_kg=0.5,
    )
    return pieces, shop
