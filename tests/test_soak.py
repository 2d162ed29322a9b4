"""Soda ash where it is: in the soak, dried in, laid on dry; diluted by the melt, held by fibre."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.chains import NO_PAIRS, line_links, marching, stream_of
from tests.flats import flat_bundle, flat_cloth

from meltwick.constants import Constants
from meltwick.plan import plan_from_text, resolve
from meltwick.seep import chemistry
from meltwick.seep.soak import TAKEN, Soak
from meltwick.seep.transport import raster_lines
from meltwick.simulate import simulate
from meltwick.stock import load_stock
from meltwick.types import Result, Soda

CONSTANTS = Constants()
HELD = CONSTANTS.soda_held
CLOTH = flat_cloth(0.1, 0.1, 5e-3)
BUNDLE = flat_bundle(CLOTH)
WATER = np.full(CLOTH.size, 1e-8)


def _soak(how: str, *, depth: float = 0.0, minutes: float = 20.0, powder: object = None) -> Soak:
    n = CLOTH.size
    lines = raster_lines(CLOTH.panel, CLOTH.row, CLOTH.col)
    bundle = replace(BUNDLE, depth=np.full(n, depth))
    laid = np.zeros(n) if powder is None else powder
    soda = Soda(how=how, strength=20.0, minutes=minutes)
    return Soak.of(soda, CLOTH, bundle, laid, WATER, lines, CONSTANTS)  # type: ignore[arg-type]


def test_many_strengths_at_once_are_the_same_as_one_by_one():
    strengths = np.array([0.0, 0.01, 0.1, 0.7, 10.0, 44.0, 100.0, 500.0])
    for celsius in (1.0, 12.0, 20.0, 55.0):
        one = [chemistry.hydroxide(float(s), 273.15 + celsius) for s in strengths]
        assert chemistry.hydroxides(strengths, 273.15 + celsius) == pytest.approx(one, rel=1e-12)


def test_the_melt_dilutes_loose_soda_and_not_what_fibre_holds():
    """A mixed cell that is flushed: c = c0 exp(-t/tau), tau the time of one pore volume."""
    soak = _soak("soaked after tying")
    n = CLOTH.size
    assert soak.strength(WATER) == pytest.approx(20.0)
    now = stream_of(WATER, NO_PAIRS, np.zeros(0), np.full(n, 1e-8 / 3600.0))
    for _ in range(400):
        soak.carry(now, 18.0, 1.0)
    loose = 20.0 * (1.0 - HELD) * np.exp(-2.0)  # 400 x 18 s are two pore volumes
    assert soak.loose.mass[:, 0] / WATER == pytest.approx(np.full(n, loose), rel=6e-3)
    assert soak.strength(WATER) == pytest.approx(np.full(n, loose + 20.0 * HELD), rel=3e-3)


def test_fibre_takes_its_share_of_what_comes_and_nothing_is_lost():
    powder = np.zeros(CLOTH.size)
    powder[CLOTH.col < 5] = 1.0
    soak = _soak("with the dye", powder=powder)
    whole = 20.0 * TAKEN * float((CLOTH.mass_per_area * CLOTH.pitch**2).sum())
    assert soak.loose.powder.sum() == pytest.approx(whole, rel=1e-12)
    still = stream_of(WATER, NO_PAIRS, np.zeros(0), np.zeros(CLOTH.size))
    links = line_links(np.where(CLOTH.col < 19, 1e-12, 0.0))
    for _ in range(30):
        soak.carry(still, 300.0, 1.0)
        soak.spread(WATER, links, 300.0)
        loose = soak.loose.mass[:, 0]
        found = float((loose + soak.held * WATER).sum() + soak.loose.powder.sum())
        assert found == pytest.approx(whole, rel=1e-12)
        total = loose / WATER + soak.held
        assert (soak.held >= HELD * total * (1.0 - 1e-9)).all()
    assert soak.held[CLOTH.col == 6].min() > 0.0


def test_a_soak_of_tied_cloth_reaches_less_far_than_its_time():
    skin, core = (float(_soak("soaked after tying", depth=d).strength(WATER)[0]) for d in (0, 0.02))
    long = float(_soak("soaked after tying", depth=0.02, minutes=80.0).strength(WATER)[0])
    assert skin == pytest.approx(20.0)
    assert core < 0.2 * skin
    # diffusion's depth grows with the root of time: four times as long reaches twice as deep
    assert np.log(long / skin) == pytest.approx(0.5 * np.log(core / skin), rel=1e-12)


def test_dried_in_soda_is_as_much_as_the_soak_left():
    soak = _soak("dried in")
    mass = float((soak.strength(WATER) * WATER).sum())
    fibre = float((CLOTH.mass_per_area * CLOTH.pitch**2).sum())
    assert mass == pytest.approx(20.0 * TAKEN * fibre, rel=1e-12)


def test_a_cell_without_soda_fixes_nothing():
    march = marching(1, 2, fibre=1e-3, kd=2e-3)
    march.mass[:] = 1e-5
    march.react(np.full(2, 1e-6), np.array([1e-3]), np.array([1e-4]), 600.0, np.array([0.0, 1.0]))
    assert march.fixed[0, 0] == 0.0
    assert march.spent[0, 0] == 0.0
    assert march.fixed[1, 0] > 0.0


def _run(soda: str) -> Result:
    text = f'schema = 1\nseed = 3\n[[round]]\nfold = [{{ kind = "spiral" }}]\nsoda = {{ {soda} }}\n'
    return simulate(plan_from_text(text, "soda.toml"), pitch=8e-3, threads=1)


def test_every_way_fixes_dye_and_closes_the_balance():
    fixed = {}
    for how in ("soaked before folding", "soaked after tying", "dried in", "with the dye"):
        balance = _run(f'how = "{how}"').rounds[0].balance
        assert abs(balance.relative_error) < 1e-9
        fixed[how] = balance.fixed / balance.laid
    assert min(fixed.values()) > 0.1
    # a minute's dip of the tied bundle leaves the core without
    dip = _run('how = "soaked after tying", time = "1 min", amount = "10 g"').rounds[0].balance
    assert dip.fixed / dip.laid < fixed["soaked after tying"]


def test_soda_that_goes_on_dry_is_told_in_grams():
    text = 'schema = 1\n[[round]]\nsoda = { how = "sprinkled", amount = "8 g" }\n'
    recipe = resolve(plan_from_text(text, "soda.toml"), load_stock())
    soda = recipe.rounds[0].soda
    assert soda.mass == pytest.approx(8e-3)
    assert soda.strength > 0.0
