"""What a hand does that a ruler would not: pleats of uneven width, creases that wander."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meltwick import chance
from meltwick.types import Floats

KNOTS = 5
"""Independent values round the pole for each ring of string."""

WIDTH = 0.30  # spread of pleat widths at neatness 1
WANDER = 0.035  # spread of a crest round the pole, in pleats, at neatness 1
TURN = 0.018  # most spread of a crest, over the way round the pole to the next knot
SKEW = 0.017  # slope of the cloth's drift along the pole and round it at neatness 1
SKEW_LENGTH = 0.16  # [m]


@dataclass(frozen=True)
class Rings:
    """Crest lines on the cloth and on the pole, ring after ring, at knots round the pole.

    Both tables have shape (rings, KNOTS) and hold metres; between knots they are smooth and
    periodic. Ring ``k`` of cloth lands at ring ``k`` of the pole.
    """

    cloth: Floats
    pole: Floats


def _periodic_noise(code: np.uint64, rings: int, stream: int) -> Floats:
    """Values of unit variance, alike from ring to ring (a first-order chain)."""
    draw = chance.uniforms(code, rings * KNOTS, stream).reshape(rings, KNOTS)
    white = (draw - 0.5) * np.sqrt(12.0)
    out = white.copy()
    keep = 0.6
    for k in range(1, rings):
        out[k] = keep * out[k - 1] + np.sqrt(1.0 - keep**2) * white[k]
    return np.asarray(out)


def rings(
    seed: int,
    round_number: int,
    first: float,
    last: float,
    cloth_step: float,
    squeeze_at: Floats,
    neatness: float,
    radius: float,
) -> Rings:
    """Lay rings of string over the cloth from ``first`` to ``last`` [m] along the pole.

    Parameters
    ----------
    cloth_step : float
        Cloth between neighbouring rings [m]: squeeze times spacing.
    squeeze_at : ndarray of shape (n,)
        Squeeze from the low end to the high end, sampled evenly.
    neatness : float
        0 tidy .. 1 loose.
    radius : float
        Of the pole [m]. A crest can wander only as far as the cloth gives way, less on a
        thin pole than on a stout one.
    """
    narrowest = 1.0 - WIDTH * neatness * np.sqrt(3.0)
    count = int(np.ceil((last - first) / (cloth_step * narrowest) + 1.0 / narrowest)) + 3
    code = chance.key(seed, "rings", round_number)
    width = 1.0 + WIDTH * neatness * (chance.uniforms(code, count, 0) - 0.5) * np.sqrt(12.0)
    edges = np.concatenate([[0.0], np.cumsum(width[:-1])])
    start = first - cloth_step * (0.1 + 0.9 * chance.uniforms(code, 1, 1)[0])
    crest = start + cloth_step * edges
    where = np.clip((crest - first) / max(last - first, 1e-9), 0.0, 1.0)
    local = np.interp(where, np.linspace(0.0, 1.0, squeeze_at.size), squeeze_at)
    step = np.diff(crest, append=crest[-1] + cloth_step) / local
    pole = np.concatenate([[0.0], np.cumsum(step[:-1])])
    wander = neatness * min(WANDER * cloth_step, TURN * 2.0 * np.pi * radius / KNOTS)
    return Rings(
        cloth=crest[:, None] + wander * _periodic_noise(code, count, 2),
        pole=pole[:, None] + 0.5 * wander / local[:, None] * _periodic_noise(code, count, 3),
    )
