"""The made photographs themselves: that what they say of themselves is so."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from io import BytesIO

import numpy as np
import pytest
from PIL import Image, ImageOps
from scipy.ndimage import binary_opening, label
from skimage.draw import polygon2mask
from tests.camera import LENS, cast, colour, expose, light_field, polished, project
from tests.dyed import Piece
from tests.grounds import GROUNDS, Patch
from tests.negatives import mug, real, towel, two
from tests.photographs import (
    Conditions,
    Photograph,
    as_jpeg,
    draw_conditions,
    photograph,
    pieces,
    random_case,
)

PITCH = 8e-3
PLAIN = Conditions(seed=3, long_side=560, slack=0.0, wrinkles=0.0, shot=0.0, read=0.0, blur=0.3)


@pytest.fixture(scope="module")
def made() -> dict[str, Piece]:
    return pieces(PITCH, names=("kerchief", "halved"))


@pytest.fixture(scope="module")
def taken(made: dict[str, Piece]) -> Photograph:
    """A tee in all the trouble of a random photograph."""
    wild = replace(draw_conditions(11, "wood"), long_side=700, tilt=22.0, clipped=0.0)
    return photograph(made["halved"], "back", wild)


def decoded(image: Image.Image) -> np.ndarray:
    return colour.cctf_decoding(np.asarray(image) / 255.0, function="sRGB")


def steepness(truth_or_matrix: np.ndarray, size: tuple[int, int]) -> tuple[float, float, float]:
    """Tilt [deg] of the table, skew and scale of its axes, from a homography.

    H = K [r1 r2 t] for a plane (Zhang 2000, IEEE TPAMI 22:1330, from memory).
    """
    focal = LENS * max(size)
    lens = np.array([[focal, 0, size[0] / 2], [0, focal, size[1] / 2], [0, 0, 1]])
    columns = np.linalg.inv(lens) @ truth_or_matrix
    a, b = columns[:, 0], columns[:, 1]
    long, wide = np.linalg.norm(a), np.linalg.norm(b)
    normal = np.cross(a / long, b / wide)
    tilt = float(np.rad2deg(np.arccos(abs(normal[2]))))
    return tilt, float(a @ b / long / wide), float(long / wide)


@pytest.mark.parametrize("tilt", [0.0, 12.0, 25.0])
def test_the_camera_leans_as_said_and_fills_the_frame(made: dict[str, Piece], tilt: float) -> None:
    wish = replace(PLAIN, tilt=tilt, toward=70.0, turn=-11.0, fill=0.8)
    photo = photograph(made["kerchief"], "front", wish)
    found, skew, ratio = steepness(photo.truth.homography, photo.image.size)
    assert found == pytest.approx(tilt, abs=1e-3)
    assert skew == pytest.approx(0.0, abs=1e-6)
    assert ratio == pytest.approx(1.0, abs=1e-6)
    box = np.argwhere(photo.truth.mask)
    share = (np.ptp(box, axis=0) + 1) / photo.truth.mask.shape
    assert share.max() == pytest.approx(0.8, abs=0.006)


def test_corners_in_the_picture_are_where_the_homography_puts_them(
    made: dict[str, Piece],
) -> None:
    photo = photograph(made["kerchief"], "front", replace(PLAIN, tilt=25.0, turn=9.0))
    # the bright square ends in the picture itself at its corners: extreme along each diagonal
    row, col = np.nonzero(photo.truth.mask)
    points = np.column_stack([col + 0.5, row + 0.5])
    middle = points.mean(axis=0)
    for corner in photo.truth.corner_pixels:
        gaps = np.hypot(*(points - corner).T)
        assert gaps.min() < 1.6
        beyond = corner + 0.03 * (corner - middle)
        column, line = (int(part) for part in beyond)
        assert not photo.truth.mask[line, column]


def test_the_outline_encloses_the_mask(taken: Photograph) -> None:
    mask = taken.truth.mask
    drawn = polygon2mask(mask.shape, taken.truth.outline[:, ::-1] - 0.5)
    assert (drawn & mask).sum() / (drawn | mask).sum() > 0.99
    assert not mask[:3].any()
    assert not mask[:, -3:].any()


def test_white_is_what_the_simulation_says(made: dict[str, Piece], taken: Photograph) -> None:
    result = made["halved"].result
    cells = result.shares.panels["back"]["white"]
    # colours run from one cell's middle to the next, which takes up to half a cell from white
    assert cells - 0.05 < taken.truth.white < cells
    assert sum(taken.truth.shares.values()) == pytest.approx(1.0)
    # and what is seen: every pixel's cell, weighed by the cloth that the pixel covers
    cell = taken.truth.cell
    there = cell >= 0
    row, col = np.nonzero(there)
    back = np.linalg.inv(taken.truth.homography)
    middle = np.column_stack([col + 0.5, row + 0.5])
    here, right, down = (project(back, middle + step) for step in ((0, 0), (1, 0), (0, 1)))
    (ax, ay), (bx, by) = (right - here).T, (down - here).T
    area = np.abs(ax * by - ay * bx)
    shown = cell[there]
    counted = result.cloth.dyeable[shown]
    white = result.look.delta[shown] <= 4.3
    seen = area[counted & white].sum() / area[counted].sum()
    assert seen == pytest.approx(cells, abs=0.01)
    # all of the cloth is there once
    whole = area.sum() / (1e3 * PITCH) ** 2
    assert whole == pytest.approx(np.count_nonzero(result.cloth.panel == 1), rel=0.03)


def test_the_back_is_seen_from_behind(made: dict[str, Piece]) -> None:
    cloth = made["halved"].result.cloth
    for side, sign in (("front", 1), ("back", -1)):
        cell = photograph(made["halved"], side, PLAIN).truth.cell
        row, col = np.nonzero(cell >= 0)
        along = np.corrcoef(col, cloth.x[cell[row, col]])[0, 1]
        assert sign * along > 0.99


def test_undyed_cloth_is_as_bright_as_light_tint_and_gain_say(made: dict[str, Piece]) -> None:
    c = replace(PLAIN, shading=0.3, kelvin=4200.0, vignette=0.1, quality=95)
    photo = photograph(made["halved"], "front", c)
    truth, result = photo.truth, made["halved"].result
    delta = np.where(truth.cell >= 0, result.look.delta[truth.cell], np.inf)
    bare = delta < 0.3
    assert bare.sum() > 3_000
    white = colour.cctf_decoding(np.array(result.look.undyed_srgb), function="sRGB")
    told = truth.gain * truth.light[bare][:, None] * truth.tint * white
    ratio = np.median(decoded(photo.image)[bare] / told, axis=0)
    assert ratio == pytest.approx(np.ones(3), abs=0.03)


@pytest.mark.parametrize("kelvin", [3000.0, 4100.0, 5200.0, 6500.0, 7500.0])
def test_the_cast_has_its_colour_temperature(kelvin: float) -> None:
    scene = np.full((40, 40, 3), 0.5, dtype=np.float32)
    light, there = np.ones((40, 40), np.float32), np.ones((40, 40), bool)
    c = replace(PLAIN, kelvin=kelvin, level=0.9)
    image, _, _ = expose(scene, light, there, np.full(3, 0.5), c)
    rgb = decoded(image).reshape(-1, 3).mean(axis=0)
    xyz = rgb @ colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ.T
    # McCamy 1992, by the library: another way back than the ways there
    found = colour.temperature.xy_to_CCT_McCamy1992(colour.XYZ_to_xy(xyz))
    assert float(found) == pytest.approx(kelvin, rel=0.025)
    balanced = cast(kelvin, 1.0) @ np.ones(3)
    assert np.ptp(balanced) < 1e-9
    # the standard's matrices have four digits, and so has the luminance of its white
    assert balanced == pytest.approx(np.ones(3), abs=2e-4)


@pytest.mark.parametrize("slow", [False, True])
@pytest.mark.parametrize("shading", [0.0, 0.3])
def test_shading_has_its_range_in_the_picture(slow: bool, shading: float) -> None:
    c = replace(PLAIN, shading=shading, slow=slow, vignette=0.0, level=0.9)
    light = light_field(c, (200, 150))
    scene = np.full((150, 200, 3), 0.5, dtype=np.float32)
    image, _, _ = expose(scene, light, np.ones((150, 200), bool), np.full(3, 0.5), c)
    seen = decoded(image)[..., 1]
    assert seen.min() / seen.max() == pytest.approx(1 - shading, abs=0.012)


def test_a_share_is_clipped_when_asked(made: dict[str, Piece]) -> None:
    photo = photograph(made["halved"], "front", replace(PLAIN, clipped=0.01))
    bright = np.asarray(photo.image)[photo.truth.mask].max(axis=1)
    assert np.mean(bright == 255) == pytest.approx(0.01, abs=0.006)


def test_the_jpeg_is_of_quality_60_and_the_same_picture(taken: Photograph) -> None:
    file = Image.open(BytesIO(taken.jpeg))
    assert file.format == "JPEG"
    assert file.size == taken.image.size
    # first entry of the luminance table, 16 (ITU-T T.81 annex K, from memory), scaled by
    # (200 - 2 x 60) % as the Independent JPEG Group does
    assert file.quantization[0][0] == (16 * 80 + 50) // 100
    far = np.asarray(file, dtype=float) - np.asarray(taken.image, dtype=float)
    assert 0.5 < np.sqrt(np.mean(far**2)) < 12


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_a_camera_held_aside_tells_how(taken: Photograph, orientation: int) -> None:
    # Pillow's own reading of the tag of Exif 2.32 (CIPA DC-008)
    file = Image.open(BytesIO(as_jpeg(taken.image, 90, orientation)))
    assert (file.size == taken.image.size) == (orientation in (1, 3))
    upright = np.asarray(ImageOps.exif_transpose(file), dtype=float)
    assert np.abs(upright - np.asarray(taken.image)).mean() < 6


def test_polish_sharpens_and_leaves_grey_grey() -> None:
    edge = np.full((40, 40, 3), 90, np.uint8)
    edge[:, 20:] = 200
    found = polished(edge, 1.0)
    assert found[20, 19, 0] < found[20, 0, 0] < 90
    assert found[20, 20, 0] > found[20, 39, 0] > 200
    assert np.ptp(found, axis=-1).max() == 0


def test_one_number_gives_one_file(made: dict[str, Piece]) -> None:
    first, again, other = (random_case(n, made, long_side=500) for n in (4, 4, 5))
    assert first.jpeg == again.jpeg
    assert np.array_equal(first.truth.mask, again.truth.mask)
    assert first.jpeg != other.jpeg


def test_conditions_keep_their_ranges_and_use_them() -> None:
    drawn = [draw_conditions(seed) for seed in range(300)]
    for key, low, high in (
        ("tilt", 0, 25),
        ("shading", 0, 0.3),
        ("kelvin", 3000, 7500),
        ("fill", 0.5, 0.85),
        ("slack", 0.004, 0.02),
    ):
        values = np.array([getattr(one, key) for one in drawn])
        assert values.min() >= low
        assert values.max() <= high
        assert np.ptp(values) > 0.9 * (high - low)
    assert {one.ground for one in drawn} == set(GROUNDS)
    assert {one.quality for one in drawn} == {60}


@pytest.mark.parametrize("name", sorted(GROUNDS))
def test_no_ground_is_white(name: str) -> None:
    plane = GROUNDS[name](Patch(220, 260, 0.8), np.random.default_rng(2))
    assert plane.shape == (220, 260, 3)
    assert np.percentile(plane, 1) >= 0
    assert np.percentile(plane.min(axis=-1), 99) < 0.65


def test_libraries_carry_pictures_without_a_garment() -> None:
    found = dict(real())
    assert {"chelsea.png", "coffee.png", "horse.png", "grace_hopper.jpg"} <= set(found)
    assert {picture.mode for picture in found.values()} >= {"L", "RGB", "RGBA"}
    assert min(min(picture.size) for picture in found.values()) >= 128


@pytest.mark.parametrize(
    ("thing", "white"),
    [
        (towel, 360 * (580 - 4 * 16)),  # less its stripes
        (mug, np.pi * (190**2 - 160**2) + 110 * 70 - 60 * 30),  # rim, and about so much handle
    ],
)
def test_a_thing_that_is_no_garment_lies_on_its_ground(
    thing: Callable[[], Image.Image], white: float
) -> None:
    seen = np.asarray(thing()).min(axis=-1)
    bright = seen > 0.75 * np.quantile(seen, 0.995)
    # a square of 600 mm, turned by 6 degrees, fills 0.6 of the height of 4 : 3
    side = 0.6 / (np.cos(np.deg2rad(6)) + np.sin(np.deg2rad(6)))
    told = white / 600**2 * side**2 * 3 / 4
    assert bright.mean() == pytest.approx(told, rel=0.15)


def test_two_pieces_are_two(made: dict[str, Piece]) -> None:
    picture = np.asarray(two(made["halved"], made["kerchief"], "grass")).astype(float)
    lawn = picture[..., 1] > 1.15 * picture[..., 2]
    lumps, _ = label(~binary_opening(lawn, iterations=2))
    large = np.bincount(lumps.ravel())[1:] > 0.02 * lumps.size
    assert large.sum() == 2
