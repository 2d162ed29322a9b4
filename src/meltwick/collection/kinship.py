"""How near pieces are to each other in colour and in coverage."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from typing import TYPE_CHECKING

import numpy as np

from meltwick.colour import delta_e00
from meltwick.types import Floats

if TYPE_CHECKING:
    from numpy.typing import NDArray

_STEP = 12.0  # [CIELAB units] cells of colour that are taken as one; chosen
_MOST = 24  # colours kept of a piece; chosen
TWINS = 8.0  # [CIEDE2000] pieces nearer than this look alike from across a room; chosen
_COVER = 0.08  # of the area: twins also differ less than this in white; chosen
_STRANGER = 1.6  # times the usual gap to its nearest, and twice what twins have; chosen


@dataclass(frozen=True)
class Colours:
    """What colours a piece has, and how much of each."""

    lab: Floats  # (M, 3) CIELAB
    share: Floats  # (M,) of the area, together 1
    srgb: Floats  # (M, 3) 0..1


@dataclass(frozen=True)
class Pair:
    """Two pieces beside each other."""

    first: int
    second: int
    colour: float  # CIEDE2000, on the mean, when one piece's colours are moved to the other's
    white: float  # difference of white shares


def as_lab(srgb: Floats) -> Floats:
    """Return CIELAB (D65, 2 degrees) of encoded sRGB 0..1, shape (N, 3)."""
    from skimage.color import rgb2lab

    lab: Floats = rgb2lab(srgb, illuminant="D65", observer="2")
    return lab


def colours_of(srgb: Floats) -> Colours:
    """Gather a piece's cells into few colours, the most frequent first.

    Parameters
    ----------
    srgb : ndarray of shape (N, 3)
        Of every dyeable cell, 0..1.
    """
    lab = as_lab(srgb)
    cell = np.floor(lab / _STEP).astype(np.int64)
    _, which, count = np.unique(cell, axis=0, return_inverse=True, return_counts=True)
    which = which.ravel()
    order = np.argsort(-count, kind="stable")[:_MOST]
    means = [
        np.stack([np.bincount(which, values[:, k]) for k in range(3)], axis=1) / count[:, None]
        for values in (lab, srgb)
    ]
    share = count[order] / count[order].sum()
    return Colours(means[0][order], share, means[1][order])


def apart(one: Colours, other: Colours) -> float:
    """Return how far one piece's colours must go to become the other's: mean CIEDE2000.

    The transport of least cost between the two sets of colours (Kantorovich; also called the earth
    mover's distance), the cost of a move being CIEDE2000. It is 0 for the same colours in the same
    shares, wherever on the cloth they lie.
    """
    from scipy.optimize import linprog
    from scipy.sparse import csr_matrix, kron, vstack

    m, n = len(one.share), len(other.share)
    left = np.repeat(one.lab, n, axis=0)
    right = np.tile(other.lab, (m, 1))
    cost = delta_e00(left, right)
    rows = kron(csr_matrix(np.eye(m)), np.ones((1, n)))
    columns = kron(np.ones((1, m)), csr_matrix(np.eye(n)))
    found = linprog(
        cost,
        A_eq=vstack([rows, columns]).tocsr()[:-1],  # the last follows from the others
        b_eq=np.concatenate([one.share, other.share])[:-1],
        method="highs",
    )
    return float(found.fun)


def pairs(pieces: Sequence[Colours], white: Sequence[float]) -> tuple[Pair, ...]:
    """Compare every piece with every other."""
    return tuple(
        Pair(i, j, apart(pieces[i], pieces[j]), abs(white[i] - white[j]))
        for i in range(len(pieces))
        for j in range(i + 1, len(pieces))
    )


def twins(found: Sequence[Pair]) -> tuple[Pair, ...]:
    """Pairs that a buyer would take for two of a kind, the nearest first."""
    near = [pair for pair in found if pair.colour < TWINS and pair.white < _COVER]
    return tuple(sorted(near, key=lambda pair: pair.colour))


def strangers(found: Sequence[Pair], count: int) -> tuple[int, ...]:
    """Pieces that stand farther from their nearest than is usual in the collection."""
    if count < 4:
        return ()
    nearest = [
        min(pair.colour for pair in found if number in (pair.first, pair.second))
        for number in range(count)
    ]
    least = max(_STRANGER * median(nearest), 2.0 * TWINS)
    return tuple(number for number, gap in enumerate(nearest) if gap > least)


_HUES = (
    (20.0, "pinks and reds"),
    (50.0, "reds and oranges"),
    (105.0, "yellows"),
    (175.0, "greens"),
    (245.0, "turquoises"),
    (300.0, "blues"),
    (345.0, "violets"),
    (360.0, "pinks and reds"),
)
"""Upper ends of CIELAB hue angle [deg]; chosen by eye."""
_GREY = 12.0  # [CIELAB chroma] less has no hue; chosen


def family(colours: Colours, white: Floats) -> str:
    """Name the colour family that a piece is washed with, by its dyed colours' mean.

    Parameters
    ----------
    colours : Colours
    white : ndarray of shape (3,)
        CIELAB of the undyed cloth.
    """
    tint = np.linalg.norm(colours.lab - white, axis=1) * colours.share
    if tint.sum() <= 0.0:
        return "undyed"
    a, b = (float((tint * (colours.lab[:, k] - white[k])).sum() / tint.sum()) for k in (1, 2))
    if np.hypot(a, b) < _GREY:
        return "greys and mixed"
    hue = float(np.degrees(np.arctan2(b, a)) % 360.0)
    return next(word for most, word in _HUES if hue <= most)


def chips(colours: Colours, undyed: NDArray[np.float64], most: int = 5) -> list[tuple[float, ...]]:
    """Choose colours to show for a piece: the widest spread of its dyed ones, white left out.

    Parameters
    ----------
    undyed : ndarray of shape (3,)
        CIELAB of the undyed cloth.

    Returns
    -------
    list of (r, g, b)
        sRGB 0..1.
    """
    far = np.linalg.norm(colours.lab - undyed, axis=1)
    kept = [n for n in range(len(far)) if far[n] > 2.0 * _STEP and colours.share[n] > 0.01]
    chosen: list[int] = []
    while kept and len(chosen) < most:
        if chosen:
            gaps = [
                min(float(np.linalg.norm(colours.lab[n] - colours.lab[k])) for k in chosen)
                * colours.share[n] ** 0.25
                for n in kept
            ]
            best = kept[int(np.argmax(gaps))]
            if max(gaps) < 0.3 * _STEP:
                break
        else:
            best = max(kept, key=lambda n: float(colours.share[n]))
        chosen.append(best)
        kept.remove(best)
    return [tuple(float(x) for x in colours.srgb[n]) for n in chosen]
