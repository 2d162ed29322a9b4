"""Telling cloth from ground: charts of known area, and Otsu's thresholds."""

from __future__ import annotations

import numpy as np
import pytest
import skimage
from scipy.ndimage import gaussian_filter
from skimage.filters import threshold_otsu

from meltwick.photo.parting import border, part, polynomial, slow_shade

SIDE = 240
BLUR = 1.2  # [px] of the lens
DARK, BRIGHT = 0.25, 0.75  # linear; a contrast of 0.5


def far(row: float = SIDE / 2, col: float = SIDE / 2) -> np.ndarray:
    y, x = np.mgrid[:SIDE, :SIDE] + 0.5
    return np.hypot(y - row, x - col)


def disc() -> tuple[np.ndarray, float, float]:
    """The shape, its area and the length of its edge."""
    radius = 0.3 * SIDE
    return far() < radius, np.pi * radius**2, 2 * np.pi * radius


def ring() -> tuple[np.ndarray, float, float]:
    outer, inner = 0.38 * SIDE, 0.2 * SIDE
    area = np.pi * (outer**2 - inner**2)
    return (far() < outer) & (far() >= inner), area, 2 * np.pi * (outer + inner)


def stripes() -> tuple[np.ndarray, float, float]:
    """Four bars that end before the picture does."""
    y, x = np.mgrid[:SIDE, :SIDE]
    bar = (x >= 32) & (x < 208) & ((x - 32) % 48 < 24) & (y >= 40) & (y < 200)
    return bar, 4 * 24.0 * 160.0, 8 * (24.0 + 160.0)


def chart(shape: np.ndarray, noise: float, on: float = BRIGHT, off: float = DARK) -> np.ndarray:
    """A chart as a lens and a sensor see it, linear."""
    rng = np.random.default_rng(9)
    plane = gaussian_filter(np.where(shape, on, off), BLUR)
    linear = plane[..., None] + rng.normal(0.0, noise, (SIDE, SIDE, 3))
    return np.asarray(np.clip(linear, 0.0, 1.0))


# A threshold errs by noise alone (sources 9.2: less than 0.003 of the picture for noise up to a
# fifth of the contrast). What lies between cloth and ground along a soft edge is like neither, and
# may go to either: that is the lens's blur and that of a pixel over which colours are calmed. On
# the whole the edge has to lie within a good half of a pixel, whichever side is brighter.
SOFT = float(np.hypot(BLUR, 1.0))  # [px]
NEAR = 0.6  # [px]


def shifted(mask: np.ndarray, area: float, edge: float) -> float:
    """How far the edge lies too far out on average [px]."""
    return (float(mask.sum()) - area) / edge


@pytest.mark.parametrize("noise", [0.02, 0.05, 0.1])
@pytest.mark.parametrize("draw", [disc, ring, stripes])
def test_area_of_a_chart(draw, noise: float) -> None:
    shape, area, edge = draw()
    split = part(chart(shape, noise))
    assert -0.5 < shifted(split.mask, area, edge) < NEAR
    # and it is the right area: nothing is wrong but along the edge
    off = np.count_nonzero(split.mask != shape)
    assert off < (SOFT + 0.5) * edge
    deep = np.abs(gaussian_filter(shape.astype(float), 3.0) - 0.5) > 0.45
    assert np.mean((split.mask != shape)[deep]) < 1e-3
    assert split.border == pytest.approx(0.0, abs=0.01)


def test_dark_cloth_on_bright_ground_is_found_as_well() -> None:
    shape, area, edge = disc()
    split = part(chart(shape, 0.02, DARK, BRIGHT))
    assert -0.5 < shifted(split.mask, area, edge) < NEAR


def test_colour_alone_parts_what_is_equally_bright() -> None:
    shape, area, edge = disc()
    linear = np.where(shape[..., None], (0.5, 0.3, 0.3), (0.3, 0.4, 0.4))
    assert linear.mean(axis=2) == pytest.approx(1.1 / 3)
    rng = np.random.default_rng(4)
    split = part(gaussian_filter(linear, (BLUR, BLUR, 0)) + rng.normal(0, 0.01, linear.shape))
    assert -0.5 < shifted(split.mask, area, edge) < NEAR


def test_slow_shade_over_the_ground_does_not_matter() -> None:
    shape, area, edge = disc()
    x = np.linspace(0.0, 1.0, SIDE)
    split = part(chart(shape, 0.02) * (1.0 - 0.3 * x)[None, :, None])
    assert -0.5 < shifted(split.mask, area, edge) < NEAR


@pytest.mark.parametrize(("name", "threshold"), [("coins", 107), ("camera", 102)])
def test_the_oracle_gives_its_published_thresholds(name: str, threshold: int) -> None:
    picture = getattr(skimage.data, name)()  # sources 9.1
    assert threshold_otsu(picture) == threshold
    if name == "coins":
        assert np.mean(picture > threshold) == pytest.approx(0.387763, abs=1e-6)


def test_a_picture_of_two_levels_is_parted_as_by_otsu() -> None:
    """Twelve discs of known size, bright on dark, like the coins."""
    shape = np.zeros((SIDE, SIDE), dtype=bool)
    for number in range(12):
        row, col = divmod(number, 4)
        shape |= far(50.0 + 70 * row, 36.0 + 56 * col) < 15 + number
    linear = chart(shape, 0.04)
    grey = linear.mean(axis=2)
    otsu = grey > threshold_otsu(grey)
    split = part(linear)
    edge = float(np.sum(2 * np.pi * (15 + np.arange(12))))
    assert -0.5 < shifted(split.mask, float(otsu.sum()), edge) < NEAR
    assert np.count_nonzero(split.mask != otsu) < (SOFT + 0.5) * edge


def test_slow_shade_is_found_where_some_pixels_lie() -> None:
    rows, cols = np.mgrid[:90, :120]
    truth = polynomial(rows.ravel(), cols.ravel(), (90, 120)) @ [0.0, 0.3, -0.2, 0.1, 0.05, -0.1]
    truth = truth.reshape(90, 120)
    strip = border((90, 120))
    wild = np.where(strip, truth, 7.0)  # what lies in the middle must not count
    found = slow_shade(wild, strip)
    assert found == pytest.approx(
        truth - truth[strip].mean(), abs=1e-2
    )  # flattened a little where it is far off
