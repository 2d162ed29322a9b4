"""Run-off of one piece, caught for a piece below."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from meltwick.advice import describe
from meltwick.constants import WATER_DENSITY, Constants
from meltwick.errors import FileError, PlanError
from meltwick.plan import digest, read_plan, resolve
from meltwick.seep.ice import Pour
from meltwick.seep.levels import Steps
from meltwick.simulate import simulate
from meltwick.stock import load_stock
from meltwick.types import Result

STOCK = load_stock()
ABOVE = """schema = 1
seed = 3
[[round]]
fold = [{ kind = "spiral" }]
dye = [{ dye = "lemon", at = "high" }, { dye = "rose", at = "middle" }, \
{ dye = "harbour blue", at = "low" }]
"""
BELOW = """schema = 1
seed = 4
[[round]]
fold = [{ kind = "spiral" }]
"""
ALONE = BELOW + 'ice = []\ndye = []\nliquor = { plan = "above.toml" }\n'


@pytest.fixture(scope="module")
def shelf(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("plans")
    (folder / "above.toml").write_text(ABOVE, "utf-8")
    (folder / "below.toml").write_text(ALONE, "utf-8")
    return folder


@pytest.fixture(scope="module")
def above(shelf) -> Result:
    return simulate(read_plan(shelf / "above.toml"), pitch=8e-3, threads=1)


@pytest.fixture(scope="module")
def below(shelf) -> Result:
    return simulate(read_plan(shelf / "below.toml"), pitch=8e-3, threads=1)


def test_steps_of_a_pour_are_even():
    pour = Pour(1.5, 7200.0)
    steps = Steps.of(pour, 30)
    assert steps.seconds == pytest.approx(np.full(30, 240.0))
    assert steps.level == pytest.approx(np.ones(30))
    assert pour.top_rate * 7200.0 * WATER_DENSITY == pytest.approx(1.5)


def test_liquor_is_what_left_the_piece_above(above):
    """Water in less water kept; dye that ran off or drained, some of it spoilt by then."""
    report, liquor = above.rounds[0], above.rounds[0].liquor
    left = report.balance.ran_off + report.balance.drained
    assert liquor.active.sum() + liquor.spent.sum() == pytest.approx(left, rel=1e-9)
    assert liquor.active.min() >= 0.0
    assert liquor.spent.sum() > 0.0
    recipe = resolve(read_plan_of(ABOVE), STOCK)
    came = sum(load.mass for load in recipe.rounds[0].ice)
    assert 0.3 * came < liquor.volume * WATER_DENSITY < 1.3 * came


def read_plan_of(text: str):
    from meltwick.plan import plan_from_text

    return plan_from_text(text, "above.toml")


def test_what_is_caught_is_what_the_piece_below_is_given(above, below):
    given = float(above.rounds[0].liquor.active.sum())
    balance = below.rounds[0].balance
    assert balance.laid == pytest.approx(given, rel=1e-12)
    assert abs(balance.relative_error) < 1e-9
    missed = Constants().ice_beside * given
    assert balance.ran_off >= missed * (1.0 - 1e-9)


def _muddle(result: Result) -> float:
    """How mixed the dyes are: mean entropy of their shares, weighed by the dye."""
    total = result.fixed.amount.sum(axis=1)
    share = result.fixed.amount / np.maximum(total, 1e-30)[:, None]
    return float(np.average(-(share * np.log(np.maximum(share, 1e-12))).sum(axis=1), weights=total))


def test_the_piece_below_is_paler_and_muddier(above, below):
    """Common practice, no source."""
    assert below.look.delta.mean() < 0.8 * above.look.delta.mean()
    assert below.shares.whole["deep"] < 0.6 * above.shares.whole["deep"]
    assert _muddle(below) > 1.3 * _muddle(above)


def test_it_runs_over_powder_and_before_ice(shelf):
    more = BELOW + 'liquor = { plan = "above.toml", share = 0.4, over = "20 min" }\n'
    (shelf / "more.toml").write_text(more, "utf-8")
    plan = read_plan(shelf / "more.toml")
    result = simulate(plan, pitch=10e-3, threads=1)
    assert abs(result.rounds[0].balance.relative_error) < 1e-9
    told = "\n".join(describe(resolve(plan, STOCK)))
    assert "40 % of what was caught below above" in told
    assert "20 min" in told


def test_the_digest_follows_the_plan_above(shelf):
    one = digest(resolve(read_plan(shelf / "below.toml"), STOCK))
    (shelf / "other.toml").write_text(ABOVE.replace("lemon", "rose"), "utf-8")
    (shelf / "changed.toml").write_text(ALONE.replace("above.", "other."), "utf-8")
    assert digest(resolve(read_plan(shelf / "changed.toml"), STOCK)) != one


def test_faults_name_the_key(shelf):
    (shelf / "self.toml").write_text(ALONE.replace("above.", "self."), "utf-8")
    with pytest.raises(PlanError, match=r"round\.1\.liquor\.plan: 'self\.toml' would catch"):
        resolve(read_plan(shelf / "self.toml"), STOCK)
    (shelf / "lost.toml").write_text(ALONE.replace("above.", "nowhere."), "utf-8")
    with pytest.raises(FileError, match=r"nowhere\.toml"):
        resolve(read_plan(shelf / "lost.toml"), STOCK)
    (shelf / "dry.toml").write_text(BELOW + "ice = []\n", "utf-8")
    with pytest.raises(PlanError, match="at least 1 is needed"):
        read_plan(shelf / "dry.toml")
