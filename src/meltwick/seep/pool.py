"""Melt water that gathers in a tub: the lower part of the bundle stands in mixed liquor."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from meltwick.seep.transport import March
from meltwick.types import Bundle, Cloth, Floats

STIR = 2e-6  # [m/s] dye exchanged between wet cloth and liquor that drips stir; chosen
CREEP = 4e-3  # [m] of depth over which liquor creeps in between layers that it covers; chosen
RISE = 4e-3  # [m] of height over which cloth goes from dry side to covered; chosen


@dataclass
class Pool:
    """Liquor in a tub with an upright wall, always mixed; changed in place while it gathers.

    What leaves the cloth comes in. Cloth below the level exchanges with it at a flux
    STIR exp(-depth/CREEP) (c - C) per area, depth being that of cloth between it and the outside.
    """

    floor: float  # [m2]
    mass: Floats  # (K,) [kg] of dye that can still fix
    spent: Floats  # (K,) [kg] hydrolysed in it
    volume: float = 0.0  # [m3]
    height: Floats = field(default_factory=lambda: np.zeros(0))  # (N,) [m] over the lowest cell
    link: Floats = field(default_factory=lambda: np.zeros(0))  # (N,) [m3/s] when covered
    rungs: Floats = field(default_factory=lambda: np.zeros(1))  # heights that cells have [m]
    free: Floats = field(default_factory=lambda: np.zeros(1))  # liquor below each of them [m3]
    taken: float = 0.0  # [m3] that the whole wet bundle takes up

    @classmethod
    def empty(cls, floor: float, species: int) -> Pool:
        """Return a tub without liquor."""
        return cls(floor, np.zeros(species), np.zeros(species))

    def stand(self, cloth: Cloth, bundle: Bundle) -> None:
        """Put a bundle into the tub, its lowest cell on the floor."""
        area = cloth.pitch**2
        self.height = bundle.height - float(bundle.height.min())
        self.link = STIR * area * np.exp(-bundle.depth / CREEP)
        self.rungs, which = np.unique(self.height, return_inverse=True)
        taken = np.bincount(which, bundle.thickness * area)
        self.taken = float(taken.sum())
        below = np.cumsum(taken) - taken
        self.free = np.maximum.accumulate(self.floor * self.rungs - below)

    @property
    def level(self) -> float:
        """Height of the liquor over the floor [m]: it fills what the wet bundle leaves free."""
        if self.volume >= self.free[-1]:
            return max(float(self.rungs[-1]), (self.volume + self.taken) / self.floor)
        return float(np.interp(self.volume, self.free, self.rungs))

    @property
    def covers(self) -> Floats:
        """Share of each cell that stands in liquor, (N,)."""
        if self.volume <= 0.0:
            return np.zeros_like(self.height)
        return np.asarray(np.clip((self.level - self.height) / RISE, 0.0, 1.0))

    def gather(self, march: March, water: float) -> None:
        """Take what left the cloth, and so much water [m3]."""
        self.mass += march.lost.sum(axis=0)
        march.lost[:] = 0.0
        self.volume += water

    def pour(self, masses: Floats) -> None:
        """Take dye [kg] that fell beside the bundle, (K,)."""
        self.mass += masses

    def exchange(self, march: March, seconds: float) -> None:
        """Let covered cloth and liquor come nearer to each other, implicitly.

        Each cell holds H c, so a step moves a (c - C'), a = g t H / (H + g t), with one C' that
        keeps the sum: no concentration turns negative and no dye is made.
        """
        if self.volume <= 0.0:
            return
        reach = self.link * self.covers * seconds
        wet = np.flatnonzero(reach > 0.0)
        if not wet.size:
            return
        g, hold, c = reach[wet, None], march.hold[wet], march.c[wet]
        a = g * hold / (hold + g)
        after = (self.mass + (a * c).sum(axis=0)) / (self.volume + a.sum(axis=0))
        moved = np.minimum(a * (c - after), march.mass[wet])
        march.mass[wet] -= moved
        march.c[wet] = march.mass[wet] / hold
        self.mass += moved.sum(axis=0)

    def react(self, hydrolysing: Floats, seconds: float) -> None:
        """Let dye in the liquor hydrolyse at rates (K,) [1/s]."""
        gone = -self.mass * np.expm1(-hydrolysing * seconds)
        self.mass -= gone
        self.spent += gone
