"""Where a fold comes on the flat cloth: lines at which one side is turned over on the other."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from meltwick.folding.stack import Stack, per_cell
from meltwick.types import Cloth, Flags, Floats, Panel

_SMOOTH = 1.0  # [cells] by which the sign of the map is smoothed before its border is drawn
_SHORT = 0.012  # [m] lines shorter than this are left out: no hand could follow them
_ALONG = 9  # points of a line over which its kind is averaged
_FLAT = 0.35  # a cell counts as lying in one flank where the map keeps so much of its area


@dataclass(frozen=True)
class CreaseLine:
    """One crease on one panel, seen from outside the garment."""

    panel: str
    points: Floats  # (M, 2) [m] right of the spine and down
    towards: bool  # folded towards who looks at it; otherwise away


def crease_lines(cloth: Cloth, stack: Stack, up: str = "front") -> list[CreaseLine]:
    """Find the creases of folded cloth.

    A flat fold keeps each flank's lengths and turns every other flank over, so that the sign of
    its Jacobian, dp/dx dq/dy - dp/dy dq/dx, changes at each crease and nowhere else.

    Parameters
    ----------
    cloth : Cloth
        N cells.
    stack : Stack
        Folded by a tidy hand.
    up : str
        ``front`` or ``back``: the side that faced up before it was folded.

    Returns
    -------
    list of CreaseLine
        Of both kinds, seen from outside the garment. Lines too short to fold are left out.
    """
    p, q = per_cell(stack, stack.p, cloth.size), _round(cloth, stack)
    order = per_cell(stack, stack.order.astype(float), cloth.size)
    found = []
    for panel in cloth.panels:
        sign, valid = _side(cloth, panel, p, q, stack)
        if stack.disc:  # pleats stand: a crease on top is a ridge, one below a furrow
            roof = per_cell(stack, stack.disc.roof, cloth.size)
            over = np.sign(0.5 * roof - q)[np.maximum(panel.index, 0)]
        else:
            over = _over(sign, order[np.maximum(panel.index, 0)], valid)
        seen = 1.0 if panel.name.endswith(up) or len(cloth.panels) == 1 else -1.0
        found += _lines(cloth, panel, sign, valid, seen * over)
    return found


def _round(cloth: Cloth, stack: Stack) -> Floats:
    """Return the second coordinate per cell [m]; round a pole an arc, cut where the cell lies."""
    if not stack.radius:
        return per_cell(stack, stack.q, cloth.size)
    sine = per_cell(stack, np.sin(stack.q), cloth.size)
    cosine = per_cell(stack, np.cos(stack.q), cloth.size)
    return np.asarray(stack.radius * np.arctan2(sine, cosine))


def _side(
    cloth: Cloth, panel: Panel, p: Floats, q: Floats, stack: Stack
) -> tuple[NDArray[np.float64], Flags]:
    """Sign of the Jacobian on a panel's raster, (rows, cols), and where it is sure."""
    index = panel.index
    inside = index >= 0
    at = np.where(inside, index, 0)
    around = 2.0 * np.pi * stack.radius

    def change(values: Floats, axis: int, wraps: bool) -> NDArray[np.float64]:
        grid = values[at]
        step = np.roll(grid, -1, axis) - np.roll(grid, 1, axis)
        if wraps and around:
            step = (step + 0.5 * around) % around - 0.5 * around
        both = inside & np.roll(inside, 1, axis) & np.roll(inside, -1, axis)
        both[(0, -1), :] = both[:, (0, -1)] = False
        return np.asarray(np.where(both, step / (2.0 * cloth.pitch), 0.0))

    det = change(p, 1, False) * change(q, 0, True) - change(p, 0, False) * change(q, 1, True)
    return np.sign(det), np.abs(det) > _FLAT


def _lines(
    cloth: Cloth,
    panel: Panel,
    sign: NDArray[np.float64],
    valid: Flags,
    over: NDArray[np.float64],
) -> list[CreaseLine]:
    from scipy.ndimage import distance_transform_edt, gaussian_filter
    from skimage.measure import find_contours

    if not valid.any() or np.ptp(sign[valid]) == 0.0:
        return []
    _, near = distance_transform_edt(~valid, return_indices=True)
    filled = sign[near[0], near[1]]
    smooth = gaussian_filter(filled, _SMOOTH)
    contours: Callable[..., list[NDArray[np.float64]]] = find_contours
    found = []
    for line in contours(smooth, 0.0, mask=panel.index >= 0):
        rows, cols = np.rint(line).astype(int).T
        points = np.column_stack([line[:, 1] + 0.5, line[:, 0] + 0.5]) * cloth.pitch
        points += np.array(panel.origin)
        for part, towards in _parts(over[rows, cols]):
            length = float(np.hypot(*np.diff(points[part], axis=0).T).sum())
            if length >= _SHORT:
                found.append(CreaseLine(panel.name, points[part], towards))
    return found


def _parts(over: NDArray[np.float64]) -> list[tuple[slice, bool]]:
    """Cut a line where it turns from one kind of crease into the other, as where creases meet."""
    from scipy.ndimage import uniform_filter1d

    kind = uniform_filter1d(over, _ALONG, mode="nearest") > 0.0
    cuts = [0, *(np.flatnonzero(np.diff(kind)) + 1), len(kind)]
    return [(slice(a, b + 1), bool(kind[a])) for a, b in pairwise(cuts)]


def _over(sign: NDArray[np.float64], level: Floats, valid: Flags) -> NDArray[np.float64]:
    """1 where what is turned over lies above what is not, -1 where below, 0 in doubt."""
    from scipy.ndimage import uniform_filter

    def mean(which: Flags) -> NDArray[np.float64]:
        share = uniform_filter(which.astype(float), 7)
        return np.asarray(
            np.where(share > 0, uniform_filter(level * which, 7) / np.maximum(share, 1e-9), np.nan)
        )

    gap = mean(valid & (sign < 0)) - mean(valid & (sign > 0))
    return np.nan_to_num(np.sign(gap))
