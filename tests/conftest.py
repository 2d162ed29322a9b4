"""A made-up result: real cloth, colours put on by hand, so that pictures need no simulation."""

from collections.abc import Callable

import numpy as np
import pytest

# ruff: noqa: E402
from meltwick.study.kernels import settle_kernels

settle_kernels()  # before numba loads: tests and all that they start compile a kernel only once

from meltwick.cloth import build_cloth
from meltwick.shares import measure_shares
from meltwick.stock import load_stock
from meltwick.types import Balance, Component, FixedDye, Look, Result, RoundReport

GROUND = (0.95, 0.95, 0.94)
Paint = Callable[[np.ndarray, np.ndarray, np.ndarray], np.ndarray]


def slanted(x: np.ndarray, y: np.ndarray, panel: np.ndarray) -> np.ndarray:
    """Blue stripes at a slant, red ones on the back: (N, 3) sRGB."""
    stripe = np.sin((x + y) / 0.03) > 0.4
    dye = np.where(panel[:, None] == 0, (0.15, 0.25, 0.6), (0.7, 0.15, 0.2))
    return np.where(stripe[:, None], dye, GROUND)


@pytest.fixture(scope="session")
def make_result() -> Callable[..., Result]:
    def make(
        paint: Paint = slanted,
        pitch: float = 4e-3,
        blank: str = "tee",
        name: str = "harbour-tee",
    ) -> Result:
        stock = load_stock()
        shape = stock.blank(blank)
        cloth = build_cloth(shape, stock.fabric("cotton jersey"), pitch)
        srgb = paint(cloth.x, cloth.y, cloth.panel).astype(np.float64)
        away = np.abs(srgb - GROUND).max(axis=1)
        look = Look(srgb, np.zeros_like(srgb), 60.0 * away, GROUND)
        balance = Balance(0.01, 0.003, 0.001, 0.001, 0.003, 0.0005, 0.0015)
        shares = measure_shares(cloth, look)
        report = RoundReport(
            15.0, 0.06, 4.2, 2.2, 0.1, 0.0, 0.05, 120, balance, shares=shares.whole
        )
        return Result(
            plan=name,
            digest="0123456789abcdef" * 4,
            seed=7,
            detail_pitch=pitch,
            cloth=cloth,
            fixed=FixedDye((_COMPONENT,), np.zeros((cloth.size, 1))),
            look=look,
            shares=shares,
            rounds=(report,),
            seconds={"fold": 0.1, "percolate": 0.2, "march": 0.3},
            looks=(look,),
        )

    return make


_COMPONENT = Component("reactive blue 19", ((592.0, 45.0, 5.0),), 3e-3, 1.0, 4e-10)
