"""Take a cast of light off a colour: each cone's light scaled by what white became."""

from __future__ import annotations

import numpy as np

from meltwick.colour.standard import FROM_XYZ, TO_XYZ
from meltwick.types import Floats

# Lam 1985, PhD thesis, University of Bradford; as printed in ICC.1:2010, annex E (from memory)
_BRADFORD: Floats = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)
TO_CONES: Floats = _BRADFORD @ TO_XYZ
"""(3, 3) linear sRGB to the sharpened cones of the Bradford transform."""

FROM_CONES: Floats = np.asarray(np.linalg.inv(TO_CONES), dtype=np.float64)
"""(3, 3) sharpened cones to linear sRGB."""


def to_cones(linear: Floats) -> Floats:
    """Turn linear sRGB, (..., 3), into sharpened cones, of the same shape."""
    out: Floats = np.asarray(linear, dtype=np.float64) @ TO_CONES.T
    return out


def cones_to_xyz(cones: Floats) -> Floats:
    """Turn sharpened cones, (..., 3), into XYZ, Y = 100 for white."""
    out: Floats = 100.0 * np.asarray(cones, dtype=np.float64) @ (TO_XYZ @ FROM_CONES).T
    return out


def white_in_cones(xyz: Floats) -> Floats:
    """Sharpened cones of a known white, (3,), from its XYZ, Y = 100 for the perfect white."""
    return to_cones(FROM_XYZ @ (np.asarray(xyz, dtype=np.float64) / 100.0))
