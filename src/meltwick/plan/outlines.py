"""A maker's own outline: from points or a drawing to checked borders, sewn and open sides."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING

from meltwick.errors import FileError
from meltwick.plan.paths import MOST_POINTS, Points, ShapeFault
from meltwick.plan.svg import Shape, read_svg
from meltwick.stock.reading import read_text
from meltwick.types import Blank
from meltwick.units import show_length

if TYPE_CHECKING:
    from meltwick.plan.garment import Garment

SMALLEST, LARGEST = 0.03, 5.0  # [m] across and down
FINE = 5e-5  # [m] a border keeps no bends smaller than this
LAYERS = {"one": 1, "front and back": 2}
UNITS = {"mm": 1e-3, "cm": 1e-2, "in": 0.0254, "m": 1.0}  # [m]


def own_blank(asked: Garment, where: str, refuse: Callable[[str, str], Exception]) -> Blank:
    """Make a blank of the outline that a plan gives.

    Parameters
    ----------
    asked : Garment
        With an outline or points.
    where : str
        The plan's file: a drawing is looked for beside it.
    refuse : callable
        ``refuse(key, said)`` returns the error for a key of the garment.

    Returns
    -------
    Blank
        Its ``shapes`` are borders in metres, x right of the middle, y down from the top; one of
        them, or a front and a back.

    Raises
    ------
    FileError
        The drawing cannot be read as a file.
    PlanError
        What is drawn makes no piece: one line that names the file and what is wrong.
    """
    key = "outline" if asked.outline else "points"
    try:
        if asked.outline:
            shapes = _sorted(_drawn(asked.outline, where))
            name = Path(asked.outline).stem[:40] or "own outline"
        else:
            shapes, name = [Shape("", asked.points)], "own outline"
        layers = LAYERS.get(asked.panels, len(shapes))
        if len(shapes) > layers:
            raise ShapeFault("it holds two shapes, and panels = 'one' wants one")
        rings = [_checked(shape) for shape in shapes]
        if layers == 2 and len(rings) == 1:
            rings *= 2
        whole = _laid(rings)
    except ShapeFault as error:
        said = f"{asked.outline}: {error}" if asked.outline else str(error)
        raise refuse(key, said) from None
    except FileError as error:
        raise refuse(key, str(error)) from None
    return Blank(
        name=name,
        cut="own",
        size="own",
        measures={"hem": asked.hem},
        shapes=tuple(whole),
        open=asked.open,
    )


def _drawn(outline: str, where: str) -> tuple[Shape, ...]:
    return read_svg(read_text(Path(where).parent / outline, "drawing"))


def _sorted(shapes: Sequence[Shape]) -> list[Shape]:
    """Put the front first, by its id; without ids the order of drawing stands."""
    names = [shape.name.casefold() for shape in shapes]
    if len(shapes) == 2 and ("back" in names[0] or "front" in names[1]) and names[0] != names[1]:
        return [shapes[1], shapes[0]]
    return list(shapes)


def _checked(shape: Shape) -> Points:
    """Check one border, and leave out bends too fine to matter."""
    from shapely import is_valid_reason
    from shapely.geometry import Polygon

    called = f"{shape.name}: " if shape.name else ""
    ring = shape.ring
    if not 3 <= len(ring) <= MOST_POINTS:
        raise ShapeFault(f"{called}{len(ring)} points make no border; use 3 to {MOST_POINTS}")
    if not all(isfinite(value) for point in ring for value in point):
        raise ShapeFault(f"{called}its border runs off to infinity")
    sides = [max(v) - min(v) for v in zip(*ring, strict=True)]
    for side, way in zip(sides, ("wide", "high"), strict=True):
        if not SMALLEST <= side <= LARGEST:
            raise ShapeFault(
                f"{called}it is {_size(side)} {way}; a piece measures "
                f"{show_length(SMALLEST)} to {show_length(LARGEST)}, so look at its units"
            )
    border = Polygon(ring).simplify(FINE, preserve_topology=False)
    raw = Polygon(ring)
    if not raw.is_valid:
        raise ShapeFault(f"{called}its border {_crossing(is_valid_reason(raw))}")
    kept = border if border.is_valid and border.geom_type == "Polygon" else raw
    if kept.buffer(-SMALLEST / 6).is_empty:
        raise ShapeFault(f"{called}it is too thin everywhere to be cloth")
    return tuple((float(x), float(y)) for x, y in kept.exterior.coords[:-1])


def _size(side: float) -> str:
    return show_length(side) if 1e-6 < side < 1e4 else f"{side:.1e} m"


def _crossing(reason: str) -> str:
    """Say in words where a border crosses or touches itself."""
    place = reason[reason.find("[") + 1 : reason.find("]")].split() if "[" in reason else []
    if len(place) != 2:
        return "crosses itself"
    x, y = (1000 * float(value) for value in place)
    return f"crosses or touches itself at {x:.0f} mm from the left, {y:.0f} mm from the top"


def _laid(rings: Sequence[Points]) -> list[Points]:
    """Centre each border on its middle line and begin at its top."""
    out = []
    for ring in rings:
        xs, ys = zip(*ring, strict=True)
        middle, top = (min(xs) + max(xs)) / 2, min(ys)
        out.append(tuple((x - middle, y - top) for x, y in ring))
    return out
