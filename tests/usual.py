"""A round of ice dyeing as it is usually done, step by step (common practice, no source)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from meltwick.workshop.jobs import Step

MINUTE, HOUR = 60.0, 3600.0


@dataclass(frozen=True)
class Usual:
    """What differs from round to round; all times are common practice.

    A resource is a word that the workshop's list has, or empty where none is used.
    """

    fold: float = 30 * MINUTE  # [s] to fold and tie
    pole: str = ""
    melt: Sequence[float] = (6 * HOUR,)  # [s] until the ice is gone, or until more is laid
    ice: Sequence[float] = (1.2,)  # [kg] at each load
    batch: float = 24 * HOUR  # [s] at least
    longer: float = 24 * HOUR  # [s] that it may go on beyond
    colours: str = "mixed"  # family that is washed together
    wrapped: bool = False  # wrapped up and moved off the rack once the ice is gone
    lies_on: str = "rack"
    tub: str = "tub"
    machine: str = "machine"


def usual_round(what: Usual) -> tuple[Step, ...]:
    """List the steps of one round: soak, fold, ice, melt, batch, rinse, untie, wash twice, dry.

    Parameters
    ----------
    what : Usual
        ``ice`` and ``melt`` are of one length: each load of ice melts for its time.
    """

    def held(*names: str) -> dict[str, int]:
        return {name: 1 for name in names if name}

    pole, lying = held(what.pole), held(what.pole, what.lies_on)
    steps = [
        Step("wash the blank", 10 * MINUTE, True, held(what.tub), longest_wait=0.0),
        Step(
            "soak in soda", 20 * MINUTE, False, held(what.tub), longest_wait=24 * HOUR, goes_on=True
        ),
        Step("fold and tie", what.fold, True, pole, longest_wait=24 * HOUR),
    ]
    for number, (mass, melt) in enumerate(zip(what.ice, what.melt, strict=True)):
        again = number + 1 < len(what.ice)
        name = "more ice" if number else "powder and ice"
        time = 5 * MINUTE if number else 15 * MINUTE
        steps.append(Step(name, time, True, lying, mass, longest_wait=0.0))
        slack = 30 * MINUTE if again else (2 * HOUR if what.wrapped else 0.0)
        steps.append(Step("melt", melt, False, lying, longest_wait=slack, goes_on=True))
    if what.wrapped:
        steps.append(Step("wrap up", 5 * MINUTE, True, pole, longest_wait=0.0))
    rests = pole if what.wrapped else lying
    steps += [
        Step("batch", what.batch, False, rests, longest_wait=what.longer, goes_on=True),
        Step("rinse tied", 10 * MINUTE, True, pole, longest_wait=0.0, remind=True),
        Step("untie and rinse", 15 * MINUTE, True, pole, longest_wait=12 * HOUR),
    ]
    machine, family = held(what.machine), what.colours
    for _ in range(2):
        steps += [
            Step("load the machine", 5 * MINUTE, True, machine, 0.0, 0.0, family),
            Step("hot wash", 2 * HOUR, False, machine, 0.0, 12 * HOUR, family),
        ]
    return (
        *steps,
        Step("hang up", 5 * MINUTE, True, longest_wait=0.0),
        Step("dry", 12 * HOUR),
    )
