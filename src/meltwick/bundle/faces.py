"""The outside of a bundle without a pole: which creases show, and what water runs along."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meltwick.folding.stack import SUBS
from meltwick.stacking import merge_pairs, side_by_side
from meltwick.types import Cloth, Flags, Floats, Ints

RAGGED = 0.010  # [m] by which creases of one edge may lie behind each other and still show; chosen
REACH = 0.04  # [m] between creases that the film still bridges; chosen


@dataclass(frozen=True)
class Face:
    """Creases side by side on one face; P points, those with no share are not on it."""

    share: Floats  # of the point that shows
    line: Ints  # number of the line across the creases
    over: Floats  # [m] along that line, from crease to crease
    crease: Ints  # number of the layer
    along: Floats  # [m] along the crease
    step: float  # [m] that a point stands for
    weight: float = 1.0  # of each join; less where a face is joined twice over


def spread_of(place: Floats, step: float) -> Ints:
    """Give each point the number of its strip, one step wide."""
    return np.asarray(np.floor((place - place.min()) / step).astype(np.int32))


def edges_of(
    place: Floats, along: Floats, step: float
) -> tuple[tuple[Flags, Floats], tuple[Flags, Floats]]:
    """Find which points lie at the near and at the far edge of a pile, strip by strip.

    Parameters
    ----------
    place, along : ndarray of shape (P,)
        Across the strips and from strip to strip [m].
    step : float
        Width of a strip [m].

    Returns
    -------
    near, far : tuple of (ndarray of bool, ndarray)
        Whether a point shows there, and where its strip's edge is [m].
    """
    strip = spread_of(along, step)
    low = np.full(int(strip.max()) + 1, np.inf)
    high = -low
    np.minimum.at(low, strip, place)
    np.maximum.at(high, strip, place)
    return (
        (place - low[strip] < RAGGED, low[strip]),
        (high[strip] - place < RAGGED, high[strip]),
    )


def film_of(
    faces: tuple[Face, ...],
    skin: tuple[tuple[Ints, Floats], ...],
    cell: Ints,
    cloth: Cloth,
    thin: float,
) -> tuple[Ints, Floats]:
    """Join what lies side by side on every face.

    Returns
    -------
    pairs, weight : ndarray of shape (F, 2) and (F,)
        Cells, and the shared width over the distance [-].
    """
    found = list(skin)
    for face in faces:
        on = np.flatnonzero(face.share > 0.0)
        if not on.size:
            continue
        here, step = cell[on], face.step
        width = np.full(on.size, face.weight * step)
        found.append(side_by_side(face.line[on], face.over[on], width, here, thin, REACH))
        found.append(
            side_by_side(
                face.crease[on],
                face.along[on],
                face.share[on] * width / SUBS,
                here,
                0.5 * step,
                3.0 * step,
            )
        )
    if not found:
        return np.zeros((0, 2), np.int32), np.zeros(0)
    return merge_pairs(
        np.concatenate([pairs for pairs, _ in found]).astype(np.int32),
        np.concatenate([weight for _, weight in found]),
        cloth.size,
    )
