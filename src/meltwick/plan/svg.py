"""Closed shapes out of an SVG file: paths, rectangles, polygons and circles, in metres.

Read with the standard library's expat and with nothing that fetches, runs or expands: a file
that declares entities or holds a script is refused. What is read follows Scalable Vector
Graphics (SVG) 1.1, W3C 2011, sections 7 (coordinates), 8 (paths) and 9 (basic shapes).
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from typing import NamedTuple
from xml.parsers import expat

from meltwick.plan.paths import (
    Matrix,
    Points,
    ShapeFault,
    ellipse,
    moved,
    numbers,
    path_rings,
    rectangle,
    transform,
    within,
)
from meltwick.units import shown

DEEPEST = 60  # groups within groups
MOST_PARTS = 20_000  # elements in a file
MOST_SHAPES = 2

_MILLIMETRES = {  # SVG 1.1, section 7.10; 96 px to the inch
    "mm": 1.0,
    "cm": 10.0,
    "in": 25.4,
    "pt": 25.4 / 72,
    "pc": 25.4 / 6,
    "px": 25.4 / 96,
    "": 25.4 / 96,
}
_SHAPES = ("path", "rect", "polygon", "circle", "ellipse")
_HOLDS = ("svg", "g", "a", "switch")
_REFUSED = ("use", "image", "script", "foreignObject", "polyline", "line", "animate", "set")
_SAY_SHAPES = "only path, rect, polygon, circle and ellipse are read"


class Shape(NamedTuple):
    """One closed border."""

    name: str  # its id, or nothing
    ring: Points  # [m], x right, y down; the first point is not repeated


class _Reader:
    """Hears a file's elements in order and keeps what is drawn."""

    def __init__(self) -> None:
        self.shapes: list[Shape] = []
        self._moves: list[Matrix | None] = []  # None: nothing below here is drawn
        self._parts = 0

    def start(self, tag: str, given: Mapping[str, str]) -> None:
        """Take an element's beginning."""
        self._parts += 1
        if self._parts > MOST_PARTS:
            raise ShapeFault(f"it holds more than {MOST_PARTS} parts; keep the outlines only")
        if len(self._moves) >= DEEPEST:
            raise ShapeFault(f"its parts are nested deeper than {DEEPEST} levels; save it flat")
        name = tag.rpartition(":")[2] if tag.startswith("svg:") else tag
        if not self._moves:
            if name != "svg":
                raise ShapeFault(f"it is not an SVG file: it begins with <{tag[:30]}>, not <svg>")
            self._moves.append(_page(given))
            return
        above = self._moves[-1]
        if name in _REFUSED:
            raise ShapeFault(f"it holds a <{name}>; {_SAY_SHAPES}")
        if above is None or _hidden(given) or name not in (*_HOLDS, *_SHAPES):
            self._moves.append(None)
            return
        if name == "svg":
            raise ShapeFault("one drawing lies inside another; keep a single <svg>")
        here = within(above, transform(given.get("transform", "")))
        self._moves.append(here)
        if name in _SHAPES:
            self._draw(name, given, here)

    def end(self, _tag: str) -> None:
        """Take an element's end."""
        self._moves.pop()

    def _draw(self, kind: str, given: Mapping[str, str], place: Matrix) -> None:
        name = given.get("id", "")[:60]
        called = f"the {kind}" + (f" {shown(name)}" if name else "")
        if len(self.shapes) == MOST_SHAPES:
            raise ShapeFault(
                f"it holds more than {MOST_SHAPES} shapes; draw one, or a front and a back"
            )
        try:
            rings = _RINGS[kind](given)
        except ShapeFault as error:
            raise ShapeFault(f"{called}: {error}") from None
        if len(rings) != 1:
            raise ShapeFault(
                f"{called} has {len(rings)} parts; each layer of cloth is one closed border"
            )
        ring = tuple((x / 1000, y / 1000) for x, y in moved(rings[0], place))
        if not all(math.isfinite(v) and abs(v) < 1e6 for point in ring for v in point):
            raise ShapeFault(f"{called} runs off to infinity; draw it anew")
        self.shapes.append(Shape(name, ring))


def _hidden(given: Mapping[str, str]) -> bool:
    style = re.sub(r"\s", "", given.get("style", "")[:2000])
    return given.get("display") == "none" or "display:none" in style


def _measure(text: str, key: str) -> float:
    """Return a width or height of the page [mm]."""
    found = re.fullmatch(r"\s*([+-]?[0-9.]{1,20}(?:[eE][+-]?[0-9]{1,3})?)\s*([a-zA-Z%]*)\s*", text)
    unit = found[2].lower() if found else ""
    if found and unit == "%":
        raise ShapeFault(f"{key} is {shown(text)}, a percentage; write millimetres, as in '600mm'")
    if not found or unit not in _MILLIMETRES:
        raise ShapeFault(f"{key} is {shown(text)}; write a length such as '600mm'")
    try:
        value = float(found[1]) * _MILLIMETRES[unit]
    except ValueError:
        value = math.nan
    if not 0 < value < 1e6:
        raise ShapeFault(f"{key} is {shown(text)}; write a length such as '600mm'")
    return value


def _page(given: Mapping[str, str]) -> Matrix:
    """Return the matrix from the drawing's units to millimetres."""
    box = given.get("viewBox")
    for key in ("width", "height"):
        if key not in given:
            raise ShapeFault(
                f"it has no {key}, so nothing tells how large it is; save it with width and height "
                "in millimetres"
            )
    wide, high = (_measure(given[key], key) for key in ("width", "height"))
    if box is None:
        pixel = _MILLIMETRES["px"]
        return (pixel, 0.0, 0.0, pixel, 0.0, 0.0)
    four = numbers(box)
    if len(four) != 4 or not (four[2] > 0 and four[3] > 0):
        raise ShapeFault(f"viewBox is {shown(box)}; it is four numbers: left, top, width, height")
    across, down = wide / four[2], high / four[3]
    if abs(across / down - 1) > 0.01:
        raise ShapeFault(
            "its width and height do not go with its viewBox: a shape would be stretched; save it "
            "with both in millimetres"
        )
    return (across, 0.0, 0.0, down, -across * four[0], -down * four[1])


def _number(given: Mapping[str, str], key: str, default: float | None = None) -> float:
    text = given.get(key)
    if text is None and default is not None:
        return default
    bare = re.sub(r"px\s*$", "", text or "")
    found = numbers(bare) if text is not None else []
    if "%" in (text or ""):
        raise ShapeFault(f"{key} is {shown(text)}, a percentage; write a plain number")
    if len(found) != 1:
        raise ShapeFault(f"{key} is {shown(text) if text else 'missing'}; it must be one number")
    return found[0]


def _rect(given: Mapping[str, str]) -> list[Points]:
    wide, high = _number(given, "width"), _number(given, "height")
    return [rectangle(_number(given, "x", 0.0), _number(given, "y", 0.0), wide, high)]


def _round(given: Mapping[str, str]) -> list[Points]:
    if "r" in given:
        rx = ry = _number(given, "r")
    else:
        rx, ry = _number(given, "rx"), _number(given, "ry")
    return [ellipse(_number(given, "cx", 0.0), _number(given, "cy", 0.0), rx, ry)]


def _polygon(given: Mapping[str, str]) -> list[Points]:
    found = numbers(given.get("points", ""))
    if len(found) % 2 or len(found) < 6:
        raise ShapeFault(f"{len(found)} numbers make no polygon; it needs pairs, three or more")
    return [tuple(zip(found[::2], found[1::2], strict=True))]


_RINGS: dict[str, Callable[[Mapping[str, str]], list[Points]]] = {
    "path": lambda given: path_rings(given.get("d", "")),
    "rect": _rect,
    "polygon": _polygon,
    "circle": _round,
    "ellipse": _round,
}


def read_svg(text: str) -> tuple[Shape, ...]:
    """Read the closed shapes of an SVG drawing.

    Parameters
    ----------
    text : str

    Returns
    -------
    tuple of Shape
        One or two, in the order in which they are drawn, [m].

    Raises
    ------
    ShapeFault
        What is wrong, as the end of a sentence about the file.
    """
    reader = _Reader()
    parser = expat.ParserCreate("utf-8")
    parser.StartElementHandler = reader.start
    parser.EndElementHandler = reader.end
    parser.EntityDeclHandler = _no_entities
    parser.ExternalEntityRefHandler = _no_entities
    try:
        parser.Parse(text.encode("utf-8", "replace"), True)
    except expat.ExpatError as error:
        said = expat.ErrorString(error.code)
        raise ShapeFault(f"line {error.lineno} is not well-formed XML: {said}") from None
    if not reader.shapes:
        raise ShapeFault(f"it holds no shape; {_SAY_SHAPES}")
    return tuple(reader.shapes)


def _no_entities(*_found: object) -> int:
    raise ShapeFault("it declares entities, which a drawing does not need; save it as plain SVG")
