"""The numbers of the model: name, unit, where each comes from, and how far it may stray."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import Any

MODEL = 5
"""Raised whenever a change to the program changes a number it reports."""

GRAVITY = 9.80665  # [m/s2] standard gravity, CGPM 1901
GAS = 8.314462618  # [J/(mol K)] CODATA 2018
ICE_POINT = 273.15  # [K]
LATENT_HEAT = 333.43e3  # [J/kg] IAPWS R10-06(2009) and R6-95, water less ice at 0 degC
WATER_DENSITY = 999.84  # [kg/m3] at 0 degC, IAPWS-95
WATER_VISCOSITY_COLD = 1.7911e-3  # [Pa s] at 0.01 degC, IAPWS R12-08


def _c(value: float, unit: str, low: float, high: float, source: str) -> Any:
    """One constant with its unit, its range for the sensitivity study and its source."""
    return field(default=value, metadata={"unit": unit, "low": low, "high": high, "source": source})


@dataclass(frozen=True)
class Constants:
    """What is assumed about cloth, water and dye; a maker's own pieces may correct a few.

    ``Constants.table()`` lists each with unit, range and source. "chosen" means that no
    published value was found; such a number belongs in the shown doubt.
    """

    # ice
    heat_transfer: float = _c(
        12.0, "W/(m2 K)", 8.0, 15.0, "free convection, radiation and condensation on ice; chosen"
    )
    heap_density: float = _c(500.0, "kg/m3", 450.0, 550.0, "packing of ice pieces, from memory")
    heap_shape: float = _c(4.84, "-", 3.8, 6.0, "area of a ball over volume^(2/3); chosen")
    ice_beside: float = _c(0.2, "-", 0.0, 0.4, "share of melt that misses a tilted pole; chosen")
    melt_unevenness: float = _c(0.6, "-", 0.2, 1.0, "spread of melt between pieces; chosen")
    # cloth and water
    alpha: float = _c(20.0, "1/m", 10.0, 50.0, "Gardner 1958 law; value chosen")
    fibre_width: float = _c(15e-6, "m", 12e-6, 20e-6, "cotton fibre, handbook value read")
    kozeny: float = _c(5.0, "-", 4.0, 9.0, "Carman 1937, from memory")
    compression_power: float = _c(0.75, "-", 0.5, 1.0, "power on Kozeny-Carman; chosen")
    film: float = _c(20.0, "-", 5.0, 100.0, "outer film over one cloth layer; chosen")
    film_under_string: float = _c(
        0.2, "-", 0.05, 1.0, "film that passes under string, over that beside it; chosen"
    )
    stiffness: float = _c(1.0e6, "Pa", 0.7e6, 1.9e6, "van Wyk's a from jersey curves")
    stiffness_power: float = _c(3.0, "-", 2.5, 3.5, "van Wyk 1946, disputed")
    solid_cap: float = _c(0.75, "-", 0.6, 0.85, "densest fibre packing; chosen")
    contact: float = _c(0.01, "-", 0.002, 0.05, "share of true contact at 1 kPa; chosen")
    contact_power: float = _c(0.15, "-", 0.0, 0.33, "growth of contact with pressure; chosen")
    residual: float = _c(0.25, "-", 0.1, 0.4, "water kept at high suction over pore; chosen")
    retention_power: float = _c(2.0, "-", 1.0, 4.0, "n of the retention curve; chosen")
    # spreading
    dispersivity: float = _c(4e-3, "m", 2e-3, 8e-3, "in the cloth's plane; chosen")
    contact_spread: float = _c(4e-3, "m", 2e-3, 8e-3, "sideways at each contact; chosen")
    tortuosity: float = _c(0.5, "-", 0.3, 0.8, "diffusion in wet cloth over that in water; chosen")
    # dye
    grip: float = _c(
        15.0, "-", 5.0, 40.0, "kd in cold, soda-wet cloth over kd in water: salt, cold; chosen"
    )
    dissolving: float = _c(
        0.15, "-", 0.05, 0.5, "share of solubility that water passing grains reaches; chosen"
    )
    k_fix: float = _c(4e-4, "1/s", 1e-4, 8e-4, "at 20 degC and 10 g/L soda; chosen")
    activation: float = _c(75e3, "J/mol", 60e3, 90e3, "reactive dyes, from memory")
    fixed_yield: float = _c(0.7, "-", 0.5, 0.85, "fixed over fixed and hydrolysed, read")
    sites: float = _c(0.08, "kg/kg", 0.04, 0.12, "most dye that cotton fixes; chosen")
    sorption_cap: float = _c(0.10, "kg/kg", 0.05, 0.2, "Langmuir capacity; chosen")
    soda_held: float = _c(0.3, "-", 0.1, 0.5, "share of soda that fibre holds in melt; chosen")
    warming: float = _c(7200.0, "s", 3600.0, 14400.0, "bundle warms once ice is gone; chosen")
    drying: float = _c(43200.0, "s", 21600.0, 86400.0, "open bundle dries; chosen")
    # powder and wash
    grain: float = _c(3e-3, "m", 1.5e-3, 6e-3, "clumps of a sprinkled powder; chosen")
    backstain_careful: float = _c(2e-4, "-", 0.0, 1e-3, "share of loose dye that returns; chosen")

    @classmethod
    def table(cls) -> list[dict[str, Any]]:
        """Every constant as a row: name, value, unit, low, high, source."""
        return [{"name": f.name, "value": f.default, **f.metadata} for f in fields(cls)]
