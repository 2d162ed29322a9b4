"""What measures photographs, where it is easily led astray."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter
from tests.test_bands import FACE, PITCH, between, oval, waves
from tests.test_fitting import BOX

from meltwick.cli.places import read_corners
from meltwick.errors import PlanError
from meltwick.photo.bands import bands
from meltwick.photo.outline import through
from meltwick.photo.parting import part


def test_a_drawing_of_two_colours_without_any_grain_is_parted() -> None:
    """The mean of squares may come out a hair below 0."""
    linear = np.full((240, 240, 3), 0.81)
    linear[60:180, 70:170] = (0.03, 0.11, 0.27)
    mask = part(gaussian_filter(linear, (1.2, 1.2, 0.0))).mask
    assert mask.mean() == pytest.approx(120 * 100 / 240**2, abs=0.015)


def test_a_picture_of_one_colour_is_parted_without_a_fault() -> None:
    mask = part(np.full((96, 128, 3), 0.37)).mask
    assert mask.mean() < 0.02 or mask.mean() > 0.97


ON_A_LINE = [
    [(0.0, 0.0), (100.0, 100.0), (200.0, 200.0), (0.0, 300.0)],
    [(100.0, 60.0), (100.0, 60.0), (200.0, 220.0), (100.0, 220.0)],
    [(10.0, 10.0), (50.0, 50.0), (90.0, 90.0), (200.0, 200.0)],
    [(100.0, 100.0), (300.0, 101.0), (500.0, 101.0), (100.0, 400.0)],
]


@pytest.mark.parametrize("corners", ON_A_LINE)
def test_three_corners_on_a_line_are_refused(corners: list[tuple[float, float]]) -> None:
    with pytest.raises(ValueError, match="pixels lie on a line"):
        through(BOX, np.array(corners))
    with pytest.raises(ValueError, match="points lie on a line"):
        through(np.array(corners), BOX)
    words = tuple(f"{x:g},{y:g}" for x, y in corners)
    with pytest.raises(PlanError, match=r"^--back-corners: .* on a line; .*upper left"):
        read_corners(words, "corner", "--back-corners")


def test_corners_of_a_long_thin_piece_are_no_line() -> None:
    """A scarf seen along its length: the corners are square, however near each other."""
    thin = np.array([(10.0, 10.0), (40.0, 10.0), (40.0, 2400.0), (10.0, 2400.0)])
    assert through(BOX, thin)[2] == pytest.approx([0.0, 0.0, 1.0], abs=1e-9)


@pytest.mark.parametrize("run", [0.0, 0.5, 2.0, 90.0, 179.0])
@pytest.mark.parametrize("spacing", [0.02, 0.06, 0.09])
def test_level_bands_run_level_and_are_as_strong_as_others(spacing: float, run: float) -> None:
    found = bands(np.where(oval(), waves(spacing, run), 0.0), oval(), PITCH)
    assert found is not None
    assert found.spacing == pytest.approx(spacing, rel=0.02)
    assert between(found.direction, run) < 0.5
    slanted = bands(np.where(oval(), waves(spacing, 40.0), 0.0), oval(), PITCH)
    assert slanted is not None
    assert found.strength == pytest.approx(slanted.strength, abs=0.05)


@pytest.mark.parametrize("wide", [1.0, 2.5, 4.0, 6.0, 9.0])
def test_blotches_have_no_bands(wide: float) -> None:
    """Spots the same in every direction, as a scrunched piece shows them, from 1 to 9 cm."""
    taken = 0
    for seed in range(20):
        spots = gaussian_filter(np.random.default_rng(seed).normal(0.0, 1.0, FACE), wide)
        taken += bands(60.0 + 15.0 * spots / spots.std(), oval(), PITCH) is not None
    assert taken <= 1


def test_bands_among_blotches_are_bands() -> None:
    spots = gaussian_filter(np.random.default_rng(3).normal(0.0, 1.0, FACE), 4.0)
    found = bands(waves(0.07, 0.0) + 8.0 * spots / spots.std(), oval(), PITCH)
    assert found is not None
    assert between(found.direction, 0.0) < 2.0
