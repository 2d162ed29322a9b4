"""Mixtures of a maker's dyes that come nearest to a colour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy.optimize import minimize

from meltwick.advice.swatching import KEPT
from meltwick.colour.difference import delta_e00
from meltwick.colour.kubelka import absorption, reflectance
from meltwick.colour.spectra import strengths, undyed
from meltwick.colour.standard import to_lab, to_xyz
from meltwick.types import Dye, Fabric, Floats

DEEPEST = 0.06
"""[kg/kg] of powder over cloth, all dyes together; deeper shades waste dye. Chosen."""

LEAST = 2e-4  # [kg/kg] of powder; less cannot be weighed for a garment. Chosen.
_STEPS = 40
_REFINED = 6  # of the best by the quick measure, that are refined by the true one
_WORTH = 0.3  # [Delta E 2000] that one more dye must gain to be shown; chosen


@dataclass(frozen=True)
class Mixture:
    """A few dyes, evenly on cloth."""

    parts: tuple[tuple[Dye, float], ...]  # powder by mass of cloth [kg/kg], most first
    lab: Floats  # (3,) L*, a*, b*
    delta: float  # Delta E 2000 to the wish


class _Cloth:
    """Colours of one cloth dyed with amounts of several dyes."""

    def __init__(self, dyes: Sequence[Dye], fabric: Fabric) -> None:
        self.ground = absorption(undyed(fabric))
        rows = [
            np.array([share for _, share in dye.parts]) @ strengths([part for part, _ in dye.parts])
            for dye in dyes
        ]
        self.table = 100.0 * KEPT * np.array(rows)  # K/S per mass of powder over mass of cloth

    def lab(self, which: Floats, amount: Floats) -> Floats:
        """CIELAB of subsets (S, k) of the dyes in amounts (S, k) [kg/kg]; (S, 3)."""
        added = np.einsum("sk,skw->sw", amount, self.table[which.astype(np.int64)])
        return to_lab(to_xyz(reflectance(self.ground + added)))


def _measure(lab: Floats) -> Floats:
    """Return weights (3, 3) that make CIELAB steps about a colour count as CIEDE2000 has them."""
    chroma = float(np.hypot(lab[1], lab[2]))
    far = (lab[0] - 50.0) ** 2
    light = 1.0 + 0.015 * far / np.sqrt(20.0 + far)
    along = np.array([lab[1], lab[2]]) / chroma if chroma > 1e-9 else np.array([1.0, 0.0])
    out = np.zeros((3, 3))
    out[0, 0] = 1.0 / light
    out[1, 1:] = along / (1.0 + 0.045 * chroma)
    out[2, 1:] = np.array([-along[1], along[0]]) / (1.0 + 0.015 * chroma)
    return out


def _within(amount: Floats) -> Floats:
    """Bring amounts (S, k) back to 0 and more, and to the deepest shade at most in all."""
    kept = np.maximum(amount, 0.0)
    total = kept.sum(axis=-1, keepdims=True)
    out: Floats = kept * np.minimum(1.0, DEEPEST / np.maximum(total, 1e-12))
    return out


def _march(cloth: _Cloth, which: Floats, wish: Floats) -> tuple[Floats, Floats]:
    """Fit amounts of every subset at once: Levenberg and Marquardt, kept within bounds.

    Returns
    -------
    amount : ndarray of shape (S, k)
    misfit : ndarray of shape (S,)
        About CIEDE2000 to the wish.
    """
    weights = _measure(wish)
    amount = np.full(which.shape, 0.01 / which.shape[1])
    damp = np.full(len(which), 1e-2)

    def gap_of(trial: Floats) -> Floats:
        out: Floats = (cloth.lab(which, trial) - wish) @ weights.T
        return out

    gap = gap_of(amount)
    for _ in range(_STEPS):
        step = 1e-5
        slope = np.empty((*which.shape, 3))
        for k in range(which.shape[1]):
            moved = amount.copy()
            moved[:, k] += step
            slope[:, k] = (gap_of(moved) - gap) / step
        normal = np.einsum("skc,sjc->skj", slope, slope)
        diagonal = np.einsum("skk->sk", normal)
        matrix = normal + damp[:, None, None] * np.einsum(
            "sk,kj->skj", diagonal + 1e-6, np.eye(which.shape[1])
        )
        move = np.linalg.solve(matrix, -np.einsum("skc,sc->sk", slope, gap)[..., None])[..., 0]
        trial = _within(amount + np.clip(move, -0.01, 0.01))
        fresh = gap_of(trial)
        better = (fresh**2).sum(axis=1) < (gap**2).sum(axis=1)
        amount[better], gap[better] = trial[better], fresh[better]
        damp = np.clip(np.where(better, damp * 0.4, damp * 4.0), 1e-6, 1e6)
    return amount, np.sqrt((gap**2).sum(axis=1))


def _refined(cloth: _Cloth, which: Floats, amount: Floats, wish: Floats) -> tuple[Floats, float]:
    """Polish one subset by the true measure."""

    def true(root: Floats) -> float:
        kept = _within((root * root)[None])
        return float(delta_e00(cloth.lab(which[None], kept)[0], wish))

    found = minimize(
        true,
        np.sqrt(amount + 1e-7),
        method="Nelder-Mead",
        options={"maxfev": 250, "xatol": 1e-5, "fatol": 1e-4},
    )
    best = _within((found.x * found.x)[None])[0]
    return best, float(found.fun)


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
    cloth = _Cloth(dyes, fabric)
    shown: list[Mixture] = []
    for count in range(1, min(most, len(dyes)) + 1):
        which = np.array(list(combinations(range(len(dyes)), count)), dtype=np.float64)
        amount, misfit = _march(cloth, which, wish)
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
    cloth: _Cloth, dyes: Sequence[Dye], which: Floats, amount: Floats, wish: Floats
) -> Mixture:
    """Leave out what cannot be weighed, and say what the rest looks like."""
    kept = np.where(amount >= LEAST, amount, 0.0)
    if not kept.any():
        kept[np.argmax(amount)] = LEAST
    lab = cloth.lab(which[None], kept[None])[0]
    parts = [(dyes[int(n)], float(a)) for n, a in zip(which, kept, strict=True) if a > 0.0]
    parts.sort(key=lambda part: -part[1])
    return Mixture(tuple(parts), lab, float(delta_e00(lab, wish)))
