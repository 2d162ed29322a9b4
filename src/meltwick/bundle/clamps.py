"""Clamps: two plates of one shape on the two faces of a pile, screwed together."""

from __future__ import annotations

import numpy as np

from meltwick import binding
from meltwick.constants import Constants
from meltwick.types import Clamps, Fabric, Floats


def corners(tie: Clamps) -> Floats:
    """Corners of a plate round its middle, before it is turned [m], shape (n, 2); none of a disc.

    x runs across the pile and y along it, to the high end. The middle is that of area.
    """
    if tie.shape == "disc":
        return np.zeros((0, 2))
    if tie.shape == "triangle":
        tall = 0.5 * np.sqrt(3.0) * tie.size
        low, half = -tall / 3.0, 0.5 * tie.size
        return np.array([[-half, low], [half, low], [0.0, tall + low]])
    x, y = 0.5 * tie.size, 0.5 * (tie.breadth if tie.shape == "bar" else tie.size)
    return np.array([[-x, -y], [x, -y], [x, y], [-x, y]])


def inside(tie: Clamps, x: Floats, y: Floats) -> Floats:
    """Distance of points inside a plate's nearest edge [m], negative outside.

    Parameters
    ----------
    x, y : ndarray of shape (P,)
        From the plate's middle, across and along the pile [m].
    """
    sine, cosine = np.sin(tie.turn), np.cos(tie.turn)
    x, y = cosine * x - sine * y, sine * x + cosine * y
    around = corners(tie)
    if not len(around):
        return np.asarray(0.5 * tie.size - np.hypot(x, y))
    out = np.full(x.shape, np.inf)
    for (ax, ay), (bx, by) in zip(around, np.roll(around, -1, axis=0), strict=True):
        long = np.hypot(bx - ax, by - ay)
        out = np.minimum(out, ((bx - ax) * (y - ay) - (by - ay) * (x - ax)) / long)
    return np.asarray(out)


def plate_area(tie: Clamps) -> tuple[float, float]:
    """Area of a plate [m2], and by how much it grows with the square of an offset [-].

    Moved outwards by t all round, an edge encloses A + P t + c t^2 (Steiner's formula with the
    corners left sharp): c is pi for a disc, 4 for a rectangle, 3 sqrt(3) for this triangle.
    """
    if tie.shape == "disc":
        return 0.25 * np.pi * tie.size**2, np.pi
    if tie.shape == "triangle":
        return 0.25 * np.sqrt(3.0) * tie.size**2, 3.0 * np.sqrt(3.0)
    return tie.size * (tie.breadth if tie.shape == "bar" else tie.size), 4.0


def press(
    tie: Clamps,
    across: Floats,
    along: Floats,
    layers: Floats,
    footprint: float,
    fabric: Fabric,
    constants: Constants,
) -> tuple[Floats, Floats]:
    """Pressure of the plates at points of the pile [Pa], and what they cover.

    Every layer carries the clamp's whole force: under the plate's own edge at the faces, spread
    one to two in the depth. An uneven pile is taken for an even one.

    Parameters
    ----------
    across, along : ndarray of shape (P,)
        Place in the footprint [m].
    layers : ndarray of shape (P,)
        Layers between the point and the nearer face.
    footprint : float
        Area of the pile that lies under a plate [m2].

    Returns
    -------
    pressure, covered : ndarray of shape (P,)
        Covered is 1 under a plate and 0 beside it, in every layer.
    """
    within = distance(tie, across, along)
    if footprint <= 0.0:
        return np.zeros_like(within), np.zeros_like(within)
    mean = tie.force / footprint
    depth = layers * binding.stack_thickness(fabric, mean, constants)
    area, growth = plate_area(tie)
    spread = 1.0 + growth * binding.EDGE_VARIANCE * depth**2 / area
    pressure = mean / spread * binding.under_edge(within, depth)
    return np.asarray(pressure), (within > 0.0).astype(np.float64)


def distance(tie: Clamps, across: Floats, along: Floats) -> Floats:
    """Distance inside the plates' edge of points of a pile [m], as in `inside`."""
    x = across - across.min() - tie.at[0] * np.ptp(across)
    y = along - along.min() - tie.at[1] * np.ptp(along)
    return inside(tie, x, y)
