"""Cloth that was not scoured: wax left on the fibre, so that it wets in patches."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from meltwick import chance
from meltwick.types import Cloth

PATCH, SPECKLE = 0.035, 0.008  # [m] size of patches, and of the ragged edge about them; chosen
RAGGED = 0.5  # of the patches' own variation; chosen
SOFT = 0.35  # of the field's spread, over which a patch passes into wet cloth; chosen
WAXY = 0.3  # wetting inside a patch where the fabric gives none: raw cotton's; chosen
LEAST = 0.05  # no patch sheds all water for hours; chosen
_APART = 10.0  # [m] between panels in the field, so that front and back have their own patches


def wetted(cloth: Cloth, seed: int) -> Cloth:
    """Give unscoured cloth its patches.

    Parameters
    ----------
    cloth : Cloth
        N cells.
    seed : int
        Of the piece: another one has other patches.

    Returns
    -------
    Cloth
        With ``wets``, (N,) the share of the fibre that water reaches: 1 where it wets, the
        fabric's ``wetting`` inside patches, about half of the cloth. They are drawn in metres,
        so that the pitch does not matter. Scoured cloth comes back as it is.
    """
    fabric = cloth.fabric
    if fabric.scoured:
        return cloth
    code = chance.key(seed, "patches that wet")
    fine = chance.key(seed, "their ragged edges")
    x = cloth.x + _APART * cloth.panel
    field = chance.smooth_field(code, x, cloth.y, PATCH)
    field = field + RAGGED * chance.smooth_field(fine, x, cloth.y, SPECKLE)
    low = max(LEAST, fabric.wetting if fabric.wetting < 1.0 else WAXY)
    wets = low + (1.0 - low) / (1.0 + np.exp(-field / SOFT))
    return replace(cloth, wets=np.asarray(wets))
