"""The bundle as a network of cells: in the cloth, across seams, between layers, along its skin."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meltwick.binding import contact_share, kozeny_carman
from meltwick.constants import GRAVITY, WATER_DENSITY, WATER_VISCOSITY_COLD, Constants
from meltwick.types import Bundle, Cloth, Floats, Ints

CORNER = 1.0 / 6.0
"""Share of the in-plane conductance that goes across a corner of the raster."""


@dataclass(frozen=True)
class Network:
    """Edges and what they conduct: in the cloth straight, then slanting, seams, contacts, film."""

    pairs: Ints  # (E, 2)
    conductance: Floats  # (E,) [m3/s] per unit of w
    shape: Floats  # (E,) area over length [m], film included
    inside: int  # number of edges before the film: those that carry diffusion
    straight: int  # number of edges along the raster's rows and columns
    in_plane: int  # number of edges in the cloth's plane, the slanting ones included
    share: Floats  # (in_plane,) of a square's conductance that goes this way
    bound: Floats  # (N,) exp(alpha z): w of cloth at zero suction
    outside: Floats  # (N,) share of the cell that is exposed


def saturated_conductivity(solid: Floats, loose: float, constants: Constants) -> Floats:
    """Ks of compressed cloth [m/s]: the loose cloth's, times (KC/KC0)^m.

    KC0 and KC by Kozeny-Carman; m below 1 because the full law over-resists.
    """
    base = kozeny_carman(loose, constants.fibre_width, constants.kozeny)
    ratio = kozeny_carman(solid, 1.0, 1.0) / kozeny_carman(loose, 1.0, 1.0)
    cold = WATER_DENSITY * GRAVITY / WATER_VISCOSITY_COLD
    return np.asarray(base * cold * ratio**constants.compression_power)


def mean_exponential(za: Floats, zb: Floats, alpha: float) -> Floats:
    """Mean of exp(alpha z) along an edge, exact for a straight one."""
    step = alpha * (zb - za)
    small = np.abs(step) < 1e-6
    safe = np.where(small, 1.0, step)
    return np.asarray(np.exp(alpha * za) * np.where(small, 1.0 + 0.5 * step, np.expm1(safe) / safe))


def edge_conductance(
    pairs: Ints, shape: Floats, height: Floats, conductivity: Floats, alpha: float
) -> Floats:
    """Flow along an edge per unit difference of w, S / (alpha <exp(alpha z) / Ks>) [m3/s].

    With H the head, psi the suction head, z the height, K = Ks exp(alpha psi) and
    w = exp(alpha H), H = psi + z, Darcy's law is linear in w (Gardner 1958, Philip 1968).

    Parameters
    ----------
    pairs : ndarray of shape (E, 2)
    shape : ndarray of shape (E,)
        S, area over length [m].
    height : ndarray of shape (N,)
        z [m].
    conductivity : ndarray of shape (N,)
        Ks [m/s]; each end counts for half of the edge.
    alpha : float
        [1/m].
    """
    a, b = pairs[:, 0], pairs[:, 1]
    middle = 0.5 * (height[a] + height[b])
    resist = 0.5 * (
        mean_exponential(height[a], middle, alpha) / conductivity[a]
        + mean_exponential(middle, height[b], alpha) / conductivity[b]
    )
    return np.asarray(shape / (alpha * resist))


def slanting_edges(cloth: Cloth) -> tuple[Ints, Floats]:
    """Join cells that touch at a corner, and share a square's flow out over six ways.

    On a raster that joins only cells with a common side, water and dye run out of a spot farther
    along rows and columns than between them. The nine-point Laplacian, 2/3 along the sides and
    1/6 across the corners, is round up to the fourth order (Abramowitz & Stegun, chapter 25,
    memory). Each whole square of four cells gives its two diagonals 1/6 and takes
    1/6 from its four sides, so that a uniform gradient carries as much as before, at borders too.

    Returns
    -------
    pairs : ndarray of shape (D, 2)
        Cells that touch at a corner.
    weight : ndarray of shape (E,)
        Of the cloth's edges, 1 less 1/6 for each square beside it.
    """
    pairs, beside = [], np.zeros(cloth.size * 2)
    for panel in cloth.panels:
        index = panel.index
        corners = index[:-1, :-1], index[:-1, 1:], index[1:, :-1], index[1:, 1:]
        whole = np.logical_and.reduce([corner >= 0 for corner in corners])
        a, b, c, d = (corner[whole] for corner in corners)
        pairs += [np.stack([a, d], axis=1), np.stack([b, c], axis=1)]
        for first, down in ((a, 0), (c, 0), (a, 1), (b, 1)):
            beside[2 * first + down] += 1.0  # no cell comes twice in one corner
    down = cloth.row[cloth.edges[:, 0]] != cloth.row[cloth.edges[:, 1]]
    weight = 1.0 - CORNER * beside[2 * cloth.edges[:, 0] + down]
    return np.concatenate(pairs).astype(np.int32), weight


def network(cloth: Cloth, bundle: Bundle, constants: Constants) -> Network:
    """Join the cells of a bundle.

    Heights are taken from the lowest cell, so that exp(alpha z) starts at 1.
    """
    loose = cloth.fabric.solid
    height = bundle.height - bundle.height.min()
    conductivity = saturated_conductivity(bundle.solid, loose, constants)
    if cloth.wets.size:  # as relative permeability: the cube of the wet share (Irmay 1954, memory)
        conductivity = conductivity * cloth.wets**3
    slanting, weight = slanting_edges(cloth)
    plane = np.concatenate([cloth.edges, slanting, cloth.seams])
    pairs = np.concatenate([plane, bundle.contacts, bundle.film])
    thick = bundle.thickness
    across = 0.5 * (thick[plane[:, 0]] + thick[plane[:, 1]])
    share = np.concatenate([weight, np.full(len(slanting), CORNER)])
    across[: share.size] *= share
    a, b = bundle.contacts[:, 0], bundle.contacts[:, 1]
    touch = contact_share(0.5 * (bundle.pressure[a] + bundle.pressure[b]), constants)
    through = touch * bundle.contact_area / (0.5 * (thick[a] + thick[b]))
    shape = np.concatenate([across, through])
    conductance = edge_conductance(
        pairs[: shape.size], shape, height, conductivity, constants.alpha
    )
    fa, fb = bundle.film[:, 0], bundle.film[:, 1]
    under = 0.5 * (bundle.covered[fa] + bundle.covered[fb])
    # string stands in the film's way: in series, so that the pitch does not matter
    way = bundle.film_width / (1.0 - under + under / constants.film_under_string)
    thick = np.broadcast_to(cloth.fabric.thickness, (cloth.size,))  # of each cell in a tray
    film = constants.film * 0.5 * (thick[fa] + thick[fb]) * way
    bare = saturated_conductivity(np.broadcast_to(loose, (cloth.size,)), loose, constants)
    film_conductance = edge_conductance(bundle.film, film, height, bare, constants.alpha)
    return Network(
        pairs=pairs,
        conductance=np.concatenate([conductance, film_conductance]),
        shape=np.concatenate([shape, film]),
        inside=shape.size,
        straight=len(cloth.edges),
        in_plane=share.size,
        share=share,
        bound=np.exp(constants.alpha * height),
        outside=bundle.exposed,
    )
