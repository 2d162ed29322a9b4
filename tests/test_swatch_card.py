"""Photographed cards of swatches, made from published spectra, read back.

Spectra: the colour chart of ISO 17321-1 as colour-science has it. Photographs: `cards`, which
shares no code with what reads them. Colour differences by colour-science (CIEDE2000).
"""

import warnings
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from skimage import data
from tests import cards

from meltwick.colour.adaptation import FROM_CONES, TO_CONES, cones_to_xyz, to_cones, white_in_cones
from meltwick.errors import FileError
from meltwick.photo import read_photo
from meltwick.photo.card import read_card
from meltwick.photo.lattice import project, solve_warp
from meltwick.types import Fabric

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it warns when plotting libraries are missing
    import colour

CHART = list(cards.CHART.items())
WHITE = "white 9.5 (.05 D)"
ROWS, COLUMNS = 4, 6
SPECTRA = [[CHART[COLUMNS * i + j][1] for j in range(COLUMNS)] for i in range(ROWS)]
NAMES = [
    ["undyed" if name == WHITE else name for name, _ in CHART[COLUMNS * i : COLUMNS * (i + 1)]]
    for i in range(ROWS)
]
PAPER = Fabric("chart paper", 0.160, 0.5e-3, 1540.0, ground=tuple(cards.CHART[WHITE]))
GREY = np.full(31, 0.18)
WOOD = np.linspace(0.10, 0.38, 31)


def read(tmp_path, made, names=NAMES, fabric=PAPER, corners=None):
    path = tmp_path / "card.img"
    path.write_bytes(cards.photograph(made))
    return read_card(read_photo(path), names, fabric, corners)


def gaps(card, spectra=SPECTRA):
    """CIEDE2000 of every patch to its spectrum's own colour in daylight."""
    true = np.array([cards.true_lab(spectra[each.row][each.column]) for each in card.patches])
    found = np.array([each.lab for each in card.patches])
    return colour.delta_E(true, found, method="CIE 2000")


# ------------------------------------------------------------------------- light


@pytest.mark.parametrize(
    ("kelvin", "mean", "most"),
    [(None, 0.5, 3.0), (7500, 0.8, 3.0), (6500, 0.6, 3.0), (5000, 0.8, 2.0), (4000, 1.5, 3.5)],
)
def test_a_chart_is_read_under_casts_of_light(tmp_path, kelvin, mean, most):
    """Cyan lies outside sRGB, which no photograph in sRGB can hold: the most is its."""
    made = cards.Made(SPECTRA, kelvin=kelvin, ground=GREY, exposure=0.7, tilt=8, swing=-6)
    gap = gaps(read(tmp_path, made))
    assert gap.mean() < mean
    assert gap.max() < most


def test_candle_light_is_taken_off_too_though_less_well(tmp_path):
    """3000 K: much of the blue is lost in the file, so vivid colours stay off by some units."""
    made = cards.Made(SPECTRA, kelvin=3000, balanced=0.6, ground=GREY, exposure=0.6)
    gap = gaps(read(tmp_path, made))
    assert gap.mean() < 3.0
    assert np.median(gap) < 2.5
    plain = read_photo(tmp_path / "card.img").linear
    assert np.abs(plain.reshape(-1, 3).mean(axis=0) / plain.mean() - 1).max() > 0.15  # a true cast


def test_neutral_patches_come_out_neutral(tmp_path):
    made = cards.Made(SPECTRA, kelvin=4000, ground=GREY, exposure=0.7, fall=0.3)
    card = read(tmp_path, made)
    for patch in card.patches[18:]:  # the grey scale
        true = cards.true_lab(SPECTRA[patch.row][patch.column])
        assert np.hypot(*(patch.lab - true)[1:]) < 1.5


def test_the_bradford_transform_is_the_published_one():
    """D65 to illuminant A by colour-science."""
    d65, a = np.array([0.95047, 1.0, 1.08883]), np.array([1.09850, 1.0, 0.35585])
    wanted = colour.adaptation.matrix_chromatic_adaptation_VonKries(d65, a, "Bradford")
    xyz_of = np.linalg.inv(TO_CONES @ colour.RGB_COLOURSPACES["sRGB"].matrix_XYZ_to_RGB)
    scale = white_in_cones(100 * a) / white_in_cones(100 * d65)
    mine = xyz_of @ np.diag(scale) @ np.linalg.inv(xyz_of)
    np.testing.assert_allclose(mine, wanted, atol=2e-3)
    np.testing.assert_allclose(TO_CONES @ FROM_CONES, np.eye(3), atol=1e-12)
    np.testing.assert_allclose(
        cones_to_xyz(to_cones(np.array([1.0, 1.0, 1.0]))), [95.05, 100.0, 108.9], atol=0.02
    )


# ------------------------------------------------------------------------- slant, shading, ground


@pytest.mark.parametrize(
    "how",
    [
        {"tilt": 25.0},
        {"swing": -25.0, "roll": 12.0},
        {"tilt": 18.0, "swing": 18.0, "roll": -10.0, "fall": 0.3},
        {"ground": np.full(31, 0.88)},  # as light as the undyed patch: its edge is not seen
        {"ground": np.full(31, 0.03)},
        {"ground": np.full(31, 0.6), "table": WOOD, "tilt": 12.0, "roll": 5.0},
        {"ground": np.full(31, 0.03), "table": WOOD},
        {"noise": 0.025, "quality": 60, "weave": 0.1},
        {"patch": 0.45, "size": (480, 360)},
    ],
    ids=str,
)
def test_slant_shading_and_ground(tmp_path, how):
    made = replace(cards.Made(SPECTRA, kelvin=5500, ground=GREY, exposure=0.75), **how)
    gap = gaps(read(tmp_path, made))
    assert gap.mean() < 1.2
    assert gap.max() < 4.0


def test_shading_is_taken_off_and_told(tmp_path):
    card = read(tmp_path, cards.Made(SPECTRA, fall=0.3, ground=GREY))
    assert gaps(card).mean() < 0.5
    assert 0.08 < card.fall < 0.3  # the card takes the middle of the photograph
    assert card.notes == ()
    dark = read(tmp_path, cards.Made(SPECTRA, fall=0.95, ground=np.full(31, 0.5)))
    assert any("falls off by" in note for note in dark.notes)
    assert gaps(dark).mean() < 1.0


def test_corners_given_by_hand(tmp_path):
    made = cards.Made(SPECTRA, tilt=20, swing=10, roll=6, ground=GREY, fall=0.2)
    corners = cards.corners(made)
    assert gaps(read(tmp_path, made, corners=corners)).mean() < 0.6
    nudged = corners + np.array([[6, -5], [-5, 4], [5, 5], [-6, -3]])
    assert gaps(read(tmp_path, made, corners=nudged)).mean() < 0.7
    with pytest.raises(FileError, match="outside the photograph"):
        read(tmp_path, made, corners=corners + 5000)


def test_corners_are_places_of_the_file_not_of_what_was_kept(tmp_path):
    made = cards.Made(SPECTRA, size=(1200, 900), ground=GREY)
    path = tmp_path / "big.png"
    path.write_bytes(cards.photograph(made))
    card = read_card(read_photo(path, most=500_000), NAMES, PAPER, cards.corners(made))
    assert gaps(card).mean() < 0.6


# ------------------------------------------------------------------------- what cannot be read


def test_overexposed_patches_are_told_and_white_is_refused(tmp_path):
    spectra = [[np.full(31, 0.5), np.full(31, 0.2)], [np.full(31, 0.55), np.full(31, 0.1)]]
    names = [["undyed", "b"], ["c", "d"]]
    fabric = replace(PAPER, ground=(0.56,) * 31)
    lit = cards.Made(spectra, exposure=2.1, ground=GREY)
    with pytest.raises(FileError, match="undyed patch is overexposed"):
        read(tmp_path, lit, names, fabric)
    orange = np.where(cards.LAMBDA > 560, 0.58, 0.05)
    spectra[1][0] = orange
    card = read(tmp_path, cards.Made(spectra, exposure=1.7, ground=GREY), names, fabric)
    assert any(note.startswith("c: ") and "overexposed" in note for note in card.notes)
    assert not any(note.startswith("b: ") for note in card.notes)


def test_an_uneven_patch_is_told(tmp_path):
    made = cards.Made(SPECTRA, ground=GREY)
    shot = cards.picture(made)
    x, y = cards.corners(made)[1]
    left = shot[int(y) - 32 : int(y) + 32, int(x) - 32 : int(x)]
    left *= 0.75  # half of the upper right patch is darker
    path = tmp_path / "uneven.png"
    cards.Image.fromarray(np.round(255 * shot).astype(np.uint8)).save(path)
    card = read_card(read_photo(path), NAMES, PAPER)
    assert [note.split(":")[0] for note in card.notes] == [NAMES[0][5]]
    assert "uneven" in card.notes[0]


def test_upside_down_is_noticed(tmp_path):
    with pytest.raises(FileError, match=r"lighter than the patch named 'undyed'.*upside down"):
        read(tmp_path, cards.Made(SPECTRA, roll=180.0, ground=GREY))


def test_a_turned_card_says_which_grid_is_seen(tmp_path):
    made = cards.Made(SPECTRA, roll=90.0, ground=GREY, size=(600, 600))
    with pytest.raises(FileError, match="--grid 6x4"):
        read(tmp_path, made)


def test_fewer_rows_than_asked_for(tmp_path):
    names = [*NAMES, ["x"] * COLUMNS]
    with pytest.raises(FileError, match=r"5 x 6 patches was not found .* only 4 x 6"):
        read(tmp_path, cards.Made(SPECTRA, ground=GREY), names)


@pytest.mark.parametrize("name", ["astronaut", "chelsea", "coffee", "rocket", "coins", "brick"])
def test_photographs_of_other_things_hold_no_card(tmp_path, name):
    """Photographs that come with scikit-image: a face, a cat, a cup, a rocket, coins, a wall."""
    shot = getattr(data, name)()
    path = tmp_path / f"{name}.png"
    cards.Image.fromarray(shot).save(path)
    with pytest.raises(FileError) as caught:
        read_card(read_photo(path), NAMES, PAPER)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    "places",
    [
        [(100, 100), (200, 100), (300, 100)],
        [(100, 100), (200, 200), (300, 300), (200, 100)],
        [(100, 100), (200, 100), (300, 100), (100, 200)],
        [(100, 100), (200, 100), (201, 160), (290, 260), (330, 101)],
    ],
)
def test_patches_that_lie_in_no_grid(tmp_path, places):
    picture = np.full((400, 500, 3), 200, np.uint8)
    for x, y in places:
        picture[y : y + 40, x : x + 40] = (60, 90, 160)
    cards.Image.fromarray(picture).save(tmp_path / "few.png")
    with pytest.raises(FileError, match="was not found on a plain ground"):
        read_card(read_photo(tmp_path / "few.png"), NAMES, PAPER)


def test_one_colour_holds_no_card(tmp_path):
    cards.Image.new("RGB", (400, 300), (120, 130, 140)).save(tmp_path / "plain.png")
    with pytest.raises(FileError, match="was not found on a plain ground"):
        read_card(read_photo(tmp_path / "plain.png"), NAMES, PAPER)


# ------------------------------------------------------------------------- geometry

unit = st.floats(-0.15, 0.15)


@given(a=unit, b=unit, c=unit, d=unit, px=st.floats(-0.03, 0.03), py=st.floats(-0.03, 0.03))
@settings(max_examples=60, deadline=None)
def test_a_projective_map_is_found_again(a, b, c, d, px, py):
    warp = np.array([[100 * (1 + a), 100 * b, 300], [100 * c, 100 * (1 + d), 200], [px, py, 1]])
    spots = np.array([(x, y) for x in range(4) for y in range(3)], float)
    back = solve_warp(spots, project(warp, spots))
    np.testing.assert_allclose(back, warp / warp[2, 2], rtol=1e-6, atol=1e-6)
