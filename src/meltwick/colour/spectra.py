"""Spectra of dyes and cloth, 400 to 700 nm by 10 nm."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from meltwick.colour.ground import smoothest
from meltwick.colour.observer import WAVELENGTHS
from meltwick.types import Component, Fabric, Floats

SHOULDER = 1.3
"""How much wider a band is on its short-wave side. Chosen: the spectra of dyes fall steeply
towards red and have a vibronic shoulder towards blue."""

HAZE = 0.004
"""Even absorption of every dye over all wavelengths, as a share of each band's peak. Chosen: real
dyeings are never as clean as a lone band."""


def band(peak: float, half_width: float) -> Floats:
    """Shape of one absorption band, 1 at its peak.

    A Gaussian in wavenumber, each side with its own width. Towards red it is at half its height
    ``half_width`` from the peak, towards blue ``SHOULDER`` times as far.

    Parameters
    ----------
    peak : float
        Wavelength of the maximum [nm].
    half_width : float
        From the peak to half the height on the red side [nm].

    Returns
    -------
    ndarray of shape (31,)
        At ``WAVELENGTHS`` [-].
    """
    offset = 1.0 / WAVELENGTHS - 1.0 / peak  # a wavenumber, but for its unit
    red = 1.0 / peak - 1.0 / (peak + half_width)
    blue = 1.0 / max(peak - SHOULDER * half_width, 1.0) - 1.0 / peak
    shape: Floats = np.exp2(-((offset / np.where(offset > 0, blue, red)) ** 2))
    return shape


def strengths(species: Sequence[Component]) -> Floats:
    """K/S that one per cent of each component on the fibre's mass adds.

    Parameters
    ----------
    species : sequence of Component
        K of them.

    Returns
    -------
    ndarray of shape (K, 31)
        [1/%]
    """
    table = np.zeros((len(species), len(WAVELENGTHS)))
    for row, component in zip(table, species, strict=True):
        for peak, half_width, height in component.bands:
            row += height * (band(peak, half_width) + HAZE)
    return table


def undyed(fabric: Fabric) -> Floats:
    """Reflectance of the cloth before it is dyed.

    Parameters
    ----------
    fabric : Fabric
        Its ``ground`` if it has one, else the smoothest curve of its ``ground_colour`` if it has
        one, else bleached cotton without brightener: 0.90 in the red,
        falling towards violet (a smooth curve from memory, CIE whiteness within 70 to 90).

    Returns
    -------
    ndarray of shape (31,)
        [-]

    Raises
    ------
    ValueError
        The ground has not 31 samples.
    """
    if fabric.ground:
        ground = np.asarray(fabric.ground, dtype=np.float64)
        if ground.shape != WAVELENGTHS.shape:
            raise ValueError(
                f"fabric {fabric.name!r}: ground has {ground.size} values; "
                f"it needs {WAVELENGTHS.size}, 400 to 700 nm by 10 nm"
            )
        return ground
    if fabric.ground_colour:
        return np.array(smoothest(fabric.ground_colour))
    cotton: Floats = 0.90 - 0.11 * np.exp(-(WAVELENGTHS - 400.0) / 55.0)
    return cotton
