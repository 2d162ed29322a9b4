"""A spread of plans: points of a space of keys that lie evenly, however many are drawn.

The points are a scrambled Sobol sequence (Sobol 1967, direction numbers of Joe and Kuo 2008,
scrambling of Owen 1998, as `scipy.stats.qmc` has them), keyed by the plan's seed alone. So the
first points are the same however many follow, and each stretch of a key is met about as often
as any other.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from meltwick.advice.sizes import weigh
from meltwick.chance import key as chance_key
from meltwick.errors import PlanError
from meltwick.plan import digest, plan_from_text, resolve
from meltwick.plan.varying import with_values
from meltwick.stock import load_stock
from meltwick.study.compare import Setting
from meltwick.study.space import Folding, Space
from meltwick.types import Floats

_POINTS = 14  # 2 to this power are drawn
_MOST_FAULTS = 400  # points that make no plan before the search is given up


def points(seed: int, dimensions: int) -> Floats:
    """Draw a low-discrepancy sequence of points in the unit cube, (2^14, dimensions) [0..1)."""
    from scipy.stats import qmc

    rng = np.random.default_rng(int(chance_key(seed, "explore")))
    drawn = qmc.Sobol(dimensions, scramble=True, seed=rng).random_base2(_POINTS)
    return np.asarray(drawn, dtype=np.float64)


@dataclass(frozen=True)
class Spread:
    """Settings of a space, numbered from 1, and what was passed over to find them."""

    settings: tuple[Setting, ...]
    texts: tuple[str, ...]  # the plan file of each
    skipped: int  # points that make no plan
    fault: str  # of the first of these
    whole: bool  # every setting of the space was looked at


@dataclass(frozen=True)
class _Point:
    folding: Folding
    keyed: dict[str, str]  # by whole key, as `with_values` takes them
    shown: dict[str, str]  # by the key's word


def spread(space: Space, count: int) -> Spread:
    """Make so many plans of a space, as many as differ and can be done.

    The plan of a number is the same however many are made.

    Parameters
    ----------
    space : Space
    count : int
        1 or more.
    """
    stock = load_stock()
    seen, made = set[tuple[tuple[str, str], ...]](), dict[str, tuple[Setting, str]]()
    faults: list[str] = []
    for place in points(space.seed, space.dimensions):
        done = len(made) >= count or len(seen) >= space.size or len(faults) >= _MOST_FAULTS
        if done:
            break
        point = _point(space, [float(each) for each in place])
        values = tuple(point.shown.items())
        if values in seen:
            continue
        seen.add(values)
        try:
            text = with_values(point.folding.text, space.where, point.keyed)
            plan = plan_from_text(text, space.where)
            recipe = resolve(plan, stock)
            weigh(recipe)  # refuses what is to be pinched where there is no cloth
        except PlanError as error:
            told = ", ".join(f"{word}={value}" for word, value in point.shown.items())
            faults.append(f"{told}: {error}")
            continue
        made.setdefault(digest(recipe), (Setting(point.shown, plan, len(made) + 1), text))
    settings, texts = zip(*made.values(), strict=True) if made else ((), ())
    whole = len(seen) >= space.size
    return Spread(settings, texts, len(faults), faults[0] if faults else "", whole)


def _point(space: Space, place: Sequence[float]) -> _Point:
    """Turn a point of the unit cube into values of the keys."""

    def pick(dimension: int, count: int) -> int:
        return min(int(place[dimension] * count), count - 1)

    first = len(space.folds)
    folding = space.foldings[tuple(pick(n, count) for n, count in enumerate(space.folds))]
    keyed, shown = dict[str, str](), dict(folding.shown)
    for n, (axis, word) in enumerate(zip(folding.axes, space.words, strict=True), first):
        if axis is not None:
            keyed[axis.key] = shown[word] = axis.values[pick(n, len(axis.values))]
    if space.palettes:
        palette = space.palettes[pick(space.dimensions - 1, len(space.palettes))]
        shown["palette"] = " + ".join(palette)
        lines = [
            f"round.{number}.dye.{n}.dye"
            for number, turn in enumerate(folding.plan.round, 1)
            for n in range(1, len(turn.dye) + 1)
        ]
        for n, key in enumerate(lines):
            keyed[key] = json.dumps(palette[n % len(palette)], ensure_ascii=False)
    return _Point(folding, keyed, shown)
