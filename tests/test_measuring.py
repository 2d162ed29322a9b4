"""Measuring dyed pieces in made photographs of known truth.

The wish is a white share within 3 points (``tests/benchmarks/measure_photos.py`` tries 200
photographs of simulated pieces); this is a small fixed set of painted ones. What makes the
photographs shares no code with what measures them.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from scipy.ndimage import distance_transform_edt
from tests.dyed import Piece, linear
from tests.painted import RUN, SPACING, Depth, banded, blotched, deep, painted, white_cells
from tests.photographs import Conditions, Photograph, photograph

from meltwick.photo import showing
from meltwick.photo.measuring import Given, Measured, measure
from meltwick.photo.reading import read_photo
from meltwick.stock import load_stock

STOCK = load_stock()
POINTS = 0.03  # of the white share that a measurement may be off


def light(seed: int, ground: str, tilt: float, turn: float, kelvin: float, **more) -> Conditions:
    return Conditions(
        seed=seed,
        ground=ground,
        long_side=840,
        fill=0.72,
        tilt=tilt,
        toward=67.0 * seed % 360,
        turn=turn,
        kelvin=kelvin,
        quality=60,
        **more,
    )


CASES: dict[str, tuple[str, Depth, str, Conditions]] = {
    "bands": ("tee", banded, "front", light(41, "wood", 12, -8, 3000, balance=0.6, shading=0.2)),
    "leaning": ("tee", blotched, "back", light(42, "paper", 25, 5, 5000, shading=0.3)),
    "upside down": ("long-sleeve tee", blotched, "front", light(43, "grass", 6, 180, 7500)),
    "little white": ("bandana", deep, "front", light(46, "dark cloth", 15, 7, 5600, balance=1.0)),
}


def piece(case: str) -> Piece:
    blank, depth, _, _ = CASES[case]
    return painted(blank, depth)


@cache
def taken(case: str) -> Photograph:
    _, _, side, conditions = CASES[case]
    return photograph(piece(case), side, conditions)


@pytest.fixture(scope="module")
def measured(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Measured]:
    """Measure a case, once."""
    folder = tmp_path_factory.mktemp("taken")

    @cache
    def of(case: str) -> Measured:
        path = folder / f"{case}.jpg"
        path.write_bytes(taken(case).jpeg)
        truth = taken(case).truth
        blank = STOCK.blank(truth.blank, truth.size)
        fabric = piece(case).result.cloth.fabric
        return measure({truth.side: read_photo(path)}, [(blank, fabric)])

    return of


# ------------------------------------------------------------------------------------ the shares


@pytest.mark.parametrize("case", CASES)
def test_the_white_share_is_measured(case: str, measured) -> None:
    found, truth = measured(case), taken(case).truth
    assert found.white_share == pytest.approx(truth.white, abs=POINTS)
    assert sum(found.shares.whole.values()) == pytest.approx(1.0)
    for name, share in found.shares.whole.items():
        assert share == pytest.approx(truth.shares[name], abs=0.08), name
    assert found.margin < 0.2


def test_the_margin_holds_the_truth(measured) -> None:
    off = [abs(measured(case).white_share - taken(case).truth.white) for case in CASES]
    held = [gap <= measured(case).margin for gap, case in zip(off, CASES, strict=True)]
    assert sum(held) >= len(CASES) - 1


@pytest.mark.parametrize("case", CASES)
def test_zones_are_those_of_the_side_that_is_seen(case: str, measured) -> None:
    side = CASES[case][2]
    found = measured(case)
    cloth = piece(case).result.cloth
    number = [panel.name for panel in cloth.panels].index(side)
    mine = cloth.dyeable & (cloth.panel == number)
    wanted = {cloth.zones[zone] for zone in np.unique(cloth.zone[mine]) if zone >= 0}
    assert set(found.shares.zones) == wanted
    assert set(found.shares.panels) == {side}
    for split in found.shares.zones.values():
        assert sum(split.values()) == pytest.approx(1.0)
    # a zone is small, and its own edge may lie some millimetres off
    for zone in wanted:
        here = mine & (cloth.zone == cloth.zones.index(zone))
        if here.mean() > 0.05:
            truth = white_cells(piece(case), here)
            assert found.shares.zones[zone]["white"] == pytest.approx(truth, abs=0.08), zone


@pytest.mark.parametrize("case", CASES)
def test_palette_and_white_are_no_more_than_the_piece(case: str, measured) -> None:
    found = measured(case)
    assert found.palette
    assert sum(patch.share for patch in found.palette) + found.white_share <= 1.0 + 1e-9
    assert all(patch.share >= 0.01 for patch in found.palette)


@pytest.mark.parametrize("case", CASES)
def test_the_outline_lies_on_the_piece(case: str, measured) -> None:
    """Corners of the garment's own box land where the camera put them."""
    found, truth = measured(case), taken(case).truth
    pixels = found.sides[0].found.fit.place(truth.corners)
    size = np.sqrt(np.count_nonzero(truth.mask))
    # at the box's corners there is no cloth, and the outline is out of shape by up to a hundredth
    assert np.hypot(*(pixels - truth.corner_pixels).T).max() < 0.04 * size


def test_a_piece_has_the_bands_that_were_painted(measured) -> None:
    found = measured("bands").bands["front"]
    assert found.spacing == pytest.approx(SPACING, rel=0.04)
    assert found.direction == pytest.approx(RUN, abs=2.0)


# ------------------------------------------------------------------------- white that is pointed at


def test_a_grey_card_tells_the_white(tmp_path: Path) -> None:
    shown = painted("tank", blotched)
    photo = photograph(shown, "front", light(47, "dark cloth", 9, -12, 4000))
    truth = photo.truth
    wide, high = photo.image.size
    # a card of 18 per cent in the emptiest place, under the light that falls there
    room = distance_transform_edt(~truth.mask & ~truth.inside)
    room[:40], room[-40:], room[:, :40], room[:, -40:] = 0, 0, 0, 0
    row, col = np.unravel_index(int(np.argmax(room)), room.shape)
    card = np.clip(truth.gain * truth.light[row, col] * truth.tint * 0.18, 0, 1)
    coded = np.where(card <= 0.0031308, 12.92 * card, 1.055 * card ** (1 / 2.4) - 0.055)
    plain = np.array(photo.image)
    plain[row - 20 : row + 21, col - 20 : col + 21] = np.rint(255 * coded)
    path = tmp_path / "card.png"
    Image.fromarray(plain).save(path)
    blank = STOCK.blank(truth.blank, truth.size)
    place = np.array([(col + 0.5) / wide, (row + 0.5) / high])
    by_card = measure(
        {"front": read_photo(path)},
        [(blank, shown.result.cloth.fabric)],
        {"front": Given(grey=place)},
    )
    assert by_card.white_share == pytest.approx(truth.white, abs=0.05)
    middle = float(truth.light[high // 2, wide // 2])
    assert by_card.sides[0].light.white == pytest.approx(
        truth.gain * truth.tint * _undyed(shown) * middle, rel=0.06
    )


def _undyed(shown: Piece) -> np.ndarray:
    """Linear reflectance of its undyed cloth, (3,)."""
    srgb = np.array(shown.result.look.undyed_srgb)
    return np.asarray(np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4))


# --------------------------------------------------------------------------------- on the raster


def test_a_photographed_piece_lies_on_its_raster(tmp_path: Path) -> None:
    shown = piece("leaning")
    cloth = shown.result.cloth
    path = tmp_path / "back.jpg"
    path.write_bytes(taken("leaning").jpeg)
    laid = showing.lay({"back": path}, STOCK.blank(shown.blank, shown.size), cloth)
    back = cloth.panel == [panel.name for panel in cloth.panels].index("back")
    assert np.array_equal(laid.known, back)
    assert set(laid.digest) == {"back"}
    truth = linear(shown.result.look.lab)
    index = next(panel.index for panel in cloth.panels if panel.name == "back")
    # away from the outline, by five cells
    cells = index[distance_transform_edt(np.pad(index >= 0, 1))[1:-1, 1:-1] > 5]
    off = np.abs(laid.linear[cells] - truth[cells]).mean()
    # chance: the same colours laid elsewhere
    other = np.abs(laid.linear[cells] - np.roll(truth[cells], len(cells) // 3, axis=0)).mean()
    assert off < 0.05
    assert off < 0.35 * other
    # nothing is lost, and no channel is shifted
    assert laid.linear[back].mean(axis=0) == pytest.approx(truth[back].mean(axis=0), abs=0.03)
