"""`meltwick redye`: second rounds that meet a wish, ranked by what they leave light."""

from __future__ import annotations

import csv
import io
import math
import re
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from tests import photographed
from tests.test_starting import BANDANA, PITCH

from meltwick.cli import main
from meltwick.colour import colours, ground_lab
from meltwick.colour.difference import delta_e76
from meltwick.colour.standard import to_srgb
from meltwick.plan import plan_from_text, read_plan, resolve
from meltwick.seep.powder import species_of
from meltwick.shares import PALE, WHITE
from meltwick.simulate import simulate
from meltwick.stock import load_stock
from meltwick.study import store, workers
from meltwick.study.compare import Group, Setting
from meltwick.study.outcome import Outcome
from meltwick.study.redye import FOLDS, amounts, base_text, designs, light_kept, propose
from meltwick.types import Look, Shares

STOCK = load_stock()
START = '{ photo = "front.png", dyes = ["coral"] }'


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(store, "usual_folder", lambda: tmp_path / "cache")
    monkeypatch.setattr(workers, "usable_cores", lambda: 1)  # no processes for so few runs
    photographed.use(monkeypatch)
    (tmp_path / "front.png").write_bytes(b"not looked at")
    return tmp_path


def piece_text(blank: str = "bandana") -> str:
    return base_text(START, [("blank", blank)])


# ------------------------------------------------------------------------------ what stays light


def flat(cloth, lab: list[float]) -> Look:
    """The whole cloth in one colour."""
    every = np.tile(np.asarray(lab, dtype=float), (cloth.size, 1))
    bare = ground_lab(cloth.fabric)
    srgb = to_srgb(bare[None])[0]
    return Look(to_srgb(every), every, delta_e76(every, bare), tuple(srgb.tolist()))


def encoded(look: Look) -> np.ndarray:
    return np.rint(65535.0 * look.srgb).astype(np.uint16)


def test_what_was_pale_counts_if_it_stays_light_or_of_its_hue() -> None:
    """A pale blue: left as it is, made deeper blue, covered with red, made grey."""
    recipe = resolve(plan_from_text(BANDANA, "x.toml"), STOCK)
    cloth = photographed.cloth_of(recipe, PITCH)
    light, *_ = ground_lab(recipe.fabric)
    before = flat(cloth, [light - 5.0, -2.0, -8.0])
    assert WHITE < before.delta[0] <= PALE
    assert light_kept(cloth, before, encoded(before)) == 1.0
    deeper = flat(cloth, [light - 30.0, -7.0, -28.0])
    assert light_kept(cloth, before, encoded(deeper)) == 1.0
    for covered in ([light - 40.0, 50.0, 20.0], [light - 40.0, 0.0, 0.0]):
        assert light_kept(cloth, before, encoded(flat(cloth, covered))) == 0.0
    half = encoded(before)
    left = cloth.x < 0.0
    half[left] = encoded(flat(cloth, [light - 40.0, 50.0, 20.0]))[left]
    assert light_kept(cloth, before, half) == pytest.approx(0.5, abs=0.02)


def test_without_pale_cloth_nothing_can_stay_light() -> None:
    recipe = resolve(plan_from_text(BANDANA, "x.toml"), STOCK)
    cloth = photographed.cloth_of(recipe, PITCH)
    bare = ground_lab(recipe.fabric)
    assert light_kept(cloth, flat(cloth, bare), encoded(flat(cloth, bare))) is None


def test_more_of_the_same_dye_keeps_its_hue() -> None:
    """Of a dye with one component, which keeps its hue by the model's own colours."""
    recipe = resolve(plan_from_text(BANDANA, "x.toml"), STOCK)
    cloth = photographed.cloth_of(recipe, PITCH)
    dye = next(dye for dye in STOCK.dyes.values() if len(dye.parts) == 1)
    species = species_of((dye,))
    pale, deep = colours(species, np.array([[2e-4], [3e-3]]), recipe.fabric)
    assert light_kept(cloth, flat(cloth, pale), encoded(flat(cloth, deep))) == 1.0


# --------------------------------------------------------------------------------- the designs


@pytest.mark.parametrize("blank", ["bandana", "tee", "tote"])
def test_every_design_is_a_plan_that_starts_from_the_photograph(home: Path, blank: str) -> None:
    found = designs(piece_text(blank), "redye.toml", ["plum", "tide"], 12)
    assert len(found.settings) == 12
    assert {each.values["fold"] for each in found.settings} == set(FOLDS)
    for text in found.texts:
        assert text.startswith("start = { photo")
        plan = plan_from_text(text, "redye.toml")
        assert plan.start is not None
        assert len(plan.round) == 1


@pytest.mark.parametrize("blank", ["bandana", "tee", "sock"])
def test_amounts_rise_in_steps_that_a_scale_shows(home: Path, blank: str) -> None:
    name = next(each for each in STOCK.blanks if each.startswith(blank))
    grams = [
        float(each.removesuffix(" g"))
        for each in amounts(
            resolve(plan_from_text(base_text(START, [("blank", name)]), "x.toml"), STOCK)
        )
    ]
    assert grams == sorted(set(grams))
    assert 15 <= len(grams) <= 30
    assert max(np.diff(np.log(grams))) < math.log(1.3)


def made_up(setting: Setting, pitch: float, white_now: float, seed: int = 1) -> Outcome:
    """A piece by a rule of thumb: powder takes white away, more where it lies all over."""
    values = setting.values
    grams = float(values["powder"].removesuffix(" g"))
    rate = (0.5 if values["at"] == "all" else 0.2) * (1.0 + FOLDS.index(values["fold"]))
    white = white_now * math.exp(-rate * grams) + 2.0 * (pitch - 4e-3)
    rest = (1.0 - white) / 3.0
    whole = {"white": white, "pale": rest, "mid": rest, "deep": rest}
    shares = Shares(whole, {}, {}, {}, None, 1.0)
    return Outcome(
        setting.plan.name,
        "0" * 64,
        seed,
        pitch,
        shares,
        {},
        "pole",
        0.0,
        0.0,
        (1.0,),
        1.0,
        np.zeros((4, 3), np.uint16),
    )


def rounds(wish: float, white_now: float = 0.6, count: int = 5, light=lambda group: 0.5):
    calls = []

    def make(settings, pitch):
        calls.append((len(settings), pitch))
        return [Group(each, (made_up(each, pitch, white_now),)) for each in settings]

    dyes = ["plum", "tide", "fern"]
    found = propose(piece_text(), "redye.toml", wish, dyes, count, 4e-3, make, light)
    return found, calls


@pytest.mark.parametrize("wish", [0.1, 0.3, 0.5])
def test_the_amount_is_found_that_meets_the_wish(home: Path, wish: float) -> None:
    found, calls = rounds(wish)
    assert len(found) == 5
    assert found[0].met
    assert [each.group.setting.number for each in found] == [1, 2, 3, 4, 5]
    for each in found:
        assert each.met is (abs(each.group.median() - wish) <= 0.02)
        grams = each.group.setting.values["powder"]
        assert f'amount = "{grams}"' in each.text
    assert sum(each.met for each in found) >= 4
    assert len([1 for _, pitch in calls if pitch == 4e-3]) <= 3  # at the fine detail, three goes


def test_what_stays_light_ranks_those_that_meet_the_wish(home: Path) -> None:
    found, _ = rounds(0.3, light=lambda group: FOLDS.index(group.setting.values["fold"]) / 4.0)
    met = [each for each in found if each.met]
    names = [tuple(each.group.setting.values[key] for key in ("fold", "at", "dye")) for each in met]
    firsts = [each for n, each in enumerate(met) if names[n] not in names[:n]]
    light = [each.light for each in firsts]
    assert light == sorted(light, reverse=True)
    assert [each.met for each in found] == sorted((each.met for each in found), reverse=True)


def test_out_of_reach_is_told_by_the_nearest(home: Path) -> None:
    found, _ = rounds(0.55, white_now=0.3)
    assert not any(each.met for each in found)
    misses = [each.miss for each in found]
    assert misses[0] == min(misses)


# --------------------------------------------------------------------------------- the command


@pytest.mark.slow
def test_rounds_over_a_made_piece(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    first = '[[round]]\ndye = [{ dye = "coral", amount = "0.5 g", at = "high" }]\n'
    piece = simulate(plan_from_text(BANDANA + first, "first.toml"), pitch=PITCH)
    photographed.photograph_look(home / "front.png", piece.cloth, piece.look)
    assert piece.white_share > 0.3
    wish = f"{100 * piece.white_share - 15:.0f}%"
    words = ["redye", "front.png", "--white", wish, "--blank", "bandana", "--was", "coral"]
    words += ["--dyes", "plum, tide", "--n", "2", "--detail", "10 mm"]
    assert main(words) == 0
    out = capsys.readouterr().out
    assert "Now front.png shows" in out
    assert re.search(r"#1 \w+, [\w ]+, \w+, (plum|tide), [\d.]+ g", out)
    folder = home / "front-redye"
    with Image.open(folder / "redye.png") as sheet:
        assert sheet.width == 1600
        assert "front.png" in sheet.text["Title"]
    rows = list(csv.DictReader(io.StringIO((folder / "redye.csv").read_text("utf-8"))))
    assert [row["number"] for row in rows] == ["1", "2"]
    assert rows[0]["meets the wish"] == "yes"
    for number in (1, 2):
        path = folder / f"front-redye-{number}.toml"
        assert path.read_text("utf-8").startswith('start = { photo = "../front.png"')
        plan = read_plan(path)
        assert resolve(plan, STOCK).start is not None
    # the plan makes the piece that was shown
    assert main(["preview", str(folder / "front-redye-1.toml"), "--detail", "10 mm"]) == 0
    told = re.search(r"(\d+) : (\d+) dyed to white", capsys.readouterr().out)
    assert told
    assert float(told[2]) == pytest.approx(float(rows[0]["white %"]), abs=0.51)
    # once more: what is there is left as it was
    assert main(words) == 2
    assert "is here already and was left as it is" in capsys.readouterr().err


def test_more_white_than_there_is_cannot_be_reached(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    recipe = resolve(plan_from_text(BANDANA, "x.toml"), STOCK)
    cloth = photographed.cloth_of(recipe, PITCH)
    shade = np.where(cloth.x < 0.0, 1.0, 0.4)[:, None]
    photographed.photograph(home / "front.png", cloth, shade * photographed.bare(cloth))
    words = ["redye", "front.png", "--blank", "bandana", "--white", "80%", "--detail", "10 mm"]
    assert main(words) == 3
    said = capsys.readouterr().err
    assert "80 % white cannot be reached: the piece shows 50 %" in said
    assert not (home / "front-redye").exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["front.png"], "--white"),
        (["front.png", "--white", "lots"], "--white: 'lots' is not a share"),
        (["front.png", "--white", "20%", "--n", "0"], "--n: '0' is not a whole number"),
        (["front.png", "--white", "20%", "--dyes", "plumm"], "--dyes: no dye 'plumm'"),
        (["front.png", "--white", "20%", "--was", "coral,,"], "--was: 'coral,,' has an empty name"),
        (["none.png", "--white", "20%"], "PHOTO: there is no photograph 'none.png'"),
        (["front.gif", "--white", "20%"], "'front.gif' is not a photograph"),
        (["front.png", "--white", "20%", "--blank", "teee"], "--blank: no blank 'teee'"),
        (["front.png", "--white", "20%", "--back", "gone.jpg"], "--back: there is no photograph"),
    ],
)
def test_what_cannot_be_is_said_in_one_line(
    home: Path, capsys: pytest.CaptureFixture[str], words: list[str], said: str
) -> None:
    assert main(["redye", *words]) == 2
    err = capsys.readouterr().err.strip()
    assert said in err
    assert "\n" not in err
    assert sorted(path.name for path in home.iterdir() if path.name != "cache") == ["front.png"]
