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

    @property
    def top_rate(self) -> float:
        """The largest rate of melt [m3/s]: the first."""
        return self.first_rate

    def levels(self, seconds: Floats) -> Floats:
        """Mean rate over the largest in steps of equal melted volume, (S,)."""
        return np.asarray(self.seconds / (3.0 * seconds.size * seconds))

    def seconds_until(self, share: float | Floats) -> Floats:
        """Time when ``share`` of the ice has melted [s]; 0.9 is reached at 0.536 tm."""
        return np.asarray(self.seconds * (1.0 - np.cbrt(1.0 - np.asarray(share, dtype=np.float64))))

    def left(self, time: float | Floats) -> Floats:
        """Mass of ice left at a time [kg]."""
        part = np.clip(1.0 - np.asarray(time, dtype=np.float64) / self.seconds, 0.0, 1.0)
        return np.asarray(self.mass * part**3)


@dataclass(frozen=True)
class Heaps:
    """Heaps of ice laid at their times; each melts as if it lay alone, so rates add."""

    heaps: tuple[Melt, ...]
    starts: tuple[float, ...]  # [s], the first of them 0

    @property
    def mass(self) -> float:
        """All the ice [kg]."""
        return sum(heap.mass for heap in self.heaps)

    @property
    def seconds(self) -> float:
        """When the last of it is gone [s]."""
        return max(at + heap.seconds for heap, at in zip(self.heaps, self.starts, strict=True))

    @property
    def top_rate(self) -> float:
        """The largest rate of melt [m3/s]; rates fall but where a heap is laid."""
        return max(self._rate(at) for at in self.starts)

    def _rate(self, time: float) -> float:
        parts = [
            heap.first_rate * max(0.0, 1.0 - (time - at) / heap.seconds) ** 2
            for heap, at in zip(self.heaps, self.starts, strict=True)
            if time >= at
        ]
        return sum(parts)

    def left(self, time: float | Floats) -> Floats:
        """Mass of ice not yet melted at a time, what is still to be laid included [kg]."""
        passed = np.asarray(time, dtype=np.float64)
        pairs = zip(self.heaps, self.starts, strict=True)
        return np.asarray(sum(heap.left(np.maximum(passed - at, 0.0)) for heap, at in pairs))

    def seconds_until(self, share: float | Floats) -> Floats:
        """Time when ``share`` of all the ice has melted [s], by bisection."""
        wanted = (1.0 - np.asarray(share, dtype=np.float64)) * self.mass
        low, high = np.zeros_like(wanted), np.full_like(wanted, self.seconds)
        for _ in range(60):
            middle = 0.5 * (low + high)
            early = self.left(middle) > wanted
            low, high = np.where(early, middle, low), np.where(early, high, middle)
        return np.asarray(np.where(wanted <= 0.0, self.seconds, high))

    def levels(self, seconds: Floats) -> Floats:
        """Mean rate over the largest in steps of equal melted volume, (S,)."""
        each = self.mass / (WATER_DENSITY * seconds.size)
        return np.asarray(each / (seconds * self.top_rate))


@dataclass(frozen=True)
class Pour:
    """Liquor that runs over a bundle at an even rate, as if it were ice that melts so."""

    mass: float  # [kg] of water
    seconds: float

    @property
    def top_rate(self) -> float:
        """Its rate [m3/s]."""
        return self.mass / (WATER_DENSITY * self.seconds)

    def seconds_until(self, share: float | Floats) -> Floats:
        """Time when ``share`` of it has run [s]."""
        return np.asarray(self.seconds * np.asarray(share, dtype=np.float64))

    def levels(self, seconds: Floats) -> Floats:
        """Rate over the largest in steps of equal volume, (S,): 1."""
        return np.ones(seconds.size)


@dataclass(frozen=True)
class Dry:
    """No ice and no liquor: the damp cloth has only its own water."""

    mass: float = 0.0
    seconds: float = 0.0
    top_rate: float = 0.0

    def seconds_until(self, share: float | Floats) -> Floats:
        """Nothing takes no time [s]."""
        return np.zeros_like(np.asarray(share, dtype=np.float64))

    def levels(self, seconds: Floats) -> Floats:
        """No melt, (S,)."""
        return np.zeros(seconds.size)


Melting = Melt | Heaps | Pour | Dry


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


def melt_of(loads: tuple[Ice, ...], room: float, constants: Constants) -> Melt | Heaps:
    """Melt of the ice laid in a room at ``room`` [K]; what is laid together is one heap.

    Times count from the first load: nothing melts before it.

    Raises
    ------
    ValueError
        When the room is not warmer than the ice.
    """
    warmer = room - ICE_POINT
    if warmer <= 0.0:
        raise ValueError("ice does not melt in a room at or below freezing")

    def heap(mass: float) -> Melt:
        area = constants.heap_shape * (mass / constants.heap_density) ** (2.0 / 3.0)
        return Melt(mass, 3.0 * steady_melt_seconds(mass, area, constants.heat_transfer, warmer))

    times = sorted({load.after for load in loads})
    heaps = tuple(heap(sum(load.mass for load in loads if load.after == at)) for at in times)
    if len(heaps) == 1:
        return heaps[0]
    return Heaps(heaps, tuple(at - times[0] for at in times))


@dataclass(frozen=True)
class Lie:
    """How the loads of one melt lie, on the whole."""

    beside: float  # share of the melt that misses the bundle
    around: float  # share of the ice that lies round the bundle, in a trough, not only on it
    chunk: float  # [m] typical piece of the first load

    @classmethod
    def of(cls, loads: tuple[Ice, ...], constants: Constants) -> Lie:
        """Weigh the loads by their mass."""
        mass = sum(load.mass for load in loads)
        shares = [constants.ice_beside if x.beside is None else x.beside for x in loads]
        if len(set(shares)) == 1:
            beside = shares[0]
        else:
            pairs = zip(shares, loads, strict=True)
            beside = sum(share * load.mass for share, load in pairs) / mass
        around = sum(load.mass for load in loads if load.heap == "in a trough") / mass
        return cls(beside, around, loads[0].chunk)


def landing(
    cloth: Cloth,
    bundle: Bundle,
    melt: Melting,
    chunk: float,
    code: np.uint64,
    constants: Constants,
    beside: float | None = None,
    around: float = 0.0,
) -> Floats:
    """Melt that each cell catches at the fastest rate [m3/s], shape (N,).

    It falls on what faces up and is not under string, more below one piece of ice than
    below another; a share misses the bundle.

    Parameters
    ----------
    beside : float, optional
        That share; ``constants.ice_beside`` if left out.
    around : float
        Share of the ice that lies round the bundle, so that its sides catch melt too.
    """
    spread = constants.melt_unevenness
    uneven = np.exp(spread * chance.smooth_field(code, bundle.along, bundle.across, chunk))
    catches = bundle.upward
    if around:
        catches = catches + around * sides(bundle)
    weight = catches * (1.0 - bundle.covered) * uneven
    total = float(weight.sum())
    if total <= 0.0:
        return np.zeros(cloth.size)
    caught = melt.top_rate * (1.0 - (constants.ice_beside if beside is None else beside))
    return np.asarray(caught * weight / total)


def sides(bundle: Bundle) -> Floats:
    """Share of each cell that faces neither up nor down, (N,)."""
    below = 0.0 if bundle.downward is None else bundle.downward
    return np.asarray(np.clip(bundle.exposed - bundle.upward - below, 0.0, 1.0))
