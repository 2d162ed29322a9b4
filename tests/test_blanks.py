"""Every blank and size in stock: cloth, seams, zones and places, against shapely and the trade."""

from __future__ import annotations

from math import pi, sqrt
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Point, box
from tests.test_cloth import free_edges

from meltwick.cloth import CUTS, build_cloth, details
from meltwick.errors import StockError
from meltwick.plan.area import AREAS, cloth_area
from meltwick.plan.words import PLACES
from meltwick.shares import measure_shares
from meltwick.stock import load_stock
from meltwick.stock.loader import CUTS as NAMED
from meltwick.types import Blank, Cloth, Fabric, Look, Panel

INCH = 0.0254  # m (NIST SP 811)
OUNCE, YARD = 28.349523125e-3, 0.9144  # kg, m (NIST SP 811)
JERSEY = Fabric("cotton jersey", 0.160, 0.55e-3, 1540.0)
STOCK = load_stock(Path(__file__).parent / "no such folder")
EVERY = [(line.name, size) for line in STOCK.blanks.values() for size in line.sizes]
LETTERS = ("S", "M", "L", "XL", "2XL")


@pytest.fixture(scope="module", params=EVERY, ids=" ".join)
def piece(request: pytest.FixtureRequest) -> tuple[Blank, Cloth]:
    name, size = request.param
    blank = STOCK.blank(name, size)
    return blank, build_cloth(blank, STOCK.usual_fabric(name), 2e-3)


def cut(name: str, size: str | None = None, pitch: float = 2e-3) -> Cloth:
    return build_cloth(STOCK.blank(name, size), STOCK.usual_fabric(name), pitch)


def mass(cloth: Cloth) -> float:
    return float(cloth.mass_per_area.sum()) * cloth.pitch**2


def outlines_area(cloth: Cloth) -> float:
    return sum(shapely.area(panel.outline) for panel in cloth.panels) / 1e6


def sewn_sides(panel: Panel) -> float:
    """Shoulders and sides of a tank [m], found from the polygon's four sharp corners."""
    ring = shapely.get_coordinates(panel.outline)[:-1]
    way = np.arctan2(*(np.roll(ring, -1, axis=0) - ring).T)
    sharp = np.abs((way - np.roll(way, 1) + np.pi) % (2 * np.pi) - np.pi) > np.radians(25)
    corners = [n for n in np.flatnonzero(sharp) if ring[n, 0] > 0 and ring[n, 1] < ring[:, 1].max()]
    assert len(corners) == 4
    return sum(2 * LineString(ring[a : b + 1]).length for a, b in (corners[:2], corners[2:])) / 1000


# ------------------------------------------------------------------------- every blank, every size


def test_the_same_cuts_are_known_everywhere() -> None:
    assert set(CUTS) == set(PLACES)
    assert set(NAMED) == set(AREAS) == set(CUTS) - {"own"}  # which a plan draws, not the stock
    assert {line.cut for line in STOCK.blanks.values()} == set(NAMED)


def test_raster_area_is_the_polygons(piece: tuple[Blank, Cloth]) -> None:
    blank, cloth = piece
    for panel in cloth.panels:
        assert panel.outline.is_valid
        assert panel.count * cloth.pitch**2 == pytest.approx(
            shapely.area(panel.outline) / 1e6, rel=0.005
        )
    assert cloth_area(blank) == pytest.approx(outlines_area(cloth), rel=0.03)


def test_panels_are_alike_left_and_right(piece: tuple[Blank, Cloth]) -> None:
    cloth = piece[1]
    for panel in cloth.panels:
        mask = panel.index >= 0
        np.testing.assert_array_equal(mask, mask[:, ::-1])
        here, other = panel.index[mask], panel.index[:, ::-1][mask]
        np.testing.assert_array_equal(cloth.zone[here], cloth.zone[other])
        np.testing.assert_allclose(cloth.x[here], -cloth.x[other], atol=1e-12)
        np.testing.assert_allclose(cloth.thickness[here], cloth.thickness[other], rtol=1e-6)
        mirrored = shapely.transform(panel.outline, lambda xy: xy * (-1.0, 1.0))
        assert shapely.area(panel.outline.symmetric_difference(mirrored)) < 1e-6


def test_seams_join_the_two_panels_where_they_are_sewn(piece: tuple[Blank, Cloth]) -> None:
    blank, cloth = piece
    if len(cloth.panels) == 1:
        assert len(cloth.seams) == 0
        return
    a, b = cloth.seams.T
    assert set(cloth.panel[a].tolist()) == set(range(0, len(cloth.panels), 2))
    assert np.all(cloth.panel[b] == cloth.panel[a] + 1)
    away = np.hypot(cloth.x[a] - cloth.x[b], cloth.y[a] - cloth.y[b])
    assert away.max() <= 1.5 * cloth.pitch
    m = blank.measures
    if blank.cut == "tank":  # from sharp corner to sharp corner: shoulders and sides
        length = sewn_sides(cloth.panels[0])
    elif blank.cut == "tee":
        front = cloth.panels[0]
        length = (front.outline.length - sum(e.length for e in free_edges(front))) / 1000
    elif blank.cut == "leggings":  # all round but the waist and the two ankles
        back = cloth.panels[1].outline
        length = back.length / 1000 - m["waist"] - 2 * m["ankle"]
    elif blank.cut == "socks":  # all round but the top, twice
        length = 2 * (cloth.panels[0].outline.length / 1000 - m["width"])
    else:  # three sides of the bag
        length = m["width"] + 2 * m["height"]
    # one pair a step of the staircase: between 1/sqrt(2) and 1 of the seam's own length
    assert length / sqrt(2) < len(cloth.seams) * cloth.pitch < 1.02 * length
    if blank.cut in ("tote", "pillowcase"):  # straight seams: one pair a cell
        assert len(cloth.seams) * cloth.pitch == pytest.approx(length, rel=0.02)


def test_zones_part_the_cloth(piece: tuple[Blank, Cloth]) -> None:
    cloth = piece[1]
    assert cloth.zones == CUTS[piece[0].cut][1]
    counts = np.bincount(cloth.zone, minlength=len(cloth.zones))
    assert len(counts) == len(cloth.zones)
    assert counts.sum() == cloth.size
    assert counts.min() > 0.03 * cloth.size


def test_places_lie_on_the_cloth(piece: tuple[Blank, Cloth]) -> None:
    blank, cloth = piece
    assert tuple(cloth.places) == PLACES[blank.cut]
    (front,) = [panel for panel in cloth.panels if panel.name == "front"]
    cells = np.arange(front.first, front.first + front.count)
    for name, (x, y) in cloth.places.items():
        assert front.outline.covers(Point(1000 * x, 1000 * y)), name
        assert np.hypot(cloth.x[cells] - x, cloth.y[cells] - y).min() < 1.2 * cloth.pitch, name
        if name.startswith("left") or " left " in name:
            other = cloth.places[name.replace("left", "right")]
            assert x < 0
            assert (-x, y) == pytest.approx(other)
        elif "right" not in name:
            assert x == 0


def test_hems_and_seams_add_cloth_but_pack_it_no_closer(piece: tuple[Blank, Cloth]) -> None:
    cloth = piece[1]
    fabric = cloth.fabric
    assert cloth.thickness.min() == pytest.approx(fabric.thickness)
    assert cloth.mass_per_area.min() == pytest.approx(fabric.mass_per_area)
    solid = cloth.mass_per_area / cloth.thickness / 1540.0
    assert solid.max() < 1.1 * fabric.solid
    # what is turned under or laid on adds a tenth to a half of the cloth as it lies
    assert 1.03 < mass(cloth) / (outlines_area(cloth) * fabric.mass_per_area) < 1.5


def test_thread_and_label_take_no_dye(piece: tuple[Blank, Cloth]) -> None:
    blank, cloth = piece
    lines = details(blank)
    thread = 0.5e-3 * sum(LineString(d.points).length for d in lines if "stitching" in d.kind) / 1e3
    label = sum(box(*LineString(d.points).bounds).area for d in lines if d.kind == "label") / 1e6
    bare = (~cloth.dyeable).sum() * cloth.pitch**2
    assert bare == pytest.approx(thread + label, rel=0.1)
    outlines = {panel.name: panel.outline.buffer(0.5) for panel in cloth.panels}
    assert all(outlines[d.panel].covers(LineString(d.points)) for d in lines)


def test_likeness_needs_no_back(piece: tuple[Blank, Cloth]) -> None:
    cloth = piece[1]
    lab = np.zeros((cloth.size, 3))
    lab[:, 0] = 50 + 400 * np.abs(cloth.x)  # alike left and right, front and back
    look = Look(np.zeros_like(lab), lab, 100.0 - lab[:, 0], (1.0, 1.0, 1.0))
    shares = measure_shares(cloth, look)
    assert shares.left_right_likeness == pytest.approx(1.0, abs=1e-9)
    if len(cloth.panels) == 1:
        assert shares.front_back_likeness is None
        assert set(shares.panels) == {"front"}
    else:
        assert shares.front_back_likeness == pytest.approx(1.0, abs=1e-9)
    assert set(shares.zones) == set(cloth.zones)


# ------------------------------------------------------------------------------ mass and measures


@pytest.mark.parametrize(
    ("name", "size", "low", "high"),
    [
        ("tee", "M", 130, 155),  # a medium shirt (apparelbus.com, read)
        # The rest: common practice, no source.
        ("long-sleeve tee", "M", 160, 210),
        ("child tee", "6", 55, 85),
        ("bandana", "22 in", 30, 45),
        ("scarf", "20 x 70 in", 55, 85),
        ("tote", "15 x 16 in", 120, 180),
        ("pillowcase", "20 x 30 in", 80, 130),
        ("tank", "M", 85, 125),
        ("sweatshirt", "M", 300, 450),
        ("leggings", "M", 120, 190),
        ("socks", "M", 40, 70),
        ("tea towel", "18 x 28 in", 32, 60),
    ],
)
def test_a_piece_weighs_what_the_trades_does(name: str, size: str, low: float, high: float) -> None:
    assert low < 1000 * mass(cut(name, size)) < high


def test_canvas_is_sold_by_the_ounce_a_square_yard() -> None:
    for name, ounces in (("light cotton canvas", 6), ("cotton canvas", 10)):
        fabric = STOCK.fabric(name)
        assert fabric.mass_per_area == pytest.approx(ounces * OUNCE / YARD**2, rel=0.003)
        # heavy cloth is 200 g/m2 and more (trade texts, read)
        assert fabric.mass_per_area > 0.2


def test_a_tote_weighs_as_many_layers_as_it_has() -> None:
    """Counted by hand: bag, hem, seams, handles and their ends; corners counted twice."""
    blank = STOCK.blank("tote")
    width, height = (blank.measures[key] for key in ("width", "height"))
    handle = 22 * INCH * 0.026 * 2  # doubled, about an inch wide
    ends = 2 * 0.040 * 0.026 * 2
    hem, seams = 2 * 0.030 * width, 0.9 * 0.010 * (width + 2 * height)
    expected = 2 * (width * height + hem + seams + handle + ends)
    assert mass(cut("tote")) == pytest.approx(0.339 * expected, rel=0.02)


@pytest.mark.parametrize("size", STOCK.blanks["tote"].sizes)
def test_a_handle_is_as_long_as_it_is_said_to_be(size: str) -> None:
    blank = STOCK.blank("tote", size)
    cloth = cut("tote", size)
    outline = cloth.panels[0].outline
    m = blank.measures
    standing = shapely.area(outline) / 1e6 - m["width"] * m["height"]
    assert standing == pytest.approx(m["handle"] * 0.026, rel=0.005)  # an arch: Pappus' theorem
    assert len(outline.interiors) == 1
    # about as far apart as half the bag is wide, and no higher than half its length
    assert 0.25 < -cloth.places["top"][1] / m["handle"] + 1 < 0.75


def test_hems_are_turned_as_the_trade_turns_them() -> None:
    def layers(name: str, x: float, y: float) -> float:
        cloth = cut(name)
        near = np.hypot(np.abs(cloth.x) - abs(x), cloth.y - y).argmin()
        return float(cloth.thickness[near] / cloth.fabric.thickness)

    scarf, case, tote = (STOCK.blank(n).measures for n in ("scarf", "pillowcase", "tote"))
    assert layers("scarf", scarf["width"] / 2 - 3e-3, 0.5) == pytest.approx(3)
    assert layers("scarf", 0.0, 0.5) == pytest.approx(1)
    assert layers("pillowcase", 0.0, case["height"] - 0.05) == pytest.approx(2)
    assert layers("pillowcase", 0.0, case["height"] - 0.12) == pytest.approx(1)
    top = cut("tote").places["top"][1]
    assert layers("tote", 0.0, top + 0.015) == pytest.approx(3)
    leg = 0.45 * tote["width"] / 2
    assert layers("tote", leg, top - 0.02) == pytest.approx(2)
    assert layers("tote", leg, top + 0.015) == pytest.approx(5)
    long = STOCK.blank("long-sleeve tee")
    cuff = next(d for d in details(long) if d.kind == "cuff seam").points.mean(axis=0) / 1000
    assert layers("long-sleeve tee", cuff[0] + 0.02, cuff[1] + 0.02) == pytest.approx(2.2)
    assert layers("long-sleeve tee", cuff[0] - 0.02, cuff[1] - 0.02) == pytest.approx(1)


# --------------------------------------------------------------------------------------- sleeves


def upper_edge(blank: Blank) -> LineString:
    """The sleeve's upper edge, found on the outline: from the shoulder's point to the cuff."""
    ring = shapely.get_coordinates(build_cloth(blank, JERSEY, 10e-3).panels[0].outline)
    ring = ring[: len(ring) // 2]  # right half, from the neck down
    start = int(np.flatnonzero(np.isclose(ring[:, 0], 500 * blank.measures["shoulder"]))[0])
    return LineString(ring[start : int(ring[:, 0].argmax()) + 1])


@pytest.mark.parametrize("size", LETTERS)
def test_a_long_sleeve_is_as_long_as_it_measures_and_as_wide_as_a_short_one(size: str) -> None:
    long, short = STOCK.blank("long-sleeve tee", size), STOCK.blank("tee", size)
    edge = upper_edge(long)
    assert edge.length == pytest.approx(1000 * long.measures["sleeve"], rel=0.003)
    assert upper_edge(short).length == pytest.approx(1000 * short.measures["sleeve"], rel=0.01)
    underarm = Point(500 * long.measures["half_chest"], 0.455 * 1000 * long.measures["half_chest"])
    wide = [line.distance(underarm) for line in (edge, upper_edge(short))]
    assert wide[0] == pytest.approx(wide[1], rel=0.08)
    assert long.measures["cuff"] < 0.7 * short.measures["cuff"]


@pytest.mark.parametrize("size", LETTERS)
def test_long_sleeves_hang_clear_of_the_body(size: str) -> None:
    cloth = cut("long-sleeve tee", size)
    cuffs = [d.points for d in cloth.details if d.kind == "cuff seam" and d.panel == "front"]
    row = int((max(c[:, 1].max() for c in cuffs) / 1000 - cloth.panels[0].origin[1]) / cloth.pitch)
    for panel in cloth.panels:
        runs = np.diff((panel.index[row] >= 0).astype(int), prepend=0)
        assert np.sum(runs == 1) == 3  # sleeve, body, sleeve
    assert cloth.y.max() == pytest.approx(STOCK.blank("tee", size).measures["length"], abs=2e-3)


def test_childrens_tees_are_graded_below_the_adults() -> None:
    sizes = [STOCK.blank("child tee", str(age)).measures for age in (2, 4, 6, 8, 10, 12)]
    sizes.append(STOCK.blank("tee", "S").measures)
    for measure in sizes[0]:
        values = [s[measure] for s in sizes]
        assert values == sorted(values), measure
    weights = [mass(cut("child tee", str(age), 4e-3)) for age in (2, 4, 6, 8, 10, 12)]
    assert weights == sorted(weights)


def test_named_sizes_measure_what_they_say() -> None:
    for name in ("bandana", "scarf", "tote", "pillowcase"):
        for size, m in STOCK.blanks[name].sizes.items():
            *numbers, unit = size.replace(" x", "").split()
            scale = {"in": INCH, "cm": 0.01}[unit]
            said = [float(number) * scale for number in numbers]
            assert (m["width"], m["height"]) == pytest.approx((said[0], said[-1]))


# ------------------------------------------------------------------------------------ bad measures


@pytest.mark.parametrize(
    ("shape", "measures", "said"),
    [
        ("scarf", {"width": 0.5}, "height is missing"),
        ("scarf", {"width": 0.02, "height": 1.0}, "width is 20 mm"),
        ("square", {}, "width is missing"),
        ("pillowcase", {"width": 0.5, "height": 0.15}, "height is 150 mm"),
        ("tote", {"width": 0.38, "height": 0.4}, "handle is missing"),
        ("tote", {"width": 0.38, "height": 0.4, "handle": 0.2}, "handle of 200 mm"),
        ("tote", {"width": 0.38, "height": 0.4, "handle": 0.5, "strap": 0.3}, "300 mm wide"),
        (
            "tee",
            {"half_chest": 0.5, "length": 0.7, "sleeve": 0.2, "rib_cuff": 0.15},
            "ribbed cuff of 150 mm",
        ),
    ],
)
def test_measures_that_make_no_piece_are_refused(
    shape: str, measures: dict[str, float], said: str
) -> None:
    with pytest.raises(StockError, match=said) as caught:
        build_cloth(Blank("odd", shape, "own", measures), JERSEY, 4e-3)
    assert "'odd'" in str(caught.value)
    assert "\n" not in str(caught.value)
    assert cloth_area(Blank("odd", shape, "own", measures)) > 0  # usual amounts come first


@settings(max_examples=30, deadline=None)
@given(
    width=st.floats(0.2, 0.9),
    longer=st.floats(0.8, 1.6),
    loop=st.floats(0.75, 2.5),
    pitch=st.floats(2e-3, 6e-3),
)
def test_any_sensible_tote_can_be_cut(
    width: float, longer: float, loop: float, pitch: float
) -> None:
    blank = Blank(
        "own", "tote", "own", {"width": width, "height": longer * width, "handle": loop * width}
    )
    cloth = build_cloth(blank, JERSEY, pitch)
    assert outlines_area(cloth) == pytest.approx(cloth_area(blank), rel=0.003)
    assert loop * width >= pi * 0.45 * width / 2
    assert len(np.unique(cloth.seams[:, 0])) > 0
