"""Runs on the machines of a Dask cluster that somebody has started.

We connect to its scheduler and never listen. A run goes out with its recipe resolved, so that a
worker looks up nothing in a stock of its own, and comes back as an outcome that the asker keeps.
A run whose worker has died is given to another by the scheduler. Since what is kept must be what
this machine would have made, workers with other versions than ours are refused.
"""

from __future__ import annotations

import contextlib
import logging
import math
import os
import re
import sys
import threading
import warnings
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import CancelledError, Executor, Future, InvalidStateError
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from meltwick.errors import PlanError, ResourceError
from meltwick.study.kernels import settle_kernels
from meltwick.study.outcome import made_of

if TYPE_CHECKING:
    from distributed import Client
    from distributed import Future as Promise

EXAMPLE = "tcp://192.168.1.20:8786"
PATIENCE = 20.0
"""Seconds for which a cluster may be without a worker; chosen."""
_REACH = 5.0  # [s] within which a scheduler answers
_SILENT = 30.0  # [s] after which a scheduler that does not answer is given up
_GLANCE = 1.0  # [s] between two looks at the cluster
_CHATTER = ("distributed", "tornado", "asyncio", "concurrent.futures")
_ADDRESS = re.compile(r"(?:tcp://)?(?:\[[0-9a-fA-F:.]+\]|[A-Za-z0-9_.-]+):([0-9]{1,5})")


@dataclass(frozen=True)
class Cluster:
    """A cluster that answers, all of whose workers have our versions."""

    address: str
    workers: int  # each makes one run at a time
    memory: float  # [bytes] of the worker with the least; infinite where none is told
    threaded: tuple[str, ...]  # workers with threads that stay idle
    executor: Executor


def read_address(text: str) -> str:
    """Return an address as Dask takes it.

    Raises
    ------
    PlanError
        If it is none.
    """
    address = text.strip()
    found = _ADDRESS.fullmatch(address)
    if found is None or not 1 <= int(found[1]) <= 65535:
        short = repr(text if len(text) <= 60 else text[:57] + "...")
        raise PlanError(
            f"--cluster: {short} is not the address of a scheduler; write one such as {EXAMPLE}, "
            "as `dask scheduler` says when it starts"
        )
    return address


@contextlib.contextmanager
def connected(text: str, tell: Callable[[str], None]) -> Iterator[Cluster]:
    """Connect to the scheduler at an address; what is under way there is given up at the end.

    Parameters
    ----------
    text : str
        The address, as the maker wrote it.
    tell : callable
        Told in a line that we wait for workers.

    Raises
    ------
    PlanError
        It is no address, nobody answers there, or what it takes is not installed.
    ResourceError
        There is no worker, one has other versions than ours, or all of it went away meanwhile.
    """
    address = read_address(text)
    _require_dask()
    with _silence():
        client = _reach(address)
        executor = _Executor(client, address)
        try:
            yield _look_over(client, executor, address, tell)
        finally:
            executor.shutdown()
            # the scheduler drops what no client waits for any more
            with contextlib.suppress(OSError, RuntimeError, AssertionError):
                client.close(timeout=2.0)


def _require_dask() -> None:
    from importlib.util import find_spec

    if find_spec("distributed") is None:
        raise PlanError(
            "--cluster: this needs the extra named cluster: pip install 'meltwick[cluster]'"
        )


@contextlib.contextmanager
def _silence() -> Iterator[None]:
    """Keep Dask's own words from the terminal: what matters we say ourselves, in a line."""
    import distributed  # noqa: F401  its loggers come with it
    from distributed.versions import VersionMismatchWarning

    known = [name for name in logging.root.manager.loggerDict if name.startswith(_CHATTER)]
    loggers = [logging.getLogger(name) for name in {*known, *_CHATTER}]
    before = [logger.level for logger in loggers]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", VersionMismatchWarning)
        for logger in loggers:
            logger.setLevel(logging.CRITICAL + 1)
        try:
            yield
        finally:
            for logger, level in zip(loggers, before, strict=True):
                logger.setLevel(level)


def _reach(address: str) -> Client:
    """Connect, from a thread of its own: Dask waits for ever for a stranger's answer."""
    from distributed import Client

    found: list[Client] = []

    def reach() -> None:
        with contextlib.suppress(Exception):  # whoever answers, it is no scheduler
            found.append(Client(address, timeout=_REACH, set_as_default=False))

    thread = threading.Thread(target=reach, name="meltwick-reach", daemon=True)
    thread.start()
    thread.join(2.0 * _REACH)
    if not found:
        raise PlanError(
            f"--cluster: no scheduler answers at {address}; start one with `dask scheduler`, "
            "which says its address"
        )
    return found[0]


# ------------------------------------------------------------------------ who is there


def difference(ours: Mapping[str, str], theirs: Mapping[str, str]) -> str:
    """Say in what a worker differs from us; nothing where it does not."""
    for name, version in ours.items():
        if name not in theirs:
            return f"has no {name}"
        if theirs[name] != version:
            return f"has {name} {theirs[name]}, and this machine {version}"
    return ""


def _asking() -> Callable[..., Any]:
    """Return the question to every worker; it goes there by value, as meltwick may be missing."""

    def report(dask_worker: Any) -> tuple[dict[str, str], int | None]:
        try:
            from meltwick.study.outcome import made_of
        except ImportError:
            found = {}
        else:
            found = made_of()
        return found, dask_worker.memory_manager.memory_limit

    return report


def _look_over(
    client: Client, executor: _Executor, address: str, tell: Callable[[str], None]
) -> Cluster:
    """Wait for a worker, ask all of them what they are made of, and refuse those unlike us."""
    if not client.nthreads():
        tell(f"The cluster at {address} has no workers yet; waiting {PATIENCE:.0f} s for one.")
        with contextlib.suppress(TimeoutError):
            client.wait_for_workers(1, timeout=PATIENCE)
    threads = client.nthreads()
    if not threads:
        raise ResourceError(
            f"the cluster at {address} has no workers; start some with "
            f"`dask worker {address} --nworkers auto --nthreads 1`"
        )
    ours, limits = made_of(), []
    python = ".".join(map(str, sys.version_info[:2]))
    for worker, said in client.get_versions()["workers"].items():
        theirs = ".".join(said["host"]["python"].split(".")[:2])
        _refuse(worker, difference({"Python": python}, {"Python": theirs}))
    for worker, answer in client.run(_asking(), on_error="return").items():
        if isinstance(answer, BaseException):
            raise ResourceError(f"the worker {worker} does not answer: {answer}") from answer
        theirs, limit = answer
        _refuse(worker, difference(ours, theirs))
        limits.append(float(limit) if limit else math.inf)
    executor.watch()
    several = tuple(worker for worker, count in threads.items() if count > 1)
    return Cluster(address, len(threads), min(limits), several, executor)


def _refuse(worker: str, differing: str) -> None:
    if differing:
        raise ResourceError(
            f"the worker {worker} {differing}, so its runs would not be the same; install the "
            "same versions there"
        )


# ------------------------------------------------------------------------ in the worker

_ONE = threading.Lock()


def _made_there(ours: Mapping[str, str], work: Callable[..., Any], *words: Any) -> Any:
    """Do some work in a worker, which may have come after the others were asked.

    One run at a time in one process: compiled loops and BLAS keep their number of threads for the
    whole process, and some of numba's threading layers may not be entered twice.
    """
    from distributed import get_worker

    _refuse(get_worker().address, difference(ours, made_of()))
    with _ONE:
        if "numba" not in sys.modules:
            os.environ.setdefault("NUMBA_NUM_THREADS", "1")
            settle_kernels()
        return work(*words)


# ------------------------------------------------------------------------- in the asker


class _Executor(Executor):
    """Gives work to a cluster, each piece once, and notices when the cluster goes away."""

    def __init__(self, client: Client, address: str) -> None:
        self._client, self._address = client, address
        self._ours = made_of()
        self._open: dict[Future[Any], Promise] = {}
        self._ended = threading.Event()

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Give out some work.

        Raises
        ------
        ResourceError
            The scheduler has gone.
        """
        if self._client.status != "running":
            raise self._gone()
        asked: Future[Any] = Future()
        promise = self._client.submit(_made_there, self._ours, fn, *args, pure=False, **kwargs)
        self._open[asked] = promise
        promise.add_done_callback(lambda done: self._settle(asked, done))
        return asked

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """Give up what is not done."""
        self._ended.set()
        self._open.clear()

    def watch(self) -> None:
        """Look at the cluster every now and then, from a thread of its own."""
        threading.Thread(target=self._watch, name="meltwick-cluster", daemon=True).start()

    def _settle(self, asked: Future[Any], promise: Promise) -> None:
        """Pass on what became of a piece of work."""
        self._open.pop(asked, None)
        if self._ended.is_set():
            return
        try:
            if promise.status == "finished":
                answer = promise.result()
            else:
                raise self._reason(promise)
        except Exception as error:
            self._fail(asked, error)
        else:
            with contextlib.suppress(InvalidStateError):
                asked.set_result(answer)

    def _reason(self, promise: Promise) -> BaseException:
        from distributed import KilledWorker

        cancelled = promise.status == "cancelled"
        error: BaseException | None = None if cancelled else promise.exception()
        if error is None or isinstance(error, CancelledError):
            return self._gone()
        if isinstance(error, KilledWorker):
            return ResourceError(
                "a run ended every worker that tried it, as happens when memory runs out; what "
                "was done is kept; start fewer workers a machine, or use a coarser --detail"
            )
        return error

    def _gone(self, how: str = "has gone") -> ResourceError:
        return ResourceError(
            f"the scheduler at {self._address} {how}; what was done is kept, so run the same "
            "again when it is back"
        )

    def _fail(self, asked: Future[Any], error: BaseException) -> None:
        with contextlib.suppress(InvalidStateError):
            asked.set_exception(error)

    def _watch(self) -> None:
        alone = 0.0
        while not self._ended.wait(_GLANCE):
            if self._client.status != "running":
                self._fail_all(self._gone())
                return
            try:
                there = self._client.sync(self._client.scheduler.ncores, callback_timeout=_SILENT)
            except TimeoutError:
                self._fail_all(self._gone("answers no more"))
                return
            except (OSError, RuntimeError):
                continue  # the connection broke: its status will say so
            alone = 0.0 if there else alone + _GLANCE
            if alone >= PATIENCE:
                self._fail_all(
                    ResourceError(
                        f"the cluster at {self._address} has lost all its workers; what was done "
                        "is kept, so run the same again when there are some"
                    )
                )
                return

    def _fail_all(self, error: ResourceError) -> None:
        for asked in list(self._open):
            self._fail(asked, error)
