"""`meltwick swatch` as a maker meets it: cards, split tests, mixtures, and what goes wrong."""

import json
import os
import re
import tomllib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from tests import cards
from tests.swatched import card, cloth, split_test

from meltwick.cli import main
from meltwick.cli.mixing import read_colour
from meltwick.errors import PlanError
from meltwick.photo.names import read_grid, read_names

GRID = [["lemon", "coral", "rose"], ["undyed", "tide", "ink"]]


@pytest.fixture(scope="module")
def shots(tmp_path_factory):
    """A card's photograph, its names, a halo's photograph."""
    folder = tmp_path_factory.mktemp("shots")
    look = {"kelvin": 5500, "tilt": 12, "roll": 4, "fall": 0.2, "noise": 0.01}
    (folder / "card.jpg").write_bytes(card(GRID, **look))
    text = "\n".join(",".join(n if n == "undyed" else f"my {n}" for n in row) for row in GRID)
    (folder / "names.csv").write_text(text + "\n", "utf-8")
    (folder / "halo.jpg").write_bytes(split_test())
    return folder


@pytest.fixture
def run(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    own = tmp_path / "data" / "stock"
    monkeypatch.setattr("meltwick.stock.loader.own_folder", lambda: own)
    monkeypatch.setattr("meltwick.stock.own_folder", lambda: own)
    from meltwick.stock import loader

    loader._load.cache_clear()

    def go(*words):
        loader._load.cache_clear()  # each command is a process of its own
        code = main([str(word) for word in words])
        text = capsys.readouterr()
        assert "Traceback" not in text.err
        return code, text.out, text.err

    go.own = own
    yield go
    loader._load.cache_clear()


def add(run, shots, *more):
    return run(
        "swatch", "add", shots / "card.jpg", "--grid", "2x3", "--names", shots / "names.csv", *more
    )


# ------------------------------------------------------------------------- the way of a maker


def test_from_a_card_to_a_plan(run, shots):
    code, out, err = add(run, shots, "--out", "look")
    assert code == 0, err
    line = r"^my \w+: #[0-9a-f]{6} at 2 %, given back within ΔE 0\.\d$"
    assert len(re.findall(line, out, re.MULTILINE)) == 5
    assert "Splitting unknown: a flat swatch cannot teach" in out
    assert err == "It has no colour profile; sRGB is assumed.\n"
    file = run.own / "swatches.toml"
    tables = tomllib.loads(file.read_text("utf-8"))
    assert set(tables["dye"]) == {"my lemon", "my coral", "my rose", "my tide", "my ink"}
    with Image.open("look/card-read.png") as picture:
        assert picture.size == (640, 480)

    # the colours are those of the dyes that the card was made of
    shown = dict(re.findall(r"^my (\w+): (#[0-9a-f]{6})", out, re.MULTILINE))
    for name, colour in shown.items():
        true = cards.true_lab(cloth(name, 2.0))
        gap = cards.colour.delta_E(read_colour(colour), true, method="CIE 2000")
        assert gap < 3.0, name

    code, out, err = run("swatch", "near", shown["coral"], "--cloth", "200 g", "--json")
    assert code == 0
    assert err == ""
    first = json.loads(out)["mixtures"][0]
    assert first["parts"][0]["dye"] == "my coral"
    assert first["parts"][0]["grams"] == pytest.approx(4.0, rel=0.05)  # 2 % of 200 g
    assert first["delta_e00"] < 1.0
    assert first["parts"][0]["splitting_known"] is False

    run("new", "mine")
    plan = Path("mine.toml")
    plan.write_text(plan.read_text("utf-8").replace('"coral"', '"my coral"'), "utf-8")
    code, out, err = run("check", "mine.toml")
    assert code == 0
    assert "Splitting unknown: my coral" in out + err

    asked = ("--dye", "my coral", "--across", "24 cm", "--out", "look")
    code, out, err = run("swatch", "split", shots / "halo.jpg", *asked)
    assert code == 0, err
    assert "my coral parts into 2" in out
    assert re.search(r"reactive orange 16: 6\d %, went furthest, 6\d(\.\d)? mm", out)
    assert re.search(r"reactive red 2: 3\d %, went 6\d % as far, holds on 2\.\d times as hard", out)
    assert "This test cannot tell" in out
    coral = tomllib.loads(file.read_text("utf-8"))["dye"]["my coral"]
    assert coral["splitting_known"] is True
    assert len(coral["parts"]) == 2
    code, out, err = run("check", "mine.toml")
    assert "Splitting unknown" not in out + err


def test_own_dyes_are_drawn(run, shots):
    code, _, err = run("swatch", "card", "--pairs", "--dyes", "coral, tide, lemon")
    assert (code, err) == (0, "")
    with Image.open("swatches.png") as picture:
        pixels = np.asarray(picture.convert("RGB"))
        assert picture.width == 1600
        assert "meltwick-version" in picture.text
    for name, percent in (("coral", 0.5), ("tide", 2.0), ("lemon", 4.0)):
        wanted = cards.true_lab(cloth(name, percent))
        colours = np.unique(pixels[::6, ::6].reshape(-1, 3), axis=0)
        light = cards.colour.models.eotf_sRGB(colours / 255.0)
        xyz = light @ cards.colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ.T
        lab = cards.colour.XYZ_to_Lab(xyz, (0.3127, 0.3290))
        gap = cards.colour.delta_E(lab, wanted, method="CIE 2000")
        assert gap.min() < 2.5, name  # tide at 2 % lies outside what a screen shows
    code, _, err = run("swatch", "card", "--out", "all")
    assert code == 0
    assert err == "You have no dyes of your own yet, so these are those in stock.\n"


def test_a_file_elsewhere(run, shots, tmp_path):
    code, out, _ = add(run, shots, "--stock", "mine/dyes.toml")
    assert code == 0
    assert not run.own.exists()
    assert f"Plans find them once that file lies in {run.own}." in out
    code, out, _ = run("swatch", "card", "--stock", "mine/dyes.toml")
    assert code == 0
    assert "Splitting unknown: my lemon, my coral" in out
    assert "5 dyes" in out


# ------------------------------------------------------------------------- what goes wrong


def test_nothing_is_replaced_unasked(run, shots):
    add(run, shots)
    file = run.own / "swatches.toml"
    before = file.read_bytes()
    code, out, err = add(run, shots)
    assert (code, out) == (2, "")
    assert "has the dye 'my lemon' already; write --replace" in err
    assert file.read_bytes() == before
    assert add(run, shots, "--replace")[0] == 0
    assert tomllib.loads(file.read_text("utf-8")) == tomllib.loads(before.decode())
    assert os.listdir(run.own) == ["swatches.toml"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("near", "#ff00ff", "--dyes", "lemon"), r"out of reach of this dye .* ΔE \d"),
        (("near", "olivedrb"), "did you mean 'olivedrab'"),
        (("near", "#12345"), "is no colour; write #rrggbb"),
        (("near", "lab(1 2)"), r"lab\(\) has L from 0 to 100"),
        (("near", "lab(50 999 0)"), r"lab\(\) has L from 0 to 100"),
        (("near", "teal", "--cloth", "150"), "has no unit"),
        (("near", "teal", "--cloth", "900 kg"), "outside 1 g to 100 kg"),
        (("near", "teal", "--dyes", "purpel"), "no dye 'purpel' in stock"),
        (("near", "teal", "--dyes", ","), "--dyes names no dye"),
        (("near", "teal", "--most", "9"), "--most"),
        (("near", "teal", "--fabric", "polyester"), "takes none of these dyes"),
        (("card", "--depths", "2"), "--depths: '2' is no depth"),
        (("card", "--depths", "90%"), "a depth lies from 0.05 to 12 %"),
        (("card", "--depths", ","), "--depths takes 1 to 7 depths"),
        (("card", "--dyes", "coral", "--pairs"), "--pairs draws 2 to 20 dyes"),
        (("card", "--stock", "dyes.csv"), r"its name ends in \.toml"),
        (("split", "nothing.jpg", "--dye", "coral"), "nothing.jpg does not exist"),
        (("split", "nothing.jpg"), "--dye"),
        (("add", "x.jpg", "--grid", "3", "--names", "n.csv"), "write rows x columns, such as 3x4"),
        (("add", "x.jpg", "--grid", "1x4", "--names", "n.csv"), "2 to 12 rows and columns"),
        (("add", "x.jpg", "--grid", "2x2", "--names", "n.csv"), "n.csv does not exist"),
        (("mix",), "mix"),
    ],
)
def test_faults_are_one_line(run, words, said):
    code, _, err = run("swatch", *words)
    assert code == (3 if "out of reach" in said else 2)
    last = err.splitlines()[-1]
    assert last.startswith("meltwick: ")
    assert re.search(said, last), last


def test_photographs_that_do_not_fit(run, shots):
    code, _, err = run(
        "swatch", "split", shots / "halo.jpg", "--dye", "ink", "--stock", "own.toml"
    )  # fmt: skip
    assert code == 2
    assert "is it another dye's test?" in err
    code, _, err = run("swatch", "split", shots / "card.jpg", "--dye", "coral")
    assert code == 2
    assert "no split test" in err
    code, _, err = run(
        "swatch", "add", shots / "halo.jpg", "--grid", "2x3", "--names", shots / "names.csv"
    )
    assert code == 2
    assert "was not found on a plain ground" in err
    for corners in (("1,2", "3", "4,5", "6,7"), ("0,0", "0,9", "9,9", "9,0")):
        code, _, err = add(run, shots, "--corners", *corners)
        assert code == 2
        assert "--corners" in err
    assert not run.own.exists()


def test_alone_it_shows_its_help(run):
    code, out, err = run("swatch")
    assert (code, err) == (0, "")
    for word in ("add", "card", "near", "split"):
        assert f"\n  {word}" in out


def test_a_stock_file_in_the_way(run, shots, tmp_path):
    (tmp_path / "blocker").write_text("x")
    code, _, err = add(run, shots, "--stock", "blocker/dyes.toml")
    assert code == 2
    assert "--stock" in err
    assert "--out" not in err


def test_a_dry_run_changes_nothing(run, shots):
    code, out, _ = run("swatch", "split", shots / "halo.jpg", "--dye", "coral", "--dry-run")
    assert code == 0
    assert "coral parts into 2" in out
    assert not run.own.exists()


# ------------------------------------------------------------------------- names and grids


@pytest.mark.parametrize(
    "text",
    [
        "a,b 4%\nundyed,-\n",
        "a;b 4 %\nUndyed;\n",
        "a\tb 4%\nundyed\n",
        "\ufeffa,b 4%\r\nundyed,–\r\n",
        "name,depth\na,\nb,4%\nundyed,\n-,\n",
        "name\na\nb 4%\nundyed\nempty\n",
    ],
)
def test_names_in_every_layout(tmp_path, text):
    path = tmp_path / "names.csv"
    path.write_text(text, "utf-8")
    labels = read_names(path, 2, 2, 0.02)
    assert labels.names == (("a", "b"), ("undyed", ""))
    assert labels.depths[0] == (0.02, 0.04)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("a,b\nc,d\n", "no patch is named 'undyed'"),
        ("undyed,\n,\n", "every patch is undyed or empty|rows of"),
        ("a,b,c\nundyed,d,e\n", "has 2 rows of 3; the card is 2 x 2"),
        ("name\na\nundyed\n", "lists 2 patches; the card has 4"),
        ("a,b 99%\nundyed,c\n", "a depth lies from 0.05 to 12 %"),
        ("", "rows of|no patch"),
    ],
)
def test_names_that_do_not_fit(tmp_path, text, said):
    path = tmp_path / "names.csv"
    path.write_text(text, "utf-8")
    with pytest.raises(PlanError, match=said) as caught:
        read_names(path, 2, 2, 0.02)
    assert "\n" not in str(caught.value)


def test_grids():
    assert read_grid("3x4") == read_grid(" 3 X 4 ") == read_grid("3×4") == (3, 4)


@pytest.mark.parametrize(
    ("text", "srgb"),
    [
        ("#808080", (128,) * 3),
        ("808080", (128,) * 3),
        ("Teal", (0, 128, 128)),
        ("#f00", (255, 0, 0)),
    ],
)
def test_colours_in_words(text, srgb):
    xyz = cards.colour.models.eotf_sRGB(np.array(srgb) / 255.0)
    xyz = xyz @ cards.colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ.T
    wanted = cards.colour.XYZ_to_Lab(xyz, (0.3127, 0.3290))
    np.testing.assert_allclose(read_colour(text), wanted, atol=0.05)
    np.testing.assert_allclose(read_colour("lab(52 -30, 12)"), [52, -30, 12])
