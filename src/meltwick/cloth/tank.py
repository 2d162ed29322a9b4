"""The outline of a tank laid flat: a shirt without sleeves, bound at the neck and the arms."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import radians, tan

import numpy as np
from shapely.geometry import LineString, MultiLineString, Polygon, box

from meltwick.cloth.flat import measured
from meltwick.cloth.pattern import Band, Pattern, Stitching, curve, mirrored, strip
from meltwick.cloth.tee import (
    ALLOWANCE,
    BELOW_SEAM,
    HEM,
    NAVEL,
    NEEDLES,
    OVERLOCKED,
    RIBBED,
    THREAD,
    TURNED,
    inset,
)
from meltwick.errors import StockError
from meltwick.types import Blank, Detail, Floats

BINDING = 12.0  # [mm] of rib round neck and arms; common practice, no source
ZONES = ("chest", "belly", "hem", "shoulders", "spine")
_NEEDED = ("half_chest", "length", "shoulder", "neck", "neck_front", "neck_back", "armhole")


@dataclass(frozen=True)
class _Lines:
    """The right half's border from the shoulder to the middle of the hem, (n, 2) [mm]."""

    shoulder: Floats
    armhole: Floats
    side: Floats
    hem: Floats


def tank(blank: Blank) -> tuple[Pattern, ...]:
    """Draw the front and back of a tank.

    Parameters
    ----------
    blank : Blank
        Measures [m]: ``half_chest``, ``length``, ``shoulder`` and ``neck``, the outer and the
        inner width over the straps, ``neck_front``, ``neck_back``, ``armhole``.

    Returns
    -------
    tuple of Pattern
        Front, then back; the back as seen through the front.

    Raises
    ------
    StockError
        A measure is missing, or they make no tank.
    """
    m = measured(blank, "a tank", BINDING, _NEEDED)
    drop = max(m["neck_front"], m["neck_back"])
    fits = m["neck"] + 4 * BINDING < m["shoulder"] < m["half_chest"]
    if not (fits and drop < m["length"] / 2 and 1.3 * m["armhole"] < m["length"]):
        raise StockError(
            f"blank {blank.name!r}, size {blank.size!r}: these measures make no tank; the straps "
            f"must be more than {2 * BINDING:.0f} mm wide and lie inside the chest, and neck and "
            "armholes be less deep than half the length"
        )
    lines = _lines(m)
    return tuple(_panel(name, m, lines, m[f"neck_{name}"]) for name in ("front", "back"))


def _lines(m: Mapping[str, float]) -> _Lines:
    half, hem = m["half_chest"] / 2, m["length"]
    point = (m["shoulder"] / 2, (m["shoulder"] - m["neck"]) / 2 * tan(radians(16.0)))
    down = m["armhole"] - point[1]
    armhole = curve(
        point,
        (point[0] - 0.02 * half, point[1] + 0.62 * down),
        (point[0] + 0.25 * (half - point[0]), m["armhole"] - 0.01 * down),
        (half, m["armhole"]),
        points=33,
    )
    waist = 0.02 * half
    side = curve(
        (half, m["armhole"]),
        (half - waist, m["armhole"] + 0.3 * (hem - m["armhole"])),
        (half - waist, m["armhole"] + 0.65 * (hem - m["armhole"])),
        (half, hem - 5.0),
    )
    bottom = curve((half, hem - 5.0), (half / 2, hem), (half / 4, hem), (0.0, hem))
    return _Lines(np.array([(m["neck"] / 2, 0.0), point]), armhole, side, bottom)


def _panel(name: str, m: Mapping[str, float], right: _Lines, drop: float) -> Pattern:
    """Put one panel together."""
    half = m["neck"] / 2
    neck = curve((0.0, drop), (0.7 * half, drop), (half - 0.04 * drop, 0.62 * drop), (half, 0.0))
    ring = np.vstack(
        [neck[:-1], right.shoulder[:-1], right.armhole[:-1], right.side[:-1], right.hem]
    )
    outline = Polygon(np.vstack([ring, mirrored(ring[1:-1])]))
    both = [line for way in (right.shoulder, right.side) for line in (way, mirrored(way))]
    seam = MultiLineString(both)
    whole_neck = np.vstack([mirrored(neck), neck[1:]])
    bound = [whole_neck, right.armhole, mirrored(right.armhole)]
    hem = np.vstack([right.hem, mirrored(right.hem)[1:]])
    sewn = tuple(
        Detail("hem stitching", name, inset(hem, HEM - needle, outline)) for needle in NEEDLES
    )
    ribs = tuple(Detail("rib edge", name, inset(line, BINDING, outline)) for line in bound)
    return Pattern(
        name=name,
        outline=outline,
        seam=seam,
        free=MultiLineString([*bound, hem]),
        bands=(
            Band(strip(LineString(hem), HEM, outline), *TURNED),
            *(Band(strip(LineString(line), BINDING, outline), *RIBBED) for line in bound),
            Band(strip(seam, ALLOWANCE, outline), *OVERLOCKED),
        ),
        stitching=tuple(Stitching(LineString(d.points), THREAD) for d in sewn),
        bare=(),
        zones=_zones(name, m),
        rest="belly",
        details=(*ribs, *sewn),
        places=_places(m, right) if name == "front" else (),
    )


def _zones(name: str, m: Mapping[str, float]) -> tuple[tuple[str, Polygon], ...]:
    """Name the body's zones as a tee's are; the rest is belly."""
    wide, yoke = m["half_chest"], 0.7 * m["armhole"]
    ribs = m["armhole"] + 0.22 * (m["length"] - m["armhole"])
    hem = 0.88 * m["length"]
    spine = (("spine", box(-wide / 4, yoke, wide / 4, hem)),) if name == "back" else ()
    return (
        ("hem", box(-wide, hem, wide, m["length"] + 50)),
        ("shoulders", box(-wide, -50.0, wide, yoke)),
        *spine,
        ("chest", box(-wide, yoke, wide, ribs)),
    )


def _places(m: Mapping[str, float], right: _Lines) -> tuple[tuple[str, tuple[float, float]], ...]:
    """Name points of the body. Left and right are as seen from the front."""
    top, (x, y) = m["neck_front"], right.shoulder.mean(axis=0)
    return (
        ("neck", (0.0, top)),
        ("chest", (0.0, max(top, m["armhole"]))),
        ("navel", (0.0, max(top, NAVEL * m["length"]))),
        ("middle", (0.0, max(top, m["length"] / 2))),
        ("hem", (0.0, m["length"])),
        ("left shoulder", (-float(x), float(y) + BELOW_SEAM)),
        ("right shoulder", (float(x), float(y) + BELOW_SEAM)),
    )
