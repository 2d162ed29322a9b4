"""In which order pieces are put into the calendar: several rules, then exchanges.

Given an order, every stretch in turn takes the place in which it ends earliest among what stands
already (`placing.place`). What remains is the order, and how patiently loads wait for company.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from meltwick.chance import key
from meltwick.workshop.jobs import DAY, Piece, stretches
from meltwick.workshop.ledger import Ledger, Load, Season
from meltwick.workshop.placing import Placing, Style, Task, place, settle

Order = tuple[int, ...]
"""Numbers of the pieces; the n-th time that one stands there means its n-th stretch."""
Spot = tuple[int, int]
"""A piece and its stretch."""

_TRIES = 24_000  # steps that the exchanges place in all; measured, see the tests
_DELAYS = (DAY // 24, DAY // 8, DAY)  # [marks] that a new load may wait for others
_MEMORY = 0.04  # share of the changes that late acceptance looks back
_KEPT = 3  # orders that are filled in every way
_FEWEST = 40  # exchanges in the usual search, however many pieces there are


@dataclass(frozen=True)
class Work:
    """Every piece's stretches, and how much of each piece follows a stretch."""

    tasks: Sequence[Sequence[Task]]

    @classmethod
    def of(cls, pieces: Sequence[Piece]) -> Work:
        """Cut pieces into stretches."""
        return cls(
            [
                [Task(part, piece.mass) for part in stretches(number, piece)]
                for number, piece in enumerate(pieces)
            ]
        )

    @cached_property
    def spots(self) -> list[Spot]:
        """All stretches."""
        return [(piece, n) for piece, tasks in enumerate(self.tasks) for n in range(len(tasks))]

    @cached_property
    def blocks(self) -> set[tuple[object, ...]]:
        """Every kind of machine load; at least one load of each must run."""
        return {
            task.alike(block) for tasks in self.tasks for task in tasks for block in task.blocks
        }

    def rest(self, piece: int, number: int) -> int:
        """Count the marks of the stretches that follow one, at least."""
        return sum(task.least for task in self.tasks[piece][number + 1 :])

    @property
    def size(self) -> int:
        """Steps in all."""
        return sum(len(task.lengths) for tasks in self.tasks for task in tasks)


@dataclass(frozen=True)
class State:
    """A calendar in the making."""

    ledger: Ledger
    placings: dict[Spot, Placing]
    count: tuple[int, ...]  # of each piece's stretches that stand
    ready: tuple[int, ...]  # mark at which each piece's next stretch may start

    def after(self, task: Task, placing: Placing) -> State:
        """Make the state with one stretch more."""
        piece, number = task.stretch.piece, task.stretch.number
        ledger = self.ledger.copy()
        settle(task, placing, ledger)
        ready, count = list(self.ready), list(self.count)
        ready[piece], count[piece] = placing.end, number + 1
        placings = {**self.placings, (piece, number): placing}
        return State(ledger, placings, tuple(count), tuple(ready))


@dataclass(frozen=True)
class Fit:
    """A whole calendar."""

    work: Work
    order: Order
    style: Style
    season: Season
    trail: tuple[State, ...]  # after every stretch

    @property
    def placings(self) -> dict[Spot, Placing]:
        """Where every stretch stands."""
        return self.trail[-1].placings

    @property
    def ledger(self) -> Ledger:
        """What is taken in the end."""
        return self.trail[-1].ledger

    @property
    def ready(self) -> int:
        """Mark at which the last piece is ready."""
        return max(self.trail[-1].ready)

    @cached_property
    def score(self) -> tuple[int, int, int]:
        """What is to be small: the end, the number of loads, the sum of all ends."""
        return self.ready, len(self.ledger.loads), sum(self.trail[-1].ready)


def fill(
    work: Work,
    season: Season,
    order: Order,
    style: Style,
    latest: int | None = None,
    begun: Sequence[State] | None = None,
) -> Fit | None:
    """Put all pieces into an empty calendar in an order.

    Parameters
    ----------
    work, season : Work, Season
        The pieces, and the days that may be used.
    order, style : Order, Style
        How it is done.
    latest : int, optional
        Mark by which all must be ready.
    begun : sequence of State, optional
        Of the same season: what stands after 0, 1, 2 ... of the order's stretches already.

    Returns
    -------
    Fit or None
        None where a piece does not fit in time.
    """
    end = season.days * DAY if latest is None else latest
    none = (0,) * len(work.tasks)
    trail = list(begun or [State(Ledger.empty(season), {}, none, none)])
    for piece in order[len(trail) - 1 :]:
        now = trail[-1]
        number, ready = now.count[piece], now.ready[piece]
        task = work.tasks[piece][number]
        placing = place(task, ready, now.ledger, style, end - work.rest(piece, number))
        if placing is None:
            return None
        trail.append(now.after(task, placing))
    return Fit(work, order, style, season, tuple(trail))


# --------------------------------------------------------------------------------- rules


def rules(work: Work) -> Iterator[Order]:
    """Orders by plain rules: as given, by what still follows, round by round, short ones first."""
    spots = work.spots

    def left(spot: Spot) -> int:
        return work.rest(*spot) + work.tasks[spot[0]][spot[1]].least

    def held(spot: Spot) -> int:
        task = work.tasks[spot[0]][spot[1]]
        both = zip(task.lengths, task.stretch.steps, strict=True)
        return sum(length for length, step in both if step.holds)

    sorts = (
        lambda spot: spot,
        lambda spot: (-left(spot), spot),
        lambda spot: (spot[1], -left(spot), spot),
        lambda spot: (spot[1], spot),
        lambda spot: (spot[1], left(spot), spot),
        lambda spot: (-left((spot[0], 0)), spot),
        lambda spot: (left((spot[0], 0)), spot),
        lambda spot: (spot[1], -held(spot), spot),
    )
    seen = set()
    for rule in sorts:
        order = tuple(piece for piece, _ in sorted(spots, key=rule))
        if order not in seen:
            seen.add(order)
            yield order


def exchanged(fit: Fit, turn: int) -> Order:
    """Change an order a little, the same way for the same turn.

    Every second time something of the piece that is ready last moves forward; else two change
    places.
    """
    draw = int(key(0, "exchange", turn))
    order, many = list(fit.order), len(fit.order)
    a, b = draw % many, (draw >> 20) % many
    if turn % 2:
        latest = [n for n, end in enumerate(fit.trail[-1].ready) if end == fit.ready]
        piece = latest[(draw >> 40) % len(latest)]
        places = [n for n, each in enumerate(order) if each == piece]
        old = places[a % len(places)]
        order.insert(b % (old + 1), order.pop(old))
    else:
        order[a], order[b] = order[b], order[a]
    return tuple(order)


# -------------------------------------------------------------------------------- search


def search(work: Work, season: Season, soonest: int, effort: float = 1.0) -> Fit | None:
    """Find a calendar that ends early, and among such one with few loads.

    Parameters
    ----------
    work : Work
        All pieces.
    season : Season
        Days that may be used.
    soonest : int
        Mark before which no calendar can end; the search stops when it is met.
    effort : float
        Share of the usual number of exchanges.

    Returns
    -------
    Fit or None
        None where no rule finds room in the season.
    """
    ruled = [fill(work, season, order, Style()) for order in rules(work)]
    found = sorted((fit for fit in ruled if fit), key=lambda fit: fit.score)
    if not found:
        return None
    best = found[0]
    short = Season.of(season.workshop, best.ready // DAY + 1)
    for fit in found[:_KEPT]:
        for style in _styles(work):
            best = _better(best, fill(work, short, fit.order, style, best.ready))
    tries = round(effort * max(_FEWEST, _TRIES / work.size))
    best = _exchange(best, soonest, tries, loads=False)
    return _exchange(best, soonest, tries // 2, loads=True)


def _better(one: Fit, other: Fit | None) -> Fit:
    return other if other and other.score <= one.score else one


def _styles(work: Work) -> Iterator[Style]:
    """Ways to fill that are tried with every rule."""
    for delay in (0, *_DELAYS) if work.blocks else (0,):
        yield Style(dict.fromkeys(work.spots, delay))


def _exchange(best: Fit, soonest: int, tries: int, loads: bool) -> Fit:
    """Change order and delays again and again.

    A change is kept when it is no worse than what stood some changes before (late acceptance:
    Burke & Bykov 2017, from memory), so that the search also leaves a good place for a better.
    First only the ends count; then, with ``loads``, their number too.
    """
    here, past = best, [_worth(best, loads)] * max(1, round(_MEMORY * tries))
    fewest = len(best.work.blocks)
    for turn in range(tries):
        if best.ready <= soonest and (not loads or len(best.ledger.loads) <= fewest):
            break
        place = turn % len(past)
        worst = max(past[place], _worth(here, loads))
        tried = _changed(here, turn, best.ready if loads else worst[0], loads)
        if tried and _worth(tried, loads) <= worst:
            here = tried
            if _worth(here, loads) < _worth(best, loads):
                best = here
        past[place] = _worth(here, loads)
    return best


def _worth(fit: Fit, loads: bool) -> tuple[int, int, int]:
    ready, count, ends = fit.score
    return (ready, count, ends) if loads else (ready, 0, ends)


def _changed(fit: Fit, turn: int, latest: int, loads: bool) -> Fit | None:
    """Make a calendar that differs a little, unless it ends later."""
    draw = int(key(0, "change", turn))
    order, style = fit.order, fit.style
    pairs = _mergeable(fit) if loads and draw % 2 else []
    if pairs:
        order, style = _merged(fit, *pairs[(draw >> 4) % len(pairs)])
        return fill(fit.work, fit.season, order, style, latest)
    if draw % 3 or not fit.work.blocks:
        order = exchanged(fit, turn)
        both = enumerate(zip(order, fit.order, strict=True))
        same = next((n for n, (one, other) in both if one != other), len(order))
    else:
        same = (draw >> 4) % len(order)
        piece = order[same]
        spot = piece, order[:same].count(piece)
        delay = (draw >> 20) % 25 * (DAY // 24)
        style = replace(style, delays={**style.delays, spot: delay})
    return fill(fit.work, fit.season, order, style, latest, fit.trail[: same + 1])


def _mergeable(fit: Fit) -> list[tuple[Load, Load]]:
    """Find loads that might be one: an earlier and a later of one kind, two days apart at most."""
    return [
        (one, other)
        for one in fit.ledger.loads
        for other in fit.ledger.loads
        if one.alike == other.alike
        and 0 <= other.starts[0] - one.starts[0] <= 2 * DAY
        and one != other
    ]


def _merged(fit: Fit, one: Load, other: Load) -> tuple[Order, Style]:
    """Let the earlier load wait for the later one, whose pieces then come after it in the order."""
    delays = dict(fit.style.delays)
    spots = [(piece, number) for piece, number, _ in one.members]
    for spot in spots:
        delays[spot] = delays.get(spot, 0) + other.starts[0] - one.starts[0]
    places, seen = {}, [0] * len(fit.work.tasks)
    for n, piece in enumerate(fit.order):
        places[piece, seen[piece]] = n
        seen[piece] += 1
    after = max(places[spot] for spot in spots)
    moved = sorted(places[piece, number] for piece, number, _ in other.members)
    early = [n for n in moved if n < after]
    kept = [n for n in range(len(fit.order)) if n not in early]
    at = kept.index(after) + 1
    order = tuple(fit.order[n] for n in (*kept[:at], *early, *kept[at:]))
    return order, replace(fit.style, delays=delays)
