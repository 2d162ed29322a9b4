"""From a blank to its raster of cells."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from difflib import get_close_matches
from functools import lru_cache

import numpy as np
import shapely
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

from meltwick.cloth import bag, flat, legs, own, tank, tee
from meltwick.cloth.pattern import Pattern, Stitching
from meltwick.cloth.raster import Grid, covered, inside
from meltwick.errors import PlanError, StockError
from meltwick.types import Blank, Cloth, Detail, Fabric, Flags, Floats, Ints, Panel

CUTS: dict[str, tuple[Callable[[Blank], tuple[Pattern, ...]], tuple[str, ...]]] = {
    "tee": (tee.tee, tee.ZONES),
    "square": (flat.square, flat.SQUARE_ZONES),
    "scarf": (flat.scarf, flat.SCARF_ZONES),
    "tote": (bag.tote, bag.TOTE_ZONES),
    "pillowcase": (bag.pillowcase, bag.CASE_ZONES),
    "tank": (tank.tank, tank.ZONES),
    "leggings": (legs.leggings, legs.LEGGINGS_ZONES),
    "socks": (legs.socks, legs.SOCK_ZONES),
    "own": (own.own, own.ZONES),
}
"""Outline rules by ``Blank.cut``, with the zones they name."""

FINEST, COARSEST = 0.5e-3, 10e-3  # [m]


def build_cloth(blank: Blank, fabric: Fabric, pitch: float) -> Cloth:
    """Lay a blank flat and raster it.

    Parameters
    ----------
    blank : Blank
        The garment; lengths in metres.
    fabric : Fabric
        What it is made of.
    pitch : float
        Width of a cell [m], 0.5 to 10 mm.

    Returns
    -------
    Cloth
        A cell belongs to a panel when its centre lies inside the outline. Thickness and mass per
        area rise under hems, ribs and seams by the share of the cell that they cover. Every panel
        has the same raster, so that cells at the same row and column lie on each other.

    Raises
    ------
    PlanError
        The pitch is out of range.
    StockError
        The cut is unknown or its measures are wrong.
    """
    if not FINEST * (1 - 1e-9) <= pitch <= COARSEST * (1 + 1e-9):
        raise PlanError(f"detail: {1000 * pitch:g} mm; use 0.5 mm to 10 mm")
    patterns, zones = _patterns(blank)
    mm = 1000 * pitch
    bounds = shapely.total_bounds([p.outline for p in patterns])
    grid = Grid.around((bounds[0], bounds[1], bounds[2], bounds[3]), mm)
    masks = [_held(inside(p.outline, grid, alike=True)) for p in patterns]
    panels = _panels(patterns, masks, grid)
    row, col = (np.concatenate(v) for v in zip(*(np.nonzero(m) for m in masks), strict=True))
    thick, mass = _layers(patterns, masks, grid)
    return Cloth(
        pitch=pitch,
        panels=panels,
        fabric=fabric,
        panel=np.repeat(np.arange(len(masks), dtype=np.int32), [p.count for p in panels]),
        row=row.astype(np.int32),
        col=col.astype(np.int32),
        x=(grid.left + (col + 0.5) * mm) / 1000,
        y=(grid.top + (row + 0.5) * mm) / 1000,
        thickness=fabric.thickness * thick,
        mass_per_area=fabric.mass_per_area * mass,
        dyeable=_dyeable(patterns, masks, grid),
        edges=np.concatenate([_edges(p.index) for p in panels]),
        seams=_seams(patterns, panels, grid),
        zone=_zones(patterns, masks, grid, zones),
        zones=zones,
        details=tuple(line for pattern in patterns for line in pattern.details),
        places={
            name: (x / 1000, y / 1000) for pattern in patterns for name, (x, y) in pattern.places
        },
    )


@dataclass(frozen=True)
class _Flat:
    """What a cloth is made from; equal for equal blanks, whose measures have no hash."""

    blank: Blank
    fabric: Fabric
    pitch: float

    def __hash__(self) -> int:
        return hash((self.blank.name, self.blank.size, self.fabric.name, self.pitch))


@lru_cache(maxsize=8)
def _kept(flat: _Flat) -> Cloth:
    return build_cloth(flat.blank, flat.fabric, flat.pitch)


def coarse_cloth(blank: Blank, fabric: Fabric, pitch: float = COARSEST) -> Cloth:
    """Lay a blank flat as `build_cloth`, or return what was laid before, which is only looked at.

    For what weighs and counts garments, again and again, on a raster so coarse that a few may be
    kept.
    """
    return _kept(_Flat(blank, fabric, pitch))


def details(blank: Blank) -> tuple[Detail, ...]:
    """List the lines that a picture draws on a blank: rib, stitching, seams, label.

    Parameters
    ----------
    blank : Blank
        The garment.

    Returns
    -------
    tuple of Detail
        Polylines in millimetres, in the frame of ``Panel.outline``.

    Raises
    ------
    StockError
        The cut is unknown or its measures are wrong.
    """
    return tuple(line for pattern in _patterns(blank)[0] for line in pattern.details)


def _patterns(blank: Blank) -> tuple[tuple[Pattern, ...], tuple[str, ...]]:
    """Draw the panels of a blank by its cut."""
    if blank.cut not in CUTS:
        near = get_close_matches(blank.cut, CUTS, n=1)
        hint = f"; did you mean {near[0]!r}?" if near else ""
        raise StockError(
            f"blank {blank.name!r}: cut {blank.cut!r} is not one of {', '.join(CUTS)}{hint}"
        )
    draw, zones = CUTS[blank.cut]
    return draw(blank), zones


def _held(mask: Flags) -> Flags:
    """Leave out lone cells, at the tip of a point, that no side joins to the rest."""
    ring = np.pad(mask, 1)
    beside = ring[:-2, 1:-1] | ring[2:, 1:-1] | ring[1:-1, :-2] | ring[1:-1, 2:]
    return mask & beside


def _panels(patterns: tuple[Pattern, ...], masks: list[Flags], grid: Grid) -> tuple[Panel, ...]:
    """Give the cells their numbers, panel after panel, row after row."""
    panels, first = [], 0
    for pattern, mask in zip(patterns, masks, strict=True):
        index = np.full(mask.shape, -1, dtype=np.int32)
        count = int(mask.sum())
        index[mask] = np.arange(first, first + count, dtype=np.int32)
        origin = (grid.left / 1000, grid.top / 1000)
        panels.append(Panel(pattern.name, pattern.outline, origin, index, first, count))
        first += count
    return tuple(panels)


def _edges(index: Ints) -> Ints:
    """Pair each cell with its right and its lower neighbour."""
    pairs = []
    for a, b in ((index[:, :-1], index[:, 1:]), (index[:-1], index[1:])):
        both = (a >= 0) & (b >= 0)
        pairs.append(np.column_stack([a[both], b[both]]))
    return np.concatenate(pairs)


def _layers(patterns: tuple[Pattern, ...], masks: list[Flags], grid: Grid) -> tuple[Floats, Floats]:
    """Thickness and mass of each cell over the fabric's; layers on one another add."""
    thick, mass = [], []
    for pattern, mask in zip(patterns, masks, strict=True):
        t, m = np.ones(mask.sum()), np.ones(mask.sum())
        for band in pattern.bands:
            share = covered(band.region, grid)[mask]
            t += (band.thickness - 1) * share
            m += (band.mass - 1) * share
        thick.append(t)
        mass.append(m)
    return np.concatenate(thick), np.concatenate(mass)


def _dyeable(patterns: tuple[Pattern, ...], masks: list[Flags], grid: Grid) -> Flags:
    """Leave out what takes no dye: labels and thread."""
    parts = []
    for pattern, mask in zip(patterns, masks, strict=True):
        takes = np.ones(mask.shape, dtype=np.bool_)
        for region in pattern.bare:
            takes &= ~inside(region, grid)
        for row in pattern.stitching:
            _sew(takes, mask, row, grid)
        parts.append(takes[mask])
    return np.concatenate(parts)


def _sew(takes: Flags, mask: Flags, row: Stitching, grid: Grid) -> None:
    """Mark cells along a row of thread, as many as make up the thread's own area.

    A cell is wider than a thread, so marking every cell the thread crosses would grow the bare
    area with the pitch. Going along the row, a cell is marked whenever the thread that was
    passed adds up to another whole cell: a dashed row, of the right area at any pitch.
    """
    share = covered(row.line.buffer(row.width / 2), grid) * mask
    rows, cols = np.nonzero(share)
    points = shapely.points(
        grid.left + (cols + 0.5) * grid.pitch, grid.top + (rows + 0.5) * grid.pitch
    )
    order = np.argsort(shapely.line_locate_point(row.line, points), kind="stable")
    passed = np.floor(np.cumsum(share[rows, cols][order]) + 0.5)
    marked = order[np.diff(passed, prepend=0.0) > 0]
    takes[rows[marked], cols[marked]] = False


def _zones(
    patterns: tuple[Pattern, ...], masks: list[Flags], grid: Grid, names: tuple[str, ...]
) -> Ints:
    """Give every cell its zone."""
    parts = []
    for pattern, mask in zip(patterns, masks, strict=True):
        zone = np.full(mask.shape, names.index(pattern.rest), dtype=np.int32)
        for name, region in reversed(pattern.zones):
            zone[inside(region, grid, alike=True)] = names.index(name)
        parts.append(zone[mask])
    return np.concatenate(parts)


def _seams(patterns: tuple[Pattern, ...], panels: tuple[Panel, ...], grid: Grid) -> Ints:
    """Join the cells along the seams of each front with the nearest along its back's."""
    sewn = [
        _along_seam(pattern.seam, pattern.free, panel.index, grid)
        for pattern, panel in zip(patterns, panels, strict=True)
        if pattern.seam is not None
    ]
    pairs = [_join(*two) for two in zip(sewn[::2], sewn[1::2], strict=False)]
    return np.concatenate([np.zeros((0, 2), dtype=np.int32), *pairs])


def _join(front: tuple[Ints, Floats], back: tuple[Ints, Floats]) -> Ints:
    """Pair seam cells of two panels, given each panel's cells and their places."""
    here, a = front
    there, b = back
    if not len(here) or not len(there):
        return np.zeros((0, 2), dtype=np.int32)
    # both ways, so that neither panel has a seam cell that is joined to nothing
    onward = np.column_stack([here, there[cKDTree(b).query(a)[1]]])
    backward = np.column_stack([here[cKDTree(a).query(b)[1]], there])
    return np.unique(np.concatenate([onward, backward]), axis=0).astype(np.int32)


def _along_seam(
    seam: BaseGeometry, free: BaseGeometry, index: Ints, grid: Grid
) -> tuple[Ints, Floats]:
    """Find the border cells that lie nearer to a seam than to a free edge, and their places."""
    ring = np.pad(index >= 0, 1)
    inner = ring[:-2, 1:-1] & ring[2:, 1:-1] & ring[1:-1, :-2] & ring[1:-1, 2:]
    rows, cols = np.nonzero((index >= 0) & ~inner)
    place = np.column_stack(
        [grid.left + (cols + 0.5) * grid.pitch, grid.top + (rows + 0.5) * grid.pitch]
    )
    points = shapely.points(place)
    near = np.ones(len(points), dtype=np.bool_)  # sewn all round
    if not free.is_empty:
        near = shapely.distance(points, seam) < shapely.distance(points, free)
    return index[rows[near], cols[near]], place[near]
