"""Little networks for the march: chains, sheets and single cells with round numbers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meltwick.constants import Constants
from meltwick.seep.flow import Spreading, Stream
from meltwick.seep.transport import March, raster_lines
from meltwick.types import Component, Floats, Ints

LINEAR = Constants(sorption_cap=1e12)
"""Langmuir's capacity so large that the isotherm is a straight line."""

NO_PAIRS = np.zeros((0, 2), np.int32)


def components(count: int, kd: float = 0.0) -> tuple[Component, ...]:
    return tuple(Component(f"part {k}", (), kd, 1.0, 4e-10) for k in range(count))


def marching(
    rows: int,
    cols: int,
    *,
    species: int = 1,
    fibre: Floats | float = 0.0,
    kd: Floats | float = 0.0,
    sites: float = 1e12,
    solubility: Floats | float = 1.0,
    powder: Floats | None = None,
    constants: Constants = LINEAR,
    threads: int = 1,
) -> March:
    """A march on a raster of ``rows`` by ``cols`` cells, row after row."""
    n = rows * cols
    row, col = np.divmod(np.arange(n, dtype=np.int32), np.int32(cols))
    return March(
        species=components(species),
        fibre=np.broadcast_to(np.asarray(fibre, dtype=np.float64), (n,)).copy(),
        sites=np.full(n, sites),
        kd=np.broadcast_to(np.asarray(kd, dtype=np.float64), (species,)).copy(),
        solubility=np.broadcast_to(np.asarray(solubility, dtype=np.float64), (species,)).copy(),
        powder=np.zeros((n, species)) if powder is None else powder.copy(),
        fixed=np.zeros((n, species)),
        lines=raster_lines(np.zeros(n, np.int32), row, col),
        constants=constants,
        threads=threads,
    )


def stream_of(
    volume: Floats, edges: Ints, amount: Floats, leave: Floats, theta: float = 0.0
) -> Stream:
    """Water that flows from ``edges[:, 0]`` to ``edges[:, 1]``; cells are numbered downstream."""
    n = volume.size
    by_end = np.argsort(edges[:, 1], kind="stable")
    start = np.searchsorted(edges[by_end, 1], np.arange(n + 1)).astype(np.int32)
    return Stream(
        order=np.arange(n, dtype=np.int32),
        start=start,
        source=edges[by_end, 0].astype(np.int32),
        amount=amount[by_end].astype(np.float64),
        out=np.bincount(edges[:, 0], amount, n),
        leave=leave.astype(np.float64),
        volume=volume,
        theta=np.full(n, theta),
        flow=amount.astype(np.float64),
        w=-np.arange(n, dtype=np.float64),
    )


def line_links(along: Floats) -> Spreading:
    """Spreading along one row; ``along`` (N,) ends with 0."""
    none = np.zeros_like(along)
    return sheet_links(along, none)


def sheet_links(right: Floats, below: Floats) -> Spreading:
    """Spreading along the rows and columns of a sheet."""
    none = np.zeros_like(right)
    return Spreading(along=(right, below, none, none), pairs=NO_PAIRS, link=np.zeros(0))


def pair_links(cells: int, pairs: Ints, link: Floats) -> Spreading:
    """Spreading over contacts only."""
    none = np.zeros(cells)
    return Spreading(along=(none, none, none, none), pairs=pairs.astype(np.int32), link=link)


@dataclass
class Column:
    """Water at velocity v [m/s] through cells of length dx [m] and 1 m2, from a full reservoir.

    Cell 0 is the reservoir: it holds undissolved powder, so that its concentration stays at
    the solubility, here 1, and water leaves it at that concentration. Spreading ``d`` [m2/s]
    is the whole wanted; what the upwind sweep gives by itself, v dx/2 + v^2 dt/(2 R), is
    taken off when ``corrected``.
    """

    dx: float
    step: float
    length: float
    v: float
    d: float
    retard: float = 1.0
    held_inlet: bool = False
    loss: float = 0.0
    corrected: bool = True

    def __post_init__(self) -> None:
        n = round(self.length / self.dx)
        kd = 1e-3
        volume = np.full(n + 1, self.dx)
        fibre = np.full(n + 1, (self.retard - 1.0) * self.dx / kd)
        fibre[0] = 0.0
        volume[0] = 1e9 * self.dx
        powder = np.zeros((n + 1, 1))
        powder[0] = 1e12
        self.march = marching(1, n + 1, fibre=fibre, kd=kd, powder=powder)
        edges = np.column_stack([np.arange(n), np.arange(1, n + 1)])
        leave = np.zeros(n + 1)
        leave[-1] = self.v
        self.now = stream_of(volume, edges, np.full(n, self.v), leave)
        own = self.v * self.dx / 2.0 + self.v**2 * self.step / (2.0 * self.retard)
        rest = self.d - (own if self.corrected else 0.0)
        assert rest >= 0.0
        along = np.full(n + 1, rest / self.dx)
        along[0] = self.d / (self.dx / 2.0) if self.held_inlet else 0.0
        along[-1] = 0.0
        self.links = line_links(along)
        self.x = (np.arange(n) + 0.5) * self.dx

    def run(self, seconds: float) -> Floats:
        """Concentrations of the cells after ``seconds``."""
        volume = self.now.volume
        none = np.zeros(1)
        for _ in range(round(seconds / self.step)):
            self.march.carry(self.now, self.step)
            self.march.spread(volume, self.links, self.step)
            if self.loss:
                self.march.react(volume, none, np.array([self.loss]), self.step)
        self.march.settle(volume)
        return np.asarray(self.march.c[1:, 0].copy())
