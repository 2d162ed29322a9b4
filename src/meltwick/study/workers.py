"""Worker processes that each make one hand at a time.

Workers are spawned, never forked: compiled kernels and their threads do not survive a fork. They
hold one core each. A worker tells the white share of a piece first, and sends the piece itself
only when it is asked for.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from types import ModuleType
from typing import TYPE_CHECKING, Any, cast

from meltwick.errors import ResourceError

if TYPE_CHECKING:
    from multiprocessing.connection import Connection
    from multiprocessing.context import SpawnProcess

    from meltwick.constants import Constants
    from meltwick.plan import Plan
    from meltwick.types import FixedDye, Observer, Result


class NoWorkersError(Exception):
    """No worker process can be started here, so the work has to be done in this one."""


@dataclass(frozen=True)
class Job:
    """What every hand has in common."""

    plan: Plan
    pitch: float  # [m]
    constants: Constants | None
    start: FixedDye | None = None  # on the cloth before the first round


@dataclass(frozen=True)
class _Worker:
    process: SpawnProcess
    pipe: Connection


def usable_cores() -> int:
    """Count the cores that this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # not on macOS or Windows
        return os.cpu_count() or 1


# ------------------------------------------------------------------------ in the worker


def _serve(pipe: Connection, job: Job) -> None:
    """Make the hands that are asked for until None comes or the asker has gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the asker ends us; we need not explain
    os.environ["NUMBA_NUM_THREADS"] = "1"  # read when numba loads, which is below
    try:
        _make_hands(pipe, job)
    except (EOFError, ConnectionError):
        return
    except BaseException as error:
        import traceback

        told = "".join(traceback.format_exception(error))
        with contextlib.suppress(OSError):
            pipe.send(("failed", _portable(error), told))


def _make_hands(pipe: Connection, job: Job) -> None:
    from meltwick.simulate import simulate

    def tell(stage: str, done: int, total: int) -> None:
        pipe.send(("stage", stage, done, total))

    while (seed := pipe.recv()) is not None:
        result = simulate(
            job.plan,
            pitch=job.pitch,
            seed=seed,
            start=job.start,
            constants=job.constants,
            observer=tell,
            threads=1,
        )
        pipe.send(("white", result.white_share))
        if pipe.recv():
            pipe.send(("piece", result))
        del result  # before the next one is made


def _portable(error: BaseException) -> Exception:
    """Return an error that can be sent: itself where it can, else one of its name and text."""
    import pickle

    try:
        again = pickle.loads(pickle.dumps(error))
    except Exception:
        again = None
    if isinstance(again, Exception):
        return again
    return RuntimeError(f"{type(error).__name__}: {error}")


# ------------------------------------------------------------------------ in the asker


@contextlib.contextmanager
def quietly() -> Iterator[None]:
    """Start workers in here: without the caller's script, and deaf to an interrupt.

    A worker needs nothing of the script that called us, and one without a guard about its last
    lines would run again in each of them. An interrupt from the keyboard goes to every process;
    workers hear of it from us, not while they load.
    """
    main = sys.modules["__main__"]
    deaf = hasattr(signal, "pthread_sigmask")
    if deaf:
        from multiprocessing import resource_tracker

        resource_tracker.ensure_running()  # it resets the mask when it starts
        old = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    # another thread may still take the signal, and Python would break off here, in the middle
    # of what a worker is being told: hear it, and pass it on when all are started
    heard: list[int] = []
    ours = threading.current_thread() is threading.main_thread()
    before = signal.getsignal(signal.SIGINT) if ours else None
    if before is not None:
        signal.signal(signal.SIGINT, lambda number, _: heard.append(number))
    sys.modules["__main__"] = ModuleType("__main__")
    try:
        yield
    finally:
        sys.modules["__main__"] = main
        if before is not None:
            signal.signal(signal.SIGINT, before)
            if heard:
                signal.raise_signal(signal.SIGINT)
        if deaf:
            signal.pthread_sigmask(signal.SIG_SETMASK, old)


def _hire(crew: list[_Worker], job: Job, count: int) -> None:
    """Start workers and put them into ``crew`` one by one, so that none can be lost."""
    import multiprocessing
    import pickle

    if not sys.executable or multiprocessing.current_process().daemon:
        raise NoWorkersError
    context = multiprocessing.get_context("spawn")
    try:
        with quietly():
            for _ in range(count):
                ours, theirs = context.Pipe()
                process = context.Process(target=_serve, args=(theirs, job), daemon=True)
                process.start()
                crew.append(_Worker(process, ours))
                theirs.close()  # or we would not notice when the worker has gone
    except (OSError, pickle.PicklingError) as error:
        raise NoWorkersError from error


def _dismiss(crew: list[_Worker]) -> None:
    """End every worker at once, whatever it does."""
    for worker in crew:
        worker.process.kill()
    for worker in crew:
        worker.process.join()
        worker.process.close()
        worker.pipe.close()


class _Foreman:
    """Gives out hands, hears how far they are, and takes in what they made."""

    def __init__(
        self,
        seeds: Sequence[int],
        note: Callable[[int, float], bool],
        keep: Callable[[int, Result], None],
        tell: Callable[[int], Observer],
    ) -> None:
        self._seeds = seeds
        self._note, self._keep, self._tell = note, keep, tell
        self._next = 0
        self._at: dict[Connection, int] = {}  # the hand that each worker makes
        self._heard: dict[int, tuple[str, int, int]] = {}  # the last word of each hand at work

    def lead(self, crew: list[_Worker]) -> None:
        """Have every hand made."""
        from multiprocessing.connection import wait

        workers = {worker.pipe: worker for worker in crew}
        for pipe in workers:
            self._give(pipe)
        while self._at:
            for ready in wait(list(self._at)):
                pipe = cast("Connection", ready)
                try:
                    self._hear(pipe, pipe.recv())
                except (EOFError, ConnectionError) as error:
                    raise self._lost(workers[pipe]) from error

    def _give(self, pipe: Connection) -> None:
        if self._next < len(self._seeds):
            self._at[pipe] = self._next
            pipe.send(self._seeds[self._next])
            self._next += 1
        else:
            self._at.pop(pipe, None)

    def _hear(self, pipe: Connection, said: tuple[Any, ...]) -> None:
        hand = self._at[pipe]
        match said:
            case ("stage", stage, done, total):
                self._heard[hand] = (stage, done, total)
                if hand == min(self._at.values()):
                    self._tell(hand)(stage, done, total)
            case ("white", white):
                wanted = self._note(hand, white)
                pipe.send(wanted)
                if not wanted:
                    self._over(pipe, hand)
            case ("piece", result):
                self._keep(hand, result)
                self._over(pipe, hand)
            case (_, error, told):
                error.add_note(told)
                raise error

    def _over(self, pipe: Connection, hand: int) -> None:
        """Go on with the next hand, and tell of the one that is now the earliest."""
        self._heard.pop(hand, None)
        earliest = hand == min(self._at.values())
        self._give(pipe)
        if earliest and self._at:
            first = min(self._at.values())
            if first in self._heard:
                self._tell(first)(*self._heard[first])

    def _lost(self, worker: _Worker) -> ResourceError:
        worker.process.join(5.0)
        code = worker.process.exitcode
        how = f"signal {-code}" if code is not None and code < 0 else f"code {code}"
        return ResourceError(
            f"the process that made hand {self._at[worker.pipe] + 1} of {len(self._seeds)} was "
            f"ended from outside ({how}), as happens when memory runs out; try fewer hands or a "
            "coarser detail, such as draft"
        )


def run_in_workers(
    job: Job,
    seeds: Sequence[int],
    count: int,
    *,
    note: Callable[[int, float], bool],
    keep: Callable[[int, Result], None],
    tell: Callable[[int], Observer],
) -> None:
    """Have one hand made for every seed, in worker processes.

    Parameters
    ----------
    job : Job
        What the hands have in common.
    seeds : sequence of int
        One a hand.
    count : int
        Workers.
    note : callable
        Given a hand's number, from 0, and its white share, says whether to send the piece itself.
    keep : callable
        Given the number and the piece.
    tell : callable
        Gives the observer of a hand. Only the earliest hand at work is told of.

    Raises
    ------
    NoWorkersError
        None can be started here; nothing was done.
    ResourceError
        A worker was ended from outside.
    Exception
        What a simulation raised, with the worker's own traceback as a note.
    """
    crew: list[_Worker] = []
    try:
        _hire(crew, job, count)
        _Foreman(seeds, note, keep, tell).lead(crew)
    finally:
        _dismiss(crew)
