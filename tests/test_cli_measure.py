"""`meltwick measure` as a maker meets it: what it writes and says, and what goes wrong."""

from __future__ import annotations

import contextlib
import io
import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from tests import negatives
from tests.painted import RUN, SPACING, banded, blotched, painted
from tests.photographs import Conditions, Photograph, photograph

from meltwick.cli import main
from meltwick.photo.finding import silhouette
from meltwick.photo.outline import corner_points, project
from meltwick.picture.measured import _splat

SHOWN = Conditions(seed=61, ground="wood", long_side=800, fill=0.7, tilt=8.0, turn=5.0)
CORNERS = ("200,150", "600,150", "600,500", "200,500")


@pytest.fixture(scope="module")
def shot() -> Photograph:
    """A tee with bands, on wood."""
    return photograph(painted("tee", banded), "front", SHOWN)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory, shot: Photograph) -> Path:
    made = tmp_path_factory.mktemp("photos")
    (made / "front.jpg").write_bytes(shot.jpeg)
    return made


@pytest.fixture
def run(folder: Path, monkeypatch: pytest.MonkeyPatch):
    """Run the command beside the photograph; give code, out, err."""
    monkeypatch.chdir(folder)
    monkeypatch.setattr("platformdirs.user_log_dir", lambda *a, **k: str(folder.parent / "log"))
    return lambda *words: go("measure", *words)


def go(*words: object) -> tuple[int, str, str]:
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main([str(word) for word in words])
    return code, out.getvalue(), err.getvalue()


@pytest.fixture(scope="module")
def told(folder: Path) -> tuple[int, str, str]:
    """What it says of the tee, measured once."""
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        return go("measure", "front.jpg", "--blank", "tee", "--out", "out")


def complaint(err: str) -> str:
    lines = err.splitlines()
    assert len(lines) == 1, err
    assert lines[0].startswith("meltwick: ")
    assert "Traceback" not in err
    assert len(lines[0]) < 330
    return lines[0].removeprefix("meltwick: ")


# ------------------------------------------------------------------------------ what it measures


def test_the_numbers_are_written(told, folder: Path, shot: Photograph) -> None:
    code, _, err = told
    assert code == 0, err
    assert err == "front.jpg: it has no colour profile; sRGB is assumed\n"
    found = json.loads((folder / "out" / "measure.json").read_text("utf-8"))
    assert set(found) == {
        *("schema", "version", "blank", "size", "white_share", "white_margin", "white_at"),
        *("dyed_to_white", "shares", "panels", "zones", "palette", "bands", "photos", "notes"),
    }
    assert (found["schema"], found["blank"], found["size"]) == (1, "tee", shot.truth.size)
    assert found["white_share"] == pytest.approx(shot.truth.white, abs=0.03)
    assert 0.0 < found["white_margin"] < 0.2
    assert sum(found["shares"].values()) == pytest.approx(1.0, abs=1e-3)
    assert set(found["panels"]) == {"front"}
    (photo,) = found["photos"]
    assert (photo["panel"], photo["file"]) == ("front", "front.jpg")
    assert re.fullmatch("[0-9a-f]{64}", photo["sha256"])
    bands = found["bands"]["front"]
    assert bands["spacing_mm"] == pytest.approx(1e3 * SPACING, rel=0.05)
    assert bands["direction_deg"] == pytest.approx(RUN, abs=2.0)
    for patch in found["palette"]:
        assert set(patch) == {"colour", "lab", "share"}
        assert re.fullmatch("#[0-9a-f]{6}", patch["colour"])


def test_the_picture_is_written_and_shows_outline_and_cloth(told, folder: Path) -> None:
    assert sorted(path.name for path in (folder / "out").iterdir()) == [
        "measure.json",
        "measured.png",
    ]
    with Image.open(folder / "out" / "measured.png") as picture:
        picture.load()
        assert min(picture.size) > 500
        assert len(picture.convert("RGB").getcolors(1 << 24) or ()) > 1000


def test_cells_leave_no_gaps_in_the_picture() -> None:
    """A photograph shown larger than its raster: cells two pixels apart cover what lies between."""
    places = np.stack(np.mgrid[2:60:2, 2:60:2], axis=-1).reshape(-1, 2) + 0.5
    covered = _splat(places, np.ones(len(places), dtype=bool), (70, 66))
    assert covered[3:58, 3:58].all()
    assert not covered[:, 62:].any()


def test_the_words_are_a_makers(told) -> None:
    _, out, _ = told
    first = out.splitlines()[0]
    assert re.match(r"\d+ % of it is \S+, give or take \d+ points: \d+ : \d+ dyed to \S+\.$", first)
    assert re.search(r"Bands on the front lie 8\d mm apart and run up to the right, 3\d°", out)
    assert "The other side was not photographed and does not count." in out
    assert str(Path("out") / "measured.png") in out
    assert "It was taken for" not in out  # it was told


def test_corners_are_as_good_as_being_found(run, folder: Path, told, shot: Photograph) -> None:
    """The corners that the picture numbers, by where the camera put them."""
    outline = silhouette(painted("tee", banded).result.cloth, behind=False)
    places = project(shot.truth.homography, corner_points(outline))
    words = [f"{x:.0f},{y:.0f}" for x, y in places]
    code, out, err = run(
        "front.jpg", "--blank", "tee", "--corners", *words, "--json", "--out", "by-corners"
    )
    assert code == 0, err
    found = json.loads(out)
    assert found == json.loads((folder / "by-corners" / "measure.json").read_text("utf-8"))
    assert found["white_share"] == pytest.approx(shot.truth.white, abs=0.03)


# -------------------------------------------------------------------------- what it cannot measure


def cat() -> Image.Image:
    return dict(negatives.real())["chelsea.png"]


def admiral() -> Image.Image:
    return dict(negatives.real())["grace_hopper.jpg"]


def busy() -> Image.Image:
    """A shirt on a carpet of its own colours."""
    return photograph(
        painted("tee", blotched), "front", replace(SHOWN, ground="carpet", long_side=700)
    ).image


def two() -> Image.Image:
    """Two tees side by side."""
    one = np.asarray(photograph(painted("tee", blotched), "front", SHOWN).image)
    return Image.fromarray(np.concatenate([one, one[:, ::-1]], axis=1)).reduce(2)


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: negatives.bare_ground("wood"), "no piece can be told from its ground"),
        (cat, "no piece can be told from its ground"),
        (admiral, "no garment was found"),
        (busy, "plain"),
        (two, "two pieces"),
        (lambda: negatives.one_colour((250, 250, 250)), "no piece can be told from its ground"),
    ],
)
def test_a_picture_without_one_piece_is_refused(run, folder: Path, make, said: str) -> None:
    make().convert("RGB").save(folder / "seen.png")
    code, out, err = run("seen.png", "--blank", "tee", "--out", "no")
    line = complaint(err)
    assert code == 2
    assert out == ""
    assert line.startswith("seen.png: ")
    assert said in line
    assert re.search("lay the piece flat on a plain floor|photograph one piece alone", line)
    assert not (folder / "no").exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("gone.jpg",), "gone.jpg does not exist; check the spelling of the photograph's name"),
        (("notes.jpg",), "notes.jpg is text; a photograph is JPEG, PNG, TIFF, WebP or HEIC"),
        (("empty.jpg",), "empty.jpg is empty (0 bytes); copy it again from the camera"),
        (("half.jpg",), "half.jpg is cut short; copy it again from the camera"),
        (("shelf",), "shelf is a folder; name a photograph in it"),
        (("front.jpg", "--back", "gone.jpg"), "gone.jpg does not exist; check the spelling"),
        (("front.jpg", "--corners", "0,0", "90,90", "180,180", "0,300"), "--corners: "),
        (("front.jpg", "--corners", "9,9", "9,9", "180,180", "0,300"), "--corners: "),
        (
            ("front.jpg", "--corners", *reversed(CORNERS)),
            "--corners: these four do not go round in turn: upper left, upper right",
        ),
        (("front.jpg", "--corners", *CORNERS[:3], "2,9999"), "--corners: this lies outside"),
        (("front.jpg", "--corners", *CORNERS[:3], "low"), "--corners: 'low' is no place"),
        (("front.jpg", "--back-corners", *CORNERS), "--back-corners goes with --back"),
        (
            ("front.jpg", "--back", "front.jpg", "--back-corners", "0,0", "9,9", "18,18", "0,30"),
            "--back-corners: ",
        ),
        (("front.jpg", "--white", "1,2", "--grey", "3,4"), "one of them is enough"),
        (("front.jpg", "--white", "9000,2"), "--white: this lies outside the picture"),
        (("front.jpg", "--blank", "te"), "tee"),
        (("front.jpg", "--size", "M"), "--size: say what the piece is too"),
    ],
)
def test_what_is_asked_wrongly_is_told_in_a_line(run, folder: Path, words, said: str) -> None:
    (folder / "notes.jpg").write_text("Front of the harbour tee, washed twice.\n")
    (folder / "empty.jpg").touch()
    (folder / "half.jpg").write_bytes((folder / "front.jpg").read_bytes()[:9000])
    (folder / "shelf").mkdir(exist_ok=True)
    code, out, err = run(*words, "--out", "no")
    assert code == 2
    assert out == ""
    assert said in complaint(err)
    assert not (folder / "no").exists()


def test_corners_where_no_piece_lies_say_so(run, folder: Path) -> None:
    corner = ("5,5", "130,5", "130,90", "5,90")
    code, _, err = run("front.jpg", "--blank", "tee", "--corners", *corner, "--out", "no")
    assert code == 2
    line = complaint(err)
    assert line.startswith("front.jpg: no piece stands out from the ground at these corners; give")
    assert not (folder / "no").exists()
