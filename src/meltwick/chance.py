"""Chance without hidden state: every draw is a hash of (seed, purpose, round, index).

The same point gets the same draw whatever the number of threads; smooth fields live on a
lattice in metres, so that they do not depend on the raster's pitch.
"""

from __future__ import annotations

import hashlib
from typing import Any

import numba as nb
import numpy as np

from meltwick.types import Floats


def key(seed: int, purpose: str, round_number: int = 1) -> np.uint64:
    """Return a 64-bit key for one purpose of one round of one hand."""
    text = f"{seed}/{purpose}/{round_number}".encode()
    return np.uint64(int.from_bytes(hashlib.blake2b(text, digest_size=8).digest(), "little"))


def _jit(func: Any) -> Any:
    return nb.njit(cache=True, inline="never")(func)


@_jit
def mix(value: np.uint64) -> np.uint64:
    """Scramble 64 bits (the splitmix64 finaliser, Steele, Lea & Flood 2014)."""
    z = value + np.uint64(0x9E3779B97F4A7C15)
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return z ^ (z >> np.uint64(31))


@_jit
def unit(seed: np.uint64, i: int, j: int) -> float:
    """Return a uniform draw in [0, 1) for the integer pair (i, j)."""
    a = mix(seed ^ np.uint64(np.int64(i)))
    b = mix(a ^ (np.uint64(np.int64(j)) * np.uint64(0xD1342543DE82EF95)))
    return float(b >> np.uint64(11)) * (1.0 / 9007199254740992.0)


@_jit
def _cubic(t: float, k: int) -> float:
    """Uniform cubic B-spline weight k (0..3) at t in [0, 1)."""
    if k == 0:
        return (1.0 - t) ** 3 / 6.0
    if k == 1:
        return (3.0 * t**3 - 6.0 * t**2 + 4.0) / 6.0
    if k == 2:
        return (-3.0 * t**3 + 3.0 * t**2 + 3.0 * t + 1.0) / 6.0
    return t**3 / 6.0


@_jit
def _at(seed: np.uint64, u: float, v: float) -> float:
    """Smooth field of about unit variance at lattice coordinates (u, v)."""
    i0 = int(np.floor(u))
    j0 = int(np.floor(v))
    total = 0.0
    for a in range(4):
        wa = _cubic(u - i0, a)
        for b in range(4):
            total += wa * _cubic(v - j0, b) * (unit(seed, i0 + a, j0 + b) - 0.5)
    # uniform draws have sd 0.2887; the spline's mean square weight is 0.4794 per axis
    return total / (0.288675 * 0.4794)


@_jit
def _field(seed: np.uint64, x: Floats, y: Floats, length: float) -> Floats:
    out = np.empty(x.size)
    for n in range(x.size):
        # turned by an odd angle, so that the lattice never lines up with the raster
        u = (0.8253 * x[n] + 0.5647 * y[n]) / length
        v = (-0.5647 * x[n] + 0.8253 * y[n]) / length
        out[n] = _at(seed, u, v)
    return out


def smooth_field(seed: np.uint64, x: Floats, y: Floats, length: float) -> Floats:
    """Return a smooth random field at points.

    Parameters
    ----------
    seed : uint64
        From `key`.
    x, y : ndarray of shape (N,)
        Positions [m].
    length : float
        Distance between independent values [m].

    Returns
    -------
    ndarray of shape (N,)
        Mean 0, variance about 1, twice differentiable.
    """
    return np.asarray(_field(seed, x, y, length))


@_jit
def _uniforms(seed: np.uint64, count: int, stream: int) -> Floats:
    out = np.empty(count)
    for n in range(count):
        out[n] = unit(seed, n, stream)
    return out


def uniforms(seed: np.uint64, count: int, stream: int = 0) -> Floats:
    """Return ``count`` uniform draws in [0, 1), one for each index."""
    return np.asarray(_uniforms(seed, count, stream))
