"""Many runs, as fast as the machine allows: what is in the store is taken from there.

Runs go through an executor of ``concurrent.futures``: processes of this machine, or those of a
cluster (`meltwick.study.cluster`). Each is put into the store as soon as it is done, by the
process that asked; so a study that is ended at any moment goes on from there.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from multiprocessing.process import BaseProcess
from typing import TypeVar

from meltwick.errors import ResourceError
from meltwick.study.outcome import Asked, Order, Outcome, Task, fulfil, make, order_of, run_key
from meltwick.study.store import Store
from meltwick.study.workers import quietly, usable_cores

Tally = Callable[[int, int], None]
"""Told how many of how many runs are done."""

_PER_CELL = 40e-6
"""Seconds of one core for a cell in one round, when nothing better is known; measured at draft
detail on two 2.5 GHz cores."""


def _alone() -> None:
    """Make a worker ready: one thread, and the one who asked hears of interrupts.

    What a run needs is loaded now, while the asker may still be busy with other things.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    os.environ["NUMBA_NUM_THREADS"] = "1"
    import meltwick.simulate  # noqa: F401


def _nothing() -> None:
    """Do nothing: what is asked of a pool so that it starts."""


@contextlib.contextmanager
def processes(count: int) -> Iterator[Executor]:
    """Start so many worker processes of this machine; they are ended at once when we are done.

    They load what a run needs as soon as they are started. Settle where compiled kernels are kept
    before (`meltwick.study.kernels`).
    """
    pool = ProcessPoolExecutor(
        count, mp_context=multiprocessing.get_context("spawn"), initializer=_alone
    )
    before = set(multiprocessing.active_children())
    try:
        with quietly():
            pool.submit(_nothing)
        yield pool
    except BaseException:
        pool.shutdown(wait=False, cancel_futures=True)
        _end(before)
        raise
    _end(before)  # a worker that has nothing to do may take seconds to leave by itself
    pool.shutdown()


def _end(others: set[BaseProcess]) -> None:
    for child in set(multiprocessing.active_children()) - others:
        child.kill()


_Kind = TypeVar("_Kind", Task, Order)


def missing(tasks: Sequence[_Kind], store: Store) -> list[_Kind]:
    """Return the tasks, each once, whose runs are not in the store."""
    by_key = {run_key(task): task for task in tasks}
    return [task for key, task in by_key.items() if key not in store]


def expected_seconds(cells: Sequence[int], done: Sequence[Outcome], workers: int) -> float:
    """Estimate how long runs take.

    Parameters
    ----------
    cells : sequence of int
        Cells of cloth of each run, times its rounds.
    done : sequence of Outcome
        Runs of the same study that are in the store: their pace is the best guess.
    workers : int
        Runs that are made at once.
    """
    pace = sorted(each.seconds / len(each.srgb) / len(each.melt_hours) for each in done)
    return sum(cells) * (pace[len(pace) // 2] if pace else _PER_CELL) / max(1, workers)


def run_all(
    tasks: Sequence[Asked],
    *,
    store: Store,
    executor: Executor | None = None,
    workers: int | None = None,
    tally: Tally | None = None,
) -> list[Outcome]:
    """Make every run that is not in the store, and return all of them in their order.

    Parameters
    ----------
    tasks : sequence of Task or Order
        The same run may come more than once; it is made once.
    store : Store
        Where runs are kept.
    executor : concurrent.futures.Executor, optional
        What runs them; by default processes of this machine.
    workers : int, optional
        How many of these; by default one a core that this process may use.
    tally : callable, optional
        Told of progress, also of what was in the store.

    Raises
    ------
    ResourceError
        A worker was ended from outside. What was done before is kept.
    MeltwickError
        A plan cannot be carried out.
    """
    keys = [run_key(task) for task in tasks]
    wanted = dict(zip(keys, tasks, strict=True))
    found = {key: kept for key in wanted if (kept := store.get(key)) is not None}
    told = tally or (lambda done, total: None)
    told(len(found), len(wanted))
    rest = {key: task for key, task in wanted.items() if key not in found}

    def keep(key: str, outcome: Outcome) -> None:
        store.put(key, outcome)
        found[key] = outcome
        told(len(found), len(wanted))

    crew = min(len(rest), usable_cores() if workers is None else max(1, workers))
    if executor is not None:
        _through(executor, rest, keep)
    elif crew > 1:
        with processes(crew) as pool:
            _through(pool, rest, keep)
    else:
        for key, task in rest.items():
            keep(key, make(task, threads=2))
    if rest:
        store.trim()
    return [found[key] for key in keys]


def _through(
    executor: Executor, rest: dict[str, Asked], keep: Callable[[str, Outcome], None]
) -> None:
    with quietly():
        futures: dict[Future[Outcome], str] = {
            executor.submit(fulfil, order_of(task)): key for key, task in rest.items()
        }
    try:
        for future in as_completed(futures):
            keep(futures[future], future.result())
    except BrokenProcessPool as error:
        raise ResourceError(
            "a process of this study was ended from outside, as happens when memory runs out; "
            "what was done is kept, so run the same again, with a coarser --detail if it repeats"
        ) from error
