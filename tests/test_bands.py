"""Bands across a piece, and the colours of a piece, on planes of known make."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meltwick.photo.bands import NARROWEST, WIDEST, bands
from meltwick.photo.palette import palette
from meltwick.shares import WHITE

PITCH = 4e-3
FACE = (160, 130)  # 640 by 520 mm


def oval() -> np.ndarray:
    """A face with a round outline, so that no edge runs with the bands."""
    y, x = np.mgrid[: FACE[0], : FACE[1]]
    return np.hypot((y - 79.5) / 78, (x - 64.5) / 63) < 1


def waves(spacing: float, run: float, pitch: float = PITCH, shape=FACE) -> np.ndarray:
    """Lightness of bands ``spacing`` [m] apart that run ``run`` degrees up to the right."""
    y, x = np.mgrid[: shape[0], : shape[1]] * pitch
    angle = np.radians(run)
    # across the bands, with y up
    across = x * np.sin(angle) + y * np.cos(angle)
    return np.asarray(70.0 + 15.0 * np.sin(2 * np.pi * across / spacing))


def between(one: float, two: float) -> float:
    """Degrees between two directions that have no sense."""
    return abs((one - two + 90.0) % 180.0 - 90.0)


@settings(max_examples=40, deadline=None)
@given(
    spacing=st.floats(1.5e-3 * NARROWEST, 0.6e-3 * WIDEST),
    run=st.floats(0.0, 180.0),
    seed=st.integers(0, 99),
)
def test_bands_are_measured(spacing: float, run: float, seed: int) -> None:
    there = oval()
    noise = np.random.default_rng(seed).normal(0.0, 3.0, FACE)
    found = bands(np.where(there, waves(spacing, run) + noise, 0.0), there, PITCH)
    assert found is not None
    # a wave over a face of 0.5 m is known to a small part of one more wave on the face
    assert found.spacing == pytest.approx(spacing, rel=0.1 * spacing / 0.5 + 0.01)
    assert between(found.direction, run) < np.degrees(0.1 * spacing / 0.5) + 0.5
    assert 0.5 < found.strength <= 1.0


@pytest.mark.parametrize("pitch", [1e-3, 2e-3, 4e-3])
def test_the_raster_does_not_matter(pitch: float) -> None:
    shape = (round(0.5 / pitch), round(0.4 / pitch))
    found = bands(waves(0.045, 30.0, pitch, shape), np.ones(shape, dtype=bool), pitch)
    assert found is not None
    assert found.spacing == pytest.approx(0.045, rel=0.02)
    assert between(found.direction, 30.0) < 1.0


@pytest.mark.parametrize("seed", range(8))
def test_noise_has_no_bands(seed: int) -> None:
    noise = np.random.default_rng(seed).normal(60.0, 10.0, FACE)
    assert bands(noise, oval(), PITCH) is None


def test_one_colour_and_slow_light_have_no_bands() -> None:
    assert bands(np.full(FACE, 93.0), oval(), PITCH) is None


def test_a_face_too_small_says_nothing() -> None:
    assert bands(waves(0.02, 0.0)[:8, :8], np.ones((8, 8), dtype=bool), PITCH) is None


# --------------------------------------------------------------------------------------- palette

CLOTH = np.array([95.0, -0.5, 3.0])
BLUE, RED, GOLD = np.array([[40, 5, -40], [48, 60, 30], [80, 5, 70]], dtype=float)


def piece(*parts: tuple[np.ndarray, int], noise: float = 1.0) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(5)
    lab = np.concatenate([np.tile(colour, (count, 1)) for colour, count in parts])
    lab = lab + rng.normal(0.0, noise, lab.shape)
    lab = rng.permutation(lab)
    return lab, np.linalg.norm(lab - CLOTH, axis=1)


def test_known_patches_are_found_with_their_shares() -> None:
    lab, delta = piece((CLOTH, 5000), (BLUE, 2500), (RED, 1500), (GOLD, 1000))
    found = palette(lab, delta, WHITE)
    assert [patch.share for patch in found] == pytest.approx([0.25, 0.15, 0.10], abs=2e-3)
    for patch, truth in zip(found, (BLUE, RED, GOLD), strict=True):
        assert patch.lab == pytest.approx(truth, abs=0.3)
    assert sum(patch.share for patch in found) + np.mean(delta <= WHITE) <= 1.0 + 1e-12


def test_white_is_no_colour_of_the_palette() -> None:
    lab, delta = piece((CLOTH, 5000), noise=0.5)
    assert palette(lab, delta, WHITE) == ()


def test_what_is_rarer_than_a_hundredth_is_not_told() -> None:
    lab, delta = piece((CLOTH, 5000), (BLUE, 4960), (RED, 40))
    assert [patch.share for patch in palette(lab, delta, WHITE)] == pytest.approx([0.496], abs=1e-3)


def test_two_shades_that_hardly_differ_are_one_colour() -> None:
    lab, delta = piece((CLOTH, 2000), (BLUE, 4000), (BLUE + np.array((4.0, 0.0, 3.0)), 4000))
    (one,) = palette(lab, delta, WHITE)
    assert one.share == pytest.approx(0.8, abs=2e-3)
    assert one.lab == pytest.approx(BLUE + np.array((2.0, 0.0, 1.5)), abs=0.3)


def test_the_same_piece_gives_the_same_palette() -> None:
    lab, delta = piece((CLOTH, 500), (BLUE, 400), (RED, 300))
    assert palette(lab, delta, WHITE) == palette(lab, delta, WHITE)
