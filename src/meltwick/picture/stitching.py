"""How seams, ribs and rows of stitches look, and where a worn cloth creases."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from meltwick.picture.shading import Crease
    from meltwick.types import Cloth, Panel

Line = NDArray[np.float64]


@dataclass(frozen=True)
class Seam:
    """One way of drawing lines of a garment. Lengths in millimetres."""

    kind: str
    lines: tuple[Line, ...]
    groove: float  # width of the soft furrow
    shade: float  # how much darker the furrow is, 0..1
    thread: float = 0.0
    dash: tuple[float, float] | None = None  # stitch and gap; None: no thread is seen


_STYLES: dict[str, tuple[float, float, float, tuple[float, float] | None]] = {
    "rib edge": (1.9, 0.17, 0.0, None),
    "sleeve seam": (1.9, 0.15, 0.0, None),
    "hem stitching": (1.5, 0.11, 0.8, (2.6, 1.2)),
    "cuff stitching": (1.5, 0.11, 0.8, (2.6, 1.2)),
    "cuff seam": (1.9, 0.17, 0.0, None),
    "seam": (1.9, 0.15, 0.0, None),
    "cuff rib": (1.1, 0.07, 0.0, None),
    "handle edge": (1.9, 0.17, 0.0, None),
    "handle stitching": (1.5, 0.11, 0.8, (2.6, 1.2)),
}


def _ribs(neck: Line, outline: Line) -> tuple[Line, ...]:
    """Short strokes across the neck rib, from its seam to the neck's edge."""
    steps = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(neck, axis=0).T))))
    along = np.arange(1.5, steps[-1], 3.0)
    feet = np.column_stack([np.interp(along, steps, neck[:, k]) for k in (0, 1)])
    # The nearest point of the panel's border lies straight across the rib.
    gaps = ((feet[:, None, :] - outline[None, :, :]) ** 2).sum(axis=2)
    tips = outline[gaps.argmin(axis=1)]
    return tuple(np.array([a, b]) for a, b in zip(feet, tips, strict=True))


def _dense(ring: Line, step: float = 1.0) -> Line:
    steps = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))))
    along = np.arange(0.0, steps[-1], step)
    return np.column_stack([np.interp(along, steps, ring[:, k]) for k in (0, 1)])


def _creases(armholes: list[Line]) -> list[Crease]:
    """Soft folds from the underarm towards the body and along the sleeve."""
    folds: list[Crease] = []
    for line in armholes:
        low = line[line[:, 1].argmax()]
        top = line[line[:, 1].argmin()]
        inward = -float(np.sign(low[0]) or 1.0)
        drop = float(low[1] - top[1])
        for across, down, half, height in (
            (0.42, 0.55, 9.0, 2.6),
            (0.62, 0.10, 7.0, 1.8),
            (0.20, 0.95, 10.0, 2.2),
            (-0.38, -0.10, 6.0, 1.6),
            (-0.26, -0.42, 6.0, 1.2),
        ):
            end = (float(low[0]) + inward * across * drop, float(low[1]) + down * drop)
            folds.append(((float(low[0]), float(low[1]) - 6.0), end, half, height))
    return folds


def sewing(cloth: Cloth, panel: Panel) -> tuple[list[Seam], list[Crease]]:
    """Choose what to draw on a panel: its seams and rows of stitches, and its creases."""
    seams: list[Seam] = []
    armholes: list[Line] = []
    for kind, (groove, shade, thread, dash) in _STYLES.items():
        lines = tuple(
            item.points
            for item in cloth.details
            if item.kind == kind and item.panel == panel.name and len(item.points) > 1
        )
        if not lines:
            continue
        seams.append(Seam(kind, lines, groove, shade, thread, dash))
        if kind == "rib edge":
            border = _dense(np.asarray(panel.outline.exterior.coords, dtype=np.float64))
            ribs = tuple(rib for line in lines for rib in _ribs(line, border))
            seams.append(Seam("rib", ribs, 1.1, 0.07))
        if kind == "sleeve seam":
            armholes = list(lines)
    return seams, _creases(armholes)


def label_corners(cloth: Cloth, panel: Panel) -> list[tuple[float, float]]:
    """Corners of the label sewn inside a panel [mm], or none."""
    for item in cloth.details:
        if item.kind == "label" and item.panel == panel.name:
            return [(float(x), float(y)) for x, y in item.points]
    return []
