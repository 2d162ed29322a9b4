"""Calm a laid photograph: grain, coding noise and the blur of edges taken off, edges kept.

A photograph's noise and its coding add to every colour difference and never take from it, and
what they add turns undyed cloth beside dyed into tinted cloth. The bilateral filter (Tomasi and
Manduchi 1998, ICCV, from memory) averages each cell with those near it that look alike.
"""

from __future__ import annotations

import numba as nb
import numpy as np

from meltwick.types import Flags, Floats

REACH = 3.0  # [cells] standard deviation
ALIKE = 6.0  # [Delta E*ab] standard deviation of likeness
TIMES = 2


def calm(lab: Floats, there: Flags) -> Floats:
    """Average each cell with the near ones that look alike.

    Parameters
    ----------
    lab : ndarray of shape (rows, cols, 3)
        CIELAB by place.
    there : ndarray of shape (rows, cols), bool
        Places that hold cloth; the others say nothing.

    Returns
    -------
    ndarray of shape (rows, cols, 3)
    """
    far = int(2 * REACH)
    steps = np.arange(-far, far + 1, dtype=np.float64)
    near = np.exp(-(steps[:, None] ** 2 + steps[None, :] ** 2) / (2.0 * REACH**2))
    found = np.ascontiguousarray(lab, dtype=np.float64)
    for _ in range(TIMES):
        found = _once(found, there, near, 0.5 / ALIKE**2)
    return found


@nb.njit(cache=True, parallel=True)
def _once(lab: Floats, there: Flags, near: Floats, sharp: float) -> Floats:
    rows, cols = there.shape
    far = near.shape[0] // 2
    out = lab.copy()
    for row in nb.prange(rows):
        for col in range(cols):
            if not there[row, col]:
                continue
            light, red, yellow = lab[row, col, 0], lab[row, col, 1], lab[row, col, 2]
            total = a = b = c = 0.0
            for i in range(max(0, row - far), min(rows, row + far + 1)):
                for j in range(max(0, col - far), min(cols, col + far + 1)):
                    if not there[i, j]:
                        continue
                    x, y, z = lab[i, j, 0] - light, lab[i, j, 1] - red, lab[i, j, 2] - yellow
                    apart = sharp * (x * x + y * y + z * z)
                    if apart > 12.0:
                        continue
                    share = near[i - row + far, j - col + far] * np.exp(-apart)
                    total += share
                    a += share * lab[i, j, 0]
                    b += share * lab[i, j, 1]
                    c += share * lab[i, j, 2]
            out[row, col, 0] = a / total
            out[row, col, 1] = b / total
            out[row, col, 2] = c / total
    return out
