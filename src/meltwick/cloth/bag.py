"""Bags of two flat panels, sewn together on three sides: a pillowcase and a tote."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

import numpy as np
from shapely.geometry import LineString, MultiLineString, Polygon, box

from meltwick.cloth.flat import THREAD, Rectangle, measured, points
from meltwick.cloth.pattern import Band, Pattern, Stitching, mirrored, strip
from meltwick.errors import StockError
from meltwick.types import Blank, Detail, Floats

# Common practice, no source [mm], and how many times the single cloth lies there.
CASE_HEM = 100.0  # at the opening of a pillowcase
CASE_TURNED = (2.0, 2.0)  # (thickness, mass): turned up once, its raw edge tucked under
TOTE_HEM = 30.0
TOTE_TURNED = (3.0, 3.0)  # turned twice, so that heavy cloth shows no raw edge
ALLOWANCE = 10.0
OVERLOCKED = (1.8, 1.9)  # the allowance lies under the panel
HANDLE = 26.0  # width of a handle, about an inch; 13 cells at normal detail
DOUBLED = (2.0, 2.0)  # a handle is canvas folded once and sewn down
OVERLAP = 40.0  # of a handle's end on the bag
APART = 0.45  # of the bag's width lie between the middles of a handle's ends
SEAM_IN = 3.0  # a handle's stitching runs this far inside its edge

CASE_ZONES = ("middle", "border", "hem")
TOTE_ZONES = ("top", "middle", "bottom", "handles")


def pillowcase(blank: Blank) -> tuple[Pattern, ...]:
    """Draw a pillowcase, its opening down.

    Parameters
    ----------
    blank : Blank
        Measures [m]: ``width`` of the opening, ``height`` from there to the closed end.

    Returns
    -------
    tuple of Pattern
        Front, then back, sewn at the sides and the top.

    Raises
    ------
    StockError
        The width or height is missing or too small for its hem.
    """
    size = measured(blank, "a pillowcase", 2 * CASE_HEM)
    case = Rectangle(size["width"], size["height"])
    outline, half = case.outline, case.width / 2
    fold = LineString([(-half, case.height), (half, case.height)])
    seam = LineString([(-half, case.height), (-half, 0.0), (half, 0.0), (half, case.height)])
    up = 1.0 - CASE_HEM / case.height
    row = LineString([(-half, up * case.height), (half, up * case.height)])
    in_from = min(case.width, case.height) / 5
    zones = (
        ("hem", case.part(up, 1.0)),
        ("middle", case.part(in_from / case.height, up, inset=in_from)),
    )
    return tuple(
        Pattern(
            name=name,
            outline=outline,
            seam=MultiLineString([seam]),
            free=MultiLineString([fold]),
            bands=(
                Band(case.part(up, 1.0), *CASE_TURNED),
                Band(strip(seam, ALLOWANCE, outline), *OVERLOCKED),
            ),
            stitching=(Stitching(row, THREAD),),
            bare=(),
            zones=zones,
            rest="border",
            details=(Detail("hem stitching", name, points(row)),),
            places=(*case.places, ("hem", (0.0, case.height))) if name == "front" else (),
        )
        for name in ("front", "back")
    )


@dataclass(frozen=True)
class _Handle:
    """A handle laid flat: two upright legs and an arch. Lengths in millimetres."""

    radius: float  # of the arch, along the handle's middle
    width: float
    top: float  # of the bag's upper edge; the arch touches 0

    def loop(self, inset: float) -> tuple[Floats, Floats]:
        """Outer and inner edge of the right half, from crown to bag, ``inset`` off either edge."""
        bend = self.radius + self.width / 2
        turn = np.linspace(0.0, pi / 2, 25)
        edges = []
        for radius in (bend - inset, bend - self.width + inset):
            arch = np.column_stack([radius * np.sin(turn), bend - radius * np.cos(turn)])
            arch[0, 0] = 0.0
            edges.append(np.vstack([arch, (radius, self.top)]))
        return edges[0], edges[1]

    @property
    def ends(self) -> tuple[Polygon, Polygon]:
        """The ends that lie on the bag."""
        near, far = self.radius - self.width / 2, self.radius + self.width / 2
        low = self.top + OVERLAP
        return box(near, self.top, far, low), box(-far, self.top, -near, low)


def tote(blank: Blank) -> tuple[Pattern, ...]:
    """Draw a tote without a gusset, its opening up and its handles standing.

    A flat strip cannot bend in its own plane as the drawn arch does; length and cloth are right.

    Parameters
    ----------
    blank : Blank
        Measures [m]: ``width``, ``height`` of the bag, ``handle``, the length of one above the
        bag's upper edge; optional ``strap``, its width.

    Returns
    -------
    tuple of Pattern
        Front, then back, sewn at the sides and the bottom, with a handle each.

    Raises
    ------
    StockError
        A measure is missing, or the handle is too short for its arch.
    """
    size = measured(blank, "a tote", 4 * TOTE_HEM, ("width", "height", "handle"))
    radius, wide = APART * size["width"] / 2, size.get("strap", HANDLE)
    leg = (size["handle"] - pi * radius) / 2
    if not (leg >= 0 and 4 * SEAM_IN < wide < 1.5 * radius):
        raise StockError(
            f"blank {blank.name!r}, size {blank.size!r}: a handle of {size['handle']:g} mm, "
            f"{wide:g} mm wide, does not fit this tote; use a length of more than "
            f"{pi * radius:.0f} mm and a strap of {4 * SEAM_IN:.0f} mm to {1.5 * radius:.0f} mm"
        )
    handle = _Handle(radius, wide, top=radius + wide / 2 + leg)
    bag = Rectangle(size["width"], size["height"], handle.top)
    return tuple(_tote_panel(name, bag, handle) for name in ("front", "back"))


def _tote_panel(name: str, bag: Rectangle, handle: _Handle) -> Pattern:
    """Put one panel of a tote together."""
    half, low = bag.width / 2, bag.top + bag.height
    outer, inner = handle.loop(0.0)
    over = np.vstack([mirrored(outer), outer[1:]])
    hole = np.vstack([mirrored(inner), inner[1:]])
    mouth = [(-half, bag.top), *over, (half, bag.top)]
    outline = Polygon([*mouth, (half, low), (-half, low)], [hole])
    seam = LineString([(-half, bag.top), (-half, low), (half, low), (half, bag.top)])
    hem = bag.part(0.0, TOTE_HEM / bag.height)
    standing = Polygon([*over, *hole[::-1]])
    sewn = _tote_rows(name, bag, handle)
    edges = (Detail("handle edge", name, _open_box(end)) for end in handle.ends)
    third = (("top", bag.part(0.0, 1 / 3)), ("middle", bag.part(1 / 3, 2 / 3)))
    return Pattern(
        name=name,
        outline=outline,
        seam=MultiLineString([seam]),
        free=MultiLineString([LineString(mouth), LineString([*hole, hole[0]])]),
        bands=(
            Band(hem, *TOTE_TURNED),
            Band(strip(seam, ALLOWANCE, bag.outline), *OVERLOCKED),
            Band(standing, *DOUBLED),
            *(Band(end, 1 + DOUBLED[0], 1 + DOUBLED[1]) for end in handle.ends),
        ),
        stitching=tuple(Stitching(LineString(row.points), THREAD) for row in sewn),
        bare=(),
        zones=(("handles", standing), *(("handles", end) for end in handle.ends), *third),
        rest="bottom",
        details=(*edges, *sewn),
        places=bag.places if name == "front" else (),
    )


def _open_box(end: Polygon) -> Floats:
    """Sides and lower edge of a handle's end, where it shows on the bag."""
    left, top, right, low = end.bounds
    return np.array([(left, top), (left, low), (right, low), (right, top)])


def _tote_rows(name: str, bag: Rectangle, handle: _Handle) -> tuple[Detail, ...]:
    """Lay the stitches: one row along the hem, a box and cross on each end, two up the handle."""
    half, y = bag.width / 2, bag.top + TOTE_HEM
    near, far = handle.radius - handle.width / 2, handle.radius + handle.width / 2
    rows: list[Floats] = [
        np.array([(-near, y), (near, y)]),
        *(np.array([(sign * far, y), (sign * half, y)]) for sign in (1.0, -1.0)),
    ]
    found = [Detail("hem stitching", name, row) for row in rows]
    for edge in handle.loop(SEAM_IN):
        found.append(Detail("handle stitching", name, np.vstack([mirrored(edge), edge[1:]])))
    for end in handle.ends:
        left, top, right, low = end.buffer(-SEAM_IN, join_style="mitre").bounds
        ring = [(left, top), (right, low), (left, low), (right, top), (left, top), (left, low)]
        for line in (np.array(ring), np.array([(right, top), (right, low)])):
            found.append(Detail("handle stitching", name, line))
    return tuple(found)
