"""Halving: reflect the cloth across a line; the moving side lands on top, turned over."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from meltwick.folding.stack import Stack
from meltwick.types import Halve


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
    coordinate = stack.p if fold.line == "spine" else stack.q
    first = fold.moves == sides[0]
    moving = coordinate < middle if first else coordinate > middle
    turned = np.where(moving, 2.0 * middle - coordinate, coordinate)
    order = np.where(moving, 2 * stack.layers - 1 - stack.order, stack.order).astype(np.int32)
    changed = {"p": turned} if fold.line == "spine" else {"q": turned}
    return replace(stack, order=order, layers=2 * stack.layers, **changed)
