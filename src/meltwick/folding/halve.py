"""Halving: reflect the cloth across a line; the moving side lands on top, turned over."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from meltwick.folding.stack import Stack
from meltwick.types import Floats, Halve


def halve(stack: Stack, fold: Halve, middle: float) -> Stack:
    """Fold a flat stack across the spine or the waist.

    Parameters
    ----------
    stack : Stack
        A flat stack of ``n`` layers.
    fold : Halve
        Which line, and which side moves.
    middle : float
        Where the line lies [m]: across for the spine, down for the waist.

    Returns
    -------
    Stack
        ``2 n`` layers. Order is reversed inside the moving side, as turning it over does
        (an isometry whose determinant changes sign across the crease).

    Raises
    ------
    ValueError
        When the moving side does not belong to the line.
    """
    sides = {"spine": ("left", "right"), "waist": ("top", "bottom")}[fold.line]
    if fold.moves not in sides:
        raise ValueError(f"halving at the {fold.line} moves the {sides[0]} or the {sides[1]}")
    axis = 0 if fold.line == "spine" else 1
    coordinate = stack.q if axis else stack.p
    sign = -1.0 if fold.moves == sides[0] else 1.0
    moving = sign * (coordinate - middle) > 0.0
    turned = np.where(moving, 2.0 * middle - coordinate, coordinate)
    order = np.where(moving, 2 * stack.layers - 1 - stack.order, stack.order).astype(np.int32)

    def turn(points: Floats) -> Floats:
        out = points.copy()
        out[:, axis] = middle - sign * np.abs(points[:, axis] - middle)
        return out

    return replace(
        stack,
        p=stack.p if axis else turned,
        q=turned if axis else stack.q,
        order=order,
        layers=2 * stack.layers,
        rim=turn(stack.rim),
        marks=turn(stack.marks),
    )
