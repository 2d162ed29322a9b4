"""`preview --hands`: the picture of three pieces, the words, the numbers, and how it fails."""

import contextlib
import json
import os
import re
import signal
import subprocess
import sys
import time
from dataclasses import replace
from io import BytesIO
from multiprocessing import active_children
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from PIL import Image
from tests.processes import SEEN, alive, children, gone

from meltwick.cli import machine, main
from meltwick.cli.words import doubt_sentence, likeness_line, sentence
from meltwick.picture import draw_hands, draw_preview, hands_png
from meltwick.picture.preview import DPI, INK, LONG_SIDE, PAPER
from meltwick.plan import plan_from_text
from meltwick.study import Spread, model_doubt, run_hands

TEXT = 'name = "cove"\nseed = 3\n[garment]\nblank = "bandana"\n'
DETAIL = "8 mm"
SCHEMA = json.loads((Path(__file__).parents[1] / "docs" / "result.schema.json").read_text("utf-8"))
MAIN, LIGHT, DARK = (0.20, 0.35, 0.30), (0.70, 0.30, 0.30), (0.15, 0.10, 0.45)


def flat(colour):
    return lambda x, y, panel: np.tile(np.asarray(colour, dtype=float), (len(x), 1))


def where(picture, colour):
    """Which pixels have a colour, in encoded sRGB."""
    wanted = np.rint(255 * np.array(colour))
    return np.abs(np.asarray(picture).astype(int) - wanted).max(axis=-1) <= 1


# ---------------------------------------------------------------------------- the picture


@pytest.fixture(scope="module")
def pieces(make_result):
    def make(blank):
        return [make_result(flat(colour), blank=blank) for colour in (MAIN, LIGHT, DARK)]

    return make


@pytest.mark.parametrize("blank", ["tee", "bandana"])
@pytest.mark.parametrize("plain", [False, True])
def test_size_and_border(pieces, blank, plain):
    picture = draw_hands(*pieces(blank), 5, plain=plain)
    assert picture.mode == "RGB"
    assert max(picture.size) == LONG_SIDE
    assert picture.info["dpi"] == (DPI, DPI)
    p = np.asarray(picture)
    for rim in (p[:8], p[-8:], p[:, :8], p[:, -8:]):
        assert (rim == PAPER).all()


@pytest.mark.parametrize(("blank", "way"), [("tee", "below"), ("bandana", "beside")])
def test_three_pieces_in_their_places(pieces, blank, way):
    """Areas in pixels: the small ones are alike and about a sixth (0.42 squared) of the large."""
    picture = draw_hands(*pieces(blank), 5, plain=True)
    large, light, dark = (where(picture, colour) for colour in (MAIN, LIGHT, DARK))
    assert light.sum() == pytest.approx(dark.sum(), rel=0.02)
    assert light.sum() / large.sum() == pytest.approx(0.42**2, rel=0.05)
    left, (low, right) = np.argwhere(large).min(axis=0)[1], np.argwhere(large).max(axis=0)
    for small in (light, dark):
        first = np.argwhere(small).min(axis=0)
        assert first[1] > right if way == "beside" else first[0] > low
    across = [np.argwhere(small)[:, 1].mean() for small in (light, dark)]
    down = [np.argwhere(small)[:, 0].mean() for small in (light, dark)]
    if way == "beside":  # the lightest above, the darkest below
        assert down[0] < down[1]
        assert across[0] == pytest.approx(across[1], abs=2.0)
    else:  # the lightest left, the darkest right
        assert across[0] < across[1]
        assert down[0] == pytest.approx(down[1], abs=2.0)
    most = max(right, np.argwhere(dark).max(axis=0)[1])
    assert left == pytest.approx(LONG_SIDE - 1 - most, abs=3)  # margins are alike


def test_the_large_piece_of_a_shirt_is_as_large_as_alone(pieces):
    three = pieces("tee")
    alone = where(draw_preview(three[0], plain=True), MAIN).sum()
    assert where(draw_hands(*three, 5, plain=True), MAIN).sum() == alone


@pytest.mark.parametrize("blank", ["tee", "bandana"])
def test_the_scale_bar_is_the_large_pieces(pieces, blank):
    """The bar, 10 cm, against the piece's own width: both measured in pixels."""
    three = pieces(blank)
    picture = draw_hands(*three, 5, plain=True)
    p = np.asarray(picture).astype(int)
    row = p[p.shape[0] - 40, : p.shape[1] // 3]
    dark = np.flatnonzero(row.sum(axis=-1) < sum(INK) + 120)
    run = dark[: np.argmax(np.diff(np.append(dark, 10**6)) > 1) + 1]
    seen = where(picture, MAIN)
    if blank == "tee":
        seen[:, p.shape[1] // 2 :] = False
    columns = np.flatnonzero(seen.any(axis=0))
    bounds = three[0].cloth.panels[0].outline.bounds
    scale = (columns[-1] - columns[0] + 1) / (bounds[2] - bounds[0])
    assert len(run) / scale == pytest.approx(100.0, rel=0.03)


def test_labels_say_how_many_and_which(pieces):
    three = pieces("bandana")
    pictures = {draw_hands(*three, count, plain=True).tobytes() for count in (4, 5)}
    other = [three[0], replace(three[1], seed=9), three[2]]
    assert len(pictures | {draw_hands(*other, 5, plain=True).tobytes()}) == 3


def test_same_results_same_bytes_with_marks_inside(pieces):
    three = pieces("bandana")
    made = [hands_png(*three, (0.5, 0.25, 0.75), version="9.9", plain=True) for _ in range(2)]
    assert made[0] == made[1]
    with Image.open(BytesIO(made[0])) as read:
        notes = read.text
    assert notes["meltwick-hands"] == "0.5000 0.2500 0.7500"
    assert notes["meltwick-digest"] == three[0].digest
    assert notes["meltwick-seed"] == "7"


# ---------------------------------------------------------------------------- the words


def spread_of(result, *white):
    return Spread(tuple(range(7, 7 + len(white))), white, result, result, result)


def test_the_sentence_of_several_hands(make_result):
    result = make_result()
    shown = sentence(result, spread_of(result, 0.52, 0.47, 0.58, 0.5, 0.53))
    assert shown.startswith(
        "Expect about half white: five hands gave 47 to 58 %, 52 % in the middle. "
        "The piece drawn large is "
    )
    assert "dyed to white" in shown


def test_the_doubt_in_words(make_result, monkeypatch):
    """The worked example: hands at 47 to 58 % and 12 points of doubt make 35 to 70 %."""
    monkeypatch.setattr("meltwick.study.doubt.model_doubt", lambda fold="": 0.12)
    monkeypatch.setattr("meltwick.study.model_doubt", lambda fold="": 0.12)
    result = make_result()
    several = doubt_sentence(result, spread_of(result, 0.47, 0.58))
    assert "not yet checked against your own pieces" in several
    assert "about 12 points" in several
    assert "say 35 to 70 % white." in several
    whole = {"white": 0.5, "pale": 0.1, "mid": 0.1, "deep": 0.3}
    one = doubt_sentence(replace(result, shares=replace(result.shares, whole=whole)))
    assert "not yet checked against your own pieces" in one
    assert "say 38 to 62 % white for this hand" in one
    assert "--hands 5" in one


def test_hands_that_agree_are_not_given_a_range(make_result):
    result = make_result()
    shown = sentence(result, spread_of(result, 0.471, 0.472))
    assert "two hands gave 47 %. The piece" in shown


@pytest.mark.parametrize(
    ("likeness", "word"),
    [(0.0, "hardly"), (0.31, "hardly"), (0.34, "somewhat"), (0.66, "somewhat"), (0.9, "very")],
)
def test_likeness_in_words(make_result, likeness, word):
    result = make_result()
    shares = replace(result.shares, front_back_likeness=likeness, left_right_likeness=0.5)
    line = likeness_line(replace(result, shares=shares))
    assert line == (
        f"Front and back are {word} alike ({round(100 * likeness)} %); "
        "left and right are somewhat alike (50 %)."
    )
    shares = replace(shares, front_back_likeness=None)
    line = likeness_line(replace(result, shares=shares))
    assert line == "Left and right are somewhat alike (50 %)."


# ---------------------------------------------------------------------------- the command


@pytest.fixture
def run(tmp_path, monkeypatch, capsys):
    """Run the command in an empty folder with the plan of this file."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(machine, "prepare_kernels", lambda: None)
    (tmp_path / "cove.toml").write_text(TEXT, "utf-8")

    def go(*words):
        code = main([str(word) for word in words])
        text = capsys.readouterr()
        return code, text.out, text.err

    return go


@pytest.mark.parametrize("word", ["0", "26", "-1", "1.5", "five", "", "9" * 5000])
def test_wrong_numbers_of_hands(run, word, tmp_path):
    code, out, err = run("preview", f"--hands={word}")
    assert (code, out) == (2, "")
    assert len(err.splitlines()) == 1
    assert "--hands" in err
    assert "from 1 to 25" in err
    assert [p.name for p in tmp_path.iterdir()] == ["cove.toml"]


@pytest.fixture(scope="module")
def spread():
    return run_hands(plan_from_text(TEXT, "cove.toml"), 3, pitch=8e-3, workers=1)


def test_preview_of_three_hands(run, tmp_path, spread):
    code, out, err = run("preview", "cove.toml", "--detail", DETAIL, "--hands", 3)
    assert (code, err) == (0, "")
    assert "three hands gave " in out
    assert "not yet checked against your own pieces" in out
    assert re.search(r"Left and right are \w+ alike \(\d+ %\)\.", out)
    record = json.loads((tmp_path / "cove" / "result.json").read_text("utf-8"))
    jsonschema.Draft202012Validator(SCHEMA).validate(record)
    assert record["hands"] == 3
    assert record["seed"] == 3
    shares = [each["white_share"] for each in record["white_by_hand"]]
    assert shares == pytest.approx(spread.white, abs=1e-6)
    assert [each["seed"] for each in record["white_by_hand"]] == [3, 4, 5]
    assert record["white_median"] == pytest.approx(sorted(spread.white)[1], abs=1e-6)
    assert record["white_range"] == pytest.approx([spread.low, spread.high], abs=1e-6)
    doubt = model_doubt(spread.main.fold)
    ends = [max(0.0, spread.low - doubt), min(1.0, spread.high + doubt)]
    assert record["white_range_with_doubt"] == pytest.approx(ends, abs=1e-6)
    with Image.open(tmp_path / "cove" / "preview.png") as picture:
        assert max(picture.size) == LONG_SIDE
        assert picture.text["meltwick-hands"] == " ".join(f"{w:.4f}" for w in spread.white)


def test_json_of_hands_is_alone_on_standard_output(run, tmp_path):
    words = ("preview", "cove.toml", "--detail", DETAIL, "--hands", "2", "--seed", "9", "--json")
    code, out, err = run(*words)
    assert (code, err) == (0, "")
    record = json.loads(out)
    assert record == json.loads((tmp_path / "cove" / "result.json").read_text("utf-8"))
    assert [each["seed"] for each in record["white_by_hand"]] == [9, 10]


def test_one_hand_has_no_median(run):
    code, out, _ = run("preview", "cove.toml", "--detail", DETAIL, "--json")
    assert code == 0
    record = json.loads(out)
    jsonschema.Draft202012Validator(SCHEMA).validate(record)
    assert record["hands"] == 1
    assert record["white_median"] is record["white_range"] is None
    low, high = record["white_range_with_doubt"]
    assert low <= record["white_share"] <= high
    assert high == pytest.approx(record["white_share"] + model_doubt("pole"), abs=1e-5)


def test_a_killed_worker_ends_in_one_line(run, tmp_path, monkeypatch):
    def kill(stages, *told):
        if children := active_children():
            children[-1].kill()

    monkeypatch.setattr("meltwick.study.workers.usable_cores", lambda: 2)
    monkeypatch.setattr("meltwick.cli.progress.Stages.__call__", kill)
    code, out, err = run("preview", "cove.toml", "--detail", DETAIL, "--hands", 3)
    assert (code, out) == (4, "")
    assert len(err.splitlines()) == 1
    assert "ended from outside" in err
    assert "Traceback" not in err
    assert not (tmp_path / "cove").exists()
    assert active_children() == []


@contextlib.contextmanager
def started(folder, *words):
    """The command with two workers, in a group of its own as a terminal does; ended with it.

    Where the tests run with interrupts ignored, as in the background of a shell, it would inherit
    that, and run on for as long as its plan takes.
    """
    (folder / "cove.toml").write_text(TEXT, "utf-8")
    code = (
        "import sys, meltwick.study.workers as w; from meltwick.cli import main;"
        f"w.usable_cores = lambda: 2; sys.exit(main({['preview', 'cove.toml', *words]!r}))"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code],
        cwd=folder,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    ) as process:
        try:
            yield process
        finally:
            if process.poll() is None:
                os.killpg(process.pid, signal.SIGKILL)


def workers_of(process):
    """Its two workers and their keeper, once they are there."""
    end = time.monotonic() + 60.0
    while len(found := children(process.pid)) < 3 and time.monotonic() < end:
        time.sleep(0.01)
    return found


@pytest.mark.skipif(not SEEN, reason="needs /proc")
@pytest.mark.parametrize("later", [0.0, 0.3, 2.5], ids=["born", "loading", "at work"])
def test_an_interrupt_ends_all_at_once(tmp_path, later):
    """As a terminal does it: the signal goes to every process of the group."""
    with started(tmp_path, "--detail", "1 mm", "--hands", "25") as process:
        workers = workers_of(process)
        time.sleep(later)
        os.killpg(process.pid, signal.SIGINT)
        sent = time.monotonic()
        out, err = process.communicate(timeout=30)
    assert time.monotonic() - sent < 5.0
    assert process.returncode == 130
    assert out == ""
    assert err == "meltwick: interrupted; nothing was written\n"
    assert not (tmp_path / "cove").exists()
    assert gone(workers, 5.0)


@pytest.mark.skipif(not SEEN, reason="needs /proc")
def test_workers_leave_an_interrupt_to_the_one_who_asked(tmp_path):
    """A worker that hears it first, even while it loads, neither dies of it nor speaks."""
    with started(tmp_path, "--detail", DETAIL, "--hands", "2", "--json") as process:
        workers = workers_of(process)
        for _ in range(40):
            for pid in filter(alive, workers):
                with contextlib.suppress(ProcessLookupError):
                    os.kill(pid, signal.SIGINT)
            time.sleep(0.02)
        out, err = process.communicate(timeout=120)
    assert (process.returncode, err) == (0, "")
    assert json.loads(out)["hands"] == 2


# ---------------------------------------------------------------------------- the machine


def test_as_many_workers_as_cores_and_memory_bear(monkeypatch):
    from meltwick.plan import resolve
    from meltwick.stock import load_stock

    recipe = resolve(plan_from_text(TEXT, "cove.toml"), load_stock())
    one = machine.memory_needed(1e5, machine.species_count(recipe))
    pitch = 0.01 * (machine._coarse_cells(recipe) / 1e5) ** 0.5
    monkeypatch.setattr("meltwick.study.workers.usable_cores", lambda: 8)
    for free, wanted in ((100.0, 5), (3.5, 3), (1.01, 1), (0.2, 1)):
        monkeypatch.setattr(machine, "memory_free", lambda free=free: free * one)
        assert machine.workers_for(recipe, pitch, 5) == wanted
    monkeypatch.setattr(machine, "memory_free", lambda: 100.0 * one)
    monkeypatch.setattr("meltwick.study.workers.usable_cores", lambda: 2)
    assert machine.workers_for(recipe, pitch, 5) == 2


def test_free_memory_is_part_of_all():
    assert 0.0 < machine.memory_free() <= machine.memory_here()


@pytest.mark.skipif(not SEEN, reason="needs /proc")
def test_a_folder_that_only_seems_writable_is_refused_before_the_work(run, monkeypatch):
    monkeypatch.setattr("meltwick.simulate.simulate", lambda *a, **k: pytest.fail("ran"))
    code, out, err = run("preview", "cove.toml", "--out", "/proc/cove")
    assert (code, out) == (2, "")
    assert len(err.splitlines()) == 1
    assert "/proc/cove" in err or "/proc" in err


def test_looking_at_the_folder_leaves_nothing_behind(tmp_path):
    from meltwick.cli.writing import check_folder

    (tmp_path / "mine.txt").write_text("mine")
    for folder in (tmp_path, tmp_path / "new" / "er"):
        check_folder(folder, ("preview.png",))
    assert [p.name for p in tmp_path.iterdir()] == ["mine.txt"]
