"""The scrunch: lengths kept, cloth drawn in as asked, no two creases alike, nothing lost."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import cKDTree
from tests.whole import check_bundle

from meltwick import chance
from meltwick.bundle import build_bundle, fold
from meltwick.cloth import build_cloth
from meltwick.constants import Constants
from meltwick.folding import lay_flat, scrunch
from meltwick.folding.scrunch import MOST, VARIED, extents, levels, pleats_of
from meltwick.plan import plan_from_text, resolve
from meltwick.stock import load_stock
from meltwick.types import Cloth, Round, Scrunch

STOCK = load_stock()
PITCH = 8e-3


def cloth_of(blank: str, pitch: float = PITCH) -> Cloth:
    return build_cloth(STOCK.blank(blank), STOCK.usual_fabric(blank), pitch)


def turn_of(fold_line: str, blank: str = "bandana") -> Round:
    text = f'[garment]\nblank = "{blank}"\n[[round]]\nfold = [{fold_line}]'
    return resolve(plan_from_text(text, "s.toml"), STOCK).rounds[0]


TEE, BANDANA = cloth_of("tee"), cloth_of("bandana")


@pytest.mark.parametrize("cloth", [TEE, BANDANA], ids=["tee", "bandana"])
def test_a_tidy_hand_keeps_every_length(cloth: Cloth) -> None:
    """Flat folding is an isometry on each facet (origami's first rule), so no step grows."""
    flat = lay_flat(cloth, 3)
    made = scrunch(flat, Scrunch(), pitch=PITCH, neatness=0.0, seed=3)
    assert made.strain99 == pytest.approx(0.0, abs=1e-6)
    rng = np.random.default_rng(0)
    a, b = rng.integers(0, flat.p.size, (2, 20_000))
    before = np.hypot(flat.p[a] - flat.p[b], flat.q[a] - flat.q[b])
    after = np.hypot(made.p[a] - made.p[b], made.q[a] - made.q[b])
    assert np.all(after <= before + 1e-9)
    near = before < 0.01
    assert np.count_nonzero(near) > 5
    # most neighbours lie on one facet, where their distance is the same to the last figure
    tree = cKDTree(np.column_stack([flat.p, flat.q]))
    pairs = tree.query_pairs(4e-3, output_type="ndarray")[:20_000]
    d0 = np.hypot(
        *(flat.p[pairs.T[0]] - flat.p[pairs.T[1]], flat.q[pairs.T[0]] - flat.q[pairs.T[1]])
    )
    d1 = np.hypot(
        *(made.p[pairs.T[0]] - made.p[pairs.T[1]], made.q[pairs.T[0]] - made.q[pairs.T[1]])
    )
    assert np.mean(np.abs(d1 - d0) < 1e-9) > 0.5


@pytest.mark.parametrize("draw", [2.5, 3.0, 4.0])
@pytest.mark.parametrize("bump", [0.02, 0.06])
def test_cloth_is_drawn_in_as_asked(draw: float, bump: float) -> None:
    for seed in range(3):
        flat = lay_flat(TEE, seed)
        made = scrunch(flat, Scrunch(draw, bump), pitch=PITCH, neatness=0.65, seed=seed)
        before = extents(np.column_stack([flat.p, flat.q]))
        after = extents(np.column_stack([made.p, made.q]))
        assert (before / after).mean() == pytest.approx(draw, rel=0.15)
        # drawn in from every side, not only from two
        assert (before / after).min() > 0.6 * draw
        assert (before / after).max() < 1.8 * draw
        # as many layers as area is lost (area is kept), the mound's outline being no rectangle
        ends = np.unique(np.floor(np.column_stack([made.p, made.q]) / (PITCH / 2)), axis=0)
        layers = TEE.size * 4.0 / len(ends)
        assert 0.6 * 2.0 * draw**2 < layers < 2.0 * 2.0 * draw**2


@pytest.mark.parametrize("bump", [0.015, 0.035, 0.06, 0.12])
def test_a_loose_hand_stretches_cloth_no_further_than_it_gives(bump: float) -> None:
    for seed in range(4):
        for draw in (1.5, 3.0, 5.0):
            spec = Scrunch(draw, bump)
            told = scrunch(lay_flat(TEE, seed), spec, pitch=PITCH, neatness=1.0, seed=seed).strain99
            assert 0.0 < told <= 0.1


def test_creases_run_every_way_at_uneven_widths() -> None:
    """Never a lattice: no direction is favoured and no width comes twice."""
    outline = lay_flat(TEE, 1).rim
    angles, widths = [], []
    for seed in range(20):
        made = pleats_of(outline, Scrunch(), 0.65, chance.key(seed, "scrunch", 1))
        assert 8 < made.angle.size < MOST
        angles.append(made.angle)
        widths.append(made.width)
    angle, width = np.concatenate(angles), np.concatenate(widths)
    # order parameters of directors and of squares: 1 for parallel creases, for a lattice
    assert abs(np.exp(2j * angle).mean()) < 0.3
    assert abs(np.exp(4j * angle).mean()) < 0.2
    assert width.std() > 0.15 * width.mean()
    assert width.max() <= Scrunch().bump * (1.0 + VARIED) + 1e-12


def test_sheets_come_to_lie_in_their_order_without_gaps() -> None:
    """A longest chain, by brute force over all pairs that overlap."""
    rng = np.random.default_rng(2)
    p, q = rng.uniform(0.0, 0.05, (2, 600))
    sheet = rng.permutation(np.repeat(np.arange(60), 10))
    # sheets are small: each its own patch
    p, q = 0.3 * p + 0.0007 * (sheet % 8), 0.3 * q + 0.002 * (sheet // 8)
    found = levels(p, q, sheet, 5e-3)
    place = np.floor((p - p.min()) / 5e-3) * 1000 + np.floor((q - q.min()) / 5e-3)
    level = {}
    for s in range(60):
        mine = set(place[sheet == s])
        under = [level[t] for t in range(s) if mine & set(place[sheet == t])]
        level[s] = max(under) + 1 if under else 0
    # a longest chain over all overlaps is one over neighbouring sheets of a column, too
    assert np.array_equal(found, [level[s] for s in sheet])


def test_the_same_mound_at_every_pitch() -> None:
    found = []
    for pitch in (8e-3, 4e-3):
        cloth = cloth_of("bandana", pitch)
        flat = lay_flat(cloth, 5)
        made = scrunch(flat, Scrunch(), pitch=pitch, neatness=1.0, seed=5)
        found.append((made.marks, made.rim))
        bundle = build_bundle(
            cloth, turn_of('{ kind = "scrunch" }'), neatness=0.65, seed=5, constants=Constants()
        )
        check_bundle(cloth, bundle)
        found[-1] += (bundle.layers.mean(), bundle.exposed.mean())
    coarse, fine = found
    assert coarse[0] == pytest.approx(fine[0], abs=1e-12)
    assert coarse[2] == pytest.approx(fine[2], rel=0.08)
    assert coarse[3] == pytest.approx(fine[3], abs=0.03)


def test_two_faces_show_and_the_rest_is_hidden() -> None:
    """The mound's two faces over all its cloth: about 2 / layers, since nothing else is outside."""
    turn = turn_of('{ kind = "scrunch" }')
    bundle = build_bundle(BANDANA, turn, neatness=0.65, seed=2, constants=Constants())
    made = fold(BANDANA, turn, 0.65, 2, 1)
    ends = np.unique(np.floor(np.column_stack([made.p, made.q]) / (PITCH / 2)), axis=0)
    assert bundle.exposed.mean() == pytest.approx(2.0 * len(ends) / made.p.size, rel=0.15)
    assert 0.4 < bundle.upward.sum() / bundle.exposed.sum() < 0.6
    assert turn.tie is not None
