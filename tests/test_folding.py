"""Folds against plane geometry: isometry, the spiral, the knife pleat, and a hand's bounds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meltwick.cloth import build_cloth
from meltwick.folding import Stack, halve, lay_flat, wrap
from meltwick.folding.hand import rings
from meltwick.folding.pole import axes, roll_angle, squeeze_along
from meltwick.types import Blank, Cloth, Fabric, Halve, PoleWrap

JERSEY = Fabric("cotton jersey", 0.160, 0.55e-3, 1540.0)
TEE = Blank("tee", "tee", "M", {"half_chest": 0.51, "length": 0.74, "sleeve": 0.21})
PIPE = 0.0483  # [m] outside, 1-1/2 in nominal, ASME B36.10M
LINES = {"spine": ("left", "right"), "waist": ("top", "bottom")}
FOLDS = [Halve(line, side) for line, sides in LINES.items() for side in sides]  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def shirt() -> Cloth:
    return build_cloth(TEE, JERSEY, 8e-3)


def points(x: np.ndarray, y: np.ndarray, layers: int = 1, seed: int = 0) -> Stack:
    """Points of cloth laid flat, each in a layer of its own choice, inside a known rim."""
    order = np.random.default_rng(seed).integers(0, layers, x.size).astype(np.int32)
    rim = np.array([(-0.3, 0.0), (0.3, 0.0), (0.3, 0.8), (-0.3, 0.8)])
    return Stack(np.zeros(x.size, np.int32), x, y, order, layers, rim=rim)


def scattered(count: int, seed: int, layers: int = 1) -> Stack:
    rng = np.random.default_rng(seed)
    return points(rng.uniform(-0.3, 0.3, count), rng.uniform(0.0, 0.8, count), layers, seed)


def put(stack: Stack, fold: PoleWrap, spacing: float = 0.025, **more: float) -> Stack:
    given = {"thickness": 0.55e-3, "neatness": 0.0, "seed": 7} | more
    return wrap(stack, fold, spacing=spacing, **given)  # type: ignore[arg-type]


# ---------------------------------------------------------------------------------- halving


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(FOLDS), st.floats(-0.2, 0.2), st.integers(0, 999), st.integers(1, 4))
def test_halving_is_an_isometry_that_turns_cloth_over(
    fold: Halve, off: float, seed: int, layers: int
) -> None:
    middle = off + (0.4 if fold.line == "waist" else 0.0)
    flat = scattered(40, seed, layers)
    folded = halve(flat, fold, middle)
    across = flat.p if fold.line == "spine" else flat.q
    moving = across < middle if fold.moves in ("left", "top") else across > middle
    for side, sign in ((moving, -1.0), (~moving, 1.0)):
        before = np.column_stack([flat.p, flat.q])[side]
        after = np.column_stack([folded.p, folded.q])[side]
        if len(before) < 3:
            continue
        # lengths kept (folding theory), and the determinant's sign alternates across the crease
        far = [np.linalg.norm(v[:, None] - v[None], axis=2) for v in (before, after)]
        assert np.allclose(far[0], far[1], rtol=0.0, atol=1e-12)
        area = [np.cross(v[1:-1] - v[0], v[2:] - v[0]) for v in map(_solid, (before, after))]
        assert np.allclose(area[1][:, 2], sign * area[0][:, 2], rtol=0.0, atol=1e-12)
        # order: kept where cloth stays, reversed and above it where it is turned over
        if sign > 0:
            assert np.array_equal(folded.order[side], flat.order[side])
        else:
            assert np.array_equal(folded.order[side], 2 * layers - 1 - flat.order[side])
            assert folded.order[side].min() >= layers
    # everything ends up on the side that stays
    place = folded.p if fold.line == "spine" else folded.q
    assert np.all((place >= middle) if fold.moves in ("left", "top") else (place <= middle))


def _solid(plane: np.ndarray) -> np.ndarray:
    return np.column_stack([plane, np.zeros(len(plane))])


def test_layers_double(shirt: Cloth) -> None:
    # counting: a shirt starts at 2, n halvings give 2 x 2^n
    stack = lay_flat(shirt, 1)
    assert stack.layers == 2
    for n, fold in enumerate((FOLDS[0], FOLDS[2], FOLDS[1]), start=1):
        stack = halve(stack, fold, (0.0, 0.37, 0.1)[n - 1])
        assert stack.layers == 2 * 2**n
        assert stack.order.min() >= 0
        assert stack.order.max() < stack.layers


@pytest.mark.parametrize("fold", FOLDS)
def test_the_rim_is_folded_with_the_cloth(shirt: Cloth, fold: Halve) -> None:
    middle = 0.0 if fold.line == "spine" else 0.37
    stack = halve(lay_flat(shirt, 1), fold, middle)
    for rim, place in ((stack.rim[:, 0], stack.p), (stack.rim[:, 1], stack.q)):
        # a cell belongs to the garment when its centre does, so it reaches half a cell beyond
        assert rim.min() == pytest.approx(place.min(), abs=0.5 * shirt.pitch)
        assert rim.max() == pytest.approx(place.max(), abs=0.5 * shirt.pitch)


def test_a_side_that_is_not_the_lines() -> None:
    with pytest.raises(ValueError, match="spine"):
        halve(scattered(5, 0), Halve("spine", "top"), 0.0)


# ---------------------------------------------------------------------------------- the spiral


@settings(max_examples=60, deadline=None)
@given(st.floats(0.0, 3.0), st.floats(8e-3, 0.1), st.floats(1e-4, 5e-3))
def test_roll_angle_against_the_archimedean_spiral(
    length: float, radius: float, thickness: float
) -> None:
    # arc of r = a theta: (a/2)(theta sqrt(1 + theta^2) + asinh theta), a = T / (2 pi)
    a = thickness / (2.0 * np.pi)
    angle = float(roll_angle(np.array([length]), radius, thickness)[0])

    def arc(theta: float) -> float:
        return 0.5 * a * (theta * np.sqrt(1.0 + theta**2) + np.arcsinh(theta))

    exact = arc(radius / a + angle) - arc(radius / a)
    # what is left out is dr/ds: at most (a/R)^2 / 2 of the length
    assert exact >= length * (1.0 - 1e-9) - 1e-12  # round-off of the difference
    assert exact - length <= 0.5 * (a / radius) ** 2 * length + 1e-12


@pytest.mark.parametrize(("turns", "arc"), [(5, 0.789091), (10, 3.145837)])
def test_worked_spiral(turns: int, arc: float) -> None:
    # a spiral of 10 mm from its very centre, where the part left out counts most
    angle = roll_angle(np.array([arc]), 1e-9, 0.010)[0]
    assert angle / (2.0 * np.pi) == pytest.approx(turns, rel=3e-3 if turns == 5 else 1e-3)


def test_worked_roll() -> None:
    # L t = pi r^2: 1 m of 10 mm cloth, rolled on nothing, is 56.4 mm in radius
    angle = roll_angle(np.array([1.0]), 1e-9, 0.010)[0]
    assert 0.010 * angle / (2.0 * np.pi) == pytest.approx(0.0564, rel=1e-3)


@settings(max_examples=25, deadline=None)
@given(st.sampled_from([0.0213, 0.0334, PIPE, 0.1143]), st.floats(0.3e-3, 1e-3), st.integers(1, 4))
def test_turns_on_the_pole(diameter: float, thickness: float, layers: int) -> None:
    # cloth of width W and T thick fills the ring pi ((R + N T)^2 - R^2) = W T
    stack = points(np.linspace(-0.3, 0.3, 600), np.full(600, 0.4), layers)
    rolled = put(stack, PoleWrap(diameter, 0.0, even=True), thickness=thickness)
    radius, flat = 0.5 * diameter, layers * thickness
    turns = (np.sqrt(radius**2 + 0.6 * flat / np.pi) - radius) / flat
    assert rolled.layers == layers * (1 + int(turns))
    assert rolled.q.min() >= 0.0
    assert rolled.q.max() < 2.0 * np.pi


@settings(max_examples=30, deadline=None)
@given(
    st.floats(0.0, np.pi / 2),
    st.sampled_from(["left", "right"]),
    st.sampled_from(["hem", "shoulder"]),
)
def test_the_pole_lies_at_its_bias(bias: float, lean: str, starts: str) -> None:
    along, roll = map(np.array, axes(PoleWrap(PIPE, bias, lean, starts)))  # type: ignore[arg-type]
    assert along @ along == pytest.approx(1.0)
    assert roll @ roll == pytest.approx(1.0)
    assert along @ roll == pytest.approx(0.0, abs=1e-12)
    # the garment's length runs up, y down; the pole leans from it by the bias, to its shoulder
    assert along @ np.array([0.0, -1.0]) == pytest.approx(np.cos(bias))
    assert along[0] == pytest.approx(np.sin(bias) * (1.0 if lean == "right" else -1.0))
    # what lies on the pole first is what the roll has least of
    corner = np.array([0.0, 1.0 if starts == "hem" else -1.0])
    assert corner @ roll <= 1e-12


# ---------------------------------------------------------------------------------- pleats


def zigzag(fold: PoleWrap, spacing: float, layer: int = 0) -> tuple[np.ndarray, np.ndarray, Stack]:
    """A line of cloth up the garment at bias 0, finely sampled, and where it lands."""
    y = np.linspace(0.0, 0.8, 160_001)
    stack = points(np.full(y.size, 0.05), y, 2)
    stack = replace(stack, order=np.full(y.size, layer, np.int32))
    folded = put(stack, fold, spacing)
    return -y, folded.p, folded


@pytest.mark.parametrize("spacing", [0.02, 0.05])
@pytest.mark.parametrize("squeeze", [2.0, 3.0, 4.0])
@pytest.mark.parametrize("layer", [0, 1])
def test_knife_pleats(spacing: float, squeeze: float, layer: int) -> None:
    rise, place, _ = zigzag(PoleWrap(PIPE, 0.0, squeeze=squeeze, even=True), spacing, layer)
    slope = np.diff(place) / np.diff(rise)
    whole = np.abs(np.abs(slope) - 1.0) < 1e-6
    # lengths along the cloth are kept on every flank; only samples that span a crease differ
    assert (~whole).sum() <= 2 * 0.8 / (squeeze * spacing) + 2
    forward, back = (float((np.sign(slope[whole]) == s).mean()) for s in (1.0, -1.0))
    # lengths of whole flanks, between two creases
    turns = np.flatnonzero(np.diff(np.sign(slope)) != 0)
    runs = np.abs(np.diff(rise[turns + 1]))
    long, short = runs.max(), runs.min()
    step = 2.0 * abs(rise[1] - rise[0])
    assert long - short == pytest.approx(spacing, abs=2 * step)
    assert long + short == pytest.approx(squeeze * spacing, abs=2 * step)
    assert forward - back == pytest.approx(1.0 / squeeze, abs=0.15)
    # pushed length over cloth length is 1/squeeze, but for one flank at each end
    assert np.ptp(place) == pytest.approx(0.8 / squeeze, abs=long)


def test_a_pleat_turns_the_wall_over() -> None:
    # two layers at one place: the upper lies over the lower going forward, under it going back
    fold = PoleWrap(PIPE, 0.0, squeeze=3.0, even=True)
    (_, _, lower), (_, _, upper) = (zigzag(fold, 0.03, layer) for layer in (0, 1))
    flank = lower.order // lower.layers
    assert np.array_equal(flank, upper.order // upper.layers)
    assert np.array_equal(upper.order - lower.order, np.where(flank % 2 == 0, 1, -1))
    # flanks come one after another up the cloth, each over the one before
    assert np.all(np.isin(np.diff(flank), (0, -1)))
    # what the lower layer takes more of at the crease is a layer's thickness or less
    inset = lower.p - upper.p
    assert np.ptp(inset) < 1e-9
    assert abs(inset[0]) <= 0.55e-3


@pytest.mark.parametrize("squeeze", [2.0, 4.0])
def test_shingles_lie_over_one_another(squeeze: float) -> None:
    # the outermost at each place is a forward flank, within one spacing above its crest
    spacing = 0.03
    _, place, folded = zigzag(PoleWrap(PIPE, 0.0, squeeze=squeeze, even=True), spacing, 1)
    bins = np.floor((place - place.min()) / 1e-4).astype(int)
    top = np.full(bins.max() + 1, -1)
    np.maximum.at(top, bins, folded.order)
    outside = folded.order == top[bins]
    # two whole spacings, further from both ends than a forward flank is long
    inner = (place >= 0.08) & (place < 0.08 + 2 * spacing)
    assert place.max() - 0.08 - 2 * spacing > 0.5 * (squeeze + 1.0) * spacing
    assert np.all(folded.order[outside & inner] // folded.layers % 2 == 0)
    assert outside[inner].mean() == pytest.approx(1.0 / squeeze, rel=0.01)
    ring, gap = folded.ring, folded.gap
    assert ring is not None
    assert gap is not None
    assert np.all((ring >= 0.0) & (ring <= gap + 1e-12))
    assert gap == pytest.approx(spacing, rel=1e-9)


def test_an_uneven_push_is_tighter_at_the_low_end() -> None:
    fold = PoleWrap(PIPE, 0.0, squeeze=3.0)
    at = squeeze_along(fold)
    assert at.mean() == pytest.approx(3.0)
    assert np.all(np.diff(at) < 0.0)
    rise, place, _ = zigzag(fold, 0.02)
    lower, upper = (np.ptp(place[part]) for part in (rise < -0.4, rise > -0.4))
    assert lower < upper


# ---------------------------------------------------------------------------------- the hand


@pytest.mark.parametrize("seed", [1, 7, 2026])
@pytest.mark.parametrize("halved", [False, True])
def test_the_same_folds_at_every_pitch(seed: int, halved: bool) -> None:
    rng = np.random.default_rng(3)
    x, y = rng.uniform(-0.2, 0.2, 400), rng.uniform(0.1, 0.65, 400)
    fold = PoleWrap(PIPE, 0.6, squeeze=3.0)
    found = []
    for pitch in (8e-3, 4e-3, 2e-3):
        flat = lay_flat(build_cloth(TEE, JERSEY, pitch), seed)
        marked = replace(
            flat,
            cell=np.append(flat.cell, np.zeros(400, np.int32)),
            p=np.append(flat.p, x),
            q=np.append(flat.q, y),
            order=np.append(flat.order, np.ones(400, np.int32)),
        )
        if halved:
            marked = halve(marked, Halve(), 0.0)
        found.append(put(marked, fold, neatness=1.0, seed=seed))
    coarse, normal, fine = found
    for other in (coarse, normal):
        assert other.layers == fine.layers
        assert np.array_equal(other.order[-400:], fine.order[-400:])
        assert other.q[-400:] == pytest.approx(fine.q[-400:], abs=1e-9)
        # the low end is that of the outermost cell, so all may shift together by half a cell
        shift = other.p[-400:] - fine.p[-400:]
        assert np.ptp(shift) < 1e-9
        assert abs(shift[0]) < 4e-3


@settings(max_examples=60, deadline=None)
@given(
    st.integers(0, 2**32), st.floats(0.02, 0.05), st.floats(1.5, 4.0), st.sampled_from([0.02, 0.1])
)
def test_rings_cover_the_cloth(seed: int, spacing: float, squeeze: float, diameter: float) -> None:
    # narrow pleats may come one after another: there are rings enough even so, in their order
    made = rings(seed, 1, -0.5, 0.45, spacing * squeeze, np.full(3, squeeze), 1.0, 0.5 * diameter)
    assert made.cloth[0].max() <= -0.5
    assert made.cloth[-1].min() >= 0.45
    assert np.all(np.diff(made.cloth, axis=0) > 0.0)
    assert np.all(np.diff(made.pole, axis=0) > 0.0)
    # cloth is never asked to reach further than it is long
    assert np.all(np.diff(made.cloth, axis=0) >= np.diff(made.pole, axis=0))


def arc(folded: Stack, thickness: float) -> np.ndarray:
    """Cloth rolled up before each point, from its angle and its turn."""
    flank, layer = np.divmod(folded.order, folded.layers)
    whole = np.where(flank % 2 == 0, layer, folded.layers - 1 - layer)
    angle = folded.q + 2.0 * np.pi * whole
    return folded.radius * angle + thickness * angle**2 / (4.0 * np.pi)


def stretch(fold: PoleWrap, spacing: float, seed: int) -> float:
    """99th percentile of the greater singular value, less 1, from the folded places alone."""
    rng = np.random.default_rng(seed)
    n, step = 3000, 1e-6
    x, y = rng.uniform(-0.29, 0.29, n), rng.uniform(0.02, 0.78, n)
    three = points(np.concatenate([x, x + step, x]), np.concatenate([y, y, y + step]))
    folded = put(three, fold, spacing, neatness=1.0, seed=seed)
    place = np.array([folded.p, arc(folded, 0.55e-3)]).reshape(2, 3, n)
    flank = (folded.order // folded.layers).reshape(3, n)
    whole = (flank[0] == flank[1]) & (flank[0] == flank[2])
    jacobian = (place[:, 1:] - place[:, :1]) / step
    # a pair on two turns is inset along the pole by the thickness between them
    whole &= np.abs(jacobian).max(axis=(0, 1)) < 3.0
    assert whole.mean() > 0.98
    values = np.linalg.svd(jacobian[:, :, whole].transpose(2, 0, 1), compute_uv=False)
    return float(np.quantile(values[:, 0], 0.99)) - 1.0


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize(
    ("diameter", "spacing", "squeeze"),
    [(0.0213, 0.05, 4.0), (PIPE, 0.025, 3.0), (0.1143, 0.02, 2.0), (0.1143, 0.05, 4.0)],
)
def test_the_loosest_hand_hardly_stretches(
    diameter: float, spacing: float, squeeze: float, seed: int
) -> None:
    # a fold keeps lengths; cotton jersey gives, but a hand should not ask more than a tenth
    fold = PoleWrap(diameter, 0.6, squeeze=squeeze)
    assert 0.01 < stretch(fold, spacing, seed) <= 0.1


@pytest.mark.parametrize("diameter", [0.0213, PIPE, 0.1143])
@pytest.mark.parametrize("spacing", [0.02, 0.05])
@pytest.mark.parametrize("squeeze", [2.0, 4.0])
def test_reported_stretch_is_within_a_tenth(
    shirt: Cloth, diameter: float, spacing: float, squeeze: float
) -> None:
    found = []
    for seed in range(8):
        flat = lay_flat(shirt, seed)
        for stack in (flat, halve(flat, Halve(), 0.0)):
            fold = PoleWrap(diameter, 0.6, squeeze=squeeze)
            found.append(put(stack, fold, spacing, neatness=1.0, seed=seed).strain99)
    assert max(found) <= 0.1
    assert min(found) > 0.02


def test_reported_stretch_is_what_is_measured() -> None:
    fold = PoleWrap(PIPE, 0.6, squeeze=3.0)
    for seed in range(4):
        told = put(scattered(4000, 11), fold, neatness=1.0, seed=seed).strain99
        assert told == pytest.approx(stretch(fold, 0.025, seed), abs=0.01)


def test_a_tidy_wrap_does_not_stretch() -> None:
    # no hand at all: lengths are kept to the size of the differences' round-off
    assert put(scattered(4000, 1), PoleWrap(PIPE, 0.6, even=True)).strain99 < 1e-6


def test_a_looser_hand_strays_further() -> None:
    stack = scattered(500, 2)
    fold = PoleWrap(PIPE, 0.6, squeeze=3.0)
    strain = [put(stack, fold, neatness=n).strain99 for n in (0.0, 0.3, 0.6, 1.0)]
    assert strain == sorted(strain)
    assert strain[1] > 0.002
