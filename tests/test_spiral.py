"""The spiral against calculus, an independent minimiser, the law of areas and symmetry."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from meltwick.cloth import build_cloth
from meltwick.folding import Stack, drawn_in, halve, lay_flat, most_turns, ribs_angle, spiral
from meltwick.folding.accordion import TUCK
from meltwick.folding.spiral import PINCH, crests, feet, lean_angle
from meltwick.folding.stack import Disc
from meltwick.types import Blank, Cloth, Fabric, Floats, Halve, Spiral, Spot

JERSEY = Fabric("cotton jersey", 0.160, 0.55e-3, 1540.0)
TEE = Blank("tee", "tee", "M", {"half_chest": 0.51, "length": 0.74, "sleeve": 0.21})
HERE = Spot("middle")
RADIUS = 0.3  # [m] of a round cloth about the centre
PITCH = 8e-3
ANGLES = st.floats(0.0, 0.25 * np.pi)


@pytest.fixture(scope="module")
def shirt() -> Cloth:
    return build_cloth(TEE, JERSEY, 8e-3)


@dataclass(frozen=True)
class Twisted:
    """A round cloth twisted about its middle, with marked points of our own at the end."""

    stack: Stack
    disc: Disc
    marked: slice

    def plan(self) -> Floats:
        """Marked points seen from above (M, 2)."""
        return np.column_stack([self.disc.across, self.disc.down])[self.marked]


def twist(
    fold: Spiral,
    x: Floats | None = None,
    y: Floats | None = None,
    *,
    layers: int = 1,
    order: int = 0,
    neatness: float = 0.0,
    seed: int = 7,
) -> Twisted:
    """Twist a round cloth of known radius; the fold reckons its size from its points."""
    edge = np.arange(-RADIUS, RADIUS, PITCH / 2) + PITCH / 4
    gx, gy = (v.ravel() for v in np.meshgrid(edge, edge))
    inside = np.hypot(gx, gy) < RADIUS
    none = np.zeros(0)
    mx, my = (none, none) if x is None or y is None else (x, y)
    grid = inside.sum() * layers
    px = np.concatenate([np.tile(gx[inside], layers), mx])
    py = np.concatenate([np.tile(gy[inside], layers), my])
    own = np.concatenate([np.repeat(np.arange(layers), inside.sum()), np.full(mx.size, order)])
    round_it = 2.0 * np.pi * np.arange(720) / 720
    rim = RADIUS * np.column_stack([np.cos(round_it), np.sin(round_it)])
    stack = Stack(np.zeros(px.size, np.int32), px, py, own.astype(np.int32), layers, rim=rim)
    # all points together stand for the round cloth: those we mark are not to make it larger
    pitch = 2.0 * np.sqrt(np.pi * RADIUS**2 * layers / px.size)
    out = spiral(
        stack, fold, np.zeros(2), thickness=0.55e-3, pitch=pitch, neatness=neatness, seed=seed
    )
    assert out.disc is not None
    return Twisted(out, out.disc, slice(grid, None))


def ring(radius: float, count: int = 60_000) -> tuple[Floats, Floats]:
    way = 2.0 * np.pi * (np.arange(count) + 0.5) / count
    return radius * np.cos(way), radius * np.sin(way)


# ---------------------------------------------------------------------------------- the ribs


@settings(max_examples=60, deadline=None)
@given(ANGLES, st.floats(-0.8, 0.8))
def test_feet_against_a_minimiser(angle: float, offset: float) -> None:
    slope = np.tan(angle)

    def away(u: float) -> float:
        return float(abs(np.exp(1j * offset) - np.exp((1.0 + 1j * slope) * u)) ** 2)

    # the valley's own stretch beside the point, not another winding
    grid = np.linspace(-1.2, 0.6, 400)
    start = grid[np.argmin([away(u) for u in grid])]
    best = minimize_scalar(
        away, bounds=(start - 0.01, start + 0.01), method="bounded", options={"xatol": 1e-12}
    )
    radius, distance = feet(angle, np.array([offset]))
    assert radius[0] == pytest.approx(np.exp(best.x), rel=1e-6)
    assert abs(distance[0]) == pytest.approx(np.sqrt(best.fun), rel=1e-8, abs=1e-9)
    if abs(offset) > 1e-9:  # nearer than that the distance itself may round to nothing
        assert np.sign(distance[0]) == np.sign(offset)


def test_feet_of_straight_ribs() -> None:
    # a ray: the foot lies at cos, the distance is sin
    offset = np.linspace(-1.0, 1.0, 41)
    radius, distance = feet(0.0, offset)
    assert radius == pytest.approx(np.cos(offset), abs=1e-12)
    assert distance == pytest.approx(np.sin(offset), abs=1e-12)


@settings(max_examples=60, deadline=None)
@given(ANGLES, st.floats(0.1, 1.4))
def test_a_crest_is_as_far_from_both_valleys(angle: float, way: float) -> None:
    crest = crests(angle, np.array([way]))
    assert 0.0 < crest[0] < way
    before, after = feet(angle, crest)[1], feet(angle, crest - way)[1]
    assert before > 0.0
    assert before == pytest.approx(-after, abs=1e-9)


def rib_lines(fold: Spiral, r: Floats, off: float = 0.0) -> tuple[Floats, Floats]:
    """Places (2, M) on a line at one polar angle ``off`` [rad] beside the first rib's valley.

    The valley is found where a ring of cloth, too small to be folded twice, touches the ground;
    on from there the line is a logarithmic spiral, which is what is tested.
    """
    small = 1.1 * fold.height * fold.pleats / np.pi
    x, y = ring(small)
    out = twist(fold, x, y)
    height, rib = out.stack.q[out.marked], out.disc.rib[out.marked]
    low = np.flatnonzero(rib == 0)[np.argmin(height[rib == 0])]
    # the twist turns cloth as a clock's hands (x right, y down: angles run that way) or not
    turn = -1.0 if fold.sense == "right" else 1.0
    slope = np.tan(ribs_angle(fold, 1, RADIUS, 0.55e-3))
    bearing = np.arctan2(y[low], x[low]) + turn * (off + slope * np.log(r / small))
    return r * np.cos(bearing), r * np.sin(bearing)


def arc(fold: Spiral, r: Floats) -> float:
    """Length of a logarithmic spiral r = a exp(b theta) (8.6): (r1 - r0) sqrt(1 + b^2) / b."""
    b = 1.0 / np.tan(ribs_angle(fold, 1, RADIUS, 0.55e-3))
    return float((r[-1] - r[0]) * np.sqrt(1.0 + b**2) / b)


COILS = [
    Spiral(HERE, pleats, turns, 0.012, sense)  # type: ignore[arg-type]
    for pleats, turns in ((8, 0.8), (12, 1.0), (20, 2.0))
    for sense in ("right", "left")
]


@pytest.mark.parametrize("fold", COILS)
def test_a_rib_is_a_logarithmic_spiral(fold: Spiral) -> None:
    assert np.tan(ribs_angle(fold, 1, RADIUS, 0.55e-3)) == pytest.approx(
        np.log(RADIUS / PINCH) / (2.0 * np.pi * fold.turns)
    )
    r = np.linspace(0.05, 0.29, 4001)
    out = twist(fold, *rib_lines(fold, r))
    assert out.stack.q[out.marked].max() < 5e-5
    # to the fineness of the fold's table
    assert np.ptp(out.stack.p[out.marked]) == pytest.approx(arc(fold, r), rel=3e-5)


@pytest.mark.parametrize("fold", COILS)
@pytest.mark.parametrize("part", [-0.8, 0.0, 0.4, 0.95])
def test_cloth_along_the_ribs_keeps_its_length_in_the_coil(fold: Spiral, part: float) -> None:
    # in the valley, at the crests and between: on the cloth, by 8.6, and as it lies in the disc
    r = np.linspace(0.05, 0.29, 4001)
    x, y = rib_lines(fold, r, part * np.pi / fold.pleats)
    plan = twist(fold, x, y).plan()
    steps = np.hypot(*np.diff(plan, axis=0).T)
    level = steps[steps < 1.5 * np.median(steps)]  # less the steps aside from flank to flank
    assert level.size > steps.size - 60
    # a flank stands up to half its own thickness beside the line: a curve parallel to one that
    # turns by w at a distance e is e w longer
    small = drawn_in(ribs_angle(fold, 1, RADIUS, 0.55e-3))
    beside = 0.55 * small**2 * fold.height * np.log(r[-1] / r[0]) / small
    assert beside < 0.025 * arc(fold, r)
    assert level.mean() * steps.size == pytest.approx(arc(fold, r), abs=beside)
    assert np.hypot(np.diff(x), np.diff(y)).sum() == pytest.approx(arc(fold, r), rel=1e-6)


@pytest.mark.parametrize("turns", [0.6, 1.0, 2.0])
@pytest.mark.parametrize("sense", ["right", "left"])
def test_the_coil_makes_the_turns_that_were_asked_for(turns: float, sense: str) -> None:
    fold = Spiral(HERE, 12, turns, 0.012, sense)  # type: ignore[arg-type]
    turn = -1.0 if sense == "right" else 1.0
    plan = twist(fold, *rib_lines(fold, np.geomspace(PINCH, RADIUS, 4001))).plan()
    swept = np.unwrap(np.arctan2(plan[:, 1], plan[:, 0]))
    assert (swept[-1] - swept[0]) * turn == pytest.approx(2.0 * np.pi * turns, abs=0.25)


def test_worked_coil() -> None:
    # 10 to 100 mm at b = 0.1 is 0.904489 m (8.6): tan of the angle to the radius is 10
    angle = np.arctan(10.0)
    u = np.linspace(np.log(0.01), np.log(0.1), 20_001)
    line = np.exp((1.0 + 1j * np.tan(angle)) * u)
    assert np.abs(np.diff(line)).sum() == pytest.approx(0.904489, abs=1e-5)
    assert (0.1 - 0.01) / np.cos(angle) == pytest.approx(0.904489, abs=1e-6)
    # so many turns from the pinch give that angle
    turns = np.log(0.1 / PINCH) / (2.0 * np.pi * 10.0)
    assert lean_angle(turns, 0.1) == pytest.approx(angle)


def test_cloth_is_not_twisted_tighter_than_it_is_thick() -> None:
    fold = Spiral(HERE, 12, 50.0, 0.05)
    layers, thick = 4, 0.55e-3
    angle = ribs_angle(fold, layers, RADIUS, thick)
    share = drawn_in(angle)
    # the disc is no smaller than the cloth in it: pi R^2 layers of it, pressed, H high
    assert np.pi * (share * RADIUS) ** 2 * fold.height == pytest.approx(
        np.pi * RADIUS**2 * layers * 0.6 * thick
    )
    most = most_turns(fold, layers, RADIUS, thick)
    assert ribs_angle(replace(fold, turns=most), layers, RADIUS, thick) == pytest.approx(angle)
    assert ribs_angle(replace(fold, turns=0.9 * most), layers, RADIUS, thick) > angle
    # and a lazy twist does not make a disc wider than the cloth
    assert drawn_in(ribs_angle(replace(fold, turns=0.05), layers, RADIUS, thick)) <= 1.0 + 1e-12


# ---------------------------------------------------------------------------------- the disc


@pytest.mark.parametrize("layers", [1, 2, 4])
@pytest.mark.parametrize("turns", [0.7, 1.0, 2.0])
def test_the_disc_is_as_large_as_its_cloth(layers: int, turns: float) -> None:
    out = twist(Spiral(HERE, 16, turns, 0.02), layers=layers)
    disc, area = out.disc, np.pi * RADIUS**2
    # cloth's volume at that packing
    volume = area * layers * disc.thickness
    assert np.pi * disc.reach**2 * disc.height == pytest.approx(volume, rel=5e-3)
    # and it is spread evenly: the share of cloth within a radius goes as its square
    for part in (0.5, 0.7, 0.9):
        assert (disc.radius < part * disc.reach).mean() == pytest.approx(part**2, abs=0.02)
    # a whole flank's cloth may lie beyond the mean edge
    assert disc.radius.max() < disc.reach + layers * disc.thickness


SPIRALS = st.builds(
    Spiral,
    st.just(HERE),
    st.integers(4, 40),
    st.floats(0.4, 3.0),
    st.floats(0.02, 0.1),
    st.sampled_from(["right", "left"]),
)


@settings(max_examples=15, deadline=None)
@given(SPIRALS, st.integers(0, 2**40), st.floats(0.0, 1.0))
def test_no_pleat_is_taller_than_the_disc(fold: Spiral, seed: int, neatness: float) -> None:
    out = twist(fold, layers=2, neatness=neatness, seed=seed)
    stack, disc = out.stack, out.disc
    for values in (stack.p, stack.q, disc.across, disc.down, disc.radius, disc.roof, stack.bend):
        assert np.all(np.isfinite(values))
    assert stack.q.min() >= -1e-9
    assert stack.q.max() <= fold.height + 1e-9
    assert disc.roof.max() <= fold.height + 1e-9
    assert np.all(stack.q <= disc.roof + TUCK * 0.55e-3 + 1e-9)  # two layers, one on the other
    assert stack.order.min() >= 0
    assert stack.order.max() < stack.layers
    assert np.all(np.bincount(disc.rib, minlength=fold.pleats) > 0)
    assert np.hypot(disc.across, disc.down) == pytest.approx(disc.radius, abs=1e-9)


@settings(max_examples=15, deadline=None)
@given(SPIRALS, st.integers(0, 2**40), st.floats(0.0, 1.0), st.floats(0.05, 0.28))
def test_neighbours_stay_neighbours_all_round(
    fold: Spiral, seed: int, neatness: float, radius: float
) -> None:
    out = twist(fold, *ring(radius), neatness=neatness, seed=seed)
    rib, here = out.disc.rib[out.marked], out.stack
    p, q, flank = here.p[out.marked], here.q[out.marked], here.order[out.marked]
    step = 2.0 * np.pi * radius / p.size
    a, b = np.arange(p.size), np.roll(np.arange(p.size), -1)
    # heights are continuous everywhere, over crests between ribs too
    assert np.abs(q[a] - q[b]).max() <= step * (1.0 + 0.1 * neatness) + 2e-5
    same = rib[a] == rib[b]
    assert np.abs(p[a] - p[b])[same].max() <= 3.0 * step
    assert np.abs(flank[a] - flank[b])[same].max() <= 1
    # from rib to rib the place along it changes as the coil lays them
    a, b = a[~same], b[~same]
    assert len(a) == fold.pleats
    onward = (rib[b] - rib[a]) % fold.pleats == 1
    low, high = np.where(onward, a, b), np.where(onward, b, a)
    back = out.disc.step_back[rib[low]]
    assert p[high] == pytest.approx(p[low] * back, abs=3.0 * step)
    assert np.all(back <= 1.0 + 1e-9)


def test_once_round_comes_back_one_winding_further_in() -> None:
    # the ribs' common perpendicular: a logarithmic spiral that winds in by exp(2 pi sin cos)
    for turns in (0.6, 1.0, 2.0):
        fold = Spiral(HERE, 24, turns, 0.03)
        out, angle = twist(fold), ribs_angle(fold, 1, RADIUS, 0.55e-3)
        exact = np.exp(-2.0 * np.pi * np.sin(angle) * np.cos(angle))
        assert out.disc.step_back.prod() == pytest.approx(exact, rel=0.02)


@pytest.mark.parametrize("layers", [1, 2])
def test_left_is_the_mirror_image_of_right(layers: int) -> None:
    rng = np.random.default_rng(2)
    r, way = RADIUS * np.sqrt(rng.uniform(0.0, 1.0, 3000)), rng.uniform(0.0, 2.0 * np.pi, 3000)
    x, y = r * np.cos(way), r * np.sin(way)
    right = twist(Spiral(HERE, 11, 1.3, 0.04, "right"), x, y, layers=layers)
    left = twist(Spiral(HERE, 11, 1.3, 0.04, "left"), x, -y, layers=layers)
    for name in ("p", "q", "order", "bend"):
        one, other = (getattr(out.stack, name)[out.marked] for out in (right, left))
        assert one == pytest.approx(other, abs=1e-9), name
    assert left.plan() == pytest.approx(right.plan() * (1.0, -1.0), abs=1e-9)
    assert np.array_equal(left.disc.rib[left.marked], right.disc.rib[right.marked])


def test_layers_turn_over_at_every_crease() -> None:
    # round a crest the lowest layers meet and the top one goes round; in a valley the top ones
    # meet. So along the pile the layers of one leg run up and those of the next run down.
    fold, layers = Spiral(HERE, 9, 1.0, 0.03), 3
    x, y = ring(0.25)
    found = [twist(fold, x, y, layers=layers, order=o) for o in range(layers)]
    orders = np.array([out.stack.order[out.marked] for out in found])
    leg, rank = orders // layers, orders % layers
    assert np.all(leg == leg[0])
    # each layer has a place of its own in the leg
    assert np.all(np.sort(rank, axis=0) == np.arange(layers)[:, None])
    q, rib = found[0].stack.q[found[0].marked], found[0].disc.rib[found[0].marked]
    far = np.roll(np.arange(x.size), -1)
    change = np.flatnonzero((leg[0] != leg[0][far]) & (rib == rib[far]))
    assert len(change) >= 3 * fold.pleats
    for i in change:
        first, second = (i, far[i]) if leg[0][i] < leg[0][far[i]] else (far[i], i)
        crest = q[i] > 0.5 * fold.height
        inner = 0 if crest else layers - 1
        assert rank[inner, first] == layers - 1  # the last of the leg that lies before
        assert rank[inner, second] == 0
    # so do the last leg of a rib and the first of the next, under their common crest or roof
    for i in np.flatnonzero(rib != rib[far]):
        first, second = (i, far[i]) if (rib[far[i]] - rib[i]) % fold.pleats == 1 else (far[i], i)
        rising = q[first] > q[_inside(first, rib, q)]
        inner = 0 if rising else layers - 1
        assert rank[inner, first] == layers - 1
        assert rank[inner, second] == 0


def _inside(i: int, rib: Floats, q: Floats) -> int:
    """A point a few steps further from the border of its rib."""
    for way in (5, -5):
        j = (i + way) % q.size
        if rib[j] == rib[i] and rib[(i + way // 5) % q.size] == rib[i]:
            return int(j)
    raise AssertionError(i)


def test_the_front_shows_above_and_the_back_below(shirt: Cloth) -> None:
    for outside, up in (("front", 0), ("back", 1)):
        flat = lay_flat(shirt, 3, outside=outside)
        out = spiral(
            flat,
            Spiral(HERE),
            np.array([0.0, 0.3]),
            thickness=0.55e-3,
            pitch=shirt.pitch,
            neatness=0.5,
            seed=3,
        )
        assert out.bend is not None
        assert out.disc is not None
        shown, panel = out.bend > 0.0, shirt.panel[out.cell]
        above = out.q > 0.5 * out.disc.roof
        assert np.all(panel[shown & above & (out.q > 0.011)] == up)
        assert np.all(panel[shown & ~above & (out.q < out.disc.roof - 0.011)] == 1 - up)
        # each face is covered about once over, by crests and valleys that lie side by side
        one, face = (shirt.pitch / 2) ** 2, np.pi * out.disc.reach**2
        for side in (above, ~above):
            assert 0.8 < (out.bend * side).sum() * one / face < 1.35


# ---------------------------------------------------------------------------------- the hand


def steepness(fold: Spiral, neatness: float, seed: int) -> Floats:
    """How fast points rise up the pleats, over the cloth that leads there, by differences."""
    rng = np.random.default_rng(seed)
    n, h = 4000, 1e-6
    r, way = rng.uniform(0.03, 0.29, n), rng.uniform(0.0, 2.0 * np.pi, n)
    x, y = r * np.cos(way), r * np.sin(way)
    x, y = np.concatenate([x, x + h, x]), np.concatenate([y, y, y + h])
    out = twist(fold, x, y, neatness=neatness, seed=seed)
    key = out.stack.order[out.marked] + 10**6 * out.disc.rib[out.marked]
    key, rise = key.reshape(3, n), out.stack.q[out.marked].reshape(3, n)
    whole = (key[0] == key[1]) & (key[0] == key[2])
    assert whole.mean() > 0.99
    return np.hypot(rise[1] - rise[0], rise[2] - rise[0])[whole] / h


@pytest.mark.parametrize("fold", COILS)
def test_a_tidy_twist_does_not_stretch(fold: Spiral) -> None:
    # heights are distances from the valley, so they change as fast as one goes there
    assert steepness(fold, 0.0, 1) == pytest.approx(1.0, abs=5e-3)
    assert abs(twist(fold).stack.strain99) < 5e-3


@pytest.mark.parametrize("pleats", [4, 10, 24])
@pytest.mark.parametrize("turns", [0.4, 1.0, 3.0])
def test_the_loosest_hand_stretches_a_tenth_at_most(
    shirt: Cloth, pleats: int, turns: float
) -> None:
    found = []
    for seed in range(4):
        flat = lay_flat(shirt, seed)
        for stack in (flat, halve(flat, Halve(), 0.0)):
            for centre in ((0.0, 0.3), (0.15, 0.6)):
                fold = Spiral(HERE, pleats, turns, 0.05, ("left", "right")[seed % 2])  # type: ignore[arg-type]
                given = {"thickness": 0.55e-3, "pitch": shirt.pitch, "seed": seed}
                made = spiral(stack, fold, np.array(centre), neatness=1.0, **given)  # type: ignore[arg-type]
                found.append(made.strain99)
    assert max(found) <= 0.1, max(found)
    assert min(found) > 0.01


def test_a_looser_hand_strays_further() -> None:
    found = [twist(Spiral(HERE), neatness=n).stack.strain99 for n in (0.0, 0.3, 0.6, 1.0)]
    assert found == sorted(found)
    assert found[1] > 0.005


@pytest.mark.parametrize("neatness", [0.5, 1.0])
def test_reported_stretch_covers_what_is_measured(neatness: float) -> None:
    fold = Spiral(HERE, 16, 1.0, 0.04)
    for seed in range(3):
        told = twist(fold, neatness=neatness, seed=seed).stack.strain99
        measured = np.quantile(steepness(fold, neatness, seed), 0.99) - 1.0
        assert 0.4 * told < measured < told + 5e-3


def test_the_same_pleats_at_every_pitch() -> None:
    rng = np.random.default_rng(3)
    x, y = rng.uniform(-0.2, 0.2, 400), rng.uniform(0.1, 0.65, 400)
    found = []
    for pitch in (8e-3, 4e-3):
        cloth = build_cloth(TEE, JERSEY, pitch)
        flat = lay_flat(cloth, 5)
        marked = replace(
            flat,
            cell=np.append(flat.cell, np.zeros(400, np.int32)),
            p=np.append(flat.p, x),
            q=np.append(flat.q, y),
            order=np.append(flat.order, np.ones(400, np.int32)),
        )
        # the same size of cloth to the last figure, since ribs lean by it
        own = np.sqrt(cloth.size * pitch**2 / marked.p.size * 4.0)
        own *= np.sqrt(1.0 / (cloth.size * pitch**2) * 0.8)
        made = spiral(
            marked,
            Spiral(HERE),
            np.array([0.0, 0.3]),
            thickness=0.55e-3,
            pitch=float(own),
            neatness=1.0,
            seed=5,
        )
        assert made.disc is not None
        found.append((made.p[-400:], made.q[-400:], made.disc.rib[-400:]))
    coarse, fine = found
    assert coarse[0] == pytest.approx(fine[0], abs=1e-9)
    assert coarse[1] == pytest.approx(fine[1], abs=1e-9)
    assert np.array_equal(coarse[2], fine[2])
