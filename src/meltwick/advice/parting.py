"""From a split test to a dye whose components travel each in its own way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import least_squares

from meltwick.advice.swatching import darkness
from meltwick.colour.difference import delta_e00
from meltwick.colour.look import colours
from meltwick.types import Component, Dye, Fabric, Floats

_FLAT = (0.007, 0.014, 0.028)  # [kg/kg] on the fibre, at which the flat colour is kept
_COLOUR, _SHARE, _STRENGTH = 0.7, 0.12, 0.7  # how far each may go; chosen
_RATIO = 8.0  # of two components' hold, beyond which a test is not believed; chosen
ALIKE = 1.1  # ratio of two reaches below which they count as the same; chosen


@dataclass(frozen=True)
class Part:
    """One component as a test shows it."""

    component: Component  # what it is coloured like
    share: float
    reach: float  # any unit


@dataclass(frozen=True)
class Parted:
    """A dye after its split test."""

    dye: Dye
    shares: tuple[float, ...]  # in the order of the parts given
    hold: tuple[float, ...]  # how hard each holds on, over the one that went furthest
    residual: float  # the most Delta E 2000 to the flat colour that the dye had before


def _mean(values: Sequence[tuple[float, float]]) -> float:
    """Geometric mean of (value, share)."""
    total = sum(share for _, share in values)
    return float(np.exp(sum(share * np.log(value) for value, share in values) / total))


def learn_split(dye: Dye, parts: Sequence[Part], fabric: Fabric) -> Parted:
    """Give a dye the components of its split test.

    A component's front moves as the water's over 1 + hold, hold being dye on the fibre over dye
    in the water, so the areas covered are as 1 / hold where dye holds on hard (retardation;
    linear isotherm). Only the ratios are known: their mean, weighted by share, stays what it was.
    Strike and diffusivity stay the dye's own mean, since a component may also lag because it
    fixes faster.

    Shares and strength bend, as far as a test is unsure, so that the flat colour stays.

    Parameters
    ----------
    dye : Dye
        As it was, with its flat colour.
    parts : sequence of Part
        From the test; two or more.
    fabric : Fabric
        The swatch's cloth.

    Returns
    -------
    Parted
    """
    species = [part.component for part in parts]
    seen = np.array([part.share for part in parts])
    before = [(component, share) for component, share in dye.parts]
    depth = np.array(_FLAT)
    wish = colours(
        [part for part, _ in before], depth[:, None] * np.array([s for _, s in before]), fabric
    )

    def lab(shares: Floats, strength: float) -> Floats:
        return colours(species, strength * depth[:, None] * shares, fabric)

    def misfit(numbers: Floats) -> Floats:
        shares = np.abs(numbers[:-1]) / np.abs(numbers[:-1]).sum()
        out: Floats = np.concatenate(
            [
                ((lab(shares, float(np.exp(numbers[-1]))) - wish) / _COLOUR).ravel(),
                (shares - seen) / _SHARE,
                [numbers[-1] / _STRENGTH],
            ]
        )
        return out

    found = least_squares(misfit, np.append(seen, 0.0), max_nfev=200).x
    shares = np.abs(found[:-1]) / np.abs(found[:-1]).sum()
    strength = float(np.exp(found[-1]))
    area = np.array([part.reach for part in parts]) ** 2
    hold = np.clip(area.max() / area, 1.0, _RATIO)
    kd = _mean([(c.kd, s) for c, s in before])
    hold_mean = _mean(list(zip(hold.tolist(), shares.tolist(), strict=True)))
    made = [
        Component(
            name=f"{dye.name}, part {number}",
            bands=tuple((p, w, float(f"{min(strength * h, 50.0):.4g}")) for p, w, h in like.bands),
            kd=float(np.clip(kd * each / hold_mean, 1e-5, 0.1)),
            strike=_mean([(c.strike, s) for c, s in before]),
            diffusivity=_mean([(c.diffusivity, s) for c, s in before]),
            note=f"from a split test; coloured like {like.name}",
        )
        for number, (like, each) in enumerate(zip(species, hold.tolist(), strict=True), start=1)
    ]
    mixed = tuple(zip(made, shares.tolist(), strict=True))
    after = replace(dye, parts=mixed, dark=round(darkness(mixed, fabric), 2), splitting_known=True)
    residual = float(delta_e00(lab(shares, strength), wish).max())
    return Parted(after, tuple(shares.tolist()), tuple(hold.tolist()), residual)


def one_dye(dye: Dye) -> Dye:
    """Return a dye that a test showed not to part: its components all travel alike."""
    kd = _mean([(c.kd, s) for c, s in dye.parts])
    strike = _mean([(c.strike, s) for c, s in dye.parts])
    pace = _mean([(c.diffusivity, s) for c, s in dye.parts])
    if len(dye.parts) == 1:
        return replace(dye, splitting_known=True)
    parts = tuple(
        (
            Component(
                f"{dye.name}, part {number}", part.bands, kd, strike, pace,
                f"from a split test, in which it does not part; coloured like {part.name}",
            ),
            share,
        )
        for number, (part, share) in enumerate(dye.parts, start=1)
    )  # fmt: skip
    return replace(dye, parts=parts, splitting_known=True)
