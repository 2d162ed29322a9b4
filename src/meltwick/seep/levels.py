"""Flows through the melt: solved at a few melt rates, interpolated between them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meltwick.constants import Constants
from meltwick.seep import ice
from meltwick.seep.flow import Spreading, Stream, spreading, stream
from meltwick.seep.graph import Network
from meltwick.seep.percolation import Percolation
from meltwick.types import Bundle, Cloth, Floats, Seepage


@dataclass(frozen=True)
class Effort:
    """How finely the melt and the batching time are cut."""

    levels: tuple[float, ...]  # melt rates, over the first, at which the flow is solved
    between: int  # flows interpolated between two levels
    steps: int  # over the melt
    batch: int  # over the batching time
    spread: int  # steps of flow to a step of reacting and spreading

    @classmethod
    def at(cls, pitch: float) -> Effort:
        """Return what is right for cells of ``pitch`` [m]: less for a draft."""
        return DRAFT if pitch >= DRAFT_PITCH else USUAL

    def blocks(self) -> dict[int, slice]:
        """Return after which step of the melt dye reacts and spreads, and for which steps.

        That is amid a block of steps, not at its end, which is exact to the second order
        (Strang 1968, from memory).
        """
        found = {}
        for begin in range(0, self.steps, self.spread):
            end = min(begin + self.spread, self.steps)
            found[(begin + end - 1) // 2] = slice(begin, end)
        return found


DRAFT_PITCH = 3.5e-3  # [m]

USUAL = Effort(levels=(0.4,), between=1, steps=60, batch=12, spread=6)
"""On four plans of the gallery at 4 mm (pole, brick, spiral, scrunch), against 240 steps of flow,
120 of spreading and 48 of batching, white was off by at most 0.42 points, 0.28 in root mean
square; most of that comes from the steps of flow, for with 30 it was 1.4. With one melt level for
four and 60 steps for 240 the white of a pole wrap moved by 0.6 at 4 mm and by 1.0 at 2 mm."""

DRAFT = Effort(levels=(0.4,), between=1, steps=60, batch=6, spread=6)
"""On the same plans off by at most 0.46 points, 0.28 in root mean square; where each cell's dye
lies, by 3.5 % of all dye, with the usual effort by 2.3 %."""


def seep(cloth: Cloth, bundle: Bundle, net: Network, melt: Floats, effort: Effort) -> Seepage:
    """Solve the steady flow at each melt level.

    Parameters
    ----------
    melt : ndarray of shape (N,)
        Melt that each cell catches at level 1 [m3/s].
    """
    problem = Percolation(net, cloth)
    total = max(float(melt.sum()), 1e-300)
    found = []
    ran = over = 0.0
    for level in effort.levels:
        flow = problem.solve(melt * level)
        found.append(flow.w)
        ran = max(ran, float(flow.outflow[melt > 0.0].sum()) / (total * level))
        over = max(over, float((flow.w > net.bound * 1.001).mean()))
    return Seepage(
        levels=np.array(effort.levels),
        w=np.array(found),
        melt=melt,
        over_full_share=over,
        ran_off_share=min(1.0, ran),  # by the solver's tolerance it may come out above
    )


@dataclass(frozen=True)
class Steps:
    """Steps of equal melted volume: seconds and melt rate over the first, each (S,)."""

    seconds: Floats
    level: Floats

    @classmethod
    def of(cls, melt: ice.Melting, count: int) -> Steps:
        """Cut the melt into ``count`` steps."""
        edges = melt.seconds_until(np.linspace(0.0, 1.0, count + 1))
        seconds = np.diff(edges)
        return cls(seconds, melt.levels(seconds))


class Streams:
    """Flows at the solved melt levels and between them, made when first asked for.

    Between two levels w is interpolated linearly. Conductances are fixed, so melt and outflow
    interpolate with it and the flow stays conservative; below the last level it is scaled.
    """

    def __init__(
        self,
        seepage: Seepage,
        net: Network,
        cloth: Cloth,
        bundle: Bundle,
        damp: float,
        effort: Effort,
        constants: Constants,
    ) -> None:
        self._seepage, self._net, self._cloth, self._bundle = seepage, net, cloth, bundle
        self._damp, self._constants = damp, constants
        levels = seepage.levels
        if len(levels) > 1:
            edges = np.linspace(levels[0], levels[-1], effort.between + 1)
            self._centres = np.append(0.5 * (edges[1:] + edges[:-1]), levels[-1])
        else:
            self._centres = levels
        self._made: dict[int, tuple[Stream, Spreading]] = {}

    def at(self, level: float, diffusivity: float) -> tuple[Stream, Spreading, float, int]:
        """Return the nearest stream, its spreading, the scale on its flow, and its number."""
        nearest = int(np.argmin(np.abs(self._centres - level)))
        centre = float(self._centres[nearest])
        if nearest not in self._made:
            self._made = {nearest: self._make(centre, diffusivity)}
        return *self._made[nearest], level / centre, nearest

    def still(self, volume: Floats) -> Stream:
        """Return a stream that carries nothing, for the time after the ice is gone."""
        none, nothing = np.zeros(0, np.int32), np.zeros(volume.size)
        order = np.arange(volume.size, dtype=np.int32)
        start = np.zeros(volume.size + 1, np.int32)
        flow = np.zeros(len(self._net.pairs))
        theta = volume / (self._cloth.pitch**2 * self._bundle.thickness)
        return Stream(
            order, start, none, np.zeros(0), nothing, nothing, volume, theta, flow, nothing
        )

    def _make(self, level: float, diffusivity: float) -> tuple[Stream, Spreading]:
        seepage, net = self._seepage, self._net
        order = np.argsort(seepage.levels)
        grid = seepage.levels[order]
        k = int(np.clip(np.searchsorted(grid, level), 1, max(len(grid) - 1, 1)))
        if len(grid) == 1:
            w = seepage.w[0] * (level / grid[0])
        else:
            part = (level - grid[k - 1]) / (grid[k] - grid[k - 1])
            w = (1.0 - part) * seepage.w[order[k - 1]] + part * seepage.w[order[k]]
        a, b = net.pairs[:, 0], net.pairs[:, 1]
        flow = net.conductance * (w[a] - w[b])
        n = w.size
        net_out = np.bincount(a, flow, n) - np.bincount(b, flow, n)
        leave = np.where(net.outside > 0.0, np.maximum(seepage.melt * level - net_out, 0.0), 0.0)
        leave[leave < 1e-6 * float(seepage.melt.sum()) * level / max(n, 1)] = 0.0
        now = stream(w, leave, net, self._cloth, self._bundle, self._damp, self._constants)
        return now, spreading(now, net, self._cloth, diffusivity, 1.0, self._constants)
