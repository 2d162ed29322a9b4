"""The folded cloth as points: where each lies, and which layer of the stack it is."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from shapely import get_coordinates, segmentize
from shapely.geometry import LineString
from shapely.ops import unary_union

from meltwick import chance
from meltwick.types import Cloth, Floats, Ints

if TYPE_CHECKING:
    from meltwick.folding.peaks import Peaks

SUBS = 2
"""Sub-cells along each side of a cell: a fold is computed finer than the flow."""


@dataclass(frozen=True)
class Stack:
    """Points of cloth in a flat fold or round a pole; P points, four to a cell."""

    cell: Ints  # (P,) the cell each point belongs to
    p: Floats  # (P,) [m] across a flat fold, or along the pole from its low end
    q: Floats  # (P,) [m] down a flat fold, or [rad] round the pole from its top
    order: Ints  # (P,) layer, 0 innermost (or lowest)
    layers: int  # layers of a flat stack, or of one flank of the rolled wall
    radius: float = 0.0  # [m] of the pole; 0: flat
    flat: int = 1  # layers of the flat stack that was rolled
    squeeze: float = 1.0  # flanks of a pleat that lie on each other round the pole
    ring: Floats | None = None  # (P,) [m] above the crest, on the pole, at or below the point
    gap: Floats | None = None  # (P,) [m] from that crest to the next
    crease: Floats | None = None  # (P,) [m] of cloth to the nearest outer crease
    strain99: float = 0.0  # 99th percentile of the hand's stretch
    rim: Floats = field(default_factory=lambda: np.zeros((0, 2)))
    """(M, 2) [m] outlines, spine and waist as they lie: the flat stack's extent at any pitch."""
    marks: Floats = field(default_factory=lambda: np.zeros((0, 2)))
    """(B, 2) [m] where the cloth's places lie in the flat stack, in their order."""
    pleated: float | None = None  # [rad] from the garment's length to the last pleats' creases
    bend: Floats | None = None  # (P,) share of the point that turns outwards round a crease
    disc: Disc | None = None  # of standing pleats; None: no spiral
    deep: float = 0.0  # layers of a tube pulled over the pole, on the mean; 0: rolled on it
    peaks: Peaks | None = None  # drawn up out of flat cloth
    rope: Twist | None = None  # gathered to be twisted


@dataclass(frozen=True)
class Twist:
    """How a gathered bundle is turned."""

    turns: float  # from end to end, positive as a right-handed screw
    doubled: bool


@dataclass(frozen=True)
class Disc:
    """A spiral's disc. Its points' ``p`` runs along the ribs and ``q`` up the pleats.

    A rib is what lies between two crests that meet at the centre; ribs touch round the disc.
    """

    rib: Ints  # (P,)
    across: Floats  # (P,) [m] from the middle, to the right
    down: Floats  # (P,) [m]
    radius: Floats  # (P,) [m] from the middle
    height: float  # [m] of the pleats
    reach: float  # [m] radius of the disc
    thickness: float  # [m] of one layer of cloth as it stands in the disc
    ribs: int
    step_back: Floats  # (ribs,) place along the next rib over that along this one, where they touch
    slope: float  # radius that a rib gains over the way round, positive as a clock's hands go
    roof: Floats  # (P,) [m] height of the highest crest at the point's place
    cloth: float = 0.0  # [m] radius of the cloth that was twisted
    owner: Ints | None = None  # (P,) rosette of each point; None: one spiral
    after: Ints | None = None  # (ribs,) the rib that follows, round its own rosette
    middles: Floats | None = None  # (C, 2) [m] across and down, of the rosettes


def per_cell(stack: Stack, values: Floats, cells: int) -> Floats:
    """Average a value of points over the cell that each belongs to.

    Parameters
    ----------
    values : ndarray of shape (P,)
    cells : int
        N.

    Returns
    -------
    ndarray of shape (N,)
    """
    return np.asarray(np.bincount(stack.cell, values, cells) / SUBS**2)


def jittered(cloth: Cloth, seed: int, round_number: int) -> tuple[Ints, Floats, Floats]:
    """Draw one point in each quarter of every cell.

    Points in strata, not on a grid: a grid beats against the columns of an axis-aligned fold
    and prints a lattice.

    Returns
    -------
    cell, x, y : ndarray of shape (4 N,)
        Cell number and garment position [m].
    """
    n = cloth.size
    cell = np.repeat(np.arange(n, dtype=np.int32), SUBS * SUBS)
    quarter = np.tile(np.arange(SUBS * SUBS), n)
    code = chance.key(seed, "sub-cells", round_number)
    u = chance.uniforms(code, 4 * n, 0)
    v = chance.uniforms(code, 4 * n, 1)
    step = cloth.pitch / SUBS
    x = cloth.x[cell] + ((quarter % SUBS) + u - 1.0) * step
    y = cloth.y[cell] + ((quarter // SUBS) + v - 1.0) * step
    return cell, x, y


def _rim(cloth: Cloth) -> Floats:
    """Points a millimetre apart along every line on which folds may make a corner [m]."""
    outlines = [panel.outline for panel in cloth.panels]
    left, top, right, bottom = unary_union(outlines).bounds
    middle = 0.5 * (top + bottom)
    # halved twice, the cloth has a corner where its spine meets its waist
    folded = [
        LineString([(0.0, top), (0.0, bottom)]),
        LineString([(left, middle), (right, middle)]),
    ]
    lines = [outline.exterior for outline in outlines]
    lines += [outline.intersection(line) for outline in outlines for line in folded]
    fine = [get_coordinates(segmentize(line, 1.0)) for line in lines]
    return np.asarray(np.concatenate(fine) / 1000.0, dtype=np.float64)


def lay_flat(cloth: Cloth, seed: int, round_number: int = 1, outside: str = "front") -> Stack:
    """Lay the garment flat; the panel that faces up is the highest layer.

    Parameters
    ----------
    cloth : Cloth
    seed : int
        Of the hand.
    round_number : int
    outside : str
        ``front`` or ``back``: what faces up, and so ends outside.
    """
    cell, x, y = jittered(cloth, seed, round_number)
    panels = len(cloth.panels)
    up = cloth.panel[cell]
    order = (up if outside == "back" else panels - 1 - up).astype(np.int32)
    rim = _rim(cloth)
    marks = np.array(list(cloth.places.values()), dtype=np.float64).reshape(-1, 2)
    return Stack(cell=cell, p=x, q=y, order=order, layers=panels, rim=rim, marks=marks)
