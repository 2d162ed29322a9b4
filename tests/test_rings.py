"""Peaks tied off with thread and rows of stitches: areas by shapely, folds by closed forms."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from shapely import affinity, contains_xy
from shapely.geometry import Point, Polygon, box
from shapely.ops import unary_union
from tests.flats import flat_cloth
from tests.test_put_down import bundle_of, dyeing

from meltwick.advice import advise
from meltwick.bundle import build_bundle, fold
from meltwick.bundle.pole import BARE_PRESSURE
from meltwick.cloth import build_cloth
from meltwick.constants import Constants
from meltwick.errors import PlanError
from meltwick.folding.peaks import reach_of
from meltwick.plan import plan_from_text, resolve
from meltwick.simulate import simulate
from meltwick.stock import load_stock
from meltwick.types import Bundle, Cloth, Halve, Spot, Stitching, TiedRings

SIDE = 0.4
ONCE = TiedRings((Spot("middle"),), 0.0, 0.06, 1, 0.03, 8, 2e-3, 40.0)
THRICE = replace(ONCE, from_tip=0.04, times=3, apart=0.035, wound=7)


@cache
def square(pitch: float) -> Cloth:
    cloth = flat_cloth(SIDE, SIDE, pitch)
    return replace(cloth, places={"middle": (0.19, 0.21), "edge": (0.03, 0.2)})


def rings(tie: TiedRings, centre: tuple[float, float]) -> Polygon:
    middle = Point(*centre)
    out = Polygon()
    for k in range(tie.times):
        at, half = tie.from_tip + k * tie.apart, 0.5 * tie.wound * tie.thickness
        out = out.union(
            middle.buffer(at + half, quad_segs=90) - middle.buffer(at - half, quad_segs=90)
        )
    return out.intersection(box(0.0, 0.0, SIDE, SIDE))


def hard(bundle: Bundle, tie: TiedRings, layers: int, away: np.ndarray) -> np.ndarray:
    """What is pressed by half the hoop law's pressure or more; ``away`` [m] from the tip."""
    ring = np.clip(np.round((away - tie.from_tip) / tie.apart), 0, tie.times - 1)
    at = tie.from_tip + ring * tie.apart
    # pi rho^2 holds all the cloth that goes round, its fibre as dense as it may be: 0.75
    neck = np.sqrt(2.0 * at * layers * 0.160 / 1540.0 / 0.75)
    return bundle.pressure > BARE_PRESSURE + 0.5 * tie.pull / (neck * tie.thickness)


@pytest.mark.parametrize("pitch", [2e-3, 1e-3])
@pytest.mark.parametrize("tie", [ONCE, THRICE], ids=["once", "thrice"])
@pytest.mark.parametrize("place", ["middle", "edge"])
def test_what_threads_press_by_shapely(tie: TiedRings, pitch: float, place: str) -> None:
    if pitch < 2e-3 and place == "edge":
        pytest.skip("fine once is enough")
    cloth = square(pitch)
    bundle = bundle_of(cloth, dyeing((), replace(tie, spots=(Spot(place),))), neatness=0.0)
    known = rings(tie, cloth.places[place])
    middle = cloth.places[place]
    found = hard(bundle, tie, 1, np.hypot(cloth.x - middle[0], cloth.y - middle[1]))
    assert found.sum() * pitch**2 == pytest.approx(known.area, rel=0.05)
    assert np.mean(found != contains_xy(known, cloth.x, cloth.y)) < 0.04
    assert bundle.solid[found].min() > 2.0 * cloth.fabric.solid
    # thread covers what shows of it, and nothing else
    beyond = ~contains_xy(known.buffer(1.5 * pitch), cloth.x, cloth.y)
    assert bundle.covered[beyond].max() == 0.0
    # turns side by side close it: creases that would show there are under thread
    within = contains_xy(known.buffer(-1.5 * pitch), cloth.x, cloth.y)
    # a peak's girth is what shows of it, 2 pi rho of the 2 pi r of cloth, rho = sqrt(2 r t)
    last = tie.from_tip + (tie.times - 1) * tie.apart
    assert bundle.covered[within].mean() > 0.9 * np.sqrt(2.0 * 0.55e-3 / last)
    assert bundle.exposed[within].max() == 0.0
    assert not within[bundle.film].any()


def test_a_peak_is_a_shut_umbrella() -> None:
    cloth = square(2e-3)
    spec = dyeing((), ONCE)
    stack = fold(cloth, spec, 0.7, 3, 1)
    peaks = stack.peaks
    assert peaks is not None
    up = peaks.number >= 0
    # every length is kept: points a step apart in one sector lie as far apart once folded
    sector = stack.order[up]
    p, q = stack.p[up], stack.q[up]
    x, y = peaks.right[up], peaks.down[up]
    rng = np.random.default_rng(1)
    a, b = rng.integers(0, p.size, (2, 200_000))
    near = (sector[a] == sector[b]) & (np.hypot(x[a] - x[b], y[a] - y[b]) < 0.01)
    assert near.sum() > 200
    flat = np.hypot(x[a] - x[b], y[a] - y[b])[near]
    assert np.hypot(p[a] - p[b], q[a] - q[b])[near] == pytest.approx(flat, abs=1e-9)
    # as many flanks mountain as valley (Kawasaki), each turned over on the one before
    assert len(np.unique(sector)) == 2 * peaks.gathers
    # the disc is as large as the cloth that goes to the last thread, by shapely
    area = up.sum() * (cloth.pitch / 2) ** 2
    assert area == pytest.approx(Point(0, 0).buffer(reach_of(ONCE)).area, rel=0.25)
    tidy = fold(cloth, spec, 0.0, 3, 1).peaks
    assert tidy is not None
    area = (tidy.number >= 0).sum() * (cloth.pitch / 2) ** 2
    assert area == pytest.approx(Point(0, 0).buffer(reach_of(ONCE), quad_segs=90).area, rel=0.01)


def test_gathers_touch_and_flat_cloth_does_not() -> None:
    cloth = square(2e-3)
    bundle = bundle_of(cloth, dyeing((), ONCE), neatness=0.0)
    middle = Point(*cloth.places["middle"]).buffer(reach_of(ONCE) + 3e-3)
    inside = contains_xy(middle, cloth.x, cloth.y)
    ends = inside[bundle.contacts]
    assert ends.all()
    # each flank but the last lies on the next: (2 g - 1) / 2 g of the peak's cloth
    assert bundle.contact_area.sum() == pytest.approx(
        Point(0, 0).buffer(reach_of(ONCE)).area, rel=0.12
    )
    # beyond the peak all cloth shows above, and below as well
    beyond = ~contains_xy(middle.buffer(6e-3), cloth.x, cloth.y)
    assert bundle.upward[beyond].min() > 0.99
    assert bundle.depth[beyond].max() == 0.0
    # hidden in the gathers: only creases show
    ring = inside & ~contains_xy(Point(*cloth.places["middle"]).buffer(0.04), cloth.x, cloth.y)
    assert 0.15 < bundle.exposed[ring].mean() < 0.7


def test_the_hoop_law_on_a_neck() -> None:
    cloth = square(2e-3)
    wide = 0.03
    tie = replace(ONCE, wound=15, pull=4.0)  # 30 mm of thread: even in the middle
    bundle = bundle_of(cloth, dyeing((), tie), neatness=0.0)
    away = np.hypot(cloth.x - 0.19, cloth.y - 0.21)
    ring = np.abs(away - tie.from_tip) < 0.1 * wide
    found = float(np.median(bundle.pressure[ring])) - BARE_PRESSURE
    # phi^3 = phi0^3 + p/a and rho = sqrt(2 r t), t = t0 phi0/phi, p = T/(rho d): by iterating
    known, loose, stiff = 0.0, cloth.fabric.solid, Constants().stiffness
    for _ in range(200):
        solid = min((loose**3 + known / stiff) ** (1.0 / 3.0), 0.75)
        rho = np.sqrt(2.0 * tie.from_tip * cloth.fabric.thickness * loose / solid)
        known = 0.5 * known + 0.5 * tie.pull / (rho * tie.thickness)
    assert found == pytest.approx(known, rel=0.1)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_scattered_peaks_keep_their_distance(seed: int) -> None:
    tie = TiedRings((), 0.11, 0.04, 1, 0.03, 4, 2e-3, 20.0)
    stock = load_stock()
    blank, fabric = stock.blank("tee", "M"), stock.fabric("cotton jersey")
    found = []
    for pitch in (8e-3, 5e-3):
        cloth = build_cloth(blank, fabric, pitch)
        peaks = fold(cloth, dyeing((), tie), 0.0, seed, 1).peaks
        assert peaks is not None
        tips = np.array(
            [
                np.average(np.column_stack([peaks.right, peaks.down])[peaks.number == c], axis=0)
                for c in range(peaks.number.max() + 1)
            ]
        )
        gaps = np.hypot(*(tips[:, None] - tips[None]).transpose(2, 0, 1))
        np.fill_diagonal(gaps, 1.0)
        assert gaps.min() > tie.every - 0.03
        # no room is left for many more: each cell is near some peak (Poisson-disc, maximal)
        nearest = np.hypot(cloth.x[:, None] - tips[:, 0], cloth.y[:, None] - tips[:, 1]).min(axis=1)
        assert np.quantile(nearest, 0.9) < 1.2 * tie.every
        found.append(len(tips))
    assert found[0] == found[1]  # in metres, not in cells
    assert found[0] > 15


def test_halved_cloth_is_tied_through_both_halves() -> None:
    stock = load_stock()
    cloth = build_cloth(stock.blank("bandana"), stock.fabric("cotton jersey"), 4e-3)
    tie = replace(ONCE, spots=(Spot("middle", right=0.12),), from_tip=0.05)
    spec = dyeing((Halve("spine", "left"),), tie)
    bundle = build_bundle(cloth, spec, neatness=0.0, seed=1, constants=Constants())
    found = hard(bundle, tie, 2, np.full(cloth.size, 0.05))
    assert np.mean(cloth.x[found] > 0.0) == pytest.approx(0.5, abs=0.02)
    assert np.median(np.abs(cloth.x[found])) == pytest.approx(0.12, abs=0.015)


@pytest.mark.parametrize("outline", ["square", "diamond"])
def test_a_capped_outline_keeps_its_inside_dry(outline: str) -> None:
    cloth, pitch = square(2e-3), 2e-3
    tie = replace(ONCE, outline=outline, capped=True, wound=4)  # type: ignore[arg-type]
    bundle = bundle_of(cloth, dyeing((), tie), neatness=0.0)
    half = tie.from_tip + 0.5 * tie.wound * tie.thickness
    known = affinity.translate(box(-half, -half, half, half), *cloth.places["middle"])
    known = affinity.rotate(known, 45.0) if outline == "diamond" else known
    dry = bundle.exposed == 0.0
    assert dry.sum() * pitch**2 == pytest.approx(known.area, rel=0.03)
    assert np.mean(dry != contains_xy(known, cloth.x, cloth.y)) < 0.01
    assert bundle.upward[dry].max() == bundle.downward[dry].max() == 0.0
    assert not dry[bundle.film].any()
    # thread presses the outline only
    inner = contains_xy(known.buffer(-0.02), cloth.x, cloth.y)
    assert bundle.pressure[inner].max() == BARE_PRESSURE


def test_a_capped_heart_keeps_its_inside_dry() -> None:
    """Its area against shapely, drawn from the curve's equation; point down, two lobes on top."""
    cloth, pitch = square(2e-3), 2e-3
    tie = replace(ONCE, outline="heart", from_tip=0.08, capped=True, wound=4)
    bundle = bundle_of(cloth, dyeing((), tie), neatness=0.0)
    x, y = np.meshgrid(np.linspace(-1.3, 1.3, 800), np.linspace(-1.3, 1.3, 800))
    inside = (x**2 + y**2 - 1.0) ** 3 < x**2 * y**3
    half = (tie.from_tip + 0.5 * tie.wound * tie.thickness) / np.abs(x[inside]).max()
    known = inside.sum() * (2.6 / 799) ** 2 * half**2
    dry = bundle.exposed == 0.0
    assert dry.sum() * pitch**2 == pytest.approx(known, rel=0.03)
    right, down = (cloth.x[dry], cloth.y[dry]) - np.array(cloth.places["middle"])[:, None]
    wide = [np.ptp(right[np.abs(down - place) < 0.01]) for place in (-0.04, 0.04)]
    assert wide[0] > 1.5 * wide[1]  # broad above, narrow below
    notch = down[np.abs(right) < 4e-3].min()
    lobe = down[np.abs(right - 0.035) < 4e-3].min()
    assert lobe < notch - 5e-3  # a lobe stands higher than the notch


STITCHED = Stitching(0.5 * np.pi, 0.05, 0.02, 1e-3, 20.0)


@pytest.mark.parametrize("right", [0.1, -0.1])
def test_one_line_of_stitches_presses_along_itself(right: float) -> None:
    """Through two places, from edge to edge: what is pressed lies on the line between them."""
    cloth = square(2e-3)
    ends = (Spot("middle", -right, -0.1), Spot("middle", right, 0.1))
    tie = replace(STITCHED, through=ends)
    bundle = bundle_of(cloth, dyeing((), tie), neatness=0.0)
    middle = np.array(cloth.places["middle"])
    x, y = cloth.x - middle[0], cloth.y - middle[1]
    away = np.abs(x * 0.1 - y * right) / np.hypot(0.1, right)
    hard = bundle.pressure > 0.5 * bundle.pressure.max()
    # the load spreads as wide as a flank to either side, a raised cosine: half of it within half
    assert away[hard].max() < 0.5 * tie.stitch + 4e-3
    assert np.ptp(x[hard]) > 0.95 * SIDE  # and it reaches from edge to edge
    assert np.all(bundle.pressure[away > 1.1 * tie.stitch] == BARE_PRESSURE)


def test_rows_of_stitches_gather_and_press_along_themselves() -> None:
    cloth = flat_cloth(0.6, 0.5, 2e-3)
    bundle = bundle_of(cloth, dyeing((), STITCHED), neatness=0.0)
    # a flank a stitch wide: 0.6 m of cloth in layers of 20 mm
    assert bundle.layers.mean() == pytest.approx(0.6 / STITCHED.stitch, rel=0.03)
    # T over a flank's width and the rows' spacing, on the mean
    force = STITCHED.pull / (STITCHED.stitch * STITCHED.spacing)
    assert bundle.pressure.mean() - BARE_PRESSURE == pytest.approx(force, rel=0.1)
    # half the peak or more within a quarter of the load's width of each row
    wide = 0.5 * (STITCHED.stitch + STITCHED.thickness)
    found = bundle.pressure > BARE_PRESSURE + STITCHED.pull / STITCHED.stitch / (2.0 * wide)
    rows = np.sort(np.unique(np.round(cloth.y[found], 4)))
    middles = [np.mean(part) for part in np.split(rows, np.flatnonzero(np.diff(rows) > 0.01) + 1)]
    assert np.diff(middles) == pytest.approx(STITCHED.spacing, abs=2.1e-3)
    known = unary_union([box(0.0, y - 0.5 * wide, 0.6, y + 0.5 * wide) for y in middles])
    known = known.intersection(box(0.0, 0.0, 0.6, 0.5))
    assert found.sum() * cloth.pitch**2 == pytest.approx(known.area, rel=0.08)
    assert np.all(bundle.covered == 0.0)


def test_rows_along_turn_the_gathers() -> None:
    cloth = flat_cloth(0.4, 0.5, 4e-3)
    bundle = bundle_of(cloth, dyeing((), replace(STITCHED, rows=0.0)), neatness=0.0)
    assert bundle.layers.mean() == pytest.approx(0.5 / STITCHED.stitch, rel=0.05)
    columns = [bundle.pressure[cloth.col == c].mean() for c in range(100)]
    assert max(columns) > 3.0 * min(columns)
    assert np.std([bundle.pressure[cloth.row == r].mean() for r in range(125)]) < 0.1 * np.std(
        columns
    )


RINGED = """
[garment]
blank = "bandana"
[[round]]
fold = []
tie = { kind = "rings", from_tip = "6 cm", wound = 8, pull = "PULL" }
rest = { incline = "2 deg" }
dye = [{ dye = "harbour blue", amount = "4 g" }]
"""


def depth_of_colour(pull: str) -> tuple[float, float]:
    """Median colour difference to undyed cloth in the inner half of the ring, and beyond it."""
    result = simulate(plan_from_text(RINGED.replace("PULL", pull), "r"), pitch=4e-3)
    cloth = result.cloth
    away = np.hypot(cloth.x - cloth.places["middle"][0], cloth.y - cloth.places["middle"][1])
    ring, beyond = (away > 0.048) & (away < 0.056), (away > 0.08) & (away < 0.2)
    return float(np.median(result.look.delta[ring])), float(np.median(result.look.delta[beyond]))


def test_a_ring_resists_and_the_rest_does_not() -> None:
    # what lies outside wets the outer edge of the thread; its inner half keeps dry
    tight, beyond = depth_of_colour("very tight")
    assert tight < 0.35 * beyond


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('every = "6 cm"', "round.1.tie.every: each peak takes the cloth for 56 mm"),
        ('times = 2, apart = "5 mm"', "round.1.tie.apart: rings of thread 12 mm wide"),
        ('from_tip = "1 cm", wound = 30', "round.1.tie.from_tip: a ring of thread 60 mm wide"),
        ('spots = "chest"', "round.1.tie.spots: 'chest' is no place of bandana"),
        ('spots = "elbow"', "round.1.tie.spots: 'elbow' is not a place"),
        ('spots = "middle", every = "30 cm"', "round.1.tie.every: the peaks have their spots"),
        ('width = "3 mm"', "round.1.tie.width: it goes with bands"),
    ],
)
def test_faults_of_rings_name_the_key(line: str, said: str) -> None:
    text = '[garment]\nblank = "bandana"\n[[round]]\nfold = []\ntie = { kind = "rings", LINE }'
    with pytest.raises(PlanError) as error:
        resolve(plan_from_text(text.replace("LINE", line), "a.toml"), load_stock())
    assert str(error.value).startswith(f"a.toml: {said}")


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ('line = "middle"', "round.1.tie.line: 'middle' is no line"),
        ('line = ["middle", "middle"]', "one place twice"),
        ('line = ["middle", "chest"]', "round.1.tie.line: 'chest' is no place of bandana"),
        ('rows = "along", line = ["top", "middle"]', "round.1.tie.rows: a line is one row"),
        ('line = ["middle", "2 m below the middle"]', "too far from the middle"),
    ],
)
def test_faults_of_a_stitched_line_name_the_key(keys: str, said: str) -> None:
    from meltwick.advice import advise

    text = f'[garment]\nblank = "bandana"\n[[round]]\nfold = []\ntie = {{ {keys} }}'
    with pytest.raises(PlanError) as error:
        advise(resolve(plan_from_text(text, "a.toml"), load_stock()))
    assert said in str(error.value)


def test_peaks_are_not_drawn_up_out_of_pleats() -> None:
    with pytest.raises(PlanError, match=r"round\.1\.tie\.kind: peaks for 'rings'"):
        plan_from_text('[[round]]\ntie = { kind = "rings" }', "a.toml")


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('kind = "rings", spots = ["chest", "navel"], from_tip = "15 cm"', "share it"),
        ('kind = "stitching", pull = "very tight", spacing = "5 cm"', "Sewing thread breaks"),
        ('kind = "stitching", stitch = "8 mm", spacing = "2 cm"', "stitches by hand"),
        ('kind = "clamps", size = "1 cm"', "less than a hundredth"),
        ('kind = "clamps", size = "60 cm"', ""),
        ('kind = "rings", every = "20 cm"', ""),
        ('kind = "stitching", stitch = "25 mm", spacing = "10 cm", pull = "snug"', ""),
    ],
)
def test_hands_are_warned(line: str, said: str) -> None:
    text = f"[[round]]\nfold = []\ntie = {{ {line} }}"
    advice = advise(resolve(plan_from_text(text, "a.toml"), load_stock()))
    about = [a.text for a in advice if a.level == "warning" and ".tie" in a.key]
    assert len(about) == (said != "")
    assert said in "".join(about)


def test_a_peak_off_the_cloth_is_told_by_its_key() -> None:
    text = '[[round]]\nfold = []\ntie = { kind = "rings", spots = "90 cm below the neck" }'
    with pytest.raises(PlanError, match=r"round\.1\.tie\.spots: a peak's tip is too far from"):
        advise(resolve(plan_from_text(text, "a.toml"), load_stock()))
