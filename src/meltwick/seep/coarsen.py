"""A coarser network of the same bundle: four cells of the raster become one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meltwick.seep.graph import Network
from meltwick.stacking import merge_pairs
from meltwick.types import Cloth, Flags, Floats, Ints


@dataclass(frozen=True)
class Raster:
    """Where cells lie on their panels; all that coarsening needs of the cloth."""

    panel: Ints
    row: Ints
    col: Ints


@dataclass(frozen=True)
class Coarser:
    """The coarser network and each cell's parent in it."""

    net: Network
    cloth: Raster
    parent: Ints  # (N,)


def coarser(net: Network, cloth: Cloth | Raster) -> Coarser:
    """Gather blocks of two by two cells.

    Conductances between blocks add up; those in the cloth's plane are halved, since the
    blocks' centres are twice as far apart. It serves as a starting guess only.
    """
    rows = int(cloth.row.max()) // 2 + 1
    cols = int(cloth.col.max()) // 2 + 1
    code = (cloth.panel.astype(np.int64) * rows + cloth.row // 2) * cols + cloth.col // 2
    used: Flags = np.zeros((int(cloth.panel.max()) + 1) * rows * cols, dtype=bool)
    used[code] = True
    number = np.cumsum(used) - 1
    parent = number[code].astype(np.int32)
    count = int(used.sum())
    pairs = parent[net.pairs]
    weight = net.conductance.copy()
    weight[: net.in_plane] *= 0.5
    between = pairs[:, 0] != pairs[:, 1]
    merged, conductance = merge_pairs(pairs[between], weight[between], count)
    cells = np.bincount(parent, minlength=count)
    outside = np.bincount(parent, net.outside, count) / cells
    shown = net.outside > 0.0
    bound: Floats = np.bincount(parent, net.bound, count) / cells
    seen = np.bincount(parent, shown.astype(np.float64), count)
    face = np.bincount(parent, np.where(shown, net.bound, 0.0), count)
    bound = np.where(seen > 0, face / np.maximum(seen, 1.0), bound)
    places = np.flatnonzero(used)
    raster = Raster(
        panel=(places // (rows * cols)).astype(np.int32),
        row=(places // cols % rows).astype(np.int32),
        col=(places % cols).astype(np.int32),
    )
    step = Network(
        pairs=merged,
        conductance=conductance,
        shape=conductance,
        inside=merged.shape[0],
        straight=0,
        in_plane=0,
        share=np.zeros(0),
        bound=bound,
        outside=outside,
    )
    return Coarser(net=step, cloth=raster, parent=parent)
