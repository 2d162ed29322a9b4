"""One contract for every fold, tie, blank, fabric and dye there is; none is left out.

What there is, is asked of the program: the members of `types.Fold` and `types.Tie`, the folds and
ties that a plan may name, the stock. A new fold or tie needs its line in `FOLDS` or `TIES`, and a
check fails until it has one; a new blank, size, fabric or dye needs nothing here. Cells are as
coarse as they come: this asks whether a part keeps the rules, not what it looks like.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from functools import cache
from io import BytesIO
from itertools import product
from pathlib import Path
from types import NoneType
from typing import Any, get_args

import jsonschema
import numba
import numpy as np
import pytest
from PIL import Image
from shapely.geometry import Point
from tests.whole import check_bundle, same

from meltwick import __version__
from meltwick.advice import advise, describe
from meltwick.bundle import build_bundle
from meltwick.cli import main
from meltwick.cli.report import as_text, report
from meltwick.cloth import build_cloth
from meltwick.colour import swatch
from meltwick.colour.spectra import strengths
from meltwick.constants import Constants
from meltwick.errors import PlanError
from meltwick.picture import preview_png
from meltwick.picture.preview import LONG_SIDE
from meltwick.plan import digest, plan_from_text, resolve, words
from meltwick.plan.folds import Fold as PlanFold
from meltwick.seep.levels import DRAFT
from meltwick.seep.transport import March
from meltwick.shares import CLASSES
from meltwick.simulate import simulate
from meltwick.stock import load_stock
from meltwick.types import (
    Accordion,
    BandTie,
    Bundle,
    Clamps,
    Cloth,
    Fold,
    Halve,
    PoleWrap,
    Recipe,
    Result,
    Rope,
    Rosettes,
    Round,
    Scrunch,
    Spiral,
    Stitching,
    StringTie,
    Tie,
    TiedRings,
    TubeWrap,
)

PITCH, DETAIL = 10e-3, "10 mm"
CONSTANTS = Constants()
SCHEMA = Path(__file__).parents[1] / "docs" / "result.schema.json"
CHECK = jsonschema.Draft202012Validator(json.loads(SCHEMA.read_text("utf-8")))
STOCK = load_stock()
HALVED = '{ kind = "halve" }'


@dataclass(frozen=True)
class Shown:
    """Examples of a fold or a tie as plans have them, and the word that `check` tells it by."""

    told_by: str
    examples: tuple[str, ...]  # lines of a round


FOLDS: dict[type, Shown] = {
    Halve: Shown(
        "in half",
        (f"fold = [{HALVED}]", 'fold = [{ kind = "halve", line = "waist", moves = "top" }]'),
    ),
    PoleWrap: Shown(
        "pole",
        (
            'fold = [{ kind = "pole" }]',
            'fold = [{ kind = "pole", diameter = "6 cm", bias = "90 deg", even = true }]',
            f'fold = [{HALVED}, {{ kind = "pole", bias = "0 deg", starts_at = "shoulder" }}]\n'
            'outside = "back"',
        ),
    ),
    Accordion: Shown(
        "pleats",
        (
            'fold = [{ kind = "accordion" }]',
            f'fold = [{HALVED}, {{ kind = "accordion", creases = "slanting", lean = "left" }}]\n'
            'outside = "back"',
            'fold = [{ kind = "accordion", pleat = "10 cm" }, '
            '{ kind = "accordion", pleat = "10 cm", creases = "across" }]\n'
            'rest = { lies = "flat" }',
        ),
    ),
    Spiral: Shown(
        "disc",
        (
            'fold = [{ kind = "spiral" }]',
            'fold = [{ kind = "spiral", centre = "5 cm below the middle", pleats = 20, '
            'turns = 1.5, height = "3 cm", twist = "left" }]\noutside = "back"',
            f'fold = [{HALVED}, {{ kind = "spiral", pleats = 10 }}]',
        ),
    ),
    TubeWrap: Shown(
        "over a pole",
        (
            'fold = [{ kind = "tube" }]',
            'fold = [{ kind = "tube", diameter = "8 cm", sewn = true, even = true }]\n'
            'outside = "back"',
        ),
    ),
    Rosettes: Shown(
        "small spirals",
        (
            'fold = [{ kind = "rosettes" }]',
            f'fold = [{HALVED}, {{ kind = "rosettes", spacing = "20 cm", turns = 1, '
            'height = "4 cm", twist = "left" }]\noutside = "back"',
        ),
    ),
    Rope: Shown(
        "long bundle",
        (
            'fold = [{ kind = "rope" }]',
            f'fold = [{HALVED}, {{ kind = "rope", way = "across", width = "6 cm", turns = 2, '
            'doubled = false, twist = "left" }]',
        ),
    ),
    Scrunch: Shown(
        "mound",
        (
            'fold = [{ kind = "scrunch" }]',
            f'fold = [{HALVED}, {{ kind = "scrunch", draw = 2, bump = "5 cm" }}]',
        ),
    ),
}

TIES: dict[type, Shown] = {
    StringTie: Shown(
        "string",
        (
            'tie = { kind = "string", spacing = "4 cm" }',
            'tie = { kind = "string", spacing = "2 cm", pull = "loose", thickness = "4 mm" }',
            'tie = { kind = "string", spacing = "3 cm", crossed = true }',
        ),
    ),
    BandTie: Shown(
        "band",
        (
            'tie = { kind = "bands" }',
            'tie = { kind = "bands", count = 1, width = "10 mm", pull = "very tight" }',
        ),
    ),
    Clamps: Shown(
        "clamp",
        (
            'tie = { kind = "clamps", shape = "disc", size = "2 cm" }',
            'tie = { kind = "clamps", shape = "bar", size = "5 cm", at = [0.4, 0.3], '
            'turn = "20 deg", force = "very tight" }',
            'tie = { kind = "clamps", shape = "triangle", size = "4 cm" }',
        ),
    ),
    TiedRings: Shown(
        "peak",
        (
            'tie = { kind = "rings", spots = "middle" }',
            'tie = { kind = "rings", spots = ["5 cm below the top", "middle"], from_tip = "3 cm", '
            'times = 2, apart = "2 cm", wound = 4, pull = "very tight" }',
            'tie = { kind = "rings", every = "10 cm", from_tip = "4 cm", wound = 3 }',
            'tie = { kind = "rings", outline = "square", capped = true, wound = 2 }',
        ),
    ),
    Stitching: Shown(
        "stitch",
        (
            'tie = { kind = "stitching", stitch = "3 cm", spacing = "6 cm" }',
            'tie = { kind = "stitching", rows = "along", stitch = "4 cm", pull = "snug" }',
            'tie = { kind = "stitching", line = ["middle", "4 cm above the middle"] }',
        ),
    ),
    NoneType: Shown("", ('tie = { kind = "none" }',)),
}

FOLDED = {f"{t.__name__} {n}": x for t in FOLDS for n, x in enumerate(FOLDS[t].examples, 1)}
TIED = {f"{t.__name__} {n}": x for t in TIES for n, x in enumerate(TIES[t].examples, 1)}
SMALL = 'blank = "scarf"\nsize = "8 x 54 in"'
PLAIN = 'dye = [{ dye = "coral" }, { dye = "ink", at = "low", powder = "over the ice" }]'
POLE, DISC = FOLDS[PoleWrap].examples[0], FOLDS[Spiral].examples[0]


def plan_text(garment: str, *turn: str) -> str:
    return "\n".join(["seed = 5", "[garment]", garment, "[[round]]", *turn])


def all_of(what: str) -> dict[str, str]:
    """Plans, by what they try, that try everything of one sort."""
    if what == "fold":
        return {
            f"{name}, {blank}": plan_text(f'blank = "{blank}"', turn, PLAIN)
            for name, turn in {"unfolded": "fold = []", **FOLDED}.items()
            for blank in ("tee", "bandana")
        }
    if what == "tie":  # each on the plainest fold that takes it
        takes = {name: next(fold for fold, tie in TAKEN if tie == name) for name in TIED}
        return {n: plan_text(SMALL, FOLDED[takes[n]], TIED[n], PLAIN) for n in TIED}
    if what == "blank":
        return {
            f"{name}, {how}": plan_text(f'blank = "{name}"', turn, PLAIN)
            for name in STOCK.blanks
            for how, turn in (("pole", POLE), ("spiral", DISC))
        }
    if what == "fabric":
        return {n: plan_text(f'{SMALL}\nfabric = "{n}"', POLE, PLAIN) for n in STOCK.fabrics}
    assert what == "dye"
    return {n: plan_text(SMALL, POLE, f'dye = [{{ dye = "{n}" }}]') for n in STOCK.dyes}


def understood(text: str) -> Recipe:
    return resolve(plan_from_text(text, "contract.toml"), STOCK)


@cache
def refusal(fold: str, tie: str) -> str:
    """Why a plan may not hold this fold with this tie, in its words; nothing when it may."""
    try:
        understood(plan_text(SMALL, FOLDED[fold], TIED[tie]))
    except PlanError as error:
        return str(error)
    return ""


PAIRS = list(product(FOLDED, TIED))
TAKEN = [pair for pair in PAIRS if not refusal(*pair)]
SORTS = ("fold", "tie", "blank", "fabric", "dye")
PLANS = {f"{sort}: {name}": text for sort in SORTS for name, text in all_of(sort).items()}
COMMANDED = {PLANS[f"fold: {example}, tee"] for example in FOLDED}


@pytest.fixture(scope="module", autouse=True)
def one_thread() -> Iterator[None]:
    """So little work in each step is faster on one; the result is the same (test_simulate)."""
    before = numba.get_num_threads()
    numba.set_num_threads(1)
    yield
    numba.set_num_threads(before)
    for kept in (laid_out, predicted, drawn):
        kept.cache_clear()


@pytest.fixture(params=PLANS)
def text(request: pytest.FixtureRequest) -> str:
    return PLANS[request.param]


@cache
def laid_out(blank: str, size: str, fabric: str) -> Cloth:
    return build_cloth(STOCK.blank(blank, size), STOCK.fabric(fabric), PITCH)


def cloth_of(recipe: Recipe) -> Cloth:
    return laid_out(recipe.blank.name, recipe.blank.size, recipe.fabric.name)


def bundle_of(recipe: Recipe, **changes: Any) -> Bundle:
    hand = {"neatness": recipe.neatness, "seed": recipe.seed} | changes
    return build_bundle(cloth_of(recipe), recipe.rounds[0], constants=CONSTANTS, **hand)


@cache
def predicted(text: str) -> tuple[Result, float]:
    """The result, and the least dye [kg] or concentration [kg/m3] met anywhere on the way."""
    least = [np.inf]

    def watched(step: Any) -> Any:
        def watch(march: March, *more: Any) -> None:
            step(march, *more)
            parts = (march.c, march.mass, march.powder, march.fixed, march.lost, march.spent)
            least.append(min(float(part.min()) for part in parts))

        return watch

    with pytest.MonkeyPatch.context() as patch:
        for name in ("carry", "react", "spread", "drain"):
            patch.setattr(March, name, watched(getattr(March, name)))
        result = simulate(plan_from_text(text, "contract.toml"), pitch=PITCH)
    waits = 2 * len(DRAFT.blocks()) + DRAFT.batch + DRAFT.batch // 2
    assert len(least) >= DRAFT.steps + waits  # all were seen
    return result, min(least)


@cache
def drawn(text: str) -> bytes:
    """The picture: in full where the command draws it too, elsewhere in plain colours."""
    return preview_png(predicted(text)[0], version=__version__, plain=text not in COMMANDED)


def recorded(result: Result) -> dict[str, Any]:
    """What `result.json` would hold, read back."""
    seconds = {**result.seconds, "picture": 0.1}
    record: dict[str, Any] = json.loads(as_text(report(result, __version__, seconds)))
    return record


# ---------------------------------------------------------------------------- nothing left out


@pytest.mark.parametrize("fold", get_args(Fold))
def test_every_fold_has_examples(fold: type) -> None:
    assert fold in FOLDS, f"add plans with a {fold.__name__} to FOLDS"
    for example in FOLDS[fold].examples:
        folds = understood(plan_text(SMALL, example)).rounds[0].folds
        assert any(type(each) is fold for each in folds), example


@pytest.mark.parametrize("tie", [*get_args(Tie), NoneType])
def test_every_tie_has_examples_and_a_fold_that_takes_it(tie: type) -> None:
    assert tie in TIES, f"add lines with a {tie.__name__} to TIES"
    for n, example in enumerate(TIES[tie].examples, 1):
        folds = [fold for fold, name in TAKEN if name == f"{tie.__name__} {n}"]
        assert folds
        for fold in folds:
            found = understood(plan_text(SMALL, FOLDED[fold], example)).rounds[0].tie
            assert type(found) is tie


def test_a_plan_may_name_every_fold_and_tie_that_there_is() -> None:
    union = get_args(PlanFold)[0]
    kinds = {get_args(each)[0].model_fields["kind"].default for each in get_args(union)}
    assert kinds == set(words.FOLDS)
    made = [understood(plan_text(SMALL, f'fold = [{{ kind = "{k}" }}]')) for k in kinds]
    assert {type(recipe.rounds[0].folds[0]) for recipe in made} == set(get_args(Fold))
    assert len(kinds) == len(get_args(Fold))
    plain = {"bands": DISC, "clamps": 'fold = [{ kind = "accordion" }]', "rings": "fold = []"}
    plain["stitching"] = plain["rings"]
    held = [
        understood(plan_text(SMALL, plain.get(k, POLE), f'tie = {{ kind = "{k}" }}'))
        for k in words.TIES
    ]
    assert {type(recipe.rounds[0].tie) for recipe in held} == {*get_args(Tie), NoneType}


def test_every_fold_takes_a_tie_and_may_go_without() -> None:
    for fold in FOLDED:
        ties = [tie for name, tie in TAKEN if name == fold]
        assert len(ties) > 1
        assert "NoneType 1" in ties
    for pair in PAIRS:
        assert pair in TAKEN or refusal(*pair).startswith("contract.toml: round.1.tie")


@pytest.mark.parametrize("sort", SORTS)
def test_digests_tell_plans_apart(sort: str) -> None:
    recipes = [understood(text) for text in all_of(sort).values()]
    digests = [digest(recipe, CONSTANTS) for recipe in recipes]
    assert len(set(digests)) == len(digests)
    for recipe, found in zip(recipes, digests, strict=True):
        other = replace(recipe, seed=recipe.seed + 1)
        assert digest(other, CONSTANTS) != found
        assert digest(replace(recipe, name="another"), CONSTANTS) == found


# ---------------------------------------------------------------------------- in words


def test_check_says_what_will_be_done(text: str) -> None:
    recipe = understood(text)
    turn = recipe.rounds[0]
    steps = describe(recipe)
    assert len(steps) == len(set(steps))
    assert all(step == step.strip() and step.endswith(".") for step in steps)
    said = " ".join(steps)
    assert recipe.blank.name in said
    assert recipe.fabric.name in said
    assert all(powder.dye in said for powder in turn.powder)
    for part in (*turn.folds, turn.tie):
        table = TIES if part is turn.tie else FOLDS
        assert table[type(part)].told_by in said
        bare = describe(replace(recipe, rounds=(without(turn, part),)))
        assert (len(bare) < len(steps)) == (part is not None)
    advice = advise(recipe)
    assert advice[-1].key == "care"
    assert all(item.text.endswith(".") and "\n" not in item.text for item in advice)


def without(turn: Round, part: Fold | Tie | None) -> Round:
    if part is turn.tie:
        return replace(turn, tie=None)
    return replace(turn, folds=tuple(each for each in turn.folds if each is not part))


# ---------------------------------------------------------------------------- the bundle


def test_a_bundle_is_whole(text: str) -> None:
    recipe = understood(text)
    bundle = bundle_of(recipe)
    check_bundle(cloth_of(recipe), bundle)
    assert same(bundle, bundle_of(recipe))
    assert not same(bundle, bundle_of(recipe, seed=recipe.seed + 1))
    check_bundle(cloth_of(recipe), bundle_of(recipe, seed=recipe.seed + 1, neatness=1.0))


@pytest.mark.parametrize("neatness", [0.0, 1.0])
@pytest.mark.parametrize(("fold", "tie"), TAKEN, ids=map(" ".join, TAKEN))
def test_any_hand_folds_and_ties_a_whole_bundle(fold: str, tie: str, neatness: float) -> None:
    recipe = understood(plan_text('blank = "bandana"', FOLDED[fold], TIED[tie]))
    check_bundle(cloth_of(recipe), bundle_of(recipe, neatness=neatness))


@pytest.mark.parametrize("side", ["front", "back"])
@pytest.mark.parametrize("example", FOLDED)
def test_the_side_that_a_plan_names_ends_outside(example: str, side: str) -> None:
    """Before a fold that turns the cloth over, the other side must face up."""
    named = FOLDED[example].replace('\noutside = "back"', "") + f'\noutside = "{side}"'
    recipe = understood(plan_text('blank = "tee"', named))
    cloth, bundle = cloth_of(recipe), bundle_of(recipe)
    panels = {panel.name: n for n, panel in enumerate(cloth.panels)}
    up = {name: bundle.upward[cloth.panel == n].mean() for name, n in panels.items()}
    other = "back" if side == "front" else "front"
    # bricks and ropes show both; a side turned in shows less than a tenth
    assert up[side] > 0.5 * up[other]


# ---------------------------------------------------------------------------- the result


def test_the_books_close(text: str) -> None:
    recipe = understood(text)
    result, least = predicted(text)
    (turn,) = result.rounds
    laid = sum(powder.mass for powder in recipe.rounds[0].powder)
    parts = {f.name: getattr(turn.balance, f.name) for f in fields(turn.balance)}
    assert parts.pop("laid") == pytest.approx(laid, rel=1e-12)
    assert sum(parts.values()) == pytest.approx(laid, rel=1e-9)
    assert min(parts.values()) >= 0.0
    assert least >= 0.0
    cloth = result.cloth
    fibre = cloth.mass_per_area * cloth.pitch**2 * cloth.dyeable * np.ravel(cloth.taking)
    held = float((result.fixed.amount * fibre[:, None]).sum())
    assert held == pytest.approx(parts["fixed"], rel=1e-9, abs=1e-12 * laid)
    most = CONSTANTS.sites * cloth.fabric.uptake
    assert result.fixed.amount.min() >= 0.0
    assert result.fixed.amount.sum(axis=1).max() <= most * (1.0 + 1e-9)
    takes = cloth.fabric.dyeable_share * cloth.fabric.uptake > 0.0
    assert (parts["fixed"] > 0.0) == takes
    assert (result.white_share < 1.0) == takes


def test_shares_and_colours_are_possible(text: str) -> None:
    result, _ = predicted(text)
    shares, look, (turn,) = result.shares, result.look, result.rounds
    parts = [shares.whole, *shares.panels.values(), *shares.zones.values()]
    assert set(shares.panels) == {panel.name for panel in result.cloth.panels}
    assert set(shares.zones) == set(result.cloth.zones)
    for part in parts:
        assert tuple(part) == CLASSES
        assert sum(part.values()) == pytest.approx(1.0, abs=1e-12)
        assert min(part.values()) >= 0.0
    at = list(shares.white_at.values())
    assert 0.0 <= at[0] <= result.white_share <= at[-1] <= 1.0
    assert look.srgb.shape == look.lab.shape == (result.cloth.size, 3)
    assert look.srgb.min() >= 0.0
    assert look.srgb.max() <= 1.0
    assert look.lab[:, 0].min() > 0.0
    assert look.lab[:, 0].max() <= 100.0
    assert look.delta.min() >= 0.0
    assert np.isfinite(look.lab).all()
    for share in (turn.exposed_share, turn.ran_off_share, turn.over_full_share):
        assert 0.0 <= share <= 1.0
    assert 0.0 < turn.melt_hours_90 < turn.melt_hours
    assert turn.layers_mean >= 1.0


def test_the_record_and_the_picture_can_be_written(text: str) -> None:
    result, _ = predicted(text)
    record = recorded(result)
    CHECK.validate(record)
    assert record["cells"] == result.cloth.size
    (turn,) = plan_from_text(text, "contract.toml").round
    assert result.fold == (turn.fold[-1].kind if turn.fold else "")
    assert record["digest"] == result.digest == digest(understood(text), CONSTANTS)
    assert record["white_share"] == pytest.approx(result.white_share, abs=1e-6)
    with Image.open(BytesIO(drawn(text))) as picture:
        assert max(picture.size) == LONG_SIDE
        assert picture.info["meltwick-digest"] == result.digest
        tones = np.asarray(picture)[::8, ::8] @ (1, 256, 65536)
    # more tones than paper, ink and white cloth, with what blurs between them, come to
    assert len(np.unique(tones)) > 20


# ---------------------------------------------------------------------------- the command


@pytest.mark.parametrize("example", FOLDED)
def test_the_command_gives_the_same_again(
    example: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    """Checked and drawn from a file: the same picture, byte for byte, and the same numbers."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("platformdirs.user_log_dir", lambda *a, **k: str(tmp_path / "log"))
    text = PLANS[f"fold: {example}, tee"]
    assert text in COMMANDED
    (tmp_path / "contract.toml").write_text(text, "utf-8")
    assert main(["check", "contract.toml"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert all(step in said for step in describe(understood(text)))
    assert main(["preview", "contract.toml", "--detail", DETAIL]) == 0
    captured = capsys.readouterr()
    assert captured.out.startswith("Expect ")
    assert "meltwick:" not in captured.err
    folder = tmp_path / "contract"
    assert sorted(path.name for path in folder.iterdir()) == ["preview.png", "result.json"]
    assert (folder / "preview.png").read_bytes() == drawn(text)
    written = json.loads((folder / "result.json").read_text("utf-8"))
    assert written | {"seconds": {}} == recorded(predicted(text)[0]) | {"seconds": {}}


# ---------------------------------------------------------------------------- blanks, dyes


@pytest.mark.parametrize(
    ("name", "size"), [(line.name, size) for line in STOCK.blanks.values() for size in line.sizes]
)
def test_every_size_can_be_laid_flat(name: str, size: str) -> None:
    cloth = laid_out(name, size, STOCK.usual_fabric(name).name)
    assert tuple(cloth.places) == words.PLACES[STOCK.blanks[name].cut]
    (front,) = [panel for panel in cloth.panels if panel.name == "front"]
    cells = slice(front.first, front.first + front.count)
    for place, (x, y) in cloth.places.items():
        assert front.outline.covers(Point(1000.0 * x, 1000.0 * y)), place
        # a place on the very edge may have its nearest cell a diagonal away
        away = np.hypot(cloth.x[cells] - x, cloth.y[cells] - y).min()
        assert away <= np.sqrt(2.0) * cloth.pitch, place
    assert np.bincount(cloth.zone, minlength=len(cloth.zones)).min() > 0
    assert cloth.size == sum(panel.count for panel in cloth.panels)
    assert 0.9 < cloth.dyeable.mean() <= 1.0
    assert cloth.thickness.min() >= cloth.fabric.thickness * (1.0 - 1e-12)
    assert cloth.mass_per_area.min() >= cloth.fabric.mass_per_area * (1.0 - 1e-12)


@pytest.mark.parametrize(
    ("blank", "place"), [(n, p) for n in STOCK.blanks for p in words.PLACES[STOCK.blanks[n].cut]]
)
def test_a_spiral_can_be_pinched_at_every_place(blank: str, place: str) -> None:
    turn = f'fold = [{{ kind = "spiral", centre = "{place}" }}]'
    recipe = understood(plan_text(f'blank = "{blank}"', turn))
    assert place in " ".join(describe(recipe))
    check_bundle(cloth_of(recipe), bundle_of(recipe, neatness=1.0))


@pytest.mark.parametrize("name", STOCK.dyes)
def test_a_jar_holds_dye(name: str) -> None:
    dye = STOCK.dye(name)
    assert sum(share for _, share in dye.parts) == pytest.approx(1.0, abs=1e-12)
    assert min(share for _, share in dye.parts) > 0.0
    # cold reactive dyes 50 to 100 g/L, from memory; reactive black 5 550 g/L, an encyclopedia
    assert 50.0 <= dye.solubility <= 550.0
    # a teaspoon is 1/768 US gallon (NIST SP 811); dry powders 0.3 to 1 kg/L, from memory
    assert 0.3 < dye.spoon / 4.92892 * 1000.0 < 1.0
    assert 0.0 <= dye.dark <= 1.0
    spectra = strengths([part for part, _ in dye.parts])
    assert spectra.shape == (len(dye.parts), 31)
    assert np.isfinite(spectra).all()
    assert spectra.min() > 0.0
    for fabric in STOCK.fabrics.values():
        seen = np.array([swatch(dye, depth, fabric) for depth in (0.0, 0.5, 1.0, 2.0, 4.0)])
        assert seen.min() >= 0.0
        assert seen.max() <= 1.0
        # luminance of sRGB, IEC 61966-2-1: a deeper dyeing is never lighter
        light = np.where(seen <= 0.04045, seen / 12.92, ((seen + 0.055) / 1.055) ** 2.4)
        assert np.all(np.diff(light @ (0.2126, 0.7152, 0.0722)) < 0.0), fabric.name
