"""Dye powder: who gets how much of it, under the ice or over it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meltwick import chance
from meltwick.constants import Constants
from meltwick.seep.ice import sides
from meltwick.types import Bundle, Component, Dye, FixedDye, Floats, Patch, Powder, Sector

EDGE = 0.012  # [m] over which a sprinkled zone fades out; chosen
SPRINKLE = 0.025  # [m] between the heavy and the light places of a shaking hand; chosen


@dataclass(frozen=True)
class Laid:
    """Powder on the bundle, N cells and K species."""

    species: tuple[Component, ...]
    under: Floats  # (N, K) [kg] on the cloth, below the ice
    over: tuple[tuple[Floats, Floats], ...]  # each: share of a cell (N,), masses (K,) [kg]
    solubility: Floats  # (K,) [kg/m3]
    laid: float  # [kg]


def side_by_side(laid: list[Laid]) -> Laid:
    """Put the powder of several bundles together, cells after cells."""
    if len(laid) == 1:
        return laid[0]
    sizes = [len(each.under) for each in laid]
    starts = np.cumsum([0, *sizes])
    over = []
    for each, start in zip(laid, starts, strict=False):
        for share, masses in each.over:
            whole = np.zeros(int(starts[-1]))
            whole[start : start + share.size] = share
            over.append((whole, masses))
    return Laid(
        species=laid[0].species,
        under=np.concatenate([each.under for each in laid]),
        over=tuple(over),
        solubility=np.max([each.solubility for each in laid], axis=0),
        laid=sum(each.laid for each in laid),
    )


def species_of(dyes: tuple[Dye, ...]) -> tuple[Component, ...]:
    """Every component of the dyes once, in order of appearance."""
    seen: dict[str, Component] = {}
    for dye in dyes:
        for part, _ in dye.parts:
            seen.setdefault(part.name, part)
    return tuple(seen.values())


def underneath(start: FixedDye | None, species: tuple[Component, ...], cells: int) -> FixedDye:
    """Dye on the cloth before the first round, with room for every component of the plan.

    Raises
    ------
    ValueError
        The dye is not that of so many cells.
    """
    if start is None:
        return FixedDye(species, np.zeros((cells, len(species))))
    if start.amount.shape != (cells, len(start.species)):
        raise ValueError(f"dye of shape {start.amount.shape} lies on a cloth of {cells} cells")
    have = {part.name for part in start.species}
    more = tuple(part for part in species if part.name not in have)
    return FixedDye(start.species + more, np.hstack([start.amount, np.zeros((cells, len(more)))]))


def lay(
    bundle: Bundle,
    powders: tuple[Powder, ...],
    dyes: tuple[Dye, ...],
    species: tuple[Component, ...],
    seed: int,
    round_number: int,
    constants: Constants,
) -> Laid:
    """Sprinkle each powder on its zone, on the upper side or another.

    Under the ice it lies in clumps on what faces its way; over the ice it arrives with the melt.
    Components dissolve side by side, each at most at its share of the jar's solubility.
    """
    by_name = {dye.name: dye for dye in dyes}
    number = {part.name: k for k, part in enumerate(species)}
    cells = bundle.height.size
    under = np.zeros((cells, len(species)))
    over: list[tuple[Floats, Floats]] = []
    solubility = np.zeros(len(species))
    for n, powder in enumerate(powders):
        dye = by_name[powder.dye]
        what = "turned powder" if powder.turned else "powder"
        code = chance.key(seed, f"{what} {n}", round_number)
        zone = _zone(bundle, powder.zone)
        masses = np.zeros(len(species))
        for part, share in dye.parts:
            k = number[part.name]
            masses[k] += powder.mass * share
            solubility[k] = max(solubility[k], dye.solubility * share)
        grain = _facing(bundle, powder.side) * (1.0 - bundle.covered) * zone
        if powder.place is not None:
            grain = grain * _within(bundle, powder.place)
        if powder.over_ice:
            soft = chance.smooth_field(code, bundle.along, bundle.across, SPRINKLE)
            grain = grain * np.exp(0.4 * soft)
        else:
            grain = grain * _clumps(bundle, code, constants.grain)
        total = float(grain.sum())
        if total <= 0.0:
            continue
        if powder.over_ice:
            over.append((np.asarray(grain / total), masses))
        else:
            under += (grain / total)[:, None] * masses
    laid = float(under.sum()) + sum(float(masses.sum()) for _, masses in over)
    return Laid(species, under, tuple(over), solubility, laid)


def _zone(bundle: Bundle, zone: tuple[float, float]) -> Floats:
    """1 inside the zone along the incline, fading over a hand's width of error."""
    place = bundle.along
    low, high = zone[0] * bundle.length, zone[1] * bundle.length
    if zone[0] <= 0.0:
        low = -1.0
    if zone[1] >= 1.0:
        high = bundle.length + 1.0
    return np.asarray(
        1.0
        / (1.0 + np.exp(-(place - low) / (EDGE / 4.0)))
        * (1.0 / (1.0 + np.exp((place - high) / (EDGE / 4.0))))
    )


def _facing(bundle: Bundle, side: str) -> Floats:
    """Share of each cell that a powder reaches from its side."""
    if side == "sides":
        return sides(bundle)
    if side == "underneath":
        return np.zeros_like(bundle.upward) if bundle.downward is None else bundle.downward
    return bundle.exposed if side == "all round" else bundle.upward


def _within(bundle: Bundle, place: Sector | Patch) -> Floats:
    """1 inside a slice or a patch seen from above, fading over a hand's width of error."""
    middle = 0.5 * (bundle.across.min() + bundle.across.max())
    right = bundle.across - middle
    if isinstance(place, Patch):
        up = bundle.along - place.up * bundle.length
        inside = place.radius - np.hypot(up, right - place.right)
    else:
        up = bundle.along - 0.5 * (bundle.along.min() + bundle.along.max())
        half = np.pi * (place.last - place.first)
        off = np.arctan2(right, up) - np.pi * (place.first + place.last)
        off = np.abs((off + np.pi) % (2.0 * np.pi) - np.pi)
        # distance from the nearer of the slice's two edges, in it more than nought
        inside = np.hypot(up, right) * np.sin(np.clip(half - off, -0.5 * np.pi, 0.5 * np.pi))
    return np.asarray(1.0 / (1.0 + np.exp(np.clip(-inside / (EDGE / 4.0), -60.0, 60.0))))


def _clumps(bundle: Bundle, code: np.uint64, grain: float) -> Floats:
    """Sprinkle a powder: heavy and light places, and clumps the size of a pinch."""
    hand = chance.smooth_field(code, bundle.along, bundle.across, SPRINKLE)
    fine = chance.smooth_field(code ^ np.uint64(0x5BD1E995), bundle.along, bundle.across, grain)
    return np.asarray(np.exp(0.5 * hand + 1.1 * fine))
