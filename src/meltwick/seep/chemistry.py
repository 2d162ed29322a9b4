"""Soda, temperature and the rates of fixing and hydrolysis."""

from __future__ import annotations

import numpy as np

from meltwick.constants import GAS, ICE_POINT, Constants
from meltwick.types import Component, Floats

# [OH-] of sodium carbonate in water, mmol per kg of water: rows by temperature, columns by
# soda. Computed with PHREEQC 3 (Parkhurst & Appelo 2013), database phreeqc.dat.
SODA_STRENGTH = np.array([0.1, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0])  # [g/kg]
SODA_CELSIUS = np.array([0.1, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 40.0])
HYDROXIDE = np.array(
    [
        [0.1832, 0.4098, 0.5648, 0.7680, 1.1325, 1.5031, 1.9830, 2.8525, 3.7837],
        [0.2093, 0.4713, 0.6492, 0.8803, 1.2887, 1.6964, 2.2140, 3.1292, 4.0890],
        [0.2383, 0.5406, 0.7439, 1.0052, 1.4592, 1.9032, 2.4554, 3.4078, 4.3867],
        [0.2696, 0.6165, 0.8473, 1.1402, 1.6397, 2.1176, 2.6996, 3.6799, 4.6692],
        [0.3030, 0.6990, 0.9590, 1.2845, 1.8284, 2.3372, 2.9441, 3.9435, 4.9365],
        [0.3383, 0.7878, 1.0785, 1.4371, 2.0236, 2.5597, 3.1864, 4.1975, 5.1895],
        [0.3752, 0.8824, 1.2052, 1.5969, 2.2235, 2.7831, 3.4248, 4.4417, 5.4300],
        [0.4520, 1.0865, 1.4760, 1.9323, 2.6299, 3.2257, 3.8856, 4.9023, 5.8825],
    ]
)
REFERENCE_HYDROXIDE = 2.3372  # [mmol/kg] 10 g/kg at 20 degC
REFERENCE_TEMPERATURE = 293.15  # [K]


def hydroxide(strength: float, temperature: float) -> float:
    """[OH-] of a soda solution [mmol/kg], by interpolation in PHREEQC's table.

    Parameters
    ----------
    strength : float
        Sodium carbonate [kg/m3], about g per kg of water; 0 gives 0.
    temperature : float
        [K].
    """
    if strength <= 0.0:
        return 0.0
    celsius = np.clip(temperature - ICE_POINT, SODA_CELSIUS[0], SODA_CELSIUS[-1])
    column = [np.interp(celsius, SODA_CELSIUS, HYDROXIDE[:, j]) for j in range(SODA_STRENGTH.size)]
    if strength < SODA_STRENGTH[0]:  # towards nothing: proportional
        return float(column[0] * strength / SODA_STRENGTH[0])
    capped = min(strength, float(SODA_STRENGTH[-1]))
    return float(np.exp(np.interp(np.log(capped), np.log(SODA_STRENGTH), np.log(column))))


def hydroxides(strengths: Floats, temperature: float) -> Floats:
    """[OH-] of many soda solutions [mmol/kg], as `hydroxide`; strengths (N,) [kg/m3]."""
    celsius = np.clip(temperature - ICE_POINT, SODA_CELSIUS[0], SODA_CELSIUS[-1])
    column = np.array(
        [np.interp(celsius, SODA_CELSIUS, HYDROXIDE[:, j]) for j in range(SODA_STRENGTH.size)]
    )
    inside = np.clip(strengths, SODA_STRENGTH[0], SODA_STRENGTH[-1])
    found = np.exp(np.interp(np.log(inside), np.log(SODA_STRENGTH), np.log(column)))
    return np.asarray(found * np.clip(strengths / SODA_STRENGTH[0], 0.0, 1.0))


def arrhenius(temperature: float, activation: float) -> float:
    """Rate over the rate at 20 degC, exp(-Ea/R (1/T - 1/T0))."""
    return float(np.exp(-activation / GAS * (1.0 / temperature - 1.0 / REFERENCE_TEMPERATURE)))


def fixing_rates(
    species: tuple[Component, ...], strength: float, temperature: float, constants: Constants
) -> Floats:
    """Rate at which sorbed dye fixes, by species [1/s], shape (K,).

    It follows [OH-](soda, T) times Arrhenius' factor; without soda cellulose fixes nothing.
    """
    pace = hydroxide(strength, temperature) / REFERENCE_HYDROXIDE
    pace *= arrhenius(temperature, constants.activation)
    return np.array([constants.k_fix * part.strike * pace for part in species])


EXHAUST_RATIO = 10e-3
"""Water to fibre of the exhaust dyeings in which yields are reported, 1:10 [m3/kg]."""


def hydrolysis_rates(
    fixing: Floats, species: tuple[Component, ...], constants: Constants
) -> Floats:
    """Rate at which dissolved dye hydrolyses [1/s], shape (K,).

    Chosen so that dye at equilibrium in an exhaust bath of 1:10 ends with the fixed yield Y
    that is reported for such baths: k_h = k_f (kd / 10 L/kg) (1/Y - 1). Soaked cloth holds
    less water to its fibre, so there more is fixed for each part that is spoilt.
    """
    kd = np.array([part.kd for part in species]) * constants.grip
    return np.asarray(fixing * kd / EXHAUST_RATIO * (1.0 / constants.fixed_yield - 1.0))
