"""No garment is found where there is none, or not surely one, and one line says so."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from unittest import mock

import numpy as np
import pytest
from PIL import Image
from tests import negatives
from tests.painted import banded, blotched, painted, undyed
from tests.photographs import Conditions, photograph

from meltwick.cloth import build_cloth
from meltwick.errors import FileError
from meltwick.photo import finding
from meltwick.photo.finding import Found, find
from meltwick.photo.measuring import COARSE
from meltwick.photo.outline import corner_points
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


MADE: dict[str, tuple[Callable[[], Image.Image], tuple[str, ...], str]] = {
    "nothing but wood": (lambda: negatives.bare_ground("wood"), ("tee",), BUSY),
    "nothing but a sheet": (lambda: negatives.bare_ground("sheet"), ("tee",), BUSY),
    "nothing but noise": (negatives.noise, ("tee",), BUSY),
    "one colour": (negatives.one_colour, ("tee",), BUSY),
    "a mug": (negatives.mug, ("tee", "child sweatshirt"), "no garment was found"),
    "a long towel": (negatives.towel, ("tee", "child tee"), "no garment was found"),
    "a piece on a carpet of its colours": (
        lambda: negatives.busy(painted("tee", blotched)),
        ("tee",),
        "",
    ),
    "half a piece": (
        lambda: negatives.half_out(painted("tee", blotched)),
        ("tee", "child tee"),
        "runs over the picture's edge",
    ),
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


# ------------------------------------------------------------------------------------ two pieces


@pytest.fixture(scope="module")
def pair() -> Image.Image:
    """Two tees, dyed both, side by side."""
    return negatives.two(painted("tee", blotched), painted("tee", banded))


def test_two_pieces_are_refused(pair: Image.Image, tmp_path: Path) -> None:
    said = refused(pair, tmp_path)
    assert TWO in said
    assert "--corners" in said
    # a place of undyed cloth on one of them does not make the other the piece
    assert TWO in refused(pair, tmp_path, undyed=_lightest(pair))


def test_corners_say_which_of_two_pieces_is_meant(pair: Image.Image, tmp_path: Path) -> None:
    """The left one's, read off the picture of the pair: about where its half's box lies."""
    left = pair.crop((0, 0, pair.width // 2, pair.height))
    alone = found(left, tmp_path)
    corners = alone.fit.place(corner_points(finding.silhouette(blank("tee"), behind=False)))
    both = found(pair, tmp_path, corners=corners)
    middle = np.array(blank("tee").panels[0].outline.centroid.coords)
    assert both.fit.place(middle) == pytest.approx(alone.fit.place(middle), abs=4.0)


def test_an_undyed_twin_beside_the_piece_is_no_rival(tmp_path: Path) -> None:
    image = negatives.two(painted("tee", blotched), painted("tee", undyed))
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


@pytest.fixture(scope="module")
def shirt() -> Image.Image:
    shown = Conditions(seed=31, ground="wood", long_side=700, fill=0.7, turn=6.0)
    return photograph(painted("tee", blotched), "front", shown).image


def test_corners_on_a_line_are_refused_in_one_line(shirt: Image.Image, tmp_path: Path) -> None:
    for corners in (
        [(100, 100), (200, 200), (300, 300), (100, 400)],
        [(100, 100), (400, 100), (400, 100), (100, 400)],
        [(100, 100), (300, 101), (500, 101), (100, 400)],
    ):
        said = refused(shirt, tmp_path, corners=np.array(corners, dtype=np.float64))
        assert "lie on a line" in said
        assert "--corners" in said


def test_a_piece_without_four_corners_has_none_to_give(shirt: Image.Image, tmp_path: Path) -> None:
    corners = np.array([(200.0, 100.0), (500.0, 100.0), (450.0, 500.0), (250.0, 500.0)])
    three = finding.Polygon([(0.0, 0.0), (300.0, 0.0), (0.0, 300.0)])
    with mock.patch.object(finding, "silhouette", return_value=three):
        said = refused(shirt, tmp_path, corners=corners)
    assert "leave --corners out" in said
