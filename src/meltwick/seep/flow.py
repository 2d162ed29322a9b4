"""One steady flow made ready for the sweep: order, inflows, water held, spreading."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meltwick.constants import Constants
from meltwick.seep.graph import Network
from meltwick.seep.kernels import route
from meltwick.types import Bundle, Cloth, Floats, Ints


@dataclass(frozen=True)
class Stream:
    """Flow at one melt level."""

    order: Ints  # (N,) cells by falling w
    start: Ints
    source: Ints
    amount: Floats
    out: Floats  # (N,) [m3/s] by edges
    leave: Floats  # (N,) [m3/s] dripping or running off
    volume: Floats  # (N,) [m3] of water
    theta: Floats  # (N,) share of the cell's volume that is water
    flow: Floats  # (E,) [m3/s]
    w: Floats  # (N,)


def water_held(
    w: Floats, net: Network, cloth: Cloth, bundle: Bundle, damp: float, constants: Constants
) -> Floats:
    """Water in each cell [m3], shape (N,).

    theta = eps (Sr + (1 - Sr) min(1, exp(alpha psi / n))), and never less than the water
    that the damp cloth brought, as far as its pores hold it.
    """
    pores = 1.0 - bundle.solid
    wet = np.minimum(1.0, w / net.bound) ** (1.0 / constants.retention_power)
    theta = pores * (constants.residual + (1.0 - constants.residual) * wet)
    brought = damp * bundle.solid * cloth.fabric.fibre_density / 1000.0
    theta = np.maximum(theta, np.minimum(brought, 0.98 * pores))
    if cloth.wets.size:
        theta = theta * cloth.wets
    return np.asarray(theta * bundle.thickness * cloth.pitch**2)


def water_share(volume: Floats, cloth: Cloth, bundle: Bundle) -> Floats:
    """Share of each cell, as thick as it is pressed, that is water (N,); ``volume`` (N,) [m3]."""
    return volume / (cloth.pitch**2 * bundle.thickness)


def stream(
    w: Floats,
    leave: Floats,
    net: Network,
    cloth: Cloth,
    bundle: Bundle,
    damp: float,
    constants: Constants,
) -> Stream:
    """Turn a head of water into flows; edges whose ends are equal to round-off carry none."""
    a, b = net.pairs[:, 0], net.pairs[:, 1]
    fall = w[a] - w[b]
    fall[np.abs(fall) <= 4e-16 * (w[a] + w[b])] = 0.0
    flow = net.conductance * fall
    order = np.argsort(-w, kind="stable").astype(np.int32)
    place = np.empty_like(order)
    place[order] = np.arange(order.size, dtype=np.int32)
    start, source, amount, out = route(net.pairs, flow, place, w.size)
    volume = water_held(w, net, cloth, bundle, damp, constants)
    theta = water_share(volume, cloth, bundle)
    return Stream(order, start, source, amount, out, leave, volume, theta, flow, w)


@dataclass(frozen=True)
class Spreading:
    """Exchange between neighbours [m3/s], apart from the flow that carries dye along."""

    along: tuple[Floats, Floats, Floats, Floats]
    """Each (N,), to the next cell of the row, the column, the falling and the rising diagonal."""
    pairs: Ints  # (X, 2) seams and contacts
    link: Floats  # (X,)

    def plus(self, other: Spreading, scale: float) -> Spreading:
        """Add another's exchange between the same cells, ``scale`` times; none falls below 0."""
        row, column, falling, rising = (
            np.maximum(ours + scale * theirs, 0.0)
            for ours, theirs in zip(self.along, other.along, strict=True)
        )
        link = np.maximum(self.link + scale * other.link, 0.0)
        return Spreading((row, column, falling, rising), self.pairs, link)


HOP = 0.23
SKIN = 0.6
"""Mean square of a step along the bundle, over h^2, that water takes when it passes a contact
or follows the outer film from cell to cell; measured on bundles at 4, 2 and 1 mm."""

STEPS = ((0, 1), (1, 0), (1, 1), (1, -1))
"""Rows down and columns aside to the next cell of a row, a column and either diagonal."""

TREAD = 0.3
"""Share of a step between slanting layers that mixes them; chosen so that the white shares of five
folds are as near as may be at 4, 2 and 1 mm."""


@dataclass(frozen=True)
class Joints:
    """What of the spreading is the same at every temperature."""

    wet: Floats  # (inside,) shares of water at both ends of an edge, together
    ways: tuple[tuple[Ints, Ints], ...]  # for each of STEPS, edges and the cells they go out from
    pairs: Ints  # (X, 2) seams and contacts


def joints(now: Stream, net: Network, cloth: Cloth) -> Joints:
    """Find which edges go to the next cell of a line, and how wet the ends of all are."""
    a, b = net.pairs[: net.inside, 0], net.pairs[: net.inside, 1]
    plane = slice(0, net.in_plane)
    down = cloth.row[b[plane]] - cloth.row[a[plane]]
    aside = cloth.col[b[plane]] - cloth.col[a[plane]]
    edges = [np.flatnonzero((down == rows) & (aside == cols)) for rows, cols in STEPS]
    return Joints(
        wet=now.theta[a] + now.theta[b],
        ways=tuple((each.astype(np.int32), a[each]) for each in edges),
        pairs=np.ascontiguousarray(net.pairs[net.in_plane : net.inside]),
    )


def diffusion(
    now: Stream,
    net: Network,
    cloth: Cloth,
    diffusivity: float,
    constants: Constants,
    found: Joints | None = None,
) -> Spreading:
    """Exchange by diffusion, D theta S on every edge but those of the film.

    Parameters
    ----------
    diffusivity : float
        Of dye in water at the stage's temperature [m2/s].
    found : Joints, optional
        Of the same stream and network, from `joints`.
    """
    found = found or joints(now, net, cloth)
    shape = net.shape[: net.inside]
    return _by_way(diffusivity * constants.tortuosity * 0.5 * found.wet * shape, found, net, cloth)


def dispersion(
    now: Stream, net: Network, cloth: Cloth, constants: Constants, found: Joints | None = None
) -> Spreading:
    """Dispersion by the stream's own flow that the grid does not already give.

    In the plane |Q| (a - d/2)/d + s Q_c HOP (l^2 - h^2)/(4 h^2), with d the edge's length, a the
    dispersivity, s its share (2/3 straight, 1/6 slanting), Q_c the cell's flow through contacts
    and l the sideways spread at a contact, and the same with SKIN for the film; on contacts
    G slope TREAD (l - h), G their conductance. All of it is chosen but for the form of the first
    term (Bear 1972, from memory), which is below 0 where the grid gives too much.
    """
    h = cloth.pitch
    found = found or joints(now, net, cloth)
    a, b = net.pairs[: net.inside, 0], net.pairs[: net.inside, 1]
    link = np.zeros(net.inside)
    plane, sides = slice(0, net.in_plane), slice(0, net.straight)
    cross = slice(net.in_plane, net.inside)
    far = (constants.contact_spread**2 - h * h) / (2.0 * h * h)
    n = cloth.size
    side = np.zeros(n)
    for part, hop in ((cross, HOP), (slice(net.inside, None), SKIN)):
        through, ends = np.abs(now.flow[part]), net.pairs[part]
        crossing = np.bincount(ends[:, 0], through, n) + np.bincount(ends[:, 1], through, n)
        side += 0.5 * hop * far * crossing
    reach = np.full(net.in_plane, h)
    reach[net.straight :] *= np.sqrt(2.0)
    link[plane] = np.abs(now.flow[plane]) * (constants.dispersivity / reach - 0.5)
    link[plane] += net.share * 0.5 * (side[a[plane]] + side[b[plane]])
    # cells of neighbouring layers overlap aslant, so part of the flow along the cloth
    # takes the way through contacts and back; a finer grid does so less
    steep = np.abs(now.w[a[sides]] - now.w[b[sides]]) / h
    slope = 0.5 * (np.bincount(a[sides], steep, n) + np.bincount(b[sides], steep, n))
    tread = TREAD * max(constants.contact_spread - h, 0.0)
    link[cross] = net.conductance[cross] * 0.5 * (slope[a[cross]] + slope[b[cross]]) * tread
    return _by_way(link, found, net, cloth)


def _by_way(link: Floats, found: Joints, net: Network, cloth: Cloth) -> Spreading:
    """Sort exchange over the edges inside, (inside,), by the ways of the raster."""
    along = np.zeros((len(STEPS), cloth.size))
    for to_next, (edges, cells) in zip(along, found.ways, strict=True):
        to_next[cells] = link[edges]
    row, column, falling, rising = along
    pairs, across = found.pairs, np.ascontiguousarray(link[net.in_plane :])
    return Spreading(along=(row, column, falling, rising), pairs=pairs, link=across)
