"""Flat bundles by hand: one layer on a table, everything facing up."""

from __future__ import annotations

import numpy as np
from tests.chains import NO_PAIRS

from meltwick.types import Bundle, Cloth, Fabric, Panel

JERSEY = Fabric("cotton jersey", 0.160, 0.55e-3, 1540.0)


def flat_cloth(width: float, height: float, pitch: float) -> Cloth:
    """One rectangular panel without hems [m]."""
    from shapely.geometry import box

    rows, cols = round(height / pitch), round(width / pitch)
    n = rows * cols
    row, col = np.divmod(np.arange(n, dtype=np.int32), np.int32(cols))
    index = np.arange(n, dtype=np.int32).reshape(rows, cols)
    across = np.column_stack([index[:, :-1].ravel(), index[:, 1:].ravel()])
    down = np.column_stack([index[:-1].ravel(), index[1:].ravel()])
    outline = box(0.0, 0.0, 1000.0 * width, 1000.0 * height)
    return Cloth(
        pitch=pitch,
        panels=(Panel("front", outline, (0.0, 0.0), index, 0, n),),
        fabric=JERSEY,
        panel=np.zeros(n, np.int32),
        row=row,
        col=col,
        x=(col + 0.5) * pitch,
        y=(row + 0.5) * pitch,
        thickness=np.full(n, JERSEY.thickness),
        mass_per_area=np.full(n, JERSEY.mass_per_area),
        dyeable=np.ones(n, dtype=bool),
        edges=np.concatenate([across, down]),
        seams=NO_PAIRS,
        zone=np.zeros(n, np.int32),
        zones=("all",),
    )


def flat_bundle(cloth: Cloth) -> Bundle:
    """The cloth as it lies, its length along x."""
    n = cloth.size
    none, one = np.zeros(n), np.ones(n)
    return Bundle(
        contacts=NO_PAIRS,
        contact_area=np.zeros(0),
        film=NO_PAIRS,
        film_width=np.zeros(0),
        exposed=one,
        upward=one,
        covered=none,
        along=cloth.x,
        across=cloth.y,
        height=none,
        depth=none,
        layers=one,
        pressure=np.full(n, 500.0),
        solid=np.full(n, cloth.fabric.solid),
        thickness=cloth.thickness,
        length=float(cloth.x.max()),
        strain99=0.0,
    )
