"""The outline of a T-shirt laid flat.

Half-chest, length and sleeve are the maker's; the rest follows from them by proportions that are
common practice (no source: the size standard EN 13402-3 gives bodies, not garments) and may be
given as measures too.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from math import radians, tan

import numpy as np
from shapely.geometry import LineString, MultiLineString, Polygon, box

from meltwick.cloth.pattern import Band, Pattern, Stitching, curve, mirrored, strip
from meltwick.cloth.sleeve import Point, draw_sleeve
from meltwick.errors import StockError
from meltwick.types import Blank, Detail, Floats

# Common practice, no source [mm], and how many times the single cloth lies there.
HEM = 22.0
CUFF = 20.0
RIB = 18.0
ALLOWANCE = 6.0
TURNED = (2.0, 2.0)  # (thickness, mass): a hem is the cloth turned up once
RIBBED = (2.2, 2.3)  # a folded rib, knitted tighter
OVERLOCKED = (1.8, 1.9)  # the allowance lies under the panel
THREAD = 0.5  # [mm] of bare thread for each needle
NEEDLES = (0.0, 5.0)  # [mm] a twin needle sews two rows, the lower at the turned edge
LARGEST = 5000.0  # [mm] no garment measures more
LABEL = (44.0, 22.0)  # [mm] wide, high
RIB_STEP = 3.0  # [mm] from one rib of a cuff to the next, as drawn
# Places of the body, common practice, no source.
NAVEL = 0.62  # share of the length down from the shoulder's high point
BELOW_SEAM = 10.0  # [mm] the place of a shoulder lies below the middle of its seam

ZONES = ("chest", "belly", "sleeves", "hem", "shoulders", "spine")


@dataclass(frozen=True)
class _Sizes:
    """All measures in millimetres."""

    chest: float  # half the chest
    length: float
    sleeve: float
    neck: float  # width of the neck
    front_drop: float
    back_drop: float
    shoulder: float  # width over the shoulders
    armhole: float  # depth of the underarm below the shoulder's high point
    cuff: float
    rib_cuff: float  # depth of a ribbed cuff; 0: the cuff is hemmed
    rib_hem: float  # depth of a ribbed hem; 0: the hem is turned up


def tee(blank: Blank) -> tuple[Pattern, ...]:
    """Draw the front and back of a T-shirt.

    Parameters
    ----------
    blank : Blank
        Measures [m]: ``half_chest``, ``length``, ``sleeve``; optional ``neck``,
        ``neck_front``, ``neck_back``, ``shoulder``, ``armhole``, ``cuff``, and ``rib_cuff``,
        the depth of a ribbed cuff instead of a hemmed one, and ``rib_hem``, of a ribbed hem.
        Long sleeves hang at a slant.

    Returns
    -------
    tuple of Pattern
        Front, then back; the back as seen through the front.

    Raises
    ------
    StockError
        A measure is missing, or they don't make a shirt.
    """
    size = _sizes(blank)
    sides = _sides(size)
    panels = []
    for name, drop in (("front", size.front_drop), ("back", size.back_drop)):
        neck = _neckline(size, drop)
        outline = _outline(neck, sides)
        if not outline.is_valid:
            raise StockError(
                f"blank {blank.name!r}, size {blank.size!r}: the border of this tee would cross "
                "itself; measure length, sleeve, cuff, neck and armhole again"
            )
        panels.append(_panel(name, size, sides, neck, outline))
    return tuple(panels)


def _sizes(blank: Blank) -> _Sizes:
    """Read the measures, filling in what was not given."""
    given: Mapping[str, float] = blank.measures
    for key in ("half_chest", "length", "sleeve"):
        if not given.get(key, 0.0) > 0:
            raise StockError(
                f"blank {blank.name!r}, size {blank.size!r}: {key} is {given.get(key, 'missing')}; "
                "a tee needs half_chest, length and sleeve, each more than 0"
            )
    chest = given["half_chest"]

    def mm(key: str, share: float) -> float:
        return 1000 * given.get(key, share * chest)

    size = _Sizes(
        chest=1000 * chest,
        length=1000 * given["length"],
        sleeve=1000 * given["sleeve"],
        neck=mm("neck", 0.335),
        front_drop=mm("neck_front", 0.165),
        back_drop=mm("neck_back", 0.035),
        shoulder=mm("shoulder", 0.93),
        armhole=mm("armhole", 0.455),
        cuff=mm("cuff", 0.39),
        rib_cuff=1000 * given.get("rib_cuff", 0.0),
        rib_hem=1000 * given.get("rib_hem", 0.0),
    )
    for field in fields(size):
        value = getattr(size, field.name)
        if field.name in ("rib_cuff", "rib_hem") and value == 0.0:
            continue
        if not (0 < value < LARGEST):
            raise StockError(
                f"blank {blank.name!r}, size {blank.size!r}: {field.name.replace('_', ' ')} is "
                f"{value / 1000:g} m; use more than 0 and less than {LARGEST / 1000:g} m"
            )
    if not (size.neck < size.shoulder <= size.chest and 2 * size.armhole < 1.6 * size.length):
        raise StockError(
            f"blank {blank.name!r}, size {blank.size!r}: these measures make no tee; the neck must "
            "be narrower than the shoulders, those no wider than the chest, and the length more "
            f"than {1.25 * size.armhole / 1000:.2f} m"
        )
    if size.rib_cuff > 0.5 * size.sleeve:
        raise StockError(
            f"blank {blank.name!r}, size {blank.size!r}: a ribbed cuff of {size.rib_cuff:g} mm is "
            f"too deep for this sleeve; use at most {0.5 * size.sleeve:g} mm"
        )
    if size.rib_hem > 0.25 * size.length:
        raise StockError(
            f"blank {blank.name!r}, size {blank.size!r}: a ribbed hem of {size.rib_hem:g} mm is "
            f"too deep for this body; use at most {0.25 * size.length:g} mm"
        )
    return size


def _sides(size: _Sizes) -> dict[str, Floats]:
    """Draw the right half's border from the neck to the hem's middle, and the armhole."""
    half = size.chest / 2
    slope = radians(16.0)
    neck = (size.neck / 2, 0.0)
    point = (size.shoulder / 2, (size.shoulder - size.neck) / 2 * tan(slope))
    arm = draw_sleeve(point, slope, size.sleeve, size.cuff, size.chest, size.armhole)
    chest = (float(arm.pit[-1, 0]), float(arm.pit[-1, 1]))
    hem = size.length - 5.0
    waist = 0.010 * size.chest
    side = curve(
        chest,
        (half - waist, chest[1] + 0.3 * (hem - chest[1])),
        (half - waist, chest[1] + 0.65 * (hem - chest[1])),
        (half, hem - 12),
    )
    round_off = curve(
        (half, hem - 12), (half, hem - 4), (half - 4, hem), (half - 14, hem), points=9
    )
    bottom = curve((half - 14, hem), (half / 2, hem + 5), (half / 4, hem + 5), (0.0, hem + 5))
    return {
        "shoulder": np.array([neck, point]),
        "overarm": arm.overarm,
        "cuff": arm.cuff,
        "pit": arm.pit,
        "side": side,
        "hem": np.vstack([round_off, bottom[1:]]),
        "fold": np.vstack([(half + 30, hem), bottom]),  # the turned edge, run on past the sides
        "armhole": arm.armhole,
        "sleeve": arm.outline,
        "sleeve middle": np.array([arm.middle]),
    }


def _neckline(size: _Sizes, drop: float) -> Floats:
    """Draw the right half of the neck, from the middle to the shoulder."""
    half = size.neck / 2
    return curve(
        (0.0, drop), (0.58 * half, drop), (half - 0.06 * drop, 0.62 * drop), (half, 0.0), points=32
    )


def _outline(neck: Floats, sides: dict[str, Floats]) -> Polygon:
    """Join the right half's border, and mirror it."""
    order = ("shoulder", "overarm", "cuff", "pit", "side", "hem")
    right = np.vstack([neck, *(sides[key] for key in order)])
    ring = np.vstack([right, mirrored(right)])
    moved = np.any(np.diff(ring, axis=0, prepend=ring[-1:]) != 0, axis=1)  # each point once
    return Polygon(ring[moved])


def _panel(
    name: str, size: _Sizes, sides: dict[str, Floats], neck: Floats, outline: Polygon
) -> Pattern:
    """Put one panel together."""

    def both(*keys: str) -> list[Floats]:
        line = np.vstack([sides[key] for key in keys])
        return [line, mirrored(line)]

    seam = MultiLineString(both("shoulder", "overarm") + both("pit", "side"))
    whole_hem = np.vstack([sides["hem"], mirrored(sides["hem"])])
    fold = np.vstack([sides["fold"], mirrored(sides["fold"])])
    whole_neck = np.vstack([mirrored(neck), neck])
    free = MultiLineString([*both("cuff"), whole_hem, whole_neck])
    bands = (
        _hem(size, fold, outline),
        *(_cuff(size, line, outline) for line in both("cuff")),
        Band(strip(LineString(whole_neck), RIB, outline), *RIBBED),
        Band(strip(seam, ALLOWANCE, outline), *OVERLOCKED),
        Band(strip(MultiLineString(both("armhole")), ALLOWANCE / 2, outline), *OVERLOCKED),
    )
    ribbed = both("cuff") if size.rib_cuff else []
    hem = [] if size.rib_hem else [fold]
    sewn = _sewing(name, outline, hem, [] if ribbed else both("cuff"))
    lines = _lines(name, outline, whole_neck, both("armhole"), sewn)
    lines += tuple(d for line in ribbed for d in _ribbing(name, size.rib_cuff, line, outline))
    if size.rib_hem:
        across = np.linspace(size.chest / 2 - 1, 1 - size.chest / 2, 65)
        below = np.column_stack([across, np.interp(-across, -fold[:, 0], fold[:, 1])])
        lines += _ribbing(name, size.rib_hem, below, outline)
    label: tuple[Polygon, ...] = ()
    if name == "back":
        under = float(neck[0, 1]) + RIB + 4
        label = (box(-LABEL[0] / 2, under, LABEL[0] / 2, under + LABEL[1]),)
        corners = np.asarray(label[0].exterior.coords, dtype=np.float64)
        lines = (*lines, Detail("label", name, corners))
    return Pattern(
        name=name,
        outline=outline,
        seam=seam,
        free=free,
        bands=bands,
        stitching=tuple(Stitching(LineString(d.points), THREAD) for d in sewn),
        bare=label,
        zones=_zones(name, size, both("sleeve")),
        rest="belly",
        details=lines,
        places=_places(size, sides) if name == "front" else (),
    )


def _cuff(size: _Sizes, edge: Floats, outline: Polygon) -> Band:
    """Take the end of a sleeve, where the cloth is turned up or a rib is sewn on."""
    if size.rib_cuff:
        return Band(strip(LineString(edge), size.rib_cuff, outline), *RIBBED)
    return Band(strip(LineString(edge), CUFF, outline), *TURNED)


def _hem(size: _Sizes, edge: Floats, outline: Polygon) -> Band:
    """Take the end of the body, where the cloth is turned up or a rib is sewn on."""
    if size.rib_hem:
        return Band(strip(LineString(edge), size.rib_hem, outline), *RIBBED)
    return Band(strip(LineString(edge), HEM, outline), *TURNED)


def _ribbing(name: str, depth: float, edge: Floats, outline: Polygon) -> tuple[Detail, ...]:
    """Draw where a ribbed cuff or hem is sewn on, and the ribs that run from there to its edge."""
    seam = inset(edge, depth, outline)
    if len(seam) < 2:
        return ()
    upper, lower = LineString(seam), LineString(edge)
    if np.hypot(*(seam[0] - edge[0])) > np.hypot(*(seam[0] - edge[-1])):
        upper = upper.reverse()
    count = max(2, round(upper.length / RIB_STEP))
    steps = [(n + 0.5) / count for n in range(count)]
    ends = [
        (upper.interpolate(part, normalized=True), lower.interpolate(part, normalized=True))
        for part in steps
    ]
    lines = (LineString([*a.coords, *b.coords]) for a, b in ends)
    cloth = outline.buffer(0.4)  # at the round corners of a hem the last ribs would stick out
    ribs = (np.asarray(line.coords, dtype=np.float64) for line in lines if cloth.covers(line))
    return (Detail("cuff seam", name, seam), *(Detail("cuff rib", name, rib) for rib in ribs))


def _places(size: _Sizes, sides: dict[str, Floats]) -> tuple[tuple[str, Point], ...]:
    """Name points of the body. Left and right are as seen from the front."""
    shoulder = sides["shoulder"].mean(axis=0) + np.array([0.0, BELOW_SEAM])
    right = {"shoulder": shoulder, "sleeve": sides["sleeve middle"][0]}
    return (
        ("neck", (0.0, size.front_drop)),
        ("chest", (0.0, max(size.front_drop, size.armhole))),
        ("navel", (0.0, max(size.front_drop, NAVEL * size.length))),
        ("middle", (0.0, max(size.front_drop, size.length / 2))),
        ("hem", (0.0, size.length)),
        *(
            (f"{side} {part}", (sign * float(x), float(y)))
            for part, (x, y) in right.items()
            for side, sign in (("left", -1.0), ("right", 1.0))
        ),
    )


def _sewing(
    name: str, outline: Polygon, hems: list[Floats], cuffs: list[Floats]
) -> tuple[Detail, ...]:
    """Lay the rows of the twin needle over hem and cuffs."""
    rows = []
    for kind, edge, depth in (
        *(("hem stitching", line, HEM) for line in hems),
        *(("cuff stitching", line, CUFF) for line in cuffs),
    ):
        for needle in NEEDLES:
            points = inset(edge, depth - needle, outline)
            if len(points) > 1:
                rows.append(Detail(kind, name, points))
    return tuple(rows)


def _lines(
    name: str,
    outline: Polygon,
    neck: Floats,
    armholes: list[Floats],
    sewn: tuple[Detail, ...],
) -> tuple[Detail, ...]:
    """Collect what a picture draws."""
    return (
        Detail("rib edge", name, inset(neck, RIB, outline)),
        *(Detail("sleeve seam", name, line) for line in armholes),
        *sewn,
    )


def inset(edge: Floats, depth: float, outline: Polygon) -> Floats:
    """Follow an edge (n, 2) [mm] at some depth inside the panel [mm]."""
    for side in (depth, -depth):
        line = LineString(edge).offset_curve(side, quad_segs=6)
        if line.intersection(outline).length > 0.5 * line.length:
            # a shirt's rows of stitches stop a hair short of the seams
            kept = line.intersection(outline.buffer(-0.5))
            longest = max(getattr(kept, "geoms", [kept]), key=lambda part: part.length)
            return np.asarray(longest.coords, dtype=np.float64)
    return np.zeros((0, 2))


def _zones(name: str, size: _Sizes, sleeves: list[Floats]) -> tuple[tuple[str, Polygon], ...]:
    """Name the body's zones, the first that holds a cell claiming it; the rest is belly.

    Chest and belly are the front and the flanks of the back; the spine is the middle half of the
    back between shoulders and hem.
    """
    wide = size.chest + size.sleeve
    yoke = 0.55 * size.armhole
    ribs = size.armhole + 0.22 * (size.length - size.armhole)
    hem = size.length - 0.12 * size.length
    spine = (("spine", box(-size.chest / 4, yoke, size.chest / 4, hem)),) if name == "back" else ()
    return (
        *(("sleeves", Polygon(line)) for line in sleeves),
        ("hem", box(-wide, hem, wide, size.length + 50)),
        ("shoulders", box(-wide, -50.0, wide, yoke)),
        *spine,
        ("chest", box(-wide, yoke, wide, ribs)),
    )
