"""Tied peaks put down: flat cloth, and peaks that lie on it, each with its threads."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from meltwick import binding, stacking
from meltwick.bundle.faces import Face, spread_of
from meltwick.constants import Constants
from meltwick.folding import Stack
from meltwick.folding.accordion import TUCK, bend_share
from meltwick.folding.peaks import Peaks, heart
from meltwick.folding.stack import SUBS
from meltwick.stacking import Stacked
from meltwick.types import Cloth, Flags, Floats, Ints, TiedRings

if TYPE_CHECKING:
    from meltwick.bundle.flat import Lying


def _heart_girth() -> float:
    turn, radius = heart()
    steps = np.diff(radius * np.exp(1j * turn))
    return float(np.abs(steps).sum() / (2.0 * np.pi))


GIRTH = {
    "circle": 1.0,
    "square": 4.0 / np.pi,
    "diamond": 4.0 / np.pi,
    "heart": _heart_girth(),
}
"""Length of an outline over that of the circle as wide as it."""


@dataclass(frozen=True)
class Laid:
    """What `flat.Lying` holds, of peaks."""

    along: Floats
    across: Floats
    height: Floats
    up: Floats
    down: Floats
    side: Floats
    depth: Floats
    faces: tuple[Face, ...]
    skin: tuple[tuple[Ints, Floats], ...]


def neck(radius: Floats, layers: int, thin: float) -> Floats:
    """Radius of a peak's section [m]: it holds all the cloth that goes round at that distance.

    2 pi r n t = pi rho^2, so rho = sqrt(2 r n t).
    """
    return np.asarray(np.sqrt(2.0 * np.maximum(radius, 1e-4) * layers * thin))


def put(cloth: Cloth, stack: Stack, thin: float) -> tuple[Laid, Stacked]:
    """Lay the cloth flat, its peaks fallen over.

    Parameters
    ----------
    thin : float
        Thickness of a layer [m].
    """
    peaks = stack.peaks
    assert peaks is not None
    step = cloth.pitch / SUBS
    bins = stacking.columns(stack, cloth.pitch, 1.0)
    found = stacking.stack_up(stack, bins, cloth.size)
    flat = peaks.number < 0
    round_it = neck(peaks.radius, peaks.layers, thin)
    outer = ~flat & (peaks.rank == peaks.layers - 1)
    shown = np.where(outer, _crest_share(peaks, round_it, thin, step), 0.0)
    high = np.where(flat, 0.0, round_it * (1.0 + peaks.facing))
    top = flat & (found.from_outside == 0.0)
    low = flat & (found.from_inside == 0.0)
    shown_up = shown * np.maximum(0.0, peaks.facing)
    to_faces = np.minimum(found.from_outside, found.from_inside) * thin
    inner = np.minimum(np.minimum(to_faces, round_it), _to_crease(peaks))
    faces = tuple(
        Face(
            share=shown,
            line=spread_of(peaks.radius, step) + np.maximum(peaks.number, 0) * 100_000,
            over=round_it * turn,
            crease=stack.order + np.maximum(peaks.number, 0) * 100_000,
            along=peaks.radius,
            step=step,
            weight=0.5,
        )
        for turn in (peaks.way, np.mod(peaks.way, 2.0 * np.pi))
    )
    skin = tuple(
        stacking.column_film(_only(points, flat), stack.cell, bins)
        for points in (found.top, found.bottom)
    )
    along = peaks.down.max() - peaks.down
    laid = Laid(
        along=along,
        across=peaks.right,
        height=np.where(flat, found.from_inside * thin, high),
        up=np.where(flat, top, shown_up).astype(np.float64),
        down=np.where(flat, low, 0.0).astype(np.float64),
        side=shown - shown_up,
        depth=np.maximum(0.0, np.where(flat, to_faces, inner)),
        faces=faces,
        skin=skin,
    )
    return laid, found


def _only(points: Ints, flat: Flags) -> Ints:
    """Leave out the columns of peaks: their uppermost flank lies against another."""
    return np.asarray(np.where((points >= 0) & flat[points], points, -1).astype(np.int32))


def _to_crease(peaks: Peaks) -> Floats:
    """Distance of cloth to the nearest crease that shows [m]; every other one lies inside."""
    pleat = 2.0 * np.pi / peaks.gathers
    off = np.abs(np.mod(peaks.way, pleat) - 0.5 * pleat)
    return np.asarray(peaks.radius * off)


def _crest_share(peaks: Peaks, round_it: Floats, thin: float, step: float) -> Floats:
    """Share of a point of the upper layer that shows: creases cover the peak's girth."""
    half = np.maximum(np.pi * round_it / peaks.gathers, peaks.layers * TUCK * thin)
    return bend_share(_to_crease(peaks), half, step)


def threads(
    tie: TiedRings, stack: Stack, lying: Lying, cloth: Cloth, constants: Constants
) -> tuple[Floats, Floats]:
    """Pressure of the threads round the peaks at every point [Pa], and what they cover.

    ``wound`` turns side by side press as a band of their width, by the hoop law on the peak's
    section, p = T / (rho d); its edges spread one to two with depth, as a plate's.
    """
    peaks = stack.peaks
    assert peaks is not None
    wide = tie.thickness * tie.wound
    pressure, covered = np.zeros(stack.p.size), np.zeros(stack.p.size)
    up = peaks.number >= 0
    for k in range(tie.times):
        at = tie.from_tip + k * tie.apart
        thin = cloth.fabric.thickness
        for _ in range(2):  # pressed thinner, the neck has a smaller radius
            round_it = float(neck(np.array([GIRTH[tie.outline] * at]), peaks.layers, thin)[0])
            press = binding.hoop_pressure(tie.pull, round_it, tie.thickness)
            thin = binding.stack_thickness(cloth.fabric, press, constants)
        off = peaks.tied[up] - at
        deep = np.minimum(lying.depth[up], round_it)
        share = binding.under_edge(off + 0.5 * wide, deep) - binding.under_edge(
            off - 0.5 * wide, deep
        )
        pressure[up] += press * share
        under = (off < 0.5 * wide) & (tie.capped | (off > -0.5 * wide))
        covered[up] = np.maximum(covered[up], under)
    return pressure, covered
