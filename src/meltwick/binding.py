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
