"""The bundle as a network of cells: in the cloth, across seams, between layers, along its skin."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meltwick.binding import contact_share, kozeny_carman
from meltwick.constants import GRAVITY, WATER_DENSITY, WATER_VISCOSITY_COLD, Constants
from meltwick.types import Bundle, Cloth, Floats, Ints


@dataclass(frozen=True)
class Network:
    """Edges and what they conduct. In-cloth edges come first, then seams, contacts, film."""

    pairs: Ints  # (E, 2)
    conductance: Floats  # (E,) [m3/s] per unit of w
    shape: Floats  # (E,) area over length [m], film included
    inside: int  # number of edges before the film: those that carry diffusion
    in_plane: int  # number of edges in the cloth's plane
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


def network(cloth: Cloth, bundle: Bundle, constants: Constants) -> Network:
    """Join the cells of a bundle.

    Heights are taken from the lowest cell, so that exp(alpha z) starts at 1.
    """
    loose = cloth.fabric.solid
    height = bundle.height - bundle.height.min()
    conductivity = saturated_conductivity(bundle.solid, loose, constants)
    if cloth.wets.size:  # as relative permeability: the cube of the wet share (Irmay 1954, memory)
        conductivity = conductivity * cloth.wets**3
    pairs = np.concatenate([cloth.edges, cloth.seams, bundle.contacts, bundle.film])
    plane = np.concatenate([cloth.edges, cloth.seams])
    thick = bundle.thickness
    across = 0.5 * (thick[plane[:, 0]] + thick[plane[:, 1]])
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
    film = constants.film * cloth.fabric.thickness * way
    bare = np.full(cloth.size, saturated_conductivity(np.array([loose]), loose, constants)[0])
    film_conductance = edge_conductance(bundle.film, film, height, bare, constants.alpha)
    return Network(
        pairs=pairs,
        conductance=np.concatenate([conductance, film_conductance]),
        shape=np.concatenate([shape, film]),
        inside=shape.size,
        in_plane=len(cloth.edges),
        bound=np.exp(constants.alpha * height),
        outside=bundle.exposed,
    )
