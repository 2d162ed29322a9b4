"""A spot of dye that water carries along a flat piece of jersey, and its closed form.

R dc/dt + v dc/dx = D d2c/dx2 + E d2c/dy2 - k c: water moves at v in the pores, dye sorbs in
proportion (R), spreads (D = a v + E), and hydrolyses where it is dissolved (k). A Gaussian stays
one: its middle moves at v / R, its variances grow by 2 D / R and 2 E / R, its mass falls by k / R
(a product of two line sources, Crank, The Mathematics of Diffusion, chapter 2, as they move).

EVEN water moves everywhere at one speed. UNEVEN water has a speed of its own in each row, which
rises from one border to the other, and E = 0, so that each row is a problem in one dimension. Its
speeds and R are those of the built-in example: at 4 mm its cells give their water on to the next
0.19 times in one of 60 steps of the melt at the 5th percentile, 390 times at the 99.9th; R is 14
to 59. So dye in the fastest rows leaves the piece, and in the slowest hardly stirs.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from meltwick.types import Floats

WIDTH, HEIGHT = 0.6, 0.4  # [m]
SECONDS = 4 * 3600.0
RETARD = 20.0
DISPERSIVITY = 4e-3  # [m]; the model's own
LOSS = 4e-4  # [1/s] of what is dissolved: a quarter of the dye in all
START = (0.15, 0.2)  # [m]
SIGMA = 0.012  # [m] of the spot at the start
SEEN = 0.55  # [m] of the width that is compared: the outlet is felt beyond


@dataclass(frozen=True)
class Water:
    """How water moves."""

    name: str
    slowest: float  # [m/s] in the pores, at y = 0
    fastest: float  # at y = HEIGHT
    across: float  # [m2/s] E

    def speed(self, y: Floats) -> Floats:
        """Return v at heights ``y`` [m], in its shape [m/s]."""
        return np.asarray(self.slowest * (self.fastest / self.slowest) ** (y / HEIGHT))


MEAN = RETARD * 0.2 / SECONDS  # [m/s]: the spot moves on by 0.2 m
EVEN = Water("even", MEAN, MEAN, across=0.25 * DISPERSIVITY * MEAN)
UNEVEN = Water("uneven", 8e-7, 1.6e-3, across=0.0)

Run = Callable[[], Floats]
"""Goes from the start to the end; returns c at the cells' middles, (rows, cols), row 0 at y = 0."""


@dataclass(frozen=True)
class Case:
    """One way to cut a problem: square cells and equal steps."""

    water: Water
    cols: int
    steps: int

    @property
    def rows(self) -> int:
        return round(self.cols * HEIGHT / WIDTH)

    @property
    def pitch(self) -> float:
        """Side of a cell [m]."""
        return WIDTH / self.cols

    @property
    def step(self) -> float:
        """Length of a step [s]."""
        return SECONDS / self.steps

    @property
    def speed(self) -> Floats:
        """Water's speed in each row, (rows, 1) [m/s]."""
        return self.water.speed((np.arange(self.rows)[:, None] + 0.5) * self.pitch)

    @property
    def along(self) -> Floats:
        """D in each row, (rows, 1) [m2/s]."""
        return DISPERSIVITY * self.speed + self.water.across

    def exact(self, seconds: float) -> Floats:
        """Concentration at the cells' middles, (rows, cols); at the start 1 where it is highest."""
        x = (np.arange(self.cols) + 0.5) * self.pitch - START[0]
        y = (np.arange(self.rows)[:, None] + 0.5) * self.pitch - START[1]
        wide = SIGMA**2 + 2.0 * self.along * seconds / RETARD
        # a spot in even water; a band across all rows in uneven
        high = SIGMA**2 + 2.0 * self.water.across * seconds / RETARD
        side = np.exp(-0.5 * y**2 / high) if self.water.across else np.ones_like(y)
        top = SIGMA**2 / np.sqrt(wide * high) * np.exp(-LOSS * seconds / RETARD)
        gone = x - self.speed * seconds / RETARD
        return np.asarray(top * side * np.exp(-0.5 * gone**2 / wide))

    def error(self, found: Floats) -> float:
        """Root of the summed squares of the error over that of the closed form, at the end."""
        seen = slice(0, round(SEEN / self.pitch))
        exact = self.exact(SECONDS)[:, seen]
        return float(np.linalg.norm(found[:, seen] - exact) / np.linalg.norm(exact))
