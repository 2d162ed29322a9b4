"""Mixtures of a maker's dyes that come nearest to a colour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from meltwick.advice.swatching import KEPT
from meltwick.colour.difference import delta_e00
from meltwick.colour.kubelka import absorption
from meltwick.colour.spectra import strengths, undyed
from meltwick.colour.unmixing import dyed_lab, eye_weights, fit_amounts, within
from meltwick.types import Dye, Fabric, Floats

Whole = NDArray[np.int64]

DEEPEST = 0.06
"""[kg/kg] of powder over cloth, all dyes together; deeper shades waste dye. Chosen."""

LEAST = 2e-4  # [kg/kg] of powder; less cannot be weighed for a garment. Chosen.
_REFINED = 6  # of the best by the quick measure, that are refined by the true one
_WORTH = 0.3  # [Delta E 2000] that one more dye must gain to be shown; chosen


@dataclass(frozen=True)
class Mixture:
    """A few dyes, evenly on cloth."""

    parts: tuple[tuple[Dye, float], ...]  # powder by mass of cloth [kg/kg], most first
    lab: Floats  # (3,) L*, a*, b*
    delta: float  # Delta E 2000 to the wish


@dataclass(frozen=True)
class _Cloth:
    """One cloth and the dyes it may be dyed with."""

    ground: Floats  # (31,) K/S
    table: Floats  # (n, 31) K/S per mass of powder over mass of cloth

    def lab(self, which: Whole, amount: Floats) -> Floats:
        """CIELAB, (3,), of some of the dyes, (k,), in amounts, (k,) [kg/kg]."""
        return dyed_lab(self.ground, self.table[which][None], amount[None]).reshape(3)


def _cloth(dyes: Sequence[Dye], fabric: Fabric) -> _Cloth:
    rows = [
        np.array([share for _, share in dye.parts]) @ strengths([part for part, _ in dye.parts])
        for dye in dyes
    ]
    return _Cloth(absorption(undyed(fabric)), 100.0 * KEPT * np.array(rows))


def _refined(cloth: _Cloth, which: Whole, amount: Floats, wish: Floats) -> tuple[Floats, float]:
    """Polish one subset by the true measure."""

    def true(root: Floats) -> float:
        return float(delta_e00(cloth.lab(which, within(root * root, DEEPEST)), wish))

    found = minimize(
        true,
        np.sqrt(amount + 1e-7),
        method="Nelder-Mead",
        options={"maxfev": 250, "xatol": 1e-5, "fatol": 1e-4},
    )
    return within(found.x * found.x, DEEPEST), float(found.fun)


def nearest_mixtures(
    wish: Floats, dyes: Sequence[Dye], fabric: Fabric, most: int = 3
) -> tuple[Mixture, ...]:
    """Find the mixtures of one dye, of two and so on that look nearest to a colour.

    Every subset is fitted by least squares, bounded by 0 and the deepest shade, in CIELAB
    weighted as CIEDE2000 weighs about the wish; the best few are then polished by CIEDE2000
    itself. One more dye is shown only where it gains something.

    Parameters
    ----------
    wish : ndarray of shape (3,)
        L*, a*, b*.
    dyes : sequence of Dye
        At least one.
    fabric : Fabric
        What they are to dye.
    most : int
        Dyes in a mixture, 1 to 3.

    Returns
    -------
    tuple of Mixture
        From one dye upwards; each nearer than the one before.

    Raises
    ------
    ValueError
        There is no dye, or ``most`` is not from 1 to 3.
    """
    if not dyes or not 1 <= most <= 3:
        raise ValueError("one dye or more, and mixtures of one to three, are needed")
    wish = np.asarray(wish, dtype=np.float64)
    cloth = _cloth(dyes, fabric)
    shown: list[Mixture] = []
    for count in range(1, min(most, len(dyes)) + 1):
        which = np.array(list(combinations(range(len(dyes)), count)))
        many = np.tile(wish, (len(which), 1))
        amount, misfit = fit_amounts(
            cloth.ground, cloth.table[which], many, eye_weights(many), DEEPEST
        )
        tried = [
            (which[n], *_refined(cloth, which[n], amount[n], wish))
            for n in np.argsort(misfit, kind="stable")[:_REFINED]
        ]
        subset, best, _ = min(tried, key=lambda each: each[2])
        mixture = _mixture(cloth, dyes, subset, best, wish)
        if not shown or mixture.delta < shown[-1].delta - _WORTH:
            shown.append(mixture)
    return tuple(shown)


def _mixture(
    cloth: _Cloth, dyes: Sequence[Dye], which: Whole, amount: Floats, wish: Floats
) -> Mixture:
    """Leave out what cannot be weighed, and say what the rest looks like."""
    kept = np.where(amount >= LEAST, amount, 0.0)
    if not kept.any():
        kept[np.argmax(amount)] = LEAST
    lab = cloth.lab(which, kept)
    parts = [(dyes[int(n)], float(a)) for n, a in zip(which, kept, strict=True) if a > 0.0]
    parts.sort(key=lambda part: -part[1])
    return Mixture(tuple(parts), lab, float(delta_e00(lab, wish)))
