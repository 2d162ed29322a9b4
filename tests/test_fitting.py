"""Laying a blank's outline on a shape: projective maps, corners, the soft edge."""

from __future__ import annotations

from functools import cache
from unittest import mock

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LinearRing, Polygon
from skimage.draw import polygon2mask
from skimage.transform import ProjectiveTransform

from meltwick.cloth import build_cloth
from meltwick.photo import outline as outlines
from meltwick.photo.finding import silhouette
from meltwick.photo.nearing import edge_of
from meltwick.photo.outline import (
    Fit,
    along,
    best_fit,
    corner_points,
    drawn,
    fit,
    project,
    slant,
    soften,
    through,
)
from meltwick.stock import load_stock

STOCK = load_stock()
BOX = np.array([(0.0, 0.0), (500.0, 0.0), (500.0, 700.0), (0.0, 700.0)])
SHAPE = (280, 300)


@cache
def outline_of(blank: str) -> Polygon:
    cloth = build_cloth(STOCK.blank(blank), STOCK.usual_fabric(blank), 8e-3)
    return silhouette(cloth, behind=False)


def estimated(points: np.ndarray, pixels: np.ndarray) -> np.ndarray:
    """The map by scikit-image, whose way to ask for it changed in 0.26."""
    if hasattr(ProjectiveTransform, "from_estimate"):
        return np.asarray(ProjectiveTransform.from_estimate(points, pixels).params)
    found = ProjectiveTransform()
    assert found.estimate(points, pixels)
    return np.asarray(found.params)


jitter = st.lists(st.floats(-60.0, 60.0), min_size=8, max_size=8)


@settings(max_examples=60, deadline=None)
@given(moved=jitter)
def test_a_map_through_four_points_is_that_of_scikit_image(moved: list[float]) -> None:
    pixels = 200.0 + 0.5 * BOX + np.reshape(moved, (4, 2))
    ours, theirs = through(BOX, pixels), estimated(BOX, pixels)
    assert project(ours, BOX) == pytest.approx(pixels, abs=1e-6)
    inside = np.random.default_rng(1).uniform((0, 0), (500, 700), (50, 2))
    assert project(ours, inside) == pytest.approx(project(theirs, inside), abs=1e-4)


def seen(outline: Polygon, turn: float, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """A map of an outline into the picture, leaning as a hand-held camera does, and the shape."""
    left, top, right, bottom = outline.bounds
    box = np.array([(left, top), (right, top), (right, bottom), (left, bottom)])
    angle = np.radians(turn)
    spin = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    size = 170.0 / max(right - left, bottom - top)
    middle = box.mean(axis=0)
    flat = (box - middle) @ spin.T * size + (150.0, 140.0)
    shift = np.random.default_rng(seed).uniform(-9.0, 9.0, (4, 2))
    matrix = estimated(box, flat + shift)
    pixels = project(matrix, shapely.get_coordinates(outline.segmentize(20.0).exterior))
    return matrix, polygon2mask(SHAPE, pixels[:, ::-1] - 0.5)


def apart(one: np.ndarray, two: np.ndarray, outline: Polygon) -> float:
    """Mean pixels from one mapped outline to the other, wherever on it: squares turn freely."""
    points = shapely.get_coordinates(outline.segmentize(10.0).exterior)
    other = LinearRing(project(two, points))
    return float(shapely.distance(shapely.points(project(one, points)), other).mean())


BLANKS = sorted(STOCK.blanks)


@pytest.mark.parametrize("blank", BLANKS)
def test_a_blank_is_found_again_under_a_known_map(blank: str) -> None:
    """Thin ones too, whose outline may end too soon: within, no edge is nearer than the sides."""
    outline = outline_of(blank)
    for turn in (8.0 + 3.0 * (len(blank) % 7), 0.0, 20.0, 95.0):
        truth, mask = seen(outline, turn, len(blank) + int(turn))
        found = fit(outline, mask)
        assert apart(found.matrix, truth, outline) < 0.5
        assert found.overlap > 0.96


@pytest.mark.parametrize("blank", ["tee", "pillowcase", "socks"])
def test_of_all_blanks_the_right_one_is_found_and_few_are_followed(blank: str) -> None:
    """A square seen aslant is as good as an upright one; what needs less slant is taken."""
    truth, mask = seen(outline_of(blank), 12.0, 7)
    with mock.patch.object(outlines, "_settle", wraps=outlines._settle) as settle:
        number, found = best_fit([outline_of(name) for name in BLANKS], mask)
    assert BLANKS[number] == blank
    assert apart(found.matrix, truth, outline_of(blank)) < 0.3
    assert settle.call_count <= 5


def test_slant_is_what_a_leaning_map_draws_out() -> None:
    """A plane that leans by 25 degrees far from the camera is 1 / cos 25 longer than high."""
    lean = np.diag([0.3, 0.3 * np.cos(np.radians(25.0)), 1.0])
    spin = np.array([[0.8, -0.6, 4.0], [0.6, 0.8, 9.0], [0.0, 0.0, 1.0]])
    found = Fit(lean @ spin, 1.0, 0.0)
    assert slant(found, outline_of("tee")) == pytest.approx(1.0 / np.cos(np.radians(25.0)))


def test_a_tee_upside_down_is_known_as_such() -> None:
    outline = outline_of("tee")
    truth, mask = seen(outline, 180.0, 3)
    found = fit(outline, mask)
    points = along(outline)[0]
    gap = np.hypot(*(project(found.matrix, points) - project(truth, points)).T)
    assert gap.mean() < 1.5  # point by point: the neck is where the neck is
    assert abs(abs(found.turn) - 180.0) < 6.0


def test_corners_that_were_given_hold_a_map_that_was_asked_for() -> None:
    outline = outline_of("tee")
    truth, mask = seen(outline, 100.0, 5)
    held = project(truth, corner_points(outline))
    found = fit(outline, mask, held + np.random.default_rng(2).normal(0.0, 1.5, (4, 2)))
    assert np.hypot(*(project(found.matrix, corner_points(outline)) - held).T).max() < 4.0
    assert apart(found.matrix, truth, outline) < 1.0


def test_another_garment_does_not_fit() -> None:
    _, mask = seen(outline_of("leggings"), 10.0, 4)
    assert fit(outline_of("tee"), mask).overlap < 0.85


def test_corner_points_of_a_square_are_its_corners_in_order() -> None:
    assert corner_points(shapely.box(10.0, 20.0, 40.0, 90.0)).tolist() == [
        [10.0, 20.0],
        [40.0, 20.0],
        [40.0, 90.0],
        [10.0, 90.0],
    ]


def test_corner_points_of_a_tee_are_left_and_right_of_each_other() -> None:
    left, right, low_right, low_left = corner_points(outline_of("tee"))
    assert left[0] == pytest.approx(-right[0], abs=1e-6)
    assert low_left[0] == pytest.approx(-low_right[0], abs=1e-6)
    assert left[1] == pytest.approx(right[1])
    assert low_left[1] > left[1]  # y runs down


def test_distance_to_the_edge_of_a_disc() -> None:
    y, x = np.mgrid[:120, :120] + 0.5
    radius = np.hypot(y - 60, x - 60)
    found = edge_of(radius < 40.0).far
    assert np.abs(found - (radius - 40.0))[radius < 58.0].max() < 1.0


def test_normals_point_outward_and_points_are_even() -> None:
    outline = outline_of("tank")
    points, normal = along(outline)
    assert np.hypot(normal[:, 0], normal[:, 1]) == pytest.approx(1.0)
    out = shapely.contains_xy(outline, *(points + 0.5 * normal).T)
    assert out.mean() < 0.02  # but at corners that turn in
    step = np.hypot(*np.diff(points, axis=0).T)
    assert np.median(step) == pytest.approx(outline.length / 240, rel=1e-3)


def test_a_drawn_ring_is_filled_like_scikit_image_does() -> None:
    ring = 20.0 + 0.15 * BOX + np.array([(3.3, 1.1), (-4.2, 2.6), (1.7, 9.9), (6.5, -2.8)])
    ours = drawn(ring, SHAPE)
    assert np.array_equal(ours, polygon2mask(SHAPE, ring[:, ::-1] - 0.5))
    # a pixel counts by its centre, so neither more nor less than the ring holds
    assert ours.sum() == pytest.approx(Polygon(ring).area, rel=2e-3)


def test_a_ring_that_leaves_the_picture_is_cut_off() -> None:
    ring = np.array([(-50.0, -20.0), (400.0, 10.0), (250.0, 500.0), (-9.0, 120.0)])
    off = drawn(ring, SHAPE) != polygon2mask(SHAPE, ring[:, ::-1] - 0.5)
    assert np.count_nonzero(off) < 9  # of 1000 along the ring: centres on it to the last digit


def test_a_ring_without_an_end_draws_nothing() -> None:
    assert not drawn(np.array([(1.0, np.inf), (5.0, 5.0), (9.0, 1.0)]), (12, 12)).any()


def test_soft_cloth_is_followed_to_its_edge() -> None:
    """The edge gives way by a slow wave of 5 px; after two passes less than a pixel is left."""
    outline = outline_of("tee")
    rigid = np.array([[0.9, 0.0, 420.0], [0.0, 0.9, 60.0], [0.0, 0.0, 1.0]])
    points, normal = along(outline)
    base = project(rigid, points)

    def slack(pixels: np.ndarray) -> np.ndarray:
        wave = np.stack([np.sin(pixels[:, 1] / 160.0), np.cos(pixels[:, 0] / 190.0)], axis=1)
        return np.asarray(pixels + 5.0 * wave)

    ring = project(rigid, shapely.get_coordinates(outline.segmentize(5.0).exterior))
    mask = polygon2mask((800, 860), slack(ring)[:, ::-1] - 0.5)
    odds = np.where(mask, 4.0, -4.0)
    soft = soften(soften(Fit(rigid, 1.0, 0.0), outline, odds, 9.0), outline, odds, 5.0)
    edge = LinearRing(slack(ring))
    before = shapely.distance(shapely.points(base), edge)
    after = shapely.distance(shapely.points(soft.place(points)), edge)
    assert before.mean() > 2.0
    assert after.mean() < 0.8
    assert np.quantile(after, 0.95) < 2.0
    assert normal.shape == points.shape


def test_odds_that_say_nothing_leave_the_outline_where_it_is() -> None:
    rigid = Fit(np.array([[0.3, 0.0, 150.0], [0.0, 0.3, 20.0], [0.0, 0.0, 1.0]]), 1.0, 0.0)
    assert soften(rigid, outline_of("tee"), np.zeros((280, 300)), 6.0) is rigid


def test_a_map_carried_to_a_finer_picture_keeps_its_places() -> None:
    outline = outline_of("tee")
    rigid = np.array([[0.3, 0.0, 150.0], [0.0, 0.3, 20.0], [0.0, 0.0, 1.0]])
    ring = project(rigid, shapely.get_coordinates(outline.segmentize(5.0).exterior))
    ring = ring + np.array((2.0, 1.0))
    odds = np.where(polygon2mask((280, 300), ring[:, ::-1] - 0.5), 4.0, -4.0)
    soft = soften(Fit(rigid, 1.0, 0.0), outline, odds, 6.0)
    assert soft.plate is not None
    points = along(outline)[0]
    carried = soft.moved(4.0, np.array([11.0, 7.0]))
    assert carried.place(points) == pytest.approx(4.0 * soft.place(points) + (11.0, 7.0))
