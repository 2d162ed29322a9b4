"""Patterns on the opened cloth: stripes of an accordion, arms of a spiral.

Read off the predicted dye by spectra, with nothing of the fold's own numbers in the reading. That
an accordion gives stripes and a spiral gives arms is common practice, no source; how far apart
and how many is geometry: dye gets in at every second crease, and at every rib.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest
from scipy.ndimage import map_coordinates

from meltwick.constants import Constants
from meltwick.folding import ribs_angle
from meltwick.plan import plan_from_text, resolve
from meltwick.simulate import run
from meltwick.stock import load_stock
from meltwick.types import Accordion, BandTie, Fold, Result, Spiral, Spot, StringTie, Tie

pytestmark = pytest.mark.slow

PITCH = 4e-3
PLAN = """
schema = 1
name = "pattern"
[garment]
blank = "bandana"
fabric = "cotton jersey"
[[round]]
  [[round.ice]]
  amount = "500 g"
  [[round.dye]]
  dye = "harbour blue"
  amount = "4 g"
"""


@cache
def dyed(fold: Fold, tie: Tie, neatness: float, seed: int = 7) -> Result:
    recipe = resolve(plan_from_text(PLAN, "pattern.toml"), load_stock())
    spec = replace(recipe.rounds[0], folds=(fold,), tie=tie, outside="front", lies="")
    recipe = replace(recipe, seed=seed, neatness=neatness, rounds=(spec,))
    return run(
        recipe,
        "pattern",
        pitch=PITCH,
        start=None,
        constants=Constants(),
        observer=lambda stage, done, total: None,
        threads=1,
    )


# ---------------------------------------------------------------------------------- stripes


@pytest.mark.parametrize(
    ("pleat", "angle", "neatness"),
    [(0.05, 0.0, 0.5), (0.07, np.radians(40.0), 0.3)],
)
def test_an_accordion_shows_stripes_at_twice_its_pleat_width(
    pleat: float, angle: float, neatness: float
) -> None:
    result = dyed(Accordion(pleat, angle), StringTie(0.04, 20.0, 2e-3), neatness)
    cloth, depth = result.cloth, result.fixed.amount.sum(axis=1)
    across = cloth.x * np.cos(angle) + cloth.y * np.sin(angle)
    strip = np.floor((across - across.min()) / PITCH).astype(int)
    count = np.bincount(strip)
    line = (np.bincount(strip, depth) / np.maximum(count, 1))[count > 0.3 * count.max()]
    wave = np.abs(np.fft.rfft((line - line.mean()) * np.hanning(line.size), 4096))
    frequency = np.fft.rfftfreq(4096, PITCH)
    wave[frequency < 2.5 / (line.size * PITCH)] = 0.0  # the cloth's own shape
    assert 1.0 / frequency[np.argmax(wave)] == pytest.approx(2.0 * pleat, rel=0.1)
    # stripes, not flecks: they make up much of what varies across the creases
    assert line.std() > 0.2 * line.mean()


# ---------------------------------------------------------------------------------- arms


@dataclass(frozen=True)
class Arms:
    """The strongest wave on a polar raster round the centre."""

    count: int  # that a circle crosses
    twist: float  # waves to each factor e of the radius; positive: arms wind left going out


def arms(result: Result, near: float, far: float) -> Arms:
    """Resample the dye's depth by log radius and angle; the 2-D spectrum's peak tells arms."""
    cloth, panel = result.cloth, result.cloth.panels[0]
    picture = result.fixed.amount.sum(axis=1)[np.maximum(panel.index, 0)]
    rows, turns = 128, 512
    log_radius = np.linspace(np.log(near), np.log(far), rows, endpoint=False)
    way = 2.0 * np.pi * np.arange(turns) / turns
    radius, angle = np.meshgrid(np.exp(log_radius), way, indexing="ij")
    middle = cloth.places["middle"]
    x, y = middle[0] + radius * np.cos(angle), middle[1] + radius * np.sin(angle)
    place = [(y - panel.origin[1]) / PITCH - 0.5, (x - panel.origin[0]) / PITCH - 0.5]
    polar = np.log(map_coordinates(picture, place, order=1) + 1e-4)
    polar = (polar - polar.mean(axis=1, keepdims=True)) * np.hanning(rows)[:, None]
    wave = np.abs(np.fft.fft2(polar, (1024, turns)))[:, 3:60]
    i, j = np.unravel_index(np.argmax(wave), wave.shape)
    frequency = np.fft.fftfreq(1024, log_radius[1] - log_radius[0])
    return Arms(int(j) + 3, float(frequency[i]))


@pytest.mark.parametrize(
    ("pleats", "sense", "neatness"),
    [(8, "right", 0.5), (8, "left", 0.2), (12, "left", 0.5)],
)
def test_a_spiral_shows_its_arms_and_its_sense(pleats: int, sense: str, neatness: float) -> None:
    fold = Spiral(Spot("middle"), pleats, 1.0, 0.05, sense)  # type: ignore[arg-type]
    result = dyed(fold, BandTie(3, 10.0, 4e-3), neatness)
    # out to where a pleat is as tall as the disc, and would be folded again
    found = arms(result, 0.04, fold.height * pleats / np.pi)
    assert found.count == pleats
    # turning the middle as a clock's hands leaves the outside behind: arms wind against them
    size = result.cloth.size * PITCH**2
    angle = ribs_angle(fold, 1, np.sqrt(size / np.pi), result.cloth.fabric.thickness)
    known = pleats * np.tan(angle) / (2.0 * np.pi) * (1.0 if sense == "right" else -1.0)
    assert found.twist == pytest.approx(known, rel=0.25)
