"""String, pressure and permeability against published laws and worked numbers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meltwick.binding import (
    contact_share,
    helix_length,
    hoop_pressure,
    kozeny_carman,
    solid_under,
    stack_thickness,
    string_pressure,
)
from meltwick.constants import Constants
from meltwick.types import Fabric

COTTON = 1540.0  # [kg/m3], Handbook of Properties of Textile and Technical Fibres


# ---------------------------------------------------------------------------------- hoop law


def test_worked_hoop_pressure() -> None:
    # Laplace: 20 N, radius 30 mm, spacing 10 mm: 66.7 kPa
    assert hoop_pressure(20.0, 0.030, 0.010) == pytest.approx(66.7e3, rel=1e-3)
    assert hoop_pressure(20.0, 0.030, 0.005) == pytest.approx(133.3e3, rel=1e-3)


def test_hoop_pressure_in_the_medical_form() -> None:
    # Thomas, sub-bandage pressure, World Wide Wounds 2003: P [mmHg] = 4620 T N / (C W), T in
    # kgf, girth C and width W in cm (constant from memory; exact arithmetic gives 4621.7)
    kgf, mmhg = 9.80665, 133.322387415
    for pull, girth, width in ((1.0, 10.0, 1.0), (0.5, 22.0, 2.5), (3.0, 18.0, 1.0)):
        radius = girth / 100.0 / (2.0 * np.pi)
        found = hoop_pressure(pull * kgf, radius, width / 100.0) / mmhg
        assert found == pytest.approx(4620.0 * pull / (girth * width), rel=5e-4)


@settings(max_examples=40, deadline=None)
@given(
    st.floats(3.0, 60.0),
    st.floats(0.01, 0.06),
    st.floats(5e-3, 60e-3),
    st.floats(0.0, 25e-3),
    st.floats(0.5e-3, 5e-3),
)
def test_mean_string_pressure_is_the_hoop_law(
    pull: float, radius: float, spacing: float, depth: float, string: float
) -> None:
    # whatever its spread, a ring's load over one spacing is T/r: mean T/(r s)
    count = 4000
    ring = (np.arange(count) + 0.5) * spacing / count
    full = np.full(count, 1.0)
    found = string_pressure(ring, spacing * full, depth * full, radius * full, pull, string)
    assert found.mean() == pytest.approx(hoop_pressure(pull, radius, spacing), rel=2e-4)
    assert found.min() >= 0.0


def test_string_pressure_spreads_and_dulls_with_depth() -> None:
    ring = np.linspace(0.0, 0.03, 3001)
    same = np.ones_like(ring)
    at = [
        string_pressure(ring, 0.03 * same, depth * same, 0.03 * same, 20.0, 2e-3)
        for depth in (0.0, 5e-3, 10e-3, 1.0)
    ]
    peaks = [p.max() for p in at]
    assert peaks == sorted(peaks, reverse=True)
    # a raised cosine of unit area is 2/W high (CALC): at the surface W is the string's 2 mm
    assert peaks[0] == pytest.approx(20.0 / 0.03 * 2.0 / 2e-3, rel=1e-9)
    # the load spreads one to two: at depth d it is d + 2 mm wide
    for pressure, wide in zip(at[:3], (2e-3, 7e-3, 12e-3), strict=True):
        assert (pressure > 0.0).mean() == pytest.approx(wide / 0.03, abs=2e-3)
    # deep down the strings are felt as one even pressure
    assert at[3] == pytest.approx(hoop_pressure(20.0, 0.03, 0.03), rel=1e-2)


def test_strings_repeat_along_the_pole() -> None:
    ring = np.linspace(0.0, 0.025, 200)
    same = np.ones_like(ring)

    def at(shift: float) -> np.ndarray:
        return string_pressure(ring + shift, 0.025 * same, 4e-3 * same, 0.03 * same, 20.0, 2e-3)

    assert at(5 * 0.025) == pytest.approx(at(0.0), rel=1e-6, abs=1e-3)
    assert at(0.0)[::-1] == pytest.approx(at(0.0), rel=1e-9)  # alike on both sides of a string


def test_worked_helix() -> None:
    # calculus: radius 30 mm, rise 20 mm a turn: 189.554 mm a turn, at 6.0566 degrees
    assert helix_length(0.030, 0.020, 0.020) == pytest.approx(0.189554, rel=1e-5)
    assert helix_length(0.030, 0.020, 0.100) == pytest.approx(5 * 0.189554, rel=1e-5)
    slope = np.arcsin(0.020 / helix_length(0.030, 0.020, 0.020))
    assert np.degrees(slope) == pytest.approx(6.0566, abs=1e-3)


# ---------------------------------------------------------------------------------- cloth


@pytest.mark.parametrize(
    ("mass", "thickness", "porosity"),
    [(140, 0.45, 0.798), (160, 0.55, 0.811), (160, 0.70, 0.852), (180, 0.60, 0.805)],
)
def test_worked_porosity_of_jersey(mass: float, thickness: float, porosity: float) -> None:
    # eps = 1 - m / (rho T), Ogulata & Mavruz 2010, g/m2 and mm
    fabric = Fabric("jersey", mass / 1000.0, thickness / 1000.0, COTTON)
    assert 1.0 - fabric.solid == pytest.approx(porosity, abs=6e-4)


@pytest.mark.parametrize(
    ("porosity", "known"),
    [(0.5, 1.41e-12), (0.6, 3.80e-12), (0.7, 1.07e-11), (0.8, 3.60e-11), (0.85, 7.68e-11)],
)
def test_worked_permeability_of_fibres(porosity: float, known: float) -> None:
    # Carman 1937, cylinders: d^2 eps^3 / (80 (1 - eps)^2), d 15 um
    found = kozeny_carman(1.0 - porosity, 15e-6, 5.0)
    assert found == pytest.approx(known, rel=4e-3, abs=0.0)  # three figures printed


def test_permeability_ratio() -> None:
    # k(.8) / k(.5) = 25.6
    ratio = kozeny_carman(0.2, 15e-6, 5.0) / kozeny_carman(0.5, 15e-6, 5.0)
    assert ratio == pytest.approx(25.6, rel=1e-3)


@pytest.mark.parametrize(("solid", "known"), [(0.2, 8.80e-11), (0.4, 9.28e-12)])
def test_permeability_is_of_the_order_of_another_model(solid: float, known: float) -> None:
    # Gebart 1992, fibres 14 um wide side by side: a second opinion, same decade
    ratio = float(kozeny_carman(solid, 14e-6, 5.0)) / known
    assert 0.1 < ratio < 10.0


# ---------------------------------------------------------------------------------- compression


def test_worked_compression() -> None:
    # van Wyk 1946: p = K E (phi^3 - phi0^3); from 0.2 to 0.4, p / (K E) = 0.056
    cube = Constants(stiffness=1.0e6, stiffness_power=3.0, solid_cap=0.9)
    found = solid_under(np.array([0.0, 0.056e6]), 0.2, cube)
    assert found == pytest.approx([0.2, 0.4], rel=1e-12)


def test_compression_tends_to_the_cube() -> None:
    # far from phi0 the log-log slope of p over phi is 3
    cube = Constants(stiffness=1.0e6, stiffness_power=3.0, solid_cap=1e9)
    phi = solid_under(np.array([1e9, 1e10]), 0.2, cube)
    assert 1.0 / np.log10(phi[1] / phi[0]) == pytest.approx(3.0, rel=1e-4)


@settings(max_examples=60, deadline=None)
@given(st.floats(0.05, 0.5), st.floats(0.0, 5e6), st.floats(2.5, 3.5), st.floats(0.7e6, 1.9e6))
def test_compression_is_the_inverse_of_its_law(
    loose: float, pressure: float, power: float, stiffness: float
) -> None:
    made = Constants(stiffness=stiffness, stiffness_power=power, solid_cap=0.75)
    phi = float(solid_under(np.array([pressure]), loose, made)[0])
    assert loose <= phi * (1 + 1e-12)
    assert phi <= 0.75
    if phi < 0.75:
        assert stiffness * (phi**power - loose**power) == pytest.approx(pressure, abs=1e-3)
    harder = float(solid_under(np.array([2.0 * pressure]), loose, made)[0])
    assert harder >= phi


@settings(max_examples=30, deadline=None)
@given(st.floats(0.08, 0.3), st.floats(0.3e-3, 1e-3), st.floats(0.0, 2e5))
def test_pressing_keeps_the_fibre(mass: float, thickness: float, pressure: float) -> None:
    # thickness times share of fibre is the fibre itself, m / rho
    fabric = Fabric("any", mass, thickness, COTTON)
    made = Constants(stiffness=1e6, stiffness_power=3.0, solid_cap=0.95)
    thin = stack_thickness(fabric, pressure, made)
    phi = float(solid_under(np.array([pressure]), fabric.solid, made)[0])
    assert thin * phi == pytest.approx(mass / COTTON, rel=1e-12)
    assert thin <= thickness * (1 + 1e-12)


def test_contact_grows_by_its_power() -> None:
    made = Constants(contact=0.1, contact_power=0.25)
    at = contact_share(np.array([1e3, 16e3, 1e9]), made)
    assert at == pytest.approx([0.1, 0.2, 1.0], rel=1e-12)
