"""From marks to the entries of a calendar: dates, names of what is held, notes."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, time, timedelta
from itertools import pairwise

from meltwick.workshop.jobs import FOREVER, MARK, WEEKDAYS, Entry, Piece, Step
from meltwick.workshop.search import Fit


@dataclass
class _Row:
    """One step of one piece, while what it holds is named."""

    piece: int
    round: int
    step: Step
    start: int  # [marks]
    end: int
    held: int  # until when it holds what it holds
    until: int | None  # when the next step starts
    longest: int  # marks that may pass after its end
    load: int = 0
    first: bool = True  # of those that share its load
    holds: dict[str, list[int]] = field(default_factory=lambda: defaultdict(list))


@dataclass
class _Hold:
    """One unit of a resource, held over several steps in a row."""

    name: str
    start: int
    end: int
    rows: list[_Row]


def entries(pieces: Sequence[Piece], fit: Fit) -> tuple[Entry, ...]:
    """Write a calendar out, sorted by start, piece and step."""
    numbers = _load_numbers(fit)
    by_piece = [_rows(piece, fit, numbers) for piece in range(len(pieces))]
    holds = [hold for rows in by_piece for hold in _holds(rows)]
    _name(holds, fit.season.workshop.resources)
    _share([row for rows in by_piece for row in rows])
    midnight = datetime.combine(fit.season.workshop.start, time())
    company = _company(pieces, by_piece)
    made = [
        _entry(row, after, pieces, midnight, company)
        for rows in by_piece
        for row, after in zip(rows, [*rows[1:], None], strict=True)
    ]
    place = {piece.name: n for n, piece in enumerate(pieces)}
    return tuple(sorted(made, key=lambda e: (e.start, place[e.piece], e.round, e.end)))


def _load_numbers(fit: Fit) -> dict[tuple[int, int, int], tuple[int, bool]]:
    """Give each load a number, by its start; say of each member whether it is the first."""
    order = sorted(fit.ledger.loads, key=lambda load: (load.starts[0], min(load.members)))
    return {
        member: (number, member == min(load.members))
        for number, load in enumerate(order, 1)
        for member in load.members
    }


def _rows(
    piece: int, fit: Fit, numbers: Mapping[tuple[int, int, int], tuple[int, bool]]
) -> list[_Row]:
    """Lay out the steps of one piece."""
    rows: list[_Row] = []
    for part, task in enumerate(fit.work.tasks[piece]):
        starts = fit.placings[piece, part].starts
        loads = {
            n: numbers[piece, part, low] for low, high in task.blocks for n in range(low, high)
        }
        for n, step in enumerate(task.stretch.steps):
            end = starts[n] + task.lengths[n]
            held = starts[n + 1] if n + 1 < len(starts) and task.after[n] else end
            turn, wait = task.stretch.rounds[n], task.waits[n]
            load, first = loads.get(n, (0, True))
            rows.append(_Row(piece, turn, step, starts[n], end, held, None, wait, load, first))
    for row, after in pairwise(rows):
        row.until = after.start
    return rows


def _holds(rows: Sequence[_Row]) -> Iterator[_Hold]:
    """Join what steps in a row hold; a load's members hold once, by its first."""
    running: dict[tuple[str, int], _Hold] = {}
    before: _Row | None = None
    for row in rows:
        if not row.first:
            before = None
            continue
        goes_on = before is not None and before.held == row.start and before.load == row.load
        now: dict[tuple[str, int], _Hold] = {}
        for name, count in row.step.holds.items():
            for level in range(count):
                hold = running.get((name, level)) if goes_on else None
                if hold is None:
                    hold = _Hold(name, row.start, row.held, [])
                hold.rows.append(row)
                hold.end = row.held
                now[name, level] = hold
        yield from (hold for key, hold in running.items() if now.get(key) is not hold)
        running, before = now, row
    yield from running.values()


def _name(holds: Sequence[_Hold], resources: Mapping[str, int]) -> None:
    """Give every hold the lowest unit that is free; enough are, since counts were kept."""
    free_from: dict[str, list[int]] = {name: [0] * count for name, count in resources.items()}
    for hold in sorted(holds, key=lambda h: (h.start, h.end, h.rows[0].piece)):
        units = free_from[hold.name]
        unit = next(n for n, end in enumerate(units) if end <= hold.start)
        units[unit] = hold.end
        for row in hold.rows:
            row.holds[hold.name].append(unit + 1 if len(units) > 1 else 0)


def _share(rows: Sequence[_Row]) -> None:
    """Let all members of a load know what its first holds."""
    known = {(row.load, row.start): row.holds for row in rows if row.load and row.first}
    for row in rows:
        if not row.first:
            row.holds = known[row.load, row.start]


def _company(pieces: Sequence[Piece], by_piece: Sequence[Sequence[_Row]]) -> dict[int, list[str]]:
    found: dict[int, list[str]] = defaultdict(list)
    for piece, rows in zip(pieces, by_piece, strict=True):
        for number in sorted({row.load for row in rows if row.load}):
            found[number].append(piece.name)
    return found


def _entry(
    row: _Row,
    after: _Row | None,
    pieces: Sequence[Piece],
    midnight: datetime,
    company: Mapping[int, Sequence[str]],
) -> Entry:
    def when(mark: int) -> datetime:
        return midnight + timedelta(seconds=mark * MARK)

    step, name = row.step, pieces[row.piece].name
    notes = []
    if row.load:
        others = [each for each in company[row.load] if each != name]
        notes.append(f"load {row.load}" + (f" with {', '.join(others)}" if others else ""))
    if step.ice > 0.0:
        notes.append(f"{step.ice:.3g} kg of ice")
    if not step.hands and after is not None and 0 < row.longest < FOREVER:
        latest = when(row.end + row.longest)
        notes.append(f"{after.step.name} from {_clock(when(row.end))} to {_clock(latest)}")
    stays = step.goes_on and row.until is not None
    return Entry(
        name,
        row.round,
        step.name,
        when(row.start),
        when(row.until if stays and row.until is not None else row.end),
        step.hands,
        tuple((held, unit) for held, units in row.holds.items() for unit in sorted(units)),
        when(row.held),
        row.load,
        step.ice,
        step.remind,
        "; ".join(notes),
    )


def _clock(at: datetime) -> str:
    """Say weekday and time in English wherever it is run."""
    return f"{WEEKDAYS[at.weekday()]} {at:%H:%M}"
