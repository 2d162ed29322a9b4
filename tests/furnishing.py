"""A maker's shed for the pages' commands: plans, made photographs, a journal, homes of its own."""

from __future__ import annotations

import contextlib
import io
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import platformdirs
import pytest
from tests.learned import PROFILE
from tests.pages import ROOT, block_lines
from tests.painted import banded, painted
from tests.photographs import Conditions, photograph
from tests.swatched import card, split_test

from meltwick.cli import machine, main
from meltwick.journal.profiles import as_toml
from meltwick.photo import measuring, showing
from meltwick.photo.measuring import Given
from meltwick.picture import contact, film, guide
from meltwick.stock import loader
from meltwick.study import aim, redye, store, workers
from meltwick.types import Cloth

GALLERY = ROOT / "gallery"
LIGHT = {"ground": "wood", "long_side": 420, "fill": 0.85, "tilt": 6.0}
SMALL = (
    (guide, "LONG_SIDE", 640),  # [px] of a guide's pictures
    (contact, "_WIDE", 640),  # [px] of a sheet of pieces
    (film, "WIDTH", 320),  # [px] of a frame
    (film, "TALLEST", 280),
    (film, "_STEPS", 20),  # moments of a round
    (redye, "FOLDS", ("scrunch",)),  # of second rounds
    (redye, "PULLS", ("snug",)),
    (redye, "FIRST", 2),  # amounts of powder that are tried first
    (aim, "FIRST", 2),
    (redye, "_GOES", 1),
)
"""What is made smaller or fewer: commands take as long as their pictures are large."""
QUICK = ("--hands", "1", "--detail", "10 mm")
COLLECTION = """schema = 1
name = "first-frost"
prices = "prices.toml"
[workshop]
start = "2027-01-11"
hours = "9:00 to 17:00"
[[piece]]
plan = "ice-fern.toml"
price = 32
[[piece]]
plan = "kerchief.toml"
price = 24
"""
"""The gallery's collection with two of its eight pieces."""


def run(*words: str) -> tuple[int, str, str]:
    """Run the command in this process, as if it were alone; give code, out, err."""
    loader._load.cache_clear()  # a process of its own reads the stock anew
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main(list(words))
    return code, out.getvalue(), err.getvalue()


def must(*words: str) -> None:
    """Run what the shed needs."""
    code, _, err = run(*words)
    assert code == 0, err


# ------------------------------------------------------------------------------ how it is kept


def settle(patch: pytest.MonkeyPatch, home: Path, runs: Path) -> None:
    """Keep the command's things in a home and its runs in a folder; one core, small pictures."""
    for name in [each for each in dir(platformdirs) if each.startswith("user_")]:
        place = home / name.split("_")[1]
        answer = place if name.endswith("_path") else str(place)
        patch.setattr(platformdirs, name, lambda *_, _answer=answer, **__: _answer)
    patch.setattr(store, "usual_folder", lambda: runs)
    patch.setattr(machine, "prepare_kernels", lambda announce=True: None)
    patch.setattr(workers, "usable_cores", lambda: 1)
    for module, name, value in SMALL:
        patch.setattr(module, name, value)


def remembering(view: Callable[..., Any]) -> Callable[..., Any]:
    """Find a piece in the same pixels once, whatever the files are called."""
    known: dict[object, tuple[Any, Any]] = {}

    def found(photos: Any, blanks: Any, given: Any = None) -> tuple[Any, Any]:
        said = any(each != Given() for each in (given or {}).values())
        key = (
            *((name, photo.linear.tobytes()) for name, photo in photos.items()),
            *((blank.name, blank.size, fabric.name) for blank, fabric in blanks),
        )
        if said or key not in known:
            known[key] = view(photos, blanks, given)
        blank, sides = known[key]
        return blank, tuple(replace(side, photo=photos[side.name]) for side in sides)

    return found


def remember_photographs(patch: pytest.MonkeyPatch) -> None:
    """Let every command that reads a photograph share what was found in it."""
    found = remembering(measuring.view)
    patch.setattr(measuring, "view", found)
    patch.setattr(showing, "view", found)


# ------------------------------------------------------------------------------ what is in it


def lightly(cloth: Cloth) -> np.ndarray:
    """Bands with more white than dye between them."""
    return banded(cloth) - 0.45


def photographs(folder: Path) -> None:
    """Photograph a painted tee; the same pixels in other files are another piece's."""
    piece = painted("tee", lightly)
    for number, side in enumerate(("front", "back")):
        shot = photograph(piece, side, Conditions(seed=71 + number, **LIGHT))
        shot.image.save(folder / f"{side}.jpg", quality=90)
        for other in ("spiral", "measured"):
            shot.image.save(folder / f"{other}-{side}.jpg", quality=90, comment=other)


def swatches(folder: Path) -> None:
    """Lay out the card of docs/swatches.md, a larger one, and a split test."""
    lines = block_lines(ROOT / "docs" / "swatches.md")
    small = [row.strip() for row in lines if row.strip().startswith(("lemon, ", "undyed, "))]
    assert len(small) == 2
    large = ["lemon, coral, rose, undyed", "tide, ink, plum, fern", "coral 4%, -, plum 4%, tide 4%"]
    for name, rows in (("", small), ("large-", large)):
        (folder / f"{name}names.csv").write_text("\n".join(rows) + "\n", "utf-8")
        shot = card([row.split(", ") for row in rows], kelvin=5500, tilt=8, noise=0.01)
        (folder / f"{name}card.jpg").write_bytes(shot)
    (folder / "halo.jpg").write_bytes(split_test())


def furnish(folder: Path, home: Path) -> None:
    """Put into a folder, and into a home, all that the pages take for granted."""
    photographs(folder)
    swatches(folder)
    for plan in ("pole-bias-35", "spiral"):
        shutil.copy(GALLERY / f"{plan}.toml", folder)
    for place in (folder / "first-frost", folder / "gallery" / "first-frost"):
        place.mkdir(parents=True)
        for name in ("ice-fern.toml", "kerchief.toml"):
            shutil.copy(GALLERY / "first-frost" / name, place)
    shutil.copy(GALLERY / "first-frost" / "prices.toml", place)
    (place / "collection.toml").write_text(COLLECTION, "utf-8")  # the other folder has none
    (folder / "stick").mkdir()
    (home / "data" / "profiles").mkdir(parents=True)
    (home / "data" / "profiles" / "mine.toml").write_text(as_toml(PROFILE), "utf-8")
    must("new", "salt-marsh")
    must("new", "harbour-tee")
    must("measure", "measured-front.jpg", "--back", "measured-back.jpg", "--plan",
         "salt-marsh.toml", "--out", "measured-before")  # fmt: skip
    (folder / "measured-before" / "measure.json").replace(folder / "measure.json")
    for plan, share in (("salt-marsh.toml", "45%"), ("spiral.toml", "20%")):
        must("record", plan, "--by-eye", share, *QUICK)
    must("record", "salt-marsh.toml", "--by-eye", "55%", "--name", "second sea", *QUICK)
