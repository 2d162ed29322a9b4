"""The pattern of one panel: its outline and what is sewn to it, before any raster."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from shapely.geometry import LineString, MultiLineString, Polygon

from meltwick.types import Detail, Floats


@dataclass(frozen=True)
class Band:
    """Thicker cloth: a hem, a rib, the allowance of a seam."""

    region: Polygon  # [mm]
    thickness: float  # times the fabric's
    mass: float  # times the fabric's


@dataclass(frozen=True)
class Stitching:
    """A row of thread that takes no dye."""

    line: LineString  # [mm]
    width: float  # [mm] of thread over the cloth


@dataclass(frozen=True)
class Pattern:
    """One panel. Lengths in millimetres; x right of the spine, y down from the shoulder."""

    name: str
    outline: Polygon
    seam: MultiLineString | None  # where it joins the other panel
    free: MultiLineString  # the rest of its border: hem, cuffs, neck
    bands: tuple[Band, ...]
    stitching: tuple[Stitching, ...]
    bare: tuple[Polygon, ...]  # under a label: takes no dye
    zones: tuple[tuple[str, Polygon], ...]  # the first that holds a cell claims it
    rest: str  # the zone of every other cell
    details: tuple[Detail, ...]
    places: tuple[tuple[str, tuple[float, float]], ...] = ()  # points by name [mm]


def curve(*control: tuple[float, float], points: int = 24) -> Floats:
    """Sample a cubic Bezier curve.

    Parameters
    ----------
    control : tuple of float
        Four control points (x, y) [mm].
    points : int
        Samples, both ends among them.

    Returns
    -------
    ndarray of shape (points, 2)
        [mm]
    """
    t = np.linspace(0.0, 1.0, points)[:, None]
    p0, p1, p2, p3 = (np.asarray(p, dtype=np.float64) for p in control)
    out: Floats = (
        (1 - t) ** 3 * p0 + 3 * (1 - t) ** 2 * t * p1 + 3 * (1 - t) * t**2 * p2 + t**3 * p3
    )
    return out


def mirrored(points: Floats) -> Floats:
    """Reflect a polyline in the spine, and turn it round so that it runs on."""
    out: Floats = points[::-1] * np.array([-1.0, 1.0])
    return out


def strip(line: LineString | MultiLineString, width: float, within: Polygon) -> Polygon:
    """Take the strip of a panel within ``width`` [mm] of a line."""
    near: Polygon = line.buffer(width, quad_segs=6).intersection(within)
    return near
