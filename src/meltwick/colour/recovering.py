"""What a dye absorbs, from the colours of cloth dyed with it: Kubelka and Munk turned round."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import least_squares

from meltwick.colour.difference import delta_e00
from meltwick.colour.kubelka import absorption, reflectance
from meltwick.colour.look import colours
from meltwick.colour.observer import WEIGHTS, WHITE
from meltwick.colour.spectra import HAZE, band, undyed
from meltwick.colour.standard import to_lab, to_xyz
from meltwick.types import Component, Fabric, Floats

# Twelve plain bands from violet to red, as wide as those of real dyes; chosen. Wider ones cannot
# reach clean colours, and fewer leave dips.
PEAKS: tuple[float, ...] = tuple(410.0 + 25.0 * n for n in range(12))
HALF_WIDTH = 28.0
_HIGHEST = 50.0  # K/S per %, as a stock file allows
_FINE = 0.05  # [Delta E*ab] how closely a colour is met before smoothness counts; chosen
_STIFF = 2e-3  # weight of smoothness; chosen so that mixtures of the stock's own dyes come nearest
_LEAST = 5e-4  # of the highest band; less is left out


@dataclass(frozen=True)
class Recovered:
    """What a dye absorbs, as bands of a stock file, and how well that gives the colours."""

    bands: tuple[tuple[float, float, float], ...]  # (peak [nm], half width [nm], K/S per %)
    lab: Floats  # (D, 3) that the bands give at the depths
    residual: Floats  # (D,) Delta E 2000 to the colours asked for


def recover(lab: Floats, depth: Floats, fabric: Fabric) -> Recovered:
    """Find smooth absorption bands that give measured colours.

    Among all non-negative heights of twelve bands it is the one that meets the colours and has
    the least sum of squared second differences. Three numbers of a colour do not fix a spectrum:
    another one can look the same and mix otherwise.

    Parameters
    ----------
    lab : ndarray of shape (D, 3)
        L*, a*, b* of evenly dyed cloth.
    depth : ndarray of shape (D,)
        Dye on the fibre [% of its mass], more than 0.
    fabric : Fabric
        The cloth; its ground shows through.

    Returns
    -------
    Recovered

    Raises
    ------
    ValueError
        Shapes do not fit, or a depth is not more than 0.
    """
    lab, depth = np.atleast_2d(np.asarray(lab, dtype=np.float64)), np.atleast_1d(depth)
    if lab.shape != (len(depth), 3) or not np.all(depth > 0):
        raise ValueError("a colour of three numbers and a depth above 0 are needed for each")
    ground = absorption(undyed(fabric))
    shapes = np.array([band(peak, HALF_WIDTH) + HAZE for peak in PEAKS])
    second = np.diff(np.eye(len(PEAKS)), 2, axis=0)

    def misfit(heights: Floats) -> Floats:
        seen = to_lab(to_xyz(reflectance(ground + depth[:, None] * (heights @ shapes))))
        out: Floats = np.concatenate(
            [((seen - lab) / _FINE).ravel(), np.sqrt(_STIFF) * (second @ heights)]
        )
        return out

    def slopes(heights: Floats) -> Floats:
        ratio = ground + depth[:, None] * (heights @ shapes)
        r = reflectance(ratio)
        falls = -r / np.sqrt(ratio * (ratio + 2.0)) * depth[:, None]  # dR / d(heights @ shapes)
        xyz = np.einsum("dw,mw,wc->dmc", falls, shapes, WEIGHTS, optimize=True)
        part = np.einsum("dlc,dmc->dlm", _lab_slopes(to_xyz(r)), xyz) / _FINE
        return np.concatenate([part.reshape(-1, len(PEAKS)), np.sqrt(_STIFF) * second])

    found: list[Any] = []
    for start in (1.0, 0.2, 5.0):  # another start is tried only where one did not meet the colours
        found.append(
            least_squares(
                misfit,
                np.full(len(PEAKS), start),
                slopes,
                bounds=(0.0, _HIGHEST),
                max_nfev=200,
            )
        )
        if float(np.abs(found[-1].fun[: lab.size]).max()) * _FINE < 0.3:
            break
    heights = min(found, key=lambda each: float(each.cost)).x
    kept = heights > _LEAST * max(float(heights.max()), 1e-9)
    if not kept.any():
        kept[np.argmax(heights)] = True
    bands = tuple(
        (peak, HALF_WIDTH, float(f"{height:.4g}"))
        for peak, height, keep in zip(PEAKS, heights, kept, strict=True)
        if keep
    )
    dye = Component("", bands, 3e-3, 1.0, 4e-10)
    shown = colours([dye], depth[:, None] / 100.0, fabric)
    return Recovered(bands, shown, delta_e00(shown, lab))


def _lab_slopes(xyz: Floats) -> Floats:
    """Return how L*, a*, b* change with X, Y and Z, (D, 3, 3), from XYZ (D, 3)."""
    t = xyz / WHITE
    slope = np.where(t > (6 / 29) ** 3, 1.0 / (3.0 * np.cbrt(t) ** 2), (29 / 6) ** 2 / 3.0) / WHITE
    out = np.zeros((len(xyz), 3, 3))
    out[:, 0, 1] = 116.0 * slope[:, 1]
    out[:, 1, 0], out[:, 1, 1] = 500.0 * slope[:, 0], -500.0 * slope[:, 1]
    out[:, 2, 1], out[:, 2, 2] = 200.0 * slope[:, 1], -200.0 * slope[:, 2]
    return out
