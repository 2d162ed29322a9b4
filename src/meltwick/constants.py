"""The numbers of the model: name, unit, where each comes from, and how far it may stray."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import Any

MODEL = 6
"""Raised whenever a change to the program changes a number it reports."""

GRAVITY = 9.80665  # [m/s2] standard gravity, CGPM 1901
GAS = 8.314462618  # [J/(mol K)] CODATA 2018
ICE_POINT = 273.15  # [K]
LATENT_HEAT = 333.43e3  # [J/kg] IAPWS R10-06(2009) and R6-95, water less ice at 0 degC
WATER_DENSITY = 999.84  # [kg/m3] at 0 degC, IAPWS-95
WATER_VISCOSITY_COLD = 1.7911e-3  # [Pa s] at 0.01 degC, IAPWS R12-08


STANDINGS = ("published", "common practice", "from memory", "chosen")
"""What a number rests on: a published value that was read, with a year or a standard's number; what
the trade does, without a source; a value that was not looked up; or none of these."""


def _c(value: float, unit: str, low: float, high: float, standing: str, source: str) -> Any:
    """One constant with its unit, its range for the sensitivity study, its standing and source."""
    what = {"unit": unit, "low": low, "high": high, "standing": standing, "source": source}
    return field(default=value, metadata=what)


@dataclass(frozen=True)
class Constants:
    """What is assumed about cloth, water and dye; a maker's own pieces may correct a few.

    ``Constants.table()`` lists each with unit, range, standing (one of `STANDINGS`) and source.
    "chosen" means that no published value was found; such a number belongs in the shown doubt.
    """

    # ice
    heat_transfer: float = _c(
        12.0,
        "W/(m2 K)",
        8.0,
        15.0,
        "chosen",
        "free convection, radiation and condensation on ice",
    )
    heap_density: float = _c(
        500.0, "kg/m3", 450.0, 550.0, "from memory", "packing of ice pieces, voids of 0.4 to 0.5"
    )
    heap_shape: float = _c(4.84, "-", 3.8, 6.0, "chosen", "area of a ball over volume^(2/3)")
    ice_beside: float = _c(0.2, "-", 0.0, 0.4, "chosen", "share of melt that misses a tilted pole")
    melt_unevenness: float = _c(0.6, "-", 0.2, 1.0, "chosen", "spread of melt between pieces")
    # cloth and water
    alpha: float = _c(20.0, "1/m", 10.0, 50.0, "chosen", "in the law of Gardner 1958")
    fibre_width: float = _c(
        15e-6,
        "m",
        12e-6,
        20e-6,
        "published",
        "cotton 12 to 20 um, definetextile.com 2013; about the middle",
    )
    kozeny: float = _c(5.0, "-", 4.0, 9.0, "from memory", "Carman 1937")
    compression_power: float = _c(0.75, "-", 0.5, 1.0, "chosen", "power on Kozeny-Carman")
    film: float = _c(20.0, "-", 5.0, 100.0, "chosen", "outer film over one cloth layer")
    film_under_string: float = _c(
        0.2, "-", 0.05, 1.0, "chosen", "film that passes under string, over that beside it"
    )
    stiffness: float = _c(
        1.0e6, "Pa", 0.7e6, 1.9e6, "from memory", "van Wyk's a, from compression curves of jersey"
    )
    stiffness_power: float = _c(
        3.0,
        "-",
        2.5,
        3.5,
        "published",
        "van Wyk 1946, J. Text. Inst. 37; disputed",
    )
    solid_cap: float = _c(0.75, "-", 0.6, 0.85, "chosen", "densest fibre packing")
    contact: float = _c(0.01, "-", 0.002, 0.05, "chosen", "share of true contact at 1 kPa")
    contact_power: float = _c(0.15, "-", 0.0, 0.33, "chosen", "growth of contact with pressure")
    residual: float = _c(0.25, "-", 0.1, 0.4, "chosen", "water kept at high suction over pore")
    retention_power: float = _c(2.0, "-", 1.0, 4.0, "chosen", "n of the retention curve")
    # spreading
    dispersivity: float = _c(4e-3, "m", 2e-3, 8e-3, "chosen", "in the cloth's plane")
    contact_spread: float = _c(4e-3, "m", 2e-3, 8e-3, "chosen", "sideways at each contact")
    tortuosity: float = _c(
        0.5, "-", 0.3, 0.8, "chosen", "diffusion in wet cloth over that in water"
    )
    # dye
    grip: float = _c(
        15.0, "-", 5.0, 40.0, "chosen", "kd in cold, soda-wet cloth over kd in water: salt, cold"
    )
    dissolving: float = _c(
        0.15, "-", 0.05, 0.5, "chosen", "share of solubility that water passing grains reaches"
    )
    k_fix: float = _c(4e-4, "1/s", 1e-4, 8e-4, "chosen", "at 20 degC and 10 g/L soda")
    activation: float = _c(
        75e3, "J/mol", 60e3, 90e3, "from memory", "reactive dyes, fixing and hydrolysis"
    )
    fixed_yield: float = _c(
        0.7,
        "-",
        0.5,
        0.85,
        "published",
        "fixed over fixed and hydrolysed, Xiong, Ma and Zhang 2019, RSC Advances",
    )
    sites: float = _c(0.08, "kg/kg", 0.04, 0.12, "chosen", "most dye that cotton fixes")
    sorption_cap: float = _c(0.10, "kg/kg", 0.05, 0.2, "chosen", "Langmuir capacity")
    soda_held: float = _c(0.3, "-", 0.1, 0.5, "chosen", "share of soda that fibre holds in melt")
    warming: float = _c(7200.0, "s", 3600.0, 14400.0, "chosen", "bundle warms once ice is gone")
    drying: float = _c(43200.0, "s", 21600.0, 86400.0, "chosen", "open bundle dries")
    # powder and wash
    grain: float = _c(3e-3, "m", 1.5e-3, 6e-3, "chosen", "clumps of a sprinkled powder")
    backstain_careful: float = _c(2e-4, "-", 0.0, 1e-3, "chosen", "share of loose dye that returns")

    @classmethod
    def table(cls) -> list[dict[str, Any]]:
        """Every constant as a row: name, value, unit, low, high, standing, source."""
        return [{"name": f.name, "value": f.default, **f.metadata} for f in fields(cls)]
