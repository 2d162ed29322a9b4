"""Bringing maps nearer to an edge: slopes against differences, and scipy's least squares."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import least_squares
from skimage.draw import disk, polygon2mask

from meltwick.photo.nearing import _projected, edge_of, near_projective, near_similar, similar

SQUARE = np.array([(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)])


def round_edge():
    mask = np.zeros((120, 150), dtype=bool)
    mask[disk((60, 75), 32)] = True
    return edge_of(mask)


def test_the_miss_grows_with_the_way_off_the_picture() -> None:
    far, slope = round_edge().miss(np.array([[170.0, 60.5], [75.5, 150.0], [np.nan, 3.0]]))
    # 32 px disc about (75.5, 60.5): distance is that from the disc, within a pixel
    assert far[:2] == pytest.approx([170 - 75.5 - 32, 150 - 60.5 - 32], abs=1.5)
    assert slope[0] == pytest.approx([1.0, 0.0], abs=1e-9)
    assert slope[1] == pytest.approx([0.0, 1.0], abs=1e-9)
    assert far[2] > 1e3  # a place that is nowhere


def test_slopes_of_a_projective_map_are_its_differences() -> None:
    parts = np.array([[40.0, 3.0, 75.0, -2.0, 35.0, 60.0, 0.07, -0.04]])
    found, slopes = _projected(parts, SQUARE)
    for number in range(8):
        step = 1e-6 * max(1.0, abs(parts[0, number]))
        more = parts.copy()
        more[0, number] += step
        change = (_projected(more, SQUARE)[0] - found) / step
        assert slopes[..., number] == pytest.approx(change, abs=1e-3)


def test_the_nearest_map_is_that_of_scipy() -> None:
    """Their loss "soft_l1" is the same; the interpolated edge has small kinks of its own."""
    ring = np.array([(40.0, 30.0), (112.0, 38.0), (105.0, 96.0), (36.0, 88.0)])
    edge = edge_of(polygon2mask((120, 150), ring[:, ::-1] - 0.5))
    share = (np.arange(200) / 50.0)[:, None]
    corner = np.floor(share).astype(int)[:, 0]
    points = SQUARE[corner] + (share - corner[:, None]) * (
        SQUARE[(corner + 1) % 4] - SQUARE[corner]
    )
    start = np.diag([35.0, 30.0, 1.0])
    start[:2, 2] = 72.0, 63.0
    ours = near_projective(start[None], points, edge, 3.0, 0.0, points[:0])[0]

    def left(parts: np.ndarray) -> np.ndarray:
        return np.asarray(edge.miss(_projected(parts[None], points)[0][0])[0])

    theirs = least_squares(left, start.ravel()[:8], loss="soft_l1", f_scale=3.0)
    pixels = _projected((ours / ours[2, 2]).ravel()[None, :8], SQUARE)[0][0]
    assert pixels == pytest.approx(_projected(theirs.x[None], SQUARE)[0][0], abs=0.3)
    assert pixels == pytest.approx(ring, abs=1.0)


@pytest.mark.parametrize("turn", [0.0, 0.4])
def test_a_turned_square_is_found_from_near_by(turn: float) -> None:
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    ring = 28.0 * SQUARE @ spin.T + (75.0, 60.0)
    edge = edge_of(polygon2mask((120, 150), ring[:, ::-1] - 0.5))
    points = np.concatenate(
        [SQUARE + s * (np.roll(SQUARE, -1, 0) - SQUARE) for s in np.linspace(0, 0.95, 20)]
    )
    starts = np.array([[np.log(24.0), turn + 0.2, 71.0, 63.0], [np.log(35.0), turn, 80.0, 55.0]])
    found = similar(near_similar(starts, np.zeros(2), points, edge, 2.0), np.zeros(2))
    for matrix in found:
        assert SQUARE @ matrix[:2, :2].T + matrix[:2, 2] == pytest.approx(ring, abs=0.8)
