"""Pieces with colours put on by hand, to be photographed without simulating how they were dyed."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
from tests.dyed import Piece

from meltwick.cloth import build_cloth
from meltwick.colour.look import ground_lab, ground_srgb
from meltwick.colour.standard import to_srgb
from meltwick.shares import WHITE
from meltwick.stock import load_stock
from meltwick.types import Cloth, Look

PITCH = 4e-3
BLUE, RED = np.array([38.0, 4.0, -38.0]), np.array([46.0, 52.0, 22.0])
SPACING, RUN = 0.085, 35.0  # [m] and [deg] of the bands
Depth = Callable[[Cloth], np.ndarray]


def banded(cloth: Cloth) -> np.ndarray:
    """Bands that run up to the right: depth of colour by cell, 0 for undyed."""
    angle = np.radians(RUN)
    across = cloth.x * np.sin(angle) + cloth.y * np.cos(angle)
    return np.asarray(0.35 + 0.75 * np.sin(2 * np.pi * across / SPACING))


def blotched(cloth: Cloth, more: float = 0.15) -> np.ndarray:
    """Blotches some 10 cm wide that run over seams, others on the back than on the front."""
    side = 0.9 * cloth.panel
    waves = (
        np.sin(41.0 * cloth.x + 2.0 * side)
        + np.sin(37.0 * cloth.y - 3.0 * side + 1.0)
        + np.sin(29.0 * (cloth.x + cloth.y) + side)
    )
    return np.asarray(more + 0.6 * waves)


def deep(cloth: Cloth) -> np.ndarray:
    """Blotches that leave little undyed."""
    return blotched(cloth, 0.6)


def undyed(cloth: Cloth) -> np.ndarray:
    """Nothing."""
    return np.zeros(cloth.size)


@cache
def painted(blank: str, depth: Depth) -> Piece:
    """Paint a blank of the usual size: blue, and red to the right."""
    stock = load_stock()
    shape = stock.blank(blank)
    cloth = build_cloth(shape, stock.usual_fabric(blank), PITCH)
    bare = ground_lab(cloth.fabric)
    much = np.where(cloth.dyeable, np.clip(depth(cloth), 0.0, 1.0), 0.0)[:, None]
    right = np.clip(0.5 + 8.0 * cloth.x, 0.0, 1.0)[:, None]
    lab = bare + much * (BLUE + right * (RED - BLUE) - bare)
    delta = np.linalg.norm(lab - bare, axis=1)
    look = Look(to_srgb(lab), lab, delta, ground_srgb(cloth.fabric))
    result = SimpleNamespace(cloth=cloth, look=look)
    return Piece(f"{depth.__name__} {blank}", shape.name, shape.size, cast(Any, result))


def white_cells(piece: Piece, where: np.ndarray) -> float:
    """Share of some cells that is undyed."""
    return float(np.mean(piece.result.look.delta[where] <= WHITE))
