"""XYZ, CIELAB and sRGB, all under D65 for the 2 degree observer."""

from __future__ import annotations

import numpy as np

from meltwick.colour.observer import WEIGHTS, WHITE
from meltwick.types import Flags, Floats

TO_XYZ: Floats = np.array(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
)
"""Linear sRGB to XYZ (Y = 1 for white), IEC 61966-2-1:1999."""

FROM_XYZ: Floats = np.asarray(np.linalg.inv(TO_XYZ), dtype=np.float64)
"""XYZ (Y = 1 for white) to linear sRGB."""

_KNEE = (6.0 / 29.0) ** 3  # CIELAB, ISO/CIE 11664-4
_SLOPE = (29.0 / 6.0) ** 2 / 3.0
_ROUNDING = 5e-4  # the standard's matrix has four decimals: its white is off by this much
_HALVINGS = 14


def to_xyz(reflectance: Floats) -> Floats:
    """Integrate reflectances against daylight and eye.

    Parameters
    ----------
    reflectance : ndarray of shape (..., 31)
        400 to 700 nm by 10 nm [-].

    Returns
    -------
    ndarray of shape (..., 3)
        XYZ, Y = 100 for the perfect white.
    """
    out: Floats = np.asarray(reflectance, dtype=np.float64) @ WEIGHTS
    return out


def to_lab(xyz: Floats) -> Floats:
    """Turn XYZ into CIELAB.

    Parameters
    ----------
    xyz : ndarray of shape (..., 3)
        Y = 100 for the perfect white.

    Returns
    -------
    ndarray of shape (..., 3)
        L*, a*, b* (ISO/CIE 11664-4).
    """
    t = np.asarray(xyz, dtype=np.float64) / WHITE
    f = np.where(t > _KNEE, np.cbrt(t), _SLOPE * t + 4.0 / 29.0)
    return np.stack(
        [
            116.0 * f[..., 1] - 16.0,
            500.0 * (f[..., 0] - f[..., 1]),
            200.0 * (f[..., 1] - f[..., 2]),
        ],
        axis=-1,
    )


def from_lab(lab: Floats) -> Floats:
    """Turn CIELAB into XYZ, the inverse of `to_lab`; shapes (..., 3)."""
    lab = np.asarray(lab, dtype=np.float64)
    fy = (lab[..., 0] + 16.0) / 116.0
    f = np.stack([fy + lab[..., 1] / 500.0, fy, fy - lab[..., 2] / 200.0], axis=-1)
    t = np.where(f > 6.0 / 29.0, f**3, (f - 4.0 / 29.0) / _SLOPE)
    out: Floats = t * WHITE
    return out


def encode(linear: Floats) -> Floats:
    """Apply the sRGB curve to linear light in [0, 1] (IEC 61966-2-1:1999), any shape."""
    light = np.asarray(linear, dtype=np.float64)
    out: Floats = np.where(
        light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 0.0031308) ** (1 / 2.4) - 0.055
    )
    return out


def decode(srgb: Floats) -> Floats:
    """Undo `encode`: sRGB in [0, 1] to linear light, any shape."""
    value = np.asarray(srgb, dtype=np.float64)
    out: Floats = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    return out


def to_srgb(lab: Floats) -> Floats:
    """Turn CIELAB into encoded sRGB, fading what no screen can show.

    A colour outside the gamut keeps its lightness L* and hue angle and loses just so much chroma
    that it fits (halving the interval). Clipping each channel would change all three.

    Parameters
    ----------
    lab : ndarray of shape (n, 3)
        L* between 0 and 100.

    Returns
    -------
    ndarray of shape (n, 3)
        0 to 1.
    """
    lab = np.asarray(lab, dtype=np.float64)
    light = to_linear(lab)
    outside = ~_fits(light)
    if outside.any():
        light[outside] = _faded(lab[outside])
    return encode(np.clip(light, 0.0, 1.0))


def to_linear(lab: Floats) -> Floats:
    """Turn CIELAB into linear sRGB, in or out of the gamut, 1 for the perfect white, (..., 3)."""
    out: Floats = from_lab(lab) @ (FROM_XYZ.T / 100.0)
    return out


def from_linear(linear: Floats) -> Floats:
    """Turn linear sRGB, 1 for the perfect white, into CIELAB, (..., 3)."""
    return to_lab(linear @ TO_XYZ.T * 100.0)


def _fits(light: Floats) -> Flags:
    """Tell which linear colours are in the gamut."""
    out: Flags = np.all((light >= -_ROUNDING) & (light <= 1 + _ROUNDING), axis=-1)
    return out


def _faded(lab: Floats) -> Floats:
    """Linear sRGB of the most vivid colour of the same L* and hue that fits."""
    low, high = np.zeros(len(lab)), np.ones(len(lab))
    for _ in range(_HALVINGS):
        share = 0.5 * (low + high)
        fits = _fits(to_linear(_scaled(lab, share)))
        low, high = np.where(fits, share, low), np.where(fits, high, share)
    return to_linear(_scaled(lab, low))


def _scaled(lab: Floats, share: Floats) -> Floats:
    """Keep a share of the chroma."""
    out = lab.copy()
    out[:, 1:] *= share[:, None]
    return out
