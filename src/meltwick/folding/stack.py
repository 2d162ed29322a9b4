"""The folded cloth as points: where each lies, and which layer of the stack it is."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from shapely import segmentize

from meltwick import chance
from meltwick.types import Cloth, Floats, Ints

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
    """(M, 2) [m] outlines as they lie in the flat stack: its extent at any pitch."""


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


def lay_flat(cloth: Cloth, seed: int, round_number: int = 1) -> Stack:
    """Lay the garment flat, front upwards: the back is layer 0, the front layer 1."""
    cell, x, y = jittered(cloth, seed, round_number)
    panels = len(cloth.panels)
    order = (panels - 1 - cloth.panel[cell]).astype(np.int32)
    # points a millimetre apart, since a fold may make a corner anywhere along an edge
    fine = [segmentize(panel.outline.exterior, 1.0).coords for panel in cloth.panels]
    rim = np.concatenate([np.asarray(line, dtype=np.float64) for line in fine]) / 1000.0
    return Stack(cell=cell, p=x, q=y, order=order, layers=panels, rim=rim)
