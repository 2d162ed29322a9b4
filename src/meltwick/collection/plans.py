"""A piece's steps as the calendar takes them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta

from meltwick.collection.costs import Needs, poles_of
from meltwick.collection.models import WorkshopTable
from meltwick.collection.reading import Piece
from meltwick.stock import Stock
from meltwick.types import Round
from meltwick.worksheet.timeline import PATIENCE, Step, steps_of
from meltwick.workshop.jobs import Piece as Job
from meltwick.workshop.jobs import Step as Task
from meltwick.workshop.jobs import Workshop

_HOUR = 3600.0
RACK, TUB, MACHINE = "rack", "tub", "machine"
NEW = "new, undyed"
"""What blanks are washed with before anything is done to them."""
# How long a piece may lie after a step, so that a collection can be fitted [s]; all chosen.
_WAITS = {
    "scour": math.inf,
    "mix": 2 * _HOUR,
    "soak": 24 * _HOUR,
    "wring": 12 * _HOUR,
    "wet": 12 * _HOUR,
    "hang": 0.0,
    "dry": math.inf,
    "fold": 24 * _HOUR,
    "soda": 2 * _HOUR,
    "ice": 0.0,
    "more": 0.0,
    "turn": 0.0,
    "melt": 0.0,
    "batch": PATIENCE,
    "rinse": 4 * _HOUR,
    "wash": math.inf,
    "line": math.inf,
}


def jobs_of(pieces: Sequence[tuple[Piece, Needs, str]]) -> list[Job]:
    """Write every piece, as often as it is made, as steps that hold poles, racks and tubs.

    Parameters
    ----------
    pieces : sequence of (Piece, Needs, str)
        The last is the colour family that it is washed with.
    """
    jobs = []
    for piece, needs, family in pieces:
        rounds: list[list[Task]] = [[] for _ in piece.recipe.rounds]
        steps = steps_of(piece.recipe)
        for n, step in enumerate(steps):
            after = steps[n + 1] if n + 1 < len(steps) else None
            turn = piece.recipe.rounds[step.round - 1]
            rounds[step.round - 1] += _tasks(step, after, turn, family)
        jobs += [Job(name, rounds, needs.mass) for name in piece.copies]
    return jobs


def _tasks(step: Step, after: Step | None, turn: Round, family: str) -> list[Task]:
    wait = _WAITS[step.kind]
    if step.kind == "melt" and after is not None and after.kind != "batch":
        wait = PATIENCE if after.kind == "turn" else 1800.0
    held: dict[str, int] = {}
    bound = step.kind in ("ice", "more", "turn", "melt", "batch")
    if bound and not turn.tub:
        held[RACK] = 1
    if step.kind in ("mix", "soak") or (bound and turn.tub):
        held[TUB] = 1
    if bound or step.kind in ("fold", "soda", "rinse"):
        held |= dict.fromkeys(poles_of(turn), 1)
    if step.kind in ("scour", "wash"):
        return _washes(step, family if step.kind == "wash" else NEW, wait)
    return [
        Task(
            step.title.lower(),
            step.seconds,
            hands=step.hands,
            holds=held,
            ice=step.ice,
            longest_wait=wait,
            goes_on=step.kind in ("soak", "batch", "melt"),
            remind=step.kind == "rinse",
        )
    ]


def _washes(step: Step, family: str, wait: float) -> list[Task]:
    machine = {MACHINE: 1}
    return [
        Task("load the machine", 600.0, True, machine, longest_wait=0.0, washload=family),
        Task(step.title.lower(), step.seconds, False, machine, longest_wait=wait, washload=family),
    ]


def workshop_of(
    table: WorkshopTable, needs: Sequence[Needs], stock: Stock, today: date
) -> Workshop:
    """Write the maker's workshop as the calendar takes it; poles not listed are there once."""
    named = {stock.pole_name(pole): count for pole, count in table.poles.items()}
    used = {name for each in needs for name in each.poles}
    poles = {name: named.get(name, 0 if named else 1) for name in sorted(used | set(named))}
    return Workshop(
        start=table.start or today + timedelta(days=1),
        hours=table.hours,
        days_off=frozenset(table.days_off),
        resources={RACK: table.racks, TUB: table.tubs, MACHINE: table.machines, **poles},
        ice_per_day=math.inf if table.ice is None else table.ice,
        load_kg=table.load,
        load_pieces=table.load_pieces,
        hands=table.people,
    )
