"""The colour of dyed cloth, dry."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from threadpoolctl import threadpool_limits

from meltwick.colour.difference import delta_e76
from meltwick.colour.kubelka import absorption, reflectance
from meltwick.colour.spectra import strengths, undyed
from meltwick.colour.standard import to_lab, to_srgb, to_xyz
from meltwick.types import Cloth, Component, Dye, Fabric, FixedDye, Floats, Look

_CHUNK = 4096  # cells whose spectra (1 MB) stay in the processor's cache


def render(cloth: Cloth, fixed: FixedDye) -> Look:
    """Colour every cell from the dye on its fibre.

    K/S = K/S of the undyed cloth + sum over components of strength times depth (single-constant
    theory of Kubelka and Munk; Derby 1971, Adv. Chem. 107, ch. 8, equation from memory), then
    reflectance, XYZ, CIELAB and sRGB, daylight D65, 2 degree observer.

    Parameters
    ----------
    cloth : Cloth
        N cells; its fabric gives the ground.
    fixed : FixedDye
        Dye on the fibre, (N, K) [kg/kg].

    Returns
    -------
    Look
        ``lab`` and ``delta`` hold the colour itself, ``srgb`` the nearest that a screen can show
        (see `meltwick.colour.standard.to_srgb`).

    Raises
    ------
    ValueError
        The dye does not fit the cloth, or is negative or not a number.
    """
    if fixed.amount.shape != (cloth.size, len(fixed.species)):
        raise ValueError(
            f"fixed dye has shape {fixed.amount.shape}; "
            f"{cloth.size} cells and {len(fixed.species)} components were expected"
        )
    lab = colours(fixed.species, fixed.amount, cloth.fabric)
    bare = ground_lab(cloth.fabric)
    srgb = np.empty_like(lab)
    for part in _chunks(len(lab)):
        srgb[part] = to_srgb(lab[part])
    return Look(srgb, lab, delta_e76(lab, bare), _on_screen(bare))


def colours(species: Sequence[Component], amount: Floats, fabric: Fabric) -> Floats:
    """CIELAB of dyed cloth.

    Parameters
    ----------
    species : sequence of Component
        K of them.
    amount : ndarray of shape (N, K)
        Dye on the fibre [kg/kg].
    fabric : Fabric
        Gives the ground.

    Returns
    -------
    ndarray of shape (N, 3)
        L*, a*, b*.

    Raises
    ------
    ValueError
        An amount is negative or not a number.
    """
    if not (np.all(np.isfinite(amount)) and (amount.size == 0 or amount.min() >= 0)):
        raise ValueError("an amount of dye is negative or not a number")
    ground = absorption(undyed(fabric))
    table = 100.0 * strengths(species)  # depth is in per cent of fibre mass
    lab = np.empty((len(amount), 3))
    # one thread, so that the sums never depend on how the work was shared out
    with threadpool_limits(limits=1, user_api="blas"):
        for part in _chunks(len(amount)):
            lab[part] = to_lab(to_xyz(reflectance(ground + amount[part] @ table)))
    return lab


def ground_lab(fabric: Fabric) -> Floats:
    """CIELAB of the undyed cloth, shape (3,)."""
    return to_lab(to_xyz(undyed(fabric)))


def ground_srgb(fabric: Fabric) -> tuple[float, float, float]:
    """SRGB of the undyed cloth, 0 to 1."""
    return _on_screen(ground_lab(fabric))


def _on_screen(lab: Floats) -> tuple[float, float, float]:
    red, green, blue = to_srgb(lab[None])[0].tolist()
    return red, green, blue


def swatch(dye: Dye, depth: float, fabric: Fabric) -> tuple[float, float, float]:
    """Show a jar's colour on a cloth, evenly dyed.

    Parameters
    ----------
    dye : Dye
        The jar.
    depth : float
        Per cent of the fibre's mass.
    fabric : Fabric
        Gives the ground.

    Returns
    -------
    tuple of float
        sRGB, 0 to 1.

    Raises
    ------
    ValueError
        The depth is negative or not a number.
    """
    species = [component for component, _ in dye.parts]
    amount = np.array([[share * depth / 100.0 for _, share in dye.parts]])
    return _on_screen(colours(species, amount, fabric)[0])


def _chunks(count: int) -> list[slice]:
    """Cut a run of cells into pieces."""
    return [slice(start, start + _CHUNK) for start in range(0, count, _CHUNK)]
