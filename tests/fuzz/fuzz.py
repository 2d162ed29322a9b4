"""Attack one reader with spoiled files for a while, and keep every file that it does not bear.

    python tests/fuzz/fuzz.py plan --seconds 60 --seed 1

A reader must return, or raise a MeltwickError with one short line. Whatever else it does is a
defect: another exception, more than ten seconds of work, more memory than its share, a message of
several lines or over a thousand characters. A spoiled file that reaches lines of src in an order
not seen before is kept and spoiled further. Defects lie in --keep, one file for each place; the
file that was read last lies there too, should the process itself die.
"""

from __future__ import annotations

import argparse
import contextlib
import faulthandler
import logging
import os
import random
import resource
import signal
import sys
import tempfile
import time
import traceback
import warnings
from collections.abc import Iterator
from pathlib import Path
from types import FrameType
from typing import Any

from targets import Target, targets

import meltwick
from meltwick.errors import MeltwickError

SOURCE = str(Path(meltwick.__file__).parent)
LONGEST = 1000  # characters of a message
PATIENCE = 10.0  # [s] of the processor for one file
MOST = 4000  # files that are kept to be spoiled further


class TooLongError(BaseException):
    """A reader took longer than it may; no reader catches it."""


class Ways:
    """Which line follows which in src."""

    def __init__(self) -> None:
        self.seen: set[tuple[int, int, int]] = set()
        self._ours: dict[Any, bool] = {}
        self._fresh = False
        self.borne = 0  # files that were read whole

    def _enter(self, frame: FrameType, event: str, _: object) -> Any:
        code = frame.f_code
        if code not in self._ours:
            self._ours[code] = code.co_filename.startswith(SOURCE)
        if not self._ours[code]:
            return None
        before, number = 0, id(code)

        def line(frame: FrameType, event: str, _: object) -> Any:
            nonlocal before
            if event == "line":
                way = (number, before, frame.f_lineno)
                before = frame.f_lineno
                if way not in self.seen:
                    self.seen.add(way)
                    self._fresh = True
            return line

        return line

    @contextlib.contextmanager
    def watched(self) -> Iterator[None]:
        """Note every way that is taken meanwhile."""
        self._fresh = False
        sys.settrace(self._enter)
        try:
            yield
        finally:
            sys.settrace(None)

    @property
    def fresh(self) -> bool:
        """Whether the last run took a way that none took before."""
        return self._fresh


def _alarm(*_: object) -> None:
    raise TooLongError


def _peak() -> float:
    return 1024.0 * resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def fault_of(target: Target, path: Path, ways: Ways) -> tuple[str, str] | None:
    """Read a file; return the place and the story of what went wrong, or None."""
    before = _peak()
    signal.setitimer(signal.ITIMER_PROF, PATIENCE)
    faulthandler.dump_traceback_later(6 * PATIENCE, exit=True)  # waits, or hears no signal
    try:
        with ways.watched():
            target.read(path)
        ways.borne += 1
    except MeltwickError as error:
        said = str(error)
        if not said or not said.isprintable() or len(said) > LONGEST:
            return _place(error), f"message of {len(said)} characters: {said[:300]!r}"
    except (KeyboardInterrupt, SystemExit):
        raise
    except BaseException as error:
        if isinstance(error, KeyboardInterrupt):
            raise
        return _place(error), "".join(traceback.format_exception(error)[-6:])
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        faulthandler.cancel_dump_traceback_later()
    taken = _peak() - before
    if taken > target.memory:
        return "memory", f"{taken / 1e9:.1f} GB were taken"
    return None


def _place(error: BaseException) -> str:
    ours = [f for f in traceback.extract_tb(error.__traceback__) if f.filename.startswith(SOURCE)]
    where = f"{Path(ours[-1].filename).stem}-{ours[-1].lineno}" if ours else "outside"
    return f"{type(error).__name__}-{where}"


def attack(name: str, seconds: float, seed: int, keep: Path) -> int:
    """Fuzz one reader; return the number of different defects."""
    target = targets(keep)[name]
    pool = list(target.seeds(keep))
    dice, ways, found = random.Random(seed), Ways(), dict[str, str]()
    path = keep / f"last.{target.ending}"
    for data in pool:  # compiles what is compiled, unhurried
        path.write_bytes(data)
        with contextlib.suppress(MeltwickError):
            target.read(path)
    end, runs, seeds = time.monotonic() + seconds, 0, len(pool)
    while runs < seeds or time.monotonic() < end:
        if runs < seeds:  # the seeds themselves come first, whole
            data = pool[runs]
        else:
            data = dice.choice((pool[dice.randrange(seeds)], dice.choice(pool), pool[-1]))
            for _ in range(dice.choice((1, 1, 2))):
                data = dice.choice(target.spoil)(dice, data, dice.choice(pool)) or b"\n"
        path.write_bytes(data)
        runs += 1
        fault = fault_of(target, path, ways)
        if fault is None:
            if ways.fresh and runs > seeds:
                pool.append(data)
                if len(pool) > MOST:
                    del pool[dice.randrange(seeds, MOST)]
        elif fault[0] not in found:
            found[fault[0]] = fault[1]
            (keep / f"{name}-{fault[0]}.{target.ending}").write_bytes(data)
            print(f"{name}: {fault[0]} after {runs} files\n{fault[1]}", flush=True)
    print(
        f"{name}: {runs} files in {seconds:.0f} s with seed {seed}, {ways.borne} read whole, "
        f"{len(pool) - seeds} kept, {len(ways.seen)} ways, {len(found)} defects"
        + (f" in {keep}" if found else "")
    )
    return len(found)


def main() -> int:
    """Run the command line."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("reader", choices=sorted(targets(Path())))
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="folder for what was not borne")
    words = parser.parse_args()
    keep = words.keep or Path(tempfile.mkdtemp(prefix=f"meltwick-fuzz-{words.reader}-"))
    keep.mkdir(parents=True, exist_ok=True)
    os.environ.setdefault("NUMBA_NUM_THREADS", "1")
    warnings.simplefilter("ignore")
    logging.disable()
    faulthandler.enable()
    signal.signal(signal.SIGPROF, _alarm)
    return 1 if attack(words.reader, words.seconds, words.seed, keep.resolve()) else 0


if __name__ == "__main__":
    sys.exit(main())
