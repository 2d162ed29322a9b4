"""The march: dye dissolves, travels, sorbs, spreads, fixes and hydrolyses, step by step."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from meltwick.constants import Constants
from meltwick.seep import cellwise, kernels
from meltwick.seep.flow import Spreading, Stream
from meltwick.types import Component, Floats, Ints

PATCH = 8
"""Rows and columns of a patch of cells that lie together in memory; measured on tees."""


@dataclass(frozen=True)
class Line:
    """Every line of the raster in one direction: its cells, and where each line starts."""

    cells: Ints  # (N,) as they are numbered in the patches
    first: Ints  # (L + 1,)


@dataclass(frozen=True)
class Lines:
    """The lines of the raster, over cells that are numbered patch after patch.

    Lines and contacts join cells that are neighbours on the cloth, and these are far from each
    other in the order of the sweep: spreading takes half the time on patches.
    """

    order: Ints  # (N,) cells, patch after patch
    place: Ints  # (N,) where each cell comes in ``order``
    ways: tuple[Line, ...]  # rows, columns, falling and rising diagonals


def raster_lines(panel: Ints, row: Ints, col: Ints) -> Lines:
    """List the cells of every row, column, falling and rising diagonal of every panel."""
    wide = int(col.max()) + 1
    keys = col % PATCH, row % PATCH, col // PATCH, row // PATCH, panel
    order = np.lexsort(keys).astype(np.int32)
    place = np.empty_like(order)
    place[order] = np.arange(order.size, dtype=np.int32)

    def lines(major: Ints, minor: Ints) -> Line:
        cells = np.lexsort((minor, major, panel)).astype(np.int32)
        code = panel[cells].astype(np.int64) * (int(major.max()) + 1) + major[cells]
        first = np.flatnonzero(np.diff(code, prepend=code[0] - 1))
        return Line(place[cells], np.append(first, cells.size).astype(np.int32))

    ways = lines(row, col), lines(col, row), lines(row - col + wide, row), lines(row + col, row)
    return Lines(order, place, ways)


@dataclass
class March:
    """The dye of one round as it moves; arrays are changed in place while it runs.

    N cells, K species. ``mass`` [kg] is dissolved and sorbed dye, ``fixed`` [kg/kg] counts
    earlier rounds too, ``lost`` and ``spent`` [kg] have left with the water and hydrolysed.
    """

    species: tuple[Component, ...]
    fibre: Floats  # (N,) [kg] that takes dye
    sites: Floats  # (N,) [kg/kg]
    kd: Floats  # (K,) [m3/kg]
    solubility: Floats  # (K,) [kg/m3]
    powder: Floats  # (N, K) [kg]
    fixed: Floats  # (N, K) [kg/kg]
    lines: Lines
    constants: Constants
    threads: int = 1
    laid: float = 0.0  # [kg] of the whole round; 0: move every trace
    moving: tuple[Component, ...] = ()  # species that this round lays; () for all
    mass: Floats = field(init=False)
    c: Floats = field(init=False)
    lost: Floats = field(init=False)
    spent: Floats = field(init=False)
    crowd: Floats = field(init=False)
    hold: Floats = field(init=False)
    _laid_out: tuple[Floats, Floats] = field(init=False)  # room for hold and mass, on patches
    _joined: tuple[Ints, Ints] | None = field(
        init=False, default=None
    )  # last pairs, and the same numbered on patches

    def __post_init__(self) -> None:
        self.moving = self.moving or self.species
        self.mass = np.zeros_like(self.powder)
        self.c = np.zeros_like(self.powder)
        self.lost = np.zeros_like(self.powder)
        self.spent = np.zeros_like(self.powder)
        self.crowd = np.ones(self.fibre.size)
        self.hold = np.ones_like(self.powder)
        self._laid_out = np.empty_like(self.powder), np.empty_like(self.powder)

    @property
    def least(self) -> float:
        """Dye in a cell that is too little to move: all such cells hold 1e-12 of it [kg]."""
        return 1e-12 * self.laid / max(self.fibre.size, 1)

    def carry(self, now: Stream, step: float, scale: float = 1.0) -> None:
        """Move dye with the water for ``step`` seconds, the flow taken ``scale`` times."""
        slope = self.kd / self.constants.sorption_cap
        crowd = 1.0 + self.c @ slope
        kernels.sweep(
            now.order,
            now.start,
            now.source,
            now.amount,
            now.out,
            now.leave,
            now.volume,
            self.fibre,
            self.kd,
            self.constants.sorption_cap,
            crowd,
            self.solubility,
            self.powder,
            self.mass,
            self.c,
            self.lost,
            step * scale,
            self.least,
            min(self.threads, self.kd.size),
        )

    def react(
        self,
        volume: Floats,
        fixing: Floats,
        hydrolysing: Floats,
        step: float,
        pace: Floats | None = None,
    ) -> None:
        """Fix and hydrolyse for ``step`` seconds; ``pace`` (N,) multiplies both rates."""
        cellwise.react(
            volume,
            self.fibre,
            self.kd,
            self.constants.sorption_cap,
            fixing,
            hydrolysing,
            self.sites,
            self.crowd,
            self.mass,
            self.fixed,
            self.spent,
            np.ones(volume.size) if pace is None else pace,
            step,
        )

    def spread(self, volume: Floats, spreading: Spreading, step: float) -> None:
        """Disperse and diffuse for ``step`` seconds: lines of the raster, contacts, seams."""
        self.settle(volume)
        by, at = self.lines.order, self.lines.place
        hold, mass = self._laid_out
        kernels.lay_out(by, self.hold, self.mass, hold, mass)
        for line, link in zip(self.lines.ways, spreading.along, strict=True):
            kernels.spread_lines(line.cells, line.first, link[by], hold, mass, step)
        chunks = min(self.threads, self.kd.size)
        # pairs as they are numbered on patches, found anew only for other pairs
        if self._joined is None or self._joined[0] is not spreading.pairs:
            self._joined = spreading.pairs, at[spreading.pairs]
        kernels.exchange(self._joined[1], spreading.link, hold, mass, step, chunks)
        kernels.lay_back(at, mass, self.hold, self.mass, self.c)

    def settle(self, volume: Floats) -> None:
        """Bring water and fibre to equilibrium at the masses there are."""
        cellwise.settle(
            volume,
            self.fibre,
            self.kd,
            self.constants.sorption_cap,
            self.crowd,
            self.mass,
            self.c,
            self.hold,
        )

    def drain(self, before: Floats, after: Floats) -> None:
        """Let go of the water by which the cells' content falls, at each cell's concentration."""
        less = np.maximum(before - after, 0.0)
        away = np.minimum(less[:, None] * self.c, self.mass)
        self.lost += away
        self.mass -= away
        self.settle(after)

    def reorder(self, by: Callable[[Floats], Floats]) -> None:
        """Renumber the cells of every array."""
        for name in ("fibre", "sites", "powder", "fixed", "mass", "c", "lost", "spent"):
            setattr(self, name, by(getattr(self, name)))
        self.crowd, self.hold = by(self.crowd), by(self.hold)
