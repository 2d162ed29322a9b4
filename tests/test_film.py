"""The film: what reaches a watcher, what a frame shows, how large the file is."""

from __future__ import annotations

import sys
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageSequence

from meltwick.cli import main
from meltwick.cli.film import read_seconds
from meltwick.constants import Constants
from meltwick.errors import PlanError, ResourceError
from meltwick.picture import film, spooling
from meltwick.picture.film import MOST_FRAMES, Reel, clock
from meltwick.plan import plan_from_text
from meltwick.simulate import simulate

ROUND = """
[[round]]
fold = [ { kind = "pole", diameter = "33 mm", squeeze = 3 } ]
batch = { time = "24 h" }
  [[round.ice]]
  amount = "300 g"
  [[round.dye]]
  dye = "harbour blue"
  amount = "1 g"
"""


def text(rounds: int = 1) -> str:
    return 'schema = 1\nname = "blue"\nseed = 7\n[garment]\nblank = "bandana"\n' + ROUND * rounds


class Seen:
    """A watcher that keeps the totals of every moment, and a few whole."""

    def __init__(self) -> None:
        self.moments = []
        self.mass = []

    def __call__(self, stage: str, done: int, total: int) -> None:
        pass

    def watch(self, moment) -> None:
        amount = moment.amount()
        assert amount.shape == (moment.cloth.size, len(moment.species))
        assert amount.min() >= 0.0
        self.moments.append(moment)
        fibre = moment.cloth.mass_per_area * moment.cloth.pitch**2 * moment.cloth.dyeable
        self.mass.append(float((amount * fibre[:, None]).sum()))
        self.last = amount


@pytest.fixture(scope="module")
def plan():
    return plan_from_text(text(), "blue.toml")


@pytest.fixture(scope="module")
def seen(plan):
    watcher = Seen()
    watcher.result = simulate(plan, pitch=8e-3, threads=1, observer=watcher)
    return watcher


@pytest.fixture(scope="module")
def reel(plan):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(film, "WIDTH", 360)
        made = Reel(1, "blue")
        simulate(plan, pitch=1e-2, threads=1, observer=made)
        yield made


# ------------------------------------------------------------------------ what is seen


def test_the_clock_runs_through_the_melt_and_the_wait(seen):
    hours = [moment.hours for moment in seen.moments]
    assert hours[0] == 0.0
    assert hours == sorted(hours)
    stages = list(dict.fromkeys(moment.stage for moment in seen.moments))
    assert stages == ["melting", "waiting", "washed"]
    gone = seen.moments[0].ice_gone
    assert gone == pytest.approx(seen.result.rounds[0].melt_hours)
    melted = [moment.hours for moment in seen.moments if moment.stage == "melting"]
    assert melted[-1] == pytest.approx(gone)
    assert hours[-1] == pytest.approx(gone + 24.0)


def test_the_last_moment_is_the_piece(seen):
    assert np.allclose(seen.last, seen.result.fixed.amount, rtol=1e-12, atol=0.0)


def test_no_more_is_shown_than_was_laid_or_than_fibre_holds(seen):
    assert max(seen.mass) <= seen.result.rounds[0].balance.laid * (1.0 + 1e-9)
    most = Constants().sites * seen.result.cloth.fabric.uptake
    amount = seen.moments[-1].amount()
    assert amount.sum(axis=1).max() <= most * (1.0 + 1e-9)


def test_wash_out_takes_away_what_is_loose(seen):
    """What hydrolysed and what is loose leaves: less is left than lay on the cloth before."""
    assert 0.0 < seen.mass[-1] < seen.mass[-2]
    balance = seen.result.rounds[0].balance
    assert seen.mass[-1] == pytest.approx(balance.fixed, rel=1e-9)


def test_watching_changes_nothing(plan, seen):
    alone = simulate(plan, pitch=8e-3, threads=1)
    assert np.array_equal(alone.fixed.amount, seen.result.fixed.amount)


def test_a_plain_observer_sees_no_dye(plan, monkeypatch):
    """Ordinary runs gather nothing for a film."""
    from meltwick.seep import watching

    monkeypatch.setattr(watching, "_on_cloth", lambda march: pytest.fail("dye was gathered"))
    simulate(plan, pitch=1e-2, threads=1, observer=lambda stage, done, total: None)


# ------------------------------------------------------------------------ frames


def cover(frame: np.ndarray) -> float:
    """Part of the picture that is blue."""
    pixels = frame[: frame.shape[0] - 110].astype(int)
    return float((pixels[..., 2] - pixels[..., 0] > 25).mean())


def test_colour_spreads_from_the_powder(reel):
    parts = [cover(reel.frame(n)) for n in range(reel.count)]
    assert parts[0] < parts[reel.count // 2]
    assert max(parts) > 1.5 * parts[0]
    assert parts[-1] <= max(parts)


def test_the_film_ends_with_the_wash(reel):
    """Rinses come last, and the dry piece is held longest."""
    assert reel.lengths[-1] == max(reel.lengths)
    assert reel.ice_gone[0] > 0.0


def test_many_rounds_make_no_more_frames(monkeypatch):
    """Bounded memory: the number of frames does not grow with the rounds."""
    monkeypatch.setattr(film, "WIDTH", 240)
    made = Reel(4, "blue")
    simulate(plan_from_text(text(4), "blue.toml"), pitch=1e-2, threads=1, observer=made)
    assert MOST_FRAMES / 2 <= made.count <= MOST_FRAMES + 4 * 6
    assert len(made.ice_gone) == 4


@pytest.mark.parametrize(
    ("hours", "words"),
    [(0.0, "0 min"), (0.75, "45 min"), (1.0, "1 h 00 min"), (29.999, "30 h 00 min")],
)
def test_the_clock_is_written_out(hours, words):
    assert clock(hours) == words


# ------------------------------------------------------------------------ files


def test_holds_add_up_to_the_length():
    times = spooling.holds([1.0] * 70 + [14.0], 12.0)
    assert sum(times) == 12_000
    assert all(each % 10 == 0 for each in times)
    assert min(spooling.holds([1.0] * 500, 4.0)) == 40


def test_a_gif_is_whole(reel):
    """GIF89a: its frames, their delays and its loop, as Pillow reads them back."""
    content = spooling.gif(reel, 12.0, "blue, seed 7")
    assert content[:6] == b"GIF89a"
    assert content == spooling.gif(reel, 12.0, "blue, seed 7")
    picture = Image.open(BytesIO(content))
    assert picture.size == reel.size
    assert picture.info["loop"] == 0
    assert picture.info["comment"] == b"blue, seed 7"
    shown = [frame.info["duration"] for frame in ImageSequence.Iterator(picture)]
    assert sum(shown) == pytest.approx(12_000, abs=100)  # equal frames are one longer one
    picture.seek(0)
    assert np.abs(np.asarray(picture.convert("RGB")).astype(int) - reel.frame(0)).mean() < 3.0
    corner = np.asarray(picture.convert("RGB"))[2, 2]
    assert tuple(corner) == tuple(reel.frame(0)[2, 2])  # paper stays paper


def test_a_gif_fits_its_size(reel):
    whole = spooling.gif(reel, 12.0, "blue")
    assert len(whole) < spooling.LARGEST
    small = spooling.gif(reel, 12.0, "blue", largest=len(whole) // 3)
    assert len(small) <= len(whole) // 3
    assert Image.open(BytesIO(small)).width < film.WIDTH
    with pytest.raises(ResourceError, match="the film takes more than"):
        spooling.gif(reel, 12.0, "blue", largest=1000)


# ------------------------------------------------------------------------ the command


@pytest.fixture
def run(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    Path("blue.toml").write_text(text())

    def go(*words):
        code = main([str(word) for word in words])
        said = capsys.readouterr()
        return code, said.out, said.err

    return go


def test_the_command_writes_a_film(run, tmp_path):
    code, out, err = run("film", "blue.toml", "--detail", "10 mm", "--seconds", "5")
    assert (code, err) == (0, "")
    assert "film.gif" in out
    assert "The ice is gone after" in out
    assert "as they would look held on the cloth" in out
    assert [path.name for path in (tmp_path / "blue").iterdir()] == ["film.gif"]


def test_without_the_extra_an_mp4_is_refused_before_the_work(run, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "imageio_ffmpeg", None)
    monkeypatch.setattr(spooling, "mp4_missing", lambda: True)
    code, out, err = run("film", "blue.toml", "--mp4")
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert "meltwick[film]" in err
    assert not (tmp_path / "blue").exists()


def test_an_mp4_holds_the_film(reel, tmp_path):
    """Read back by ffmpeg itself, where the extra is installed."""
    ffmpeg = pytest.importorskip("imageio_ffmpeg")
    content = spooling.mp4(reel, 5.0)
    assert content[4:8] == b"ftyp"  # ISO/IEC 14496-12
    (tmp_path / "film.mp4").write_bytes(content)
    frames = ffmpeg.read_frames(str(tmp_path / "film.mp4"))
    data = next(frames)
    frames.close()
    assert data["duration"] == pytest.approx(5.0, abs=0.2)
    assert tuple(data["size"]) == reel.size


@pytest.mark.parametrize("word", ["", "3", "121", "-5", "ten", "nan", "1e2", "9" * 60])
def test_a_bad_length_gets_one_line(word):
    with pytest.raises(PlanError, match=r"--seconds: .* is not a number of seconds from 4 to 120"):
        read_seconds(word)


def test_seconds_are_read():
    assert read_seconds("12") == 12.0
    assert read_seconds("7.5 s") == 7.5
