"""Journals for tests: made-up pieces, a writer that is killed, a user without special rights."""

from __future__ import annotations

import ctypes
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from meltwick.journal import Cost, Entry, Journal, Outcome, Photo, Picture, Prediction
from meltwick.journal.book import now
from meltwick.journal.photographs import kept_photo
from meltwick.journal.records import sha256

DRAWING = b'<svg xmlns="http://www.w3.org/2000/svg"/>'
PLAN = '[garment]\noutline = "kite.svg"\n'
CANONICAL = '{"schema":1}'


def picture(number: int, size: int = 20_000) -> Picture:
    """Return bytes that stand for a photograph: no two alike."""
    return Picture(random.Random(number).randbytes(size), f"IMG_{number}.jpg")


def entry(name: str = "kite", *, white: float = 0.4, photo: Picture | None = None) -> Entry:
    """Return a piece that names a file and, if wanted, a photograph."""
    photos = () if photo is None else (Photo(sha256(photo.content), photo.file),)
    return Entry(
        recorded=now(),
        name=name,
        made_on=date(2026, 11, 3),
        plan_name="kite",
        plan_file="kite.toml",
        plan_text=PLAN,
        canonical=CANONICAL,
        digest=sha256(CANONICAL.encode()),
        seed=2**63 - 1,
        fold="pole",
        ground="white",
        outcome=Outcome(white, 0.03, "photo", {"white": white}, {"front": {"white": 0.5}}),
        prediction=Prediction(
            white=0.37,
            low=0.33,
            high=0.41,
            least=0.1,
            most=0.7,
            by_hand=(0.37, 0.33, 0.41),
            seed=7,
            pitch=4e-3,
            shares={"white": 0.37, "deep": 0.63},
            panels={},
            zones={"middle": {"white": 0.2}},
            model=3,
            version="0.1.0",
        ),
        costs=(Cost("12.50", "EUR", "blank"), Cost("3", "EUR")),
        photos=photos,
        kept={"kite.svg": sha256(DRAWING)},
    )


CONTENTS = {sha256(DRAWING): DRAWING}


def add(journal: Journal, name: str = "kite", photo: Picture | None = None) -> int:
    """Save a made-up piece."""
    pictures = [] if photo is None else [photo]
    return journal.add(entry(name, photo=photo), CONTENTS, pictures, ["as it came from the tub"])


# ------------------------------------------------------------------------------ processes

_WRITER = """
import sys
from pathlib import Path
from tests.journalling import add, picture
from meltwick.journal import Journal

journal, first, last = Journal(Path(sys.argv[1]), wait=60.0), int(sys.argv[2]), int(sys.argv[3])
print("ready", flush=True)
for n in range(first, last):
    number = add(journal, f"piece {n}", picture(n))
    print("saved", number, n, flush=True)
    journal.note(number, f"note to {n}")
    print("noted", number, n, flush=True)
"""


def writer(path: Path, first: int, last: int) -> subprocess.Popen[str]:
    """Start a process that records pieces and says of each when it is saved."""
    root = Path(__file__).parents[1]
    places = [str(root), os.environ.get("PYTHONPATH", "")]
    return subprocess.Popen(
        [sys.executable, "-c", _WRITER, str(path), str(first), str(last)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(place for place in places if place)},
    )


@dataclass
class Killed:
    """What came of a journal whose writer was killed."""

    said: list[int] = field(default_factory=list)  # pieces and notes that were reported, each time
    unsaid: int = 0  # pieces that were saved and not yet reported
    hot: int = 0  # times that a rollback journal was left


def kill_often(path: Path, times: int, seed: int = 50) -> Killed:
    """Kill -9 a writer so many times, and look after each whether all that it said is there.

    It is killed after it has said none to eight times that something is saved, at a random moment
    of the time that the next takes, which copies a photograph and commits, or commits a note.
    """
    dice, report, journal = random.Random(seed), Killed(), Journal(path)
    saved: dict[int, str] = {}
    noted: set[int] = set()
    usual = 0.1  # [s] that a saving takes; measured anew each time
    for turn in range(times):
        process = writer(path, 100_000 * turn, 100_000 * (turn + 1))
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        begun, heard = time.monotonic(), ""
        for _ in range(count := dice.randrange(9)):
            heard += process.stdout.readline()
        usual = (time.monotonic() - begun) / count if count else usual
        time.sleep(dice.uniform(0.0, usual))
        process.send_signal(signal.SIGKILL)
        out, err = process.communicate(timeout=60)
        out = heard + out
        assert not err, err
        whole = [line.split() for line in out.splitlines(keepends=True) if line.endswith("\n")]
        saved |= {int(number): f"piece {n}" for what, number, n in whole if what == "saved"}
        noted |= {int(number) for what, number, _ in whole if what == "noted"}
        report.said.append(len(whole))
        report.hot += path.with_name(f"{path.name}-journal").exists()
        if not path.exists():
            assert not saved
            continue
        found = {piece.number: piece for piece in journal.pieces()}  # each is checked by its mark
        assert saved.items() <= {n: piece.name for n, piece in found.items()}.items()
        assert all(len(found[number].notes) == 2 for number in noted)
        assert all(piece.files == {"kite.svg": DRAWING} for piece in found.values())
        for piece in found.values():
            copy = kept_photo(journal.photos, piece.photos[0].sha256)
            assert copy is not None
            assert sha256(copy.read_bytes()) == piece.photos[0].sha256
        report.unsaid += len(found) - len(saved)
        saved |= {n: piece.name for n, piece in found.items()}
    return report


def without_rights() -> Callable[[], None] | None:
    """Return what a child does first so that the rights of files bind it even if it is root.

    Root's rights to pass over them (CAP_DAC_OVERRIDE, 1, and CAP_DAC_READ_SEARCH, 2) are taken out
    of what the child may ever have (PR_CAPBSET_DROP, 24); others need nothing. None where neither
    can be had.
    """
    if sys.platform == "win32":
        return None
    if os.geteuid() != 0:
        return lambda: None
    if sys.platform != "linux":
        return None
    libc = ctypes.CDLL(None, use_errno=True)
    if libc.prctl(23, 1, 0, 0, 0) != 1:  # PR_CAPBSET_READ: root without it is bound already
        return lambda: None

    def drop() -> None:
        if libc.prctl(24, 1, 0, 0, 0) != 0 or libc.prctl(24, 2, 0, 0, 0) != 0:
            raise OSError(ctypes.get_errno(), "PR_CAPBSET_DROP")

    return drop
