"""A bundle without a pole, put down: pleats up, flat, or as a spiral's disc."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from functools import partial

import numpy as np

from meltwick import binding, stacking
from meltwick.bundle import peaks
from meltwick.bundle.faces import Face, edges_of, film_of, spread_of
from meltwick.bundle.pole import BARE_PRESSURE
from meltwick.bundle.rims import rim_of, side_by_side
from meltwick.bundle.rope import lay_rope
from meltwick.bundle.ties import Tied, tie_flat
from meltwick.constants import Constants
from meltwick.folding import Disc, Stack
from meltwick.folding.stack import SUBS, per_cell
from meltwick.stacking import Stacked
from meltwick.types import Bundle, Cloth, Floats, Ints, Round


@dataclass(frozen=True)
class Lying:
    """How points lie on a level table; P points."""

    along: Floats  # [m] from the end that an incline makes the low one
    across: Floats  # [m]
    height: Floats  # [m] over the table
    up: Floats  # share of the point that shows from above
    down: Floats  # from below
    side: Floats  # from the sides
    depth: Floats  # [m] of bundle between the point and the nearest outside
    faces: tuple[Face, ...]
    skin: tuple[tuple[Ints, Floats], ...] = ()  # pairs of cells side by side, and their weights
    level: Floats | None = None  # [m] across a pile's face; ``along`` is the other way over it


_Put = tuple[Lying, Stacked, Ints, Floats]
"""How a bundle lies, what lies on what in it, its contacts and their areas [m2]."""


def lay_down(
    cloth: Cloth,
    stack: Stack,
    spec: Round,
    neatness: float,
    seed: int,
    constants: Constants,
    round_number: int,
) -> Bundle:
    """Tie a flat or a twisted stack and put it on its rack.

    Parameters
    ----------
    cloth : Cloth
        N cells.
    stack : Stack
        Without a pole.
    spec : Round
        Tie, how it lies, incline.
    """
    if stack.rope:
        return _rope(cloth, stack, spec, neatness, seed, constants, round_number)
    thin = binding.stack_thickness(cloth.fabric, BARE_PRESSURE, constants)
    put: Callable[..., _Put]
    if stack.disc:
        put = _disc
    elif stack.peaks:
        put = _peaked
    else:
        put = partial(_pile, piled=_pile_up(cloth, stack))
    for _ in range(2):  # the tie presses the stack thinner, and a thin stack is pressed harder
        lying, found, contacts, areas = put(cloth, stack, spec, thin)
        tied = tie_flat(
            cloth, stack, lying, spec, thin, neatness, seed, constants, round_number, found
        )
        if stack.disc or tied.thickness == thin:
            break
        thin = tied.thickness
    film, film_width = film_of(lying.faces, lying.skin, stack.cell, cloth, thin)
    film, film_width = _open_film(film, film_width, stack, tied, cloth.size)
    return _gather(cloth, stack, spec, lying, tied, found, contacts, areas, film, film_width)


def _rope(
    cloth: Cloth,
    stack: Stack,
    spec: Round,
    neatness: float,
    seed: int,
    constants: Constants,
    round_number: int,
) -> Bundle:
    """Twist a gathered pile, tie it and lay it on its rack."""
    thin = binding.stack_thickness(cloth.fabric, BARE_PRESSURE, constants)
    flat, piled = replace(spec, lies="flat"), _pile_up(cloth, stack)
    for _ in range(2):
        lying, found, contacts, areas = _pile(cloth, stack, flat, thin, piled)
        laid = lay_rope(cloth, stack, lying, thin)
        tied = tie_flat(
            cloth, stack, laid.lying, spec, thin, neatness, seed, constants, round_number, found
        )
        mean = float(laid.pressure.mean())
        thin = min(tied.thickness, binding.stack_thickness(cloth.fabric, mean, constants))
    tied = replace(tied, pressure=tied.pressure + laid.pressure)
    contacts, areas = stacking.merge_pairs(
        np.concatenate([contacts, laid.pairs]), np.concatenate([areas, laid.area]), cloth.size
    )
    film, width = film_of(laid.lying.faces, laid.lying.skin, stack.cell, cloth, thin)
    twisted = replace(stack, strain99=max(stack.strain99, laid.strain))
    return _gather(cloth, twisted, spec, laid.lying, tied, found, contacts, areas, film, width)


def _gather(
    cloth: Cloth,
    stack: Stack,
    spec: Round,
    lying: Lying,
    tied: Tied,
    found: Stacked,
    contacts: Ints,
    areas: Floats,
    film: Ints,
    film_width: Floats,
) -> Bundle:
    """Bring points together in their cells, and tilt the rack."""
    outside = np.minimum(1.0, lying.up + lying.down + lying.side)
    mean = partial(per_cell, stack, cells=cloth.size)
    shut = tied.covered if tied.sealed else np.zeros_like(outside)
    shown, pressure = mean(outside), mean(tied.pressure)
    exposed = mean(outside * (1.0 - shut)) if tied.sealed else shown
    loose = cloth.fabric.solid
    solid = binding.solid_under(pressure, loose, tied.constants)
    height = lying.along * np.sin(spec.incline) + lying.height * np.cos(spec.incline)
    return Bundle(
        contacts=contacts,
        contact_area=areas,
        film=film,
        film_width=film_width,
        exposed=exposed,
        upward=mean(np.minimum(1.0, lying.up) * (1.0 - shut)),
        downward=mean(np.minimum(1.0, lying.down) * (1.0 - shut)),
        covered=_covered(mean(outside * tied.covered), shown, exposed, tied.sealed),
        along=mean(lying.along),
        across=mean(lying.across),
        height=mean(height),
        depth=mean(lying.depth),
        layers=mean(found.layers),
        pressure=pressure,
        solid=solid,
        thickness=cloth.thickness * loose / solid,
        length=float(lying.along.max()),
        strain99=stack.strain99,
    )


def _covered(under: Floats, shown: Floats, exposed: Floats, sealed: bool) -> Floats:
    """Share of a cell's outside under a tie; what is sealed is covered whole, and outside no more.

    Parameters
    ----------
    under, shown, exposed : ndarray of shape (N,)
        Share of the cell that is outside and covered, outside, and outside with no seal on it.
    """
    if sealed:
        return np.asarray((under > 0.0) & (exposed <= 0.0)).astype(np.float64)
    return np.asarray(under / np.maximum(shown, 1e-12))


def _open_film(
    film: Ints, width: Floats, stack: Stack, tied: Tied, cells: int
) -> tuple[Ints, Floats]:
    """Leave out the film that would run under a seal."""
    if not tied.sealed:
        return film, width
    shut = per_cell(stack, tied.covered, cells)
    left = width * (1.0 - np.maximum(shut[film[:, 0]], shut[film[:, 1]]))
    return film[left > 0.0], left[left > 0.0]


@dataclass(frozen=True)
class _Piled:
    """A stack turned so that its pleats lie across, and what lies on what in it."""

    u: Floats  # (P,) [m] across the pleats
    v: Floats  # (P,) [m] along the creases
    found: Stacked
    skin: tuple[tuple[Ints, Floats], ...]


def _pile_up(cloth: Cloth, stack: Stack) -> _Piled:
    angle = stack.pleated or 0.0
    u = stack.p * np.cos(angle) + stack.q * np.sin(angle)
    v = stack.q * np.cos(angle) - stack.p * np.sin(angle)
    turned = replace(stack, p=u, q=v)
    bins = stacking.columns(turned, cloth.pitch, 1.0)
    found = stacking.stack_up(turned, bins, cloth.size)
    shown = (found.top, found.bottom)
    skin = tuple(stacking.column_film(points, stack.cell, bins) for points in shown)
    return _Piled(u, v, found, skin)


def _pile(cloth: Cloth, stack: Stack, spec: Round, thin: float, piled: _Piled) -> _Put:
    """Lay pleats on edge, or any stack flat."""
    pleats_up = spec.lies != "flat" and stack.pleated is not None
    u, v, found, skin = piled.u, piled.v, piled.found, piled.skin
    step = cloth.pitch / SUBS
    rank = found.from_inside * thin
    top = (found.from_outside == 0.0).astype(np.float64)
    low = (found.from_inside == 0.0).astype(np.float64)
    bend = stack.bend if stack.bend is not None else np.zeros(u.size)
    near, far = edges_of(u, v, step)
    first, last = edges_of(v, u, step)
    ends = np.where(near[0] | far[0], 0.0, bend)
    low_end, high_end = ends * last[0], ends * (first[0] & ~last[0])
    rise, fall = bend * far[0], bend * (near[0] & ~far[0])
    to_sides = np.minimum(
        np.minimum(u - near[1], far[1] - u), np.minimum(v - first[1], last[1] - v)
    )
    to_faces = np.minimum(found.from_outside, found.from_inside) * thin
    depth = np.maximum(0.0, np.minimum(to_faces, to_sides))
    over_u, over_v = spread_of(u, step), spread_of(v, step)
    faces = (
        Face(rise, over_v, rank, stack.order, v, step),
        Face(fall, over_v, rank, stack.order, v, step),
        Face(low_end, over_u, rank, stack.order, u, step),
        Face(high_end, over_u, rank, stack.order, u, step),
    )
    along = v.max() - v
    level = u - u.min()
    if pleats_up:
        lying = Lying(
            along, rank, level, rise, fall, top + low + low_end + high_end, depth, faces, skin
        )
    else:
        sides = rise + fall + low_end + high_end
        lying = Lying(along, level, rank, top, low, sides, depth, faces, skin)
    lying = replace(lying, level=level)
    return lying, found, found.contacts, found.contact_area


def _peaked(cloth: Cloth, stack: Stack, spec: Round, thin: float) -> _Put:
    """Lay cloth with tied peaks flat."""
    laid, found = peaks.put(cloth, stack, thin)
    lying = Lying(**{field.name: getattr(laid, field.name) for field in fields(laid)})
    return lying, found, found.contacts, found.contact_area


def _disc(cloth: Cloth, stack: Stack, spec: Round, thin: float) -> _Put:
    """Lay a spiral's disc on its table, the side that faced up upwards."""
    disc = stack.disc
    assert disc is not None
    assert stack.bend is not None
    step = cloth.pitch / SUBS
    places = int(np.ceil(stack.p.max() / step)) + 3
    apart = replace(stack, p=stack.p + disc.rib * (places * step))
    bins = stacking.columns(apart, cloth.pitch, 1.0)
    found = stacking.stack_up(apart, bins, cloth.size)
    pairs, areas = _between_ribs(stack, disc, found, bins, places, step)
    if disc.owner is not None:
        beside, shared = side_by_side(stack, disc, step)
        pairs, areas = np.concatenate([pairs, beside]), np.concatenate([areas, shared])
    contacts, area = stacking.merge_pairs(
        np.concatenate([found.contacts, pairs]),
        np.concatenate([found.contact_area, areas]),
        cloth.size,
    )
    above = stack.q > 0.5 * disc.roof
    angle = np.arctan2(disc.down, disc.across)
    skin, rim = rim_of(disc, angle, stack.q)
    up, down = stack.bend * above, stack.bend * ~above
    depth = np.minimum(np.minimum(disc.roof - stack.q, stack.q), rim)
    line, flank = spread_of(disc.radius, step), stack.order + disc.rib * (stack.layers + 1)
    ring = disc.radius.min() + (line + 0.5) * step  # one length for all that lie on a ring
    level = spread_of(stack.q, step)
    seen = (angle, np.mod(angle, 2.0 * np.pi))  # cut at two places, so that the ring is whole
    faces = tuple(
        Face(share, line, ring * turn, flank, stack.p, step, weight=0.5)
        for share in (up, down)
        for turn in seen
    ) + tuple(
        Face(skin, level, disc.reach * turn, flank, stack.q, step, weight=0.5) for turn in seen
    )
    lying = Lying(
        along=disc.down.max() - disc.down,
        across=disc.across,
        height=stack.q,
        up=up,
        down=down,
        side=skin,
        depth=np.maximum(0.0, depth),
        faces=faces,
    )
    rosettes = 1 if disc.middles is None else len(disc.middles)
    round_it = replace(found, layers=found.layers * (disc.ribs / rosettes))
    return lying, round_it, contacts, area


def _between_ribs(
    stack: Stack, disc: Disc, found: Stacked, bins: stacking.Columns, places: int, step: float
) -> tuple[Ints, Floats]:
    """Join the last flank of each rib with the first of the next, where the coil lays them."""
    columns = np.flatnonzero(found.top >= 0)
    across, down = columns // bins.down, columns % bins.down
    rib, place = across // places, across % places
    other = np.rint((place + 0.5) * disc.step_back[rib] - 0.5).astype(np.int64)
    after = (np.arange(disc.ribs) + 1) % disc.ribs if disc.after is None else disc.after
    target = (after[rib].astype(np.int64) * places + other) * bins.down + down
    inside = (other < places) & (target < found.bottom.size)
    here = found.top[columns[inside]]
    there = found.bottom[target[inside]]
    both = there >= 0
    pairs = np.column_stack([stack.cell[here[both]], stack.cell[there[both]]])
    apart = pairs[:, 0] != pairs[:, 1]
    pairs = pairs[apart].astype(np.int32)
    return pairs, np.full(len(pairs), step * step)
