"""Bundles without a pole, put down: counting, areas, the hoop law, and brute force."""

from __future__ import annotations

from dataclasses import fields, replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from tests.flats import JERSEY, flat_cloth

from meltwick.bundle import build_bundle, fold
from meltwick.bundle.faces import edges_of, spread_of
from meltwick.bundle.pole import BARE_PRESSURE
from meltwick.cloth import build_cloth
from meltwick.constants import Constants
from meltwick.folding import drawn_in, ribs_angle
from meltwick.folding.accordion import TUCK
from meltwick.stacking import side_by_side
from meltwick.stock import load_stock
from meltwick.types import (
    Accordion,
    BandTie,
    Bundle,
    Cloth,
    Floats,
    Fold,
    Halve,
    Round,
    Soda,
    Spiral,
    Spot,
    StringTie,
    Tie,
)

ACROSS = 0.5 * np.pi
STRING = StringTie(0.04, 20.0, 2e-3)
BANDS = BandTie(3, 10.0, 4e-3)
BUNDLES: dict[str, tuple[tuple[Fold, ...], Tie]] = {
    "along": ((Accordion(0.05),), STRING),
    "across": ((Accordion(0.05, ACROSS),), STRING),
    "slanting": ((Accordion(0.05, 0.7, "left"),), STRING),
    "brick": ((Accordion(0.08), Accordion(0.08, ACROSS)), STRING),
    "halved and pleated": ((Halve(), Accordion(0.05, ACROSS)), STRING),
    "chevron": ((Halve(), Accordion(0.05, 0.7)), STRING),
    "spiral": ((Spiral(Spot("chest")),), BANDS),
    "halved and twisted": ((Halve(), Spiral(Spot("chest"))), BANDS),
    "halved": ((Halve(), Halve("waist", "bottom")), STRING),
}
PILES = [name for name in BUNDLES if "twisted" not in name and name != "spiral"]


def dyeing(folds: tuple[Fold, ...], tie: Tie | None, lies: str = "", incline: float = 0.0) -> Round:
    return Round(
        folds=folds,
        tie=tie,
        soda=Soda("none", 0.0),
        ice=(),
        powder=(),
        incline=incline,
        rest_on="rack",
        room=293.15,
        batch_time=86400.0,
        batch_temperature=293.15,
        batch_cover="wrapped",
        wash="careful",
        lies=lies,  # type: ignore[arg-type]
    )


def bundle_of(cloth: Cloth, spec: Round, seed: int = 1, neatness: float = 0.5) -> Bundle:
    return build_bundle(cloth, spec, neatness=neatness, seed=seed, constants=Constants())


@cache
def garment(pitch: float) -> Cloth:
    stock = load_stock()
    return build_cloth(stock.blank("child tee", "6"), stock.fabric("cotton jersey"), pitch)


@cache
def made(name: str, pitch: float = 4e-3, seed: int = 1, lies: str = "") -> Bundle:
    folds, tie = BUNDLES[name]
    return bundle_of(garment(pitch), dyeing(folds, tie, lies), seed)


def area(cloth: Cloth) -> float:
    return cloth.size * cloth.pitch**2


# ---------------------------------------------------------------------------------- every bundle


@pytest.mark.parametrize("name", BUNDLES)
def test_a_bundle_is_whole(name: str) -> None:
    cloth, bundle = garment(4e-3), made(name)
    for field in fields(bundle):
        value = getattr(bundle, field.name)
        assert np.all(np.isfinite(value)), field.name
        if field.name != "across":
            assert np.min(value) >= 0.0, field.name
    for pairs, weight in ((bundle.contacts, bundle.contact_area), (bundle.film, bundle.film_width)):
        assert len(pairs) == len(weight) > 0
        assert np.all(weight > 0.0)
        assert np.all(pairs[:, 0] < pairs[:, 1])
        assert pairs.min() >= 0
        assert pairs.max() < cloth.size
        number = pairs[:, 0].astype(np.int64) * cloth.size + pairs[:, 1]
        assert np.all(np.diff(number) > 0)
    for share in (bundle.exposed, bundle.upward, bundle.covered):
        assert share.max() <= 1.0 + 1e-12
    assert np.all(bundle.upward <= bundle.exposed + 1e-12)
    assert np.all(bundle.layers >= 1.0)
    assert bundle.strain99 <= 0.1
    assert bundle.along.min() < 0.05 * bundle.length
    assert bundle.along.max() <= bundle.length + 1e-9
    # water gets from any cell to any other
    pairs = np.concatenate([cloth.edges, cloth.seams, bundle.contacts])
    graph = coo_matrix((np.ones(len(pairs)), pairs.T), shape=(cloth.size, cloth.size))
    assert connected_components(graph, directed=False)[0] == 1
    # film joins what lies outside; where a hole in the outer layer is closed, hardly any strays
    inner = np.any(bundle.exposed[bundle.film] == 0.0, axis=1)
    assert bundle.film_width[inner].sum() < 0.01 * bundle.film_width.sum()


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("name", BUNDLES)
def test_the_same_bundle_at_every_pitch(name: str, seed: int) -> None:
    coarse, fine = made(name, 4e-3, seed), made(name, 2e-3, seed)
    assert coarse.layers.mean() == pytest.approx(fine.layers.mean(), rel=0.03)
    assert coarse.exposed.mean() == pytest.approx(fine.exposed.mean(), abs=0.01)
    assert coarse.upward.mean() == pytest.approx(fine.upward.mean(), abs=0.01)
    assert coarse.length == pytest.approx(fine.length, abs=4e-3)
    assert np.ptp(coarse.height) == pytest.approx(np.ptp(fine.height), abs=5e-3)
    assert coarse.pressure.mean() == pytest.approx(fine.pressure.mean(), rel=0.06)
    touching = [b.contact_area.sum() / area(garment(p)) for b, p in ((coarse, 4e-3), (fine, 2e-3))]
    assert touching[0] == pytest.approx(touching[1], abs=0.01)


@pytest.mark.parametrize("name", PILES)
def test_contacts_are_all_cloth_but_one_layer(name: str) -> None:
    # in a column of n layers n - 1 faces touch: in all, the cloth less the pile's footprint
    cloth, bundle = garment(4e-3), made(name)
    stack = fold(cloth, dyeing(*BUNDLES[name]), 0.5, 1, 1)
    angle, step = stack.pleated or 0.0, cloth.pitch / 2
    u = stack.p * np.cos(angle) + stack.q * np.sin(angle)
    v = stack.q * np.cos(angle) - stack.p * np.sin(angle)
    footprint = len(np.unique(np.floor(np.column_stack([u, v]) / step), axis=0)) * step**2
    found = bundle.contact_area.sum()
    # layers of the footprint's ragged edges, and cells that lie on themselves at a crease, less
    assert found == pytest.approx(area(cloth) - footprint, rel=0.06)
    assert found < area(cloth) - 0.9 * footprint


@pytest.mark.parametrize("name", ["spiral", "halved and twisted"])
def test_a_disc_touches_all_through(name: str) -> None:
    cloth, bundle = garment(2e-3), made(name, 2e-3)
    assert 0.9 < bundle.contact_area.sum() / area(cloth) < 1.0


# ---------------------------------------------------------------------------------- outside


@pytest.mark.parametrize("layers", [1, 2])
@pytest.mark.parametrize("pitch", [5e-3, 2.5e-3])
def test_an_accordions_faces_by_geometry(layers: int, pitch: float) -> None:
    # 0.6 m in pleats of 0.1 m: each crease goes round its layers, so that the upper face is as
    # wide as the pile is thick, and as long as the creases
    folds: tuple[Fold, ...] = (Halve(), Accordion(0.1))[2 - layers :]
    width = 0.6 * layers
    cloth = flat_cloth(width, 0.5, pitch)
    if layers == 2:
        cloth = replace(cloth, x=cloth.x - 0.6, panels=(_moved(cloth, -600.0),))
    one, pleats = TUCK * JERSEY.thickness, 6 * layers
    standing = bundle_of(cloth, dyeing(folds, None, "pleats up"), neatness=0.0)
    cell = pitch**2
    assert standing.upward.sum() * cell == pytest.approx(pleats * one * 0.5, rel=0.06)
    assert np.ptp(standing.height) == pytest.approx(0.1, abs=2 * pitch)
    assert standing.length == pytest.approx(0.5, abs=pitch)
    # laid flat the top pleat faces up, and the creases are its sides
    lying = bundle_of(cloth, dyeing(folds, None, "flat"), neatness=0.0)
    assert lying.upward.sum() * cell == pytest.approx(0.1 * 0.5, rel=0.03)
    assert np.ptp(lying.across) == pytest.approx(0.1, abs=2 * pitch)
    assert np.array_equal(lying.contacts, standing.contacts)
    assert lying.exposed == pytest.approx(standing.exposed)
    assert lying.height.max() < pleats * JERSEY.thickness
    # every cell of the top crease lies within a bend of it
    high = standing.height[standing.upward > 0.0]
    assert high.min() > 0.1 - layers * one - 1.5 * pitch


def _moved(cloth: Cloth, by: float):  # type: ignore[no-untyped-def]
    from shapely.affinity import translate

    return replace(cloth.panels[0], outline=translate(cloth.panels[0].outline, by, 0.0))


@pytest.mark.parametrize("name", ["spiral", "halved and twisted"])
@pytest.mark.parametrize("seed", [1, 2])
def test_a_disc_is_covered_by_its_creases(name: str, seed: int) -> None:
    folds, _ = BUNDLES[name]
    cloth, bundle = garment(2e-3), made(name, 2e-3, seed)
    layers = 4 if name.startswith("halved") else 2
    reach = np.sqrt(area(cloth) / layers / np.pi)
    twist = folds[-1]
    assert isinstance(twist, Spiral)
    small = drawn_in(ribs_angle(twist, layers, reach, cloth.fabric.thickness))
    face, wall = np.pi * (small * reach) ** 2, 2.0 * np.pi * small * reach * twist.height
    cell = cloth.pitch**2
    assert 0.85 < bundle.upward.sum() * cell / face < 1.35
    # top, underside and side; a garment's outline is longer than a circle's
    below = (bundle.exposed - bundle.upward).sum() * cell - face
    assert 0.5 < below / wall < 2.2
    assert np.ptp(bundle.height) == pytest.approx(twist.height, rel=0.1)


def test_pleats_up_and_flat() -> None:
    for name in ("along", "brick", "chevron"):
        up, flat = made(name), made(name, lies="flat")
        assert np.array_equal(up.contacts, flat.contacts)
        assert up.exposed == pytest.approx(flat.exposed)
        assert np.ptp(up.height) > 1.8 * np.ptp(flat.height)
        assert np.ptp(flat.across) > 1.8 * np.ptp(up.across)
        # standing pleats show the rain their creases, a flat pile its top layer
        assert flat.upward.sum() > 3.0 * up.upward.sum()


def test_a_tilted_rack() -> None:
    folds, tie = BUNDLES["slanting"]
    level, tilt = made("slanting"), np.radians(20.0)
    tilted = bundle_of(garment(4e-3), dyeing(folds, tie, incline=tilt))
    assert tilted.height == pytest.approx(level.along * np.sin(tilt) + level.height * np.cos(tilt))


@pytest.mark.parametrize("name", ["along", "brick", "spiral"])
def test_water_can_run_all_over_the_top(name: str) -> None:
    cloth, bundle = garment(2e-3), made(name, 2e-3)
    graph = coo_matrix((np.ones(len(bundle.film)), bundle.film.T), shape=(cloth.size, cloth.size))
    _, part = connected_components(graph, directed=False)
    wet = part[bundle.upward > 0.02]
    assert np.bincount(wet).max() > 0.97 * wet.size


@pytest.mark.parametrize("name", [name for name in PILES if name != "halved"])
def test_no_water_leaps_from_one_end_to_the_other(name: str) -> None:
    bundle = made(name)
    a, b = bundle.film[:, 0], bundle.film[:, 1]
    apart = np.abs(bundle.along[a] - bundle.along[b])
    assert apart.max() < 0.5 * np.ptp(bundle.along)


def test_edges_strip_by_strip() -> None:
    step = 2.0**-10  # about a millimetre, without round-off
    along = np.repeat(np.arange(50) * step, 40)
    place = np.tile(np.arange(40) * step, 50) + 0.25 * along
    (near, low), (far, high) = edges_of(place, along, step)
    assert low == pytest.approx(0.25 * along)
    assert high == pytest.approx(0.25 * along + 39 * step)
    assert near.sum() == far.sum() == 50 * 11  # within a centimetre of the edge
    assert np.array_equal(spread_of(along, step), np.repeat(np.arange(50), 40))


def test_points_side_by_side_by_counting() -> None:
    # two lines of five points 2 mm apart, 3 mm wide; a gap in the second
    line = np.repeat([0, 1], 5)
    place = np.tile(np.arange(5) * 2e-3, 2)
    place[7:] += 0.1
    cell = np.arange(10, dtype=np.int32)
    mixed = np.random.default_rng(1).permutation(10)
    given = (line[mixed], place[mixed], np.full(10, 3e-3), cell[mixed])
    pairs, weight = side_by_side(*given, 1e-3, 0.04)  # type: ignore[arg-type]
    assert sorted(map(tuple, np.sort(pairs).tolist())) == [
        (0, 1), (1, 2), (2, 3), (3, 4), (5, 6), (7, 8), (8, 9)
    ]  # fmt: skip
    assert weight == pytest.approx(1.5)
    # nearer than the closest counts as the closest
    assert side_by_side(*given, 6e-3, 0.04)[1] == pytest.approx(0.5)  # type: ignore[arg-type]


# ---------------------------------------------------------------------------------- brute force


@pytest.mark.parametrize(
    "folds",
    [
        (Accordion(0.07),),
        (Accordion(0.06, 0.6),),
        (Accordion(0.07), Accordion(0.08, ACROSS)),
        (Accordion(0.08, ACROSS), Accordion(0.07, 0.9)),
    ],
)
@pytest.mark.parametrize("neatness", [0.0, 1.0])
def test_contacts_join_only_what_lies_on_each_other(
    folds: tuple[Fold, ...], neatness: float
) -> None:
    cloth = flat_cloth(0.32, 0.32, 8e-3)
    spec = dyeing(folds, None)
    bundle = bundle_of(cloth, spec, neatness=neatness)
    stack = fold(cloth, spec, neatness, 1, 1)
    angle, step = stack.pleated or 0.0, cloth.pitch / 2
    u = stack.p * np.cos(angle) + stack.q * np.sin(angle)
    v = stack.q * np.cos(angle) - stack.p * np.sin(angle)
    places = np.floor(np.column_stack([u - u.min(), v - v.min()]) / step).astype(int)
    columns: dict[tuple[int, int], list[int]] = {}
    for point, (i, j) in enumerate(places):
        columns.setdefault((i, j), []).append(point)
    touching = set()  # cells in one column with no layer between them
    for points in columns.values():
        layers = np.unique(stack.order[points])
        for low, high in pairwise(layers):
            for a in points:
                for b in points:
                    if stack.order[a] == low and stack.order[b] == high:
                        touching.add((stack.cell[a], stack.cell[b]))
                        touching.add((stack.cell[b], stack.cell[a]))
    known = np.array([(a, b) in touching for a, b in bundle.contacts])
    assert bundle.contact_area[known].sum() > 0.75 * bundle.contact_area.sum()
    # the rest go over a hole in a layer, closed with a point from a column or two away
    of_cell = [np.flatnonzero(stack.cell == c) for c in range(cloth.size)]
    for a, b in bundle.contacts[~known]:
        away = np.abs(places[of_cell[a]][:, None] - places[of_cell[b]][None]).sum(axis=2)
        apart = stack.order[of_cell[a]][:, None] != stack.order[of_cell[b]][None]
        assert away[apart].min() <= 4, (a, b)


def test_a_discs_contacts_join_neighbouring_flanks() -> None:
    cloth = replace(flat_cloth(0.48, 0.48, 8e-3), places={"middle": (0.24, 0.24)})
    spec = dyeing((Spiral(Spot("middle"), 9, 1.0, 0.04),), None)
    bundle = bundle_of(cloth, spec, neatness=0.5)
    stack = fold(cloth, spec, 0.5, 1, 1)
    disc = stack.disc
    assert disc is not None
    step = cloth.pitch / 2
    seen = 0
    for a, b in bundle.contacts:
        pa, pb = (np.flatnonzero(stack.cell == c) for c in (a, b))
        i, j = (v.ravel() for v in np.meshgrid(pa, pb))
        onward = (disc.rib[j] - disc.rib[i]) % disc.ribs
        back = (disc.rib[i] - disc.rib[j]) % disc.ribs
        level = np.abs(stack.q[i] - stack.q[j]) < 2.0 * step
        same = (onward == 0) & (np.abs(stack.p[i] - stack.p[j]) < 2.9 * step)
        next_one = (onward == 1) & (
            np.abs(stack.p[i] * disc.step_back[disc.rib[i]] - stack.p[j]) < 2.9 * step
        )
        before = (back == 1) & (
            np.abs(stack.p[j] * disc.step_back[disc.rib[j]] - stack.p[i]) < 2.9 * step
        )
        assert (level & (same | next_one | before)).any(), (a, b)
        seen += int((level & (next_one | before)).any() and not (level & same).any())
    assert seen > 50


# ---------------------------------------------------------------------------------- ties


def untied(bundle: Bundle, cloth: Cloth) -> float:
    """Mean pressure over the cloth, less what it has from its own folds [Pa]."""
    return float(bundle.pressure.mean()) - BARE_PRESSURE


@pytest.mark.parametrize(("pull", "spacing"), [(5.0, 0.04), (20.0, 0.02)])
@pytest.mark.parametrize("neatness", [0.0, 1.0])
def test_string_presses_by_the_hoop_law(pull: float, spacing: float, neatness: float) -> None:
    # Laplace: T/(r s), r of a round section as large as the pile's
    cloth = flat_cloth(0.5, 1.2, 5e-3)
    tie = StringTie(spacing, pull, 2e-3)
    # a loose hand winds now more strings, now fewer
    hands = range(6) if neatness else range(1)
    spec = dyeing((Accordion(0.05),), tie)
    bundles = [bundle_of(cloth, spec, seed, neatness) for seed in hands]
    # as thick as it is under that very pressure: phi^3 = phi0^3 + p/a (2.18), found by iterating
    loose, stiff, known = JERSEY.solid, Constants().stiffness, 0.0
    for _ in range(100):
        solid = min((loose**3 + (BARE_PRESSURE + known) / stiff) ** (1.0 / 3.0), 0.75)
        section = area(cloth) * JERSEY.thickness * loose / solid / bundles[0].length
        known = 0.5 * known + 0.5 * pull / (np.sqrt(section / np.pi) * spacing)
    found = np.mean([untied(bundle, cloth) for bundle in bundles])
    assert found == pytest.approx(known, rel=0.08)
    # and it hides as much of the outside as it is thick over its spacing
    hidden = [(b.covered * b.exposed).sum() / b.exposed.sum() for b in bundles]
    assert np.mean(hidden) == pytest.approx(2e-3 / spacing, rel=0.1)


def test_twice_the_pull_or_half_the_spacing() -> None:
    cloth = flat_cloth(0.5, 1.2, 5e-3)

    def pressed(spacing: float, pull: float) -> tuple[float, float]:
        tie = StringTie(spacing, pull, 2e-3)
        bundle = bundle_of(cloth, dyeing((Accordion(0.05),), tie), 3, 0.0)
        return untied(bundle, cloth), float(bundle.thickness.mean())

    usual, harder, closer = pressed(0.04, 10.0), pressed(0.04, 20.0), pressed(0.02, 10.0)
    for other in (harder, closer):
        # a little more than twice: the pile grows thinner, and its radius with it (5.1)
        assert 1.9 < other[0] / usual[0] < 2.6
        assert other[1] < usual[1]


def test_pressure_is_highest_under_the_string_and_outside() -> None:
    cloth = flat_cloth(0.5, 1.2, 5e-3)
    bundle = bundle_of(cloth, dyeing((Accordion(0.05),), StringTie(0.06, 20.0, 4e-3)), 3, 0.0)
    under = bundle.covered > 0.5
    assert bundle.pressure[under].mean() > 2.0 * bundle.pressure.mean()
    # peaks along the pile a spacing apart: their autocorrelation's first maximum
    outer = bundle.depth < 2e-3
    part = np.floor(bundle.along[outer] / 5e-3).astype(int)
    line = np.bincount(part, bundle.pressure[outer]) / np.maximum(np.bincount(part), 1)
    line = line - line.mean()
    lag = np.correlate(line, line, "full")[line.size - 1 :]
    assert 5e-3 * (5 + np.argmax(lag[5:40])) == pytest.approx(0.06, abs=5e-3)


@pytest.mark.parametrize("count", [2, 3, 5])
@pytest.mark.parametrize("neatness", [0.0, 0.5])
def test_bands_press_a_disc_by_the_hoop_law(count: int, neatness: float) -> None:
    # n bands lie over the middle of a disc, each 2 R long: over pi R^2 a mean of T 2 n / (pi R r)
    side = 0.6
    cloth = replace(flat_cloth(side, side, 6e-3), places={"middle": (0.3, 0.3)})
    tie = BandTie(count, 10.0, 4e-3)
    twist = Spiral(Spot("middle"), 12, 1.0, 0.05)
    bundle = bundle_of(cloth, dyeing((twist,), tie), 2, neatness)
    reach = side / np.sqrt(np.pi)
    wide = drawn_in(ribs_angle(twist, 1, reach, JERSEY.thickness)) * reach
    radius = np.sqrt(2.0 * wide * twist.height / np.pi)  # of a section as large as the disc's
    known = tie.pull * 2.0 * count / (np.pi * wide * radius)
    assert untied(bundle, cloth) == pytest.approx(known, rel=0.12)
    # a band hides its width along two radii of each face
    hidden = (bundle.covered * bundle.exposed).sum() / bundle.exposed.sum()
    assert hidden == pytest.approx(2.0 * count * tie.width / (np.pi * wide), rel=0.35)
    angle = np.arctan2(bundle.across, bundle.along - np.median(bundle.along))
    far = np.hypot(bundle.across, bundle.along - np.median(bundle.along)) > 0.5 * wide
    wedge = np.floor(np.mod(angle[far & (bundle.covered > 0.5)], np.pi) / np.pi * 36).astype(int)
    assert _runs(np.bincount(wedge, minlength=36) > 0) == count


def _runs(flags: Floats) -> int:
    """Runs of true in a ring of flags."""
    return int(np.sum(flags & ~np.roll(flags, 1)))


def test_no_tie_no_string() -> None:
    cloth = flat_cloth(0.5, 0.5, 5e-3)
    bundle = bundle_of(cloth, dyeing((Accordion(0.05),), None))
    assert np.all(bundle.pressure == BARE_PRESSURE)
    assert np.all(bundle.covered == 0.0)
