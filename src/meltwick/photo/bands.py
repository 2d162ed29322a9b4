"""Bands across a piece: how far apart they lie, and which way they run."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from meltwick.types import Flags, Floats

NARROWEST, WIDEST = 8.0, 160.0  # [mm] from one band to the next
_STANDS_OUT = 0.2  # share of all variation that one band's waves must hold; chosen
_ONE_WAY = 0.57  # share of all waves as long, whichever way they run, that is theirs; chosen


@dataclass(frozen=True)
class Bands:
    """Parallel bands."""

    spacing: float  # [m] from one to the next
    direction: float  # [deg] in which they run: 0 level, 90 upright, up to the right between
    strength: float  # share of the lightness' variation that they hold


def bands(lightness: Floats, there: Flags, pitch: float) -> Bands | None:
    """Find bands in a face of a piece, if there are any.

    The power of the lightness' two-dimensional Fourier transform, under a window that falls off
    towards the outline, peaks at the waves that bands make. Blotches make waves as long in every
    direction; bands in one.

    Parameters
    ----------
    lightness : ndarray of shape (rows, cols)
        L* by place.
    there : ndarray of shape (rows, cols), bool
        Places that hold cloth.
    pitch : float
        Width of a place [m].

    Returns
    -------
    Bands or None
        None where no one wave stands out.
    """
    few = max(1, round(3e-3 / pitch))  # finer than bands need only takes time
    rows, cols = (few * (n // few) for n in there.shape)
    blocks = (rows // few, few, cols // few, few)
    whole: Flags = np.all(there[:rows, :cols].reshape(blocks), axis=(1, 3))
    lightness = lightness[:rows, :cols].reshape(blocks).mean(axis=(1, 3))
    there, mm = np.asarray(whole), 1000.0 * pitch * few
    inner = np.minimum(
        ndimage.distance_transform_edt(np.pad(there, 1))[1:-1, 1:-1] * mm / 60.0, 1.0
    )
    window = inner * inner * (3.0 - 2.0 * inner)
    if window.sum() < 100:
        return None
    level = np.where(there, lightness, 0.0)
    blur = WIDEST / (2.0 * mm)
    slow = ndimage.gaussian_filter(level * there, blur) / np.maximum(
        ndimage.gaussian_filter(there.astype(float), blur), 1e-3
    )
    waves = np.where(there, lightness - slow, 0.0)
    waves = (waves - np.average(waves, weights=window)) * window
    size = [int(2 ** np.ceil(np.log2(2 * n))) for n in waves.shape]
    power = np.abs(np.fft.fft2(waves, s=size)) ** 2
    down, across = np.fft.fftfreq(size[0], mm)[:, None], np.fft.fftfreq(size[1], mm)[None, :]
    often = np.hypot(down, across)
    power[(often < 1.0 / WIDEST) | (often > 1.0 / NARROWEST)] = 0.0
    total = float(power.sum())
    if total <= 0.0:
        return None
    # a wave's power is spread over about the window's own width
    extent = np.sqrt(window.sum()) * mm
    spread = [max(1.0, n * mm / extent / 2.0) for n in size]
    heap = ndimage.gaussian_filter(power, spread, mode="wrap")
    row, col = np.unravel_index(int(np.argmax(heap)), heap.shape)
    fy, fx = float(down[row, 0]), float(across[0, col])
    near, mirrored = np.hypot(down - fy, across - fx), np.hypot(down + fy, across + fx)
    # a real picture's power is the same at the opposite wave, and half of a band's is there
    here = (near < 1.5 / extent) & (near <= mirrored)
    weight = power * here
    alike = float(power[np.abs(often - np.hypot(fy, fx)) < 1.5 / extent].sum())
    held, of_alike = (2.0 * float(weight.sum()) / whole for whole in (total, alike))
    if held < _STANDS_OUT or of_alike < _ONE_WAY:
        return None
    fy = float((weight * down).sum() / weight.sum())
    fx = float((weight * across).sum() / weight.sum())
    # crests run across the wave; y is down in the raster, up for a maker
    run = np.degrees(np.arctan2(fx, fy)) % 180.0
    return Bands(1e-3 / float(np.hypot(fx, fy)), float(run), held)
