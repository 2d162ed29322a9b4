"""Several bundles side by side in one tray: one network, one ice, one liquor."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace
from typing import Any

import numpy as np

from meltwick.types import Bundle, Cloth, Fabric, Floats, Panel

GAP = 0.05  # [m] between two bundles; chosen
_PAIRED = ("contacts", "film")
_ALONE = ("length", "strain99")


def _fabric(cloths: Sequence[Cloth]) -> Fabric:
    """Give every cell its own cloth's numbers; what is one number for all stays one."""
    first = cloths[0].fabric
    each: dict[str, Any] = {}
    for name in Fabric.BY_CELL:
        values = [getattr(cloth.fabric, name) for cloth in cloths]
        if len(set(values)) > 1:
            sizes = [cloth.size for cloth in cloths]
            each[name] = np.repeat(np.array(values, dtype=np.float64), sizes)
    return replace(first, **each) if each else first


def one_cloth(cloths: Sequence[Cloth]) -> Cloth:
    """Put cloths after one another: cells, panels, edges and seams; they are not joined.

    Parameters
    ----------
    cloths : sequence of Cloth
        Of one pitch, N1, N2 .. cells.

    Returns
    -------
    Cloth
        N1 + N2 .. cells.
    """
    if len(cloths) == 1:
        return cloths[0]
    starts = np.cumsum([0, *(cloth.size for cloth in cloths)])
    panels: list[Panel] = []
    shift: list[int] = []
    for cloth, start in zip(cloths, starts, strict=False):
        shift.append(len(panels))
        for panel in cloth.panels:
            index = np.where(panel.index >= 0, panel.index + np.int32(start), -1)
            panels.append(
                replace(panel, index=index.astype(np.int32), first=panel.first + int(start))
            )

    def joined(name: str) -> Any:
        return np.concatenate([getattr(cloth, name) for cloth in cloths])

    def numbered(name: str) -> Any:
        parts = (getattr(c, name) + np.int32(s) for c, s in zip(cloths, starts, strict=False))
        return np.concatenate(list(parts)).astype(np.int32)

    wets = [cloth.wets if cloth.wets.size else np.ones(cloth.size) for cloth in cloths]
    return replace(
        cloths[0],
        panels=tuple(panels),
        fabric=_fabric(cloths),
        panel=np.concatenate(
            [cloth.panel + np.int32(k) for cloth, k in zip(cloths, shift, strict=True)]
        ).astype(np.int32),
        **{name: joined(name) for name in ("row", "col", "x", "y", "thickness", "mass_per_area")},
        dyeable=joined("dyeable"),
        edges=numbered("edges"),
        seams=numbered("seams"),
        zone=joined("zone"),
        details=(),
        wets=np.concatenate(wets) if any(cloth.wets.size for cloth in cloths) else cloths[0].wets,
    )


def one_bundle(bundles: Sequence[Bundle]) -> Bundle:
    """Lay bundles side by side, none touching another, each on the floor.

    Parameters
    ----------
    bundles : sequence of Bundle
        N1, N2 .. cells; each lies at its own incline already.
    """
    if len(bundles) == 1:
        return bundles[0]
    starts = np.cumsum([0, *(bundle.height.size for bundle in bundles)])
    placed, left = [], 0.0
    for bundle in bundles:
        across = bundle.across - bundle.across.min() + left
        left = float(across.max()) + GAP
        down = np.zeros_like(bundle.upward) if bundle.downward is None else bundle.downward
        height = bundle.height - bundle.height.min()
        placed.append(replace(bundle, across=across, height=height, downward=down))
    both: dict[str, Any] = {}
    for field in fields(Bundle):
        parts = [getattr(bundle, field.name) for bundle in placed]
        if field.name in _PAIRED:
            both[field.name] = np.concatenate(
                [part + np.int32(start) for part, start in zip(parts, starts, strict=False)]
            ).astype(np.int32)
        elif field.name in _ALONE:
            both[field.name] = max(parts)
        else:
            both[field.name] = np.concatenate(parts)
    return Bundle(**both)


def apart(values: Floats, cloths: Sequence[Cloth]) -> list[Floats]:
    """Cut values of all cells (N1 + N2 .., ...) into those of each piece."""
    ends = np.cumsum([cloth.size for cloth in cloths])[:-1]
    return [np.ascontiguousarray(part) for part in np.split(values, ends)]
