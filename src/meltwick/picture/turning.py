"""Pieces much longer than wide lie across the picture, their top to the left."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from meltwick.types import Cloth, Detail, Panel, Result

LONG = 1.6
"""A single panel longer than this many times its width is laid across; chosen."""

TURNED = "top at the left"
"""What is written under it."""


def lies_across(cloth: Cloth) -> bool:
    """Tell whether a piece is so long that upright it would be too small to see."""
    if len(cloth.panels) != 1:
        return False
    left, top, right, low = cloth.panels[0].outline.bounds
    return bool(low - top > LONG * (right - left))


def laid_across(result: Result) -> Result:
    """Turn a long piece a quarter to the left, so that its top lies at the left.

    Parameters
    ----------
    result : Result
        What a simulation gave.

    Returns
    -------
    Result
        The same cells with the same colours, turned for drawing: (x, y) has become (y, -x). A
        piece that need not lie across is returned as it is.
    """
    turned = cloth_across(result.cloth)
    return result if turned is result.cloth else replace(result, cloth=turned)


def cloth_across(cloth: Cloth) -> Cloth:
    """Turn a long cloth a quarter to the left; one that need not lie across stays as it is."""
    if not lies_across(cloth):
        return cloth
    cols = cloth.panels[0].index.shape[1]
    return replace(
        cloth,
        panels=tuple(_panel(panel, cols * cloth.pitch) for panel in cloth.panels),
        row=(cols - 1 - cloth.col).astype(np.int32),
        col=cloth.row,
        x=cloth.y,
        y=-cloth.x,
        details=tuple(_detail(line) for line in cloth.details),
        places={name: (y, -x) for name, (x, y) in cloth.places.items()},
    )


def _panel(panel: Panel, width: float) -> Panel:
    from shapely.affinity import affine_transform

    left, top = panel.origin
    return replace(
        panel,
        outline=affine_transform(panel.outline, [0.0, 1.0, -1.0, 0.0, 0.0, 0.0]),
        origin=(top, -(left + width)),
        index=np.ascontiguousarray(np.rot90(panel.index)),
    )


def _detail(line: Detail) -> Detail:
    return replace(line, points=np.column_stack([line.points[:, 1], -line.points[:, 0]]))
