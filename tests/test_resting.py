"""Ice laid at its times, powder in its place, a bundle turned over, and a tub that fills."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from tests.chains import marching
from tests.flats import flat_bundle, flat_cloth

from meltwick.advice import advise
from meltwick.bundle import build_bundle
from meltwick.cloth import build_cloth
from meltwick.constants import ICE_POINT, WATER_DENSITY, Constants
from meltwick.plan import digest, plan_from_text, resolve
from meltwick.seep import ice
from meltwick.seep.ice import Heaps, Lie, Melt, landing, melt_of, sides
from meltwick.seep.levels import Steps
from meltwick.seep.melting import turned_over
from meltwick.seep.pool import Pool
from meltwick.seep.powder import lay, species_of
from meltwick.simulate import simulate
from meltwick.stock import load_stock
from meltwick.types import Bundle, Ice, Patch, Powder, Result, Sector

HOUR = 3600.0
ROOM = ICE_POINT + 20.0
STOCK = load_stock()
CLOTH = flat_cloth(0.3, 0.3, 3e-3)
BUNDLE = flat_bundle(CLOTH)
COARSE = 8e-3


# ------------------------------------------------------------------ ice


def test_rates_of_heaps_add():
    """Each heap's rate is q0 (1 - t/tm)^2 from its start; integrated by scipy's quadrature."""
    heaps = Heaps((Melt(1.0, 5 * HOUR), Melt(0.4, 3 * HOUR)), (0.0, 2 * HOUR))

    def rate(t: float) -> float:
        first = 0.6 / (WATER_DENSITY * HOUR) * max(0.0, 1.0 - t / (5 * HOUR)) ** 2
        late = 0.4 / (WATER_DENSITY * HOUR) * max(0.0, 1.0 - (t - 2 * HOUR) / (3 * HOUR)) ** 2
        return first + (late if t >= 2 * HOUR else 0.0)

    for hours in (0.5, 2.0, 3.7, 5.0):
        melted, _ = quad(rate, 0.0, hours * HOUR, points=[2 * HOUR], limit=200)
        left = float(heaps.left(hours * HOUR))
        assert 1.4 - left == pytest.approx(melted * WATER_DENSITY, rel=1e-7)
    assert heaps.seconds == 5 * HOUR
    assert heaps.top_rate == pytest.approx(max(rate(0.0), rate(2 * HOUR)), rel=1e-12)


@pytest.mark.parametrize("late", [0.5, 2.0, 9.0])
def test_steps_of_several_loads_melt_equal_volumes(late):
    heaps = Heaps((Melt(1.0, 5 * HOUR), Melt(0.4, 3 * HOUR)), (0.0, late * HOUR))
    steps = Steps.of(heaps, 60)
    assert steps.seconds.min() > 0.0
    assert steps.seconds.sum() == pytest.approx(heaps.seconds, rel=1e-9)
    volumes = steps.seconds * steps.level * heaps.top_rate
    assert volumes == pytest.approx(np.full(60, 1.4 / WATER_DENSITY / 60), rel=1e-9)
    assert steps.level.max() <= 1.0 + 1e-9
    ends = np.cumsum(steps.seconds)[:-1]
    assert heaps.left(ends) == pytest.approx(1.4 * (1.0 - np.arange(1, 60) / 60), rel=1e-6)


def test_loads_laid_together_are_one_heap():
    made = Constants()
    both = melt_of((Ice(0.7, 0.03), Ice(0.5, 0.03)), ROOM, made)
    assert both == melt_of((Ice(1.2, 0.03),), ROOM, made)
    # what counts is when the first is laid
    late = melt_of((Ice(0.7, 0.03, after=HOUR), Ice(0.5, 0.03, after=HOUR)), ROOM, made)
    assert late == both
    apart = melt_of((Ice(0.7, 0.03, after=HOUR), Ice(0.5, 0.03, after=3 * HOUR)), ROOM, made)
    assert isinstance(apart, Heaps)
    assert apart.starts == (0.0, 2 * HOUR)


def test_a_fence_keeps_all_the_melt_and_a_trough_wets_the_sides():
    made = Constants()
    standing = replace(BUNDLE, upward=0.5 * BUNDLE.exposed, downward=0.2 * BUNDLE.exposed)
    standing = replace(standing, upward=np.where(CLOTH.x < 0.1, 0.0, standing.upward))
    assert sides(standing).max() == pytest.approx(0.8)
    melt = Melt(1.0, 5 * HOUR)
    total = {}
    for heap, beside in (("", None), ("level", 0.05), ("fenced", 0.0), ("in a trough", 0.0)):
        lie = Lie.of((Ice(1.0, 0.03, beside=beside, heap=heap),), made)
        water = landing(CLOTH, standing, melt, 0.03, np.uint64(7), made, lie.beside, lie.around)
        total[heap] = float(water.sum()) / melt.first_rate
        wet_sides = bool(water[CLOTH.x < 0.09].any())
        assert wet_sides == (heap == "in a trough")
    assert total == pytest.approx(
        {"": 1.0 - made.ice_beside, "level": 0.95, "fenced": 1.0, "in a trough": 1.0}
    )


# ------------------------------------------------------------------ powder


def _laid(powder: Powder, bundle: Bundle = BUNDLE) -> np.ndarray:
    dyes = (STOCK.dye("coral"),)
    return lay(bundle, (powder,), dyes, species_of(dyes), 3, 1, Constants()).under.sum(axis=1)


@pytest.mark.parametrize("which", [1, 2, 3, 4])
def test_a_slice_lies_between_its_hours(which):
    """Slices are counted as a clock's hands go, from the high end, seen from above."""
    mass = _laid(Powder("coral", 1e-3, (0.0, 1.0), place=Sector((which - 1) / 4, which / 4)))
    up, right = BUNDLE.along - 0.15, BUNDLE.across - 0.15
    hour = np.degrees(np.arctan2(right, up)) % 360.0
    inside = (hour >= 90 * (which - 1)) & (hour < 90 * which)
    assert mass.sum() == pytest.approx(1e-3, rel=1e-12)
    assert mass[inside].sum() > 0.93 * mass.sum()
    far = ~inside & (np.minimum(np.abs(up), np.abs(right)) > 0.02)
    assert mass[far].sum() < 1e-3 * mass.sum()


def test_a_patch_lies_round_its_middle():
    mass = _laid(Powder("coral", 1e-3, (0.0, 1.0), place=Patch(0.25, 0.06, 0.03)))
    away = np.hypot(BUNDLE.along - 0.25 * BUNDLE.length, BUNDLE.across - 0.15 - 0.06)
    assert mass[away < 0.035].sum() > 0.95 * mass.sum()
    assert mass[away > 0.05].sum() < 1e-3 * mass.sum()


def test_powder_goes_to_the_side_it_is_meant_for():
    third = CLOTH.x < 0.1, (CLOTH.x >= 0.1) & (CLOTH.x < 0.2), CLOTH.x >= 0.2
    block = replace(
        BUNDLE, upward=third[0].astype(np.float64), downward=third[2].astype(np.float64)
    )
    for side, here in zip(("top", "sides", "underneath"), third, strict=True):
        mass = _laid(Powder("coral", 1e-3, (0.0, 1.0), side=side), block)  # type: ignore[arg-type]
        assert mass[here].sum() == pytest.approx(1e-3, rel=1e-12)
    mass = _laid(Powder("coral", 1e-3, (0.0, 1.0), side="all round"), block)
    assert all(mass[here].sum() > 0.2e-3 for here in third)


# ------------------------------------------------------------------ turning


@pytest.mark.parametrize("fold", ['{ kind = "pole" }', '{ kind = "spiral" }'])
def test_turned_twice_is_not_turned(fold):
    plan = plan_from_text(f"schema = 1\n[[round]]\nfold = [{fold}]\n", "turned.toml")
    recipe = resolve(plan, STOCK)
    cloth = build_cloth(recipe.blank, recipe.fabric, 10e-3)
    turn = recipe.rounds[0]
    bundle = build_bundle(cloth, turn, neatness=0.5, seed=1, constants=Constants())
    over = turned_over(bundle, turn.incline)
    assert bundle.downward is not None
    assert np.array_equal(over.upward, bundle.downward)
    rack = bundle.along * np.sin(turn.incline)
    # what was highest over the rack is lowest, and the rack stays
    assert np.argmin(over.height - rack) == np.argmax(bundle.height - rack)
    assert np.ptp(over.height - rack) == pytest.approx(np.ptp(bundle.height - rack))
    back = turned_over(over, turn.incline)
    for name in ("height", "across", "upward"):
        assert getattr(back, name) == pytest.approx(getattr(bundle, name), abs=1e-12)


# ------------------------------------------------------------------ the tub


def test_liquor_rises_round_a_block():
    """A wet block of base B and height H in a tub of floor F: level = V / (F - B) up to H."""
    block = replace(BUNDLE, height=CLOTH.y, thickness=np.full(CLOTH.size, 0.01))
    pool = Pool.empty(0.03, 1)
    pool.stand(CLOTH, block)
    base = CLOTH.size * CLOTH.pitch**2 * 0.01 / 0.3
    for volume in (1e-4, 1e-3, 3e-3):
        pool.volume = volume
        assert pool.level == pytest.approx(volume / (0.03 - base), rel=0.02)
        covered = float(pool.covers.mean()) * 0.3
        assert covered == pytest.approx(min(0.3, pool.level), abs=4e-3)
    pool.volume = 0.03 * 0.3 * 2
    assert pool.level == pytest.approx((pool.volume + base * 0.3) / 0.03, rel=1e-9)


def test_cloth_and_liquor_come_to_one_strength():
    """Two mixed boxes: c -> M/(H + V) after long, and never beyond; the dye is kept."""
    march = marching(1, 1, fibre=1e-3, kd=0.02)
    march.mass[:] = 1e-4
    water = np.array([5e-6])
    march.settle(water)
    pool = Pool.empty(0.05, 1)
    pool.height, pool.link = np.zeros(1), np.array([1e-8])
    pool.volume = 1e-3
    last = float(march.c[0, 0])
    for _ in range(40):
        march.settle(water)
        pool.exchange(march, 600.0)
        assert march.mass.sum() + pool.mass.sum() == pytest.approx(1e-4, rel=1e-12)
        assert last >= float(march.c[0, 0]) >= pool.mass[0] / pool.volume
        last = float(march.c[0, 0])
    for _ in range(3):
        march.settle(water)
        pool.exchange(march, 1e9)
    assert pool.mass[0] / pool.volume == pytest.approx(float(march.c[0, 0]), rel=1e-3)


def _run(rest: str, more: str = "") -> Result:
    thirds = ", ".join(
        f'{{ dye = "{dye}", at = "sector {n} of 3" }}'
        for n, dye in enumerate(("lemon", "rose", "harbour blue"), 1)
    )
    text = f"""schema = 1
seed = 3
[[round]]
fold = [{{ kind = "spiral" }}]
rest = {{ {rest} }}
dye = [{thirds}]
{more}
"""
    return simulate(plan_from_text(text, "resting.toml"), pitch=COARSE, threads=1)


def _muddle(result: Result, lower: np.ndarray) -> float:
    """How mixed the dyes are in the lower cells: mean entropy of their shares."""
    amount = result.fixed.amount[lower]
    total = amount.sum(axis=1)
    share = amount / np.maximum(total, 1e-30)[:, None]
    return float(np.average(-(share * np.log(np.maximum(share, 1e-12))).sum(axis=1), weights=total))


def test_a_tub_muddies_the_lower_third():
    """Common practice, no source: in a tub the lower part stands in mixed liquor."""
    text = 'schema = 1\nseed = 3\n[[round]]\nfold = [{ kind = "spiral" }]\n'
    recipe = resolve(plan_from_text(text, "resting.toml"), STOCK)
    rack, tub = _run('on = "flat rack"'), _run('on = "tub"')
    level = replace(recipe.rounds[0], incline=0.0)
    bundle = build_bundle(
        rack.cloth, level, neatness=recipe.neatness, seed=3, constants=Constants()
    )
    order = np.argsort(bundle.height)
    lower, upper = order[: order.size // 3], order[-order.size // 3 :]
    assert _muddle(tub, lower) > 1.1 * _muddle(rack, lower)
    assert _muddle(tub, upper) == pytest.approx(_muddle(rack, upper), rel=0.05)
    light = [float(each.look.lab[lower, 0].mean()) for each in (rack, tub)]
    assert light[1] < light[0]
    for result in (rack, tub):
        assert abs(result.rounds[0].balance.relative_error) < 1e-9
    assert tub.rounds[0].balance.ran_off == 0.0


def test_the_balance_closes_when_it_is_turned_over_in_a_tub():
    more = """
[[round.ice]]
amount = "6 cups"
heap = "level"
[[round.ice]]
amount = "300 g"
after = "2 h"
[[round.ice]]
amount = "6 cups"
turned = true
[[round.dye]]
dye = "ink"
powder = "both"
turned = true
"""
    text = f"""schema = 1
seed = 3
[[round]]
rest = {{ on = "bucket" }}
fold = [{{ kind = "spiral" }}]
{more}"""
    result = simulate(plan_from_text(text, "turned.toml"), pitch=COARSE, threads=1)
    report = result.rounds[0]
    assert abs(report.balance.relative_error) < 1e-9
    assert report.balance.fixed > 0.1 * report.balance.laid
    assert (result.fixed.amount >= 0.0).all()
    assert report.melt_hours > report.melt_hours_90 > 0.0


def test_what_says_nothing_new_has_the_digest_it_had():
    plain = "schema = 1\n[[round]]\n"
    said = (
        plain
        + 'rest = { on = "rack" }\n[[round.ice]]\nafter = "0 h"\nheap = "mounded"\nturned = false\n'
        '[[round.dye]]\nside = "top"\nturned = false\n'
    )
    one, two = (digest(resolve(plan_from_text(text, "a.toml"), STOCK)) for text in (plain, said))
    assert one == two
    for other in (
        'rest = { on = "tub" }',
        'ice = [{ heap = "fenced" }]',
        'ice = [{}, { after = "1 h" }]',
        'dye = [{ side = "sides" }]',
        'dye = [{ at = "sector 1 of 2" }]',
    ):
        recipe = resolve(plan_from_text(plain + other, "a.toml"), STOCK)
        assert digest(recipe) != one


def test_nothing_melts_in_the_cold():
    with pytest.raises(ValueError, match="freezing"):
        ice.melt_of((Ice(1.0, 0.03), Ice(1.0, 0.03, after=HOUR)), ICE_POINT, Constants())


def test_a_disc_wider_than_its_bucket_is_warned_of():
    def keys(text: str) -> set[str]:
        recipe = resolve(plan_from_text("schema = 1\n[[round]]\n" + text, "a.toml"), STOCK)
        return {each.key for each in advise(recipe) if each.level == "warning"}

    disc = 'fold = [{ kind = "spiral" }]\nrest = { on = "bucket"'
    assert "round.1.rest.across" in keys(disc + " }")
    assert "round.1.rest.across" not in keys(disc + ', across = "40 cm" }')
    assert "round.1.dye" in keys('dye = [{ at = "sector 1 of 3" }]')
