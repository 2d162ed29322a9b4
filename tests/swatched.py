"""Photographs of the stock's own dyes: a card of swatches, a split test."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from tests import cards, halos

from meltwick.stock import load_stock

STOCK = load_stock(Path("no such folder"))
SPLIT = (("reactive orange 16", 0.8, 130.0, 12.0), ("reactive red 2", 1.2, 80.0, 10.0))
"""Parts of a split test: component, % in the disc's middle, radius and edge [px]."""


def ks(dye: str) -> np.ndarray:
    """K/S per %, (31,)."""
    return sum(share * halos.bands(*part.bands) for part, share in STOCK.dye(dye).parts)


def cloth(dye: str, percent: float) -> np.ndarray:
    """Reflectance of jersey with so much powder in % of its weight, 70 % of it kept."""
    k = (1 - cards.COTTON) ** 2 / (2 * cards.COTTON)
    if dye != "undyed":
        k = k + 0.7 * percent * ks(dye)
    return 1 + k - np.sqrt(k * k + 2 * k)


def card(rows: Sequence[Sequence[str]], **how: float) -> bytes:
    """Photograph swatches at 2 %, or at what a name carries as in ``tide 4%``; - is none."""

    def spectrum(name: str) -> np.ndarray | None:
        dye, _, depth = name.partition(" ")
        return None if dye == "-" else cloth(dye, float(depth.strip("%") or 2.0))

    spectra = [[spectrum(name) for name in row] for row in rows]
    return cards.photograph(cards.Made(spectra, quality=85, size=(640, 480), **how))


def split_test() -> bytes:
    """Photograph a pinch of orange and red that ran apart."""
    parts = [
        (halos.bands(*STOCK.components[name].bands), amount, radius, edge)
        for name, amount, radius, edge in SPLIT
    ]
    return halos.photograph(parts, ((240, 240),), (480, 480))
