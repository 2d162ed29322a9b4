"""The melts of a round: of its first ice, and of fresh ice once the bundle is turned over."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace

import numpy as np

from meltwick import chance
from meltwick.bundle.tray import one_bundle
from meltwick.constants import WATER_DENSITY, Constants
from meltwick.seep import ice
from meltwick.seep.graph import Network, network
from meltwick.seep.levels import Effort, Streams, seep
from meltwick.seep.pool import Pool
from meltwick.seep.powder import Laid, lay, side_by_side
from meltwick.seep.renumber import Sweepwise
from meltwick.seep.soak import EVEN, Soak
from meltwick.seep.stages import (
    COLD,
    MARCH,
    Wet,
    batch_stage,
    diffusivity_at,
    liquor_rates,
    melt_stage,
)
from meltwick.seep.transport import Lines, March, raster_lines
from meltwick.types import (
    Bundle,
    Cloth,
    Component,
    Dye,
    Floats,
    Ice,
    Liquor,
    Observer,
    Powder,
    Round,
    Seepage,
)

WATER = "finding the water's way"
TURNED = "carrying the dye, turned over"
POURED = "carrying the dye of the liquor"

DROP = 0.01  # [m] between the places where liquor that is poured or drips lands; chosen


@dataclass(frozen=True)
class Way:
    """One way up of the bundle: the ice and the powder that lie on it."""

    bundle: Bundle
    loads: tuple[Ice, ...]
    laid: Laid
    melt: ice.Melting
    lie: ice.Lie
    turned: bool
    poured: bool = False  # liquor of another piece runs over it, and no ice melts


def turned_over(bundle: Bundle, incline: float) -> Bundle:
    """Roll a bundle over where it lies: what faced down faces up, and heights are mirrored.

    Heights over the rack are mirrored; what the rack itself rises, along sin(incline), stays.
    """
    rack = bundle.along * np.sin(incline)
    over = bundle.height - rack
    below = np.zeros_like(bundle.upward) if bundle.downward is None else bundle.downward
    return replace(
        bundle,
        upward=below,
        downward=bundle.upward,
        across=bundle.across.min() + bundle.across.max() - bundle.across,
        height=rack + (over.min() + over.max() - over),
    )


@dataclass(frozen=True)
class Piece:
    """One bundle of a tray, and what is laid on it."""

    bundle: Bundle
    powder: tuple[Powder, ...]
    seed: int


def ways(
    pieces: tuple[Piece, ...],
    spec: Round,
    dyes: tuple[Dye, ...],
    species: tuple[Component, ...],
    round_number: int,
    constants: Constants,
    liquor: Liquor | None = None,
) -> tuple[Way, ...]:
    """Lay ice and powder, and again on the other side if some of it waits for the turning."""
    found = []

    def laid_on(turned: bool, every: bool = False) -> tuple[Bundle, Laid]:
        lying, powders = [], []
        for piece in pieces:
            here = turned_over(piece.bundle, spec.incline) if turned else piece.bundle
            powder = tuple(each for each in piece.powder if every or each.turned is turned)
            lying.append(here)
            powders.append(lay(here, powder, dyes, species, piece.seed, round_number, constants))
        return one_bundle(lying), side_by_side(powders)

    for turned in (False, True):
        loads = tuple(load for load in spec.ice if load.turned is turned)
        first = liquor is not None and not turned
        if not loads and not first:
            continue
        here, laid = laid_on(turned)
        if first and liquor is not None:
            found.append(_poured(here, laid, liquor, constants))
            laid = replace(laid, under=np.zeros_like(laid.under), laid=_over(laid))
        if loads:
            melt = ice.melt_of(loads, spec.room, constants)
            found.append(Way(here, loads, laid, melt, ice.Lie.of(loads, constants), turned))
    if not found:
        bundle, laid = laid_on(False, every=True)
        dry = replace(laid, under=laid.under + _all_over(laid), over=())
        found.append(Way(bundle, (), dry, ice.Dry(), ice.Lie(0.0, 0.0, DROP), turned=False))
    return tuple(found)


def _all_over(laid: Laid) -> Floats:
    """Lay what would have come with the ice on the cloth, since there is none, (N, K) [kg]."""
    none = np.zeros_like(laid.under)
    return np.asarray(sum((share[:, None] * masses for share, masses in laid.over), none))


def _over(laid: Laid) -> float:
    return sum(float(masses.sum()) for _, masses in laid.over)


def _poured(bundle: Bundle, laid: Laid, liquor: Liquor, constants: Constants) -> Way:
    """Let the run-off of another piece run over this one, on the powder that lies there."""
    at = {part.name: k for k, part in enumerate(laid.species)}
    masses = np.zeros(len(laid.species))
    for part, mass in zip(liquor.species, liquor.active, strict=True):
        masses[at[part.name]] += mass
    falls = bundle.upward * (1.0 - bundle.covered)
    whole = replace(
        laid,
        over=((falls / max(float(falls.sum()), 1e-300), masses),),
        # what comes dissolved counts as a dye of the round; a jar sets how its powder dissolves
        solubility=np.where(masses > 0.0, np.maximum(laid.solubility, 1e-6), laid.solubility),
        laid=float(laid.under.sum() + masses.sum()),
    )
    pour = ice.Pour(liquor.volume * WATER_DENSITY, liquor.seconds)
    lie = ice.Lie(constants.ice_beside, 0.0, DROP)
    return Way(bundle, (), whole, pour, lie, turned=False, poured=True)


def of_ice(sides: tuple[Way, ...]) -> tuple[Way, ...]:
    """Return the ways on which ice lies; if there is none, the one over which liquor runs."""
    return tuple(way for way in sides if not way.poured) or sides


def hours_90(sides: tuple[Way, ...]) -> float:
    """When nine tenths of the ice, of the last way up the last, have melted [h]."""
    early = sum(way.melt.seconds for way in sides[:-1])
    return (early + float(sides[-1].melt.seconds_until(0.9))) / 3600.0


def together(laid: tuple[Laid, ...]) -> Laid:
    """Return the first way's powder with the jars and the sum of all of them."""
    return replace(
        laid[0],
        solubility=np.max([each.solubility for each in laid], axis=0),
        laid=sum(each.laid for each in laid),
    )


@dataclass
class Course:
    """The march of a round through its melts, from one way up of the bundle to the next."""

    cloth: Cloth
    damp: float
    effort: Effort
    seed: int
    round_number: int
    constants: Constants
    spec: Round
    pool: Pool | None
    seconds: float = 0.0  # spent on finding the water's way
    missed: float = 0.0  # [kg] of dye over the ice that fell beside the bundle
    wet: Wet | None = None
    march: March | None = None
    soak: Soak | None = None

    def __post_init__(self) -> None:
        self.lit = np.zeros(self.cloth.size, dtype=bool)  # cells on which melt falls

    def find_way(self, way: Way, observer: Observer) -> None:
        """Solve the flow for one way up, and put the cells in its order."""
        begun = time.perf_counter()
        net = network(self.cloth, way.bundle, self.constants)
        what = "turned melt" if way.turned else "melt"
        code = chance.key(self.seed, what, self.round_number)
        lie = way.lie
        caught = ice.landing(
            self.cloth,
            way.bundle,
            way.melt,
            lie.chunk,
            code,
            self.constants,
            lie.beside,
            lie.around,
        )
        observer(WATER, 0, 1)
        self.seepage: Seepage = seep(self.cloth, way.bundle, net, caught, self.effort)
        observer(WATER, 1, 1)
        self.lit |= caught > 0.0
        self.seconds += time.perf_counter() - begun
        self.sweep = sweep = Sweepwise(self.seepage)
        self.sorted_cloth, self.bundle = sweep.cloth(self.cloth), sweep.bundle(way.bundle)
        self.net: Network = sweep.network(net)
        self.powder = sweep.laid(way.laid)
        self.streams = Streams(
            sweep.seepage(self.seepage),
            self.net,
            self.sorted_cloth,
            self.bundle,
            self.damp,
            self.effort,
            self.constants,
        )
        if self.pool is not None:
            self.pool.stand(self.sorted_cloth, self.bundle)

    def turn(self, way: Way, observer: Observer) -> None:
        """Go on to the next way: the dye in it stays, fresh powder and ice come on it."""
        assert self.march is not None
        assert self.wet is not None
        last = self.sweep
        self.find_way(way, observer)

        def turning(values: Floats) -> Floats:
            return self.sweep.ahead(last.back(values))

        self.march.reorder(turning)
        self.wet = replace(self.wet, volume=turning(self.wet.volume))
        cloth = self.sorted_cloth
        self.march.lines = raster_lines(cloth.panel, cloth.row, cloth.col)
        self.march.powder += self.powder.under
        if self.soak is not None:
            self.soak.loose.reorder(turning)
            self.soak.loose.lines = self.march.lines
            self.soak.held = turning(self.soak.held)

    def moisten(self, lines: Lines, powder: Floats) -> None:
        """Put soda where it is when the melt begins, unless every layer has the same."""
        soda = self.spec.soda
        if soda.how in EVEN or soda.strength <= 0.0:
            return
        assert self.march is not None
        level = float(self.seepage.levels[0])
        volume = self.streams.at(level, diffusivity_at(self.march.moving, COLD)).stream.volume
        self.soak = Soak.of(
            soda, self.sorted_cloth, self.bundle, powder, volume, lines, self.constants
        )

    def melt(self, way: Way, observer: Observer) -> None:
        """Carry dye while this way's ice melts."""
        assert self.march is not None
        if not way.melt.mass:
            self.wet = self._damp()
            self.march.settle(self.wet.volume)
            return
        self.wet = melt_stage(
            self.march,
            self.streams,
            self.powder,
            way.melt,
            self.spec,
            self.sorted_cloth,
            self.damp,
            self.effort,
            observer,
            beside=way.lie.beside,
            pool=self.pool,
            soak=self.soak,
            before=self.wet,
            stage=self._stage(way),
        )
        over = sum(float(masses.sum()) for _, masses in way.laid.over)
        self.missed += over * way.lie.beside

    def _damp(self) -> Wet:
        """Return the water that the damp cloth brought, as far as its pores hold it."""
        area = self.cloth.pitch**2
        brought = self.damp * self.sorted_cloth.mass_per_area * area / 1000.0
        room = 0.98 * (1.0 - self.bundle.solid) * self.bundle.thickness * area
        return Wet(np.minimum(brought, room), 0.0)

    def _stage(self, way: Way) -> str:
        if way.poured and self.spec.ice:
            return POURED
        return TURNED if way.turned else MARCH

    def caught(self, sides: tuple[Way, ...], damp: float) -> Liquor:
        """Return what left the bundle, mixed; half of its time it has stood on its own soda."""
        assert self.march is not None
        assert self.wet is not None
        march, seconds = self.march, sum(way.melt.seconds for way in sides)
        held = float(self.wet.volume.sum())
        brought = damp * float(self.cloth.mass_per_area.sum()) * self.cloth.pitch**2
        came = sum(way.melt.mass for way in sides) + brought * WATER_DENSITY / 1e3
        volume = max(came / WATER_DENSITY - held, 1e-9)
        if self.pool is not None:
            active, spent = self.pool.mass.copy(), self.pool.spent.copy()
            return Liquor(march.species, active, spent, volume, seconds)
        gone = march.lost.sum(axis=0)
        for way in sides:
            for _, masses in way.laid.over:
                gone = gone + masses * way.lie.beside
        rates = liquor_rates(march, self.spec, self.wet.pores, COLD, held, volume)
        spent = -gone * np.expm1(-0.5 * seconds * rates)
        return Liquor(march.species, gone - spent, spent, volume, seconds)

    def wait(self, observer: Observer) -> None:
        """Drain, warm up and fix for the batching time."""
        assert self.march is not None
        assert self.wet is not None
        batch_stage(
            self.march,
            self.wet,
            self.net,
            self.streams,
            self.spec,
            self.sorted_cloth,
            self.bundle,
            self.effort,
            observer,
            self.pool,
            self.soak,
        )

    def back(self, values: Floats) -> Floats:
        """Return per-cell values (N, ...) in the cloth's own numbering."""
        return self.sweep.back(values)
