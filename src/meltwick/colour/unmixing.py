"""How much of each of a few dyes gives a colour: least squares within bounds, many at once."""

from __future__ import annotations

import numpy as np

from meltwick.colour.kubelka import reflectance
from meltwick.colour.standard import to_lab, to_xyz
from meltwick.types import Floats

_STEPS = 40
_NUDGE = 1e-5  # [kg/kg] by which slopes are taken
_STRIDE = 0.01  # [kg/kg] the most that an amount moves in one step


def dyed_lab(ground: Floats, table: Floats, amount: Floats) -> Floats:
    """CIELAB of cloth with dyes in given amounts.

    Parameters
    ----------
    ground : ndarray of shape (31,)
        K/S of the undyed cloth.
    table : ndarray of shape (S, k, 31)
        K/S per unit of each dye.
    amount : ndarray of shape (S, k)
        In the same unit.

    Returns
    -------
    ndarray of shape (S, 3)
    """
    added = np.einsum("sk,skw->sw", amount, table)
    return to_lab(to_xyz(reflectance(ground + added)))


def eye_weights(lab: Floats) -> Floats:
    """Return what makes small CIELAB steps about colours count as CIEDE2000 has them.

    Its weights S_L, S_C and S_H at the colour, without its turn in the blues (ISO/CIE 11664-6;
    the weighting of chroma and hue is that of CIE 1994).

    Parameters
    ----------
    lab : ndarray of shape (S, 3)

    Returns
    -------
    ndarray of shape (S, 3, 3)
        Rows: lightness, chroma, hue.
    """
    lab = np.atleast_2d(lab)
    chroma = np.hypot(lab[:, 1], lab[:, 2])
    far = (lab[:, 0] - 50.0) ** 2
    plain = chroma < 1e-9
    along = np.where(plain[:, None], (1.0, 0.0), lab[:, 1:] / np.maximum(chroma, 1e-9)[:, None])
    out = np.zeros((len(lab), 3, 3))
    out[:, 0, 0] = 1.0 / (1.0 + 0.015 * far / np.sqrt(20.0 + far))
    out[:, 1, 1:] = along / (1.0 + 0.045 * chroma)[:, None]
    turned = np.stack([-along[:, 1], along[:, 0]], axis=-1)
    out[:, 2, 1:] = turned / (1.0 + 0.015 * chroma)[:, None]
    return out


def within(amount: Floats, most: float) -> Floats:
    """Bring amounts (..., k) back to 0 and more, and to ``most`` in all."""
    kept = np.maximum(amount, 0.0)
    total = kept.sum(axis=-1, keepdims=True)
    out: Floats = kept * np.minimum(1.0, most / np.maximum(total, 1e-12))
    return out


def fit_amounts(
    ground: Floats, table: Floats, wish: Floats, weights: Floats, most: float
) -> tuple[Floats, Floats]:
    """Fit non-negative amounts to colours, S problems at once.

    Levenberg's and Marquardt's damped least squares, each step brought back within the bounds.

    Parameters
    ----------
    ground, table
        As for `dyed_lab`, per kg of dye and kg of fibre.
    wish : ndarray of shape (S, 3)
        L*, a*, b*.
    weights : ndarray of shape (S, 3, 3)
        Of the differences; see `eye_weights`.
    most : float
        Bound on the sum of amounts [kg/kg].

    Returns
    -------
    amount : ndarray of shape (S, k)
        [kg/kg]
    misfit : ndarray of shape (S,)
        Length of the weighted difference.
    """
    count, dyes = table.shape[:2]
    amount = np.full((count, dyes), min(0.01, 0.5 * most) / dyes)
    damp = np.full(count, 1e-2)

    def gap_of(trial: Floats) -> Floats:
        out: Floats = np.einsum("scd,sd->sc", weights, dyed_lab(ground, table, trial) - wish)
        return out

    gap = gap_of(amount)
    slope = np.empty((count, dyes, 3))
    for _ in range(_STEPS):
        for k in range(dyes):
            moved = amount.copy()
            moved[:, k] += _NUDGE
            slope[:, k] = (gap_of(moved) - gap) / _NUDGE
        normal = np.einsum("skc,sjc->skj", slope, slope)
        diagonal = np.einsum("skk->sk", normal) + 1e-6
        matrix = normal + damp[:, None, None] * diagonal[:, :, None] * np.eye(dyes)
        force = -np.einsum("skc,sc->sk", slope, gap)
        # an amount that lies at 0 and is pushed below stays out of this step
        held = (amount <= 0.0) & (force < 0.0)
        matrix[held] = 0.0
        matrix += np.einsum("sk,kj->skj", held.astype(np.float64), np.eye(dyes))
        force[held] = 0.0
        move = np.linalg.solve(matrix, force[..., None])[..., 0]
        trial = within(amount + np.clip(move, -_STRIDE, _STRIDE), most)
        fresh = gap_of(trial)
        better = (fresh**2).sum(axis=1) < (gap**2).sum(axis=1)
        amount[better], gap[better] = trial[better], fresh[better]
        damp = np.clip(np.where(better, damp * 0.4, damp * 4.0), 1e-6, 1e6)
    return amount, np.sqrt((gap**2).sum(axis=1))
