"""The bundle as it lies, from above and from the side: its own cells, lit, with powder on them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

from meltwick.picture import draw

if TYPE_CHECKING:
    from meltwick.picture.draw import Canvas
    from meltwick.types import Bundle, Cloth, Floats

    Side = Literal["above", "side"]

CLOTH = (246, 243, 236)
STRING = (150, 112, 74)
POLE = (196, 190, 178)
PLATE = (201, 176, 140)
FILM = (206, 219, 226)
_LIGHT = (-0.45, -0.60, 0.66)  # towards the upper left and the eye
_FULL = 0.25  # [kg/m2] of powder that hides two thirds of what it can; chosen
_MOST = 0.82  # share of the cloth that any powder hides, so that the folds still show; chosen
_AMBIENT = 0.5  # share of the light that comes from everywhere; chosen
_RELIEF = 1.3  # heights are drawn so many times steeper, or cloth on cloth would not show; chosen


@dataclass(frozen=True)
class Heap:
    """One powder as it lies: its colour, and how much of it is on each cell."""

    name: str
    colour: tuple[float, float, float]  # sRGB 0..1
    mass: Floats  # (N,) [kg]


@dataclass(frozen=True)
class Scene:
    """What is drawn: a bundle, its powder and what it is wound on or lies on."""

    cloth: Cloth
    bundle: Bundle
    heaps: Sequence[Heap]
    pole: float = 0.0  # [m] diameter; 0: no pole
    incline: float = 0.0  # [rad]
    seal: tuple[int, int, int] = STRING  # sRGB of what lies on sealed cloth: thread, plate, film
    upright: bool = False  # pleats stand on edge, so that the pile's faces show from the side


@dataclass(frozen=True)
class Field:
    """Cells spread on a picture: what share of each pixel they cover, and their means there."""

    cover: Canvas  # (H, W) 0..1
    dense: Canvas  # (H, W) cells' shares, over their mean
    values: tuple[Canvas, ...]


def _spread(
    x: Floats, y: Floats, weight: Floats, values: Sequence[Floats], size: tuple[int, int], px: float
) -> Field:
    """Spread cells on pixels, each as a soft spot as wide as itself.

    Parameters
    ----------
    x, y : ndarray of shape (N,)
        [px].
    weight : ndarray of shape (N,)
        Of each cell: the share of it that is seen.
    values : sequence of ndarray of shape (N,)
        Averaged by weight.
    size : tuple of int
        Height and width [px].
    px : float
        Width of a cell [px].
    """
    from scipy.ndimage import gaussian_filter

    rows, cols = size
    inside = (x >= 0) & (y >= 0) & (x < cols) & (y < rows) & (weight > 0.0)
    at = y[inside].astype(np.int64) * cols + x[inside].astype(np.int64)

    def laid(share: Floats, sigma: float) -> Canvas:
        flat = np.bincount(at, share[inside], rows * cols).reshape(rows, cols)
        out: Canvas = gaussian_filter(flat, sigma, mode="constant", truncate=3.0)
        return out.astype(np.float32)

    wide = laid(weight, 1.1 * px)
    found = laid(weight, 0.55 * px)
    mean = float(np.median(wide[wide > 0.05 * wide.max()])) if wide.max() > 0.0 else 1.0
    cover = np.clip(wide / (0.25 * mean) - 0.35, 0.0, 1.0)
    safe = np.maximum(wide, 1e-9)
    means = tuple((laid(weight * value, 1.1 * px) / safe).astype(np.float32) for value in values)
    return Field(cover.astype(np.float32), found / mean, means)


def _relief(height: Canvas, cover: Canvas) -> Canvas:
    """Light on a surface, as a factor: Lambert's law, and darker in its hollows."""
    from scipy.ndimage import gaussian_filter

    down, right = np.gradient(height * _RELIEF)
    normal = np.stack([-right, -down, np.ones_like(right)])
    normal /= np.sqrt((normal**2).sum(axis=0))
    lit = np.tensordot(np.array(_LIGHT), normal, axes=1) / _LIGHT[2]
    around = gaussian_filter(height * cover, 9.0) / np.maximum(gaussian_filter(cover, 9.0), 1e-3)
    hollow = np.clip((around - height) / 14.0, -0.3, 1.0)
    lit = _AMBIENT + (1.0 - _AMBIENT) * np.maximum(lit, 0.0)
    out: Canvas = np.clip(lit * (1.0 - 0.4 * hollow), 0.25, 1.12).astype(np.float32)
    return out


def _seen(scene: Scene, side: Side) -> tuple[Floats, Floats, Floats, Floats]:
    """Where cells stand on the picture [m], right and down, how near, and how much is seen."""
    bundle = scene.bundle
    if side == "above":
        closed = 0.0 if scene.upright else sealed(bundle)
        return bundle.along, -bundle.across, bundle.height, np.maximum(bundle.upward, closed)
    middle = 0.5 * (bundle.across.min() + bundle.across.max())
    down = np.zeros_like(bundle.upward) if bundle.downward is None else bundle.downward
    flank = np.maximum(bundle.exposed - bundle.upward - down, 0.0)
    half = max(0.5 * float(np.ptp(bundle.across)), 1e-6)
    toward = np.clip((middle - bundle.across) / half, 0.0, 1.0)
    # a roof that slants away is seen too, the more the nearer it is to the edge
    seen = (flank + 0.35 * bundle.upward + sealed(bundle) * scene.upright) * np.sqrt(toward)
    return bundle.along * np.cos(scene.incline), -bundle.height, middle - bundle.across, seen


def sealed(bundle: Bundle) -> NDArray[np.bool_]:
    """Whether a cell of the outside lies under what lets no water through, (N,)."""
    return np.asarray((bundle.covered >= 1.0) & (bundle.exposed <= 0.0))


def hidden(load: NDArray[Any]) -> NDArray[Any]:
    """Share of the cloth that powder hides, of all that it can; load in kg/m2, of any shape."""
    return np.asarray(1.0 - np.exp(-load / _FULL))


def extent(scene: Scene, side: Side) -> tuple[float, float]:
    """Width and height of the bundle as it is seen [m], its pole's ends left out."""
    right, down, _, _ = _seen(scene, side)
    shown = scene.bundle.exposed > 0.0
    return float(np.ptp(right[shown])), float(np.ptp(down[shown]))


def paint_bundle(
    canvas: Canvas, scene: Scene, side: Side, middle: tuple[float, float], scale: float
) -> tuple[float, float, float, float]:
    """Paint the bundle on a sheet.

    Parameters
    ----------
    canvas : ndarray of shape (H, W, 3)
        Linear light; painted on in place.
    scene : Scene
    side : {"above", "side"}
    middle : tuple of float
        Where its middle goes [px].
    scale : float
        [px/m].

    Returns
    -------
    tuple of float
        Left, top, right and low of what was painted [px].
    """
    right, down, near, seen = _seen(scene, side)
    shown = scene.bundle.exposed > 0.0
    x0 = 0.5 * float(right[shown].min() + right[shown].max())
    y0 = 0.5 * float(down[shown].min() + down[shown].max())
    x, y = middle[0] + scale * (right - x0), middle[1] + scale * (down - y0)
    size = (canvas.shape[0], canvas.shape[1])
    cell = scale * scene.cloth.pitch
    under = scene.bundle.covered
    powder = [heap.mass / scene.cloth.pitch**2 for heap in scene.heaps]
    values = [near * scale, under, sealed(scene.bundle).astype(np.float64), *powder]
    field = _spread(x, y, seen, values, size, cell)
    if scene.pole:
        _paint_pole(canvas, scene, side, (x0, y0), middle, scale)
    height, string, shut, *loads = field.values
    light = draw.decode(np.array(CLOTH) / 255.0) * np.ones((*size, 1), np.float32)
    line = np.clip(0.86 + 0.14 * field.dense, 0.72, 1.0)  # the line between two layers is dark
    light *= (_relief(height, field.cover) * line)[..., None]
    _grains(light, scene.heaps, loads)
    relief = _relief(height, field.cover)[..., None]
    for colour, share in ((STRING, string), (scene.seal, shut)):
        cover = np.clip(3.0 * share - 0.6, 0.0, 1.0).astype(np.float32)
        draw.lay(light, draw.decode(np.array(colour) / 255.0) * relief, cover)
    _shadow(canvas, field.cover)
    draw.lay(canvas, np.clip(light, 0.0, 1.0), field.cover)
    return (
        float(x[shown].min()),
        float(y[shown].min()),
        float(x[shown].max()),
        float(y[shown].max()),
    )


def _shadow(canvas: Canvas, cover: Canvas) -> None:
    """Let the bundle throw a soft shadow down to the right."""
    from scipy.ndimage import gaussian_filter, shift

    thrown = gaussian_filter(shift(cover, (5.0, 4.0), order=1), 6.0)
    canvas *= (1.0 - 0.32 * thrown)[..., None]


def _grains(light: Canvas, heaps: Sequence[Heap], loads: Sequence[Canvas]) -> None:
    """Sprinkle powder: the more there is, the more pixels show it; grain by grain."""
    rng = np.random.Generator(np.random.Philox(key=7))
    for heap, load in zip(heaps, loads, strict=True):
        chance = rng.random(light.shape[:2], dtype=np.float32)
        cover = np.where(chance < _MOST * hidden(load), 0.92, 0.0).astype(np.float32)
        draw.lay(light, draw.decode(np.array(heap.colour)), cover)


def _paint_pole(
    canvas: Canvas,
    scene: Scene,
    side: Side,
    origin: tuple[float, float],
    middle: tuple[float, float],
    scale: float,
) -> None:
    """Paint the pole's ends, which stand out on both sides."""
    length, thick = scene.bundle.length, scene.pole
    out = max(0.04, 0.12 * length)
    tilt = scene.incline if side == "side" else 0.0
    squeeze = np.cos(scene.incline) if side == "side" else 1.0
    ends = np.array([-out, length + out])
    x = middle[0] + scale * (ends * squeeze - origin[0])
    rise = ends * np.sin(tilt)
    y = middle[1] + scale * (-rise - origin[1])
    half = 0.5 * thick * scale
    view = draw.View(1.0, 0.0, 0.0, canvas.shape[1], canvas.shape[0])
    ring = np.array(
        [(x[0], y[0] - half), (x[1], y[1] - half), (x[1], y[1] + half), (x[0], y[0] + half)]
    )
    mask = draw.outline_mask(view, [(ring, True)])
    rows = np.arange(canvas.shape[0])[:, None]
    cols = np.arange(canvas.shape[1])[None, :]
    centre = y[0] + (y[1] - y[0]) * (cols - x[0]) / (x[1] - x[0])
    across = np.clip((rows - centre) / max(half, 1.0), -1.0, 1.0)
    shade = (0.72 + 0.28 * np.sqrt(1.0 - across**2) - 0.12 * across).astype(np.float32)
    draw.lay(canvas, draw.decode(np.array(POLE) / 255.0) * shade[..., None], mask)
