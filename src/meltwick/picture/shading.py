"""The soft light on a garment that lies flat: it only makes cloth a little lighter or darker.

A height of the cloth is made up (a soft rise at the edges, slow waves, creases that run from
the armholes) and lit from the upper left. The factor multiplies all three channels of linear
light alike, so hue and the place of every colour stay as computed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from PIL import Image

if TYPE_CHECKING:
    from meltwick.picture.draw import Canvas, View

_LEAST, _MOST = 0.84, 1.05  # bounds of the factor, chosen: texture must not pass for dye
_LIGHT = (-0.55, -0.84)  # towards the upper left
_COARSE = 2  # the height is smooth: half the picture's resolution is enough

Crease = tuple[tuple[float, float], tuple[float, float], float, float]
"""Start [mm], end [mm], half width [mm], height [mm]."""


def _noise(shape: tuple[int, int], purpose: int) -> Canvas:
    rng = np.random.Generator(np.random.Philox(key=purpose))
    return rng.standard_normal(shape, dtype=np.float32)


def _blur(field: Canvas, sigma: tuple[float, float] | float) -> Canvas:
    from scipy.ndimage import gaussian_filter

    out: Canvas = gaussian_filter(field, sigma, mode="nearest", truncate=3.0)
    return out


def _waves(shape: tuple[int, int], px: float, purpose: int) -> Canvas:
    """Slow unevenness of a hand-smoothed cloth, unit standard deviation, about 90 mm long."""
    # Drawn coarse and enlarged: a wide blur of a fine field is slow and no smoother.
    step = max(1, int(12 * px))
    small = _blur(_noise((shape[0] // step + 9, shape[1] // step + 9), purpose), (3.4, 2.2))
    small /= float(small.std())
    big = Image.fromarray(small).resize(
        ((small.shape[1]) * step, small.shape[0] * step), Image.Resampling.BICUBIC
    )
    return np.asarray(big)[: shape[0], : shape[1]]


def _ridges(view: View, shape: tuple[int, int], creases: list[Crease], px: float) -> Canvas:
    """Sum of soft ridges that fade in and out along their length [mm]."""
    out = np.zeros(shape, dtype=np.float32)
    ys, xs = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    for start, end, half, height in creases:
        (ax, ay), (bx, by) = view.place([start, end]) / _COARSE
        length = max(float(np.hypot(bx - ax, by - ay)), 1e-6)
        ux, uy = (bx - ax) / length, (by - ay) / length
        reach = 3.5 * half * px
        left, right = sorted((ax, bx))
        top, low = sorted((ay, by))
        box = (
            slice(max(0, int(top - reach)), max(0, int(low + reach))),
            slice(max(0, int(left - reach)), max(0, int(right + reach))),
        )
        dx, dy = xs[box] - ax, ys[box] - ay
        along = (dx * ux + dy * uy) / length
        bow = 0.06 * length * np.sin(np.pi * np.clip(along, 0.0, 1.0))
        across = (dy * ux - dx * uy - bow) / (half * px * (0.6 + 0.8 * np.clip(along, 0.0, 1.0)))
        fade = np.clip(along / 0.15, 0.0, 1.0) * np.clip(1.0 - along, 0.0, 1.0) ** 1.5
        out[box] += height * fade * np.exp(-0.5 * across * across)
    return out


def soft_light(view: View, mask: Canvas, creases: list[Crease]) -> Canvas:
    """Light on the cloth as a factor of linear light.

    Parameters
    ----------
    view : View
        Where the panel lies.
    mask : ndarray of shape (H, W)
        Cover by the panel, 0..1.
    creases : list
        Soft ridges in garment millimetres.

    Returns
    -------
    ndarray of shape (H, W)
        Between 0.84 and 1.05.
    """
    from scipy.ndimage import distance_transform_edt

    # The scale of the coarse field, its size, and the mask on it.
    px = view.scale / _COARSE
    coarse = np.asarray(Image.fromarray(mask).reduce(_COARSE))
    inside = np.pad(coarse >= 0.5, 1)
    edge = distance_transform_edt(inside)[1:-1, 1:-1].astype(np.float32) / px  # [mm]
    height = 2.2 * (1.0 - np.exp(-edge / 9.0))
    height += 1.5 * _waves(coarse.shape, px, 13 if view.flip else 11)
    height += 1.4 * _ridges(view, coarse.shape, creases, px)
    height = _blur(height, 1.2)
    down, right = np.gradient(height, 1.0 / px)
    lit = 0.075 * np.tanh(6.0 * (_LIGHT[0] * right + _LIGHT[1] * down))
    hollow = 0.10 * np.exp(-edge / 2.5)  # the edge rolls away from the eye
    fall = np.linspace(0.012, -0.018, coarse.shape[0], dtype=np.float32)[:, None]
    factor = (1.0 + lit - hollow + fall).astype(np.float32)
    big = Image.fromarray(factor).resize(mask.shape[::-1], Image.Resampling.BICUBIC)
    # Wales run down the cloth: the grain is longer than wide. Finer than a pixel, so a hint.
    grain = _blur(_noise(mask.shape, 12), (1.3, 0.45))
    grain *= 0.011 / max(float(grain.std()), 1e-6)
    return np.clip(np.asarray(big) + grain, _LEAST, _MOST)


def _moved(field: Canvas, down: float, right: float) -> Canvas:
    """Move a field by whole pixels; what comes in is 0."""
    rows, cols = round(down), round(right)
    out = np.zeros_like(field)
    out[rows:, cols:] = field[: field.shape[0] - rows, : field.shape[1] - cols]
    return out


def drop_shadow(mask: Canvas, px: float) -> Canvas:
    """Shadow of a garment on the ground, 0 none .. 1 black; ``px`` pixels per millimetre."""
    small = Image.fromarray(mask).reduce(4)
    wide = _blur(np.asarray(small), 11.0 * px / 4)
    broad = np.asarray(Image.fromarray(wide).resize(mask.shape[::-1], Image.Resampling.BICUBIC))
    close = _blur(mask, 1.8 * px)
    return 0.34 * _moved(close, 2.6 * px, 1.4 * px) + 0.24 * _moved(broad, 11.0 * px, 6.0 * px)


def rim(mask: Canvas) -> Canvas:
    """Return a hairline round a garment's mask: 1 just outside it, 0 a few pixels away."""
    out: Canvas = np.clip(2.5 * _blur(mask, 1.1), 0.0, 1.0)
    return out
