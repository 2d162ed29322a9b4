"""The palette: colours against colour-science and scikit-image, the picture measured, the command.

Colorimetry: CIE 1931 2 degree observer, D65, sRGB of IEC 61966-2-1, CIEDE2000 of ISO/CIE 11664-6.
"""

import errno
import json
import os
import warnings
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from skimage import color

from meltwick import __version__
from meltwick.cli import main, writing
from meltwick.colour import colours, strengths, undyed
from meltwick.colour.observer import WAVELENGTHS
from meltwick.picture.palette import (
    DEPTHS,
    MEDIUM,
    caption,
    chips,
    draw_palette,
    palette_png,
    splitting,
    takes_dye,
)
from meltwick.picture.preview import INK, PAPER
from meltwick.stock import load_stock
from meltwick.types import Component, Dye, Fabric

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it warns when plotting libraries are missing
    import colour

STOCK = load_stock(Path("no such folder"))
DYES = tuple(STOCK.dyes.values())
JERSEY = STOCK.fabric("cotton jersey")
GREY = Fabric("grey jersey", 0.160, 0.55e-3, 1540.0, ground=(0.4,) * 31, ground_name="grey")
SHOWN = {chip.dye.name: chip for chip in chips(DYES, JERSEY)}


def true_xyz(dye: Dye, depth: float, fabric: Fabric = JERSEY) -> np.ndarray:
    """XYZ, Y = 1 for white, by colour-science from the dye's K/S: Kubelka and Munk by hand."""
    bare = undyed(fabric)
    k = (1 - bare) ** 2 / (2 * bare)
    k = k + depth * sum(share * strengths([part])[0] for part, share in dye.parts)
    r = 1 + k - np.sqrt(k * k + 2 * k)
    wide = np.arange(360, 781, 10)  # beyond 400 to 700 nm the end values go on
    sd = colour.SpectralDistribution(np.interp(wide, WAVELENGTHS, r), wide)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it tells that it brings tables to one shape
        xyz = colour.sd_to_XYZ(sd, illuminant=colour.SDS_ILLUMINANTS["D65"], method="Integration")
    return np.asarray(xyz) / 100.0


def true_srgb(dye: Dye, depth: float, fabric: Fabric = JERSEY) -> np.ndarray:
    """Encoded sRGB by colour-science, beyond 0 to 1 where no screen can show it."""
    return np.asarray(colour.XYZ_to_sRGB(true_xyz(dye, depth, fabric)))


def lab_shown(shade) -> np.ndarray:
    """CIELAB of a shown colour, by scikit-image."""
    return color.rgb2lab(np.array(shade).reshape(1, 1, 3)).reshape(3)


# ------------------------------------------------------------------------------- colours


def test_medium_shades_are_what_colour_science_computes():
    compared = 0
    for dye in DYES:
        wanted = true_srgb(dye, 2.0)
        if wanted.min() >= 0 and wanted.max() <= 1:  # for the others see the next test
            compared += 1
            gap = np.abs(np.array(SHOWN[dye.name].shades[MEDIUM]) - wanted).max()
            assert gap < 1 / 255, (dye.name, gap)
    assert compared >= 10


def test_a_colour_that_no_screen_can_show_keeps_lightness_and_hue():
    """Clipping each channel alone would change both."""
    found = 0
    for dye in DYES:
        for (_, depth), shade in zip(DEPTHS, SHOWN[dye.name].shades, strict=True):
            light = true_srgb(dye, depth)
            if light.min() >= -0.02 and light.max() <= 1.02:
                continue
            found += 1
            true = colour.XYZ_to_Lab(true_xyz(dye, depth), (0.3127, 0.3290))
            seen = lab_shown(shade)
            turn = np.degrees(np.arctan2(true[2], true[1]) - np.arctan2(seen[2], seen[1]))
            assert abs(true[0] - seen[0]) < 0.5
            assert abs((turn + 180) % 360 - 180) < 1.0
    assert found >= 3


@pytest.mark.parametrize("name", STOCK.dyes)
@pytest.mark.parametrize("fabric", ["cotton jersey", "linen", "cotton polyester 50/50"])
def test_deeper_is_darker(name, fabric):
    (chip,) = chips([STOCK.dyes[name]], STOCK.fabric(fabric))
    light = [lab_shown(shade)[0] for shade in chip.shades]
    assert light[0] > light[1] > light[2]
    assert chip.lightness == pytest.approx(light[MEDIUM], abs=0.3)


def test_every_dye_is_told_from_every_other():
    """More than 3 units of CIEDE2000 at 2 %: seen at a glance, side by side; limit chosen."""
    lab = np.array([lab_shown(SHOWN[dye.name].shades[MEDIUM]) for dye in DYES])
    gap = color.deltaE_ciede2000(lab[:, None], lab[None])
    assert (gap + 99 * np.eye(len(DYES))).min() > 3


def test_light_ones_come_first_whatever_their_order():
    order = [chip.dye.name for chip in chips(DYES, JERSEY)]
    assert order == [chip.dye.name for chip in chips(DYES[::-1], JERSEY)]
    true = [colour.XYZ_to_Lab(true_xyz(STOCK.dyes[n], 2.0), (0.3127, 0.3290))[0] for n in order]
    assert np.all(np.diff(true) < 0.05)
    assert order[0] == "lemon"
    assert order[-1] == "ink"


def test_the_ground_shows_through():
    for dye in DYES:
        (white,), (grey,) = chips([dye], JERSEY), chips([dye], GREY)
        assert grey.lightness < white.lightness
        assert np.abs(np.array(grey.shades[0]) - true_srgb(dye, 0.5, GREY)).max() < 1 / 255


def test_cloth_that_takes_no_dye_stays_as_it_is():
    polyester = STOCK.fabric("polyester")
    assert not takes_dye(polyester)
    assert takes_dye(STOCK.fabric("cotton polyester 50/50"))
    shown = chips(DYES, polyester)
    assert len({shade for chip in shown for shade in chip.shades}) == 1
    amount = np.zeros((1, 1))
    bare = colours([DYES[0].parts[0][0]], amount, polyester)[0]
    np.testing.assert_allclose(lab_shown(shown[0].shades[0]), bare, atol=0.1)
    assert [chip.dye.dark for chip in shown] == sorted(dye.dark for dye in DYES)
    assert "takes no reactive dye" in caption("p", polyester)


def test_splitting_in_words():
    part = Component("sky", ((600.0, 40.0, 5.0),), 3e-3, 1.0, 4e-10)
    assert splitting(Dye("a", ((part, 1.0),))) == "one dye, does not split"
    assert splitting(Dye("a", ((part, 0.4), (part, 0.3), (part, 0.3)))) == "mixture of 3, splits"
    assert splitting(Dye("a", ((part, 1.0),), splitting_known=False)) == "splitting unknown"


# ------------------------------------------------------------------------------- picture


def pixels(shown, fabric=JERSEY) -> np.ndarray:
    return np.asarray(draw_palette(shown, fabric, "harbour-tee")).astype(int)


def patches(p: np.ndarray, shades) -> list[np.ndarray]:
    """Rows and columns of every pixel of each colour."""
    wanted = np.rint(255 * np.array(shades)).astype(int)
    return [np.argwhere((p == each).all(axis=-1)) for each in wanted]


def test_every_swatch_is_one_flat_colour_and_lies_in_order():
    shown = chips(DYES, JERSEY)
    p = pixels(shown)
    places = []
    for chip in shown:
        spots = patches(p, chip.shades)
        assert all(len(spot) > 0.85 * 96 * 80 for spot in spots), chip.dye.name
        middles = [spot.mean(axis=0) for spot in spots]
        assert np.ptp([m[0] for m in middles]) < 1  # one row
        assert middles[0][1] < middles[1][1] < middles[2][1]  # pale, medium, dark
        places.append((middles[0][1] > p.shape[1] / 2, middles[0][0]))
    assert places == sorted(places)  # down the left, then down the right


def test_the_sheet_is_of_the_previews_kind():
    picture = draw_palette(chips(DYES, JERSEY), JERSEY, "harbour-tee")
    assert picture.mode == "RGB"
    assert picture.size[0] == 1600
    p = np.asarray(picture).astype(int)
    for rim in (p[:8], p[-8:], p[:, :8], p[:, -8:]):
        assert (rim == PAPER).all()
    dark = np.abs(p[-90:, 800:] - INK).max(axis=-1) < 40
    assert dark.sum() > 200  # the caption


def test_the_undyed_cloth_is_shown_too():
    p = pixels(chips(DYES, GREY), GREY)
    bare = 255 * np.array(colour.XYZ_to_sRGB(true_xyz(Dye("none", ()), 0.0, GREY)))
    near = np.abs(p[-110:, :200] - np.rint(bare)).max(axis=-1) <= 1
    assert near.sum() > 0.7 * 60 * 42


@pytest.mark.parametrize("count", [0, 1, 2, 3])
def test_any_number_of_dyes_fits(count):
    few, more = (pixels(chips(DYES[:n], JERSEY)) for n in (count, count + 2))
    assert more.shape[0] > few.shape[0]
    assert few.shape[1] == more.shape[1] == 1600


def test_long_names_and_many_parts_stay_in_their_place():
    part = Component(
        "a component of a quite unreasonable name", ((600.0, 40.0, 5.0),), 3e-3, 1, 4e-10
    )
    dye = Dye("x" * 60, tuple((part, 1 / 12) for _ in range(12)))
    p = pixels(chips([dye, dye], JERSEY))
    for gap in (p[:, 777:806], p[:, 1540:]):  # between the columns, and the margin
        assert (gap[:-130] == PAPER).all()


def test_same_dyes_same_bytes():
    make = [
        palette_png(chips(DYES, fabric), fabric, plan=plan, version="1")
        for fabric, plan in ((JERSEY, "a"), (JERSEY, "a"), (GREY, "a"), (JERSEY, "b"))
    ]
    assert make[0] == make[1]
    assert len(set(make)) == 3


def test_the_file_says_what_it_is():
    with Image.open(
        BytesIO(palette_png(chips(DYES, JERSEY), JERSEY, plan="dune", version="9.9"))
    ) as p:
        p.load()
        assert p.text["meltwick-plan"] == p.text["Title"] == "dune"
        assert p.text["meltwick-version"] == "9.9"
        assert p.info["dpi"] == pytest.approx((150, 150), abs=0.02)  # whole pixels per metre


# ------------------------------------------------------------------------------- command


@pytest.fixture
def run(tmp_path, monkeypatch, capsys):
    """Run the command in an empty folder, without a maker's own stock; give code, out, err."""
    here = tmp_path / "here"
    here.mkdir()
    monkeypatch.chdir(here)
    monkeypatch.setattr("platformdirs.user_log_dir", lambda *a, **k: str(tmp_path / "log"))
    monkeypatch.setattr("meltwick.stock.loader.own_folder", lambda: tmp_path / "stock")

    def go(*words):
        code = main(["palette", *(str(word) for word in words)])
        text = capsys.readouterr()
        return code, text.out, text.err

    go.here = here
    return go


def one_complaint(err):
    lines = err.splitlines()
    assert len(lines) == 1, err
    assert lines[0].startswith("meltwick: ")
    return lines[0]


def test_the_command_writes_the_picture_and_says_so(run):
    code, out, err = run()
    assert (code, err) == (0, "")
    assert [p.name for p in (run.here / "harbour-tee").iterdir()] == ["palette.png"]
    lines = out.splitlines()
    assert [line.split(":")[0] for line in lines[:3]] == ["Light", "Middle", "Dark"]
    assert (
        lines[3] == f"The picture of {len(DYES)} dyes on cotton jersey is harbour-tee/palette.png."
    )
    named = [name for line in lines[:3] for name in line.split(": ")[1].rstrip(".").split(", ")]
    assert named == list(SHOWN)  # every dye once, light ones first
    with Image.open(run.here / "harbour-tee" / "palette.png") as picture:
        assert picture.text["meltwick-version"] == __version__


def test_json_is_a_list_of_the_stocks_dyes_and_nothing_else(run):
    code, out, err = run("--json")
    assert (code, err) == (0, "")
    found = json.loads(out)
    assert {each["name"] for each in found} == set(STOCK.dyes)
    assert len(found) == len(STOCK.dyes)
    for each in found:
        dye = STOCK.dyes[each["name"]]
        assert list(each) == ["name", "components", "colour", "single"]
        assert each["single"] is (len(dye.parts) == 1)
        assert [list(part) for part in each["components"]] == [["name", "share", "note"]] * len(
            dye.parts
        )
        assert sum(part["share"] for part in each["components"]) == pytest.approx(1, abs=1e-5)
        assert [part["name"] for part in each["components"]] == [c.name for c, _ in dye.parts]
        assert all(part["note"] for part in each["components"])
        wanted = true_srgb(dye, 2.0)
        rgb = [int(each["colour"][i : i + 2], 16) / 255 for i in (1, 3, 5)]
        assert each["colour"] == each["colour"].lower()
        assert len(each["colour"]) == 7
        if wanted.min() >= 0 and wanted.max() <= 1:
            # half a step of rounding on top of the step that the colours may differ by
            assert np.abs(np.array(rgb) - wanted).max() < 1.5 / 255


def test_the_plans_cloth_is_used(run):
    (run.here / "p.toml").write_text('name = "dune"\n[garment]\nfabric = "polyester"\n', "utf-8")
    code, out, err = run("p.toml")
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert lines == [
        "Polyester takes no reactive dye: every swatch stays undyed.",
        f"The picture of {len(DYES)} dyes on polyester is dune/palette.png.",
    ]
    assert len({each["colour"] for each in json.loads(run("p.toml", "--json")[1])}) == 1


def test_a_makers_own_dye_is_shown_and_says_if_splitting_is_unknown(run, tmp_path):
    (tmp_path / "stock").mkdir()
    (tmp_path / "stock" / "mine.toml").write_text(
        '[dye.sample]\nparts = { "reactive blue 4" = 1.0 }\nsplitting_known = false\n', "utf-8"
    )
    found = {each["name"]: each for each in json.loads(run("--json")[1])}
    assert found["sample"]["single"] is False
    assert len(found) == len(DYES) + 1


def test_other_files_are_left_alone(run):
    folder = run.here / "deep" / "er [bold]"
    folder.mkdir(parents=True)
    (folder / "mine.txt").write_text("mine")
    (folder / "palette.png").write_bytes(b"old")
    code, out, _ = run("--out", folder)
    assert code == 0
    assert str(folder / "palette.png") in out
    assert (folder / "mine.txt").read_text() == "mine"
    assert (folder / "palette.png").read_bytes() != b"old"
    assert sorted(p.name for p in folder.iterdir()) == ["mine.txt", "palette.png"]


def test_open_is_harmless_without_a_viewer(run, monkeypatch):
    monkeypatch.setattr("shutil.which", lambda name: None)
    code, _, err = run("--open")
    assert code == 0
    assert "viewer" in err


@pytest.mark.parametrize(
    ("plan", "said"),
    [
        ('[garment]\nfabric = "coton jersey"\n', "did you mean 'cotton jersey'"),
        ('[garment]\nfabrik = "linen"\n', "did you mean 'fabric'"),
        ("[[round]]\n[[round.dye]]\ndye = 'corel'\n", "did you mean 'coral'"),
        ("name = ", "line 1"),
    ],
)
def test_a_bad_plan_gets_one_line(run, plan, said):
    (run.here / "p.toml").write_text(plan, "utf-8")
    code, out, err = run("p.toml")
    assert (code, out) == (2, "")
    assert "p.toml" in one_complaint(err)
    assert said in err
    assert [p.name for p in run.here.iterdir()] == ["p.toml"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["nowhere.toml"], "nowhere.toml"),
        (["--out", ""], "--out"),
        (["--jsn"], "--json"),
        (["a.toml", "b.toml"], "too many words"),
    ],
)
def test_wrong_words_get_one_line(run, words, said):
    code, out, err = run(*words)
    assert (code, out) == (2, "")
    assert said in one_complaint(err)
    assert list(run.here.iterdir()) == []


def test_a_folder_that_cannot_be_written(run, monkeypatch):
    (run.here / "file").write_text("mine")
    code, out, err = run("--out", "file")
    assert (code, out) == (2, "")
    assert "file" in one_complaint(err)
    (run.here / "full" / "palette.png").mkdir(parents=True)
    code, _, err = run("--out", "full")
    assert code == 2
    assert "palette.png" in one_complaint(err)
    monkeypatch.setattr(writing.os, "access", lambda path, mode: False)
    code, _, err = run("--out", "else")
    assert code == 2
    assert "--out" in one_complaint(err)
    assert not (run.here / "else").exists()


def test_a_full_disk_keeps_the_old_picture(run, monkeypatch):
    def full(number):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    (run.here / "old").mkdir()
    (run.here / "old" / "palette.png").write_bytes(b"old")
    monkeypatch.setattr(writing.os, "fsync", full)
    code, out, err = run("--out", "old")
    assert (code, out) == (4, "")
    assert "disk is full" in one_complaint(err)
    assert (run.here / "old" / "palette.png").read_bytes() == b"old"
    assert run("--out", "new")[0] == 4
    assert not (run.here / "new").exists()
