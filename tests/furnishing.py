"""A maker's shed for the pages' commands: plans, made photographs, a journal, homes of its own."""

from __future__ import annotations

import contextlib
import io
import os
import shutil
from pathlib import Path

import platformdirs
import pytest
from PIL import Image
from tests import cards, halos
from tests.learned import PROFILE
from tests.painted import banded, painted
from tests.photographs import Conditions, photograph
from tests.test_cli_swatch import STOCK, cloth

from meltwick.cli import main, machine
from meltwick.journal.profiles import as_toml
from meltwick.stock import loader
from meltwick.study import store, workers
from tests.pages import ROOT

LIGHT = {"ground": "wood", "long_side": 640, "fill": 0.75, "tilt": 6.0}
FOLDS = ("pole-bias-35", "spiral")


def run(*words: str) -> tuple[int, str, str]:
    """Run the command in this process, as if it were alone; give code, out, err."""
    loader._load.cache_clear()  # each command is a process of its own
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main(list(words))
    return code, out.getvalue(), err.getvalue()


def settle(patch: pytest.MonkeyPatch, home: Path, runs: Path) -> None:
    """Let the command keep its things in a home, its runs in a folder, and use one core."""
    for name in [each for each in dir(platformdirs) if each.startswith("user_")]:
        place = home / name.split("_")[1]
        answer = place if name.endswith("_path") else str(place)
        patch.setattr(platformdirs, name, lambda *_, _answer=answer, **__: _answer)
    patch.setattr(store, "usual_folder", lambda: runs)
    patch.setattr(machine, "prepare_kernels", lambda announce=True: None)
    patch.setattr(workers, "usable_cores", lambda: 1)
    patch.setenv("COLUMNS", "100")


def photographs(folder: Path) -> None:
    """Photograph a painted tee; the same pictures with other bytes are another piece's."""
    piece = painted("tee", banded)
    for number, side in enumerate(("front", "back")):
        shot = photograph(piece, side, Conditions(seed=71 + number, **LIGHT))
        shot.image.save(folder / f"{side}.jpg", quality=92)
        shot.image.save(folder / f"spiral-{side}.jpg", quality=91)


def card(path: Path, grid: list[list[str]]) -> None:
    """Photograph a card of swatches; - is an empty place."""
    spectra = [[None if name == "-" else cloth(name, 2.0) for name in row] for row in grid]
    made = cards.Made(spectra, kelvin=5500, tilt=8, noise=0.01, quality=85, size=(640, 480))
    path.write_bytes(cards.photograph(made))


def halo(path: Path) -> None:
    """Photograph a split test of two parts."""
    parts = [
        (halos.bands(*STOCK.components[name].bands), amount, radius, edge)
        for name, amount, radius, edge in (
            ("reactive orange 16", 0.8, 130.0, 12.0),
            ("reactive red 2", 1.2, 80.0, 10.0),
        )
    ]
    path.write_bytes(halos.photograph(parts, ((240, 240),), (480, 480)))
