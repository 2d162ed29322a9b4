"""The best calendar there is, on hours, as a mixed-integer program: a second way, for small cases.

x[j, t] = 1 when step j starts in hour t (a time-indexed form: Pritsker, Watters & Wolfe 1969, from
memory). Where all times are whole hours some best calendar starts everything on the hour, since
once the orders are chosen what is left are differences of whole numbers.
"""

from __future__ import annotations

import math
from collections import defaultdict
from datetime import timedelta

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

HOUR = 3600.0


class Program:
    """Rows and columns as they come."""

    def __init__(self):
        self.cost, self.high, self.whole = [], [], []
        self.rows, self.low, self.top = [], [], []

    def column(self, cost=0.0, high=1.0, whole=1):
        self.cost.append(cost)
        self.high.append(high)
        self.whole.append(whole)
        return len(self.cost) - 1

    def row(self, terms, low, top):
        self.rows.append(terms)
        self.low.append(low)
        self.top.append(top)

    def solve(self, seconds):
        entries = [(r, c, v) for r, row in enumerate(self.rows) for c, v in row]
        r, c, v = np.array(entries).T
        matrix = coo_array((v, (r.astype(int), c.astype(int))), (len(self.rows), len(self.cost)))
        return milp(
            self.cost,
            integrality=self.whole,
            bounds=Bounds(0, self.high),
            constraints=LinearConstraint(matrix.tocsr(), self.low, self.top),
            options={"time_limit": seconds, "mip_rel_gap": 1e-6},
        )


def open_hours(shop, hours):
    """Whether each hour is worked."""
    names = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
    told = []
    for hour in range(hours):
        day = shop.start + timedelta(days=hour // 24)
        begin, end = (0, 0)
        if day not in shop.days_off and names[day.weekday()] in shop.hours:
            span = shop.hours[names[day.weekday()]]
            begin, end = span[0].hour, span[1].hour or 24
        told.append(begin <= hour % 24 < end)
    return told


def soonest(pieces, shop, hours, seconds=60.0):
    """Hours until the last piece is ready and wash loads, both as few as can be; None if unproven.

    A wash load is one step here, with hands in its first hour if it needs any.
    """
    prog, open_ = Program(), open_hours(shop, hours)
    last = prog.column(1.0, hours, 0)
    hands, held, ice = defaultdict(list), defaultdict(list), defaultdict(list)
    loads = {}
    for piece in pieces:
        steps = [step for turn in piece.rounds for step in turn]
        lengths = [round(step.seconds / HOUR) for step in steps]
        x = [[prog.column() for _ in range(hours)] for _ in steps]
        for n, (step, length) in enumerate(zip(steps, lengths, strict=True)):
            prog.row([(c, 1) for c in x[n]], 1, 1)
            for t in range(hours):
                by_hand = step.hands and not all(open_[t : t + length])
                if by_hand or t + length > hours:
                    prog.row([(x[n][t], 1)], 0, 0)
            if step.washload is not None:
                for t in range(hours):
                    key = (step.washload, t)
                    if key not in loads:
                        loads[key] = (prog.column(1e-3), [], step, length)
                    loads[key][1].append(((x[n][t]), piece.mass))
                continue
            for t in range(hours):
                if step.hands:
                    for u in range(t, min(hours, t + length)):
                        hands[u].append((x[n][t], 1))
                if step.ice:
                    ice[t // 24].append((x[n][t], step.ice))
                for name, count in step.holds.items():
                    for u in range(t, hours):
                        held[name, u].append((x[n][t], count))
                    if n + 1 < len(steps):
                        for u in range(t, hours):
                            held[name, u].append((x[n + 1][t], -count))
                    else:
                        for u in range(t + length, hours):
                            held[name, u].append((x[n][t], -count))
        for n in range(len(steps) - 1):
            for t in range(hours):
                begun = [(c, 1) for c in x[n][: t + 1]]
                soon = [(c, -1) for c in x[n + 1][: max(0, t + lengths[n] + 1)]]
                prog.row(begun + soon, 0, 1) if t + lengths[n] < hours else None
                if not math.isinf(steps[n].longest_wait):
                    wait = round(steps[n].longest_wait / HOUR)
                    by = [(c, -1) for c in x[n + 1][: t + lengths[n] + wait + 1]]
                    prog.row(begun + by, -1, 0)
        prog.row([(last, 1), *((c, -(t + lengths[-1])) for t, c in enumerate(x[-1]))], 0, hours)
    for (_, t), (column, members, step, length) in loads.items():
        for member, _ in members:
            prog.row([(member, 1), (column, -1)], -1, 0)
        if math.isfinite(shop.load_kg):
            prog.row([*members, (column, -shop.load_kg)], -math.inf, 0)
        if shop.load_pieces:
            prog.row([*((m, 1) for m, _ in members), (column, -shop.load_pieces)], -math.inf, 0)
        for u in range(t, min(hours, t + length)):
            for name, count in step.holds.items():
                held[name, u].append((column, count))
            if step.hands:
                hands[u].append((column, 1))
    for terms in hands.values():
        prog.row(terms, 0, shop.hands)
    for (name, _), terms in held.items():
        prog.row(terms, 0, shop.resources[name])
    for terms in ice.values():
        if math.isfinite(shop.ice_per_day):
            prog.row(terms, 0, shop.ice_per_day)
    found = prog.solve(seconds)
    if found.status != 0:
        return None
    count = sum(found.x[column] > 0.5 for column, *_ in loads.values())
    return round(found.x[last]), count
