"""`meltwick guide`: creases where folds come, string as long as geometry says, pictures, words."""

from __future__ import annotations

from itertools import pairwise
from math import cos, hypot, pi, radians, sin
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from meltwick.advice.sizes import weigh
from meltwick.advice.stringing import KNOTS, string_length
from meltwick.cli import main
from meltwick.cloth import build_cloth
from meltwick.folding.creases import CreaseLine
from meltwick.picture.bundle_view import STRING, extent
from meltwick.picture.staging import creases_of, pinches_of, scene_of
from meltwick.plan import plan_from_text, resolve
from meltwick.stock import load_stock
from meltwick.types import Cloth, Recipe

STOCK = load_stock()
PITCH = 4e-3


def recipe_of(turn: str, garment: str = 'blank = "bandana"') -> Recipe:
    return resolve(plan_from_text(f"[garment]\n{garment}\n[[round]]\n{turn}\n", "g.toml"), STOCK)


def cloth_of(recipe: Recipe, pitch: float = PITCH) -> Cloth:
    return build_cloth(recipe.blank, recipe.fabric, pitch)


def creases(turn: str, garment: str = 'blank = "bandana"') -> list[CreaseLine]:
    recipe = recipe_of(turn, garment)
    return creases_of(recipe, 1, cloth_of(recipe))


def long_ones(lines: list[CreaseLine], least: float = 0.1) -> list[CreaseLine]:
    return [line for line in lines if np.hypot(*np.ptp(line.points, axis=0)) > least]


# ------------------------------------------------------------------------------- creases


@pytest.mark.parametrize("pleat", [40, 60, 110])
def test_accordion_creases_stand_a_pleat_apart(pleat: int) -> None:
    lines = creases(f'fold = [{{ kind = "accordion", pleat = "{pleat} mm" }}]')
    recipe = recipe_of("fold = []")
    width = np.ptp([p[0] for p in recipe_outline(recipe)])
    places = sorted((float(line.points[:, 0].mean()), line.towards) for line in long_ones(lines))
    assert len(places) == int(np.ceil(width / (pleat * 1e-3) - 1e-6)) - 1
    steps = np.diff([x for x, _ in places])
    # each line is found to within half a cell
    np.testing.assert_allclose(steps, pleat * 1e-3, atol=PITCH)
    kinds = [towards for _, towards in places]
    assert all(a != b for a, b in pairwise(kinds)), "they alternate"
    for line in long_ones(lines):
        assert np.ptp(line.points[:, 0]) < PITCH  # and run straight along the cloth


def recipe_outline(recipe: Recipe) -> np.ndarray:
    cloth = cloth_of(recipe)
    return np.array(cloth.panels[0].outline.exterior.coords) / 1e3


@pytest.mark.parametrize(("line", "axis"), [("spine", 0), ("waist", 1)])
def test_a_half_fold_is_one_crease(line: str, axis: int) -> None:
    found = long_ones(creases(f'fold = [{{ kind = "halve", line = "{line}" }}]'))
    assert len(found) == 1
    outline = recipe_outline(recipe_of("fold = []"))
    middle = 0.5 * (outline[:, axis].min() + outline[:, axis].max())
    assert float(found[0].points[:, axis].mean()) == pytest.approx(middle, abs=PITCH)


@pytest.mark.parametrize("bias", [20.0, 35.0, 60.0])
def test_pole_creases_run_across_the_pole(bias: float) -> None:
    """Rings round a pole at an angle to the garment's length lie at a right angle to it."""
    lines = long_ones(
        creases(f'fold = [{{ kind = "pole", diameter = "40 mm", bias = "{bias} deg" }}]'), 0.15
    )
    assert len(lines) > 8
    along = np.array([sin(radians(bias)), -cos(radians(bias))])  # of the pole, leaning right
    for line in lines:
        ends = line.points[-1] - line.points[0]
        ends /= np.hypot(*ends)
        # within the width of two cells over the line
        assert abs(ends @ along) < 2 * PITCH / 0.15


def test_front_and_back_fold_opposite_ways() -> None:
    found = creases('fold = [{ kind = "halve" }]', 'blank = "tee"')
    by_panel = {line.panel: line.towards for line in long_ones(found)}
    assert by_panel["front"] != by_panel["back"]


def test_what_hands_do_not_lay_one_by_one_is_not_drawn() -> None:
    for turn in ('fold = [{ kind = "scrunch" }]', 'fold = []\ntie = { kind = "rings" }'):
        assert creases(turn) == []


@pytest.mark.parametrize("pleats", [6, 8, 12])
def test_a_spiral_has_a_ridge_and_a_furrow_for_each_pleat(pleats: int) -> None:
    recipe = recipe_of(f'fold = [{{ kind = "spiral", centre = "middle", pleats = {pleats} }}]')
    lines = creases_of(recipe, 1, cloth_of(recipe, 2e-3))
    (pinch,) = pinches_of(recipe, 1, cloth_of(recipe))
    ring, kinds = 0.06, []
    for line in lines:
        away = np.hypot(*(line.points - pinch.point).T) - ring
        crossings = np.flatnonzero(away[:-1] * away[1:] < 0.0)
        for k in crossings:
            x, y = line.points[k] - pinch.point
            kinds.append((np.arctan2(y, x), line.towards))
    assert len(kinds) == 2 * pleats
    turns = [towards for _, towards in sorted(kinds)]
    assert sum(turns) == pleats
    assert all(a != b for a, b in pairwise(turns))


# ------------------------------------------------------------------------------- string


def test_string_on_a_pole_is_a_helix() -> None:
    """Length of a helix: turns times hypot(girth, spacing), elementary geometry."""
    recipe = recipe_of(
        'fold = [{ kind = "pole", diameter = "60 mm", bias = "0 deg" }]\n'
        'tie = { spacing = "25 mm" }'
    )
    scene = scene_of(recipe, 1, PITCH, neatness=0.0)
    wide, _ = extent(scene, "above")[1], None
    turns = scene.bundle.length / 0.025
    least = turns * hypot(pi * 0.060, 0.025)
    most = turns * hypot(pi * wide, 0.025)
    found = string_length(recipe.rounds[0], weigh(recipe)) - KNOTS
    assert 0.95 * least < found < 1.05 * most


def test_half_the_spacing_takes_twice_the_string() -> None:
    def length(spacing: str, crossed: str = "false") -> float:
        recipe = recipe_of(
            'fold = [{ kind = "accordion", pleat = "6 cm" }]\n'
            f'tie = {{ spacing = "{spacing}", crossed = {crossed} }}'
        )
        return string_length(recipe.rounds[0], weigh(recipe)) - KNOTS

    # a pile of 6 cm pleats is 12 cm round and more; the advance is small beside it
    assert length("1 cm") == pytest.approx(2.0 * length("2 cm"), rel=0.05)
    assert length("2 cm", "true") == pytest.approx(2.0 * length("2 cm"), rel=0.02)


def test_bands_and_clamps_take_no_string() -> None:
    for tie in ('"bands"', '"none"'):
        turn = f'fold = [{{ kind = "spiral" }}]\ntie = {{ kind = {tie} }}'
        recipe = recipe_of(turn, 'blank = "tee"')
        assert string_length(recipe.rounds[0], weigh(recipe)) == 0.0


# ------------------------------------------------------------------------------- pictures


def test_the_bundle_is_as_large_as_it_is() -> None:
    recipe = recipe_of('fold = [{ kind = "pole", diameter = "60 mm", bias = "0 deg" }]')
    scene = scene_of(recipe, 1, PITCH)
    long, wide = extent(scene, "above")
    assert long == pytest.approx(scene.bundle.length, abs=2 * PITCH)
    assert 0.060 < wide < 0.085


def test_powder_lies_where_the_plan_says_and_weighs_as_much() -> None:
    recipe = recipe_of(
        'fold = [{ kind = "pole", diameter = "40 mm" }]\n'
        '[[round.dye]]\ndye = "lemon"\namount = "2 g"\nat = "high"\n'
        '[[round.dye]]\ndye = "coral"\namount = "3 g"\nat = "low"\n'
    )
    scene = scene_of(recipe, 1, PITCH)
    assert [heap.name for heap in scene.heaps] == ["lemon", "coral"]
    assert [float(heap.mass.sum()) for heap in scene.heaps] == pytest.approx([2e-3, 3e-3])
    high, low = (
        float((heap.mass * scene.bundle.along).sum() / heap.mass.sum()) / scene.bundle.length
        for heap in scene.heaps
    )
    assert high > 2 / 3
    assert low < 1 / 3


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_two_pictures_a_round(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (home / "quay.toml").write_text('[garment]\nblank = "bandana"\n[[round]]\n[[round]]\n')
    assert main(["guide", "quay.toml", "--detail", "5 mm"]) == 0
    made = sorted(path.name for path in (home / "quay").iterdir())
    assert made == ["bundle-1.png", "bundle-2.png", "guide-1.png", "guide-2.png"]
    assert "guide-1.png" in capsys.readouterr().out
    with Image.open(home / "quay" / "guide-2.png") as picture:
        assert picture.width == 1600
        assert len(picture.text["meltwick-digest"]) == 64
    first = (home / "quay" / "bundle-1.png").read_bytes()
    assert main(["guide", "quay.toml", "--detail", "5 mm", "--round", "1"]) == 0
    assert (home / "quay" / "bundle-1.png").read_bytes() == first


def test_string_shows_in_both_pictures(home: Path) -> None:
    (home / "quay.toml").write_text(
        '[garment]\nblank = "bandana"\n[[round]]\ntie = { thickness = "8 mm" }\ndye = []\n'
    )
    assert main(["guide", "quay.toml", "--detail", "4 mm"]) == 0
    for name in ("guide.png", "bundle.png"):
        with Image.open(home / "quay" / name) as picture:
            near = np.abs(np.asarray(picture, dtype=float) - STRING).sum(axis=2) < 70.0
        assert near.sum() > 300


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--round", "2"], "there is only one"),
        (["--round", "two"], "no round of this plan"),
        (["--detail", "blurry"], "--detail"),
        (["--out", "quay.toml"], "quay.toml is a file"),
    ],
)
def test_mistakes_are_told_in_one_line(
    home: Path, capsys: pytest.CaptureFixture[str], words: list[str], said: str
) -> None:
    (home / "quay.toml").write_text('[garment]\nblank = "bandana"\n')
    assert main(["guide", "quay.toml", *words]) == 2
    told = capsys.readouterr()
    assert said in told.err
    assert told.err.count("\n") == 1
    assert not (home / "quay").exists()
