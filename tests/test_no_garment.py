"""No garment is found where there is none, or not surely one, and one line says so."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from unittest import mock

import numpy as np
import pytest
from PIL import Image
from scipy.ndimage import gaussian_filter
from skimage.draw import polygon2mask
from tests import negatives
from tests.camera import Conditions, aim_camera

from meltwick.cloth import build_cloth
from meltwick.errors import FileError
from meltwick.photo import finding
from meltwick.photo.finding import Found, find
from meltwick.photo.measuring import COARSE
from meltwick.photo.outline import Fit, corner_points
from meltwick.photo.reading import read_photo
from meltwick.stock import load_stock
from meltwick.types import Cloth

STOCK = load_stock()
BUSY = "no piece can be told from its ground"
TWO = "two pieces"


@cache
def blank(name: str) -> Cloth:
    return build_cloth(STOCK.blank(name), STOCK.usual_fabric(name), COARSE)


def found(image: Image.Image, folder: Path, offered: tuple[str, ...] = ("tee",), **more) -> Found:
    path = folder / "seen.png"
    image.save(path)
    return find(read_photo(path), [blank(name) for name in offered], "front", **more)


def refused(image: Image.Image, folder: Path, offered: tuple[str, ...] = ("tee",), **more) -> str:
    with pytest.raises(FileError) as fault:
        found(image, folder, offered, **more)
    said = str(fault.value)
    assert said.startswith("seen.png: ")
    assert "\n" not in said
    assert ";" in said  # and what to do
    return said


def tees(*dyed: bool) -> Image.Image:
    """Tees side by side on a plain ground, striped where dyed; drawn, which costs little."""
    wide = 320 * len(dyed)
    rng = np.random.default_rng(8)
    rows, cols = np.mgrid[:340, :wide]
    light = np.full((340, wide, 3), (0.22, 0.13, 0.07))
    points = np.array(finding.silhouette(blank("tee"), behind=False).exterior.coords)
    left, top = points.min(axis=0)
    for number, stripes in enumerate(dyed):
        ring = 0.33 * (points - (left, top)) + (320 * number + 20.0, 50.0)
        turn = 0.04 - 0.02 * number
        ring = ring @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
        shape = polygon2mask((340, wide), ring[:, ::-1] - 0.5)
        cloth = np.full((340, wide, 3), (0.8, 0.79, 0.74))
        if stripes:
            cloth[(rows + cols) % 60 < 26] = (0.06, 0.12, 0.4)
        light[shape] = cloth[shape]
    light = gaussian_filter(light, (0.8, 0.8, 0.0)) * rng.normal(1.0, 0.02, light.shape)
    coded = 255.0 * np.clip(light, 0.0, 1.0) ** (1.0 / 2.2)
    return Image.fromarray(np.rint(coded).astype(np.uint8))


MADE: dict[str, tuple[Callable[[], Image.Image], tuple[str, ...], str]] = {
    "nothing but wood": (lambda: negatives.bare_ground("wood"), ("tee",), BUSY),
    "nothing but a sheet": (lambda: negatives.bare_ground("sheet"), ("tee",), BUSY),
    "nothing but noise": (negatives.noise, ("tee",), BUSY),
    "one colour": (negatives.one_colour, ("tee",), BUSY),
    "a mug": (negatives.mug, ("tee", "child sweatshirt"), "no garment was found"),
    "a long towel": (negatives.towel, ("tee", "child tee"), "no garment was found"),
}


@pytest.mark.parametrize("name", MADE)
def test_no_garment_where_there_is_none(name: str, tmp_path: Path) -> None:
    make, offered, said = MADE[name]
    assert said in refused(make(), tmp_path, offered)


@pytest.mark.parametrize(
    ("name", "offered"),  # the blank that comes nearest to what stands out in each
    [
        ("chelsea.png", "child sweatshirt"),
        ("coffee.png", "child sweatshirt"),
        ("page.png", "tank"),
        ("grace_hopper.jpg", "tank"),
    ],
)
def test_a_real_photograph_shows_no_garment(name: str, offered: str, tmp_path: Path) -> None:
    refused(dict(negatives.real())[name], tmp_path, (offered,))


@pytest.mark.parametrize("make", [negatives.noise, lambda: negatives.bare_ground("wood")])
def test_where_no_ground_is_plain_no_outline_is_laid(make, tmp_path: Path) -> None:
    with mock.patch.object(finding, "fit") as fit:
        refused(make(), tmp_path)
    assert not fit.called


def test_half_a_piece_runs_over_the_edge(tmp_path: Path) -> None:
    half = tees(True).crop((150, 0, 320, 340))
    assert "runs over the picture's edge" in refused(half, tmp_path)


# ------------------------------------------------------------------------------------ two pieces


def test_two_pieces_are_refused(tmp_path: Path) -> None:
    pair = tees(True, True)
    said = refused(pair, tmp_path)
    assert TWO in said
    assert "--corners" in said
    # a place of undyed cloth on one of them does not make the other the piece
    assert TWO in refused(pair, tmp_path, undyed=_lightest(pair))


def test_corners_say_which_of_two_pieces_is_meant(tmp_path: Path) -> None:
    """The left one's, as they lie when it is alone in the picture."""
    pair = tees(True, True)
    left = pair.crop((0, 0, pair.width // 2, pair.height))
    alone = found(left, tmp_path)
    corners = alone.fit.place(corner_points(finding.silhouette(blank("tee"), behind=False)))
    both = found(pair, tmp_path, corners=corners)
    middle = np.array(blank("tee").panels[0].outline.centroid.coords)
    assert both.fit.place(middle) == pytest.approx(alone.fit.place(middle), abs=4.0)


def test_an_undyed_twin_beside_the_piece_is_no_rival(tmp_path: Path) -> None:
    image = tees(True, False)
    assert TWO in refused(image, tmp_path)
    place = _lightest(image.crop((image.width // 2, 0, image.width, image.height)))
    seen = found(image, tmp_path, undyed=place + np.array([image.width // 2, 0]))
    middle = np.array(blank("tee").panels[0].outline.centroid.coords)
    assert seen.fit.place(middle)[0, 0] < 0.45 * image.width


def _lightest(image: Image.Image) -> np.ndarray:
    """Pixel about which a picture is lightest, (2,)."""
    grey = np.asarray(image.convert("L").reduce(8))
    row, col = np.unravel_index(int(np.argmax(grey)), grey.shape)
    return np.array([8 * col + 4, 8 * row + 4])


# --------------------------------------------------------------------------------------- corners


def test_corners_on_a_line_are_refused_in_one_line(tmp_path: Path) -> None:
    for corners in (
        [(50, 50), (100, 100), (150, 150), (50, 300)],
        [(50, 50), (250, 50), (250, 50), (50, 300)],
        [(50, 50), (150, 51), (250, 51), (50, 300)],
    ):
        said = refused(tees(True), tmp_path, corners=np.array(corners, dtype=np.float64))
        assert "lie on a line" in said
        assert "--corners" in said


def test_a_piece_without_four_corners_has_none_to_give(tmp_path: Path) -> None:
    corners = np.array([(50.0, 50.0), (250.0, 50.0), (220.0, 300.0), (80.0, 300.0)])
    three = finding.Polygon([(0.0, 0.0), (300.0, 0.0), (0.0, 300.0)])
    with mock.patch.object(finding, "silhouette", return_value=three):
        said = refused(tees(True), tmp_path, corners=corners)
    assert "leave --corners out" in said


@pytest.mark.parametrize("toward", [0.0, 40.0, 90.0, 220.0])
@pytest.mark.parametrize("name", ["tee", "long-sleeve tee", "leggings"])
def test_what_a_telephone_sees_slanted_by_25_degrees_is_plausible(name: str, toward: float) -> None:
    outline = finding.silhouette(blank(name), behind=False)
    shown = Conditions(seed=1, long_side=800, fill=0.85, tilt=25.0, toward=toward)
    homography, _ = aim_camera(shown, np.array(outline.exterior.coords))
    assert finding._plausible(Fit(homography, 1.0, 0.0), outline)
    # but not from the piece's own edge
    tipped = homography @ np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0016, 1.0]])
    assert not finding._plausible(Fit(tipped, 1.0, 0.0), outline)
