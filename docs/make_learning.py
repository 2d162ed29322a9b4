"""Measure what a maker's pieces can tell apart, and whether learning finds hidden constants again.

Run from the top of the repository; ``apart`` moves single constants on six plans (about a quarter
of an hour on two cores), ``found`` makes twelve small pieces by hands of a maker whose constants
are hidden, and learns from them (about ten minutes). Both print the figures that docs/learning.md
quotes; runs are kept, so that what was stopped goes on.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np

from meltwick.constants import Constants
from meltwick.journal.evidence import Evidence, observed
from meltwick.journal.factors import FACTORS, moved
from meltwick.journal.learning import learn, most_runs
from meltwick.journal.profiles import profile_of
from meltwick.plan import plan_from_text, read_plan, resolve
from meltwick.plan.reader import built_in
from meltwick.plan.varying import read_axis, with_values
from meltwick.stock import load_stock
from meltwick.study import doubt_for, hand_seeds
from meltwick.study.outcome import Order
from meltwick.study.queue import run_all
from meltwick.study.store import Store
from meltwick.types import Recipe

GALLERY = Path(__file__).parents[1] / "gallery"
DRAFT = 4e-3  # [m]
STEP = 1.4  # by which a constant is multiplied
SINGLE = ("film", "contact", "grip", "contact_spread", "dispersivity", "dissolving")
TOGETHER = {
    "resist": {"film": 1, "contact": -1},
    "spread": {"contact_spread": 1, "dispersivity": 1},
    "travel": {"contact_spread": 1, "dispersivity": 1, "grip": -1},
}
SETS = (
    ("resist", "travel"),
    ("resist", "grip", "spread"),
    ("film", "contact", "grip", "spread"),
    ("resist", "travel", "dissolving"),
    SINGLE,
)
HIDDEN = np.array([1.2, -0.8])  # [standard deviations of the prior]
CAMERA = 0.015  # one standard deviation of a measured white share

PIECE = """name = "{name}"
seed = {seed}
[garment]
blank = "bandana"
[[round]]
fold = [{fold}]
tie = {tie}
[[round.ice]]
amount = "300 g"
[[round.dye]]
dye = "{dye}"
amount = "{grams} g"
at = "all"
"""
POLE = '{ kind = "pole", pole = "1-1/2 in pipe", bias = "35 deg", squeeze = 3 }'
PLEATS = '{ kind = "accordion", pleat = "5 cm", creases = "along" }'
TWIST = '{ kind = "spiral", pleats = 8, turns = 1, height = "4 cm" }'
HEAP = '{ kind = "scrunch", draw = 3, bump = "3 cm" }'
STRING = '{{ kind = "string", spacing = "{} mm", pull = "{}" }}'
BANDS = '{{ kind = "bands", count = {}, pull = "{}" }}'
FOLDS = (
    *(
        (POLE, STRING.format(gap, pull))
        for gap, pull in ((15, "tight"), (30, "tight"), (60, "snug"))
    ),
    *((PLEATS, STRING.format(gap, "tight")) for gap in (15, 30, 60)),
    *(
        (TWIST, BANDS.format(count, pull))
        for count, pull in ((2, "snug"), (3, "snug"), (4, "tight"))
    ),
    *((HEAP, BANDS.format(count, "snug")) for count in (2, 3, 4)),
)


def small_plans() -> list[Recipe]:
    """Twelve bandanas: four folds, each held three ways, with more or less dye."""
    stock, found = load_stock(), []
    for k, (fold, tie) in enumerate(FOLDS):
        text = PIECE.format(
            name=f"kerchief-{k + 1}",
            seed=10 * k + 1,
            fold=fold,
            tie=tie,
            dye=("plum", "coral", "ink")[k % 3],
            grams=(1.0, 1.6)[k % 2],
        )
        found.append(resolve(plan_from_text(text, "kerchief.toml"), stock))
    return found


def shares_of(orders: Sequence[Order]) -> list[Mapping[str, float]]:
    """Make runs, or find them kept."""
    return [outcome.shares.whole for outcome in run_all(orders, store=Store())]


def apart() -> None:
    """Print how far each constant moves the observations, and which sets are told apart."""
    stock = load_stock()
    text = built_in("example.toml")
    gap = read_axis("spacing=60mm", plan_from_text(text, "example.toml"))
    wider = with_values(text, "example.toml", {gap.key: gap.values[0]})
    plans = [plan_from_text(each, "example.toml") for each in (text, wider)]
    plans += [read_plan(GALLERY / f"{n}.toml") for n in ("accordion", "spiral", "scrunch", "brick")]
    recipes = [resolve(plan, stock) for plan in plans]
    book = Constants()
    moves = [None, *(replace(book, **{n: STEP * getattr(book, n)}) for n in SINGLE)]
    orders = [
        Order(recipe, seed, DRAFT, constants)
        for constants in moves
        for recipe in recipes
        for seed in hand_seeds(recipe.seed, 2)
    ]
    seen = np.array([observed(each) for each in shares_of(orders)])
    seen = seen.reshape(len(moves), len(recipes), 2, 3).mean(axis=2)
    table = {row["name"]: row for row in Constants.table()}
    sd = {n: np.log(table[n]["high"] / table[n]["low"]) / np.sqrt(12.0) for n in SINGLE}
    gaps = (seen[1:] - seen[0]) / np.log(STEP)
    slope = {n: gap * sd[n] for n, gap in zip(SINGLE, gaps, strict=True)}
    for name, parts in TOGETHER.items():
        whole = sum(way * slope[part] for part, way in parts.items())
        slope[name] = whole / np.sqrt(len(parts))
    for title, kept in (("white alone", slice(0, 1)), ("white and classes", slice(0, 3))):
        for chosen in SETS:
            rows = np.column_stack([slope[n][:, kept].ravel() for n in chosen])
            print(f"{title}: {', '.join(chosen)}: condition number {np.linalg.cond(rows):.1f}")
    flat = np.column_stack([slope[n].ravel() / np.linalg.norm(slope[n]) for n in SINGLE])
    print("cosines between", ", ".join(SINGLE))
    print(np.round(flat.T @ flat, 2))


def found() -> None:
    """Print what twelve made pieces teach, against what was hidden."""
    rng = np.random.default_rng(2026)
    recipes, hidden = small_plans(), moved(HIDDEN)
    made = shares_of([Order(r, 5000 + k, DRAFT, hidden) for k, r in enumerate(recipes)])
    noise = CAMERA * rng.normal(size=len(made))
    evidence = [
        Evidence(r.name, r, r.seed, float(np.clip(s["white"] + off, 0, 1)), 0.03, s, k + 1)
        for k, (r, s, off) in enumerate(zip(recipes, made, noise, strict=True))
    ]
    begun, runs = time.perf_counter(), []

    def make(orders: Sequence[Order]) -> list[Mapping[str, float]]:
        runs.append(len(orders))
        return shares_of(orders)

    learned = learn(evidence, make, hands=3, pitch=DRAFT)
    took = time.perf_counter() - begun
    profile = profile_of("mine", learned, date.today())
    print(f"{sum(runs)} runs (at most {most_runs(12, 3)} foreseen), {took:.0f} s")
    for n, factor in enumerate(FACTORS):
        off = np.sqrt(learned.covariance[n, n])
        print(
            f"{factor.name}: hidden {HIDDEN[n]:+.2f}, learned {learned.place[n]:+.2f} +- {off:.2f}"
        )
    for key, value in profile.values.items():
        print(f"{key}: hidden {getattr(hidden, key):.4g}, learned {value:.4g} {profile.spans[key]}")
    print(f"error before {learned.before:.3f}, after {learned.after:.3f}, gain {learned.gain}")
    print(f"hand {learned.hand_spread:.3f}, excess {learned.excess:.2f}, effects {learned.effects}")
    for fold in ("", "pole", "accordion", "spiral"):
        book, mine = doubt_for(fold), doubt_for(fold, profile)
        print(f"doubt {fold or 'of a usual plan'}: {book:.3f} -> {mine:.3f}")
    for piece, *rest in zip(evidence, learned.book, learned.fitted, learned.others, strict=True):
        print(piece.name, *(f"{each:.3f}" for each in (piece.white, *rest)))


if __name__ == "__main__":
    {"apart": apart, "found": found}[sys.argv[1]]()
