"""The tube: a garment pulled over the pole instead of rolled on it, then pushed along.

A shirt's body is a tube already; a flat piece becomes one once two of its edges meet. Where it is
wider than the pole is round it lies in lengthwise gathers, or it is sewn beside the pole to fit it,
and what is left outside the seam is wound on over it, as sleeves are.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from meltwick import chance
from meltwick.folding.accordion import TUCK, Turned, stretch
from meltwick.folding.hand import SKEW, SKEW_LENGTH, WIDTH, Rings, rings
from meltwick.folding.pole import _pleat, squeeze_along
from meltwick.folding.stack import Stack
from meltwick.types import Floats, Ints, PoleWrap, TubeWrap

GATHER = 0.04  # [m] of cloth in a lengthwise gather; chosen


@dataclass(frozen=True)
class _Tube:
    """One pulling on: how the cloth lies round the pole before it is pushed."""

    middle: float  # [m] of the cloth, across
    bottom: float  # [m]
    half: float  # [m] of cloth from the middle to where the tube ends and what is left over begins
    both: bool  # front and back
    round: float  # [m] of cloth once round the tube
    pole: float  # [m] once round the pole
    edges: Floats  # (K + 1,) [m] of cloth, where gathers begin
    places: Floats  # (K + 1,) [m] round the pole, where they come to lie
    layers: int  # of the tube and all that is wound over it
    code: np.uint64
    skew: float  # [m]

    @property
    def wall(self) -> int:
        """Layers, each flank of a gather counted."""
        return self.layers * max(1, 2 * (len(self.edges) - 1))

    def around(self, x: Floats, y: Floats, order: Ints) -> tuple[Floats, Floats, Ints]:
        """Height on the pole and way round it before pushing [m], and layer, of flat points."""
        across, rise = x - self.middle, self.bottom - y
        if self.skew:
            drift = chance.smooth_field(self.code, x, y, SKEW_LENGTH)
            slack = chance.smooth_field(~self.code, x, y, SKEW_LENGTH)
            rise, across = rise + self.skew * drift, across + self.skew * slack
        out = np.abs(across)
        over = out > self.half
        turns = np.maximum(0.0, np.floor((out - self.half) / self.round)).astype(np.int64)
        if self.both:
            behind = (order == 0) & ~over
            way = np.where(behind, 0.5 * self.round - across, across)
            most = (self.layers - 1) // 2
            above = 1 + 2 * turns + (order > 0) + np.where(across < 0.0, most, 0)
        else:
            way = np.where(over, out, across)
            above = 1 + 2 * turns + (across < 0.0)
        level = np.where(over, np.minimum(above, self.layers - 1), 0)
        return rise, *self._gathered(np.mod(way, self.round), level)

    def _gathered(self, way: Floats, level: Ints) -> tuple[Floats, Ints]:
        """Lay cloth in knife pleats along the pole, where it is wider than the pole is round."""
        if len(self.edges) == 1:
            return way, level.astype(np.int32)
        k = np.clip(np.searchsorted(self.edges, way, "right") - 1, 0, len(self.edges) - 2)
        cloth, pole = np.diff(self.edges)[k], np.diff(self.places)[k]
        forward, u = 0.5 * (cloth + pole), way - self.edges[k]
        on = u < forward
        place = self.places[k] + np.where(on, u, 2.0 * forward - u)
        layer = np.where(on, 2 * k * self.layers + level, (2 * k + 2) * self.layers - 1 - level)
        return place, layer.astype(np.int32)


def girth(outline: Floats, layers: int) -> float:
    """Cloth once round a garment's body, or a flat piece's width [m].

    Parameters
    ----------
    outline : ndarray of shape (M, 2)
        [m]
    layers : int
        1, or 2 for a front and a back.
    """
    low = outline[outline[:, 1] > 0.5 * (outline[:, 1].min() + outline[:, 1].max())]
    return layers * float(np.ptp(low[:, 0]))


def _pulled_on(
    stack: Stack, outline: Floats, fold: TubeWrap, neatness: float, seed: int, number: int
) -> _Tube:
    low = outline[outline[:, 1] > 0.5 * (outline[:, 1].min() + outline[:, 1].max())]
    middle = 0.5 * float(low[:, 0].min() + low[:, 0].max())
    body, pole = girth(outline, stack.layers), np.pi * fold.diameter
    round_it = min(body, pole) if fold.sewn else body
    code = chance.key(seed, "tube", number)
    count = max(1, round(round_it / GATHER)) if round_it > 1.02 * pole else 0
    edges = places = np.zeros(1)
    if count:
        draw = np.sqrt(12.0) * (chance.uniforms(code, count, 0) - 0.5)
        share = np.cumsum(np.maximum(0.2, 1.0 + WIDTH * neatness * draw))
        edges = np.concatenate([[0.0], round_it * share / share[-1]])
        places = edges * pole / round_it
    half = round_it / (4.0 if stack.layers == 2 else 2.0)
    reach = float(np.abs(outline[:, 0] - middle).max()) * 1.05 + 0.01
    turns = int(np.ceil(max(0.0, reach - half) / round_it))
    return _Tube(
        middle=middle,
        bottom=float(outline[:, 1].max()),
        half=half,
        both=stack.layers == 2,
        round=round_it,
        pole=min(pole, round_it),
        edges=edges,
        places=places,
        layers=1 + 2 * turns * stack.layers,
        code=code,
        skew=SKEW * neatness * SKEW_LENGTH,
    )


def _pushed(tube: _Tube, outline: Floats, fold: TubeWrap, spacing: float, hand: float) -> Rings:
    rise = tube.bottom - outline[:, 1]
    along = PoleWrap(
        fold.diameter, 0.0, squeeze=fold.squeeze, even=fold.even, pushed_first=fold.pushed_first
    )
    return rings(
        int(tube.code % np.uint64(2**31)),
        1,
        float(rise.min()),
        float(rise.max()),
        fold.squeeze * spacing,
        squeeze_along(along),
        hand,
        tube.pole / (2.0 * np.pi),
    )


def _deep(stack: Stack, tube: _Tube, outline: Floats) -> float:
    """Layers on each other round the pole before it is pushed, on the mean."""
    tall, wide = float(np.ptp(outline[:, 1])), float(np.ptp(outline[:, 0]))
    filled = min(1.0, girth(outline, stack.layers) / (stack.layers * wide) + 0.1)
    return max(1.0, stack.layers * filled * wide * tall / (tube.pole * tall))


Pushed = tuple[Floats, Floats, Ints, Floats, Floats, Floats]
"""Place, angle, layer, distance to the crest, to the next one and to the outer crease."""


def pull_over(
    stack: Stack,
    fold: TubeWrap,
    *,
    spacing: float,
    thickness: float,
    neatness: float,
    seed: int,
    round_number: int = 1,
) -> Stack:
    """Pull a garment over a pole and push it along.

    Parameters
    ----------
    stack : Stack
        As laid flat, of one layer or of a front and a back.
    fold : TubeWrap
    spacing : float
        Mean distance of the string's rings on the pole, after pushing [m].
    thickness : float
        Of one layer of cloth [m].
    neatness : float
        0 tidy .. 1 loose.

    Returns
    -------
    Stack
        ``p`` along the pole from its low end [m], ``q`` the angle from the pole's top [rad].

    Raises
    ------
    ValueError
        When the stack is folded already.
    """
    if stack.layers > 2:
        raise ValueError("cloth that is folded already is no tube")
    outline = stack.rim if len(stack.rim) else np.column_stack([stack.p, stack.q])
    tube = _pulled_on(stack, outline, fold, neatness, seed, round_number)
    table = _pushed(tube, outline, fold, spacing, neatness)
    radius = tube.pole / (2.0 * np.pi)

    def push(x: Floats, y: Floats, order: Ints, tuck: float) -> tuple[Pushed, Floats]:
        rise, way, layer = tube.around(x, y, order)
        angle = np.mod(way, tube.pole) / radius
        angle = np.where(angle < 2.0 * np.pi, angle, 0.0)
        wall = tube.wall
        return _pleat(rise, angle, layer, wall, wall, tuck, table.cloth, table.pole), way

    def turn(x: Floats, y: Floats, order: Ints) -> Turned:
        found, way = push(x, y, order, 0.0)
        return found[0], way, found[2].astype(np.int32)

    # only the few layers on one place of the wall turn round each other
    deep = _deep(stack, tube, outline)
    near = TUCK * thickness * min(1.0, deep / tube.wall)
    (place, angle, order, ring, gap, crease), _ = push(stack.p, stack.q, stack.order, near)
    return replace(
        stack,
        p=place - place.min(),
        q=angle,
        order=order.astype(np.int32),
        layers=tube.wall,
        radius=radius,
        flat=tube.wall,
        squeeze=fold.squeeze,
        ring=ring,
        gap=gap,
        crease=crease,
        deep=deep,
        strain99=stretch(stack, turn),
    )
