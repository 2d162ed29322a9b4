"""Ice: how fast it melts, and where the melt lands."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meltwick import chance
from meltwick.constants import ICE_POINT, LATENT_HEAT, WATER_DENSITY, Constants
from meltwick.types import Bundle, Cloth, Floats, Ice


@dataclass(frozen=True)
class Melt:
    """The melting of one heap.

    Its area follows M^(2/3) and heat flows at U A dT, so M^(1/3) falls linearly:
    M = M0 (1 - t/tm)^3 and the rate is q0 (1 - t/tm)^2, with tm = 3 M0 L / (U A0 dT).
    """

    mass: float  # [kg]
    seconds: float  # tm

    @property
    def first_rate(self) -> float:
        """q0, volume of melt a second at the start [m3/s]."""
        return 3.0 * self.mass / (WATER_DENSITY * self.seconds)

    def seconds_until(self, share: float | Floats) -> Floats:
        """Time when ``share`` of the ice has melted [s]; 0.9 is reached at 0.536 tm."""
        return np.asarray(self.seconds * (1.0 - np.cbrt(1.0 - np.asarray(share, dtype=np.float64))))

    def left(self, time: float | Floats) -> Floats:
        """Mass of ice left at a time [kg]."""
        part = np.clip(1.0 - np.asarray(time, dtype=np.float64) / self.seconds, 0.0, 1.0)
        return np.asarray(self.mass * part**3)


def steady_melt_seconds(mass: float, area: float, transfer: float, warmer: float) -> float:
    """Time to melt at constant area, t = M L / (U A dT) [s].

    Parameters
    ----------
    mass : float
        [kg].
    area : float
        [m2].
    transfer : float
        U [W/(m2 K)].
    warmer : float
        dT, air over ice [K].
    """
    return mass * LATENT_HEAT / (transfer * area * warmer)


def melt_of(loads: tuple[Ice, ...], room: float, constants: Constants) -> Melt:
    """Melt of the ice laid, as one heap, in a room at ``room`` [K].

    Raises
    ------
    ValueError
        When the room is not warmer than the ice.
    """
    mass = sum(load.mass for load in loads)
    warmer = room - ICE_POINT
    if warmer <= 0.0:
        raise ValueError("ice does not melt in a room at or below freezing")
    area = constants.heap_shape * (mass / constants.heap_density) ** (2.0 / 3.0)
    return Melt(mass, 3.0 * steady_melt_seconds(mass, area, constants.heat_transfer, warmer))


def landing(
    cloth: Cloth, bundle: Bundle, melt: Melt, chunk: float, code: np.uint64, constants: Constants
) -> Floats:
    """Melt that each cell catches at the first, fastest rate [m3/s], shape (N,).

    It falls on what faces up and is not under string, more below one piece of ice than
    below another; a share misses the bundle.
    """
    spread = constants.melt_unevenness
    uneven = np.exp(spread * chance.smooth_field(code, bundle.along, bundle.across, chunk))
    weight = bundle.upward * (1.0 - bundle.covered) * uneven
    total = float(weight.sum())
    if total <= 0.0:
        return np.zeros(cloth.size)
    caught = melt.first_rate * (1.0 - constants.ice_beside)
    return np.asarray(caught * weight / total)
