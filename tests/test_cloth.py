"""The cloth's raster against shapely, the trade's measures and plain counting."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from shapely.geometry import LineString, Polygon, box

from meltwick.cloth import CUTS, build_cloth, details
from meltwick.cloth.raster import Grid, covered, inside
from meltwick.errors import MeltwickError, PlanError, StockError
from meltwick.types import Blank, Cloth, Fabric, Panel

JERSEY = Fabric("cotton jersey", 0.160, 0.55e-3, 1540.0)
# Half-chest, length, sleeve of adult sizes: common trade practice, from memory.
MEASURES = {
    "S": (0.46, 0.71, 0.20),
    "M": (0.51, 0.74, 0.21),
    "L": (0.56, 0.76, 0.22),
    "XL": (0.61, 0.79, 0.23),
}


def tee(size: str = "M", **more: float) -> Blank:
    chest, length, sleeve = MEASURES[size]
    return Blank(
        "tee", "tee", size, {"half_chest": chest, "length": length, "sleeve": sleeve} | more
    )


def bandana(width: float = 22 * 0.0254) -> Blank:
    return Blank("bandana", "square", "22 in", {"width": width})


@pytest.fixture(scope="module", params=["tee", "square"])
def any_cloth(request: pytest.FixtureRequest) -> Cloth:
    return build_cloth({"tee": tee(), "square": bandana()}[request.param], JERSEY, 4e-3)


@pytest.fixture(scope="module")
def shirt() -> Cloth:
    return build_cloth(tee(), JERSEY, 2e-3)


def raster_area(cloth: Cloth) -> float:
    return cloth.size * cloth.pitch**2


def polygon_area(cloth: Cloth) -> float:
    return sum(panel.outline.area for panel in cloth.panels) / 1e6


# ---------------------------------------------------------------------------------- area, mass


@pytest.mark.parametrize("size", MEASURES)
def test_raster_area_is_the_polygons(size: str) -> None:
    cloth = build_cloth(tee(size), JERSEY, 2e-3)
    assert raster_area(cloth) == pytest.approx(polygon_area(cloth), rel=0.005)


@pytest.mark.parametrize("pitch", [0.5e-3, 1e-3, 3e-3, 5e-3, 10e-3])
def test_raster_area_converges(pitch: float) -> None:
    cloth = build_cloth(tee(), JERSEY, pitch)
    # a border of about 5 m can be off by a small part of a cell along its length
    assert raster_area(cloth) == pytest.approx(polygon_area(cloth), rel=0.005 * pitch / 2e-3 + 1e-4)


def test_tee_has_the_trades_area_and_mass(shirt: Cloth) -> None:
    # Trade measures of a tee M give about 0.91 m2 in both layers if neck and shoulders are left
    # uncut (0.51 x 0.74 m and two sleeves of 0.21 x 0.19 m); the cut takes up to a seventh.
    assert 0.91 * 6 / 7 < raster_area(shirt) < 0.91
    # A medium shirt weighs 130 to 155 g (apparelbus.com, read).
    mass = shirt.mass_per_area.sum() * shirt.pitch**2
    assert 0.130 < mass < 0.155


def test_sizes_grow() -> None:
    areas = [raster_area(build_cloth(tee(size), JERSEY, 4e-3)) for size in MEASURES]
    assert areas == sorted(areas)
    assert areas[-1] > 1.3 * areas[0]


@pytest.mark.parametrize("pitch", [4e-3, 1e-3])
def test_mass_and_bare_area_do_not_depend_on_pitch(shirt: Cloth, pitch: float) -> None:
    other = build_cloth(tee(), JERSEY, pitch)
    for field in ("mass_per_area", "thickness"):
        mine, theirs = (getattr(c, field).sum() * c.pitch**2 for c in (shirt, other))
        assert theirs == pytest.approx(mine, rel=0.005)
    # the label is a few cells wide, so its area is good to half a cell on every side
    bare = [(~c.dyeable).sum() * c.pitch**2 for c in (shirt, other)]
    assert bare[1] == pytest.approx(bare[0], abs=pitch * 66e-3 + 0.05 * bare[0])


def test_bandana_is_its_square() -> None:
    cloth = build_cloth(bandana(), JERSEY, 2e-3)
    assert [panel.name for panel in cloth.panels] == ["front"]
    # 22 in = 0.5588 m (an inch is 25.4 mm)
    assert raster_area(cloth) == pytest.approx(0.5588**2, rel=0.005)
    assert len(cloth.seams) == 0


# ---------------------------------------------------------------------------------- the raster


def test_a_cell_belongs_when_its_centre_is_inside(any_cloth: Cloth) -> None:
    for panel in any_cloth.panels:
        rows, cols = np.indices(panel.index.shape)
        x = 1000 * (panel.origin[0] + (cols + 0.5) * any_cloth.pitch)
        y = 1000 * (panel.origin[1] + (rows + 0.5) * any_cloth.pitch)
        expected = shapely.contains_xy(panel.outline, x, y)
        np.testing.assert_array_equal(panel.index >= 0, expected)


def test_cells_are_numbered_panel_after_panel_row_after_row(any_cloth: Cloth) -> None:
    numbers = np.concatenate([p.index[p.index >= 0] for p in any_cloth.panels])
    np.testing.assert_array_equal(numbers, np.arange(any_cloth.size))
    for number, panel in enumerate(any_cloth.panels):
        cells = np.arange(panel.first, panel.first + panel.count)
        assert np.all(any_cloth.panel[cells] == number)
        assert np.all(panel.index[any_cloth.row[cells], any_cloth.col[cells]] == cells)
        left, top = panel.origin
        x = left + (any_cloth.col[cells] + 0.5) * any_cloth.pitch
        y = top + (any_cloth.row[cells] + 0.5) * any_cloth.pitch
        np.testing.assert_allclose(any_cloth.x[cells], x, atol=1e-12)
        np.testing.assert_allclose(any_cloth.y[cells], y, atol=1e-12)


def test_left_is_right(any_cloth: Cloth) -> None:
    for panel in any_cloth.panels:
        mask = panel.index >= 0
        np.testing.assert_array_equal(mask, mask[:, ::-1])
        other = np.where(mask, panel.index[:, ::-1], 0)[mask]
        here = panel.index[mask]
        np.testing.assert_array_equal(any_cloth.zone[here], any_cloth.zone[other])
        np.testing.assert_allclose(any_cloth.x[here], -any_cloth.x[other], atol=1e-12)
        np.testing.assert_allclose(any_cloth.thickness[here], any_cloth.thickness[other], rtol=1e-6)


@pytest.mark.parametrize("width", [0.500, 0.506, 0.510, 0.514])
@pytest.mark.parametrize("pitch", [2e-3, 4e-3])
def test_borders_through_the_middle_of_cells_count_alike(width: float, pitch: float) -> None:
    """Of the piece and of its zones: a fifth of 0.510 m ends on a cell's centre too."""
    cloth = build_cloth(bandana(width), JERSEY, pitch)
    index = cloth.panels[0].index
    np.testing.assert_array_equal(index >= 0, index[:, ::-1] >= 0)
    here = index >= 0
    zone = cloth.zone[index[here]]
    np.testing.assert_array_equal(zone, cloth.zone[index[:, ::-1][here]])
    assert raster_area(cloth) == pytest.approx(polygon_area(cloth), rel=2 * pitch / width)


def test_edges_join_neighbours_within_a_panel(any_cloth: Cloth) -> None:
    a, b = any_cloth.edges.T
    assert any_cloth.edges.dtype == np.int32
    assert np.all(any_cloth.panel[a] == any_cloth.panel[b])
    down = any_cloth.row[b] - any_cloth.row[a]
    right = any_cloth.col[b] - any_cloth.col[a]
    assert np.all((down == 1) & (right == 0) | (down == 0) & (right == 1))
    # counted the slow way: every cell that has a cell to its right, and below it
    cells = set(zip(any_cloth.panel.tolist(), any_cloth.row.tolist(), any_cloth.col.tolist(),
                    strict=True))  # fmt: skip
    expected = sum((p, r, c + 1) in cells for p, r, c in cells)
    expected += sum((p, r + 1, c) in cells for p, r, c in cells)
    assert len(np.unique(any_cloth.edges, axis=0)) == len(any_cloth.edges) == expected


def test_every_piece_hangs_together(any_cloth: Cloth) -> None:
    def pieces(pairs: np.ndarray) -> int:
        ones = np.ones(len(pairs))
        n = any_cloth.size
        return connected_components(coo_array((ones, tuple(pairs.T)), shape=(n, n)))[0]

    assert pieces(any_cloth.edges) == len(any_cloth.panels)
    assert pieces(np.concatenate([any_cloth.edges, any_cloth.seams])) == 1


# ---------------------------------------------------------------------------------- seams


def free_edges(panel: Panel) -> list[LineString]:
    """Neck, hem and cuffs, found from the polygon's sharp corners and not from the pattern."""
    ring = shapely.get_coordinates(panel.outline)[:-1]
    before, after = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    angle = np.arctan2(after[:, 1], after[:, 0]) - np.arctan2(before[:, 1], before[:, 0])
    sharp = np.abs((angle + np.pi) % (2 * np.pi) - np.pi) > np.radians(40)
    corners = ring[sharp & (ring[:, 0] > 0)]
    # on the right: the shoulder's high point, and the two ends of the cuff
    neck, *cuff = corners[np.argsort(corners[:, 1])]
    assert len(cuff) == 2
    hem = ring[ring[:, 1] > ring[:, 1].max() - 6]
    collar = ring[(np.abs(ring[:, 0]) <= neck[0]) & (ring[:, 1] < 150)]
    return [
        LineString(hem[np.argsort(hem[:, 0])]),
        LineString(collar[np.argsort(collar[:, 0])]),
        *(LineString(np.array(cuff) * (side, 1)) for side in (1, -1)),
    ]


def test_seams_join_front_and_back_in_place(shirt: Cloth) -> None:
    a, b = shirt.seams.T
    assert np.all(shirt.panel[a] == 0)
    assert np.all(shirt.panel[b] == 1)
    away = np.hypot(shirt.x[a] - shirt.x[b], shirt.y[a] - shirt.y[b])
    assert away.max() <= 1.5 * shirt.pitch


def test_seams_are_not_at_hem_cuff_or_neck(shirt: Cloth) -> None:
    met = 0
    for side, panel in enumerate(shirt.panels):
        cells = shirt.seams[:, side]
        points = shapely.points(1000 * shirt.x[cells], 1000 * shirt.y[cells])
        for line in free_edges(panel):
            close = points[shapely.distance(points, line) < 1000 * shirt.pitch]
            # only where a seam ends, at a corner of the free edge
            ends = shapely.points(np.asarray(line.coords)[[0, -1]])
            met += len(close)
            assert all(shapely.distance(point, ends).min() < 14 for point in close)
    assert met  # shoulder and sleeve seams do end at neck and cuff


def test_seams_are_alike_left_and_right_and_cover_every_side(shirt: Cloth) -> None:
    x, y = shirt.x[shirt.seams[:, 0]], shirt.y[shirt.seams[:, 0]]
    assert np.sum(x > 0) == np.sum(x < 0)
    chest = MEASURES["M"][0]
    side = (np.abs(np.abs(x) - chest / 2) < 0.01) & (y > 0.32) & (y < 0.70)
    shoulder = (np.abs(x) > 0.1) & (np.abs(x) < 0.2) & (y < 0.05)
    sleeve = np.abs(x) > 0.30
    for part in (side, shoulder, sleeve & (y < 0.15), sleeve & (y > 0.2)):
        assert part.any()
    # a side seam is upright there: one pair for each row
    assert side.sum() == pytest.approx(2 * 0.38 / shirt.pitch, rel=0.03)


def test_seam_pairs_scale_with_pitch(shirt: Cloth) -> None:
    lengths = [len(shirt.seams) * shirt.pitch]
    lengths += [
        len(c.seams) * c.pitch for c in (build_cloth(tee(), JERSEY, p) for p in (4e-3, 1e-3))
    ]
    assert max(lengths) < 1.03 * min(lengths)
    # one pair a step of the staircase: between 1/sqrt(2) and 1 of the seams' own length
    border = shirt.panels[0].outline.length - sum(
        line.length for line in free_edges(shirt.panels[0])
    )
    assert border / np.sqrt(2) < 1000 * lengths[0] < 1.02 * border


# ---------------------------------------------------------------------------------- make-up


def test_every_zone_is_there_and_the_spine_is_on_the_back(shirt: Cloth) -> None:
    assert set(shirt.zones) == {"chest", "belly", "sleeves", "hem", "shoulders", "spine"}
    counts = np.bincount(shirt.zone, minlength=len(shirt.zones))
    assert counts.sum() == shirt.size
    assert counts.min() > 0.05 * shirt.size
    spine = shirt.zone == shirt.zones.index("spine")
    assert np.all(shirt.panel[spine] == 1)
    assert np.abs(shirt.x[spine]).max() < MEASURES["M"][0] / 4 + shirt.pitch
    sleeves = shirt.zone == shirt.zones.index("sleeves")
    assert np.abs(shirt.x[sleeves]).min() > 0.15
    hem = shirt.zone == shirt.zones.index("hem")
    assert shirt.y[hem].min() > shirt.y[~hem & ~sleeves].max() - shirt.pitch


def test_hems_are_doubled_and_plain_cloth_is_not(shirt: Cloth) -> None:
    middle = np.abs(shirt.x) < 0.1
    hem = middle & (np.abs(shirt.y - 0.73) < 0.004)
    belly = middle & (np.abs(shirt.y - 0.5) < 0.05)
    np.testing.assert_allclose(shirt.thickness[hem], 2 * JERSEY.thickness)
    np.testing.assert_allclose(shirt.mass_per_area[hem], 2 * JERSEY.mass_per_area)
    np.testing.assert_allclose(shirt.thickness[belly], JERSEY.thickness)
    np.testing.assert_allclose(shirt.mass_per_area[belly], JERSEY.mass_per_area)
    assert shirt.thickness.min() == pytest.approx(JERSEY.thickness)
    # no seam packs fibre much closer than the cloth itself
    solid = shirt.mass_per_area / shirt.thickness
    assert solid.max() < 1.1 * JERSEY.mass_per_area / JERSEY.thickness


def test_thread_and_label_take_no_dye(shirt: Cloth) -> None:
    bare = ~shirt.dyeable
    label = bare & (np.abs(shirt.x) < 0.03) & (shirt.y < 0.08)
    assert np.all(shirt.panel[label] == 1)
    # 44 x 22 mm, rastered
    assert label.sum() * shirt.pitch**2 == pytest.approx(44e-3 * 22e-3, rel=0.15)
    # half a millimetre of thread along every row that `details` lists
    rows = [d for d in details(tee()) if "stitching" in d.kind]
    thread = 0.5 * sum(LineString(d.points).length for d in rows) / 1e6
    assert (bare & ~label).sum() * shirt.pitch**2 == pytest.approx(thread, rel=0.05)


def test_details_lie_on_their_panel() -> None:
    cloth = build_cloth(tee(), JERSEY, 10e-3)
    outlines = {panel.name: panel.outline for panel in cloth.panels}
    kinds = {(d.kind, d.panel) for d in details(tee())}
    for kind in ("rib edge", "hem stitching", "cuff stitching", "sleeve seam"):
        assert (kind, "front") in kinds
        assert (kind, "back") in kinds
    for line in cloth.details:
        assert line.points.shape[1] == 2
        assert outlines[line.panel].buffer(0.5).covers(LineString(line.points))


# ---------------------------------------------------------------------------------- bad input


def test_an_unknown_cut_names_the_nearest() -> None:
    with pytest.raises(StockError, match=r"'squre'.*tee, square.*did you mean 'square'"):
        build_cloth(Blank("flag", "squre", "M", {}), JERSEY, 2e-3)


@pytest.mark.parametrize(
    "measures",
    [
        {},
        {"half_chest": 0.5, "length": 0.7},
        {"half_chest": 0.5, "length": 0.7, "sleeve": float("nan")},
        {"half_chest": 0.5, "length": 0.7, "sleeve": -0.2},
        {"half_chest": 0.51, "length": 0.30, "sleeve": 0.2},
        {"half_chest": 0.51, "length": 0.74, "sleeve": 0.2, "neck": 0.5},
        {"half_chest": 0.51, "length": 0.74, "sleeve": 0.2, "cuff": float("nan")},
        {"half_chest": 0.51, "length": 0.74, "sleeve": 0.2, "armhole": float("inf")},
        {"half_chest": 0.51, "length": 0.74, "sleeve": 0.2, "neck_back": -0.01},
    ],
)
def test_measures_that_make_no_tee_are_refused(measures: dict[str, float]) -> None:
    with pytest.raises(StockError) as caught:
        build_cloth(Blank("odd", "tee", "M", measures), JERSEY, 4e-3)
    assert "odd" in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("width", [0.0, 0.02, -1.0, float("nan")])
def test_a_bandana_needs_a_width(width: float) -> None:
    with pytest.raises(StockError, match="bandana"):
        build_cloth(bandana(width), JERSEY, 2e-3)


@pytest.mark.parametrize("pitch", [0.0, 1e-4, 0.02, -1e-3, float("nan")])
def test_a_pitch_out_of_range_is_refused(pitch: float) -> None:
    with pytest.raises(PlanError, match=r"0\.5 mm to 10 mm"):
        build_cloth(tee(), JERSEY, pitch)


# ---------------------------------------------------------------------------------- properties


MICRONS = st.integers(-40_000, 40_000).map(lambda n: n / 1000)  # [mm]


@settings(max_examples=40, deadline=None)
@given(
    points=st.lists(st.tuples(MICRONS, MICRONS), min_size=3, max_size=12, unique=True),
    hole=st.tuples(MICRONS, MICRONS),
)
def test_any_polygon_is_rastered_as_shapely_would(
    points: list[tuple[float, float]], hole: tuple[float, float]
) -> None:
    region = shapely.make_valid(Polygon(points)).difference(box(*hole, hole[0] + 9, hole[1] + 7))
    region = shapely.union_all([g for g in shapely.get_parts(region) if g.geom_type == "Polygon"])
    if region.area < 1.0:
        return
    grid = Grid(-50.0, -50.0, 2.5, 40, 40)
    centres = -50.0 + 2.5 * (np.arange(40) + 0.5)
    x, y = np.meshgrid(centres, centres)
    # leave out centres that lie on the border itself
    clear = shapely.distance(shapely.points(x, y), shapely.boundary(region)) > 1e-9
    np.testing.assert_array_equal(
        inside(region, grid)[clear], shapely.contains_xy(region, x, y)[clear]
    )
    cells = shapely.box(x - 1.25, y - 1.25, x + 1.25, y + 1.25)
    exact = shapely.area(shapely.intersection(cells, region)) / 2.5**2
    got = covered(region, grid, strips=200)
    np.testing.assert_allclose(got, exact, atol=0.02)
    # the midpoint rule over strips of height d errs by at most d/2 times the variation of the
    # width it integrates, and that is at most the way its border goes sideways
    sideways = sum(
        float(np.abs(np.diff(np.asarray(line.coords)[:, 0])).sum())
        for piece in shapely.get_parts(region)
        for line in (piece.exterior, *piece.interiors)
    )
    error = covered(region, grid).sum() * 2.5**2 - region.area
    assert abs(error) <= 0.5 * (2.5 / 4) * sideways + 1e-9


@settings(max_examples=25, deadline=None)
@given(
    chest=st.floats(0.38, 0.75),
    longer=st.floats(1.2, 1.8),
    sleeve=st.floats(0.12, 0.75),
    pitch=st.floats(2e-3, 6e-3),
)
def test_any_sensible_tee_can_be_cut(
    chest: float, longer: float, sleeve: float, pitch: float
) -> None:
    blank = Blank("own", "tee", "own", {"half_chest": chest, "length": longer * chest,
                                        "sleeve": sleeve})  # fmt: skip
    cloth = build_cloth(blank, JERSEY, pitch)
    assert raster_area(cloth) == pytest.approx(polygon_area(cloth), rel=0.005 * pitch / 2e-3)
    assert len(np.unique(cloth.seams[:, 0])) > 0
    assert np.all(np.isfinite(cloth.thickness))


@settings(max_examples=40, deadline=None)
@given(
    cut=st.sampled_from(sorted(CUTS)),
    measures=st.dictionaries(
        st.sampled_from(["half_chest", "length", "sleeve", "neck", "cuff", "width", "armhole",
                         "shoulder", "neck_front", "height", "handle", "strap", "rib_cuff"]),
        st.floats(-1, 2),
        max_size=10,
    ),
)  # fmt: skip
def test_any_measures_give_a_cloth_or_one_line(cut: str, measures: dict[str, float]) -> None:
    try:
        cloth = build_cloth(Blank("own", cut, "own", measures), JERSEY, 8e-3)
    except MeltwickError as error:
        message = str(error)
        assert "\n" not in message
        return
    assert cloth.size > 0
    assert raster_area(cloth) == pytest.approx(polygon_area(cloth), rel=0.2)
