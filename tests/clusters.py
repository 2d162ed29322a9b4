"""A Dask cluster of real processes on this machine, started as its documentation says."""

from __future__ import annotations

import contextlib
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

WAIT = 90.0  # [s] for a process to be ready, on a slow machine
IDLE = {  # what a process with nothing to do looks at less often, so that it leaves the cores alone
    "DASK_DISTRIBUTED__ADMIN__TICK__INTERVAL": "1s",
    "DASK_DISTRIBUTED__ADMIN__SYSTEM_MONITOR__INTERVAL": "5s",
    "DASK_DISTRIBUTED__WORKER__PROFILE__ENABLED": "False",
}


class Machines:
    """A scheduler, and the workers that are asked for."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.processes: list[subprocess.Popen[bytes]] = []
        self.address = ""

    def start(self) -> None:
        """Start the scheduler, at a port that is free."""
        self.address = self._start("scheduler", r"Scheduler at:\s+(tcp://\S+)", "--port", "0")

    @property
    def scheduler(self) -> subprocess.Popen[bytes]:
        return self.processes[0]

    @property
    def workers(self) -> list[subprocess.Popen[bytes]]:
        return self.processes[1:]

    def worker(self, *words: str, threads: int = 1) -> None:
        """Start a worker that nobody starts again when it has died."""
        alone = ("--no-nanny", "--nthreads", str(threads))
        self._start("worker", r"Registered to:\s+(tcp://\S+)", self.address, *alone, *words)

    def _start(self, what: str, ready: str, *words: str) -> str:
        log = self.folder / f"{what}-{len(self.processes)}.log"
        module = [sys.executable, "-m", f"distributed.cli.dask_{what}"]
        words = (*words, "--host", "127.0.0.1", "--no-dashboard")
        with log.open("wb") as stream:
            process = subprocess.Popen(
                [*module, *words],
                stdout=stream,
                stderr=stream,
                cwd=self.folder,
                env={**os.environ, **IDLE},
                start_new_session=True,
            )
        self.processes.append(process)
        end = time.monotonic() + WAIT
        while (found := re.search(ready, log.read_text("utf-8", "replace"))) is None:
            assert process.poll() is None, log.read_text("utf-8", "replace")
            assert time.monotonic() < end, log.read_text("utf-8", "replace")
            time.sleep(0.05)
        return found[1]


def kill(process: subprocess.Popen[bytes]) -> None:
    """Kill -9 a process and all of its group."""
    with contextlib.suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)
    process.wait()


@contextlib.contextmanager
def machines(folder: Path, workers: int = 0) -> Iterator[Machines]:
    """Offer a cluster with so many workers of one thread; all of it ends with the test."""
    found = Machines(folder)
    try:
        found.start()
        for _ in range(workers):
            found.worker()
        yield found
    finally:
        for process in found.processes:
            kill(process)
