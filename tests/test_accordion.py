"""The accordion and the brick against folding theory, plane geometry and counting."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.lib.stride_tricks import sliding_window_view
from scipy import ndimage
from shapely import STRtree, get_parts, polygonize, union_all
from shapely.geometry import Polygon, box

from meltwick.cloth import build_cloth
from meltwick.folding import Stack, accordion, halve, lay_flat
from meltwick.folding.accordion import TUCK, axes, bend_share, creases
from meltwick.types import Accordion, Blank, Cloth, Fabric, Floats, Halve

JERSEY = Fabric("cotton jersey", 0.160, 0.55e-3, 1540.0)
TEE = Blank("tee", "tee", "M", {"half_chest": 0.51, "length": 0.74, "sleeve": 0.21})
SHEET = ((-0.3, 0.3), (0.0, 0.8))  # [m] across and down: what every sheet here covers
ALONG, ACROSS = 0.0, 0.5 * np.pi
LEANS = st.sampled_from(["right", "left"])


@pytest.fixture(scope="module")
def shirt() -> Cloth:
    return build_cloth(TEE, JERSEY, 8e-3)


def sheet(x: Floats, y: Floats, layers: int = 1, order: int | None = None) -> Stack:
    """Points of a flat sheet with a known rim, all of one layer, or each of its own choice."""
    if order is None:
        own = np.random.default_rng(0).integers(0, layers, x.size).astype(np.int32)
    else:
        own = np.full(x.size, order, np.int32)
    rim = np.array([(px, py) for px in SHEET[0] for py in SHEET[1]])
    return Stack(np.zeros(x.size, np.int32), x, y, own, layers, rim=rim)


def scattered(count: int, seed: int, layers: int = 1) -> Stack:
    rng = np.random.default_rng(seed)
    return sheet(rng.uniform(*SHEET[0], count), rng.uniform(*SHEET[1], count), layers)


def put(stack: Stack, *folds: Accordion, neatness: float = 0.0, **more: float) -> Stack:
    given = {"thickness": 0.55e-3, "pitch": 2e-3, "seed": 7} | more
    for number, fold in enumerate(folds, 1):
        stack = accordion(stack, fold, neatness=neatness, number=number, **given)  # type: ignore[arg-type]
    return stack


def frame(fold: Accordion, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Coordinates across the pleats and along the creases."""
    over, down = axes(fold)
    return x * over[0] + y * over[1], x * down[0] + y * down[1]


# ---------------------------------------------------------------------------------- one zigzag


@settings(max_examples=60, deadline=None)
@given(st.floats(0.0, np.pi / 2), LEANS)
def test_creases_run_at_their_angle(angle: float, lean: str) -> None:
    over, down = axes(Accordion(0.05, angle, lean))  # type: ignore[arg-type]
    assert over @ over == pytest.approx(1.0)
    assert over @ down == pytest.approx(0.0, abs=1e-12)
    # up the crease is up the garment, leaning towards its shoulder by the angle
    assert -down @ np.array([0.0, -1.0]) == pytest.approx(np.cos(angle))
    assert -down[0] == pytest.approx(np.sin(angle) * (1.0 if lean == "right" else -1.0))


@settings(max_examples=60, deadline=None)
@given(st.floats(0.02, 0.15), st.floats(0.0, np.pi / 2), LEANS, st.integers(0, 999))
def test_a_tidy_zigzag_is_a_triangle_wave(pleat: float, angle: float, lean: str, seed: int) -> None:
    fold = Accordion(pleat, angle, lean)  # type: ignore[arg-type]
    flat = scattered(300, seed)
    folded = put(flat, fold)
    u, v = frame(fold, flat.p, flat.q)
    first = frame(fold, flat.rim[:, 0], flat.rim[:, 1])[0].min()
    # distance from an even crease, by arccos of cos: not by counting pleats
    wave = first + pleat / np.pi * np.arccos(np.cos(np.pi * (u - first) / pleat))
    place, along = frame(fold, folded.p, folded.q)
    # arccos loses half its digits beside a crease
    clear = np.abs(np.sin(np.pi * (u - first) / pleat)) > 1e-3
    assert np.abs(place - wave)[clear].max() < 1e-9
    assert np.abs(along - v).max() < 1e-12
    assert np.array_equal(folded.order, np.floor((u - first) / pleat + 1e-12).astype(int))


@settings(max_examples=40, deadline=None)
@given(st.floats(0.02, 0.15), st.floats(0.0, np.pi / 2), st.integers(0, 999))
def test_every_pleat_is_an_isometry_and_every_second_one_turned_over(
    pleat: float, angle: float, seed: int
) -> None:
    flat = scattered(400, seed)
    folded = put(flat, Accordion(pleat, angle))
    before, after = (np.column_stack([s.p, s.q]) for s in (flat, folded))
    for k in np.unique(folded.order):
        here = folded.order == k
        if here.sum() < 3:
            continue
        far = [np.linalg.norm(v[here][:, None] - v[here][None], axis=2) for v in (before, after)]
        assert np.allclose(far[0], far[1], rtol=0.0, atol=1e-9)
        # folding theory: the determinant is +1 or -1 and alternates across creases
        (a, b, c), (d, e, f) = before[here][:3], after[here][:3]
        area = [np.linalg.det(np.stack([m - o, n - o])) for o, m, n in ((a, b, c), (d, e, f))]
        assert area[1] == pytest.approx((-1.0) ** k * area[0], abs=1e-12)


def test_layer_counts() -> None:
    # counting (8.4): n parallel creases make n + 1 layers; a shirt of two layers doubles them
    x = np.linspace(-0.29997, 0.29994, 6000)
    for pleats in (1, 2, 5, 9):
        fold = Accordion(0.6 / pleats)
        for layers in (1, 2):
            folded = put(sheet(x, np.full(x.size, 0.3), layers, layers - 1), fold)
            slope = np.diff(folded.p)
            slope = slope[np.abs(slope) > 0.99 * slope.max()]  # a step over a crease is shorter
            turns = np.flatnonzero(np.diff(np.sign(slope)))
            assert len(turns) == pleats - 1  # creases, read off the places
            assert folded.layers == layers * (len(turns) + 1)
            assert folded.order.max() // layers == len(turns)


@pytest.mark.parametrize("layers", [2, 4])
def test_a_pleat_reverses_the_order_in_every_second_flank(layers: int) -> None:
    x = np.linspace(-0.299, 0.299, 4001)
    found = [
        put(sheet(x, np.full(x.size, 0.3), layers, o), Accordion(0.06), thickness=0.0).order
        for o in range(layers)
    ]
    flank = found[0] // layers
    assert set(flank) == set(range(10))
    for low, high in pairwise(found):
        assert np.array_equal(low // layers, high // layers)
        assert np.array_equal(high - low, np.where(flank % 2 == 0, 1, -1))


def test_inner_layers_go_round_a_crease_inside_the_outer_ones() -> None:
    # at a crease n layers nest: each next one turns a layer's thickness earlier, and no wider
    x = np.linspace(-0.299, 0.299, 60_001)
    layers, tuck = 3, TUCK * 0.55e-3
    found = [put(sheet(x, np.full(x.size, 0.3), layers, o), Accordion(0.1)) for o in range(layers)]
    ends = np.array([(s.p.min(), s.p.max()) for s in found])
    assert ends[:, 0] == pytest.approx(-0.3 + tuck * np.arange(layers)[::-1], abs=3e-5)
    assert ends[:, 1] == pytest.approx(-0.2 - tuck * np.arange(layers), abs=3e-5)
    # places are continuous along each layer
    assert max(np.abs(np.diff(s.p)).max() for s in found) <= (x[1] - x[0]) * (1.0 + 1e-9)


def test_layers_times_area_is_the_garments_area(shirt: Cloth) -> None:
    # isometry (8.3): cut the outline along the creases, fold each piece by its corners, and
    # count with shapely how many pieces lie on every region of the pile
    fold = Accordion(0.07, 0.6, "left")
    over, down = axes(fold)
    outline = np.array(shirt.panels[0].outline.exterior.coords) / 1000.0
    flat = Polygon(np.column_stack([outline @ over, outline @ down]))
    first = (lay_flat(shirt, 1).rim @ over).min()
    edges = np.arange(first, flat.bounds[2] + 0.07, 0.07)
    cut = [flat & box(a, flat.bounds[1], b, flat.bounds[3]) for a, b in pairwise(edges)]
    pieces = [part for piece in cut for part in get_parts(piece)]
    assert sum(piece.area for piece in pieces) == pytest.approx(flat.area)
    folded = [_folded(shirt, fold, piece, over, down) for piece in pieces]
    regions = get_parts(
        polygonize([union_all([piece.exterior for piece in folded], grid_size=1e-7)])
    )
    tree = STRtree(folded)
    total = sum(
        region.area * len(tree.query(region.representative_point(), predicate="within"))
        for region in regions
    )
    assert total == pytest.approx(flat.area, rel=1e-6)
    assert max(len(tree.query(r.representative_point(), predicate="within")) for r in regions) > 6


def _folded(cloth: Cloth, fold: Accordion, piece: Polygon, over: Floats, down: Floats) -> Polygon:
    """Send a piece's corners through the fold; a hair inside, so that none changes pleat."""
    uv = np.array(piece.exterior.coords)
    middle = np.array(piece.representative_point().coords)
    uv = middle + (uv - middle) * (1.0 - 1e-9)
    x = uv[:, :1] * over + uv[:, 1:] * down
    none = np.zeros(len(x), np.int32)
    rim = lay_flat(cloth, 1).rim
    folded = put(Stack(none, x[:, 0], x[:, 1], none, 1, rim=rim), fold)
    assert len(set(folded.order)) == 1
    return Polygon(np.column_stack([folded.p, folded.q]))


# ---------------------------------------------------------------------------------- vertices


def gradient(x: Floats, y: Floats, folds: tuple[Accordion, ...]) -> tuple[Floats, Floats]:
    """Derivative (P, 2, 2) of the folded map, and which layer a point lies in."""
    h = 1e-7
    here, right, below = (
        put(sheet(px, py), *folds, thickness=0.0) for px, py in ((x, y), (x + h, y), (x, y + h))
    )
    columns = [((s.p - here.p) / h, (s.q - here.q) / h) for s in (right, below)]
    return np.array(columns).transpose(2, 1, 0), here.order


def corners_of(folds: tuple[Accordion, ...], step: float = 2e-3) -> Floats:
    """Places on the sheet where four layers meet, read off the folded map on a fine raster."""
    x = np.arange(SHEET[0][0] + 0.01, SHEET[0][1] - 0.01, step) + 0.37 * step
    y = np.arange(SHEET[1][0] + 0.01, SHEET[1][1] - 0.01, step) + 0.37 * step
    gx, gy = np.meshgrid(x, y)
    layer = put(sheet(gx.ravel(), gy.ravel()), *folds, thickness=0.0).order.reshape(gx.shape)
    near = sliding_window_view(layer, (3, 3)).reshape(len(y) - 2, len(x) - 2, 9)
    met = (np.diff(np.sort(near, axis=2), axis=2) > 0).sum(axis=2) >= 3
    blobs, count = ndimage.label(met, np.ones((3, 3)))
    middle = np.array(ndimage.center_of_mass(met, blobs, range(1, count + 1))) + 1.0
    return np.column_stack([x[0] + step * middle[:, 1], y[0] + step * middle[:, 0]])


def round_vertex(
    corner: Floats, folds: tuple[Accordion, ...], radius: float
) -> tuple[Floats, Floats, list[str]]:
    """Creases met on a circle round a vertex: where (n, 2), layers between, mountain or valley.

    Which of two neighbouring faces lies on the other is taken from their layers; the crease is
    a valley when the face that still faces up is the lower one.
    """
    turn = np.linspace(0.0, 2.0 * np.pi, 1441) + 1e-4

    def layer(angle: Floats) -> Floats:
        x, y = corner[0] + radius * np.cos(angle), corner[1] + radius * np.sin(angle)
        return put(sheet(x, y), *folds, thickness=0.0).order

    found = layer(turn)
    change = np.flatnonzero(np.diff(found))
    low, high = turn[change], turn[change + 1]
    for _ in range(30):  # bisect each change of layer
        middle = 0.5 * (low + high)
        same = layer(middle) == found[change]
        low, high = np.where(same, middle, low), np.where(same, high, middle)
    place = corner + radius * np.column_stack([np.cos(low), np.sin(low)])
    kinds = []
    for k in change:
        pair = turn[[k, k + 1]]
        x, y = corner[0] + radius * np.cos(pair), corner[1] + radius * np.sin(pair)
        slope, order = gradient(x, y, folds)
        sign = np.sign(np.linalg.det(slope))
        assert sign[0] == -sign[1]
        up = int(np.argmax(sign))
        kinds.append("valley" if order[1 - up] > order[up] else "mountain")
    return place, found[change], kinds


CROSSED = [
    (Accordion(0.11, ALONG), Accordion(0.13, ACROSS)),
    (Accordion(0.11, ACROSS), Accordion(0.09, ALONG)),
    (Accordion(0.12, ACROSS), Accordion(0.10, np.radians(60.0))),
    (Accordion(0.10, ALONG), Accordion(0.09, np.radians(35.0), "left")),
    (Accordion(0.12, np.radians(20.0)), Accordion(0.11, np.radians(75.0), "left")),
]


@pytest.mark.parametrize("folds", CROSSED)
def test_kawasaki_and_maekawa_at_every_crossing(folds: tuple[Accordion, Accordion]) -> None:
    corners = corners_of(folds)
    assert len(corners) >= 12
    seen = set()
    for corner in corners[:: len(corners) // 10]:
        inner, outer = (round_vertex(corner, folds, radius) for radius in (4e-3, 8e-3))
        assert len(inner[0]) == len(outer[0])
        # degree is even, and four creases meet where two accordions cross
        assert len(inner[0]) == 4
        assert inner[2] == outer[2]
        ways = outer[0] - inner[0]
        bearing = np.unwrap(np.arctan2(ways[:, 1], ways[:, 0]))
        between = np.diff(np.append(bearing, bearing[0] + 2.0 * np.pi)) % (2.0 * np.pi)
        # Kawasaki-Justin (8.1): alternate angles sum to 180 degrees
        assert between[::2].sum() == pytest.approx(np.pi, abs=1e-6)
        assert between[1::2].sum() == pytest.approx(np.pi, abs=1e-6)
        # Maekawa (8.2): |M - V| = 2
        assert abs(inner[2].count("mountain") - inner[2].count("valley")) == 2
        # no layer lies in two of the faces that meet
        assert len(set(inner[1])) == 4
        seen.add(inner[2].count("mountain"))
    assert seen == {1, 3}  # one kind at near edges, the other at far ones


# ---------------------------------------------------------------------------------- a loose hand


LOOSE = st.tuples(
    st.floats(0.025, 0.15), st.floats(0.0, np.pi / 2), st.integers(0, 2**40), st.floats(0.0, 1.0)
)


@settings(max_examples=60, deadline=None)
@given(LOOSE)
def test_creases_reach_over_the_cloth_and_keep_their_order(
    hand: tuple[float, float, int, float],
) -> None:
    pleat, _, seed, neatness = hand
    made = creases(seed, "pleats 1", 1, (-0.4, 0.7), (-0.3, 0.5), pleat, neatness)
    assert made.cloth[-1].min() > 0.7
    assert np.all(np.diff(made.cloth, axis=0) > 0.5 * pleat)
    # cloth between creases is as wide as the pleat it makes
    assert np.diff(made.cloth, axis=0) == pytest.approx(np.abs(np.diff(made.edge, axis=0)))
    # the pile's edges: even creases on one side, odd ones a pleat further
    assert made.edge[::2].max() < made.edge[1::2].min()


@settings(max_examples=40, deadline=None)
@given(LOOSE, st.booleans())
def test_folded_cloth_hangs_together(hand: tuple[float, float, int, float], twice: bool) -> None:
    pleat, angle, seed, neatness = hand
    folds = (Accordion(pleat, angle),) + ((Accordion(0.12, angle + 0.9),) if twice else ())
    rng = np.random.default_rng(seed)
    n, near = 3000, 1e-3
    x, y = rng.uniform(-0.299, 0.299, n), rng.uniform(0.001, 0.799, n)
    way = rng.uniform(0.0, 2.0 * np.pi, n)
    both = sheet(np.append(x, x + near * np.cos(way)), np.append(y, y + near * np.sin(way)), 2, 1)
    folded = put(both, *folds, neatness=neatness, seed=seed, thickness=0.0)
    p, q, order = (v.reshape(2, n) for v in (folded.p, folded.q, folded.order))
    # whether a crease lies between or not, neighbours stay neighbours
    apart = np.hypot(*(np.diff(v, axis=0)[0] for v in (p, q)))
    assert apart.max() <= near * (1.0 + 0.2 * neatness) ** len(folds) + 1e-12
    crossed = order[0] != order[1]
    assert crossed.any()
    # and inside a layer they keep their distance, near enough
    kept = apart[~crossed] / near
    assert np.quantile(kept, 0.01) >= 1.0 - 0.15 * neatness - 1e-6


@settings(max_examples=30, deadline=None)
@given(LOOSE)
def test_no_layer_is_used_by_two_flanks_at_one_place(
    hand: tuple[float, float, int, float],
) -> None:
    pleat, angle, seed, neatness = hand
    folds = (Accordion(pleat, angle), Accordion(0.12, angle + 0.9))
    folded = put(scattered(4000, seed % 1000), *folds, neatness=neatness, seed=seed)
    flat = scattered(4000, seed % 1000)
    # points that share layer and place must be neighbours on the cloth as well
    cellwise = np.column_stack([np.floor(folded.p / 4e-3), np.floor(folded.q / 4e-3)])
    rows = np.column_stack([cellwise, folded.order])
    _, group = np.unique(rows, axis=0, return_inverse=True)
    order = np.argsort(group.ravel(), kind="stable")
    same = np.diff(group.ravel()[order]) == 0
    a, b = order[:-1][same], order[1:][same]
    far = np.hypot(flat.p[a] - flat.p[b], flat.q[a] - flat.q[b])
    assert a.size > 0
    assert far.max() <= 4e-3 * np.sqrt(2.0) * (1.0 + 0.3 * neatness) + 1e-9


@pytest.mark.parametrize("angle", [ALONG, 0.6, ACROSS])
@pytest.mark.parametrize("pleat", [0.03, 0.06, 0.12, 0.3])
def test_the_loosest_hand_stretches_a_tenth_at_most(
    shirt: Cloth, pleat: float, angle: float
) -> None:
    found = []
    for seed in range(6):
        flat = lay_flat(shirt, seed)
        for stack in (flat, halve(flat, Halve(), 0.0)):
            given = {"neatness": 1.0, "seed": seed, "pitch": shirt.pitch}
            found.append(put(stack, Accordion(pleat, angle), **given).strain99)
            found.append(
                put(
                    stack, Accordion(pleat, angle), Accordion(0.1, ACROSS - angle), **given
                ).strain99
            )
    assert max(found) <= 0.1, max(found)
    assert min(found) > 0.005


def test_a_tidy_accordion_does_not_stretch_and_a_looser_one_strays_further(shirt: Cloth) -> None:
    flat = lay_flat(shirt, 2)
    found = [put(flat, Accordion(0.06, 0.5), neatness=n).strain99 for n in (0.0, 0.3, 0.6, 1.0)]
    assert abs(found[0]) < 1e-6
    assert found == sorted(found)
    assert found[1] > 0.002


def test_reported_stretch_is_what_is_measured() -> None:
    # by the change of area and length of small triangles, from folded places alone
    rng = np.random.default_rng(5)
    n, h = 4000, 1e-6
    x, y = rng.uniform(-0.29, 0.29, n), rng.uniform(0.02, 0.78, n)
    three = sheet(np.concatenate([x, x + h, x]), np.concatenate([y, y, y + h]))
    for seed in range(3):
        folded = put(three, Accordion(0.06, 0.3), neatness=1.0, seed=seed)
        place = np.array([folded.p, folded.q]).reshape(2, 3, n)
        layer = folded.order.reshape(3, n)
        whole = (layer[0] == layer[1]) & (layer[0] == layer[2])
        slopes = ((place[:, 1:] - place[:, :1]) / h)[:, :, whole].transpose(2, 0, 1)
        values = np.linalg.svd(slopes, compute_uv=False)[:, 0]
        assert folded.strain99 == pytest.approx(np.quantile(values, 0.99) - 1.0, abs=0.01)


def test_the_same_pleats_at_every_pitch() -> None:
    rng = np.random.default_rng(3)
    x, y = rng.uniform(-0.2, 0.2, 400), rng.uniform(0.1, 0.65, 400)
    found = []
    for pitch in (8e-3, 4e-3):
        flat = lay_flat(build_cloth(TEE, JERSEY, pitch), 11)
        marked = replace(
            flat,
            cell=np.append(flat.cell, np.zeros(400, np.int32)),
            p=np.append(flat.p, x),
            q=np.append(flat.q, y),
            order=np.append(flat.order, np.ones(400, np.int32)),
        )
        folds = (Accordion(0.07, 0.5), Accordion(0.1, 1.4))
        found.append(put(marked, *folds, neatness=1.0, seed=11, pitch=pitch))
    coarse, fine = found
    assert np.array_equal(coarse.order[-400:] % 2, fine.order[-400:] % 2)
    assert coarse.p[-400:] == pytest.approx(fine.p[-400:], abs=1e-9)
    assert coarse.q[-400:] == pytest.approx(fine.q[-400:], abs=1e-9)


# ---------------------------------------------------------------------------------- bends


@settings(max_examples=100, deadline=None)
@given(st.floats(1e-4, 0.02), st.floats(1e-3, 8e-3), st.floats(0.0, 1.0))
def test_a_bends_width_is_kept(half: float, step: float, off: float) -> None:
    # points a step apart on both sides of a crease share out 2 x half, however they fall
    place = (np.arange(-60, 61) + off) * step
    shares = bend_share(np.abs(place), half, step)
    assert np.all((shares >= 0.0) & (shares <= 1.0))
    if half < 55 * step:
        assert shares.sum() * step == pytest.approx(2.0 * half, rel=1e-9)


def test_only_outermost_layers_turn_outwards() -> None:
    x = np.arange(-0.3, 0.25, 1e-3) + 5e-4  # ends in the middle of a pleat
    layers = 4
    shown = [
        put(sheet(x, np.full(x.size, 0.3), layers, o), Accordion(0.1), pitch=2e-3).bend
        for o in range(layers)
    ]
    assert all(bend is not None for bend in shown)
    total = np.array([bend.sum() * 1e-3 for bend in shown])  # type: ignore[union-attr]
    # five creases of 0.55 m in 0.1 m pleats: three at the far edge, two at the near one
    wide = 2.0 * layers * TUCK * 0.55e-3
    assert total[0] == pytest.approx(3 * wide, rel=1e-6)
    assert total[-1] == pytest.approx(2 * wide, rel=1e-6)
    assert total[1:-1] == pytest.approx(0.0, abs=1e-12)


def test_a_second_accordion_keeps_what_shows_of_the_first() -> None:
    flat = scattered(20_000, 4)
    once, twice = put(flat, Accordion(0.1)), put(flat, Accordion(0.1), Accordion(0.1, ACROSS))
    assert once.bend is not None
    assert twice.bend is not None
    assert np.all(twice.bend >= once.bend)
    assert twice.bend.max() <= 1.0
    assert twice.bend.sum() > once.bend.sum()
