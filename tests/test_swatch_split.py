"""Made photographs of split tests, read back: `halos` shares no code with what reads them."""

from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from skimage import data
from tests import halos

from meltwick.errors import FileError
from meltwick.photo import read_photo
from meltwick.photo.splitting import read_split
from meltwick.stock import load_stock

STOCK = load_stock(Path("no such folder"))
JERSEY = STOCK.fabric("cotton jersey")
KNOWN = tuple(STOCK.components.values())


def ks(name: str) -> np.ndarray:
    """K/S per % of a component, from its numbers in the stock, by the tests' own formula."""
    return halos.bands(*STOCK.components[name].bands)


def read(tmp_path, dye, parts, places=((240, 240),), size=(480, 480), **how):
    path = tmp_path / "halo.jpg"
    made = [(ks(name), amount, radius, edge) for name, amount, radius, edge in parts]
    path.write_bytes(halos.photograph(made, places, size=size, **how))
    return read_split(read_photo(path), STOCK.dye(dye), KNOWN, JERSEY)


CORAL = [("reactive orange 16", 0.8, 130.0, 12.0), ("reactive red 2", 1.2, 80.0, 10.0)]
BLUE = [("reactive blue 21", 0.6, 150.0, 14.0), ("reactive blue 4", 1.2, 75.0, 10.0)]
FERN = [
    ("reactive blue 21", 0.25, 160.0, 10.0),
    ("reactive yellow 86", 0.9, 130.0, 12.0),
]


@pytest.mark.parametrize(
    ("dye", "parts", "how"),
    [
        ("coral", CORAL, {}),
        ("coral", CORAL, {"kelvin": 5000, "fall": 0.3, "noise": 0.015, "quality": 70}),
        ("coral", CORAL, {"wobble": 0.06, "noise": 0.01}),
        ("harbour blue", BLUE, {"kelvin": 6500, "noise": 0.01}),
        ("fern", FERN, {"noise": 0.01}),
    ],
)
def test_parts_shares_and_reach_come_back(tmp_path, dye, parts, how):
    split = read(tmp_path, dye, parts, **how)
    assert [each.component.name for each in split.travellers] == [name for name, *_ in parts]
    total = sum(amount * (radius**2 + edge**2 / 2) for _, amount, radius, edge in parts)
    for each, (_, amount, radius, edge) in zip(split.travellers, parts, strict=True):
        assert each.reach == pytest.approx(radius, rel=0.06)
        # a disc with an error function for an edge holds pi (R^2 + w^2 / 2)
        assert each.share == pytest.approx(amount * (radius**2 + edge**2 / 2) / total, abs=0.06)
        assert each.profile.max() <= 1.0
    assert not any("some sides" in note for note in split.notes)
    assert split.misfit < 1.5
    assert split.alone > 5.0
    assert split.count == 1
    assert np.all(np.diff(split.rings) > 0)


def test_several_places_of_powder(tmp_path):
    parts = [("reactive blue 19", 0.5, 70.0, 8.0), ("reactive red 2", 1.0, 40.0, 8.0)]
    split = read(tmp_path, "plum", parts, ((120, 130), (350, 170), (230, 360)), noise=0.01)
    assert split.count == 3
    assert [each.component.name for each in split.travellers] == [name for name, *_ in parts]
    assert split.travellers[0].reach == pytest.approx(70, rel=0.08)
    assert split.travellers[1].reach == pytest.approx(40, rel=0.12)


@pytest.mark.parametrize("name", ["rose", "tide", "lemon"])
def test_one_dye_is_seen_to_be_one(tmp_path, name):
    part = STOCK.dye(name).parts[0][0].name
    split = read(tmp_path, name, [(part, 1.0, 110.0, 30.0)], noise=0.01)
    assert split.travellers == ()
    assert split.misfit < 2.0


def test_a_mixture_that_travels_together_does_not_part(tmp_path):
    together = [(part.name, 1.6 * share, 110.0, 15.0) for part, share in STOCK.dye("coral").parts]
    assert read(tmp_path, "coral", together).travellers == ()


def test_reach_is_in_pixels_of_the_file(tmp_path):
    small = read(tmp_path, "coral", CORAL)
    photo = read_photo(tmp_path / "halo.jpg", most=60_000)
    coarse = read_split(photo, STOCK.dye("coral"), KNOWN, JERSEY)
    for one, two in zip(small.travellers, coarse.travellers, strict=True):
        assert one.reach == pytest.approx(two.reach, rel=0.06)


def test_a_lopsided_halo_is_told(tmp_path):
    split = read(tmp_path, "coral", CORAL, wobble=0.6, size=(560, 560), places=((280, 280),))
    assert any("further on some sides" in note for note in split.notes)


def test_what_is_no_split_test_is_refused(tmp_path):
    path = tmp_path / "no.png"
    shots = {name: getattr(data, name)() for name in ("chelsea", "coffee", "brick")}
    shots["white"] = np.full((300, 300, 3), 235, np.uint8)
    shots["pale"] = np.full((300, 300, 3), 235, np.uint8)
    shots["pale"][120:180, 120:180] = (232, 228, 226)
    for name, shot in shots.items():
        Image.fromarray(shot).save(path)
        try:
            misfit = read_split(read_photo(path), STOCK.dye("coral"), KNOWN, JERSEY).misfit
        except FileError:
            continue
        assert misfit > 4.0, name  # a stain, but no dyes of ours: the command learns nothing
