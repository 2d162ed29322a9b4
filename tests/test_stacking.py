"""Columns, contacts and exposure against plain counting, shapely and the law of areas."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from meltwick import stacking
from meltwick.bundle import build_bundle, fold
from meltwick.cloth import build_cloth
from meltwick.constants import Constants
from meltwick.folding import Stack, halve, lay_flat
from meltwick.types import Blank, Cloth, Fabric, Halve, Ice, PoleWrap, Round, Soda, StringTie

JERSEY = Fabric("cotton jersey", 0.160, 0.55e-3, 1540.0)
TEE = Blank("tee", "tee", "M", {"half_chest": 0.51, "length": 0.74, "sleeve": 0.21})
CONSTANTS = Constants(stiffness=1e6, stiffness_power=3.0, solid_cap=0.75)
PIPE = 0.0483  # [m] outside, 1-1/2 in nominal, ASME B36.10M


@pytest.fixture(scope="module")
def shirts() -> dict[float, Cloth]:
    return {pitch: build_cloth(TEE, JERSEY, pitch) for pitch in (4e-3, 2e-3)}


def dyeing(*folds: Halve | PoleWrap, tie: StringTie | None = None) -> Round:
    return Round(
        folds=folds,
        tie=tie,
        soda=Soda("soaked before folding", 20.0),
        ice=(Ice(1.2, 0.03),),
        powder=(),
        incline=np.radians(15.0),
        rest_on="rack",
        room=293.15,
        batch_time=86400.0,
        batch_temperature=293.15,
        batch_cover="wrapped",
        wash="careful",
    )


STRING = StringTie(0.025, 20.0, 2e-3)


# ---------------------------------------------------------------------------------- pairs


@settings(max_examples=100, deadline=None)
@given(st.integers(2, 30), st.integers(0, 200), st.integers(0, 2**32 - 1))
def test_merged_pairs_are_each_pair_once(cells: int, count: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    a = rng.integers(0, cells, count)
    b = (a + rng.integers(1, cells, count)) % cells
    pairs = np.column_stack([a, b]).astype(np.int32)
    weight = rng.uniform(0.0, 1.0, count)
    found, total = stacking.merge_pairs(pairs, weight, cells)
    known, place = np.unique(np.sort(pairs, axis=1), axis=0, return_inverse=True)
    assert np.array_equal(found, known.reshape(-1, 2))
    assert total == pytest.approx(np.bincount(place.ravel(), weight, len(known)), rel=1e-12)
    # which way round a pair is written does not matter
    turned, again = stacking.merge_pairs(pairs[:, ::-1].copy(), weight, cells)
    assert np.array_equal(turned, found)
    assert np.array_equal(again, total)


# ---------------------------------------------------------------------------------- columns


def bricks(across: int, down: int, layers: int, keep: np.ndarray | None = None) -> Stack:
    """One point in the middle of every bin of every layer, each its own cell of 1 mm bins."""
    k, j, i = np.meshgrid(np.arange(layers), np.arange(down), np.arange(across), indexing="ij")
    keep = np.ones(k.size, dtype=bool) if keep is None else keep
    p, q, order = i.ravel()[keep] * 1e-3, j.ravel()[keep] * 1e-3, k.ravel()[keep]
    cell = np.arange(p.size, dtype=np.int32)
    return Stack(cell, p + 1e-6, q + 1e-6, order.astype(np.int32), layers)


def piled(stack: Stack, pitch: float = 2e-3) -> tuple[stacking.Columns, stacking.Stacked]:
    bins = stacking.columns(stack, pitch, 1.0)
    return bins, stacking.stack_up(stack, bins, int(stack.cell.max()) + 1)


@settings(max_examples=25, deadline=None)
@given(st.integers(2, 8), st.integers(2, 8), st.integers(1, 6))
def test_a_full_stack_by_counting(across: int, down: int, layers: int) -> None:
    stack = bricks(across, down, layers)
    bins, found = piled(stack)
    assert bins.area == pytest.approx(1e-6)
    assert np.array_equal(found.from_inside, stack.order)
    assert np.array_equal(found.from_outside, layers - 1 - stack.order)
    assert np.all(found.layers == layers)
    assert np.array_equal(found.exposed, (stack.order == layers - 1).astype(float))
    # each layer but the top touches the next once, over one bin
    plane = across * down
    known = np.column_stack([np.arange(plane * (layers - 1)), np.arange(plane, plane * layers)])
    assert np.array_equal(found.contacts, known)
    assert found.contact_area == pytest.approx(1e-6)
    # the film joins each top cell with its neighbours; half a cell wide, as bins are half cells
    assert len(found.film) == (across - 1) * down + across * (down - 1)
    assert found.film.min() >= plane * (layers - 1)
    assert found.film_width == pytest.approx(1.0 / 2.0)


def by_hand(stack: Stack, bins: stacking.Columns) -> np.ndarray:
    """Brute force: the points of the highest layer of each column."""
    out = np.zeros(stack.p.size)
    for column in np.unique(bins.column):
        here = np.flatnonzero(bins.column == column)
        out[here] = stack.order[here] == stack.order[here].max()
    return out


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(1, 5), st.integers(4, 60))
def test_no_point_is_lost(seed: int, layers: int, count: int) -> None:
    rng = np.random.default_rng(seed)
    stack = Stack(
        np.arange(count, dtype=np.int32),
        rng.uniform(0.0, 6e-3, count),
        rng.uniform(0.0, 6e-3, count),
        rng.integers(0, layers, count).astype(np.int32),
        layers,
    )
    bins, found = piled(stack)
    assert np.all(found.layers >= 1)
    assert np.array_equal(found.from_inside + found.from_outside + 1, found.layers)
    assert np.array_equal(found.exposed, (found.from_outside == 0).astype(float))
    # whatever is exposed is outermost of its column; a stand-in may lie over it, never under
    assert np.all(found.exposed <= by_hand(stack, bins))
    assert np.all(found.contacts[:, 0] < found.contacts[:, 1])
    assert len(np.unique(found.contacts, axis=0)) == len(found.contacts)
    # consecutive in a column and no others: orders differ, and places lie within two bins
    a, b = found.contacts[:, 0], found.contacts[:, 1]
    assert np.all(stack.order[a] != stack.order[b])
    reach = 1e-3 * (1 + stacking.PASSES)
    assert np.all(np.abs(stack.p[a] - stack.p[b]) <= 2 * reach)
    assert np.all(np.abs(stack.q[a] - stack.q[b]) <= 2 * reach)


def test_a_hole_is_closed_and_a_gap_is_not() -> None:
    layers, across, down = 2, 9, 7
    place = np.arange(layers * across * down)
    k, rest = np.divmod(place, across * down)
    j, i = np.divmod(rest, across)
    hole = (k == 1) & (i == 4) & (j == 3)
    _, closed = piled(bricks(across, down, layers, ~hole))
    assert closed.exposed.sum() == across * down - 1
    gap = (k == 1) & (np.abs(i - 4) <= 1) & (np.abs(j - 3) <= 1)
    stack = bricks(across, down, layers, ~gap)
    _, opened = piled(stack)
    bare = (stack.order == 0) & (opened.exposed > 0.0)
    # a gap three bins wide stays open: all nine below it are seen
    assert bare.sum() == 9


def test_round_the_pole_the_last_column_is_beside_the_first() -> None:
    around = 40
    theta = 2.0 * np.pi * (np.arange(around) + 0.5) / around
    radius = around * 1e-3 / (2.0 * np.pi)
    stack = Stack(
        np.arange(2 * around, dtype=np.int32),
        np.repeat([0.5e-3, 1.5e-3], around),
        np.tile(theta, 2),
        np.zeros(2 * around, np.int32),
        1,
        radius=radius,
    )
    stack = replace(stack, p=stack.p - 0.5e-3)
    bins = stacking.columns(stack, 2e-3, radius)
    assert bins.wraps
    assert bins.down == around
    assert bins.area == pytest.approx(1e-6)
    found = stacking.stack_up(stack, bins, 2 * around)
    assert [0, around - 1] in found.film.tolist()
    assert len(found.film) == 2 * around + around  # two rings closed on themselves, and between


# ---------------------------------------------------------------------------------- a shirt


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("pitch", [4e-3, 2e-3])
def test_only_cloth_that_is_not_covered_is_seen(
    shirts: dict[float, Cloth], pitch: float, seed: int
) -> None:
    # a shirt laid flat, front up: the back is seen where shapely says the front is not
    cloth = shirts[pitch]
    front, back = cloth.panels[0].outline, cloth.panels[1].outline
    stack = lay_flat(cloth, seed)
    _, found = piled(stack, pitch)
    below = stack.order == 0
    assert np.all(found.exposed[~below] == 1.0)
    share = back.difference(front).area / back.area
    # along the neck's half metre, up to two bins may be taken for either: 0.3 % of the back
    assert found.exposed[below].mean() == pytest.approx(share, abs=0.003 * pitch / 4e-3)
    points = shapely.points(1000.0 * stack.p[below], 1000.0 * stack.q[below])
    deep = shapely.contains(front.buffer(-1500.0 * pitch), points)
    assert found.exposed[below][deep].mean() < 5e-4
    # contact: where the two lie on each other
    overlap = front.intersection(back).area / (front.area + back.area)
    assert found.contact_area.sum() / (cloth.size * pitch**2) == pytest.approx(overlap, rel=0.01)


@pytest.mark.parametrize("seed", [1, 2])
def test_halved_layers_touch_three_times(shirts: dict[float, Cloth], seed: int) -> None:
    # four layers, three of them with another on top: contact over cloth area tends to 3/4
    cloth = shirts[2e-3]
    stack = halve(lay_flat(cloth, seed), Halve(), 0.0)
    bins, found = piled(stack, 2e-3)
    area = cloth.size * 4e-6
    _, one = np.unique(bins.column, return_index=True)
    # isometry: regions times their layers make up the garment
    assert found.layers[one].sum() * bins.area / area == pytest.approx(1.0, abs=0.01)
    height = found.layers[one]
    known = np.maximum(height - 1, 0).sum() * bins.area
    assert found.contact_area.sum() == pytest.approx(known, rel=0.01)


@pytest.mark.parametrize("pitch", [4e-3, 2e-3])
@pytest.mark.parametrize(
    "folds",
    [
        (PoleWrap(PIPE, 0.6, squeeze=3.0),),
        (Halve(), PoleWrap(PIPE, 0.6, squeeze=3.0)),
        (PoleWrap(0.0889, 0.0, squeeze=2.0),),
    ],
    ids=["pole", "halved", "stout pole"],
)
def test_areas_add_up_on_the_pole(
    shirts: dict[float, Cloth], pitch: float, folds: tuple[Halve | PoleWrap, ...]
) -> None:
    cloth = shirts[pitch]
    stack = fold(cloth, dyeing(*folds, tie=STRING), 0.5, 7, 1)
    flat = 0.55e-3 * (4 if len(folds) == 2 else 2)
    middle = stack.radius + 0.5 * 0.55e-3 * stack.layers
    bins = stacking.columns(stack, pitch, middle)
    found = stacking.stack_up(stack, bins, cloth.size)
    _, one = np.unique(bins.column, return_index=True)
    # a bin is measured at the middle radius; cloth at r takes up middle / r of its own area
    flank, layer = np.divmod(stack.order, stack.layers)
    inward = np.where(flank % 2 == 0, layer, stack.layers - 1 - layer)
    turn = inward * 0.55e-3 // flat * flat + flat * stack.q / (2.0 * np.pi)
    known = (middle / (stack.radius + turn)).mean()
    area = found.layers[one].sum() * bins.area / (cloth.size * pitch**2)
    assert area == pytest.approx(known, rel=0.02)


@pytest.mark.parametrize("neatness", [0.0, 0.5, 1.0])
@pytest.mark.parametrize("halved", [False, True])
def test_a_bundle_does_not_depend_on_its_pitch(
    shirts: dict[float, Cloth], neatness: float, halved: bool
) -> None:
    folds = ((Halve(),) if halved else ()) + (PoleWrap(PIPE, 0.6, squeeze=3.0),)
    coarse, fine = (
        build_bundle(
            shirts[pitch],
            dyeing(*folds, tie=STRING),
            neatness=neatness,
            seed=7,
            constants=CONSTANTS,
        )
        for pitch in (4e-3, 2e-3)
    )
    assert coarse.layers.mean() == pytest.approx(fine.layers.mean(), rel=0.03)
    assert coarse.exposed.mean() == pytest.approx(fine.exposed.mean(), abs=0.01)
    assert coarse.length == pytest.approx(fine.length, abs=4e-3)
    assert coarse.strain99 == pytest.approx(fine.strain99, abs=0.01)
    assert coarse.pressure.mean() == pytest.approx(fine.pressure.mean(), rel=0.03)
    assert coarse.contact_area.sum() == pytest.approx(fine.contact_area.sum(), rel=0.03)


def test_the_outside_of_the_bundle_is_a_turn_over_squeeze() -> None:
    # a square of cloth rolled straight: of its last turn, 1/squeeze is left outside
    side, spacing = 0.5, 0.02
    scarf = build_cloth(Blank("b", "square", "x", {"width": side, "height": side}), JERSEY, 2e-3)
    for squeeze in (2.0, 3.0, 4.0):
        straight = PoleWrap(PIPE, 0.0, squeeze=squeeze, even=True)
        made = build_bundle(
            scarf,
            dyeing(straight, tie=StringTie(spacing, 20.0, 2e-3)),
            neatness=0.0,
            seed=7,
            constants=CONSTANTS,
        )
        # N turns of thickness T: side = 2 pi R N + pi T N^2 (Archimedean spiral)
        thick, radius = 0.55e-3, 0.5 * PIPE
        turns = (np.sqrt(radius**2 + thick * side / np.pi) - radius) / thick
        last = 2.0 * np.pi * (radius + thick * (turns - 0.5)) / side
        # the pleat at the high end lies bare over its whole flank: up to (squeeze + 1)/2
        # spacings instead of one, on a pushed length of side / squeeze
        end = 0.5 * (squeeze + 1.0) * spacing / (side / squeeze)
        assert last / squeeze * 0.97 <= made.exposed.mean() <= last / squeeze * (1.03 + end)


def test_what_a_bundle_holds_is_sound(shirts: dict[float, Cloth]) -> None:
    cloth = shirts[4e-3]
    made = build_bundle(
        cloth,
        dyeing(Halve(), PoleWrap(PIPE, 0.6, squeeze=3.0), tie=STRING),
        neatness=0.5,
        seed=7,
        constants=CONSTANTS,
    )
    for pairs in (made.contacts, made.film):
        assert np.all(pairs[:, 0] < pairs[:, 1])
        assert len(np.unique(pairs, axis=0)) == len(pairs)
        assert pairs.max() < cloth.size
    for share in (made.exposed, made.upward, made.covered):
        assert share.min() >= 0.0
        assert share.max() <= 1.0
    assert np.all(made.upward <= made.exposed + 1e-12)
    # rain from above meets the half that faces up: mean of cos over a turn is 1/pi
    assert made.upward.sum() / made.exposed.sum() == pytest.approx(1.0 / np.pi, rel=0.05)
    # a string 2 mm thick every 25 mm covers about 2/25 of the outside
    covered = (made.covered * made.exposed).sum() / made.exposed.sum()
    assert covered == pytest.approx(2.0 / 25.0, rel=0.15)
    # Laplace: strings press T/(r s) on average, on top of the bundle's own weight
    radius = np.abs(made.across).max()
    assert 20.0 / (radius * 0.025) < made.pressure.mean() < 20.0 / (0.5 * PIPE * 0.025) + 1e3


def test_nothing_is_folded_after_the_pole(shirts: dict[float, Cloth]) -> None:
    with pytest.raises(ValueError, match="no fold"):
        fold(shirts[4e-3], dyeing(PoleWrap(PIPE, 0.6), Halve()), 0.5, 7, 1)
