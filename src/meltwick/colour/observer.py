"""The standard observer and daylight, and the weights that turn a reflectance into XYZ.

Source: CIE 1931 2 degree observer (ISO/CIE 11664-1) and illuminant D65 (ISO/CIE 11664-2), every
10 nm from 360 to 780 nm, as tabulated by the colour-science library.
"""

from __future__ import annotations

import numpy as np

from meltwick.types import Floats

WAVELENGTHS: Floats = np.arange(400.0, 701.0, 10.0)
"""[nm] the 31 samples of every spectrum here."""

WHITE: Floats = np.array([95.047, 100.0, 108.883])
"""XYZ of the perfect white under D65 (x 0.3127, y 0.3290), integrated at 1 nm."""

# nm, xbar, ybar, zbar, D65
_TABLE: Floats = np.array(
    [
        [360, 0.0001299, 3.917e-06, 0.0006061, 46.6383],
        [370, 0.0004149, 1.239e-05, 0.001946, 52.0891],
        [380, 0.001368, 3.9e-05, 0.00645, 49.9755],
        [390, 0.004243, 0.00012, 0.02005, 54.6482],
        [400, 0.01431, 0.000396, 0.06785, 82.7549],
        [410, 0.04351, 0.00121, 0.2074, 91.486],
        [420, 0.13438, 0.004, 0.6456, 93.4318],
        [430, 0.2839, 0.0116, 1.3856, 86.6823],
        [440, 0.34828, 0.023, 1.74706, 104.865],
        [450, 0.3362, 0.038, 1.77211, 117.008],
        [460, 0.2908, 0.06, 1.6692, 117.812],
        [470, 0.19536, 0.09098, 1.28764, 114.861],
        [480, 0.09564, 0.13902, 0.81295, 115.923],
        [490, 0.03201, 0.20802, 0.46518, 108.811],
        [500, 0.0049, 0.323, 0.272, 109.354],
        [510, 0.0093, 0.503, 0.1582, 107.802],
        [520, 0.06327, 0.71, 0.07825, 104.79],
        [530, 0.1655, 0.862, 0.04216, 107.689],
        [540, 0.2904, 0.954, 0.0203, 104.405],
        [550, 0.43345, 0.99495, 0.00875, 104.046],
        [560, 0.5945, 0.995, 0.0039, 100],
        [570, 0.7621, 0.952, 0.0021, 96.3342],
        [580, 0.9163, 0.87, 0.00165, 95.788],
        [590, 1.0263, 0.757, 0.0011, 88.6856],
        [600, 1.0622, 0.631, 0.0008, 90.0062],
        [610, 1.0026, 0.503, 0.00034, 89.5991],
        [620, 0.85445, 0.381, 0.00019, 87.6987],
        [630, 0.6424, 0.265, 5e-05, 83.2886],
        [640, 0.4479, 0.175, 2e-05, 83.6992],
        [650, 0.2835, 0.107, 0, 80.0268],
        [660, 0.1649, 0.061, 0, 80.2146],
        [670, 0.0874, 0.032, 0, 82.2778],
        [680, 0.04677, 0.017, 0, 78.2842],
        [690, 0.0227, 0.00821, 0, 69.7213],
        [700, 0.0113592, 0.004102, 0, 71.6091],
        [710, 0.00579035, 0.002091, 0, 74.349],
        [720, 0.00289933, 0.001047, 0, 61.604],
        [730, 0.00143997, 0.00052, 0, 69.8856],
        [740, 0.000690079, 0.0002492, 0, 75.087],
        [750, 0.000332301, 0.00012, 0, 63.5927],
        [760, 0.00016615, 6e-05, 0, 46.4182],
        [770, 8.30753e-05, 3e-05, 0, 66.8054],
        [780, 4.15099e-05, 1.499e-05, 0, 63.3828],
    ]
)


def _weigh() -> Floats:
    """Weights (31, 3) such that ``reflectance @ weights`` is XYZ with Y = 100 for white.

    Spectra stop at 400 and 700 nm. What daylight and eye see beyond (0.04 % of Y) is added to the
    end samples, as if the cloth went on with its end reflectance (the way of ASTM E308 for spectra
    that are cut short, from memory). Then X, Y and Z are each scaled by less than 0.1 % so that
    the perfect white has exactly D65's colour.
    """
    full = _TABLE[:, 1:4] * _TABLE[:, 4:5]
    low, high = _TABLE[:, 0] < WAVELENGTHS[0], _TABLE[:, 0] > WAVELENGTHS[-1]
    weights: Floats = full[~(low | high)].copy()
    weights[0] += full[low].sum(axis=0)
    weights[-1] += full[high].sum(axis=0)
    weights *= WHITE / weights.sum(axis=0)
    return weights


WEIGHTS: Floats = _weigh()
"""(31, 3) XYZ per unit of reflectance at each wavelength."""
