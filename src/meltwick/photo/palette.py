"""The colours of a piece, and how much of it each takes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.cluster.vq import kmeans2

from meltwick.colour.difference import delta_e00
from meltwick.types import Floats

_MOST = 10  # colours that are looked for
_ALIKE = 12.0  # [Delta E00] below which two are one colour; chosen
_LEAST = 0.01  # share below which a colour is not told


@dataclass(frozen=True)
class Patch:
    """One colour of a piece."""

    lab: tuple[float, float, float]
    share: float  # of the whole area


def palette(lab: Floats, delta: Floats, white: float) -> tuple[Patch, ...]:
    """Find the dyed colours of a piece, the largest first.

    Parameters
    ----------
    lab : ndarray of shape (n, 3)
        CIELAB of its cells, all of one size.
    delta : ndarray of shape (n,)
        Difference to undyed cloth.
    white : float
        Difference up to which cloth counts as white, and is left out.

    Returns
    -------
    tuple of Patch
        Their shares and the white add to less than 1 by what is rarer than a hundredth.
    """
    dyed = lab[delta > white]
    if len(dyed) < 20:
        return ()
    some = dyed[:: max(1, len(dyed) // 6000)]
    middles, _ = kmeans2(some, min(_MOST, len(some)), minit="++", seed=1, iter=20)
    middles = middles[np.isfinite(middles).all(axis=1)]
    nearest = np.argmin(((dyed[:, None] - middles[None]) ** 2).sum(axis=2), axis=1)
    groups = [
        (dyed[nearest == k].mean(axis=0), int(np.sum(nearest == k))) for k in range(len(middles))
    ]
    groups = [each for each in groups if each[1]]
    while len(groups) > 1:
        pairs = [(i, j) for i in range(len(groups)) for j in range(i)]
        apart = [float(delta_e00(groups[i][0][None], groups[j][0][None])[0]) for i, j in pairs]
        least = int(np.argmin(apart))
        if apart[least] > _ALIKE:
            break
        i, j = pairs[least]
        (one, first), (two, second) = groups[i], groups[j]
        both = ((one * first + two * second) / (first + second), first + second)
        groups = [each for k, each in enumerate(groups) if k not in (i, j)] + [both]
    found = [
        Patch((float(at[0]), float(at[1]), float(at[2])), count / len(lab)) for at, count in groups
    ]
    return tuple(sorted((p for p in found if p.share >= _LEAST), key=lambda p: -p.share))
