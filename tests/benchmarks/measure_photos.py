"""Measure random made photographs, and say how far the white share is off.

Run from the top folder, with ``src`` installed or on the path::

    python tests/benchmarks/measure_photos.py --out measured

It prints the error by ground, tilt, cast and piece, the share of cases within 3 points (wanted:
95 % of 200) and the ten worst, whose photographs it leaves in the folder beside ``cases.csv``.
With ``--make`` it measures nothing and leaves every photograph with its truth. Ended before its
time, it goes on where it was when it is run again with the same words; what was written by another
version, or other words, belongs into another folder.
"""

from __future__ import annotations

import argparse
import csv
import multiprocessing
import sys
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.grounds import GROUNDS
from tests.photographs import Truth, pieces, random_case

NEAR = 3.0  # points
WANTED = 0.95


@dataclass(frozen=True)
class Case:
    """One photograph, as it was and as it was measured."""

    number: int
    piece: str
    side: str
    ground: str
    tilt: float
    kelvin: float
    balance: float
    shading: float
    clipped: float
    fill: float
    white: float  # true, per cent
    found: float  # per cent; not a number when it was refused
    margin: float  # per cent
    seconds: float
    said: str  # why it was refused

    @property
    def off(self) -> float:
        """Points too much."""
        return self.found - self.white


def measure_case(photo: Path, side: str, blank: str, size: str) -> tuple[float, float]:
    """Measure a photograph of one side: white share and margin, 0 to 1."""
    from meltwick.photo import read_photo
    from meltwick.photo.measuring import MOST, measure
    from meltwick.stock import load_stock

    stock = load_stock()
    known = [(stock.blank(blank, size), stock.usual_fabric(blank))]
    found = measure({side: read_photo(photo, MOST)}, known)
    return found.white_share, found.margin


def run_case(
    number: int, *, seed: int, pitch: float, wishes: dict[str, object], out: Path, make: bool
) -> Case:
    """Make a photograph and measure it."""
    from meltwick.errors import MeltwickError

    photo = random_case(number, pieces(pitch, out / "pieces"), seed, **wishes)
    path = out / f"case-{number:03}.jpg"
    path.write_bytes(photo.jpeg)
    begun, found, margin, said = time.perf_counter(), np.nan, np.nan, ""
    if not make:
        try:
            found, margin = measure_case(
                path, photo.truth.side, photo.truth.blank, photo.truth.size
            )
        except MeltwickError as fault:
            said = str(fault)
    return _case(number, photo.truth, found, margin, time.perf_counter() - begun, said)


def _case(
    number: int, truth: Truth, found: float, margin: float, seconds: float, said: str
) -> Case:
    c = truth.conditions
    return Case(
        number=number,
        piece=truth.piece,
        side=truth.side,
        ground=c.ground,
        tilt=c.tilt,
        kelvin=c.kelvin,
        balance=c.balance,
        shading=c.shading,
        clipped=c.clipped,
        fill=c.fill,
        white=100 * truth.white,
        found=100 * found,
        margin=100 * margin,
        seconds=seconds,
        said=said,
    )


def banded(value: float, bounds: Sequence[float]) -> str:
    """Name the band of a value, such as ``10 to 20``."""
    at = min(int(np.searchsorted(bounds, value, side="right")), len(bounds) - 1)
    return f"{bounds[at - 1]:g} to {bounds[at]:g}"


WAYS: dict[str, Callable[[Case], str]] = {
    "ground": lambda case: case.ground,
    "tilt [deg]": lambda case: banded(case.tilt, (0, 8, 16, 25)),
    "light [K]": lambda case: banded(case.kelvin, (3000, 4000, 5500, 7500)),
    "cast taken off": lambda case: banded(case.balance, (0, 0.25, 0.75, 1)),
    "shading": lambda case: banded(case.shading, (0, 0.1, 0.2, 0.3)),
    "fills": lambda case: banded(case.fill, (0.5, 0.6, 0.7, 0.85)),
    "clipped": lambda case: "yes" if case.clipped else "no",
    "piece": lambda case: case.piece,
    "all": lambda case: "",
}


def table(cases: Sequence[Case]) -> Iterable[str]:
    """Write the errors by each of `WAYS`."""
    yield f"{'':32}{'cases':>6}{'refused':>9}{'mean':>7}{'rms':>7}{'worst':>7}{'within 3':>10}"
    for way, key in WAYS.items():
        for group in sorted({key(case) for case in cases}):
            some = [case for case in cases if key(case) == group]
            off = np.array([case.off for case in some])
            told = off[np.isfinite(off)]
            near = float(np.mean(np.abs(np.nan_to_num(off, nan=np.inf)) <= NEAR))
            numbers = "      -      -      -"
            if told.size:
                worst = told[np.argmax(np.abs(told))]
                numbers = f"{told.mean():7.1f}{np.sqrt(np.mean(told**2)):7.1f}{worst:7.1f}"
            name = f"{way} {group}".strip()
            yield f"{name:32}{len(some):6}{len(off) - len(told):9}{numbers}{100 * near:9.0f}%"


def report(cases: Sequence[Case]) -> list[Case]:
    """Print the table, how honest the margin is, and the worst cases, which are returned."""
    print("\n".join(table(cases)))
    told = [case for case in cases if np.isfinite(case.off)]
    if told:
        held = np.mean([abs(case.off) <= case.margin for case in told])
        wide = np.mean([case.margin for case in told])
        spent = np.mean([case.seconds for case in told])
        print(f"margin: {wide:.1f} points on average, holds the truth in {100 * held:.0f} %")
        print(f"measuring took {spent:.1f} s on average")
    worst = sorted(cases, key=lambda case: -abs(np.nan_to_num(case.off, nan=np.inf)))[:10]
    print("\nworst:")
    for case in worst:
        found = case.said or f"found {case.found:5.1f} +- {case.margin:.1f}"
        print(
            f"case-{case.number:03} {case.piece}, {case.side}, on {case.ground}, "
            f"{case.tilt:.0f} deg, {case.kelvin:.0f} K less {case.balance:.1f}, "
            f"shading {case.shading:.2f}: white {case.white:.1f}, {found}"
        )
    return worst


def write_csv(cases: Sequence[Case], path: Path) -> None:
    """Write every case as a row."""
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(NAMES)
        writer.writerows([getattr(case, key) for key in NAMES] for case in cases)


def read_csv(path: Path) -> list[Case]:
    """Read what `write_csv` wrote; nothing where there is none."""
    if not path.exists():
        return []
    kinds = {key: KINDS[str(field.type)] for key, field in Case.__dataclass_fields__.items()}
    with path.open(newline="", encoding="utf-8") as file:
        return [Case(**{k: kinds[k](row[k]) for k in NAMES}) for row in csv.DictReader(file)]


NAMES = tuple(Case.__dataclass_fields__)
KINDS: dict[str, Callable[[str], Any]] = {"int": int, "float": float, "str": str}


def main(words: Sequence[str] | None = None) -> int:
    """Run it; 1 when fewer than wanted come near."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", 1)[0])
    parser.add_argument("--cases", type=int, default=200)
    parser.add_argument("--first", type=int, default=0, help="number of the first case")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--pitch", type=float, default=3.0, help="of the cloth [mm]")
    parser.add_argument("--long-side", type=int, help="of every photograph [px]")
    parser.add_argument("--ground", choices=sorted(GROUNDS), help="of every photograph")
    parser.add_argument("--polish", type=float, help="telephone's retouching, 0 to 1")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--out", type=Path, default=Path("measured"))
    parser.add_argument("--make", action="store_true", help="only make the photographs")
    asked = parser.parse_args(words)
    pitch = 1e-3 * asked.pitch
    told = {"long_side": asked.long_side, "ground": asked.ground, "polish": asked.polish}
    wishes = {key: value for key, value in told.items() if value is not None}
    asked.out.mkdir(parents=True, exist_ok=True)
    pieces(pitch, asked.out / "pieces")  # once, before the workers read them
    work = partial(
        run_case,
        seed=asked.seed,
        pitch=pitch,
        wishes=wishes,
        out=asked.out,
        make=asked.make,
    )
    every = range(asked.first, asked.first + asked.cases)
    cases = [case for case in read_csv(asked.out / "cases.csv") if case.number in every]
    numbers = sorted(set(every) - {case.number for case in cases})
    # spawned, not forked: compiled loops that ran in threads do not outlive a fork
    with multiprocessing.get_context("spawn").Pool(asked.jobs) as pool:
        for case in pool.imap_unordered(work, numbers):
            cases.append(case)
            write_csv(cases, asked.out / "cases.csv")
            print(f"\r{len(cases)} of {asked.cases}", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    cases.sort(key=lambda case: case.number)
    write_csv(cases, asked.out / "cases.csv")
    if asked.make:
        return 0
    kept = {case.number for case in report(cases)}
    for case in cases:
        if case.number not in kept:
            (asked.out / f"case-{case.number:03}.jpg").unlink(missing_ok=True)
    near = np.mean([abs(case.off) <= NEAR for case in cases])  # a refused one is not near
    return 0 if near >= WANTED else 1


if __name__ == "__main__":
    sys.exit(main())
