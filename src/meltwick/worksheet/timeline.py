"""The steps of a plan in time: what hands do, what waits, and when."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from meltwick.advice.hands import fold_and_tie
from meltwick.advice.laying import TURNING, lay
from meltwick.advice.sizes import Garment, weigh
from meltwick.constants import Constants
from meltwick.seep.ice import melt_of
from meltwick.types import Ice, Recipe, Round
from meltwick.units import show_mass, show_temperature, show_time
from meltwick.workshop.jobs import day_name

# How long hands take [s]; all chosen, and told as such: yours will differ.
MIX, WRING, FOLD, LAY, MORE, TURN, RINSE, HANG = (
    60.0 * minutes for minutes in (10, 5, 40, 20, 5, 15, 25, 5)
)
SCOUR, MACHINE, DRY = 5400.0, 3600.0, 12.0 * 3600.0  # [s] hot washes and the line; chosen
PATIENCE = 24.0 * 3600.0
"""How much longer than its plan a batch may wait [s]: fixing gains little beyond a day or two
(common practice, no source), so nobody need get up at night for it."""
_NIGHT = (21, 8)  # hours between which nobody rinses; chosen
_SAY = "allow so long; chosen, yours will differ"


@dataclass(frozen=True)
class Step:
    """One thing that is done, or waited for."""

    kind: str  # soak, fold, ice, melt, batch, rinse, wash ...: what the step is for
    title: str
    lines: tuple[str, ...]
    seconds: float
    hands: bool  # hands are at it; False: it waits by itself
    how: str  # how the time was got
    round: int  # counted from 1
    waits: float = 0.0  # [s] that the next step may come later
    ice: float = 0.0  # [kg] that is laid
    start: float = 0.0  # [s] since the first step


def timeline(recipe: Recipe, hour: float = 10.0) -> tuple[Step, ...]:
    """Lay the steps of a plan one after another.

    Steps that would fall into the night wait for the morning where they may.

    Parameters
    ----------
    recipe : Recipe
        The plan, resolved.
    hour : float
        Of the day when the first step begins, 0 to 24.
    """
    return tuple(_placed(steps_of(recipe), hour))


def steps_of(recipe: Recipe) -> tuple[Step, ...]:
    """List the steps of a plan, none placed in time: each lasts as long as it must."""
    garment = weigh(recipe)
    return tuple(
        replace(step, round=number)
        for number, turn in enumerate(recipe.rounds, 1)
        for step in _round(recipe, turn, garment, number)
    )


def _placed(steps: Iterable[Step], hour: float) -> Iterator[Step]:
    """Give every step its start; what may wait does not end in the night."""
    at = 0.0
    for step in steps:
        step = replace(step, start=at)
        at += step.seconds
        if step.waits:
            wait = _until_morning(at, hour)
            if 0.0 < wait <= step.waits:
                longer = step.seconds + wait
                step = replace(step, seconds=longer, how=f"{step.how}; and on until the morning")
                at += wait
        yield step


def _until_morning(at: float, hour: float) -> float:
    """Seconds from a time in the night to the morning; 0 by day."""
    clock = (hour * 3600.0 + at) % 86400.0
    late, early = (3600.0 * each for each in _NIGHT)
    if clock >= late:
        return 86400.0 - clock + early
    return early - clock if clock < early else 0.0


def _round(recipe: Recipe, turn: Round, garment: Garment, number: int) -> Iterator[Step]:
    if number == 1:
        yield _by_hand(
            "scour",
            "Wash it first",
            ["Wash the piece hot with detergent and no softener: oil and size keep dye out."],
            SCOUR,
            hands=False,
        )
    yield from _before_ice(recipe, turn, garment)
    yield from _iced(recipe, turn, garment)
    yield Step(
        "batch",
        f"Keep it {turn.batch_cover}",
        (
            f"Count from when the ice is gone, at {show_temperature(turn.batch_temperature)}. "
            "Longer does no harm.",
        ),
        turn.batch_time,
        hands=False,
        how="as the plan says",
        round=number,
        waits=PATIENCE,
    )
    yield from _washed(turn, last=number == len(recipe.rounds))


def _by_hand(
    kind: str,
    title: str,
    lines: Iterable[str],
    seconds: float,
    *,
    hands: bool = True,
    ice: float = 0.0,
) -> Step:
    return Step(kind, title, tuple(lines), seconds, hands, _SAY, 1, ice=ice)


# ------------------------------------------------------------------------------- before the ice


def _before_ice(recipe: Recipe, turn: Round, garment: Garment) -> Iterator[Step]:
    how = turn.soda.how
    folding = _by_hand("fold", "Fold and tie", fold_and_tie(turn, garment), FOLD)
    damp = f"until it holds about {round(100 * recipe.damp)} % of its own weight in water"
    wring = _by_hand("wring", "Press the water out", [f"Wring or spin it, {damp}."], WRING)
    if how == "soaked before folding":
        yield from _soak(turn)
        yield wring
        yield folding
    elif how == "soaked after tying":
        yield _by_hand("wet", "Wet it", [f"Wet it through and press it, {damp}."], WRING)
        yield folding
        yield from _soak(turn)
        yield _by_hand("wring", "Let it drain", ["Press the bundle; do not untie it."], WRING)
    elif how == "dried in":
        yield from _soak(turn)
        yield _by_hand("hang", "Hang it up", ["Wring it and hang it; do not rinse."], HANG)
        yield _by_hand("dry", "Let it dry", ["It is folded dry."], DRY, hands=False)
        yield folding
    else:
        yield _by_hand("wet", "Wet it", [f"Wet it through and press it, {damp}."], WRING)
        yield folding
        yield from _dry_soda(turn)


def _soak(turn: Round) -> Iterator[Step]:
    soda = turn.soda
    yield _by_hand(
        "mix",
        "Mix the soak",
        [
            f"Goggles and gloves on. Stir {show_mass(soda.mass)} of soda ash into the water "
            "until it is clear."
        ],
        MIX,
    )
    yield Step(
        "soak",
        "Soak",
        ("Lay it in, press the air out, and leave it under.",),
        60.0 * soda.minutes,
        hands=False,
        how="as the plan says",
        round=1,
    )


def _dry_soda(turn: Round) -> Iterator[Step]:
    soda = turn.soda
    if soda.how == "sprinkled":
        said = f"Sift {show_mass(soda.mass)} of soda ash over the tied bundle."
        yield _by_hand("soda", "Sprinkle the soda", [said], MORE)
    elif soda.how == "with the dye":
        said = (
            f"Mix {show_mass(soda.mass)} of soda ash into the dye powder just before it is laid: "
            "the mixture does not keep."
        )
        yield _by_hand("soda", "Mix soda and dye", [said], MORE)


# ------------------------------------------------------------------------------- ice


def melt_seconds(turn: Round, turned: bool = False) -> float:
    """Time until the ice, or the liquor poured on, is gone [s]; 0 where there is none.

    Parameters
    ----------
    turn : Round
    turned : bool
        Of the ice laid once the bundle is turned over.
    """
    loads: tuple[Ice, ...] = tuple(load for load in turn.ice if load.turned is turned)
    ice = melt_of(loads, turn.room, Constants()).seconds if loads else 0.0
    if turned or turn.liquor is None:
        return ice
    poured = turn.liquor.seconds or melt_seconds(turn.liquor.recipe.rounds[0])
    return max(ice, poured)


def _iced(recipe: Recipe, turn: Round, garment: Garment) -> Iterator[Step]:
    lines = list(lay(recipe, turn, garment))
    over = next((n for n, line in enumerate(lines) if line.startswith(TURNING)), len(lines))
    first = next(iter(_loads(turn, False).values()), 0.0)
    yield _by_hand("ice", "Lay the dye and the ice", ["Mask on.", *lines[:over]], LAY, ice=first)
    yield from _melting(turn, False, then_turned=over < len(lines))
    if over < len(lines):
        first = next(iter(_loads(turn, True).values()), 0.0)
        yield _by_hand("turn", "Turn it over", ["Mask on.", *lines[over:]], TURN, ice=first)
        yield from _melting(turn, True)


def _loads(turn: Round, turned: bool) -> dict[float, float]:
    """Masses [kg] of what is laid together, by the time since the first load [s], in order."""
    loads = [load for load in turn.ice if load.turned is turned]
    first = min((load.after for load in loads), default=0.0)
    found: dict[float, float] = {}
    for load in sorted(loads, key=lambda load: load.after):
        found[load.after - first] = found.get(load.after - first, 0.0) + load.mass
    return found


def _melting(turn: Round, turned: bool, *, then_turned: bool = False) -> Iterator[Step]:
    """Wait for the ice; what is added later comes between."""
    whole = melt_seconds(turn, turned)
    loads = _loads(turn, turned)
    mass = show_mass(sum(loads.values())) if loads else "the liquor"
    how = f"reckoned for {mass} in air of {show_temperature(turn.room)}; look now and then"
    at = 0.0
    for after, more in list(loads.items())[1:]:
        yield Step("melt", "Let it melt", (), after - at, False, how, 1)
        yield _by_hand("more", "More ice", [f"Heap on another {show_mass(more)}."], MORE, ice=more)
        at = after + MORE
    said = "The water must run off freely and never stand up to the bundle." if not turn.tub else ""
    yield Step(
        "melt",
        "Let the ice go" if loads else "Let it drip",
        tuple(line for line in (said,) if line),
        max(whole - at, 0.0),
        False,
        how,
        1,
        waits=PATIENCE if then_turned else 0.0,
    )


# ------------------------------------------------------------------------------- the wash


_WASHES = {
    "careful": (
        "Rinse the bundle cold, still tied, until the water runs pale.",
        "Cut it open under running cold water, so that nothing rests on white cloth, and rinse "
        "until it runs clear.",
    ),
    "ordinary": (
        "Rinse the bundle cold, still tied, for some minutes.",
        "Open it and rinse cold until the water runs nearly clear.",
    ),
    "hurried": ("Open the bundle and rinse it cold, briefly.",),
}


def _washed(turn: Round, *, last: bool) -> Iterator[Step]:
    yield _by_hand("rinse", "Rinse cold", ["Gloves on.", *_WASHES[turn.wash]], RINSE)
    times = 1 if turn.wash == "hurried" else 2
    again = "twice, with fresh water" if times == 2 else "once"
    yield _by_hand(
        "wash",
        "Wash hot",
        [
            f"Wash it {again}, as hot as its label allows (60 °C is usual), with detergent, beside "
            "nothing that is white."
        ],
        times * MACHINE,
        hands=False,
    )
    if last:
        yield _by_hand("line", "Dry it", ["Colours look paler dry than wet."], DRY, hands=False)


# ------------------------------------------------------------------------------- clocks


def clock(step: Step, begins: datetime, dated: bool) -> str:
    """Write when a step begins: day 2, 10:25, or Sat 5 Dec, 10:25.

    Parameters
    ----------
    step : Step
    begins : datetime
        Of the first step.
    dated : bool
        Whether the day is known.
    """
    at = begins + timedelta(seconds=60.0 * round(step.start / 60.0))
    if dated:
        return f"{day_name(at.date())}, {at:%H:%M}"
    return f"day {(at.date() - begins.date()).days + 1}, {at:%H:%M}"


def lasting(step: Step) -> str:
    """Write how long a step takes, as finely as it is known."""
    minutes = step.seconds / 60.0
    if minutes < 90.0:
        return show_time(60.0 * max(5.0, 5.0 * round(minutes / 5.0)))
    return show_time(1800.0 * round(step.seconds / 1800.0))
