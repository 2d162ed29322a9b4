"""A reflectance for a colour that is only known as a screen shows it."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from meltwick.colour.observer import WAVELENGTHS, WEIGHTS
from meltwick.colour.standard import TO_XYZ, decode
from meltwick.types import Floats

DARKEST, LIGHTEST = 0.004, 0.98  # reflectance that cloth may have; chosen
_FLOOR, _CEILING = 0.01, 0.94  # of each channel's light, so that a curve within those exists


@lru_cache(maxsize=32)
def smoothest(colour: str) -> tuple[float, ...]:
    """Return the smoothest reflectance that has a colour in daylight.

    Of all curves between the darkest and the lightest cloth it is the one with the least sum of
    squared steps of its logistic transform, found by Newton's method on the Lagrangian (the way
    of Burns 2020, Color Res. Appl. 45, 8-21, "Numerical methods for smoothest reflectance
    reconstruction"; from memory).

    Parameters
    ----------
    colour : str
        ``#rrggbb``, sRGB; brought within what cloth can reflect.

    Returns
    -------
    tuple of 31 floats
        400 to 700 nm by 10 nm.

    Raises
    ------
    ValueError
        No curve was found.
    """
    channels = [int(colour[n : n + 2], 16) / 255.0 for n in (1, 3, 5)]
    light = np.clip(decode(np.array(channels)), _FLOOR, _CEILING)
    wanted = TO_XYZ @ light * 100.0
    count = len(WAVELENGTHS)
    steps = np.diff(np.eye(count), axis=0)
    stiff = 2.0 * steps.T @ steps
    share = np.clip((wanted[1] / 100.0 - DARKEST) / (LIGHTEST - DARKEST), 0.02, 0.98)
    z, pull = np.full(count, np.log(share / (1.0 - share))), np.zeros(3)
    for _ in range(200):
        curve, slope, bend = _logistic(z)
        gap = WEIGHTS.T @ curve - wanted
        force = stiff @ z + slope * (WEIGHTS @ pull)
        if float(np.abs(gap).max()) < 1e-7 and float(np.abs(force).max()) < 1e-7:
            return tuple(curve.tolist())
        matrix = np.zeros((count + 3, count + 3))
        matrix[:count, :count] = stiff + np.diag(bend * (WEIGHTS @ pull))
        matrix[:count, count:] = slope[:, None] * WEIGHTS
        matrix[count:, :count] = matrix[:count, count:].T
        move = np.linalg.lstsq(matrix, -np.concatenate([force, gap]), rcond=None)[0]
        move *= min(1.0, 2.0 / max(1e-12, float(np.abs(move[:count]).max())))
        z, pull = z + move[:count], pull + move[count:]
    raise ValueError(f"no reflectance was found for {colour}")


def _logistic(z: Floats) -> tuple[Floats, Floats, Floats]:
    """Reflectance and its first two derivatives."""
    part = 1.0 / (1.0 + np.exp(-z))
    span = LIGHTEST - DARKEST
    slope = span * part * (1.0 - part)
    return DARKEST + span * part, slope, slope * (1.0 - 2.0 * part)
