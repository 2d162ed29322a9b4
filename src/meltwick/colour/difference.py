"""How different two colours look."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from meltwick.types import Floats


def delta_e76(one: Floats, two: Floats) -> Floats:
    """CIELAB colour difference, Delta E*ab (ISO/CIE 11664-4, the CIE's formula of 1976).

    The grey scales of ISO 105 are defined in it, so it grades white cloth.

    Parameters
    ----------
    one, two : ndarray of shape (..., 3)
        L*, a*, b*.

    Returns
    -------
    ndarray of shape (...)
        [-]
    """
    gap = np.asarray(one, dtype=np.float64) - np.asarray(two, dtype=np.float64)
    out: Floats = np.sqrt(np.sum(gap * gap, axis=-1))
    return out


def delta_e00(one: Floats, two: Floats) -> Floats:
    """CIEDE2000 colour difference (ISO/CIE 11664-6): nearness of two colours to the eye.

    Parameters
    ----------
    one, two : ndarray of shape (..., 3)
        L*, a*, b*.

    Returns
    -------
    ndarray of shape (...)
        [-]
    """
    from skimage import color  # a heavy import, seldom needed

    compare: Callable[[Floats, Floats], Floats] = color.deltaE_ciede2000
    return np.asarray(compare(one, two), dtype=np.float64)
