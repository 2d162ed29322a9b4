"""Second rounds over a piece that is dyed already: how white it ends, and what stays light."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from meltwick.colour.standard import decode, from_linear
from meltwick.plan import plan_from_text, resolve, words
from meltwick.plan.area import cloth_area
from meltwick.plan.varying import with_values
from meltwick.shares import PALE, WHITE
from meltwick.stock import Stock, load_stock
from meltwick.study.aim import FIRST, NEAR, Aimed, aim
from meltwick.study.compare import Group, Setting
from meltwick.study.explore import Spread, spread
from meltwick.study.space import read_space
from meltwick.types import Cloth, Floats, Look, Recipe

if TYPE_CHECKING:
    from numpy.typing import NDArray

FOLDS = ("pole", "accordion", "spiral", "scrunch")
"""Ways to fold a second round; each in its usual form."""
PULLS = ("snug", "very tight")
PLACES = ("all", "high")
COARSE = 1e-2
"""Pitch [m] at which amounts are sought; what is found is made again at the detail asked for."""
LEAST, MOST = 0.02, 2.5
"""Powder, over what covers the bundle, from the least to the most that is tried; chosen."""
_STEPS = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)
"""Even steps of about a fifth, of two figures (the E12 series of IEC 60063)."""
_GOES = 3  # at the detail asked for: one, and two that correct it
OWN_HUE = math.radians(30.0)
"""Turn of hue up to which a colour is still its own; a twelfth of the circle, chosen."""
OWN_CHROMA = 0.5  # of its chroma that a colour must keep to be its own; chosen

Make = Callable[[Sequence[Setting], float], list[Group]]
"""Given settings and a pitch [m], returns what the hands made of each."""


@dataclass(frozen=True)
class Proposal:
    """One second round."""

    group: Group  # its setting, and what the hands made of it
    text: str  # the plan file
    light: float | None  # share of the pale cloth that stays light or its own hue
    wish: float

    @property
    def miss(self) -> float:
        """How far the middle hand is from the wish."""
        return abs(self.group.median() - self.wish)

    @property
    def met(self) -> bool:
        """Whether the wish is met: by the middle hand, or between two hands."""
        hands = self.group.shares()
        return self.miss <= NEAR or min(hands) <= self.wish <= max(hands)


def base_text(start: str, garment: Sequence[tuple[str, str]]) -> str:
    """Write the plan that second rounds are variations of.

    Parameters
    ----------
    start : str
        The value of ``start``, as TOML.
    garment : sequence of (str, str)
        Keys and words of the garment.
    """
    lines = [f"start = {start}", "", "[garment]"]
    lines += [f"{key} = {json.dumps(word, ensure_ascii=False)}" for key, word in garment]
    lines += ["", "[[round]]", 'fold = [{ kind = "pole" }]', "", "[[round.dye]]"]
    lines += ['dye = "ink"', 'amount = "1 g"', 'at = "all"', ""]
    return "\n".join(lines)


def designs(text: str, where: str, dyes: Sequence[str], count: int) -> Spread:
    """Spread second rounds evenly over folds, pulls, places of the powder, and dyes.

    Raises
    ------
    PlanError
        None of them can be made on this piece.
    """
    vary = [
        f"fold={','.join(FOLDS)}",
        f"pull={','.join(PULLS)}",
        f"round.1.dye.1.at={','.join(PLACES)}",
    ]
    space = read_space(text, where, plan_from_text(text, where), vary, dyes, load_stock())
    return spread(space, count)


def amounts(recipe: Recipe) -> list[str]:
    """List amounts of powder that can be weighed, from hardly any to more than enough."""
    covers = 3e3 * words.SPRINKLE["covered"] * cloth_area(recipe.blank) / words.SPRINKLE_CLOTH
    found = []
    for power in range(-2, 4):
        for step in _STEPS:
            grams = step * 10.0**power
            if LEAST * covers <= grams <= MOST * covers:
                found.append(f"{grams:.3g} g")
    return found


@dataclass(frozen=True)
class _Weighed:
    """One design with any of the amounts."""

    design: Setting
    text: str
    where: str
    amounts: Sequence[str]

    def at(self, number: int) -> tuple[Setting, str]:
        """Return the setting with one amount, and its plan file."""
        grams = self.amounts[number]
        text = with_values(self.text, self.where, {"round.1.dye.1.amount": grams})
        plan = plan_from_text(text, self.where)
        shown = {word.rpartition(".")[2]: value for word, value in self.design.values.items()}
        shown = {("dye" if word == "palette" else word): value for word, value in shown.items()}
        return Setting({**shown, "powder": grams}, plan, self.design.number), text


def propose(
    text: str,
    where: str,
    wish: float,
    dyes: Sequence[str],
    count: int,
    pitch: float,
    make: Make,
    light: Callable[[Group], float | None],
) -> list[Proposal]:
    """Find second rounds that end with a wished share of white, the best first.

    Three times as many designs as are wanted are spread over folds, pulls, places and dyes, and
    made on a coarse raster with little powder, some, and much. Of those that have the wish between
    these the amount is sought that meets it; what is found is made at the detail asked for, and
    corrected by what the two differ. Those that meet the wish come first, and of these the ones
    that keep the most pale cloth light.

    Parameters
    ----------
    text, where : str
        The plan of `base_text`, and its name.
    wish : float
        White share, 0 to 1.
    dyes : sequence of str
        In stock.
    count : int
        Proposals wanted.
    pitch : float
        Detail [m].
    make : callable
        Makes settings.
    light : callable
        Says what share of the pale cloth a piece keeps light.

    Raises
    ------
    PlanError
        No second round can be made on this piece.
    """
    stock = load_stock()
    found = designs(text, where, dyes, 3 * count)
    weighed = [
        _Weighed(design, each, where, amounts(_recipe(design, stock)))
        for design, each in zip(found.settings, found.texts, strict=True)
    ]
    coarse = max(pitch, COARSE)
    search = _Search(weighed, coarse, make)
    likely = search.likely(wish)[: count + (count + 1) // 2]
    wanted = [(number, search.aimed(number, wish).best) for number in likely]
    made: dict[tuple[int, int], Group] = {}
    for _ in range(_GOES):
        new = [pair for pair in wanted if pair not in made]
        made |= search.at(new, pitch)
        wanted = [search.corrected(pair, made[pair].median(), wish) for pair in new]
    proposals = [
        Proposal(group, weighed[number].at(amount)[1], light(group), wish)
        for (number, amount), group in made.items()
    ]
    return _ranked(proposals, count)


def _recipe(setting: Setting, stock: Stock) -> Recipe:
    return resolve(setting.plan, stock)


def _ranked(proposals: Sequence[Proposal], count: int) -> list[Proposal]:
    """Put the best first, one of each design, and number them anew.

    Of designs that differ in their tie alone the better stands with the others, and the rest behind
    all that meet the wish.
    """

    def order(each: Proposal) -> tuple[bool, float, float, int]:
        kept = each.light if each.met and each.light is not None else 0.0
        return (not each.met, -kept, each.miss, each.group.setting.number)

    kept: dict[int, Proposal] = {}
    for each in sorted(proposals, key=order):
        kept.setdefault(each.group.setting.number, each)
    first: dict[tuple[str, ...], Proposal] = {}
    for each in kept.values():
        first.setdefault(_apart(each), each)
    twins = [each for each in kept.values() if each is not first[_apart(each)]]
    best = sorted([*first.values(), *twins], key=lambda each: not each.met)
    return [
        replace(each, group=replace(each.group, setting=replace(each.group.setting, number=n)))
        for n, each in enumerate(best[:count], 1)
    ]


def _apart(each: Proposal) -> tuple[str, ...]:
    """Return what tells a proposal from others at a glance."""
    values = each.group.setting.values
    return tuple(values.get(key, "") for key in ("fold", "at", "dye"))


class _Search:
    """Makes designs with amounts, each once, and knows what white they came to."""

    def __init__(self, weighed: Sequence[_Weighed], coarse: float, make: Make) -> None:
        self._weighed, self._coarse, self._make = weighed, coarse, make
        self._white: dict[tuple[int, int], list[float]] = {}

    def likely(self, wish: float) -> list[int]:
        """List the designs, first those that have a wish between little powder and much.

        The three amounts are of those that `aim` begins with, and made for all designs at once.
        """
        tried: list[list[tuple[int, int]]] = []
        for number, each in enumerate(self._weighed):
            last, steps = len(each.amounts) - 1, min(FIRST, len(each.amounts)) - 1
            places = {round(k * last / max(steps, 1)) for k in (0, steps // 2, steps)}
            tried.append([(number, place) for place in sorted(places)])
        self._learn([pair for pairs in tried for pair in pairs])

        def beyond(number: int) -> float:
            white = [self.middle(*pair) for pair in tried[number]]
            return max(0.0, min(white) - wish, wish - max(white))

        return sorted(range(len(tried)), key=lambda number: (beyond(number), number))

    def corrected(self, pair: tuple[int, int], white: float, wish: float) -> tuple[int, int]:
        """Return a design with a better amount, by what it came to at the detail asked for."""
        number, amount = pair
        if abs(white - wish) <= NEAR:
            return pair
        off = white - self.middle(number, amount)
        return number, self.aimed(number, min(1.0, max(0.0, wish - off))).best

    def aimed(self, number: int, wish: float) -> Aimed:
        """Find the amount of one design that comes nearest to a wish."""

        def attempt(tried: Sequence[int]) -> dict[int, list[float]]:
            self._learn([(number, each) for each in tried])
            return {each: self._white[number, each] for each in tried}

        return aim(len(self._weighed[number].amounts), wish, attempt)

    def middle(self, number: int, amount: int) -> float:
        """White of the middle hand, on the coarse raster."""
        return float(np.median(self._white[number, amount]))

    def at(self, pairs: Sequence[tuple[int, int]], pitch: float) -> dict[tuple[int, int], Group]:
        """Make designs with amounts at a pitch [m]."""
        if not pairs:
            return {}
        settings = [self._weighed[number].at(amount)[0] for number, amount in pairs]
        return dict(zip(pairs, self._make(settings, pitch), strict=True))

    def _learn(self, pairs: Sequence[tuple[int, int]]) -> None:
        new = [pair for pair in dict.fromkeys(pairs) if pair not in self._white]
        for pair, group in self.at(new, self._coarse).items():
            self._white[pair] = group.shares()


def light_kept(cloth: Cloth, before: Look, after: NDArray[np.uint16]) -> float | None:
    """Share of the pale cloth of a first round that a second one leaves light or of its own hue.

    A cell that was pale counts if it is no deeper than pale, or if its hue turned by less than
    30 degrees and it kept half of its chroma.

    Parameters
    ----------
    cloth : Cloth
        N cells.
    before : Look
        Of the first round.
    after : ndarray of shape (N, 3)
        Encoded sRGB after the second, 0 to 65535.

    Returns
    -------
    float or None
        None where less than a hundredth of the cloth was pale.
    """
    pale = cloth.dyeable & (before.delta > WHITE) & (before.delta <= PALE)
    if pale.sum() < 0.01 * max(1, int(cloth.dyeable.sum())):
        return None
    bare = np.asarray(before.undyed_srgb)
    then, now = before.lab[pale], _lab(after[pale] / 65535.0)
    ground = _lab(bare[None])
    light = np.linalg.norm(now - ground, axis=1) <= PALE
    hue = np.arctan2(now[:, 2], now[:, 1]) - np.arctan2(then[:, 2], then[:, 1])
    turned = np.abs((hue + np.pi) % (2.0 * np.pi) - np.pi)
    chroma = np.hypot(now[:, 1], now[:, 2]), np.hypot(then[:, 1], then[:, 2])
    own = (turned <= OWN_HUE) & (chroma[0] >= OWN_CHROMA * chroma[1])
    return float(np.mean(light | own))


def _lab(srgb: Floats) -> Floats:
    return from_linear(decode(srgb))
