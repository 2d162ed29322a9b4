"""A maker's own outline: one layer, or a front and a back sewn together."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry import LineString, MultiLineString, Point, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import nearest_points

from meltwick.cloth.flat import THREAD, Places, Zones
from meltwick.cloth.pattern import Band, Pattern, Stitching, strip
from meltwick.errors import StockError
from meltwick.types import Blank, Detail, Floats

# Common practice, no source, and how many times the single cloth lies there.
ALLOWANCE = 6.0  # [mm]
OVERLOCKED = (1.8, 1.9)  # (thickness, mass): the allowance lies under the panel
TURNED = (2.0, 2.0)  # a hem is the cloth turned up once
ZONES = ("middle", "border")
BORDER = 0.2  # of the smaller extent, how deep the border is
NEAR = 0.15  # of an extent: an open side lies no farther from the outline's end
FACING = 0.7  # cosine: an open side's edge faces its side within 45 degrees
STEP = 4.0  # [mm] pieces of the border that are open or sewn

_WAYS = {"top": (0.0, -1.0), "bottom": (0.0, 1.0), "left": (-1.0, 0.0), "right": (1.0, 0.0)}


def own(blank: Blank) -> tuple[Pattern, ...]:
    """Make panels of the outlines that a blank carries.

    Parameters
    ----------
    blank : Blank
        ``shapes`` are one border, or a front's and a back's [m]; ``open`` names the sides where
        the two are not sewn together; the measure ``hem`` [m] is how wide open edges are turned.

    Returns
    -------
    tuple of Pattern
        ``front``, or front and back.

    Raises
    ------
    StockError
        The blank has no border, or more than two.
    """
    if not 1 <= len(blank.shapes) <= 2:
        raise StockError(f"blank {blank.name!r}: {len(blank.shapes)} outlines; it needs one or two")
    outlines = [Polygon(1000.0 * np.asarray(ring)) for ring in blank.shapes]
    hem = 1000.0 * blank.measures.get("hem", 0.0)
    sewn = len(outlines) == 2
    return tuple(
        _panel(name, outline, blank.open if sewn else tuple(_WAYS), hem, sewn)
        for name, outline in zip(("front", "back"), outlines, strict=False)
    )


def _panel(name: str, outline: Polygon, sides: tuple[str, ...], hem: float, sewn: bool) -> Pattern:
    """Put one panel together."""
    ring = LineString(outline.exterior.coords)
    seam, free = _parted(outline, sides) if sewn else (MultiLineString(), MultiLineString([ring]))
    bands = [Band(strip(seam, ALLOWANCE, outline), *OVERLOCKED)] if not seam.is_empty else []
    rows: list[Floats] = []
    if hem and not free.is_empty:
        turned = strip(free, hem, outline)
        bands.append(Band(turned, *TURNED))
        rows = _rows(free, hem, outline)
    return Pattern(
        name=name,
        outline=outline,
        seam=seam if sewn else None,
        free=free,
        bands=tuple(bands),
        stitching=tuple(Stitching(LineString(row), THREAD) for row in rows),
        bare=(),
        zones=_zones(outline),
        rest="border",
        details=tuple(Detail("hem stitching", name, row) for row in rows),
        places=_places(outline) if name == "front" else (),
    )


def _parted(outline: Polygon, sides: tuple[str, ...]) -> tuple[MultiLineString, MultiLineString]:
    """Part a border into what is sewn and what lies on an open side and faces it."""
    border = shapely.segmentize(shapely.orient_polygons(outline).exterior, STEP)
    points = shapely.get_coordinates(border)
    step = np.diff(points, axis=0)
    middle = 0.5 * (points[1:] + points[:-1])
    length = np.maximum(np.hypot(*step.T), 1e-9)
    outward = np.column_stack([step[:, 1], -step[:, 0]]) / length[:, None]  # of a ring run
    # with its inside on the left
    low, high = points.min(axis=0), points.max(axis=0)
    is_open = np.zeros(len(step), dtype=bool)
    for side in sides:
        way = np.array(_WAYS[side])
        axis = int(np.abs(way).argmax())
        end = (high if way[axis] > 0 else low)[axis]
        near = np.abs(middle[:, axis] - end) <= NEAR * (high - low)[axis]
        is_open |= near & (outward @ way > FACING)
    pieces = list(pairwise(points))
    return (
        _joined([piece for piece, free in zip(pieces, is_open, strict=True) if not free]),
        _joined([piece for piece, free in zip(pieces, is_open, strict=True) if free]),
    )


def _joined(pieces: list[tuple[Floats, Floats]]) -> MultiLineString:
    """Join pieces that follow on each other into lines."""
    if not pieces:
        return MultiLineString()
    merged = shapely.line_merge(MultiLineString(pieces))
    return merged if isinstance(merged, MultiLineString) else MultiLineString([merged])


def _rows(free: BaseGeometry, hem: float, outline: Polygon) -> list[Floats]:
    """Lay a row of stitches at the depth of the hem along every open edge."""
    depth = outline.difference(free.buffer(hem, quad_segs=6))
    # what of the rest's border does not lie on the outline's own is the turned edge
    edge = depth.boundary.intersection(outline.buffer(-0.5))
    merged = shapely.line_merge(edge) if edge.geom_type == "MultiLineString" else edge
    lines = [part for part in shapely.get_parts(merged) if part.geom_type == "LineString"]
    return [shapely.get_coordinates(line) for line in lines if line.length > 4 * STEP]


def _zones(outline: Polygon) -> Zones:
    left, top, right, low = outline.bounds
    inner = outline.buffer(-BORDER * min(right - left, low - top))
    return tuple(("middle", part) for part in shapely.get_parts(inner) if not part.is_empty)


def _places(outline: Polygon) -> Places:
    """Name the point nearest the middle, and where the border reaches farthest each way."""
    left, top, right, low = outline.bounds
    middle = nearest_points(outline, Point((left + right) / 2, (top + low) / 2))[0]
    ring = shapely.get_coordinates(outline.exterior)
    found = [("middle", (float(middle.x), float(middle.y)))]
    for name, (x, y) in _WAYS.items():
        reach = ring @ np.array([x, y])
        at = ring[reach >= reach.max() - 1e-6].mean(axis=0)
        near = nearest_points(outline, Point(at))[0]
        found.append((f"{name} edge", (float(near.x), float(near.y))))
    return tuple(found)
