"""A maker's own outline: shapes against shapely and SVG 1.1, and drawings that are refused."""

from __future__ import annotations

import time
from math import pi
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Point, Polygon

from meltwick.advice import describe
from meltwick.cloth import build_cloth
from meltwick.errors import PlanError
from meltwick.picture.preview import LONG_SIDE, draw_preview
from meltwick.plan import digest, plan_from_text, resolve
from meltwick.plan.area import cloth_area
from meltwick.plan.paths import ShapeFault, path_rings, transform, within
from meltwick.plan.svg import read_svg
from meltwick.plan.words import PLACES
from meltwick.simulate import simulate
from meltwick.stock import load_stock
from meltwick.types import Cloth, Recipe

STOCK = load_stock(Path(__file__).parent / "no such folder")
HEAD = '<svg xmlns="http://www.w3.org/2000/svg" width="800mm" height="900mm" viewBox="0 0 800 900">'
SHIRT = '<path d="M 100 0 H 500 V 600 H 100 Z"/>'


def drawing(inner: str, head: str = HEAD) -> str:
    return f"{head}{inner}</svg>"


def area(text: str) -> float:
    """Of the only shape [mm2]."""
    (shape,) = read_svg(text)
    return float(Polygon(shape.ring).area) * 1e6


def cook(folder: Path, svg: str, garment: str = "") -> Recipe:
    (folder / "my-shirt.svg").write_text(svg, "utf-8")
    text = f'[garment]\noutline = "my-shirt.svg"\n{garment}\n[[round]]\nfold = []'
    return resolve(plan_from_text(text, str(folder / "my.toml")), STOCK)


def from_points(garment: str) -> Recipe:
    return resolve(plan_from_text(f"[garment]\n{garment}\n[[round]]\nfold = []", "my.toml"), STOCK)


def laid(recipe: Recipe, pitch: float = 4e-3) -> Cloth:
    return build_cloth(recipe.blank, recipe.fabric, pitch)


# ------------------------------------------------------------------- shapes by geometry


@pytest.mark.parametrize(
    ("inner", "expected"),
    [
        ('<rect x="10" y="20" width="300" height="400"/>', 120_000),
        ('<polygon points="0,0 300,0 0,400"/>', 60_000),
        ('<circle cx="400" cy="400" r="200"/>', pi * 200**2),
        ('<ellipse cx="400" cy="400" rx="200" ry="100"/>', pi * 200 * 100),
        ('<path d="M0 0h300v400H0z"/>', 120_000),
        ('<path d="m 0,0 300,0 0,400 -300,0 z"/>', 120_000),  # pairs after a move are lines
        ('<path d="M0 0 300 0 300 400 0 400"/>', None),  # open
        # two half circles by arc: flags may run on without blanks (SVG 1.1, 8.3.9)
        ('<path d="M200 400a200 200 0 11400 0 200 200 0 01-400 0z"/>', pi * 200**2),
        # a parabola's arch is two thirds of its box: Archimedes; handle at twice the height
        ('<path d="M0 600 Q 300 0 600 600 Z"/>', 2 / 3 * 600 * 300),
        # the same arch as a cubic, by raising its degree (textbook)
        ('<path d="M0 600 C 200 200 400 200 600 600 Z"/>', 2 / 3 * 600 * 300),
        # T mirrors the handle: a second arch below, then back along the axis' far side
        ('<path d="M0 300 Q 150 0 300 300 T 600 300 V 700 H 0 Z"/>', 600 * 400),
        ('<g transform="scale(2)"><rect width="100" height="50"/></g>', 20_000),
        ('<g transform="rotate(30 5 5) skewX(20)"><rect width="300" height="50"/></g>', 15_000),
        ('<g transform="matrix(1 0 0 -1 0 300)"><rect width="300" height="50"/></g>', 15_000),
    ],
)
def test_a_shape_has_the_area_that_geometry_gives_it(inner: str, expected: float | None) -> None:
    if expected is None:
        with pytest.raises(ShapeFault, match="not closed"):
            read_svg(drawing(inner))
        return
    assert area(drawing(inner)) == pytest.approx(expected, rel=0.004)


@pytest.mark.parametrize(
    ("unit", "millimetres"),  # SVG 1.1, 7.10: 96 px to the inch
    [("mm", 1), ("cm", 10), ("in", 25.4), ("pt", 25.4 / 72), ("pc", 25.4 / 6), ("px", 25.4 / 96)],
)
def test_a_drawing_is_as_large_as_its_page_says(unit: str, millimetres: float) -> None:
    text = f'<svg width="40{unit}" height="20{unit}" viewBox="5 5 400 200">'
    (shape,) = read_svg(drawing('<rect x="5" y="5" width="400" height="200"/>', text))
    left, top, right, low = Polygon(shape.ring).bounds
    assert (left, top) == pytest.approx((0, 0), abs=1e-9)
    assert (1000 * right, 1000 * low) == pytest.approx((40 * millimetres, 20 * millimetres))


@given(st.lists(st.sampled_from(["translate(3,4)", "rotate(17)", "scale(2,-.5)", "skewY(9)"])))
def test_transforms_compose_as_matrices_do(steps: list[str]) -> None:
    """Against numpy's product of 3 by 3 matrices."""

    def square(m: tuple[float, ...]) -> np.ndarray:
        return np.array([[m[0], m[2], m[4]], [m[1], m[3], m[5]], [0, 0, 1]])

    whole = np.eye(3)
    for step in steps:
        whole = whole @ square(transform(step))
    np.testing.assert_allclose(square(transform(" ".join(steps))), whole, atol=1e-9)
    if len(steps) == 2:
        both = within(transform(steps[0]), transform(steps[1]))
        np.testing.assert_allclose(square(both), whole, atol=1e-9)


# ------------------------------------------------------------------- the piece


def test_one_shape_is_one_layer_and_its_raster_has_its_area(tmp_path: Path) -> None:
    recipe = cook(tmp_path, drawing('<circle cx="400" cy="400" r="250"/>'))
    cloth = laid(recipe, 2e-3)
    (panel,) = cloth.panels
    assert panel.count * 4e-6 == pytest.approx(pi * 0.25**2, rel=0.005)
    assert cloth_area(recipe.blank) == pytest.approx(pi * 0.25**2, rel=0.005)
    assert len(cloth.seams) == 0
    assert tuple(cloth.places) == PLACES["own"]
    assert all(panel.outline.covers(Point(1e3 * x, 1e3 * y)) for x, y in cloth.places.values())
    # a hem 15 mm wide all round doubles that ring of cloth
    ring = pi * (0.25**2 - 0.235**2)
    mass = cloth.mass_per_area.sum() * 4e-6 / recipe.fabric.mass_per_area
    assert mass == pytest.approx(pi * 0.25**2 + ring, rel=0.01)


@pytest.mark.parametrize(
    ("sides", "sewn"),  # of a rectangle 400 by 600 mm
    [('"bottom"', 1.6), ('["top", "bottom"]', 1.2), ('"none"', 2.0), ('["left"]', 1.4)],
)
def test_front_and_back_are_sewn_but_where_they_are_open(
    tmp_path: Path, sides: str, sewn: float
) -> None:
    cloth = laid(cook(tmp_path, drawing(SHIRT), f'panels = "front and back"\nopen = {sides}'))
    assert [panel.name for panel in cloth.panels] == ["front", "back"]
    assert len(cloth.seams) * 4e-3 == pytest.approx(sewn, rel=0.03)


def test_every_cell_of_a_pointed_piece_hangs_together() -> None:
    star = (
        "points = [[30, 0], [37, 20], [60, 20], [42, 34], [50, 58], [30, 44], [10, 58], [18, 34], "
        "[0, 20], [23, 20]]"
    )
    recipe = from_points(star)
    for pitch in (2e-3, 3e-3, 5e-3, 8e-3, 10e-3):
        cloth = laid(recipe, pitch)
        assert len(np.unique(cloth.edges)) == cloth.size
        assert cloth.size * pitch**2 == pytest.approx(cloth_area(recipe.blank), rel=0.03)


def test_ids_tell_front_from_back(tmp_path: Path) -> None:
    back = '<path id="the back" d="M0 0H400V600H0z"/>'
    front = '<path id="front" d="M0 0H400V500H0z"/>'
    for text in (back + front, front + back):
        panels = laid(cook(tmp_path, drawing(text))).panels
        heights = [panel.outline.bounds[3] for panel in panels]
        assert heights == pytest.approx([500, 600])


def test_points_make_the_same_piece_as_a_drawing(tmp_path: Path) -> None:
    drawn = cook(tmp_path, drawing(SHIRT))
    for points, units in (
        ("[[0, 0], [40, 0], [40, 60], [0, 60]]", "cm"),
        ("[[7, 7], [407, 7], [407, 607], [7, 607]]", "mm"),
    ):
        given_ = from_points(f'points = {points}\nunits = "{units}"')
        assert given_.blank.shapes[0] == pytest.approx(
            np.array(drawn.blank.shapes[0]), abs=1e-9
        ) or shapely.equals_exact(
            shapely.normalize(Polygon(given_.blank.shapes[0])),
            shapely.normalize(Polygon(drawn.blank.shapes[0])),
            1e-9,
        )


def test_a_drawing_lies_beside_its_plan(tmp_path: Path) -> None:
    odd = tmp_path / "my  plans"  # two blanks, which a message would draw together
    odd.mkdir()
    assert cook(odd, drawing(SHIRT)).blank.name == "my-shirt"


def test_the_digest_follows_what_is_drawn(tmp_path: Path) -> None:
    first = digest(cook(tmp_path, drawing(SHIRT)))
    assert digest(cook(tmp_path, drawing("<title>a note</title>" + SHIRT))) == first
    assert digest(cook(tmp_path, drawing(SHIRT.replace("600", "601")))) != first


@pytest.mark.parametrize("fold", ['kind = "pole"', 'kind = "spiral", centre = "left edge"'])
def test_an_outline_goes_the_whole_way(tmp_path: Path, fold: str) -> None:
    (tmp_path / "skirt.svg").write_text(drawing(SHIRT), "utf-8")
    text = (
        '[garment]\noutline = "skirt.svg"\npanels = "front and back"\n[[round]]\n'
        f'fold = [{{ {fold} }}]\ndye = [{{ dye = "coral" }}]'
    )
    plan = plan_from_text(text, str(tmp_path / "my.toml"))
    assert "your own piece, skirt, two layers" in describe(resolve(plan, STOCK))[0]
    result = simulate(plan, pitch=10e-3, threads=1)
    assert result.rounds[0].balance.relative_error < 1e-9
    assert set(result.shares.panels) == {"front", "back"}
    assert set(result.shares.zones) == {"middle", "border"}
    assert 0.0 < result.white_share < 1.0
    # two panels 400 by 600 mm side by side, as wide as high but for the margins
    assert max(draw_preview(result, plain=True).size) == LONG_SIDE


# ------------------------------------------------------------------- what is refused

BOMB = (
    '<?xml version="1.0"?><!DOCTYPE svg [<!ENTITY a "aaaaaaaaaa">'
    + "".join(f'<!ENTITY {chr(98 + n)} "{("&" + chr(97 + n) + ";") * 10}">' for n in range(9))
    + "]>"
    + HEAD
    + "<title>&j;</title></svg>"
)
OUTSIDE = '<!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/hostname">]>' + drawing(
    "<title>&x;</title>"
)


@pytest.mark.parametrize(
    ("svg", "said"),
    [
        ("", "XML"),
        ("not a drawing", "XML"),
        ("<html></html>", "begins with <html>"),
        (drawing(""), "holds no shape"),
        (drawing('<path d=""/>'), "empty"),
        (drawing('<path d="M0 0"/>'), "0 parts"),
        (
            drawing('<path d="M0 0 L 400 600 L 400 0 L 0 600 Z"/>'),
            "crosses or touches itself at 200",
        ),
        (drawing('<path d="M0 0H400V600H0z M50 50h9v9h-9z"/>'), "2 parts"),
        (drawing('<path d="M0 0 L NaN 4 5 5z"/>'), "cannot be read at 'NaN"),
        (drawing('<path d="M0 0 L 1e999 4 5 5z"/>'), "cannot be read"),
        (drawing('<path d="M0 0 X 3"/>'), "cannot be read at 'X 3'"),
        (drawing('<rect width="50%" height="3"/>'), "percentage"),
        (drawing('<rect height="3"/>'), "width is missing"),
        (drawing('<circle r="-inf"/>'), "r is '-inf'"),
        (drawing('<polygon points="1 2 3"/>'), "3 numbers"),
        (drawing(SHIRT, '<svg width="100%" height="9mm" viewBox="0 0 1 1">'), "percentage"),
        (drawing(SHIRT, '<svg viewBox="0 0 1 1">'), "no width"),
        (drawing(SHIRT, '<svg width="nanmm" height="1mm">'), "width is"),
        (drawing(SHIRT, '<svg width="9mm" height="3mm" viewBox="0 0 1 1">'), "stretched"),
        (drawing(SHIRT, '<svg width="9mm" height="3mm" viewBox="0 0 0 1">'), "viewBox"),
        (drawing(SHIRT, '<svg width="900000mm" height="900000mm" viewBox="0 0 800 800">'), "wide"),
        (drawing('<rect width="1" height="1"/>'), "look at its units"),
        (drawing('<polygon points="0,0 500,500 500,500.5"/>'), "too thin"),
        (drawing(f'<g transform="spin(4)">{SHIRT}</g>'), "transform"),
        (drawing(f'<g transform="scale(1e300) scale(1e300)">{SHIRT}</g>'), "transform"),
        (drawing("<script>alert(1)</script>" + SHIRT), "<script>"),
        (drawing('<use href="#a"/>'), "<use>"),
        (drawing('<image href="http://a/b.png"/>'), "<image>"),
        (drawing(3 * SHIRT), "more than 2 shapes"),
        (drawing("<g>" * 200 + SHIRT + "</g>" * 200), "nested"),
        (drawing("<g/>" * 30_000 + SHIRT), "more than 20000 parts"),
        (drawing('<path d="M0 0' + "L1 1" * 90_000 + 'z"/>'), "simplify the path"),
        (drawing('<path d="M0 0' + " " * 900_000 + '?"/>'), "cannot be read"),
        (drawing('<path d="M' + "1" * 900_000 + ' 0z"/>'), "cannot be read"),
        (drawing('<polygon points="' + " " * 900_000 + '?"/>'), "0 numbers"),
        (drawing('<path d="M0 0' + "L1 1" * 2_600_000 + 'z"/>'), "larger than 1 MB"),
        (BOMB, "entities"),
        (OUTSIDE, "entities"),
        ("\0", "not a text file"),
    ],
)
def test_a_bad_drawing_gets_one_line_soon(tmp_path: Path, svg: str, said: str) -> None:
    begun = time.perf_counter()
    with pytest.raises(PlanError) as caught:
        cook(tmp_path, svg)
    line = str(caught.value)
    assert time.perf_counter() - begun < 2.0
    assert said in line
    assert "my-shirt.svg" in line
    assert line.startswith(f"{tmp_path / 'my.toml'}: garment.outline: ")
    assert line.isprintable()
    assert len(line) < 600


@pytest.mark.parametrize(
    ("garment", "said"),
    [
        ('outline = "no.svg"', r"garment\.outline: .*no\.svg does not exist"),
        ('outline = "shirt.png"', r"garment\.outline: 'shirt\.png' is not a drawing; .*SVG"),
        ("outline = 3", r"garment\.outline: 3 is not a drawing"),
        ('outline = "a.svg"\nblank = "tee"', r"garment\.blank: .*leave blank out"),
        ('outline = "a.svg"\nunits = "cm"', r"garment\.units: .*units of its own"),
        ('hem = "1 cm"', r"garment\.hem: it goes with an outline or points"),
        ("points = [[0, 0], [1, 0]]", r"garment\.points: .*three or more points"),
        ("points = [[0, 0], [1, 0], [nan, 3]]", r"garment\.points: point 3"),
        (
            "points = [[0, 0], [60, 60], [60, 0], [0, 60]]",
            r"garment\.points: .*crosses .* at 300 mm",
        ),
        ('points = [[0,0],[9,0],[9,9]]\nunits = "m"', r"garment\.points: .*9 m wide"),
        ('points = [[0,0],[9,0],[9,9]]\nopen = "front"', r"garment\.open: 'front' is not a side"),
    ],
)
def test_a_bad_outline_is_refused_by_its_key(tmp_path: Path, garment: str, said: str) -> None:
    text = f"[garment]\n{garment}"
    with pytest.raises(PlanError, match=said) as caught:
        resolve(plan_from_text(text, str(tmp_path / "my.toml")), STOCK)
    assert str(caught.value).isprintable()


@settings(max_examples=60, deadline=None)
@given(st.text(alphabet="MmLlHhVvCcSsQqTtAaZz0123456789.,- eE", max_size=60))
def test_any_path_is_read_or_refused(text: str) -> None:
    said = "read"
    try:
        for ring in path_rings(text):
            assert np.isfinite(ring).all()
    except ShapeFault as error:
        said = str(error)
    assert said.isprintable()


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.sampled_from(
            ["<g>", "</g>", "<path ", 'd="', "M0 0", "h400v600h-400z", '"', "/>", "<svg>", "&a;"]
        ),
        max_size=14,
    )
)
def test_any_drawing_is_read_or_refused(parts: list[str]) -> None:
    said = "read"
    try:
        read_svg(drawing("".join(parts)))
    except ShapeFault as error:
        said = str(error)
    assert said
    assert "\n" not in said
