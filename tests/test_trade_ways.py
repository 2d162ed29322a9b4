"""Facts of the trade for folds and ties beyond the pole (common practice, no source)."""

from __future__ import annotations

from statistics import median

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from meltwick.bundle import build_bundle
from meltwick.constants import Constants
from meltwick.plan import plan_from_text, resolve
from meltwick.simulate import simulate
from meltwick.stock import load_stock
from meltwick.types import Result

PITCH = 6e-3
STOCK = load_stock()
HARBOUR = '[[round.dye]]\ndye = "harbour blue"\namount = "2 g"\n'
ALONG = "[{ kind = 'accordion', pleat = '5 cm' }]"
BRICK = (
    "[{ kind = 'accordion', pleat = '9 cm' }, "
    "{ kind = 'accordion', pleat = '9 cm', creases = 'across' }]"
)


def made(turns: str, seed: int = 1, blank: str = "bandana") -> Result:
    text = f'[garment]\nblank = "{blank}"\n{turns}\n'
    return simulate(plan_from_text(text, "ways.toml"), pitch=PITCH, seed=seed)


TIES = {
    "string": (ALONG, 'kind = "string", spacing = "2 cm", pull = "{}"'),
    "clamps": (BRICK, 'kind = "clamps", size = "7 cm", force = "{}"'),
    "stitching": ("[]", 'kind = "stitching", stitch = "3 cm", spacing = "4 cm", pull = "{}"'),
}


@pytest.mark.parametrize("name", TIES)
def test_a_loose_tie_keeps_less_white_than_a_tight_one(name: str) -> None:
    fold, tie = TIES[name]

    def white(pull: str) -> float:
        turn = f"[[round]]\nfold = {fold}\ntie = {{ {tie.format(pull)} }}\n{HARBOUR}"
        return median(made(turn, seed).white_share for seed in (1, 2, 3))

    assert white("loose") < white("very tight")


def test_a_ring_bound_loosely_keeps_less_white_than_a_tight_one() -> None:
    """On a tee's two layers; beyond snug the pull changes nothing here, against the trade."""

    def white(pull: str) -> float:
        tie = f'{{ kind = "rings", every = "13 cm", from_tip = "4 cm", pull = "{pull}" }}'
        turn = f"[[round]]\nfold = []\ntie = {tie}\n{HARBOUR}"
        return median(made(turn, seed, "child tee").white_share for seed in (1, 2, 3))

    assert white("loose") < white("tight")


@pytest.mark.parametrize("lies", ["rack", "tub"])
def test_light_above_dark_stays_cleaner_than_dark_above_light(lies: str) -> None:
    """Fact 5, on standing pleats: yellow laid above plum keeps more of its own colour."""

    def yellow(high: str, low: str) -> float:
        turn = f'[[round]]\nfold = {ALONG}\nrest = {{ on = "{lies}", incline = "25 deg" }}\n'
        for dye, at in ((high, "high"), (low, "low")):
            turn += f'[[round.dye]]\ndye = "{dye}"\namount = "2 g"\nat = "{at}"\n'
        lab = made(turn).look.lab
        # area that the eye calls yellow: b* high, a* low
        return float(np.mean((lab[:, 2] > 40.0) & (lab[:, 1] < 20.0)))

    assert yellow("lemon", "plum") > yellow("plum", "lemon")


SECTORS = "".join(
    f'[[round.dye]]\ndye = "{dye}"\namount = "1.5 g"\nat = "sector {n} of 3"\n'
    for n, dye in enumerate(("lemon", "rose", "tide"), 1)
)


def test_wedges_show_in_the_opened_disc_as_sectors() -> None:
    turn = (
        "[[round]]\nfold = [{ kind = 'spiral', centre = 'middle', turns = 1.2 }]\n"
        f'tie = {{ kind = "bands", count = 3 }}\nrest = {{ on = "flat rack" }}\n{SECTORS}'
    )
    piece = made(turn)
    plan = plan_from_text(f'[garment]\nblank = "bandana"\n{turn}', "w.toml")
    recipe = resolve(plan, STOCK)
    bundle = build_bundle(
        piece.cloth,
        recipe.rounds[0],
        neatness=recipe.neatness,
        seed=1,
        constants=Constants(),
    )
    up = bundle.along - 0.5 * (bundle.along.min() + bundle.along.max())
    right = bundle.across - 0.5 * (bundle.across.min() + bundle.across.max())
    third = (np.arctan2(right, up) / (2.0 * np.pi) % 1.0 * 3.0).astype(int)
    outer = np.hypot(up, right) > 0.05  # near the middle all three meet
    names = [part.name for part in piece.fixed.species]
    for n, name in enumerate(("lemon", "rose", "tide")):
        dye = next(each for each in recipe.dyes if each.name == name)
        own = [
            names.index(part.name)
            for part, _ in dye.parts
            if sum(part in [p for p, _ in other.parts] for other in recipe.dyes) == 1
        ]
        mass = piece.fixed.amount[:, own].sum(axis=1) * outer
        shares = np.array([mass[third == k].sum() for k in range(3)]) / mass.sum()
        assert shares.argmax() == n
        assert shares[n] > 0.6


FOLDS = (
    "[{ kind = 'pole', diameter = '4 cm' }]",
    ALONG,
    "[{ kind = 'spiral', centre = 'middle' }]",
    "[{ kind = 'scrunch' }]",
    "[{ kind = 'rope' }]",
    "[{ kind = 'halve' }, { kind = 'accordion', pleat = '5 cm', creases = 'slanting' }]",
)


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.permutations(FOLDS), st.sampled_from(["rose", "tide", "marigold"]), st.integers(0, 99))
def test_a_second_round_folded_otherwise_leaves_less_white(
    folds: list[str], dye: str, seed: int
) -> None:
    """Fact 6: fixed dye never falls, lightness never rises, white rises by half a point at most."""
    first = f'[[round]]\nfold = {folds[0]}\n[[round.dye]]\ndye = "plum"\namount = "1 g"\n'
    second = f'[[round]]\nfold = {folds[1]}\n[[round.dye]]\ndye = "{dye}"\namount = "1 g"\n'
    one, two = made(first, seed), made(first + second, seed)
    known = {part.name: k for k, part in enumerate(two.fixed.species)}
    for k, part in enumerate(one.fixed.species):
        assert np.all(two.fixed.amount[:, known[part.name]] >= one.fixed.amount[:, k] - 1e-12)
    assert np.all(two.look.lab[:, 0] <= one.look.lab[:, 0] + 1e-6)
    assert two.white_share <= one.white_share + 0.005
    assert two.white_share < one.white_share or one.white_share < 0.01
