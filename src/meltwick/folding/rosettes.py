"""Rosettes: many small spirals twisted side by side, and held together as one disc."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree
from shapely import contains_xy
from shapely.geometry.base import BaseGeometry

from meltwick import chance
from meltwick.folding.spiral import spiral
from meltwick.folding.stack import Disc, Stack
from meltwick.types import Floats, Ints, Rosettes, Spiral, Spot

DARTS = 6000  # tries to place a centre
NEAREST = 0.78
"""Least distance of two centres over the mean one: discs thrown till none fits cover 0.547 of the
plane (random sequential packing, Evans 1993, Rev. Mod. Phys. 65, as an encyclopedia gives it)."""
PULLED = 0.05  # of the spacing: spread of where two rosettes part; chosen
FEWEST = 60  # points of cloth; a smaller scrap goes to the next rosette


def throw(
    outline: BaseGeometry, rim: Floats, spacing: float, seed: int, round_number: int
) -> Floats:
    """Throw centres on the cloth, none too near to another (Poisson-disc), (C, 2) [m].

    They are drawn in metres, so that they do not depend on the raster.

    Parameters
    ----------
    outline : shapely polygon
        Of the cloth laid flat [mm].
    rim : ndarray of shape (M, 2)
        Of the stack, which may be folded on to a part of it [m].
    spacing : float
        Mean distance between neighbours [m].
    """
    low, high = rim.min(axis=0), rim.max(axis=0)
    code = chance.key(seed, "rosettes", round_number)
    darts = np.column_stack([chance.uniforms(code, DARTS, stream) for stream in (0, 1)])
    darts = low + darts * (high - low)
    inner = outline.buffer(-200.0 * spacing)
    inside = contains_xy(inner if not inner.is_empty else outline, *(1e3 * darts.T))
    kept = np.zeros((0, 2))
    for dart in darts[inside]:
        if not len(kept) or np.hypot(*(kept - dart).T).min() >= NEAREST * spacing:
            kept = np.vstack([kept, dart])
    return kept if len(kept) else 0.5 * (low + high)[None, :]


def rosettes(
    stack: Stack,
    fold: Rosettes,
    centres: Floats,
    *,
    thickness: float,
    pitch: float,
    neatness: float,
    seed: int,
    round_number: int = 1,
) -> Stack:
    """Twist a flat stack round many centres; cloth goes to the nearest one.

    Parameters
    ----------
    stack : Stack
        Flat, of ``n`` layers.
    fold : Rosettes
    centres : ndarray of shape (C, 2)
        Where fingers pinch [m].
    thickness : float
        Of one layer of cloth [m].
    pitch : float
        Of the raster [m].
    neatness : float
        0 tidy .. 1 loose.

    Returns
    -------
    Stack
        As a spiral's, the rosettes side by side as their centres lie. Between them the cloth goes
        on from one to the next.
    """
    points = _pulled(stack, fold, seed, round_number)
    owner = cKDTree(centres).query(points)[1]
    kept = np.flatnonzero(np.bincount(owner, minlength=len(centres)) >= FEWEST)
    if 0 < kept.size < len(centres):
        centres = centres[kept]
        owner = cKDTree(centres).query(points)[1]
    twisted = [
        _twisted(
            stack, fold, owner == c, centre, c + 1, thickness, pitch, neatness, seed, round_number
        )
        for c, centre in enumerate(centres)
    ]
    return _side_by_side(stack, owner.astype(np.int32), centres, twisted)


def _pulled(stack: Stack, fold: Rosettes, seed: int, round_number: int) -> Floats:
    """Points as fingers pull at them: where two rosettes part, no ruler was laid."""
    code = chance.key(seed, "rosettes part", round_number)
    length, far = 0.5 * fold.spacing, PULLED * fold.spacing
    return np.column_stack(
        [
            stack.p + far * chance.smooth_field(code, stack.p, stack.q, length),
            stack.q + far * chance.smooth_field(~code, stack.p, stack.q, length),
        ]
    )


def _twisted(
    stack: Stack,
    fold: Rosettes,
    mine: np.ndarray,
    centre: Floats,
    number: int,
    thickness: float,
    pitch: float,
    neatness: float,
    seed: int,
    round_number: int,
) -> Stack:
    one = Spiral(Spot("middle"), fold.pleats, fold.turns, fold.height, fold.sense)
    part = replace(
        stack,
        cell=stack.cell[mine],
        p=stack.p[mine],
        q=stack.q[mine],
        order=stack.order[mine],
        bend=None,
        rim=np.zeros((0, 2)),
    )
    return spiral(
        part,
        one,
        centre,
        thickness=thickness,
        pitch=pitch,
        neatness=neatness,
        seed=seed,
        round_number=round_number,
        number=number,
    )


def _side_by_side(stack: Stack, owner: Ints, centres: Floats, twisted: list[Stack]) -> Stack:
    """Put the rosettes where their centres draw each other to, and number their ribs on."""
    discs = [made.disc for made in twisted if made.disc is not None]
    sizes = np.bincount(owner, minlength=len(centres)) / owner.size
    drawn = float(sum(s * d.reach / d.cloth for s, d in zip(sizes, discs, strict=True)))
    middle = sizes @ centres
    order = np.argsort(owner, kind="stable")
    back = np.empty_like(order)
    back[order] = np.arange(order.size)

    def joined(parts: list[np.ndarray]) -> np.ndarray:
        return np.concatenate(parts)[back]

    first = np.concatenate([[0], np.cumsum([disc.ribs for disc in discs])])
    place = drawn * (centres - middle)
    across = joined([d.across + at[0] for d, at in zip(discs, place, strict=True)])
    down = joined([d.down + at[1] for d, at in zip(discs, place, strict=True)])
    after = [f + (np.arange(d.ribs) + 1) % d.ribs for f, d in zip(first, discs, strict=False)]
    pack = Disc(
        rib=joined([d.rib + f for f, d in zip(first, discs, strict=False)]).astype(np.int32),
        across=across,
        down=down,
        radius=np.hypot(across, down),
        height=discs[0].height,
        reach=float(np.sqrt(sum(disc.reach**2 for disc in discs))),
        thickness=float(sum(s * d.thickness for s, d in zip(sizes, discs, strict=True))),
        ribs=int(first[-1]),
        step_back=np.concatenate([disc.step_back for disc in discs]),
        slope=0.0,
        roof=joined([disc.roof for disc in discs]),
        cloth=float(np.sqrt(sum(disc.cloth**2 for disc in discs))),
        owner=owner,
        after=np.concatenate(after).astype(np.int32),
        middles=place,
    )
    return replace(
        stack,
        p=joined([made.p for made in twisted]),
        q=joined([made.q for made in twisted]),
        order=joined([made.order for made in twisted]),
        layers=max(made.layers for made in twisted),
        bend=joined([made.bend for made in twisted if made.bend is not None]),
        pleated=0.0,
        disc=pack,
        strain99=max(stack.strain99, float(sizes @ [made.strain99 for made in twisted])),
    )
