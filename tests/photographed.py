"""Photographs for tests that need none: files of colours by cell, and what lays them on cloth."""

from __future__ import annotations

import hashlib
import io
from pathlib import Path

import numpy as np

from meltwick.cloth import build_cloth
from meltwick.colour import ground_lab
from meltwick.colour.standard import FROM_XYZ, decode, from_lab
from meltwick.photo.starting import _started
from meltwick.types import Blank, Cloth, Look
from meltwick.types.seen import PhotoCloth


def photograph(path: Path, cloth: Cloth, linear: np.ndarray, panel: int = 0) -> None:
    """Write one panel's colours as a file that `lay` reads."""
    here = cloth.panel == panel
    held = io.BytesIO()
    place = np.stack([cloth.x[here], cloth.y[here]])
    np.savez(held, place=place, linear=linear[here])
    path.write_bytes(held.getvalue())


def photograph_look(path: Path, cloth: Cloth, look: Look, panel: int = 0) -> None:
    """Write one panel of a made piece, as a screen shows it."""
    photograph(path, cloth, decode(look.srgb), panel)


def bare(cloth: Cloth) -> np.ndarray:
    """Linear sRGB of undyed cloth, cell by cell."""
    return np.tile(from_lab(ground_lab(cloth.fabric)) @ (FROM_XYZ.T / 100.0), (cloth.size, 1))


def lay(photos, blank: Blank, cloth: Cloth) -> PhotoCloth:
    """Lay such files on a raster of any pitch: each cell has the colour nearest to its place."""
    from scipy.spatial import cKDTree

    linear, known = bare(cloth), np.zeros(cloth.size, dtype=bool)
    names = [panel.name for panel in cloth.panels]
    for panel, path in photos.items():
        with np.load(io.BytesIO(Path(path).read_bytes())) as held:
            here = np.flatnonzero(cloth.panel == names.index(panel))
            at = cKDTree(held["place"].T).query(np.stack([cloth.x[here], cloth.y[here]], 1))[1]
            linear[here], known[here] = held["linear"][at], True
    digest = {
        name: hashlib.sha256(Path(path).read_bytes()).hexdigest() for name, path in photos.items()
    }
    return PhotoCloth(linear, known, digest)


def use(monkeypatch) -> None:
    """Have plans read such files instead of photographs."""
    _started.cache_clear()
    monkeypatch.setattr("meltwick.photo.showing.lay", lay)


def cloth_of(recipe, pitch: float) -> Cloth:
    """Build the raster of a recipe."""
    return build_cloth(recipe.blank, recipe.fabric, pitch)
