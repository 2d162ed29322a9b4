"""A plan that starts from a photographed piece: how it is written, read and simulated."""

from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from tests import photographed

from meltwick.cli import main
from meltwick.colour import delta_e00
from meltwick.colour.standard import decode
from meltwick.errors import MeltwickError, PlanError
from meltwick.photo.starting import from_colours, started
from meltwick.photo.unmixing import UNNAMED
from meltwick.picture import film
from meltwick.plan import canonical, digest, plan_from_text, read_plan, resolve
from meltwick.simulate import simulate, simulate_recipe
from meltwick.stock import load_stock
from meltwick.study import run_hands, store
from meltwick.study.outcome import Task, fulfil, order_of, run_key, start_of
from meltwick.study.queue import run_all
from meltwick.types.seen import PhotoCloth, Start

STOCK = load_stock()
SCHEMA = json.loads((Path(__file__).parents[1] / "docs" / "result.schema.json").read_text("utf-8"))
PITCH = 1e-2
BANDANA = '[garment]\nblank = "bandana"\n'
POLE = """[[round]]
fold = [{ kind = "pole" }]
dye = [{ dye = "coral", amount = "3 g" }]
"""
SPIRAL = """[[round]]
fold = [{ kind = "spiral" }]
dye = [{ dye = "ink", amount = "2 g", at = "all" }]
"""


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(store, "usual_folder", lambda: tmp_path / "cache")
    photographed.use(monkeypatch)
    return tmp_path


def planned(text: str, where: str = "second.toml"):
    return plan_from_text(text, where)


def first_round(blank: str = BANDANA, pitch: float = PITCH):
    """A piece after its first round."""
    return simulate(planned(blank + POLE), pitch=pitch)


def second(blank: str = BANDANA, dyes: str = '["coral"]', more: str = "") -> str:
    return f'start = {{ photo = "front.png", dyes = {dyes}{more} }}\n' + blank + SPIRAL


# ------------------------------------------------------------------------------ how it is written


def test_what_stands_in_the_photographs_counts_and_not_where_they_lie(home: Path) -> None:
    (home / "front.png").write_bytes(b"one")
    (home / "twin").mkdir()
    (home / "twin" / "other.png").write_bytes(b"one")
    here = resolve(planned(second()), STOCK)
    there = resolve(planned(second().replace("front.png", "twin/other.png")), STOCK)
    assert digest(here) == digest(there)
    assert str(home) not in canonical(here)
    (home / "front.png").write_bytes(b"two")
    again = resolve(planned(second()), STOCK)
    assert digest(again) != digest(here)
    named = resolve(planned(second(dyes='["plum"]')), STOCK)
    assert digest(named) != digest(again)
    key = run_key(Task(planned(second()), 1, PITCH))
    (home / "front.png").write_bytes(b"three")
    assert run_key(Task(planned(second() + "# again\n", "x.toml"), 1, PITCH)) != key


def test_a_plan_without_photographs_means_what_it_meant(home: Path) -> None:
    assert '"start"' not in canonical(resolve(planned(BANDANA + POLE), STOCK))


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ('start = { back = "b.png" }', "start.photo: what does the front look like"),
        ('start = { photo = "front.gif" }', "start.photo: 'front.gif' is not a photograph"),
        ("start = { photo = 3 }", "start.photo: 3 is not a photograph"),
        ('start = { photo = "front.png", back = "front" }', "or 'as the front'"),
        ('start = { photo = "front.png", dyes = "coral" }', "is no list of dyes"),
        ('start = { photo = "front.png", dyes = ["coarl"] }', "did you mean 'coral'"),
        ('start = { photo = "none.png" }', "start.photo: there is no photograph 'none.png'"),
        ('start = { photo = "front.png", back = "folder.png" }', "start.back: 'folder.png' is not"),
        ('start = { photo = "empty.png" }', "start.photo: 'empty.png' is empty"),
        ('start = { photo = "front.png", dye = "coral" }', "did you mean 'dyes'"),
        ('start = "front.png"', 'such as { photo = "front.png" }'),
        ('photo = "front.png"', "'photo' goes inside start"),
        ('start = { photo = "front.png" }\ngarment.scoured = false', "garment.scoured"),
    ],
)
def test_what_cannot_be_is_said_in_one_line(home: Path, written: str, said: str) -> None:
    (home / "front.png").write_bytes(b"one")
    (home / "empty.png").touch()
    (home / "folder.png").mkdir()
    with pytest.raises(MeltwickError) as found:
        resolve(planned(written + "\n"), STOCK)
    text = str(found.value)
    assert text.startswith("second.toml: ")
    assert said in text
    assert "\n" not in text
    assert str(home) not in text


def test_a_piece_that_another_plan_names_begins_undyed(home: Path) -> None:
    (home / "front.png").write_bytes(b"one")
    (home / "second.toml").write_text(second())
    for line in ('beside = [{ plan = "second.toml" }]', 'liquor = { plan = "second.toml" }'):
        with pytest.raises(PlanError, match="begins undyed"):
            resolve(planned(f"{BANDANA}[[round]]\n{line}\n", "first.toml"), STOCK)


def test_unscoured_cloth_is_scoured_by_now(home: Path) -> None:
    (home / "front.png").write_bytes(b"one")
    text = second(BANDANA + 'fabric = "raw cotton jersey"\n')
    assert resolve(planned(text), STOCK).fabric.scoured


def test_no_simulation_forgets_the_photographs(home: Path) -> None:
    (home / "front.png").write_bytes(b"one")
    with pytest.raises(PlanError, match="photographs were not read"):
        simulate(planned(second()), pitch=PITCH)


# --------------------------------------------------------------------------------- the same piece


def test_a_photograph_of_undyed_cloth_is_no_start_at_all(home: Path) -> None:
    plan = planned(second())
    cloth = photographed.cloth_of(resolve(planned(BANDANA), STOCK), PITCH)
    photographed.photograph(home / "front.png", cloth, photographed.bare(cloth))
    recipe = resolve(plan, STOCK)
    with_photo = simulate_recipe(recipe, pitch=PITCH, start=start_of(recipe, PITCH))
    without = simulate(planned(BANDANA + SPIRAL), pitch=PITCH)
    assert with_photo.white_share == pytest.approx(without.white_share, abs=0.005)
    assert np.percentile(delta_e00(with_photo.look.lab, without.look.lab), 95) < 1.0


@lru_cache(maxsize=8)
def gained(pitch: float, seed: int) -> float:
    """White that a second round truly adds to the first, by one hand."""
    whole = simulate(planned(BANDANA + POLE + SPIRAL), pitch=pitch, seed=seed)
    return whole.white_share - simulate(planned(BANDANA + POLE), pitch=pitch, seed=seed).white_share


@pytest.mark.slow
@pytest.mark.parametrize("dyes", ['["coral"]', "[]"], ids=["named", "unnamed"])
def test_a_second_round_on_a_photograph_is_nearly_the_true_one(home: Path, dyes: str) -> None:
    """The folds of a second round are another hand's: three hands each, the middle one."""
    pitch = 4e-3  # draft
    piece = first_round(pitch=pitch)
    photographed.photograph_look(home / "front.png", piece.cloth, piece.look)
    recipe = resolve(planned(second(dyes=dyes)), STOCK)
    begun = started(recipe, pitch)
    assert begun is not None
    assert begun.shares.whole["white"] == pytest.approx(piece.white_share, abs=0.01)
    white = {"photo": [], "true": []}
    for seed in (1, 2, 3):
        white["true"].append(gained(pitch, seed))
        over = simulate_recipe(recipe, pitch=pitch, seed=seed, start=begun.dye)
        white["photo"].append(over.white_share - begun.shares.whole["white"])
    assert np.median(white["photo"]) == pytest.approx(np.median(white["true"]), abs=0.03)


def test_what_the_dyes_named_do_not_explain_is_kept_as_a_stain(home: Path) -> None:
    piece = first_round()
    photographed.photograph_look(home / "front.png", piece.cloth, piece.look)
    begun = started(resolve(planned(second(dyes='["tide"]')), STOCK), PITCH)
    assert begun is not None
    assert begun.stained > 0.3
    assert {part.name for part in begun.dye.species} & {part.name for part in UNNAMED}
    seen = piece.cloth.dyeable
    assert np.percentile(delta_e00(begun.look.lab, piece.look.lab)[seen], 90) < 1.5


def test_dye_lies_over_dye(home: Path) -> None:
    """No cell loses dye to a second round, and the first round's share of it stays."""
    piece = first_round()
    photographed.photograph_look(home / "front.png", piece.cloth, piece.look)
    recipe = resolve(planned(second()), STOCK)
    begun = start_of(recipe, PITCH)
    assert begun is not None
    over = simulate_recipe(recipe, pitch=PITCH, start=begun)
    place = {part.name: k for k, part in enumerate(over.fixed.species)}
    for k, part in enumerate(begun.species):
        assert np.all(over.fixed.amount[:, place[part.name]] >= begun.amount[:, k] - 1e-12)
    assert over.rounds[0].balance.relative_error < 1e-9


# ------------------------------------------------------------------------------ what is not seen


def tee_seen(panel: str, pitch: float = PITCH):
    """Front of a tee in one colour, with a hole; its back in another, or not seen."""
    recipe = resolve(planned('[garment]\nblank = "tee"\n'), STOCK)
    cloth = photographed.cloth_of(recipe, pitch)
    linear = photographed.bare(cloth) * np.where(cloth.panel == 0, 0.4, 0.7)[:, None]
    known = cloth.panel == 0 if panel == "front" else np.ones(cloth.size, dtype=bool)
    hole = (np.abs(cloth.x) < 0.05) & (np.abs(cloth.y - 0.3) < 0.05) & (cloth.panel == 0)
    return PhotoCloth(linear, known & ~hole, {"front": ""}), cloth, hole


def test_a_hole_is_filled_from_about_it_and_an_unseen_back_is_undyed() -> None:
    seen, cloth, hole = tee_seen("front")
    found = from_colours(seen, cloth, Start((), (), ()))
    depth = found.dye.amount.sum(axis=1)
    front = (cloth.panel == 0) & cloth.dyeable
    assert hole.any()
    assert np.allclose(depth[front], depth[front][0])
    assert depth[front][0] > 1e-3
    assert not depth[(cloth.panel == 1) | ~cloth.dyeable].any()
    assert found.undyed == ("back",)
    assert found.mirrored == ()


def test_a_back_as_the_front_has_its_dye_at_the_same_place() -> None:
    seen, cloth, _ = tee_seen("front")
    seen.linear[cloth.x > 0.0] *= 0.5
    found = from_colours(seen, cloth, Start((), (), (), unseen="front"))
    depth = found.dye.amount.sum(axis=1)
    takes = cloth.dyeable & (cloth.panel == 1)
    left, right = takes & (cloth.x < -0.02), takes & (cloth.x > 0.02)
    assert depth[left].min() > 0.0
    assert depth[right].min() > 1.2 * depth[left].max()
    assert found.mirrored == ("back",)


def test_a_back_that_is_seen_is_taken_as_it_is() -> None:
    seen, cloth, _ = tee_seen("back")
    found = from_colours(seen, cloth, Start((), (), (), unseen="front"))
    depth = found.dye.amount.sum(axis=1)
    takes = cloth.dyeable
    assert 0.0 < depth[takes & (cloth.panel == 1)].max() < depth[takes & (cloth.panel == 0)].min()
    assert found.undyed == found.mirrored == ()


def test_a_side_that_the_piece_does_not_have_is_said(home: Path) -> None:
    (home / "front.png").write_bytes(b"one")
    recipe = resolve(planned(second(more=', back = "front.png"')), STOCK)
    with pytest.raises(PlanError, match="has no back"):
        started(recipe, PITCH)


def test_a_blend_holds_as_much_dye_on_the_fibre_that_takes_it(home: Path) -> None:
    blank = BANDANA + 'fabric = "cotton polyester 50/50"\n'
    piece = first_round(blank)
    photographed.photograph_look(home / "front.png", piece.cloth, piece.look)
    begun = started(resolve(planned(second(blank)), STOCK), PITCH)
    assert begun is not None
    assert begun.dye.amount.sum() == pytest.approx(piece.fixed.amount.sum(), rel=0.15)


# --------------------------------------------------------------------------------- the commands


@pytest.fixture
def dyed(home: Path) -> Path:
    piece = first_round()
    photographed.photograph_look(home / "front.png", piece.cloth, piece.look)
    (home / "second.toml").write_text(second())
    return home


def test_preview_says_what_it_starts_from(dyed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["preview", "second.toml", "--detail", "10 mm"]) == 0
    out = capsys.readouterr().out
    assert "Before it, front.png shows" in out
    record = json.loads((dyed / "second" / "result.json").read_text("utf-8"))
    jsonschema.Draft202012Validator(SCHEMA).validate(record)
    assert record["white_share"] < record["start"]["white_share"]
    assert record["start"]["unseen"] == []
    assert list(record["start"]["photos"]) == ["front"]


def test_preview_says_what_is_not_seen(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    recipe = resolve(planned('[garment]\nblank = "tee"\n'), STOCK)
    cloth = photographed.cloth_of(recipe, PITCH)
    photographed.photograph(home / "front.png", cloth, 0.5 * photographed.bare(cloth))
    for more, said in (
        ("", "No photograph shows the back: taken as undyed"),
        (', back = "as the front"', "The back is taken to be as the front."),
    ):
        (home / "second.toml").write_text(second('[garment]\nblank = "tee"\n', more=more))
        assert main(["preview", "second.toml", "--detail", "10 mm"]) == 0
        assert said in capsys.readouterr().out


def test_check_tells_to_take_the_piece(dyed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "second.toml"]) == 0
    assert "Take the piece of front.png, a bandana" in capsys.readouterr().out


@pytest.mark.slow
def test_every_way_of_making_it_starts_from_the_photograph(dyed: Path) -> None:
    plan = read_plan("second.toml")
    recipe = resolve(plan, STOCK)
    whole = simulate(plan, pitch=PITCH, start=start_of(recipe, PITCH))
    task = Task(plan, plan.seed, PITCH)
    alone = fulfil(order_of(task))
    assert alone.white == whole.white_share
    assert "coral" in alone.seen
    other = Task(plan, plan.seed + 1, PITCH)
    two = run_all([task, other], store=store.Store(dyed / "cache"), workers=2)
    assert two[0].shares == alone.shares
    hands = run_hands(plan, 2, pitch=PITCH, start=start_of(recipe, PITCH), workers=2)
    assert hands.white == (whole.white_share, two[1].white)


@pytest.mark.slow
def test_film_and_explore_start_from_it_too(
    dyed: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(film, "WIDTH", 360)  # test_film has it in full
    assert main(["film", "second.toml", "--detail", "10 mm", "--seconds", "4"]) == 0
    words = ["explore", "second.toml", "--vary", "pleats=6,12", "--n", "2", "--detail", "10 mm"]
    assert main(words) == 0
    assert "keeps the most white" in capsys.readouterr().out


def test_the_piece_of_a_photograph_is_not_resized(
    dyed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["resize", "second.toml", "--size", "27 in"]) == 2
    assert "has the size it has" in capsys.readouterr().err


def test_a_changed_plan_stays_beside_its_photograph(
    dyed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["explore", "second.toml", "--vary", "pleats=6,12", "--take", "1"]
    assert main([*words, "--out", "away/other.toml"]) == 2
    assert "names front.png" in capsys.readouterr().err


def test_a_photograph_that_went_away_is_said(
    dyed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (dyed / "front.png").unlink()
    assert main(["preview", "second.toml"]) == 2
    assert "second.toml: start.photo: there is no photograph 'front.png'" in capsys.readouterr().err


def test_colours_of_another_cloth_are_refused() -> None:
    seen, cloth, _ = tee_seen("front")
    with pytest.raises(ValueError, match="cells"):
        from_colours(PhotoCloth(seen.linear[:9], seen.known[:9], {}), cloth, Start((), (), ()))


def test_eight_bits_are_enough(home: Path) -> None:
    """A photograph in 8 bits starts with the white share that 16 bits would: within a point."""
    piece = first_round()
    for name, steps in (("front.png", 255.0), ("other.png", 65535.0)):
        srgb = np.rint(steps * piece.look.srgb) / steps
        photographed.photograph(home / name, piece.cloth, decode(srgb))
    one = started(resolve(planned(second()), STOCK), PITCH)
    two = started(resolve(planned(second().replace("front", "other")), STOCK), PITCH)
    assert one is not None
    assert two is not None
    assert one.shares.whole["white"] == pytest.approx(two.shares.whole["white"], abs=0.01)
