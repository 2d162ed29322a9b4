"""The cloth that a plan starts from: its photographs laid on the raster and unmixed into dye."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from meltwick.cloth import build_cloth
from meltwick.colour import render
from meltwick.errors import PlanError
from meltwick.photo import showing
from meltwick.photo.unmixing import unmix
from meltwick.plan import digest
from meltwick.shares import measure_shares
from meltwick.types import Cloth, FixedDye, Flags, Floats, Look, Recipe, Shares
from meltwick.types.seen import PhotoCloth, Start


@dataclass(frozen=True)
class Started:
    """The cloth before its first round, and how well it is known."""

    dye: FixedDye  # (N, K) [kg per kg of fibre that takes dye]
    look: Look  # of it
    shares: Shares
    stained: float  # share of the dyeable cloth that takes more than the dyes named to explain
    gap: float  # mean Delta E 00 that the dyes named leave on what was seen
    undyed: tuple[str, ...]  # panels that no photograph shows, taken as undyed
    mirrored: tuple[str, ...]  # panels taken as the front
    notes: tuple[str, ...] = ()  # what the maker should know of the photographs


def started(recipe: Recipe, pitch: float) -> Started | None:
    """Read the piece that a recipe dyes over; None where it starts from undyed cloth.

    Parameters
    ----------
    recipe : Recipe
        Its blank and cloth are those of the photographed piece.
    pitch : float
        Size of a cell [m].

    Raises
    ------
    PlanError
        A photograph shows a side that the piece does not have.
    MeltwickError
        A photograph cannot be read, or no garment is found in it.
    """
    if recipe.start is None:
        return None
    piece = replace(recipe, rounds=(), dyes=(), seed=0)
    return _started(_Asked(digest(piece), pitch, piece))


@dataclass(frozen=True)
class _Asked:
    """A piece at a pitch; two are one when all that its start depends on is the same."""

    name: str
    pitch: float
    recipe: Recipe = field(compare=False)


@lru_cache(maxsize=4)
def _started(asked: _Asked) -> Started:
    recipe = asked.recipe
    assert recipe.start is not None
    cloth = build_cloth(recipe.blank, recipe.fabric, asked.pitch)
    names = [panel.name for panel in cloth.panels]
    for panel, _ in recipe.start.photos:
        if panel not in names:
            raise PlanError(f"{recipe.name}: start: this piece has no {panel}; leave its photo out")
    files = {panel: Path(file) for panel, file in recipe.start.photos}
    return from_colours(showing.lay(files, recipe.blank, cloth), cloth, recipe.start)


def from_colours(seen: PhotoCloth, cloth: Cloth, start: Start) -> Started:
    """Turn the colours of cells into dye on them.

    Cells of a panel that its photograph does not show get what the nearest one has that it does.
    A panel without any is undyed, or has the front's dye at the same place if the plan says so.
    Thread and label hold none.

    Parameters
    ----------
    seen : PhotoCloth
    cloth : Cloth
        N cells.
    start : Start
        The dyes, and what is not seen.
    """
    if seen.linear.shape != (cloth.size, 3) or seen.known.shape != (cloth.size,):
        raise ValueError(f"the photograph has {len(seen.linear)} cells, the cloth {cloth.size}")
    shown = seen.known & cloth.dyeable
    found = unmix(seen.linear[shown], start.dyes, cloth.fabric)
    amount = np.zeros((cloth.size, len(found.dye.species)))
    amount[shown] = found.dye.amount
    stained = np.zeros(cloth.size, dtype=bool)
    stained[shown] = found.stained
    undyed: list[str] = []
    mirrored: list[str] = []
    for number, panel in enumerate(cloth.panels):
        here = cloth.panel == number
        known = shown & here
        if not known.any():
            front = shown & (cloth.panel == 0)
            mirror = start.unseen == "front" and bool(front.any())
            (mirrored if mirror else undyed).append(panel.name)
            if not mirror:
                continue
            known = front
        gaps = here & cloth.dyeable & ~shown
        nearest = _nearest(cloth, known, gaps)
        amount[gaps], stained[gaps] = amount[nearest], stained[nearest]
    takes = max(float(cloth.fabric.dyeable_share), 1e-6)
    look = render(cloth, FixedDye(found.dye.species, amount))
    return Started(
        dye=FixedDye(found.dye.species, amount / takes),
        look=look,
        shares=measure_shares(cloth, look),
        stained=float(stained.sum()) / max(1, int(cloth.dyeable.sum())),
        gap=float(found.unexplained.mean()) if len(found.unexplained) else 0.0,
        undyed=tuple(undyed),
        mirrored=tuple(mirrored),
        notes=seen.notes,
    )


def _nearest(cloth: Cloth, known: Flags, wanted: Flags) -> NDArray[np.intp]:
    """For each cell wanted, the known one that lies nearest on the flat garment."""
    from scipy.spatial import cKDTree

    if not wanted.any():
        return np.zeros(0, dtype=np.intp)
    place: Floats = np.stack([cloth.x, cloth.y], axis=1)
    _, at = cKDTree(place[known]).query(place[wanted])
    return np.asarray(np.flatnonzero(known)[at])
