"""Make docs/trends.md and docs/trends.png: one key of the built-in example at a time.

Run from the top of the repository, with the ``docs`` extra installed; it takes some minutes.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import matplotlib as mpl

mpl.use("Agg")
import matplotlib.pyplot as plt
import numpy as np

from meltwick.constants import Constants
from meltwick.plan import example_plan, resolve
from meltwick.simulate import run
from meltwick.stock import load_stock
from meltwick.types import Recipe

HANDS = 5
DRAFT = 4e-3
HERE = Path(__file__).parent

NOTES = """## What to make of it

Pole, squeeze and pull go the way the trade says. The fall with the pole is steep, because a
bigger pole rolls the same cloth into fewer turns and shows more of it to the ice.

Spacing does not. At the same squeeze, closer ties make more and shorter pleats: more creases
lie outside and dye has less far to go from either side of each, which here outweighs the pressure
and the cover of the string. When the number of pleats is kept and the squeeze grows with the
spacing's fall (5, 3 and 1.8 times at 12, 25 and 50 mm), a small tee keeps about as much white at
each. Bands do get finer with closer ties, and a test measures that. A maker who ties closer also
pulls oftener and pushes harder, so both keys change at once at the bench.
"""


@dataclass(frozen=True)
class Sweep:
    """One key, its settings and what the trade says of it."""

    title: str
    unit: str
    key: str
    settings: tuple[float, ...]
    trade: str


SWEEPS = (
    Sweep(
        "Pole, outside diameter",
        "mm",
        "diameter",
        (21, 27, 33, 48, 60, 89, 114),
        "A bigger pole gives less white.",
    ),
    Sweep(
        "String spacing, at the same squeeze",
        "mm",
        "spacing",
        (10, 20, 30, 50),
        "Closer ties give finer bands and usually more white.",
    ),
    Sweep("Squeeze", "times", "squeeze", (1.5, 2, 3, 4), "More squeeze gives more white."),
    Sweep(
        "Pull of the string (loose, snug, tight, very tight)",
        "N",
        "pull",
        (3, 10, 20, 40),
        "Tighter ties give more white.",
    ),
)


def changed(recipe: Recipe, key: str, value: float) -> Recipe:
    """Return the recipe with one key of its pole or string set, in makers' units."""
    spec = recipe.rounds[0]
    (pole,), tie = spec.folds, spec.tie
    if key == "diameter":
        pole = replace(pole, diameter=value * 1e-3)
    elif key == "squeeze":
        pole = replace(pole, squeeze=value)
    elif key == "spacing":
        tie = replace(tie, spacing=value * 1e-3)
    else:
        tie = replace(tie, pull=value)
    return replace(recipe, rounds=(replace(spec, folds=(pole,), tie=tie),))


def whites(recipe: Recipe, pitch: float) -> np.ndarray:
    """White share of every hand [%]."""
    constants = Constants()

    def quiet(stage: str, done: int, total: int) -> None:
        """Watch nothing."""

    return 100.0 * np.array(
        [
            run(
                replace(recipe, seed=seed),
                "",
                pitch=pitch,
                start=None,
                constants=constants,
                observer=quiet,
                threads=2,
            ).white_share
            for seed in range(1, HANDS + 1)
        ]
    )


def main() -> None:
    recipe = resolve(example_plan(), load_stock())
    lines = [
        "# Trends",
        "",
        f"The built-in example at draft detail (4 mm), one key changed at a time, {HANDS} hands"
        " each: median white share, and the range over the hands. Made by `docs/make_trends.py`."
        " The sayings are common practice, no source.",
        "",
        "![White share against pole, spacing, squeeze and pull](trends.png)",
    ]
    figure, axes = plt.subplots(2, 2, figsize=(9, 6.5), sharey=True, layout="constrained")
    figure.set_facecolor("#f7f3ea")
    for sweep, axis in zip(SWEEPS, axes.flat, strict=True):
        found = [whites(changed(recipe, sweep.key, value), DRAFT) for value in sweep.settings]
        median = [float(np.median(each)) for each in found]
        low, high = [each.min() for each in found], [each.max() for each in found]
        axis.set_facecolor("#fdfbf6")
        axis.fill_between(sweep.settings, low, high, color="#8fb3c9", alpha=0.5, linewidth=0)
        axis.plot(sweep.settings, median, "o-", color="#24496b")
        axis.set(title=sweep.title, xlabel=sweep.unit, ylabel="white, %", ylim=(0, 80))
        lines += ["", f"## {sweep.title}", "", f"Trade: {sweep.trade}", ""]
        lines += [f"| {sweep.unit} | white, median | range |", "| --- | --- | --- |"]
        lines += [
            f"| {value:g} | {m:.0f} % | {a:.0f} to {b:.0f} % |"
            for value, m, a, b in zip(sweep.settings, median, low, high, strict=True)
        ]
        print("\n".join(lines[-len(sweep.settings) - 1 :]), flush=True)
    figure.savefig(HERE / "trends.png", dpi=110, metadata={"Software": None})
    lines += ["", "## The same plan at three pitches", ""]
    lines += ["| pitch | white, median | range |", "| --- | --- | --- |"]
    for pitch in (4e-3, 2e-3, 1e-3):
        each = whites(recipe, pitch)
        lines.append(
            f"| {1e3 * pitch:g} mm | {np.median(each):.1f} % | {each.min():.1f} to"
            f" {each.max():.1f} % |"
        )
        print(lines[-1], flush=True)
    (HERE / "trends.md").write_text("\n".join([*lines, "", NOTES]), "utf-8")


if __name__ == "__main__":
    main()
