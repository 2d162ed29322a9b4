"""Soda that is not everywhere the same: it moves with the melt, and the fibre holds a share."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meltwick.constants import Constants
from meltwick.seep import chemistry
from meltwick.seep.flow import Spreading, Stream
from meltwick.seep.transport import Lines, March
from meltwick.types import Bundle, Cloth, Component, Floats, Soda

EVEN = frozenset({"none", "soaked before folding"})
"""Ways in which every layer has the same, so that one number follows it."""

TAKEN = 1.15e-3  # [m3/kg] of soak that wrung cloth keeps, by hand 1.0 to 1.5; common practice
REGAIN = 0.08  # [kg/kg] water in air-dry cotton: 7 to 8 % at 65 % humidity, ASTM D1909
REACH = 8e-3  # [m] of cloth that soak enters in REACHED minutes, with the root of time; chosen
REACHED = 20.0  # [min]
SOLUBLE = 70.0  # [kg/m3] of soda ash at 0 degC: dealers' solubility tables
PLAIN = 10.0  # [kg/m3] the strength that rates are reckoned at

CARBONATE = Component("sodium carbonate", (), 0.0, 0.0, 1.1e-9)
"""Total carbonate, as one species; its diffusivity from memory."""


@dataclass
class Soak:
    """Soda in a bundle, N cells; changed in place while it moves.

    Of what a cell has had at most, the fibre holds the share ``soda_held``; the rest, c, moves.
    Where c + held is more than before, the fibre takes its share of it; it gives none back.
    """

    loose: March  # one species that no fibre sorbs
    held: Floats  # (N,) [kg/m3] of the water there
    share: float  # soda_held

    @classmethod
    def of(
        cls,
        soda: Soda,
        cloth: Cloth,
        bundle: Bundle,
        powder: Floats,
        volume: Floats,
        lines: Lines,
        constants: Constants,
    ) -> Soak:
        """Put the soda where the plan says.

        Parameters
        ----------
        powder : ndarray of shape (N,)
            Where dye lies, with which soda may lie [kg].
        volume : ndarray of shape (N,)
            Water in the cells when the melt begins [m3].
        """
        n = cloth.size
        fibre = cloth.mass_per_area * cloth.pitch**2
        whole = soda.strength * TAKEN * float(fibre.sum())
        strength, dry = np.zeros(n), np.zeros(n)
        if soda.how == "soaked after tying":
            enters = REACH * np.sqrt(soda.minutes / REACHED)
            strength = soda.strength * np.exp(-bundle.depth / enters)
        elif soda.how == "dried in":
            strength = soda.strength * TAKEN * fibre / np.maximum(volume, 1e-30)
        else:
            where = (
                powder if soda.how == "with the dye" else bundle.exposed * (1.0 - bundle.covered)
            )
            dry = whole * where / max(float(where.sum()), 1e-300)
        none, zero = np.zeros((n, 1)), np.zeros(n)
        loose = March(
            species=(CARBONATE,),
            fibre=zero,
            sites=zero,
            kd=np.zeros(1),
            solubility=np.array([SOLUBLE * constants.dissolving]),
            powder=np.ascontiguousarray(dry[:, None]),
            fixed=none,
            lines=lines,
            constants=constants,
        )
        held = constants.soda_held
        loose.mass[:, 0] = (1.0 - held) * strength * volume
        return cls(loose, held * strength, held)

    def carry(self, now: Stream, step: float, scale: float) -> None:
        """Move soda with the water."""
        self.loose.carry(now, step, scale)

    def spread(self, volume: Floats, spreading: Spreading, step: float) -> None:
        """Let it spread, and let the fibre take its share of what has come."""
        self.loose.spread(volume, spreading, step)
        mass = self.loose.mass[:, 0]
        water = np.maximum(volume, 1e-30)
        wish = self.share * (mass / water + self.held)
        take = np.maximum(wish - self.held, 0.0)
        self.held += take
        mass -= np.minimum(take * water, mass)
        self.loose.settle(volume)

    def drain(self, before: Floats, after: Floats) -> None:
        """Let go of the water by which the cells' content falls."""
        self.loose.settle(before)
        self.loose.drain(before, after)

    def strength(self, volume: Floats) -> Floats:
        """Sodium carbonate where the dye is, held and loose, (N,) [kg/m3]."""
        return np.asarray(self.held + self.loose.mass[:, 0] / np.maximum(volume, 1e-30))

    def pace(self, volume: Floats, temperature: float) -> Floats:
        """Rate of fixing in each cell over that at `PLAIN`, (N,)."""
        found = chemistry.hydroxides(self.strength(volume), temperature)
        return np.asarray(found / chemistry.hydroxide(PLAIN, temperature))
