"""What is worn on the legs: leggings of two panels, and a pair of socks laid on one another."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from shapely.geometry import LineString, MultiLineString, Polygon, box

from meltwick.cloth.flat import THREAD, Places, Zones, measured
from meltwick.cloth.pattern import Band, Pattern, Stitching, curve, mirrored, strip
from meltwick.errors import StockError
from meltwick.types import Blank, Detail, Floats

# Common practice, no source [mm], and how many times the single cloth lies there.
WAISTBAND = 40.0
ELASTIC = (2.6, 2.6)  # (thickness, mass): turned over an elastic, which is hidden in it
HEM = 20.0
TURNED = (2.0, 2.0)
ALLOWANCE = 6.0
OVERLOCKED = (1.8, 1.9)
WAIST_DROP = 20.0  # the front's waist lies lower than the back's
ASTRIDE = 0.04  # of the inseam: how far each leg is laid outwards at the ankle
CUFF = (1.4, 1.4)  # a sock's ribbed top, knitted tighter
TOE = (1.2, 1.2)  # a sock's toe, of thicker yarn
RIB_STEP = 3.0  # from one rib to the next, as drawn
BEND = 0.45  # depth of a sock's round end over its width

LEGGINGS_ZONES = ("waist", "seat", "thighs", "calves")
SOCK_ZONES = ("cuff", "leg", "foot", "toe")
SOCK_PANELS = ("front", "back", "second front", "second back")
"""One sock lies on the other, toe on toe."""


def leggings(blank: Blank) -> tuple[Pattern, ...]:
    """Draw the front and back of leggings, the legs a little apart.

    Parameters
    ----------
    blank : Blank
        Measures [m]: ``waist``, ``thigh`` and ``ankle``, each laid flat, ``rise`` from the
        waist to the crotch at the back, ``inseam``.

    Returns
    -------
    tuple of Pattern
        Front, then back, joined at the outer sides and along the inner legs.

    Raises
    ------
    StockError
        A measure is missing, or they make no leggings.
    """
    keys = ("waist", "thigh", "ankle", "rise", "inseam")
    m = measured(blank, "leggings", WAISTBAND, keys)
    if not (m["ankle"] < m["thigh"] < m["waist"] < 2.2 * m["thigh"] and m["rise"] > 2 * WAISTBAND):
        raise StockError(
            f"blank {blank.name!r}, size {blank.size!r}: these measures make no leggings; the "
            "ankle must be narrower than the thigh, that than the waist, the waist no wider than "
            f"2.2 thighs, and the rise more than {2 * WAISTBAND:.0f} mm"
        )
    return tuple(_trousers(name, m) for name in ("front", "back"))


def _leg(m: Mapping[str, float]) -> tuple[Floats, Floats, Floats]:
    """Draw the right leg: its outer side from the waist down, its end, its inner side up."""
    low, knee = m["rise"] + m["inseam"], m["rise"] + 0.45 * m["inseam"]
    middle = m["thigh"] / 2 + ASTRIDE * m["inseam"]
    near, far = middle - m["ankle"] / 2, middle + m["ankle"] / 2
    hip = curve(
        (m["waist"] / 2, 0.0),
        (m["waist"] / 2 + 0.2 * (m["thigh"] - m["waist"] / 2), 0.35 * m["rise"]),
        (m["thigh"], 0.6 * m["rise"]),
        (m["thigh"], m["rise"]),
    )
    outer = curve((m["thigh"], m["rise"]), (m["thigh"], knee), (far + 8.0, knee), (far, low))
    inner = curve((near, low), (near - 8.0, knee), (0.1 * m["thigh"], knee), (0.0, m["rise"]))
    return np.vstack([hip, outer[1:]]), np.array([(far, low), (near, low)]), inner


def _trousers(name: str, m: Mapping[str, float]) -> Pattern:
    """Put one panel of leggings together."""
    outer, end, inner = _leg(m)
    drop = WAIST_DROP if name == "front" else 0.0
    waist = curve((0.0, drop), (m["waist"] / 5, drop), (0.3 * m["waist"], 0.4 * drop), outer[0])
    right = np.vstack([waist[:-1], outer, inner])
    outline = Polygon(np.vstack([right, mirrored(right)[1:-1]]))
    seam = MultiLineString([outer, mirrored(outer), inner, mirrored(inner)])
    top = np.vstack([mirrored(waist), waist[1:]])
    ends = [end, mirrored(end)]
    spine = LineString([(0.0, drop + WAISTBAND), (0.0, m["rise"])])
    band = np.vstack([(-m["waist"], 0.0), top, (m["waist"], 0.0)])
    region = strip(LineString(band), WAISTBAND, outline)
    sewn = (
        Detail("hem stitching", name, _below(top, WAISTBAND)),
        *(Detail("hem stitching", name, _up(line, outline)) for line in ends),
    )
    return Pattern(
        name=name,
        outline=outline,
        seam=seam,
        free=MultiLineString([top, *ends]),
        bands=(
            Band(region, *ELASTIC),
            *(Band(strip(LineString(line), HEM, outline), *TURNED) for line in ends),
            Band(strip(seam, ALLOWANCE, outline), *OVERLOCKED),
            Band(strip(spine, ALLOWANCE, outline), *OVERLOCKED),
        ),
        stitching=tuple(Stitching(LineString(d.points), THREAD) for d in sewn),
        bare=(),
        zones=_leg_zones(m),
        rest="calves",
        details=(Detail("seam", name, np.asarray(spine.coords, dtype=np.float64)), *sewn),
        places=_leg_places(m, outer, inner) if name == "front" else (),
    )


def _below(edge: Floats, depth: float) -> Floats:
    """Move a waist's edge straight down, and end it a hair inside the sides."""
    return np.column_stack([0.99 * edge[:, 0], edge[:, 1] + depth])


def _up(end: Floats, outline: Polygon) -> Floats:
    """Follow a leg's end at the depth of its hem."""
    line = LineString(end + np.array([[0.0, -HEM]]))
    stretched = LineString([(line.coords[0][0] * 1.3, line.coords[0][1]), line.coords[1]])
    kept = stretched.intersection(outline.buffer(-0.5))
    return np.asarray(kept.coords, dtype=np.float64)


def _leg_zones(m: Mapping[str, float]) -> Zones:
    wide = 2 * m["waist"]
    cuts = (-50.0, 0.35 * m["rise"], m["rise"], m["rise"] + 0.45 * m["inseam"])
    return tuple(
        (name, box(-wide, upper, wide, lower))
        for name, upper, lower in zip(LEGGINGS_ZONES, cuts[:-1], cuts[1:], strict=False)
    )


def _leg_places(m: Mapping[str, float], outer: Floats, inner: Floats) -> Places:
    """Name points of the legs. Left and right are as seen from the front."""

    def across(share: float) -> tuple[float, float]:
        y = m["rise"] + share * m["inseam"]
        far = np.interp(y, outer[:, 1], outer[:, 0])
        near = np.interp(y, inner[::-1, 1], inner[::-1, 0])
        return float(far + near) / 2, y

    parts = {"thigh": across(0.15), "knee": across(0.45), "ankle": across(0.95)}
    return (
        ("waist", (0.0, WAIST_DROP)),
        ("middle", (0.0, (WAIST_DROP + m["rise"]) / 2)),
        *(
            (f"{side} {part}", (sign * x, y))
            for part, (x, y) in parts.items()
            for side, sign in (("left", -1.0), ("right", 1.0))
        ),
    )


def socks(blank: Blank) -> tuple[Pattern, ...]:
    """Draw a pair of tube socks, one laid on the other, toes down.

    Parameters
    ----------
    blank : Blank
        Measures [m]: ``width`` laid flat, ``length`` from the top to the toe, ``cuff``, how deep
        the ribbed top is.

    Returns
    -------
    tuple of Pattern
        Front and back of the upper sock, then of the lower one; each sock is closed but at its
        top.

    Raises
    ------
    StockError
        A measure is missing, or they make no sock.
    """
    m = measured(blank, "a sock", 20.0, ("width", "length", "cuff"))
    if not m["cuff"] + 2 * m["width"] < m["length"]:
        raise StockError(
            f"blank {blank.name!r}, size {blank.size!r}: these measures make no sock; the length "
            "must be more than the cuff and twice the width together"
        )
    return tuple(_tube(name, m) for name in SOCK_PANELS)


def _tube(name: str, m: Mapping[str, float]) -> Pattern:
    """Put one face of a sock together."""
    half, low, depth = m["width"] / 2, m["length"], BEND * m["width"]
    turn = np.linspace(0.0, np.pi / 2, 25)
    bend = np.column_stack([half * np.cos(turn), low - depth + depth * np.sin(turn)])
    bend[-1, 0] = 0.0
    right = np.vstack([(half, 0.0), bend])
    side = np.vstack([right, mirrored(right)[1:]])
    outline = Polygon(side)
    toe = low - 1.2 * depth
    foot = m["cuff"] + 0.45 * (toe - m["cuff"])
    cuff = box(-half, 0.0, half, m["cuff"])
    count = max(2, round(m["width"] / RIB_STEP))
    steps = (-half + (n + 0.5) * m["width"] / count for n in range(count))
    ribs = (Detail("cuff rib", name, np.array([(x, 0.0), (x, m["cuff"])])) for x in steps)
    lines = (np.array([(-half, y), (half, y)]) for y in (m["cuff"], toe))
    return Pattern(
        name=name,
        outline=outline,
        seam=MultiLineString([side]),
        free=MultiLineString([[(-half, 0.0), (half, 0.0)]]),
        bands=(
            Band(cuff, *CUFF),
            Band(box(-half, toe, half, low).intersection(outline), *TOE),
        ),
        stitching=(),
        bare=(),
        zones=(
            ("cuff", cuff),
            ("leg", box(-half, m["cuff"], half, foot)),
            ("foot", box(-half, foot, half, toe)),
        ),
        rest="toe",
        details=(*(Detail("cuff seam", name, line) for line in lines), *ribs),
        places=_sock_places(m, foot, toe) if name == "front" else (),
    )


def _sock_places(m: Mapping[str, float], foot: float, toe: float) -> Places:
    return (
        ("middle", (0.0, m["length"] / 2)),
        ("top", (0.0, 0.0)),
        ("heel", (0.0, foot)),
        ("toe", (0.0, (toe + m["length"]) / 2)),
    )
