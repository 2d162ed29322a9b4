"""A bundle on a pole: rings of string, shingled pleats, a round outside."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np

from meltwick import binding, stacking
from meltwick.constants import Constants
from meltwick.folding import Stack
from meltwick.folding.stack import per_cell
from meltwick.types import Bundle, Cloth, Floats, Round, StringTie

BARE_PRESSURE = 500.0  # [Pa] of cloth that lies under its own folds only; chosen
LOOSE_RINGS = 0.03  # [m] between creases that no string holds; chosen


@dataclass(frozen=True)
class _Squeezed:
    """What a tie does to every point."""

    pressure: Floats
    covered: Floats
    thickness: float


def lay_on_pole(cloth: Cloth, stack: Stack, spec: Round, constants: Constants) -> Bundle:
    """Tie cloth that is wrapped round a pole, and rest the pole at its incline.

    Parameters
    ----------
    cloth : Cloth
        N cells.
    stack : Stack
        Wrapped.
    spec : Round
        Tie and incline.
    """
    tie = spec.tie if isinstance(spec.tie, StringTie) else None
    spacing = tie.spacing if tie else LOOSE_RINGS
    loose = cloth.fabric.thickness
    wall_guess = stack.radius + 0.5 * loose * (stack.deep or stack.layers)
    columns = stacking.columns(stack, cloth.pitch, wall_guess)
    found = stacking.stack_up(stack, columns, cloth.size)
    squeezed = _tie(stack, found, tie, spacing, cloth, constants)
    radius = stack.radius + _spiral(stack, found) * squeezed.thickness
    sine, cosine = np.sin(spec.incline), np.cos(spec.incline)
    height = stack.p * sine + radius * np.cos(stack.q) * cosine
    outside = found.exposed
    up = outside * np.maximum(0.0, np.cos(stack.q))
    down = outside * np.maximum(0.0, -np.cos(stack.q))
    mean = partial(per_cell, stack, cells=cloth.size)
    exposed = mean(outside)
    pressure = mean(squeezed.pressure)
    solid = binding.solid_under(pressure, cloth.fabric.solid, constants)
    return Bundle(
        contacts=found.contacts,
        contact_area=found.contact_area,
        film=found.film,
        film_width=found.film_width,
        exposed=exposed,
        upward=mean(up),
        downward=mean(down),
        covered=mean(outside * squeezed.covered) / np.maximum(exposed, 1e-12),
        along=mean(stack.p),
        across=mean(radius * np.sin(stack.q)),
        height=mean(height),
        depth=mean(found.from_outside) * squeezed.thickness,
        layers=mean(found.layers),
        pressure=pressure,
        solid=solid,
        thickness=cloth.thickness * cloth.fabric.solid / solid,
        length=float(stack.p.max()),
        strain99=stack.strain99,
    )


def _spiral(stack: Stack, found: stacking.Stacked) -> Floats:
    """Layers below each point, with the part of a turn that a spiral has risen since its seam.

    Counting layers alone makes a step where one turn becomes the next; a roll has none.
    """
    if stack.deep:
        return found.from_inside
    turns = np.maximum(found.layers / (stack.flat * stack.squeeze), 1.0)
    rise = (stack.q / (2.0 * np.pi) - 0.5) / turns
    return np.asarray(found.from_inside * (1.0 + rise))


def _tie(
    stack: Stack,
    found: stacking.Stacked,
    tie: StringTie | None,
    spacing: float,
    cloth: Cloth,
    constants: Constants,
) -> _Squeezed:
    """Pressure and cover; the compressed thickness feeds back into the radius once."""
    points = stack.p.size
    if tie is None:
        pressure = np.full(points, BARE_PRESSURE)
        thin = binding.stack_thickness(cloth.fabric, BARE_PRESSURE, constants)
        return _Squeezed(pressure, np.zeros(points), thin)
    thin = cloth.fabric.thickness
    layers = found.layers
    ring = stack.ring if stack.ring is not None else np.zeros(points)
    gap = stack.gap if stack.gap is not None else np.full(points, spacing)
    for _ in range(2):
        radius = stack.radius + layers * thin
        mean = binding.hoop_pressure(tie.pull, float(radius.mean()), spacing)
        mean = 2.0 * mean if tie.crossed else mean
        thin = binding.stack_thickness(cloth.fabric, mean, constants)
    centre = ring + 0.5 * tie.thickness  # the string lies just below the next crest
    deep = found.from_outside * thin
    if tie.crossed:
        return _crossed(stack, centre, gap, deep, radius, tie, thin)
    pressure = BARE_PRESSURE + binding.string_pressure(
        centre, gap, deep, radius, tie.pull, tie.thickness
    )
    near = np.minimum(centre, np.abs(gap - centre))
    covered = (near < 0.5 * tie.thickness).astype(np.float64)
    return _Squeezed(pressure, covered, thin)


def _crossed(
    stack: Stack,
    centre: Floats,
    gap: Floats,
    deep: Floats,
    radius: Floats,
    tie: StringTie,
    thin: float,
) -> _Squeezed:
    """Wind string there and back: each helix climbs one gap a turn, one either way.

    ``centre`` is the place of a ring of string, at the pole's top [m] from the crest below.
    """
    pressure = np.full(stack.p.size, BARE_PRESSURE)
    covered = np.zeros(stack.p.size)
    for hand in (1.0, -1.0):
        place = centre - hand * gap * stack.q / (2.0 * np.pi)
        pressure += binding.string_pressure(place, gap, deep, radius, tie.pull, tie.thickness)
        near = np.abs(place - gap * np.round(place / gap))
        covered = np.maximum(covered, near < 0.5 * tie.thickness)
    return _Squeezed(pressure, covered.astype(np.float64), thin)
