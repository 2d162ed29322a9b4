"""Grounds that a garment may lie on, made up: linear reflectance, (rows, columns, 3)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw
from scipy.ndimage import gaussian_filter, map_coordinates

Floats = np.ndarray


@dataclass(frozen=True)
class Patch:
    """A rectangle of the table: its size in samples, and how fine they are."""

    rows: int
    cols: int
    fine: float  # [samples/mm]

    def millimetres(self, lean: float = 0.0) -> tuple[Floats, Floats]:
        """Where each sample lies [mm], along and across a direction [rad]."""
        y, x = (np.mgrid[: self.rows, : self.cols] / self.fine).astype(np.float32)
        c, s = np.float32(np.cos(lean)), np.float32(np.sin(lean))
        return c * x + s * y, c * y - s * x


def rough(
    patch: Patch,
    rng: np.random.Generator,
    grain: float,
    along: float = 1.0,
    lean: float = 0.0,
) -> Floats:
    """Smooth noise of unit spread, as long as ``grain`` [mm], ``along`` times that one way."""
    if along == 1.0 and lean == 0.0:
        step = max(1.0, 0.5 * grain * patch.fine)
        small = (int(patch.rows / step) + 4, int(patch.cols / step) + 4)
        field = Image.fromarray(rng.standard_normal(small, dtype=np.float32))
        wide = (int(small[1] * step) + 1, int(small[0] * step) + 1)
        out = np.asarray(field.resize(wide, Image.Resampling.BICUBIC))
        out = out[: patch.rows, : patch.cols]
    else:
        u, v = patch.millimetres(lean)
        u, v = u / (0.5 * grain * along), v / (0.5 * grain)
        u, v = u - u.min(), v - v.min()
        small = (int(v.max()) + 4, int(u.max()) + 4)
        field = rng.standard_normal(small, dtype=np.float32)
        order = 1 if grain < 20 else 3  # a coarse field shows its facets
        out = map_coordinates(field, [v + 1, u + 1], order=order, mode="nearest")
    return (out - out.mean()) / max(float(out.std()), 1e-6)


def cloudy(patch: Patch, rng: np.random.Generator, grain: float, octaves: int = 5) -> Floats:
    """Noise of many sizes, the finer the weaker, of unit spread."""
    out = sum(rough(patch, rng, grain / 2**n) * 0.6**n for n in range(octaves))
    return out / max(float(np.std(out)), 1e-6)


def _tint(tone: tuple[float, float, float], factor: Floats) -> Floats:
    return (np.array(tone, dtype=np.float32) * factor[..., None]).astype(np.float32)


def wood(patch: Patch, rng: np.random.Generator) -> Floats:
    """Boards with grain and gaps, pale oak to walnut."""
    tones = ((0.42, 0.27, 0.155), (0.30, 0.175, 0.09), (0.17, 0.092, 0.05), (0.36, 0.20, 0.10))
    tone = np.array(tones[rng.integers(len(tones))], dtype=np.float32)
    lean = float(rng.choice([0.0, np.pi / 2]) + rng.uniform(-0.25, 0.25))
    u, v = patch.millimetres(lean)
    width, length = float(rng.uniform(85, 150)), float(rng.uniform(900, 1600))
    board = np.floor(v / width).astype(np.int64)
    board -= board.min()
    count = int(board.max()) + 1
    shifts = rng.uniform(0, length, count)
    piece = np.floor((u + shifts[board]) / length).astype(np.int64)
    piece -= piece.min()
    number = board * (int(piece.max()) + 1) + piece
    own = rng.standard_normal((int(number.max()) + 1, 3)).astype(np.float32)
    # rings of the tree, cut lengthwise: bands across the board that bow along it
    bow = 14 * rough(patch, rng, 90, 5.0, lean) + 5 * rough(patch, rng, 30, 6.0, lean)
    rings = np.sin(2 * np.pi * (v + bow + 40 * own[number, 0]) / (14 + 4 * own[number, 1].clip(-2)))
    fibre = rough(patch, rng, 1.6, 40.0, lean) + 0.7 * rough(patch, rng, 5, 25.0, lean)
    pores = np.clip(rough(patch, rng, 1.2, 14.0, lean) - 1.4, 0, 1.5)
    light = 1 + 0.13 * own[number, 2] + 0.10 * rings + 0.07 * fibre - 0.16 * pores
    within = np.minimum(v % width, width - v % width)
    ends = (u + shifts[board]) % length
    gap = np.minimum(within, np.minimum(ends, length - ends))
    light *= 1 - 0.72 * np.exp(-((gap / 1.3) ** 2))
    out = _tint(tuple(tone), np.clip(light, 0.05, 1.7))
    # light wood is yellower where it is paler
    out[..., 2] *= np.clip(1 - 0.06 * rings - 0.05 * fibre, 0.7, 1.3)
    return out


def paper(patch: Patch, rng: np.random.Generator) -> Floats:
    """A sheet of card: sand, brown wrapping paper, grey or slate."""
    tones = ((0.52, 0.43, 0.32), (0.44, 0.31, 0.19), (0.36, 0.36, 0.36), (0.16, 0.17, 0.185))
    tone = tones[rng.integers(len(tones))]
    light = 1 + 0.010 * cloudy(patch, rng, 300) + 0.012 * rough(patch, rng, 1.5)
    light += 0.012 * np.clip(rough(patch, rng, 1.2, 6.0, 0.4) - 1.5, 0, 2)
    return _tint(tone, light)


def concrete(patch: Patch, rng: np.random.Generator) -> Floats:
    """A cast floor: blotches, sand and pits."""
    tone = np.array((0.34, 0.325, 0.30)) * rng.uniform(0.6, 1.3)
    light = 1 + 0.09 * cloudy(patch, rng, 260) + 0.05 * cloudy(patch, rng, 14, 4)
    light -= 0.35 * np.clip(rough(patch, rng, 2.2) - 2.1, 0, 1.2)
    light += 0.20 * np.clip(rough(patch, rng, 1.6) - 2.0, 0, 1.0)
    return _tint(tuple(tone), np.clip(light, 0.2, 1.6))


def dark_cloth(patch: Patch, rng: np.random.Generator) -> Floats:
    """A woven cover, near black, navy or dark green, with soft folds."""
    tones = ((0.022, 0.022, 0.024), (0.02, 0.028, 0.06), (0.02, 0.04, 0.03), (0.05, 0.02, 0.025))
    tone = tones[rng.integers(len(tones))]
    lean = float(rng.uniform(-0.3, 0.3))
    u, v = patch.millimetres(lean)
    weave = np.sin(2 * np.pi * u / 1.9) * np.sin(2 * np.pi * v / 1.9)
    folds = rough(patch, rng, 70, 4.0, float(rng.uniform(0, np.pi)))
    folds = np.gradient(gaussian_filter(folds, 2), axis=1)
    folds = folds / max(float(folds.std()), 1e-6)
    light = 1 + 0.10 * weave + 0.10 * rough(patch, rng, 1.5) + 0.12 * np.clip(folds, -2.5, 2.5)
    light += 0.06 * cloudy(patch, rng, 200)
    return _tint(tone, np.clip(light, 0.2, 1.9))


LAWN = 900.0  # side of the square of lawn that is drawn, and repeated [mm]


def grass(patch: Patch, rng: np.random.Generator) -> Floats:
    """A lawn: blades over blades over dark earth."""
    fine = patch.fine
    side = int(LAWN * fine)
    count = int(LAWN**2 / 70)
    plate = Image.new("RGB", (side, side), (38, 46, 22))
    hue = float(rng.normal(0, 1))
    for level, below in ((0.55, 0.86), (0.78, 0.86), (1.0, 1.0)):
        _blades(plate, rng, count, fine, level, hue)
        if below < 1:  # they lie in the shade of those that come
            plate = plate.point(lambda value: int(0.86 * value))
    lawn = gaussian_filter(np.asarray(plate, dtype=np.float32) / 255, (0.5, 0.5, 0), mode="wrap")
    begin = rng.integers(0, side, 2)
    rows, cols = (np.arange(n) + k for n, k in zip((patch.rows, patch.cols), begin, strict=True))
    light = 1 + 0.10 * cloudy(patch, rng, 160, 3)
    return lawn[(rows % side)[:, None], (cols % side)[None, :]] ** 2.2 * light[..., None]


def _blades(
    plate: Image.Image,
    rng: np.random.Generator,
    count: int,
    fine: float,
    level: float,
    hue: float,
) -> None:
    """Draw bent blades of 18 to 60 mm; those that pass an edge come in again at the other."""
    side = plate.width
    turn = rng.normal(-np.pi / 2, 0.8, count) + rng.choice([0.0, np.pi], count, p=[0.7, 0.3])
    bend = turn + rng.normal(0, 0.35, count)
    half = 0.5 * rng.uniform(18, 60, count) * fine
    x, y = rng.uniform(0, side, (2, count))
    joint = [(x, y)]
    for way in (turn, bend):
        joint.append((joint[-1][0] + half * np.cos(way), joint[-1][1] + half * np.sin(way)))
    points = np.stack([np.column_stack(pair) for pair in joint], axis=1)
    thick = np.maximum(1, np.rint(rng.uniform(1.2, 2.9, count) * fine)).astype(int).tolist()
    tone = level * (1 + 0.18 * rng.standard_normal(count))
    dry = np.clip(rng.normal(0.15 + 0.06 * hue, 0.18, count), 0, 1)
    ink = np.column_stack([82 + 10 * hue + 85 * dry, 122 + 28 * dry, 40 + 30 * dry])
    inks = np.clip(ink * tone[:, None], 5, 235).astype(int)
    shift = -side * np.floor(points[:, 2] / side)
    again = np.flatnonzero(shift.any(axis=1))
    points = np.concatenate([points, points[again] + shift[again][:, None, :]])
    pen = ImageDraw.Draw(plate)
    for number, line in enumerate(points.reshape(len(points), 6).tolist()):
        blade = number if number < count else int(again[number - count])
        pen.line(line, fill=tuple(inks[blade].tolist()), width=thick[blade])


def sheet(patch: Patch, rng: np.random.Generator) -> Floats:
    """A white bed sheet, as white as the cloth, with folds: no ground to measure on."""
    light = 1 + 0.03 * np.clip(
        np.gradient(rough(patch, rng, 90, 3.0, float(rng.uniform(0, 3))), axis=1) * 20, -2, 2
    )
    return _tint((0.80, 0.80, 0.79), light * (1 + 0.01 * rough(patch, rng, 1.5)))


def carpet(patch: Patch, rng: np.random.Generator, colours: Floats) -> Floats:
    """A patterned carpet, woven in colours [linear] picked from those given."""
    u, v = patch.millimetres(float(rng.uniform(-0.2, 0.2)))
    side = float(rng.uniform(45, 80))
    a, b = np.floor(u / side).astype(int), np.floor(v / side).astype(int)
    own = rng.integers(0, len(colours), (64, 64))
    inner = np.abs(u / side % 1 - 0.5) + np.abs(v / side % 1 - 0.5) < 0.38
    number = own[a % 64, b % 64]
    number = np.where(inner, own[(a + 17) % 64, (b + 5) % 64], number)
    pile = 1 + 0.10 * rough(patch, rng, 2.5) + 0.05 * rough(patch, rng, 8)
    return colours[number].astype(np.float32) * pile[..., None]


GROUNDS: dict[str, Callable[[Patch, np.random.Generator], Floats]] = {
    "wood": wood,
    "paper": paper,
    "grass": grass,
    "concrete": concrete,
    "dark cloth": dark_cloth,
}
"""Those on which a garment can be measured; `sheet` and `carpet` are not among them."""
