"""The colour of every cell of a raster, as photographs show it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
from scipy import ndimage

from meltwick.colour.standard import to_linear
from meltwick.photo.laying import cells_of, on_raster
from meltwick.photo.measuring import MOST, Given, Side, notes_of, undyed_linear, view
from meltwick.photo.reading import read_photo
from meltwick.types import Blank, Cloth, Floats
from meltwick.types.seen import PhotoCloth

_UNCLEAR = (
    "hardly any cloth is surely undyed, so shade may be taken for dye; photograph it anew in "
    "even light"
)


def lay(
    files: Mapping[str, Path],
    blank: Blank,
    cloth: Cloth,
    given: Mapping[str, Given] | None = None,
) -> PhotoCloth:
    """Lay photographs on a piece's raster.

    Parameters
    ----------
    files : mapping of str to Path
        By panel, "front" or "back".
    blank : Blank
        What they show.
    cloth : Cloth
        Its raster, N cells.
    given : mapping of str to Given, optional
        What the maker says of each.

    Returns
    -------
    PhotoCloth
        Hems, stitching and the soft edge of the outline take the colour of the nearest cloth.

    Raises
    ------
    FileError
        A photograph cannot be read, or shows no such garment.
    """
    photos = {name: read_photo(path, MOST) for name, path in files.items()}
    _, sides = view(photos, [(blank, cloth.fabric)], given)
    linear = np.tile(undyed_linear(cloth.fabric), (cloth.size, 1))
    known = np.zeros(cloth.size, dtype=bool)
    for side in sides:
        number = [panel.name for panel in cloth.panels].index(side.name)
        linear[cells_of(cloth, number)] = _averaged(side, cloth, number)
        known[cells_of(cloth, number)] = True
    digests = {side.name: side.photo.digest for side in sides}
    return PhotoCloth(linear, known, digests, notes_of(sides, _UNCLEAR))


def _averaged(side: Side, cloth: Cloth, number: int) -> Floats:
    """Mean linear light in every cell of a panel, from a finer or coarser raster, (n, 3)."""
    fine = side.found.cloth
    grid = on_raster(fine.panels[side.found.panel], to_linear(side.lab))
    good = on_raster(fine.panels[side.found.panel], side.counted)
    nearest = ndimage.distance_transform_edt(~good, return_distances=False, return_indices=True)
    grid = grid[tuple(nearest)]
    times = max(1, round(cloth.pitch / fine.pitch))
    grid = ndimage.uniform_filter(grid, (times, times, 1), mode="nearest")
    left, top = fine.panels[side.found.panel].origin
    cells = cells_of(cloth, number)
    at = np.stack([cloth.y[cells] - top, cloth.x[cells] - left]) / fine.pitch - 0.5
    return np.stack(
        [ndimage.map_coordinates(grid[..., k], at, order=1, mode="nearest") for k in range(3)],
        axis=1,
    )
