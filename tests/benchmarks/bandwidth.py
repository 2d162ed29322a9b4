"""How fast memory is here, and how much of that each compiled loop uses.

Run with ``python tests/benchmarks/bandwidth.py [PITCH_MM]`` from the top folder; 1 mm is meant, and
4 mm for a try, where arrays fit into the cache and shares may pass 100 %.

Memory: copy and triad after STREAM (McCalpin 1995, from memory), counted as there: each element
read or written once, and not what the cache fetches before it writes.

Loops: whatever compiled function of `meltwick.seep` a run of the built-in example calls until half
of the ice has melted, with the arrays of its largest call. Bytes are what it must move at least:
every array that it is given once in, those that it changes or makes once out, and nothing for
arrays that are fetched again because neighbours lie far apart. So a share of the bandwidth far
below 1 means reckoning or scattered access.
"""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from time import perf_counter
from typing import Any
from unittest import mock

# ruff: noqa: E402
sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parent)]

from meltwick.study.kernels import settle_kernels

settle_kernels()

import numba as nb
import numpy as np
import scipy.sparse as sp
from numba.core.registry import CPUDispatcher
from stage import arguments_of, run_until

from meltwick import seep
from meltwick.seep.multigrid import Multigrid
from meltwick.seep.percolation import laplacian
from meltwick.seep.stages import MARCH

SIZE = 32 << 20
"""Elements of each of three arrays: 256 MiB, many times what caches hold."""
TIMES = 7
ONLY_WRITTEN = {"settle": ("c", "hold")}
"""Arrays whose old content a loop has no use for."""
REPEATED = ("sweeps",)
"""Parameters that say how often a loop goes over its arrays."""


@nb.njit(parallel=True)
def copy(a, b):
    for i in nb.prange(a.size):
        b[i] = a[i]


@nb.njit(parallel=True)
def triad(a, b, c, s):
    for i in nb.prange(a.size):
        a[i] = b[i] + s * c[i]


def memory_speed(threads: int, size: int = SIZE) -> dict[str, float]:
    """Best of some runs of copy and triad [GB/s]."""
    # full, not zeros: pages that were never written are one page of zeros
    a, b, c = np.full(size, 2.0), np.ones(size), np.ones(size)
    with limited(threads):
        return {
            "copy": 16.0 * size / min(_times(lambda: copy(a, b))) / 1e9,
            "triad": 24.0 * size / min(_times(lambda: triad(a, b, c, 3.0))) / 1e9,
        }


def _times(run: Callable[[], Any], before: Callable[[], Any] = lambda: None) -> list[float]:
    """Seconds of calls after a first one, each after ``before``, which is not counted."""
    before()
    run()
    took = []
    for _ in range(TIMES):
        before()
        begun = perf_counter()
        run()
        took.append(perf_counter() - begun)
    return took


@contextmanager
def limited(threads: int) -> Iterator[None]:
    """Keep compiled loops to so many threads."""
    before = nb.get_num_threads()
    nb.set_num_threads(min(threads, before))
    try:
        yield
    finally:
        nb.set_num_threads(before)


@dataclass
class Call:
    """A compiled loop and the arguments of its largest call."""

    kernel: CPUDispatcher
    words: dict[str, Any]

    @property
    def size(self) -> int:
        return sum(each.nbytes for each in self.arrays.values())

    @property
    def arrays(self) -> dict[str, np.ndarray]:
        return {name: each for name, each in self.words.items() if isinstance(each, np.ndarray)}


def calls_until_half(pitch: float) -> tuple[dict[str, Call], int]:
    """Run the example until half of the ice has melted: the loops that were called, and cells."""
    run_until(8e-3, MARCH, done=0.5)  # compiled now: loops that call others find them as they are
    calls: dict[str, Call] = {}

    def watched(kernel: CPUDispatcher) -> Callable[..., Any]:
        signature = inspect.signature(kernel.py_func)

        def call(*args: Any) -> Any:
            found = Call(kernel, dict(signature.bind(*args).arguments))
            name = kernel.__name__
            if name not in calls or found.size >= calls[name].size:
                calls[name] = found
            return kernel(*args)

        return call

    patches = []
    for info in pkgutil.iter_modules(seep.__path__, "meltwick.seep."):
        module = importlib.import_module(info.name)
        for name, each in vars(module).items():
            if isinstance(each, CPUDispatcher):
                patches.append(mock.patch.object(module, name, watched(each)))
    _with_all(patches, lambda: run_until(pitch, MARCH, done=0.5))
    return calls, calls["sweep"].words["volume"].size


def _with_all(patches: list[Any], run: Callable[[], None]) -> None:
    for each in patches:
        each.start()
    try:
        run()
    finally:
        for each in patches:
            each.stop()


def measured(call: Call, threads: int) -> tuple[float, float]:
    """Return the bytes that a call must move at least, and its median time [s].

    It works on copies, which are put back before each call.
    """
    words = {name: np.copy(each) for name, each in call.arrays.items()}
    given = {**call.words, **words}
    if "chunks" in given:  # as the march sets it
        given["chunks"] = min(threads, given["chunks"])
    made = call.kernel(*given.values())
    changed = [name for name, each in call.arrays.items() if not np.array_equal(each, words[name])]
    unread = ONLY_WRITTEN.get(call.kernel.__name__, ())
    moved = sum(each.nbytes for name, each in words.items() if name not in unread)
    moved += sum(words[name].nbytes for name in changed)
    moved *= max((call.words[name] for name in REPEATED if name in call.words), default=1)
    made = made if isinstance(made, tuple) else (made,)
    moved += sum(each.nbytes for each in made if isinstance(each, np.ndarray))

    def put_back() -> None:
        for name in changed:
            words[name][...] = call.words[name]

    with limited(threads):
        took = _times(lambda: call.kernel(*given.values()), put_back)
    return float(moved), median(took)


def matrix_work(pitch: float) -> dict[str, tuple[float, float, int]]:
    """Bytes, seconds and cells of a product with the matrix, and of one cycle of multigrid.

    A cycle smooths and takes the residual with half of each row, and smooths with the whole: twice
    over the finest matrix; the coarser ones, a fraction of it, are left out of the bytes.
    """
    got = arguments_of("seep", pitch)
    net = got["net"]
    matrix = sp.csr_array(laplacian(net))
    n = matrix.shape[0]
    cycle = Multigrid(matrix)
    cycle.hold((net.outside > 0.0) & (net.bound <= 1.0 + 1e-9))
    x = np.asarray(got["melt"] / got["melt"].max())
    entries = float(matrix.data.nbytes + matrix.indices.nbytes + matrix.indptr.nbytes)
    return {
        "matrix times vector": (entries + 16.0 * n, median(_times(lambda: matrix @ x)), n),
        "multigrid cycle": (
            2.0 * (entries + 24.0 * n),
            median(_times(lambda: cycle(x))),
            n,
        ),
    }


def kernel_table(pitch: float, most: int = 2) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Measure memory, then every loop, with one thread and with more.

    Returns
    -------
    memory, loops : list of dict
        Rows of two tables.
    """
    counts = sorted({1, min(most, nb.config.NUMBA_NUM_THREADS)})
    memory = [{"threads": each, **memory_speed(each)} for each in counts]
    calls, cells = calls_until_half(pitch)
    rows = []
    for threads, speed in zip(counts, memory, strict=True):
        known = {name: (*measured(call, threads), cells) for name, call in calls.items()}
        if threads == 1:
            known.update(matrix_work(pitch))
        for name, (moved, seconds, n) in known.items():
            rows.append(
                {
                    "loop": name,
                    "threads": threads,
                    "pitch_mm": 1e3 * pitch,
                    "cells": n,
                    "mbytes": moved / 1e6,
                    "seconds": seconds,
                    "gb_per_s": moved / seconds / 1e9,
                    "share_of_triad": moved / seconds / 1e9 / speed["triad"],
                    "mcells_per_s": n / seconds / 1e6,
                }
            )
    return memory, rows


def _line(row: dict[str, Any]) -> str:
    return "  ".join(f"{k} {v:.4g}" if isinstance(v, float) else f"{k} {v}" for k, v in row.items())


if __name__ == "__main__":
    memory_rows, loop_rows = kernel_table(1e-3 * float(sys.argv[1]) if sys.argv[1:] else 1e-3)
    print(*map(_line, memory_rows + loop_rows), sep="\n")
