"""Kubelka and Munk's theory of an opaque layer: reflectance from absorption over scattering."""

from __future__ import annotations

import numpy as np

from meltwick.types import Floats


def absorption(reflectance: Floats) -> Floats:
    """Turn a reflectance into K/S.

    K/S = (1 - R)^2 / (2 R), the layer so thick that more would not change it.

    Parameters
    ----------
    reflectance : ndarray
        R, more than 0 and at most 1 [-].

    Returns
    -------
    ndarray
        K/S [-], same shape.

    Raises
    ------
    ValueError
        A reflectance is not in (0, 1].

    References
    ----------
    Kubelka and Munk 1931, Z. Tech. Phys. 12, 593 (from memory).
    """
    r = np.asarray(reflectance, dtype=np.float64)
    if not np.all((r > 0) & (r <= 1)):
        raise ValueError("a reflectance must be more than 0 and at most 1")
    out: Floats = (1 - r) ** 2 / (2 * r)
    return out


def reflectance(ratio: Floats) -> Floats:
    """Turn K/S into a reflectance.

    R = 1 + a - sqrt(a^2 + 2a), a = K/S, written as 1 / (1 + a + sqrt(a^2 + 2a)), which is the
    same number without the cancellation.

    Parameters
    ----------
    ratio : ndarray
        K/S, 0 or more [-].

    Returns
    -------
    ndarray
        R [-], same shape, in (0, 1].

    References
    ----------
    Kubelka and Munk 1931, Z. Tech. Phys. 12, 593 (from memory).
    """
    a = np.asarray(ratio, dtype=np.float64)
    out: Floats = 1.0 / (1.0 + a + np.sqrt(a * (a + 2.0)))
    return out
