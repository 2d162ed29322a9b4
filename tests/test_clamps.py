"""Clamps and crossed string: the plates' area by shapely, forces by counting, lines by geometry."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from shapely import affinity, contains_xy
from shapely.geometry import Point, Polygon, box
from tests.flats import flat_cloth
from tests.test_put_down import bundle_of, dyeing

from meltwick.binding import under_edge
from meltwick.bundle.clamps import press
from meltwick.bundle.pole import BARE_PRESSURE
from meltwick.constants import Constants
from meltwick.errors import PlanError
from meltwick.plan import digest, plan_from_text, resolve
from meltwick.simulate import simulate
from meltwick.stock import load_stock
from meltwick.types import Accordion, Clamps, Flags, Floats, PoleWrap, StringTie

PLEAT, LONG, PLEATS, PITCH = 0.12, 0.20, 8, 2e-3
PLATES = (
    Clamps("square", 0.06, 0.06, 20e3),
    Clamps("disc", 0.07, 0.07, 20e3, (0.5, 0.4)),
    Clamps("triangle", 0.08, 0.08, 20e3, (0.45, 0.6), np.radians(25.0)),
    Clamps("bar", 0.09, 0.02, 20e3, (0.5, 0.5), np.radians(-30.0)),
)


def outline(tie: Clamps) -> Polygon:
    """The plate in shapely, its middle at 0, turned as a clock's hands go seen with y upwards."""
    if tie.shape == "disc":
        return Point(0.0, 0.0).buffer(0.5 * tie.size, quad_segs=64)
    half = 0.5 * tie.size
    tall = np.sqrt(tie.size**2 - half**2)
    shape = {
        "square": box(-half, -half, half, half),
        "bar": box(-half, -0.5 * tie.breadth, half, 0.5 * tie.breadth),
        "triangle": Polygon([(-half, -tall / 3), (half, -tall / 3), (0.0, 2 * tall / 3)]),
    }[tie.shape]
    return affinity.rotate(shape, -np.degrees(tie.turn), origin=(0, 0))


def on_cloth(tie: Clamps) -> Polygon:
    """Where the plates come to lie on a strip of `PLEATS` pleats: mirrored in every second."""
    placed = affinity.translate(outline(tie), tie.at[0] * PLEAT, tie.at[1] * LONG)
    placed = affinity.scale(placed, 1.0, -1.0, origin=(0.0, 0.5 * LONG))  # y of cloth runs down
    parts = []
    for k in range(PLEATS):
        turned = affinity.scale(placed, -1.0, 1.0, origin=(0.5 * PLEAT, 0.0)) if k % 2 else placed
        parts.append(affinity.translate(turned, k * PLEAT, 0.0))
    union = parts[0]
    for part in parts[1:]:
        union = union.union(part)
    return union


@pytest.mark.parametrize("lies", ["", "flat"])
@pytest.mark.parametrize("tie", PLATES, ids=[tie.shape for tie in PLATES])
def test_what_is_pressed_by_shapely(tie: Clamps, lies: str) -> None:
    cloth = flat_cloth(PLEAT * PLEATS, LONG, PITCH)
    bundle = bundle_of(cloth, dyeing((Accordion(PLEAT),), tie, lies), neatness=0.0)
    known = on_cloth(tie)
    # a half of the plate's pressure right below its edge: the load spreads as far in as out
    hard = bundle.pressure > BARE_PRESSURE + 0.5 * tie.force / outline(tie).area
    assert hard.sum() * PITCH**2 == pytest.approx(known.area, rel=0.05)
    assert np.mean(hard != contains_xy(known, cloth.x, cloth.y)) < 0.02
    # at such pressure the fibre lies as dense as it may
    assert bundle.solid[hard].min() > 2.0 * cloth.fabric.solid
    # no water gets in or out under a plate, nor runs along below it
    faces = np.isin((cloth.x / PLEAT).astype(int), (0, PLEATS - 1))
    under = faces & contains_xy(known.buffer(-2 * PITCH), cloth.x, cloth.y)
    assert under.sum() > 200
    assert bundle.exposed[under].max() == 0.0
    assert bundle.covered[under].min() == 1.0
    assert not under[bundle.film].any()
    beside = faces & ~contains_xy(known.buffer(2 * PITCH), cloth.x, cloth.y)
    assert bundle.exposed[beside].min() == 1.0
    assert bundle.covered[beside].max() == 0.0


@pytest.mark.parametrize("tie", PLATES, ids=[tie.shape for tie in PLATES])
@pytest.mark.parametrize("layers", [0.0, 10.0, 40.0])
def test_every_layer_carries_the_clamps_force(tie: Clamps, layers: float) -> None:
    step = 5e-4
    x, y = (v.ravel() for v in np.meshgrid(np.arange(-0.1, 0.1, step), np.arange(-0.1, 0.1, step)))
    level, along = x + 0.1, y + 0.1
    fabric = load_stock().fabric("cotton jersey")
    middle = Clamps(tie.shape, tie.size, tie.breadth, tie.force, turn=tie.turn)
    area = outline(tie).area
    full = np.full(x.size, layers)
    pressure, covered = press(middle, level, along, full, area, fabric, Constants())
    assert pressure.sum() * step**2 == pytest.approx(tie.force, rel=0.01)
    assert covered.sum() * step**2 == pytest.approx(area, rel=0.01)


def test_a_plates_edge_spreads_one_to_two() -> None:
    # the load spreads one to two (2:1, common in soil mechanics; from memory): half a depth out
    inside = np.linspace(-0.03, 0.03, 601)
    depth = np.full(601, 0.02)
    share = under_edge(inside, depth)
    assert np.all(np.diff(share) >= -1e-15)
    assert share[inside <= -0.01 - 1e-9].max() == 0.0
    assert share[inside >= 0.01 + 1e-9].min() == 1.0
    assert share[300] == pytest.approx(0.5)
    assert share + share[::-1] == pytest.approx(1.0)


def pole_tie(crossed: bool) -> tuple[Floats, Floats, Floats, Floats]:
    cloth = flat_cloth(0.5, 0.9, 4e-3)
    tie = StringTie(0.03, 20.0, 3e-3, crossed=crossed)
    spec = dyeing((PoleWrap(0.05, 0.0, even=True),), tie)
    bundle = bundle_of(cloth, spec, neatness=0.0)
    return bundle.pressure, bundle.covered, bundle.exposed, bundle.depth


def test_crossed_string_presses_twice_on_a_pole() -> None:
    once, twice = pole_tie(False), pole_tie(True)
    ratio = (twice[0].mean() - BARE_PRESSURE) / (once[0].mean() - BARE_PRESSURE)
    # a little more than twice: pressed thinner, the bundle has a smaller radius
    assert 1.95 < ratio < 2.25
    hidden = [(covered * exposed).sum() / exposed.sum() for _, covered, exposed, _ in (once, twice)]
    # two strings of 3 mm every 30 mm, less where they cross
    assert hidden[1] == pytest.approx(1.0 - 0.9**2, abs=0.035)
    assert hidden[1] > 1.5 * hidden[0]


def test_crossed_string_makes_diamonds_on_a_pile() -> None:
    cloth = flat_cloth(0.6, 0.8, 4e-3)
    tie = StringTie(0.05, 20.0, 4e-3, crossed=True)
    bundle = bundle_of(cloth, dyeing((Accordion(0.1),), tie, "flat"), neatness=0.0)
    top = (bundle.upward > 0.9) & (bundle.covered > 0.6)
    slope = np.arctan(0.025 / np.ptp(bundle.across))
    # each covered place lies on a line of one slant or of the other, a spacing from the next
    side = bundle.across[top] - 0.5 * (bundle.across.min() + bundle.across.max())

    def on_lines(rise: float) -> Flags:
        """Which places lie on evenly spaced lines of that slope, at the phase that takes most."""
        place = (bundle.along[top] + rise * side)[:, None] - np.arange(0.0, 0.05, 1e-3)
        off = np.abs(place - tie.spacing * np.round(place / tie.spacing)) < 4e-3
        return np.asarray(off[:, off.sum(axis=0).argmax()])

    there, back, straight = (on_lines(way * np.tan(slope)) for way in (1.0, -1.0, 0.0))
    assert np.mean(there | back) > 0.97
    assert max(there.mean(), back.mean()) < 0.8
    assert straight.mean() < 0.6


TEE = """
[garment]
blank = "bandana"
[[round]]
fold = [{ kind = "accordion", pleat = "9 cm" }, { kind = "accordion", pleat = "9 cm", creases = "across" }]
tie = { kind = "clamps", shape = "square", size = "5 cm", force = "FORCE" }
dye = [{ dye = "coral", amount = "3 g" }]
"""  # noqa: E501


@cache
def white(force: str) -> float:
    return simulate(plan_from_text(TEE.replace("FORCE", force), "t"), pitch=8e-3).white_share


def test_a_harder_clamp_keeps_no_less_white() -> None:
    assert white("very tight") >= white("loose") - 0.005
    assert white("very tight") > 0.1


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('kind = "clamps", shape = "heart"', "round.1.tie.shape: 'heart' is not known"),
        ('kind = "clamps", pull = "tight"', "round.1.tie.pull: it goes with string"),
        ('kind = "clamps", at = [0.5, 2]', "round.1.tie.at: [0.5, 2] is no place on the pile"),
        ('kind = "clamps", breadth = "1 cm"', "round.1.tie.breadth: it is a bar's"),
        ('kind = "clamps", force = "tigt"', "round.1.tie.force: 'tigt' is not known"),
        ('kind = "bands", crossed = true', "round.1.tie.crossed: it goes with string"),
        ('kind = "clamps"', "round.1.tie.kind: 'clamps' press flat piles"),
    ],
)
def test_faults_of_a_tie_name_the_key(line: str, said: str) -> None:
    fold = "pole" if line.endswith('"clamps"') else "accordion"
    with pytest.raises(PlanError) as error:
        plan_from_text(f'[[round]]\nfold = [{{ kind = "{fold}" }}]\ntie = {{ {line} }}', "a.toml")
    assert str(error.value).startswith(f"a.toml: {said}")


def test_the_kind_follows_from_its_keys_and_a_plain_string_keeps_its_digest() -> None:
    def made(line: str):  # type: ignore[no-untyped-def]
        text = f'[[round]]\nfold = [{{ kind = "accordion" }}]\ntie = {{ {line} }}'
        return resolve(plan_from_text(text, "a.toml"), load_stock())

    tie = made('shape = "disc", size = "4 cm"').rounds[0].tie
    assert isinstance(tie, Clamps)
    assert tie.word == "tight"
    assert digest(made("")) == digest(made("crossed = false"))
    assert digest(made("")) != digest(made("crossed = true"))


FOLDS = {
    "pole": '{ kind = "pole" }',
    "accordion": '{ kind = "accordion", pleat = "6 cm" }',
    "brick": '{ kind = "accordion", pleat = "9 cm" }, '
    '{ kind = "accordion", pleat = "9 cm", creases = "across" }',
}


@pytest.mark.parametrize("folds", FOLDS.values(), ids=FOLDS)
def test_a_loose_tie_keeps_less_white_than_a_tight_one(folds: str) -> None:
    # common practice, no source; the mean of three hands
    def kept(pull: str) -> float:
        plan = (
            f'seed = SEED\n[garment]\nblank = "child tee"\n[[round]]\nfold = [{folds}]\n'
            f'tie = {{ pull = "{pull}" }}\ndye = [{{ dye = "harbour blue", amount = "5 g" }}]'
        )
        texts = [plan.replace("SEED", str(seed)) for seed in (1, 2, 3)]
        return float(
            np.mean([simulate(plan_from_text(t, "p"), pitch=8e-3).white_share for t in texts])
        )

    assert kept("loose") < kept("tight") - 0.01
