"""Even out a photograph's light, and find its undyed cloth.

Dye only takes light away, so undyed cloth is the brightest that a piece shows, in every channel
at once; and it is one colour, so it stands out as a crowd among all that is tinted. Slow light
and shade is what the ground and the undyed cloth show alike.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from meltwick.photo.parting import polynomial
from meltwick.types import Flags, Floats

NEAR = 0.06  # [-] of light: how far the crowd of undyed cloth reaches
_TILES = 14  # along the longer side of the picture
_BRIGHTER = 0.02  # share of cloth that may be brighter than undyed cloth, by folds and grain
_CROWD = 0.004  # share of cloth that undyed cloth takes at least, to be told
_FLOOR = 0.015  # [-] to which a tile of undyed cloth is trusted
_ROUNDS = 6
_SAMPLES = 80_000  # cells that are looked at


@dataclass(frozen=True)
class Reference:
    """Undyed cloth, or what tells its colour, at a place of the picture."""

    linear: Floats  # (3,) light that undyed cloth gives, or would give, there
    place: Floats  # (2,) pixels

    def under(self, surface: Floats, shape: tuple[int, int]) -> Floats:
        """Logarithm of the light that it would give at the middle of the picture, (3,)."""
        powers = polynomial(self.place[1:], self.place[:1], shape)
        return np.log(np.maximum(self.linear, 1e-4)) - float((powers @ surface)[0])


@dataclass(frozen=True)
class Light:
    """The light on a piece."""

    white: Floats  # (3,) linear light of undyed cloth at the middle of the picture
    terms: Floats  # of the slow surface: logarithm of light by `polynomial`
    shape: tuple[int, int]  # of the picture that the surface belongs to
    uneven: float  # [-] standard deviation of undyed cloth about the surface, tile by tile
    crowd: float  # share of the cloth that is undyed by this light
    clear: bool  # undyed cloth stands out as a crowd, and hardly anything is brighter

    def at(self, pixels: Floats) -> Floats:
        """Share of the middle's light at some pixels, (n,)."""
        powers = polynomial(pixels[:, 1], pixels[:, 0], self.shape)
        return np.exp(powers @ self.terms)

    @property
    def swing(self) -> float:
        """Darkest over brightest light on the picture."""
        rows, cols = np.mgrid[0 : self.shape[0] : 24j, 0 : self.shape[1] : 24j]
        light = self.at(np.column_stack([cols.ravel(), rows.ravel()]))
        return float(light.min() / light.max())


def even_light(
    cells: Floats,
    places: Floats,
    ground: Floats,
    ground_places: Floats,
    shape: tuple[int, int],
    white: Reference | None = None,
) -> Light:
    """Find the light from the cloth and the ground.

    Parameters
    ----------
    cells : ndarray of shape (n, 3)
        Linear light of the cloth's cells.
    places : ndarray of shape (n, 2)
        Their pixels.
    ground, ground_places : ndarray of shape (m, 3) and (m, 2)
        The same of the ground; m may be 0.
    shape : tuple of int
        Rows and columns of the picture.
    white : Reference, optional
        Linear light of undyed cloth where it is known; else the crowd is looked for.

    Returns
    -------
    Light
    """
    few = slice(None, None, len(cells) // _SAMPLES + 1)
    cells, places = cells[few], places[few]
    tone = np.log(np.maximum(cells, 1e-4))
    around = _tiles(np.log(np.maximum(ground, 1e-4)).mean(axis=1), ground_places, shape)
    powers = polynomial(places[:, 1], places[:, 0], shape)
    surface = _surface(around, None, shape)
    for turn in range(_ROUNDS):
        flat = tone - (powers @ surface)[:, None]
        found, clear = _crowd(flat) if white is None else (white.under(surface, shape), True)
        near = _near(flat, found, NEAR * (2.0 if turn < 2 else 1.0))
        if np.count_nonzero(near) < 50:
            break
        left = (tone[near] - found).mean(axis=1)
        undyed = _tiles(left, places[near], shape)
        new = _surface(around, undyed, shape)
        if np.abs(new - surface).max() < 1e-3:
            surface = new
            break
        surface = new
    flat = tone - (powers @ surface)[:, None]
    found, clear = _crowd(flat) if white is None else (white.under(surface, shape), True)
    near = _near(flat, found, NEAR)
    uneven = 0.0
    if np.count_nonzero(near) >= 50:
        level = _tiles((flat[near] - found).mean(axis=1), places[near], shape)
        uneven = float(np.sqrt(np.average(level[2] ** 2, weights=np.sqrt(level[3]))))
    return Light(np.exp(found), surface, shape, uneven, float(near.mean()), clear)


def _near(flat: Floats, white: Floats, reach: float) -> Flags:
    """Cells whose light is that of undyed cloth within so much, in every channel."""
    return np.asarray((np.abs(flat - white) < reach).all(axis=1))


def _crowd(flat: Floats) -> tuple[Floats, bool]:
    """Logarithm of the light of undyed cloth, and whether it can be told."""
    step = 0.02
    top = np.quantile(flat, 0.999, axis=0) + 4 * step
    depth = np.floor((top - flat) / step).astype(np.intp)
    count = 40  # bins from the brightest down: to about 0.45 of its light
    inside = ((depth >= 0) & (depth < count)).all(axis=1)
    table = np.zeros((count,) * 3)
    np.add.at(table, tuple(depth[inside].T), 1.0 / len(flat))
    table = ndimage.gaussian_filter(table, 1.5, mode="constant")
    # a place counts by its crowd, and less the more cloth is brighter than it
    outshone = 1.0 - _dimmer(flat, top, step, count)
    worth = table * np.exp(-0.5 * (outshone / _BRIGHTER) ** 2)
    best = np.unravel_index(int(np.argmax(worth)), worth.shape)
    white = top - (np.array(best) + 0.5) * step
    for reach in (0.06, 0.045, 0.035, 0.03):
        for _ in range(4):
            near = _near(flat, white, reach)
            if not near.any():
                break
            white = 0.5 * (flat[near].mean(axis=0) + np.median(flat[near], axis=0))
    crowd = float(_near(flat, white, NEAR).mean())
    above = float((flat > white + NEAR).any(axis=1).mean())
    return white, crowd >= _CROWD and above <= 3.0 * _BRIGHTER


def _dimmer(flat: Floats, top: Floats, step: float, count: int) -> Floats:
    """Share of cloth that is nowhere brighter than each place of the table, within a hair."""
    depth = np.clip(np.floor((top - flat) / step) + 2, 0, count - 1).astype(np.intp)
    table = np.zeros((count,) * 3)
    np.add.at(table, tuple(depth.T), 1.0 / len(flat))
    for axis in range(3):
        table = np.flip(np.cumsum(np.flip(table, axis), axis=axis), axis)
    return table


def _tiles(
    values: Floats, places: Floats, shape: tuple[int, int]
) -> tuple[Floats, Floats, Floats, Floats]:
    """Row, column, median and number of the values in each tile that holds any."""
    side = max(shape) / _TILES
    row = (places[:, 1] // side).astype(np.intp)
    col = (places[:, 0] // side).astype(np.intp)
    key = row * (_TILES + 1) + col
    order = np.argsort(key, kind="stable")
    keys, first = np.unique(key[order], return_index=True)
    found = []
    for part in np.split(order, first[1:]) if len(keys) else []:
        if len(part) >= 20:
            middle = places[part].mean(axis=0)
            found.append((middle[1], middle[0], float(np.median(values[part])), float(len(part))))
    table = np.array(found).reshape(-1, 4)
    return table[:, 0], table[:, 1], table[:, 2], table[:, 3]


def _surface(
    ground: tuple[Floats, Floats, Floats, Floats],
    undyed: tuple[Floats, Floats, Floats, Floats] | None,
    shape: tuple[int, int],
) -> Floats:
    """Fit the slow surface to the tiles of both; its constant is 0."""
    terms = 6
    total, right = np.zeros((terms + 2, terms + 2)), np.zeros(terms + 2)
    for number, tiles in enumerate((ground, undyed)):
        if tiles is None or len(tiles[0]) < 3:
            continue
        powers = polynomial(tiles[0], tiles[1], shape)
        powers[:, 0] = 0.0
        table = np.column_stack([powers, np.zeros((len(powers), 2))])
        # the undyed cloth's own level is known: a shift of it would be another white
        table[:, terms + number] = 1.0
        weight = np.ones(len(table))
        for _ in range(6):
            heavy = table * weight[:, None]
            part = np.linalg.lstsq(heavy, weight * tiles[2], rcond=1e-6)[0]
            left = tiles[2] - table @ part
            scale = 1.4826 * float(np.median(np.abs(left))) + 1e-4
            weight = 1.0 / np.sqrt(1.0 + (left / (2.0 * scale)) ** 2)
        trust = np.hypot(_FLOOR, scale)
        heavy = table * (weight / trust)[:, None]
        total += heavy.T @ heavy
        right += heavy.T @ (weight / trust * tiles[2])
    total += np.diag([1e-6] + [30.0] * 2 + [60.0] * 3 + [1e-6] * 2)
    surface = np.linalg.solve(total, right)[:terms]
    surface[0] = 0.0
    return np.asarray(surface)
