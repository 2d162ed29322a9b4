"""Rosettes: centres thrown evenly, each twisted as a spiral is, all one bundle."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial import Delaunay, cKDTree
from shapely import contains_xy, unary_union
from tests.whole import check_bundle

from meltwick.bundle import build_bundle, fold
from meltwick.cloth import build_cloth
from meltwick.constants import Constants
from meltwick.folding import Stack, lay_flat, rosettes, throw
from meltwick.folding.rosettes import NEAREST
from meltwick.plan import plan_from_text, resolve
from meltwick.stock import load_stock
from meltwick.types import Cloth, Rosettes, Round

STOCK = load_stock()
PITCH = 8e-3
TURN = resolve(plan_from_text('[[round]]\nfold = [{ kind = "rosettes" }]', "r.toml"), STOCK).rounds[
    0
]


def cloth_of(blank: str, pitch: float = PITCH) -> Cloth:
    return build_cloth(STOCK.blank(blank), STOCK.usual_fabric(blank), pitch)


BANDANA = cloth_of("bandana")


def turn_of(**keys: object) -> Round:
    return replace(TURN, folds=(Rosettes(**keys),))


def made(cloth: Cloth = BANDANA, neatness: float = 0.65, seed: int = 2, **keys: object) -> Stack:
    return fold(cloth, turn_of(**keys), neatness, seed, 1)


@pytest.mark.parametrize("spacing", [0.06, 0.1, 0.16])
def test_centres_are_thrown_on_the_cloth_as_far_apart_as_asked(spacing: float) -> None:
    """Cloth of each, by Delaunay's triangles: sqrt(3)/2 of the spacing squared, as in a lattice."""
    outline = unary_union([panel.outline for panel in BANDANA.panels])
    areas = []
    for seed in range(4):
        flat = lay_flat(BANDANA, seed)
        found = throw(outline, flat.rim, spacing, seed, 1)
        near, _ = cKDTree(found).query(found, k=2)
        assert near[:, 1].min() >= NEAREST * spacing - 1e-12
        assert contains_xy(outline, *(1e3 * found.T)).all()
        # no hole is left where one more would fit
        darts = flat.rim.min(0) + np.random.default_rng(seed).random((500, 2)) * np.ptp(
            flat.rim, axis=0
        )
        inner = contains_xy(outline.buffer(-200.0 * spacing), *(1e3 * darts.T))
        away, _ = cKDTree(found).query(darts[inner])
        assert np.quantile(away, 0.99) < 1.1 * NEAREST * spacing
        inside = Delaunay(found)
        corners = found[inside.simplices[(inside.neighbors >= 0).all(axis=1)]]
        (ax, ay), (bx, by) = (corners[:, 1] - corners[:, 0]).T, (corners[:, 2] - corners[:, 0]).T
        areas.append(0.5 * np.abs(ax * by - ay * bx))
    own = 2.0 * np.concatenate(areas).mean()  # two triangles to a centre (Euler)
    assert np.sqrt(own * 2.0 / np.sqrt(3.0)) == pytest.approx(spacing, rel=0.1)


def test_centres_are_the_same_at_every_pitch() -> None:
    coarse, fine = (made(cloth_of("bandana", pitch)) for pitch in (8e-3, 4e-3))
    assert coarse.disc is not None
    assert fine.disc is not None
    assert coarse.disc.ribs == fine.disc.ribs
    assert coarse.disc.middles == pytest.approx(fine.disc.middles, abs=3e-3)
    for cloth in (BANDANA, cloth_of("bandana", 4e-3)):
        check_bundle(cloth, build_bundle(cloth, TURN, neatness=0.65, seed=2, constants=Constants()))


@pytest.mark.parametrize("neatness", [0.0, 0.65, 1.0])
@pytest.mark.parametrize(
    "keys",
    [{}, {"spacing": 0.3, "turns": 1.5}, {"pleats": 6, "turns": 0.3}, {"height": 0.06}],
    ids=str,
)
def test_cloth_gives_way_only_so_far(neatness: float, keys: dict[str, float]) -> None:
    stack = made(BANDANA, neatness, 1, **keys)
    assert stack.disc is not None
    assert stack.strain99 <= (0.1 if neatness else 2e-3)
    assert stack.q.min() >= -1e-12
    assert stack.q.max() <= stack.disc.height + 1e-12
    assert np.isfinite(stack.disc.radius).all()


def test_each_rosette_has_its_pleats_and_its_cloth() -> None:
    stack = made(pleats=7)
    disc = stack.disc
    assert disc is not None
    assert disc.owner is not None
    assert disc.middles is not None
    assert disc.after is not None
    count = len(disc.middles)
    assert disc.ribs == 7 * count
    assert set(np.unique(disc.owner)) == set(range(count))
    # every rib belongs to one rosette, and following the next leads round that rosette alone
    for c in range(count):
        ribs = set(np.unique(disc.rib[disc.owner == c]))
        assert ribs <= set(range(7 * c, 7 * c + 7))
    step = np.arange(disc.ribs)
    for _ in range(7):
        step = disc.after[step]
        assert np.array_equal(step // 7, np.arange(disc.ribs) // 7)
    assert np.array_equal(step, np.arange(disc.ribs))
    # each stands round its middle, no further off than its cloth drawn in
    for c in range(count):
        mine = disc.owner == c
        off = np.hypot(disc.across[mine] - disc.middles[c, 0], disc.down[mine] - disc.middles[c, 1])
        assert off.max() < 0.16


def test_a_disc_holds_its_cloth() -> None:
    """Cloth's volume at the packing that the disc says (area law, exact for a spiral)."""
    stack = made(neatness=0.0)
    disc = stack.disc
    assert disc is not None
    filled = np.pi * disc.reach**2 * disc.height
    assert filled == pytest.approx(BANDANA.size * PITCH**2 * disc.thickness, rel=0.1)


def test_the_other_way_round_is_the_mirror_image() -> None:
    """Mirror cloth and centres: a twist to the left is one to the right, seen in a mirror."""
    flat = lay_flat(BANDANA, 1)
    centres = np.array([[-0.1, 0.1], [0.13, 0.2], [0.0, 0.4]])
    keys = {"thickness": 0.4e-3, "pitch": PITCH, "neatness": 0.0, "seed": 3}
    right = rosettes(flat, Rosettes(sense="right"), centres, **keys)
    left = rosettes(flat, Rosettes(sense="left"), centres, **keys)
    assert right.disc is not None
    assert left.disc is not None
    # the sign of the way round against the radius, on the disc
    for c in range(3):
        mine = right.disc.owner == c
        turns = []
        for one in (right.disc, left.disc):
            x, y = one.across[mine] - one.middles[c, 0], one.down[mine] - one.middles[c, 1]
            flat_way = np.arctan2(flat.q[mine] - centres[c, 1], flat.p[mine] - centres[c, 0])
            r = np.hypot(flat.p[mine] - centres[c, 0], flat.q[mine] - centres[c, 1])
            wound = np.exp(1j * (np.arctan2(y, x) - flat_way))
            slopes = np.linspace(-6.0, 6.0, 241)
            # how the disc turns against the cloth with the logarithm of the radius
            power = [abs((wound * np.exp(-1j * s * np.log(r))).mean()) for s in slopes]
            turns.append(slopes[int(np.argmax(power))])
        assert turns[0] * turns[1] < 0.0
        assert turns[0] == pytest.approx(-turns[1], rel=0.2)


def test_neighbours_press_on_each_other() -> None:
    bundle = build_bundle(BANDANA, TURN, neatness=0.65, seed=2, constants=Constants())
    stack = made()
    assert stack.disc is not None
    assert stack.disc.owner is not None
    whose = np.full(BANDANA.size, -1)
    whose[stack.cell] = stack.disc.owner
    between = whose[bundle.contacts[:, 0]] != whose[bundle.contacts[:, 1]]
    area = bundle.contact_area[between].sum()
    # at most the rosettes' upright sides, a good part of them
    sides = 2.0 * np.pi * stack.disc.reach * np.sqrt(len(stack.disc.middles)) * stack.disc.height
    assert 0.1 * sides < area < sides
