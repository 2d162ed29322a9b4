"""The stages of a round: while ice melts, and while the bundle waits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meltwick.constants import ICE_POINT, WATER_DENSITY, Constants
from meltwick.seep import chemistry, ice
from meltwick.seep.flow import Spreading, diffusion, joints, water_held
from meltwick.seep.graph import Network
from meltwick.seep.levels import Current, Effort, Steps, Streams
from meltwick.seep.pool import Pool
from meltwick.seep.powder import Laid
from meltwick.seep.soak import PLAIN, Soak
from meltwick.seep.transport import March
from meltwick.types import Bundle, Cloth, Component, Floats, Observer, Round

MARCH = "carrying the dye"
BATCH = "fixing"
COLD = ICE_POINT + 1.0
"""Temperature of the bundle while ice lasts [K]."""


def diffusivity_at(species: tuple[Component, ...], temperature: float) -> float:
    """Mean diffusivity of the species [m2/s], 0 for none; D mu / T is constant."""
    if not species:
        return 0.0
    viscosity = np.interp(temperature - ICE_POINT, CELSIUS, VISCOSITY)
    warm = float(np.mean([part.diffusivity for part in species]))
    return float(warm * temperature / 298.15 * VISCOSITY[-2] / viscosity)


CELSIUS = np.array([0.01, 1.0, 2.0, 5.0, 10.0, 15.0, 20.0, 25.0, 40.0])
VISCOSITY = np.array([1.7911, 1.7310, 1.6735, 1.5182, 1.3059, 1.1376, 1.0016, 0.8900, 0.6527])
"""Of water [mPa s], IAPWS R12-08."""


@dataclass(frozen=True)
class Wet:
    """Water in the bundle when a melt is over."""

    volume: Floats  # (N,) [m3]
    pores: float  # volumes of water that have passed, over the water held


def melt_stage(
    march: March,
    streams: Streams,
    laid: Laid,
    melt: ice.Melting,
    spec: Round,
    cloth: Cloth,
    damp: float,
    effort: Effort,
    observer: Observer,
    *,
    beside: float | None = None,
    pool: Pool | None = None,
    soak: Soak | None = None,
    before: Wet | None = None,
    stage: str = MARCH,
) -> Wet:
    """Carry dye while the ice melts.

    Parameters
    ----------
    beside : float, optional
        Share of the melt that misses the bundle; ``constants.ice_beside`` if left out.
    pool : Pool, optional
        A tub in which what leaves the bundle gathers.
    soak : Soak, optional
        Soda that is not the same in every layer.
    before : Wet, optional
        What an earlier melt left.
    stage : str
        What the observer hears.
    """
    steps = Steps.of(melt, effort.steps)
    diffusivity = diffusivity_at(march.moving, COLD)
    missed = march.constants.ice_beside if beside is None else beside
    first = streams.at(float(steps.level[0]), diffusivity).stream.volume
    water = float(first.sum())
    caught = melt.mass / WATER_DENSITY * (1.0 - missed)
    dry = damp * float(cloth.mass_per_area.sum()) * cloth.pitch**2 / 1000.0
    if before is not None:
        dry = float(before.volume.sum())
    passing = max(0.1, 1.0 - max(0.0, water - dry) / caught)
    volume, passed = first, 0.0
    last: Current | None = None
    blocks = effort.blocks()
    if before is not None:
        volume, passed = before.volume, before.pores * water
    for n in range(effort.steps):
        step, level = float(steps.seconds[n]), float(steps.level[n])
        current = streams.at(level, diffusivity)
        now = current.stream
        if current is not last:
            march.settle(now.volume)
            if last is not None or before is not None:
                march.drain(volume, now.volume)
                if soak is not None:
                    soak.drain(volume, now.volume)
            volume, last = now.volume, current
        for share, masses in laid.over:
            march.mass += share[:, None] * (masses * ((1.0 - missed) / effort.steps))
        scale = level / current.level * passing
        march.carry(now, step, scale)
        if soak is not None:
            soak.carry(now, step, scale)
        passed += caught / effort.steps * passing
        if pool is not None:
            beside_it = melt.mass / WATER_DENSITY * missed / effort.steps
            pool.gather(march, caught / effort.steps * passing + beside_it)
            for _, masses in laid.over:
                pool.pour(masses * missed / effort.steps)
        if n in blocks:
            waits, flowed = steps.together(blocks[n])
            spreads = current.spreading(flowed / waits / current.level * passing)
            _settle_in(march, spec, Wet(volume, passed / water), spreads, waits, pool, soak)
        observer(stage, n + 1, effort.steps)
    return Wet(volume, passed / water)


def _settle_in(
    march: March,
    spec: Round,
    wet: Wet,
    spreads: Spreading,
    seconds: float,
    pool: Pool | None,
    soak: Soak | None,
) -> None:
    """Fix, hydrolyse and spread in the cold, amid some steps of flow."""
    fixing, spoiling, pace = _rates(march, spec, wet.pores, COLD, wet.volume, soak)
    march.react(wet.volume, fixing, spoiling, seconds, pace)
    march.spread(wet.volume, spreads, seconds)
    if soak is not None:
        soak.spread(wet.volume, spreads, seconds)
    if pool is not None:
        _stand(pool, march, spec, wet.pores, COLD, float(wet.volume.sum()), seconds)


def _stand(
    pool: Pool,
    march: March,
    spec: Round,
    pores: float,
    temperature: float,
    water: float,
    seconds: float,
) -> None:
    """Let the bundle stand in its liquor, which holds the soda that the melt washed out."""
    pool.exchange(march, seconds)
    spoiling = liquor_rates(march, spec, pores, temperature, water, pool.volume)
    pool.react(spoiling, seconds)


def liquor_rates(
    march: March, spec: Round, pores: float, temperature: float, water: float, volume: float
) -> Floats:
    """Rates (K,) [1/s] at which dye hydrolyses in liquor with the soda that was washed out.

    Parameters
    ----------
    pores : float
        Volumes of water that have passed, over ``water``, which the bundle holds [m3].
    volume : float
        Of the liquor [m3].
    """
    loose = (1.0 - march.constants.soda_held) * float(-np.expm1(-pores))
    strength = spec.soda.strength * loose * water / max(volume, water)
    fixing = chemistry.fixing_rates(march.species, strength, temperature, march.constants)
    return chemistry.hydrolysis_rates(fixing, march.species, march.constants)


def _rates(
    march: March,
    spec: Round,
    pores: float,
    temperature: float,
    volume: Floats,
    soak: Soak | None,
) -> tuple[Floats, Floats, Floats | None]:
    """Rates (K,) [1/s] of fixing and of hydrolysis, and each cell's pace where soda is uneven."""
    held = march.constants.soda_held
    strength = spec.soda.strength * (held + (1.0 - held) * float(np.exp(-pores)))
    pace = None
    if soak is not None:
        strength, pace = PLAIN, soak.pace(volume, temperature)
    fixing = chemistry.fixing_rates(march.species, strength, temperature, march.constants)
    return fixing, chemistry.hydrolysis_rates(fixing, march.species, march.constants), pace


def batch_edges(seconds: float, effort: Effort) -> Floats:
    """Cut the batching time into steps, short ones first: (effort.batch + 1,) [s]."""
    return np.asarray(seconds * np.linspace(0.0, 1.0, effort.batch + 1) ** 1.5)


def batch_stage(
    march: March,
    wet: Wet,
    net: Network,
    streams: Streams,
    spec: Round,
    cloth: Cloth,
    bundle: Bundle,
    effort: Effort,
    observer: Observer,
    pool: Pool | None = None,
    soak: Soak | None = None,
) -> None:
    """Drain, warm up and fix for the batching time."""
    # drained: the suction of each cell is its height over the lowest one
    level = np.ones(cloth.size)
    drained = water_held(level, net, cloth, bundle, 0.0, march.constants)
    volume = wet.volume
    rest = np.minimum(drained, volume)
    if pool is not None:  # what stands in liquor keeps its water
        rest = rest + (volume - rest) * pool.covers
    still = streams.still(rest)
    found = joints(still, net, cloth)
    march.drain(volume, rest)
    if soak is not None:
        soak.drain(volume, rest)
    if pool is not None:
        pool.gather(march, float((volume - rest).sum()))
    steps = _waits(spec, effort, march.constants)
    for n, now in enumerate(steps):
        fixing, hydrolysing, pace = _rates(march, spec, 99.0, now.temperature, rest, soak)
        if not wet.pores:  # no melt has passed: powder dissolves in the cloth's own water
            march.carry(still, now.seconds)
        march.react(rest, fixing * now.active, hydrolysing * now.active, now.seconds, pace)
        if n % 2 == 0:  # spread once for two steps, between their reactions
            seconds, diffusivity = _both(steps[n : n + 2], march.moving)
            spreads = diffusion(still, net, cloth, diffusivity, march.constants, found)
            march.spread(rest, spreads, seconds)
            if soak is not None:
                soak.spread(rest, spreads, seconds)
        if pool is not None:
            water, wetly = float(rest.sum()), now.seconds * now.active
            _stand(pool, march, spec, wet.pores, now.temperature, water, wetly)
        observer(BATCH, n + 1, effort.batch)


@dataclass(frozen=True)
class _Wait:
    """One step of the batching time."""

    seconds: float
    temperature: float  # [K]
    active: float  # share of the pace of a bundle that is still wet


def _waits(spec: Round, effort: Effort, constants: Constants) -> list[_Wait]:
    """Cut the batching time: the bundle warms up, and dries if it lies open."""
    edges = batch_edges(spec.batch_time, effort)
    middle = 0.5 * (edges[:-1] + edges[1:])
    warm = spec.batch_temperature - (spec.batch_temperature - COLD) * np.exp(
        -middle / constants.warming
    )
    opened = spec.batch_cover == "open"
    active = np.exp(-middle / constants.drying) if opened else np.ones(middle.size)
    return [
        _Wait(float(step), float(temperature), float(share))
        for step, temperature, share in zip(np.diff(edges), warm, active, strict=True)
    ]


def _both(steps: list[_Wait], moving: tuple[Component, ...]) -> tuple[float, float]:
    """Seconds of spreading in some steps, and the mean diffusivity over them [m2/s]."""
    seconds = [step.seconds * step.active for step in steps]
    far = [
        each * diffusivity_at(moving, step.temperature)
        for each, step in zip(seconds, steps, strict=True)
    ]
    return sum(seconds), sum(far) / max(sum(seconds), 1e-300)
