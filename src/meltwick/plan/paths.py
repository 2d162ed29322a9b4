"""Borders as points: SVG path data, rectangles, ellipses, and the matrices that move them.

The grammar and the elliptic arcs follow SVG 1.1 (W3C 2011), section 8.3 and appendix F.6.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from itertools import pairwise

from meltwick.units import shown

Points = tuple[tuple[float, float], ...]
Matrix = tuple[float, float, float, float, float, float]
"""(a, b, c, d, e, f): x' = a x + c y + e, y' = b x + d y + f."""

MOST_POINTS = 20_000
CURVE = 16  # straight pieces of a curve
TURN = 64  # of a full ellipse

LARGEST = 1e9  # no number of a drawing is larger

# each part can match in one way only, so that no text takes long to refuse
_NUMBER = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_TOKEN = re.compile(rf"[\s,]*(?:([A-Za-z])|({_NUMBER}))")
_FLAG = re.compile(r"[\s,]*([01])")
_MOVE = re.compile(r"[\s,]*(matrix|translate|scale|rotate|skewX|skewY)\s*\(([^()]{0,400})\)")
_TAKES = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7, "Z": 0}


class ShapeFault(Exception):  # noqa: N818 - it is a fault of the drawing
    """What is wrong with a shape, as the end of a sentence about it."""


def numbers(text: str) -> list[float]:
    """Return the numbers of a list, or none when it holds anything else."""
    found: list[float] = []
    at, text = 0, text.rstrip()
    while at < len(text):
        match = _TOKEN.match(text, at)
        if match is None or match[2] is None or len(found) > 2 * MOST_POINTS:
            return []
        found.append(float(match[2]))
        at = match.end()
    return found if all(abs(value) < LARGEST for value in found) else []


def within(outer: Matrix, inner: Matrix) -> Matrix:
    """Return the matrix that moves by ``inner`` first and by ``outer`` then."""
    a, b, c, d, e, f = outer
    g, h, i, j, k, m = inner
    return (
        a * g + c * h,
        b * g + d * h,
        a * i + c * j,
        b * i + d * j,
        a * k + c * m + e,
        b * k + d * m + f,
    )


def moved(ring: Points, by: Matrix) -> Points:
    """Return points moved by a matrix."""
    a, b, c, d, e, f = by
    return tuple((a * x + c * y + e, b * x + d * y + f) for x, y in ring)


def transform(text: str) -> Matrix:
    """Read a transform attribute.

    Raises
    ------
    ShapeFault
        It is not a list of matrix, translate, scale, rotate, skewX and skewY.
    """
    whole: Matrix = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)
    at, text = 0, text.rstrip()
    while at < len(text):
        found = _MOVE.match(text, at)
        step = _one_move(found[1], numbers(found[2])) if found else None
        if found is None or step is None:
            raise ShapeFault(f"transform {shown(text)} cannot be read; save it without transforms")
        whole, at = within(whole, step), found.end()
    return whole


def _one_move(kind: str, given: list[float]) -> Matrix | None:
    count = len(given)
    if kind == "matrix" and count == 6:
        a, b, c, d, e, f = given
        return (a, b, c, d, e, f)
    if kind == "translate" and count in (1, 2):
        return (1.0, 0.0, 0.0, 1.0, given[0], given[1] if count == 2 else 0.0)
    if kind == "scale" and count in (1, 2):
        return (given[0], 0.0, 0.0, given[-1], 0.0, 0.0)
    if count not in (1, 3) or (count == 3 and kind != "rotate") or abs(given[0]) > 1e6:
        return None
    angle = math.radians(given[0])
    if kind == "skewX":
        return (1.0, 0.0, math.tan(angle), 1.0, 0.0, 0.0)
    if kind == "skewY":
        return (1.0, math.tan(angle), 0.0, 1.0, 0.0, 0.0)
    if kind != "rotate":
        return None
    turn: Matrix = (math.cos(angle), math.sin(angle), -math.sin(angle), math.cos(angle), 0.0, 0.0)
    if count == 1:
        return turn
    x, y = given[1:]
    return within((1, 0, 0, 1, x, y), within(turn, (1, 0, 0, 1, -x, -y)))


def rectangle(x: float, y: float, wide: float, high: float) -> Points:
    """Return a rectangle's corners."""
    return ((x, y), (x + wide, y), (x + wide, y + high), (x, y + high))


def ellipse(cx: float, cy: float, rx: float, ry: float) -> Points:
    """Return points round an ellipse."""
    turns = [2 * math.pi * n / TURN for n in range(TURN)]
    return tuple((cx + rx * math.cos(t), cy + ry * math.sin(t)) for t in turns)


class _Pen:
    """Follows path data and leaves points."""

    def __init__(self) -> None:
        self.rings: list[list[tuple[float, float]]] = []
        self.closed: list[bool] = []
        self.at = self.begun = (0.0, 0.0)
        self.bent: tuple[str, tuple[float, float]] = ("", (0.0, 0.0))  # last curve's handle
        self.count = 0
        self.open = False

    def step(self, key: str, given: list[float]) -> None:
        """Carry out one command with its numbers."""
        kind, (x0, y0) = key.upper(), self.at
        ox, oy = (0.0, 0.0) if key.isupper() else self.at
        if kind == "Z":
            if self.rings and self.open:
                self.closed[-1], self.at, self.open = True, self.begun, False
            self.bent = ("", self.at)
            return
        if kind == "H":
            given = [given[0] + ox, y0]
        elif kind == "V":
            given = [x0, given[0] + oy]
        elif kind == "A":
            given = [*given[:5], given[5] + ox, given[6] + oy]
        else:
            given = [v + (oy if n % 2 else ox) for n, v in enumerate(given)]
        end = (given[-2], given[-1])
        if kind == "M":
            self._begin(end)
            return
        if not self.open:
            self._begin(self.at)
        self._line(kind, given, end)

    def _begin(self, where: tuple[float, float]) -> None:
        self.count += 1
        if self.count > MOST_POINTS:
            raise ShapeFault(f"it has more than {MOST_POINTS} points; simplify the path")
        self.at = self.begun = where
        self.rings.append([where])
        self.closed.append(False)
        self.open, self.bent = True, ("", where)

    def _line(self, kind: str, given: list[float], end: tuple[float, float]) -> None:
        here, handle = self.at, end
        if kind in "CSQT":
            pairs = list(zip(given[::2], given[1::2], strict=True))
            if kind in "ST":  # the first handle mirrors the last curve's
                same = self.bent[0] and self.bent[0] in ("CS" if kind == "S" else "QT")
                x, y = self.bent[1] if same else here
                pairs.insert(0, (2 * here[0] - x, 2 * here[1] - y))
            handle = pairs[-2]
            self._leave(_bezier([here, *pairs]))
        elif kind == "A":
            self._leave(_arc(here, given, end))
        else:
            self._leave(iter([end]))
        self.at, self.bent = end, (kind, handle)

    def _leave(self, found: Iterator[tuple[float, float]]) -> None:
        new = list(found)
        self.count += len(new)
        if self.count > MOST_POINTS:
            raise ShapeFault(f"it has more than {MOST_POINTS} points; simplify the path")
        self.rings[-1] += new


def _bezier(pairs: list[tuple[float, float]]) -> Iterator[tuple[float, float]]:
    """Points along a curve of two or three handles, by de Casteljau."""
    for n in range(1, CURVE + 1):
        t, left = n / CURVE, pairs
        while len(left) > 1:
            left = [(a + t * (c - a), b + t * (d - b)) for (a, b), (c, d) in pairwise(left)]
        yield left[0]


def _arc(
    start: tuple[float, float], given: list[float], end: tuple[float, float]
) -> Iterator[tuple[float, float]]:
    """Points along an elliptic arc: from its ends to its centre by SVG 1.1, F.6.5 and F.6.6."""
    rx, ry, tilt = abs(given[0]), abs(given[1]), math.radians(given[2])
    if min(rx, ry) < 1 / LARGEST or start == end:
        yield end
        return
    cos, sin = math.cos(tilt), math.sin(tilt)
    half_x, half_y = (start[0] - end[0]) / 2, (start[1] - end[1]) / 2
    x, y = cos * half_x + sin * half_y, cos * half_y - sin * half_x
    grow = (x / rx) ** 2 + (y / ry) ** 2
    if grow > 1:
        rx, ry = rx * math.sqrt(grow), ry * math.sqrt(grow)
    below = (rx * y) ** 2 + (ry * x) ** 2
    root = math.sqrt(max(0.0, (rx * ry) ** 2 / below - 1.0)) if below else 0.0
    root = -root if given[3] == given[4] else root
    cx, cy = root * rx * y / ry, -root * ry * x / rx
    first = math.atan2((y - cy) / ry, (x - cx) / rx)
    sweep = math.atan2((-y - cy) / ry, (-x - cx) / rx) - first
    if given[4] and sweep < 0:
        sweep += 2 * math.pi
    elif not given[4] and sweep > 0:
        sweep -= 2 * math.pi
    middle = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
    count = max(1, math.ceil(TURN * abs(sweep) / (2 * math.pi)))
    for n in range(1, count):
        angle = first + sweep * n / count
        u, v = cx + rx * math.cos(angle), cy + ry * math.sin(angle)
        yield cos * u - sin * v + middle[0], sin * u + cos * v + middle[1]
    yield end


def path_rings(text: str) -> list[Points]:
    """Turn path data into closed borders, curves as straight pieces.

    Raises
    ------
    ShapeFault
        The data cannot be read, has too many points, or leaves a border open.
    """
    pen = _Pen()
    for key, given in _commands(text):
        pen.step(key, given)
    if not pen.rings:
        raise ShapeFault("its path is empty")
    whole = []
    for ring, closed in zip(pen.rings, pen.closed, strict=True):
        if len(ring) < 2:
            continue
        gap = math.dist(ring[0], ring[-1])
        if not (closed or gap <= 1e-3 * max(math.dist(ring[0], point) for point in ring)):
            raise ShapeFault("its border is not closed; join its ends")
        whole.append(tuple(ring))
    return whole


def _commands(text: str) -> Iterator[tuple[str, list[float]]]:
    """Part path data into commands, each with as many numbers as it takes."""
    at, key, text = 0, "", text.rstrip()
    while at < len(text):
        found = _TOKEN.match(text, at)
        if found is None or (not key and not found[1]):
            raise _unread(text, at)
        if found[1]:
            key, at = found[1], found.end()
            if key.upper() not in _TAKES or (key.upper() == "Z" and found[1] not in "Zz"):
                raise _unread(text, found.start(1))
        given: list[float] = []
        for place in range(_TAKES[key.upper()]):
            flag = key in "Aa" and place in (3, 4)
            match = (_FLAG if flag else _TOKEN).match(text, at)
            number = match[1 if flag else 2] if match else None
            if match is None or number is None:
                raise _unread(text, at)
            given.append(float(number))
            at = match.end()
        if not all(abs(value) < LARGEST for value in given):
            raise _unread(text, at)
        yield key, given
        if key in "Zz":
            key = ""
        elif key in "Mm":
            key = "L" if key == "M" else "l"  # further pairs are lines


def _unread(text: str, at: int) -> ShapeFault:
    return ShapeFault(f"its path cannot be read at {shown(text[at : at + 20].strip())}")
