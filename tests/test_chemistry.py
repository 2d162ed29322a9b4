"""Soda, temperature, fixing and hydrolysis against published values and closed forms."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.chains import components, marching
from tests.flats import flat_cloth

from meltwick.constants import Constants
from meltwick.seep import chemistry
from meltwick.seep.dyeing import _ready
from meltwick.seep.powder import Laid
from meltwick.types import Component, Fabric, FixedDye

KELVIN = 273.15
JERSEY = Fabric("cotton jersey", 0.160, 0.55e-3, 1540.0)


# ------------------------------------------------------------------ soda

# PHREEQC 3 (Parkhurst & Appelo 2013), database phreeqc.dat, 10 g of Na2CO3 per kg of water
HYDROXIDE = [(0.1, 1.50), (5.0, 1.70), (10.0, 1.90), (20.0, 2.34), (25.0, 2.56)]


@pytest.mark.parametrize(("celsius", "wanted"), HYDROXIDE)
def test_hydroxide_of_ten_grams(celsius, wanted):
    assert chemistry.hydroxide(10.0, KELVIN + celsius) == pytest.approx(wanted, abs=0.006)


# The same program's pH of 10, 20 and 50 g per kg of water
PH = [
    (25.0, (11.26, 11.32, 11.40)),
    (20.0, (11.38, 11.46, 11.54)),
    (5.0, (11.81, 11.89, 12.00)),
    (0.1, (11.96, 12.05, 12.17)),
]
# pKw: CRC Handbook, 0, 5, 20, 25 degC (from memory)
PKW = {0.1: 14.94, 5.0: 14.73, 20.0: 14.16, 25.0: 13.995}


@pytest.mark.parametrize(("celsius", "values"), PH)
def test_ph_follows_phreeqc(celsius, values):
    # pH = pKw + log10([OH-] gamma), gamma as that program has it: Truesdell & Jones 1974,
    # log gamma = -A sqrt(I) / (1 + B a sqrt(I)), a 3.5 angstrom for OH- (from memory), I three
    # times the molality of a 2:1 salt; the published values are good to 0.1
    for grams, wanted in zip((10.0, 20.0, 50.0), values, strict=True):
        root = np.sqrt(3.0 * grams / 105.988)
        gamma = 10.0 ** (-0.509 * root / (1.0 + 0.3286 * 3.5 * root))
        molal = 1e-3 * chemistry.hydroxide(grams, KELVIN + celsius)
        assert PKW[celsius] + np.log10(molal * gamma) == pytest.approx(wanted, abs=0.1)


@given(strength=st.floats(0.01, 99.0), celsius=st.floats(0.1, 38.0))
@settings(deadline=None, derandomize=True)
def test_hydroxide_grows_with_soda_and_with_warmth(strength, celsius):
    # pH falls as soda water warms, yet [OH-] rises: PHREEQC, as above
    here = chemistry.hydroxide(strength, KELVIN + celsius)
    assert here > 0.0
    assert chemistry.hydroxide(strength * 1.01, KELVIN + celsius) > here
    assert chemistry.hydroxide(strength, KELVIN + celsius + 1.0) > here


def test_hydroxide_is_smooth_towards_nothing():
    assert chemistry.hydroxide(0.0, 290.0) == 0.0
    small = [chemistry.hydroxide(s, 290.0) for s in (1e-3, 0.0999999, 0.1)]
    assert small[0] < 0.02 * small[2]
    assert small[1] == pytest.approx(small[2], rel=1e-4)


# ------------------------------------------------------------------ temperature


@pytest.mark.parametrize(("activation", "ratio"), [(60e3, 5.70), (75e3, 8.81), (80e3, 10.2)])
def test_arrhenius_from_cold_to_warm(activation, ratio):
    # k(25 degC) / k(5 degC), worked out from Arrhenius' law for the range of reactive dyes
    warm = chemistry.arrhenius(KELVIN + 25.0, activation)
    cold = chemistry.arrhenius(KELVIN + 5.0, activation)
    assert warm / cold == pytest.approx(ratio, rel=2e-3)


@pytest.mark.parametrize(("activation", "ratio"), [(60e3, 2.25), (75e3, 2.76), (80e3, 2.95)])
def test_ten_degrees(activation, ratio):
    # Q10 from 20 to 30 degC, the same law
    assert chemistry.arrhenius(KELVIN + 30.0, activation) == pytest.approx(ratio, rel=2e-3)


# ------------------------------------------------------------------ rates


def test_rates_at_the_reference_are_the_constant_times_strike():
    parts = (*components(1), replace(components(1)[0], strike=2.5))
    constants = Constants(k_fix=3e-4)
    rates = chemistry.fixing_rates(parts, 10.0, KELVIN + 20.0, constants)
    assert rates == pytest.approx([3e-4, 7.5e-4], rel=1e-6)


def test_without_soda_nothing_fixes():
    rates = chemistry.fixing_rates(components(3, 2e-3), 0.0, 300.0, Constants())
    assert (rates == 0.0).all()
    lost = chemistry.hydrolysis_rates(rates, components(3, 2e-3), Constants())
    assert (lost == 0.0).all()
    march = marching(1, 1, species=3, fibre=1.0, kd=2.0)
    march.mass[:] = 0.5
    march.react(np.array([1.0]), rates, lost, 1e6)
    assert (march.mass == 0.5).all()
    assert (march.fixed == 0.0).all()


@pytest.mark.parametrize("wanted", [0.5, 0.7, 0.85])
@pytest.mark.parametrize("kd", [1e-3, 8e-3])
@pytest.mark.parametrize("uptake", [1.0, 1.3, 0.75])
def test_an_exhaust_bath_ends_with_the_fixed_yield(wanted, kd, uptake):
    """fixed / (fixed + hydrolysed) = Y for dye at equilibrium in a bath of 1:10.

    Yields of 0.5 to 0.85 in exhaust dyeing: Xiong, Ma & Zhang, RSC Advances 2019
    (C9RA02108F), and others; a bath of ten parts of water: J. Mater. 2016, 9739380, table 2.
    Hydrolysis happens in the water: cloth that holds u times as much dye as bleached cotton
    fixes u times as much for each part that is spoilt.
    """
    fabric = replace(JERSEY, uptake=uptake)
    constants = Constants(fixed_yield=wanted, sorption_cap=1e12)
    part = Component("part", (), kd, 1.0, 4e-10)
    fixing = chemistry.fixing_rates((part,), 10.0, 293.15, constants)
    wasting = chemistry.hydrolysis_rates(fixing, (part,), constants)
    held = _kd_on_cloth(part, fabric, constants)
    march = marching(1, 1, fibre=fabric.mass_per_area, kd=held)
    march.mass[:] = 1e-4
    water = np.array([10.0 * fabric.mass_per_area / 1000.0])  # 10 L of water to a kg
    march.react(water, fixing, wasting, 1e8)
    fixed = march.fixed[0, 0] * march.fibre[0]
    assert fixed + march.spent[0, 0] == pytest.approx(1e-4, rel=1e-9)
    assert fixed / march.spent[0, 0] == pytest.approx(uptake * wanted / (1 - wanted), rel=1e-9)


def _kd_on_cloth(part: Component, fabric: Fabric, constants: Constants) -> float:
    """The slope with which a round's march holds dye on this fabric, read from the march."""
    cloth = replace(flat_cloth(0.02, 0.02, 0.01), fabric=fabric)
    bare = np.zeros((cloth.size, 1))
    powder = Laid((part,), bare, (), np.ones(1), 0.0)
    return float(_ready(cloth, powder, FixedDye((part,), bare), constants, 1).kd[0])


# ------------------------------------------------------------------ the well-mixed cell


@pytest.mark.parametrize("seconds", [0.0, 60.0, 3600.0, 1e6])
def test_competing_first_order_losses(seconds):
    """active + fixed + hydrolysed = 1, F = kc/(kc + kw) (1 - exp(-(kc + kw) t)).

    Well-mixed limit of diffusion with reaction in cellulose and in water; the film-roll
    literature of reactive dyes gives kc and kw in this form.
    """
    volume, fibre, kd = 2.0, 0.5, 4.0
    fixing, wasting = 3e-4, 2e-4
    on_fibre = fibre * kd / (volume + fibre * kd)
    kc, kw = fixing * on_fibre, wasting * (1.0 - on_fibre)
    march = marching(1, 1, fibre=fibre, kd=kd)
    march.mass[:] = 1.0
    march.react(np.array([volume]), np.array([fixing]), np.array([wasting]), seconds)
    done = 1.0 - np.exp(-(kc + kw) * seconds)
    fixed = march.fixed[0, 0] * fibre
    assert fixed == pytest.approx(kc / (kc + kw) * done, rel=1e-9, abs=1e-15)
    assert march.spent[0, 0] == pytest.approx(kw / (kc + kw) * done, rel=1e-9, abs=1e-15)
    assert march.mass[0, 0] + march.spent[0, 0] + fixed == pytest.approx(1.0, rel=1e-12)


def test_sites_fill_exponentially_when_dye_is_plenty():
    # dF/dt = k s (1 - F/Fmax) with s held: F = Fmax (1 - exp(-k s t / Fmax)), as for a
    # first-order surface reaction (Langmuir 1918, irreversible limit)
    march = marching(1, 1, fibre=1e-6, kd=0.02, sites=0.08)
    march.mass[:] = 1.0
    volume, held = np.array([1.0]), 0.02
    for _ in range(50):
        march.react(volume, np.array([1e-3]), np.zeros(1), 100.0)
    assert march.fixed[0, 0] == pytest.approx(0.08 * (1 - np.exp(-5.0 * held / 0.08)), rel=1e-5)


@settings(deadline=None, max_examples=80, derandomize=True)
@given(
    mass=st.lists(st.sampled_from([0.0, 1e-12, 1e-6, 1e-3, 1.0, 50.0]), min_size=3, max_size=3),
    taken=st.sampled_from([0.0, 0.5, 0.999999, 1.0]),
    fibre=st.sampled_from([0.0, 1e-9, 1e-3, 1.0]),
    volume=st.sampled_from([1e-9, 1e-3, 1.0]),
    step=st.sampled_from([0.0, 1.0, 1e4, 1e12]),
    sites=st.sampled_from([0.0, 0.08]),
)
def test_sites_are_never_exceeded_and_dye_is_kept(mass, taken, fibre, volume, step, sites):
    march = marching(
        1, 1, species=3, fibre=fibre, kd=[0.0, 0.1, 3.0], sites=sites, constants=Constants()
    )
    march.mass[:] = mass
    march.fixed[:] = taken * sites / 3.0
    before = march.mass + march.fixed * fibre
    full = max(sites, float(march.fixed.sum()))
    for _ in range(3):
        was = march.fixed.copy()
        march.react(
            np.array([volume]), np.array([1e-3, 2e-3, 5e-4]), np.array([0.0, 1e-4, 1e-3]), step
        )
        assert (march.fixed >= was).all()
        assert march.fixed.sum() <= full * (1.0 + 1e-12)
        assert (march.mass >= 0.0).all()
        after = march.mass + march.fixed * fibre + march.spent
        assert after == pytest.approx(before, rel=1e-12, abs=1e-300)


def test_faster_strike_takes_more_of_what_sites_there_are():
    march = marching(1, 1, species=2, fibre=1.0, kd=2.0, sites=1e-3)
    march.mass[:] = 1.0
    march.react(np.array([1.0]), np.array([3e-3, 1e-3]), np.zeros(2), 30.0)
    assert march.fixed[0, 0] > 2.5 * march.fixed[0, 1]


def test_warmer_and_longer_fix_more():
    # common practice, no source: a warm, long batch fixes more; here for one well-mixed cell
    def fixed(celsius: float, hours: float) -> float:
        parts = components(1, 2e-3)
        constants = Constants()
        fixing = chemistry.fixing_rates(parts, 10.0, KELVIN + celsius, constants)
        wasting = chemistry.hydrolysis_rates(fixing, parts, constants)
        march = marching(1, 1, fibre=0.16, kd=2e-3)
        march.mass[:] = 1e-4
        march.react(np.array([4e-4]), fixing, wasting, 3600.0 * hours)
        return float(march.fixed[0, 0])

    assert fixed(20.0, 4.0) > fixed(20.0, 1.0) > fixed(5.0, 1.0) > fixed(1.0, 1.0) > 0.0
