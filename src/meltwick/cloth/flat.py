"""Flat pieces of one panel: a rectangle hemmed all round."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from shapely.geometry import LineString, MultiLineString, Polygon, box

from meltwick.cloth.pattern import Band, Pattern, Stitching
from meltwick.errors import StockError
from meltwick.types import Blank, Detail, Floats

# Common practice, no source [mm].
HEM = 6.0
TURNED = (3.0, 3.0)  # (thickness, mass): a rolled hem is the cloth turned twice
THREAD = 0.5
LARGEST = 5000.0  # no piece measures more

SQUARE_ZONES = ("middle", "border", "corners")
SCARF_ZONES = ("middle", "border", "ends")

Places = tuple[tuple[str, tuple[float, float]], ...]
Zones = tuple[tuple[str, Polygon], ...]


@dataclass(frozen=True)
class Rectangle:
    """A rectangle about the middle line. Lengths in millimetres."""

    width: float
    height: float
    top: float = 0.0  # of its upper edge, down from the piece's highest point

    @property
    def outline(self) -> Polygon:
        """The rectangle itself."""
        return self.part(0.0, 1.0)

    def part(self, upper: float, lower: float, inset: float = 0.0) -> Polygon:
        """Take what lies between two shares of the height, ``inset`` [mm] from either side."""
        half = self.width / 2 - inset
        y = (self.top + share * self.height for share in (upper, lower))
        return box(-half, next(y), half, next(y))

    @property
    def places(self) -> Places:
        """Name its middle, the middles of its upper and lower edge, and its corners.

        Left and right are as seen from the front.
        """
        half, low = self.width / 2, self.top + self.height
        return (
            ("middle", (0.0, self.top + self.height / 2)),
            ("top", (0.0, self.top)),
            ("bottom", (0.0, low)),
            *(
                (f"{end} {side} corner", (sign * half, y))
                for end, y in (("top", self.top), ("bottom", low))
                for side, sign in (("left", -1.0), ("right", 1.0))
            ),
        )


def measured(
    blank: Blank, what: str, least: float, needed: tuple[str, ...] = ("width", "height")
) -> Mapping[str, float]:
    """Check the measures of a flat piece.

    Parameters
    ----------
    blank : Blank
        Measures [m].
    what : str
        The piece with its article, for the message.
    least : float
        Shorter than this there is no room for its hems [mm].
    needed : tuple of str
        Keys that must be there.

    Returns
    -------
    Mapping of str to float
        All measures that are given [mm].

    Raises
    ------
    StockError
        A measure is missing or out of range.
    """
    given = {key: 1000.0 * value for key, value in blank.measures.items()}
    for key in needed:
        value = given.get(key)
        if value is None or not least < value < LARGEST:
            found = "missing" if value is None else f"{value:g} mm"
            raise StockError(
                f"blank {blank.name!r}, size {blank.size!r}: {key} is {found}; {what} needs "
                f"{' and '.join(needed)}, each more than {least:.0f} mm and less than "
                f"{LARGEST / 1000:g} m"
            )
    return given


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
    given = blank.measures
    needed = ("width", "height") if "height" in given else ("width",)
    size = measured(blank, "a bandana", 4 * HEM, needed)
    piece = Rectangle(size["width"], size.get("height", size["width"]))
    fifth = min(piece.width, piece.height) / 5
    low, half = piece.height - fifth, piece.width / 2
    corners = [box(x, y, x + fifth, y + fifth) for x in (-half, half - fifth) for y in (0.0, low)]
    middle = box(-half + fifth, fifth, half - fifth, low)
    zones = (*(("corners", corner) for corner in corners), ("middle", middle))
    return (_hemmed(piece, zones),)


def scarf(blank: Blank) -> tuple[Pattern, ...]:
    """Draw a scarf, its length down the cloth.

    Parameters
    ----------
    blank : Blank
        Measures [m]: ``width``, ``height``.

    Returns
    -------
    tuple of Pattern
        The one panel, ``front``. Its ends are as deep as it is wide, but no more than a fifth of
        its length.

    Raises
    ------
    StockError
        The width or height is missing or too small for its hem.
    """
    size = measured(blank, "a scarf", 4 * HEM)
    piece = Rectangle(size["width"], size["height"])
    end = min(0.2, piece.width / piece.height)
    zones = (
        ("ends", piece.part(0.0, end)),
        ("ends", piece.part(1.0 - end, 1.0)),
        ("middle", piece.part(0.0, 1.0, inset=piece.width / 5)),
    )
    return (_hemmed(piece, zones),)


def _hemmed(piece: Rectangle, zones: Zones) -> Pattern:
    """Turn and sew a hem all round; what no zone claims is border."""
    outline = piece.outline
    within = outline.buffer(-HEM, join_style="mitre")
    sewn = LineString(within.exterior.coords)
    return Pattern(
        name="front",
        outline=outline,
        seam=None,
        free=MultiLineString([outline.exterior.coords]),
        bands=(Band(outline.difference(within), *TURNED),),
        stitching=(Stitching(sewn, THREAD),),
        bare=(),
        zones=zones,
        rest="border",
        details=(Detail("hem stitching", "front", points(sewn)),),
        places=piece.places,
    )


def points(line: LineString) -> Floats:
    """Take a line's points, (n, 2) [mm]."""
    return np.asarray(line.coords, dtype=np.float64)
