"""A photographed split test: which components a powder parts into, and how far each travelled.

Powder was sprinkled on wet, soda-soaked white cloth. Around each place where it lay the colour
changes outwards, as a drop parts on blotting paper. The halo is cut into rings by distance from
where the powder lay; each ring's colour is unmixed into known components.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
from scipy import ndimage

from meltwick.colour.adaptation import cones_to_xyz, to_cones, white_in_cones
from meltwick.colour.difference import delta_e00
from meltwick.colour.kubelka import absorption
from meltwick.colour.spectra import strengths, undyed
from meltwick.colour.standard import to_lab, to_xyz
from meltwick.colour.unmixing import dyed_lab, eye_weights, fit_amounts
from meltwick.errors import FileError
from meltwick.photo.ground import grounds, label, log_light, lying_on, regionprops, shading_on
from meltwick.photo.reading import Photo
from meltwick.types import Component, Dye, Fabric, Flags, Floats

_RINGS = 36
_LOOK = 300_000  # pixels that are worked on
_FEW = 60  # pixels of a ring
_STAIN = 0.004  # share of the picture that a stain takes at least; chosen
_CORE = 0.6  # of the strongest colour, from which powder is taken to have lain there; chosen
_SEEN = 3.0  # [Delta E*ab] to the undyed cloth from which a ring has colour; chosen
_DARKEST = 22.0  # [L*] below it a spectrum cannot be told from the colour; chosen
_UNEVEN = 0.15  # spread of the reach over its mean, from which it is told; chosen
_MOTTLED = 15.0  # [Delta E*ab] of pixels to their ring, above which it is no halo; chosen
_MOST = 0.12  # [kg/kg] of dye on the fibre
_FROM, _TO = 0.25, 0.75  # of a component's strong amount: not there below, there above; chosen
GOOD = 2.0  # Delta E 2000 over the rings up to which one dye, or a set of them, explains; chosen
_WORTH = 0.5  # Delta E 2000 that one more component must gain; chosen
_SMALLEST = 0.04  # share of a component; less is noise. Chosen


@dataclass(frozen=True)
class Traveller:
    """One component of a powder, as a split test shows it."""

    component: Component
    share: float  # of all dye in the halo
    reach: float  # radius of the area it covers about each place [px of the file]
    profile: Floats  # (R,) amount in each ring, over the most of any [-]


@dataclass(frozen=True)
class Split:
    """What a split test shows."""

    travellers: tuple[Traveller, ...]  # the furthest first; empty where the dye is one
    misfit: float  # root mean square Delta E 2000 over the rings
    alone: float  # the same, if the dye were one that does not part
    rings: Floats  # (R,) middle distance of each ring [px of the file]
    lab: Floats  # (R, 3) colour of each ring
    count: int  # places where powder lay
    notes: tuple[str, ...]


@dataclass(frozen=True)
class _Halo:
    lab: Floats  # (R, 3)
    pixels: Floats  # (R,)
    distance: Floats  # (R,) [px]
    count: int
    uneven: float
    clipped: float


def read_split(photo: Photo, dye: Dye, known: Sequence[Component], fabric: Fabric) -> Split:
    """Measure a split test.

    Parameters
    ----------
    photo : Photo
        White cloth all round the stain; its undyed part gives white and shading.
    dye : Dye
        As it is known so far.
    known : sequence of Component
        What the powder may consist of.
    fabric : Fabric
        The cloth.

    Returns
    -------
    Split
        Without travellers where the dye as it is known explains every ring.

    Raises
    ------
    FileError
        No stain on white cloth is seen, or nothing explains its colours.
    """
    cones, step = _white_cloth(photo, fabric)
    halo = _rings(photo, cones, step)
    ground = absorption(undyed(fabric))
    weight = halo.pixels / halo.pixels.sum()
    alone = _explain(halo, ground, [_spectrum(dye)[None]], weight)[0]
    notes = _doubts(halo)
    distance = halo.distance * (photo.full[0] / photo.linear.shape[0])
    if alone.misfit <= GOOD:
        return Split((), alone.misfit, alone.misfit, distance, halo.lab, halo.count, notes)
    parts = [part for part in known if part.bands]
    best = alone
    chosen: tuple[int, ...] = ()
    for count in (1, 2, 3):
        sets = list(combinations(range(len(parts)), count))
        table = 100.0 * strengths(parts)
        found = _explain(halo, ground, [table[list(each)] for each in sets], weight)
        first = min(range(len(sets)), key=lambda n: found[n].misfit)
        gain = best.misfit - found[first].misfit
        if gain > (_WORTH if chosen or count == 1 else 0.0):
            best, chosen = found[first], sets[first]
    if not chosen:
        return Split((), alone.misfit, alone.misfit, distance, halo.lab, halo.count, notes)
    travellers = _travellers([parts[n] for n in chosen], best.amount, halo, step, photo)
    return Split(travellers, best.misfit, alone.misfit, distance, halo.lab, halo.count, notes)


# --------------------------------------------------------------------------- the stain


def _white_cloth(photo: Photo, fabric: Fabric) -> tuple[Floats, int]:
    """Return cones as in daylight, (H, W, 3), by the undyed cloth about the stain; the step."""
    height, width = photo.linear.shape[:2]
    step = max(1, int(np.ceil(np.sqrt(height * width / _LOOK))))
    high, wide = height // step * step, width // step * step
    cut = photo.linear[:high, :wide].astype(np.float64)
    small = cut.reshape(high // step, step, wide // step, step, 3).mean(axis=(1, 3))
    values = log_light(small)
    best: Flags | None = None
    for ground in grounds(values):
        light = float(np.median(values[ground].mean(axis=1)))
        darker = float(np.mean(values[~ground].mean(axis=1) < light)) if (~ground).any() else 0.0
        if darker > 0.7 and ground.mean() > 0.2:
            best = ground
            break
    if best is None:
        raise FileError(
            f"{photo.name}: no stain on white cloth is seen; photograph the split test with "
            "undyed cloth all round it"
        )
    light_at = shading_on(log_light(to_cones(small)), best, 3)
    y, x = np.mgrid[0 : small.shape[0], 0 : small.shape[1]].astype(np.float64) + 0.5
    flat = to_cones(small) / np.exp(light_at.at(x, y))
    white = np.median(flat[best], axis=0)
    known = white_in_cones(to_xyz(undyed(fabric)))
    things, hull = lying_on(best)
    stain = things & hull
    out = flat * (known / white)
    out[~hull] = known
    if stain.mean() < _STAIN:
        raise FileError(
            f"{photo.name}: the stain takes under {100 * _STAIN:.1f} % of the photograph; go nearer"
        )
    return out, step


def _rings(photo: Photo, cones: Floats, step: int) -> _Halo:
    """Cut the halo into rings by distance from where powder lay."""
    lab = to_lab(np.maximum(cones_to_xyz(cones), 1e-3))
    white = np.median(lab.reshape(-1, 3), axis=0)
    depth = ndimage.gaussian_filter(np.linalg.norm(lab - white, axis=-1), 1.5)
    strong = float(np.quantile(depth[depth > _SEEN], 0.98)) if (depth > _SEEN).any() else 0.0
    if strong < 3.0 * _SEEN:
        raise FileError(f"{photo.name}: the stain is too pale to unmix")
    stain = ndimage.binary_opening(depth > _SEEN, iterations=2)
    cores = _cores(stain, depth, strong)
    places = [core.centroid for core in cores]
    y, x = np.mgrid[0 : depth.shape[0], 0 : depth.shape[1]].astype(np.float64)
    far = np.full(depth.shape, np.inf)
    for row, column in places:
        far = np.minimum(far, np.hypot(y - row, x - column))
    reach = float(np.quantile(far[stain], 0.995))
    number = np.minimum((far / reach * _RINGS).astype(int), _RINGS)
    inside = (number < _RINGS) & ndimage.binary_dilation(stain, iterations=3)
    labs, pixels, middle, spread = [], [], [], []
    for ring in range(_RINGS):
        here = inside & (number == ring)
        count = int(np.count_nonzero(here))
        if count < _FEW // 4 or (count < _FEW and ring > 3):
            continue
        colour = to_lab(cones_to_xyz(np.median(cones[here], axis=0)))
        gap = float(np.linalg.norm(colour - white))
        if gap < _SEEN or colour[0] < _DARKEST:
            continue
        labs.append(colour)
        spread.append(float(np.median(np.linalg.norm(lab[here] - colour, axis=-1))))
        pixels.append(count)
        middle.append((ring + 0.5) * reach / _RINGS)
    if len(labs) < 5:
        raise FileError(
            f"{photo.name}: too little of a halo is seen; wait until it has spread, wash, dry, and "
            "photograph it from nearer"
        )
    if float(np.average(spread, weights=pixels)) > _MOTTLED:
        raise FileError(
            f"{photo.name}: the colours do not lie in rings round a place of powder, so it is no "
            "split test"
        )
    return _Halo(
        np.array(labs),
        np.array(pixels, dtype=np.float64),
        np.array(middle) * step,
        len(places),
        _lopsided(stain, places[0], y, x) if len(places) == 1 else 0.0,
        _clipped(photo, stain, step),
    )


def _cores(stain: Flags, depth: Floats, strong: float) -> list[Any]:
    """Return the places where powder lay: where colour is strongest, holes filled."""
    mask = ndimage.binary_closing(stain & (depth > _CORE * strong), iterations=4)
    parts = regionprops(label(ndimage.binary_fill_holes(mask)))
    largest = max(part.area for part in parts)
    return [part for part in parts if part.area > 0.2 * largest]


def _clipped(photo: Photo, stain: Flags, step: int) -> float:
    height, width = stain.shape
    small = photo.clipped[: height * step, : width * step]
    top = np.asarray(small.reshape(height, step, width, step).any(axis=(1, 3)))
    return float(top[stain].mean())


def _lopsided(stain: Flags, place: tuple[float, float], y: Floats, x: Floats) -> float:
    """Spread of the halo's reach over twelve directions, over its mean."""
    turn = np.arctan2(y - place[0], x - place[1])[stain]
    far = np.hypot(y - place[0], x - place[1])[stain]
    sector = np.floor((turn + np.pi) / (2 * np.pi) * 12).astype(int).clip(0, 11)
    reach = np.array([far[sector == n].max() if (sector == n).any() else 0.0 for n in range(12)])
    return float(reach.std() / max(float(reach.mean()), 1e-9))


def _doubts(halo: _Halo) -> tuple[str, ...]:
    said = []
    if halo.uneven > _UNEVEN:
        said.append(
            "The halo reaches further on some sides; lay the cloth level for the next test."
        )
    if halo.clipped > 0.05:
        said.append(
            f"{100 * halo.clipped:.0f} % of the stain is overexposed; photograph it darker."
        )
    return tuple(said)


# --------------------------------------------------------------------------- unmixing


@dataclass(frozen=True)
class _Explained:
    misfit: float
    amount: Floats  # (R, k)


def _spectrum(dye: Dye) -> Floats:
    """K/S of a dye per kg and kg of fibre, (31,)."""
    share = np.array([share for _, share in dye.parts])
    out: Floats = 100.0 * share @ strengths([part for part, _ in dye.parts])
    return out


def _explain(
    halo: _Halo, ground: Floats, tables: Sequence[Floats], weight: Floats
) -> list[_Explained]:
    """Unmix every ring into each set of spectra (k, 31)."""
    rings, sets = len(halo.lab), len(tables)
    table = np.repeat(np.array(tables), rings, axis=0)
    wish = np.tile(halo.lab, (sets, 1))
    amount, _ = fit_amounts(ground, table, wish, eye_weights(wish), _MOST)
    gap = delta_e00(dyed_lab(ground, table, amount), wish).reshape(sets, rings)
    misfit = np.sqrt((gap * gap) @ weight)
    split = amount.reshape(sets, rings, -1)
    return [_Explained(float(misfit[n]), split[n]) for n in range(sets)]


def _travellers(
    parts: Sequence[Component], amount: Floats, halo: _Halo, step: int, photo: Photo
) -> tuple[Traveller, ...]:
    """Say what share each component has, and how far it went, by the area it covers."""
    total = halo.pixels @ amount
    share = total / total.sum()
    scale = step * photo.full[0] / photo.linear.shape[0]
    found = []
    for n, part in enumerate(parts):
        if share[n] < _SMALLEST:
            continue
        strong = float(np.quantile(amount[:, n], 0.9))
        height = amount[:, n] / max(strong, 1e-12)
        cover = np.clip((height - _FROM) / (_TO - _FROM), 0.0, 1.0)
        outer = np.maximum.accumulate(cover[::-1])[::-1]  # what it passed through counts too
        area = float(halo.pixels @ outer) / halo.count
        profile = amount[:, n] / max(float(amount.max()), 1e-12)
        found.append(
            Traveller(part, float(share[n]), float(np.sqrt(area / np.pi)) * scale, profile)
        )
    kept = sum(each.share for each in found)
    found = [
        Traveller(each.component, each.share / kept, each.reach, each.profile) for each in found
    ]
    return tuple(sorted(found, key=lambda each: -each.reach))
