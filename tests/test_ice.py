"""Melting, water and diffusion in water against published values and an independent solver."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from meltwick import chance
from meltwick.constants import (
    ICE_POINT,
    LATENT_HEAT,
    WATER_DENSITY,
    WATER_VISCOSITY_COLD,
    Constants,
)
from meltwick.seep import stages
from meltwick.seep.ice import Melt, landing, melt_of, steady_melt_seconds
from meltwick.seep.levels import Steps
from meltwick.types import Component, Ice

HOUR = 3600.0


def of_water(what: str, kelvin: float) -> float:
    """By CoolProp, at one atmosphere; it takes seconds to load, so only who asks loads it."""
    from CoolProp.CoolProp import PropsSI

    return PropsSI(what, "T", kelvin, "P", 101325, "Water")


def by_energy(mass: float, area: float, heat: float) -> Melt:
    return Melt(mass, 3.0 * steady_melt_seconds(mass, area, heat, 1.0))


# ---------------------------------------------------------------------------------- constants


def test_latent_heat() -> None:
    # IAPWS R10-06(2009) ice Ih with R6-95 water: h(water) - h(ice) = 333.426 kJ/kg at 0 degC.
    # The handbook's 80 kcal/kg (FAO Fisheries Technical Paper 436, ch. 7) is 334.9.
    assert pytest.approx(333.426e3, rel=1e-4) == LATENT_HEAT
    assert pytest.approx(80e3 * 4.1868, rel=0.005) == LATENT_HEAT


def test_density_of_cold_water() -> None:
    # IAPWS-95 at 0.01 degC, and the same by an independent library
    assert pytest.approx(999.844, rel=1e-4) == WATER_DENSITY
    assert pytest.approx(of_water("D", 273.16), rel=1e-4) == WATER_DENSITY


def test_viscosity_of_cold_water() -> None:
    # IAPWS R12-08 at 0.01 degC, and CoolProp
    assert pytest.approx(1.7911e-3, rel=1e-4) == WATER_VISCOSITY_COLD
    known = of_water("V", 273.16)
    assert pytest.approx(known, rel=5e-3) == WATER_VISCOSITY_COLD


@pytest.mark.parametrize("celsius", [0.01, 1, 2, 3.3, 5, 7.5, 10, 12, 15, 17, 20, 22, 25, 30, 35])
def test_viscosity_between_table_rows(celsius: float) -> None:
    # the table's rows are IAPWS R12-08; straight lines between them are good to 0.5 % up to
    # 25 degC, and to 2 % over the wide last gap, where the curve bends
    found = np.interp(celsius, stages.CELSIUS, stages.VISCOSITY)
    known = 1e3 * of_water("V", ICE_POINT + celsius)
    assert found == pytest.approx(known, rel=5e-3 if celsius <= 25 else 2e-2)


def test_viscosity_falls_by_the_known_ratio() -> None:
    # mu(0) / mu(20) = 1.788, IAPWS R12-08
    ends = np.interp([0.01, 20.0], stages.CELSIUS, stages.VISCOSITY)
    assert ends[0] / ends[1] == pytest.approx(1.788, rel=1e-3)


def dyes(*diffusivity: float) -> tuple[Component, ...]:
    return tuple(Component(f"part {k}", (), 0.0, 1.0, d) for k, d in enumerate(diffusivity))


def test_diffusivity_by_stokes_einstein() -> None:
    # D mu / T constant: D(0) / D(25) = 0.455 (Stokes-Einstein with IAPWS viscosities). A ball of
    # 0.5 nm: 4.91e-10 at 25 degC, 2.23e-10 m2/s at 0 degC.
    cold, warm = (stages.diffusivity_at(dyes(4.91e-10), t) for t in (273.15, 298.15))
    assert cold / warm == pytest.approx(0.455, abs=0.001)
    assert warm == pytest.approx(4.91e-10, rel=1e-6, abs=0.0)
    assert cold == pytest.approx(2.23e-10, rel=5e-3, abs=0.0)


@settings(max_examples=25, deadline=None)
@given(st.floats(273.2, 298.0))
def test_diffusivity_at_any_temperature(kelvin: float) -> None:
    ratio = of_water("V", 298.15) / of_water("V", kelvin)
    found = stages.diffusivity_at(dyes(3e-10, 5e-10), kelvin)
    assert found == pytest.approx(4e-10 * kelvin / 298.15 * ratio, rel=1e-2)


def test_water_itself_diffuses_faster_than_dye() -> None:
    # self-diffusion of water, Holz et al. 2000: 1.12e-9 at 0.5 degC, 2.30e-9 m2/s at 25 degC; it
    # keeps to Stokes-Einstein within a tenth
    found = stages.diffusivity_at(dyes(2.30e-9), ICE_POINT + 0.5)
    assert found == pytest.approx(1.12e-9, rel=0.1)


# ---------------------------------------------------------------------------------- the melt


@pytest.mark.parametrize(("transfer", "hours"), [(5, 16.8), (8, 10.5), (10, 8.4), (15, 5.6)])
def test_worked_melting_times(transfer: float, hours: float) -> None:
    # t = M L / (h A dT), the form of FAO T0713E eq. 4: 1 kg over 0.05 m2, 22 K warmer
    found = steady_melt_seconds(1.0, 0.05, transfer, 22.0) / HOUR
    assert found == pytest.approx(hours, abs=0.06)  # printed to a tenth of an hour


def test_worked_melt_flux() -> None:
    # same source: 2.375 kg/(m2 h) at 10 W/(m2 K) and 22 K
    found = 1.0 / (0.05 * steady_melt_seconds(1.0, 0.05, 10.0, 22.0)) * HOUR
    assert found == pytest.approx(2.375, rel=1e-3)


def test_worked_cube_and_slab() -> None:
    # worked from the same balance: a slab of 30 mm melting from one side lasts 11.6 h; a cube
    # of 30 mm, whose faces recede by half its side, 5.8 h. Both at 10 W/(m2 K) and 22 K.
    density, side = 916.72, 0.03  # IAPWS R10-06
    slab = steady_melt_seconds(density * side, 1.0, 10.0, 22.0)
    assert slab / HOUR == pytest.approx(11.6, abs=0.06)
    cube = by_energy(density * side**3, 6.0 * side**2 * 10.0 * 22.0, 1.0)
    assert cube.seconds / HOUR == pytest.approx(5.8, abs=0.06)


@settings(max_examples=20, deadline=None)
@given(st.floats(0.2, 5.0), st.floats(0.02, 0.3), st.floats(50.0, 500.0))
def test_melt_is_the_energy_balance(mass: float, area: float, heat: float) -> None:
    # dM/dt = -(heat flux) A0 (M/M0)^(2/3) / L, solved without knowing its answer
    melt = by_energy(mass, area, heat)

    def rate(_: float, left: np.ndarray) -> np.ndarray:
        part = np.maximum(left / mass, 0.0)
        return -heat * area * part ** (2.0 / 3.0) / LATENT_HEAT

    times = np.linspace(0.0, 0.95 * melt.seconds, 12)
    known = solve_ivp(rate, (0.0, times[-1]), [mass], t_eval=times, rtol=1e-9, atol=1e-12 * mass)
    assert melt.left(times) == pytest.approx(known.y[0], rel=1e-5, abs=1e-9)
    first = heat * area / LATENT_HEAT / WATER_DENSITY
    assert melt.first_rate == pytest.approx(first, rel=1e-12, abs=0.0)


def test_ninety_percent_and_the_ends() -> None:
    melt = Melt(1.2, 5 * HOUR)
    # 1 - 0.1^(1/3)
    assert melt.seconds_until(0.9) / melt.seconds == pytest.approx(0.536, abs=5e-4)
    assert melt.seconds_until(0.0) == 0.0
    assert melt.seconds_until(1.0) == melt.seconds
    assert melt.left(2 * melt.seconds) == 0.0
    assert melt.left(0.0) == 1.2


@settings(max_examples=30, deadline=None)
@given(st.floats(0.1, 6.0), st.floats(600.0, 1e5), st.integers(1, 400))
def test_steps_of_equal_volume_sum_to_the_whole(mass: float, seconds: float, count: int) -> None:
    melt = Melt(mass, seconds)
    steps = Steps.of(melt, count)
    each = steps.level * steps.seconds * melt.first_rate
    assert steps.seconds.sum() == pytest.approx(seconds, rel=1e-12)
    assert each == pytest.approx(mass / WATER_DENSITY / count, rel=1e-9, abs=0.0)
    assert np.all(np.diff(steps.level) < 0.0)
    edges = np.concatenate([[0.0], np.cumsum(steps.seconds)])
    gone = 1.0 - melt.left(edges) / mass
    assert np.allclose(gone, np.linspace(0.0, 1.0, count + 1), atol=1e-9)
    # a step's rate lies between the closed law's rates at its ends
    law = np.clip(1.0 - edges / seconds, 0.0, 1.0) ** 2
    assert np.all(steps.level <= law[:-1] * (1 + 1e-9))
    assert np.all(steps.level >= law[1:] - 1e-9)


def test_a_heap_from_its_size() -> None:
    # 1.2 kg at 500 kg/m3, a ball: A0 = (36 pi)^(1/3) V^(2/3) = 4.836 V^(2/3)
    shape = (36.0 * np.pi) ** (1.0 / 3.0)
    made = Constants(heap_shape=shape, heap_density=500.0, heat_transfer=10.0)
    melt = melt_of((Ice(0.7, 0.03), Ice(0.5, 0.03)), ICE_POINT + 20.0, made)
    radius = (3.0 * 1.2 / 500.0 / (4.0 * np.pi)) ** (1.0 / 3.0)
    # a ball's radius recedes at q / (L rho): it is gone after r L rho / q
    assert melt.seconds == pytest.approx(radius * LATENT_HEAT * 500.0 / (10.0 * 20.0), rel=1e-9)


def test_half_the_warmth_twice_the_time() -> None:
    made = Constants(heat_transfer=10.0)
    load = (Ice(1.0, 0.03),)
    slow, fast = (melt_of(load, ICE_POINT + dt, made).seconds for dt in (10.0, 20.0))
    assert slow == pytest.approx(2.0 * fast, rel=1e-12)
    # similar heaps: eight times the ice lasts twice as long
    more = melt_of((Ice(8.0, 0.03),), ICE_POINT + 20.0, made).seconds
    assert more == pytest.approx(2.0 * fast, rel=1e-12)


@pytest.mark.parametrize("room", [ICE_POINT, ICE_POINT - 5.0])
def test_no_melt_in_the_cold(room: float) -> None:
    with pytest.raises(ValueError, match="freezing"):
        melt_of((Ice(1.0, 0.03),), room, Constants())


# ---------------------------------------------------------------------------------- landing


def strip(**changes: np.ndarray) -> SimpleNamespace:
    """What the melt needs of a bundle: 200 cells, half of them facing up."""
    n = 200
    base = {
        "along": np.linspace(0.0, 0.4, n),
        "across": np.zeros(n),
        "upward": np.where(np.arange(n) % 2 == 0, 1.0, 0.0),
        "covered": np.zeros(n),
    }
    return SimpleNamespace(**(base | changes))


def land(bundle: SimpleNamespace, **constants: float) -> np.ndarray:
    melt = Melt(1.2, 5 * HOUR)
    cloth = SimpleNamespace(size=bundle.along.size)
    return landing(cloth, bundle, melt, 0.03, chance.key(7, "ice"), Constants(**constants))  # type: ignore[arg-type]


@pytest.mark.parametrize("beside", [0.0, 0.2])
@pytest.mark.parametrize("spread", [0.0, 0.6, 1.0])
def test_all_caught_melt_lands(beside: float, spread: float) -> None:
    water = land(strip(), ice_beside=beside, melt_unevenness=spread)
    assert water.sum() == pytest.approx(
        (1.0 - beside) * Melt(1.2, 5 * HOUR).first_rate, rel=1e-12, abs=0.0
    )
    assert np.all(water[1::2] == 0.0)
    assert np.all(water[::2] > 0.0)


def test_even_melt_is_even_and_string_sheds_it() -> None:
    covered = np.where(np.arange(200) < 100, 0.25, 0.0)
    water = land(strip(covered=covered), melt_unevenness=0.0)[::2]
    assert water[:50] == pytest.approx(water[0], rel=1e-12, abs=0.0)
    assert water[0] / water[-1] == pytest.approx(0.75, rel=1e-12)


def test_nothing_lands_where_nothing_faces_up() -> None:
    assert np.all(land(strip(upward=np.zeros(200))) == 0.0)
