"""Clocks, peaks of memory, and processes of their own for what is compared."""

from __future__ import annotations

import ctypes
import gc
import multiprocessing
import statistics
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

MIB = 1 << 20


def seconds_of(run: Callable[[], Any], repeats: int, most: float = 60.0) -> float:
    """Median time of a call [s]; after ``most`` seconds in all it is not called again."""
    took: list[float] = []
    while len(took) < repeats and sum(took) < most:
        begun = time.perf_counter()
        run()
        took.append(time.perf_counter() - begun)
    return statistics.median(took)


class Peak:
    """How much more memory than before is held at most within the block [MiB], ``mib``.

    Linux counts it; elsewhere it stays nan.
    """

    def __enter__(self) -> Peak:
        gc.collect()
        _give_back()
        self.mib = float("nan")
        try:
            Path("/proc/self/clear_refs").write_text("5")  # the peak starts anew
            self._before = _status("VmRSS")
        except OSError:
            self._before = self.mib
        return self

    def __exit__(self, *_: object) -> None:
        if self._before == self._before:
            self.mib = _status("VmHWM") - self._before


def _give_back() -> None:
    """Let the C library return free memory, so that what is taken anew counts."""
    trim = getattr(ctypes.CDLL(None), "malloc_trim", None)
    if trim is not None:
        trim(0)


def _status(name: str) -> float:
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(float(line.split()[1]) / 1024 for line in lines if line.startswith(name))


def apart(function: Callable[..., Any], *args: Any, seconds: float, gib: float = 16.0) -> Any:
    """Call a function in a fresh process, with a limit on its time and its memory.

    Returns what it returns; where it breaks a limit or fails, a line that says so.
    """
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe(duplex=False)
    child = context.Process(target=_within, args=(theirs, gib, function, args))
    child.start()
    theirs.close()
    try:
        told = ours.recv() if ours.poll(seconds) else f"more than {seconds:.0f} s"
    except EOFError:
        told = "ended by the system, as when memory is short"
    child.kill()
    child.join()
    return told


def _within(pipe: Any, gib: float, function: Callable[..., Any], args: tuple[Any, ...]) -> None:
    import resource

    most = int(gib * 1024 * MIB)
    resource.setrlimit(resource.RLIMIT_AS, (most, most))
    try:
        pipe.send(function(*args))
    except MemoryError:
        pipe.send(f"more than {gib:.0f} GiB")
    except Exception as fault:
        pipe.send(f"failed: {type(fault).__name__}: {fault}")
