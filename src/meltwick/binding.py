"""Ties: the pressure of string, what it covers, and how far cloth gives way."""

from __future__ import annotations

import numba as nb
import numpy as np

from meltwick.constants import Constants
from meltwick.types import Fabric, Floats


def hoop_pressure(pull: float, radius: float, spacing: float) -> float:
    """Mean pressure of string wound round a cylinder, p = T / (r s) [Pa] (Laplace's hoop law).

    Parameters
    ----------
    pull : float
        In the string [N].
    radius : float
        Of the bundle under it [m].
    spacing : float
        Between turns [m].
    """
    return pull / (radius * spacing)


def helix_length(radius: float, spacing: float, length: float) -> float:
    """Return the string for a helix over ``length`` of a cylinder [m]: turns times one turn."""
    return length / spacing * float(np.hypot(2.0 * np.pi * radius, spacing))


def solid_under(pressure: Floats, loose: float, constants: Constants) -> Floats:
    """Share of volume that is fibre under pressure, van Wyk 1946: p = a (phi^n - phi0^n).

    Parameters
    ----------
    pressure : ndarray
        [Pa].
    loose : float
        phi0, of the cloth as it lies.

    Returns
    -------
    ndarray
        phi, at most ``constants.solid_cap``.
    """
    n = constants.stiffness_power
    solid = (loose**n + pressure / constants.stiffness) ** (1.0 / n)
    return np.asarray(np.minimum(solid, max(constants.solid_cap, loose)))


def contact_share(pressure: Floats, constants: Constants) -> Floats:
    """Share of true contact between layers, eta0 (p / 1 kPa)^b, at most 1; assumed."""
    relative = np.maximum(pressure, 100.0) / 1e3
    return np.asarray(np.minimum(1.0, constants.contact * relative**constants.contact_power))


def kozeny_carman(solid: Floats | float, fibre_width: float, kozeny: float) -> Floats:
    """Permeability of a bed of fibres [m2], k = d^2 eps^3 / (16 c (1 - eps)^2).

    Carman 1937 with the specific surface of cylinders, S0 = 4 / d.

    Parameters
    ----------
    solid : ndarray or float
        phi = 1 - eps.
    fibre_width : float
        d [m].
    kozeny : float
        c, about 5 [-].
    """
    phi = np.asarray(solid, dtype=np.float64)
    return np.asarray(fibre_width**2 * (1.0 - phi) ** 3 / (16.0 * kozeny * phi**2))


def stack_thickness(fabric: Fabric, pressure: float, constants: Constants) -> float:
    """Thickness of one layer under a mean pressure [m]."""
    solid = solid_under(np.array([pressure]), fabric.solid, constants)[0]
    return float(fabric.thickness * fabric.solid / solid)


def under_edge(inside: Floats, depth: Floats) -> Floats:
    """Share of a plate's pressure at a depth below it [-], by the distance inside its edge.

    A load spreads one to two, as under a string: the edge of a plate blurs into the integral of
    a raised cosine as wide as the point is deep. It is a half right below the edge.

    Parameters
    ----------
    inside : ndarray of shape (P,)
        Distance from the plate's edge [m], negative outside it.
    depth : ndarray of shape (P,)
        Of cloth between the plate and the point [m].
    """
    t = np.clip(inside / np.maximum(depth, 1e-9), -0.5, 0.5)
    return np.asarray(np.clip(0.5 + t + np.sin(2.0 * np.pi * t) / (2.0 * np.pi), 0.0, 1.0))


EDGE_VARIANCE = 1.0 / 12.0 - 1.0 / (2.0 * np.pi**2)
"""Variance of a raised cosine over its width squared."""


@nb.njit(cache=True)
def string_pressure(
    ring: Floats, spacing: Floats, depth: Floats, radius: Floats, pull: float, string: float
) -> Floats:
    """Pressure of rings of string at points under them [Pa], shape (P,).

    Each string presses (T/r) g(x; W): a raised cosine of unit area whose width W is the
    string's, plus the depth below it (load spreads one to two). Its mean over x is T/(r s).

    Parameters
    ----------
    ring : ndarray of shape (P,)
        Distance along the pole from the string that ends the point's pleat [m].
    spacing : ndarray of shape (P,)
        Between strings there [m].
    depth : ndarray of shape (P,)
        Of cloth above the point [m].
    radius : ndarray of shape (P,)
        Of the bundle [m].
    pull, string : float
        T [N] and the string's thickness d [m].
    """
    out = np.zeros(ring.size)
    for i in range(ring.size):
        width = string + depth[i]
        reach = int(0.5 * width / spacing[i]) + 2
        near = np.round(ring[i] / spacing[i])
        total = 0.0
        for k in range(-reach, reach + 1):
            away = abs(ring[i] - (near + k) * spacing[i])
            if away < 0.5 * width:
                total += (1.0 + np.cos(2.0 * np.pi * away / width)) / width
        out[i] = pull / radius[i] * total
    return out


@nb.njit(cache=True)
def line_pressure(
    x: Floats,
    y: Floats,
    depth: Floats,
    lines: Floats,
    radius: float,
    pull: float,
    width: float,
) -> tuple[Floats, Floats]:
    """Pressure of straight lines of string or band at points under them [Pa], and what they cover.

    Each presses as in `string_pressure`, with one radius.

    Parameters
    ----------
    x, y : ndarray of shape (P,)
        In plan view [m].
    depth : ndarray of shape (P,)
        Of bundle between the point and the outside [m].
    lines : ndarray of shape (L, 3)
        a, b, c of a x + b y = c, with a^2 + b^2 = 1.
    radius : float
        Of the bundle's section under a line [m].
    pull, width : float
        T [N] and the width of a string or band [m].

    Returns
    -------
    pressure, covered : ndarray of shape (P,)
        Covered is 1 under a line and 0 beside it.
    """
    pressure, covered = np.zeros(x.size), np.zeros(x.size)
    for i in range(x.size):
        wide = width + depth[i]
        for k in range(lines.shape[0]):
            away = abs(lines[k, 0] * x[i] + lines[k, 1] * y[i] - lines[k, 2])
            if away < 0.5 * wide:
                bump = (1.0 + np.cos(2.0 * np.pi * away / wide)) / wide
                pressure[i] += pull / radius * bump
            if away < 0.5 * width:
                covered[i] = 1.0
    return pressure, covered
