"""Carry the built-in example to a stage and hold there, with all that it has at hand.

Everything comes from a real run that is broken off, so that no step of it is repeated here.
Two names of the program are leant on: `meltwick.seep.melting.seep` and ``melt_stage``.
"""

from __future__ import annotations

import inspect
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any
from unittest import mock

from meltwick.plan import example_plan
from meltwick.seep import melting
from meltwick.simulate import simulate


class _Reached(Exception):  # noqa: N818 - no error, but the way out
    pass


def arguments_of(name: str, pitch: float) -> dict[str, Any]:
    """Return what ``melting.NAME`` gets in a run of the example, by parameter; it is not called.

    ``seep`` gets cloth, bundle, net and melt; ``melt_stage`` gets march, streams and melt.
    """
    real = getattr(melting, name)
    got: dict[str, Any] = {}

    def hold(*args: Any, **words: Any) -> None:
        got.update(inspect.signature(real).bind(*args, **words).arguments)
        raise _Reached

    with mock.patch.object(melting, name, hold):
        run_until(pitch)
    return got


def run_until(pitch: float, stage: str = "", done: float = 1.0) -> None:
    """Run the example until so much of a stage is done, or to where it is held."""

    def watch(now: str, steps: int, of: int) -> None:
        if now == stage and steps >= done * of:
            raise _Reached

    with _held():
        simulate(example_plan(), pitch=pitch, observer=watch)


@contextmanager
def _held() -> Iterator[None]:
    try:
        yield
    except _Reached:
        return
    raise RuntimeError("the run came to its end: the stage has another name now")
