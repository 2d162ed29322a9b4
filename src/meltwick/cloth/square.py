"""A bandana: one hemmed rectangle with no seam."""

from __future__ import annotations

import numpy as np
from shapely.geometry import LineString, MultiLineString, Polygon, box

from meltwick.cloth.pattern import Band, Pattern, Stitching
from meltwick.errors import StockError
from meltwick.types import Blank, Detail

# Common practice, no source [mm].
HEM = 6.0
TURNED = (3.0, 3.0)  # (thickness, mass): a rolled hem is the cloth turned twice
THREAD = 0.5

ZONES = ("middle", "border", "corners")


def square(blank: Blank) -> tuple[Pattern, ...]:
    """Draw a bandana.

    Parameters
    ----------
    blank : Blank
        Measures [m]: ``width``; optional ``height``, else as wide as high.

    Returns
    -------
    tuple of Pattern
        The one panel, ``front``.

    Raises
    ------
    StockError
        The width or height is missing or too small for its hem.
    """
    width = 1000 * blank.measures.get("width", 0.0)
    height = 1000 * blank.measures.get("height", width / 1000)
    if not min(width, height) > 4 * HEM:
        raise StockError(
            f"blank {blank.name!r}, size {blank.size!r}: a bandana needs a width "
            f"(and height) of more than {4 * HEM:.0f} mm; found {width:g} by {height:g} mm"
        )
    outline = box(-width / 2, 0.0, width / 2, height)
    sewn = LineString(outline.buffer(-HEM, join_style="mitre").exterior.coords)
    fifth = min(width, height) / 5
    corners = [
        box(x, y, x + fifth, y + fifth)
        for x in (-width / 2, width / 2 - fifth)
        for y in (0.0, height - fifth)
    ]
    middle = box(-width / 2 + fifth, fifth, width / 2 - fifth, height - fifth)
    return (
        Pattern(
            name="front",
            outline=outline,
            seam=None,
            free=MultiLineString([outline.exterior.coords]),
            bands=(Band(_frame(outline), *TURNED),),
            stitching=(Stitching(sewn, THREAD),),
            bare=(),
            zones=(*(("corners", corner) for corner in corners), ("middle", middle)),
            rest="border",
            details=(Detail("hem stitching", "front", np.asarray(sewn.coords, dtype=np.float64)),),
        ),
    )


def _frame(outline: Polygon) -> Polygon:
    """Take the turned border."""
    return outline.difference(outline.buffer(-HEM, join_style="mitre"))
