"""Amounts and lengths scaled, in the maker's own unit, as finely as a hand measures."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from math import floor, inf, log10

from meltwick.units import Unit, mixed, number_and_unit

_Steps = tuple[tuple[float, str], ...]  # up to this many of the unit, in steps of so much

_SPOON: _Steps = ((3 / 16, "1/8"), (inf, "1/4"))
_PINT: _Steps = ((inf, "1/8"),)

_POWDER: dict[str, _Steps] = {
    "g": ((10, "0.1"), (100, "1"), (inf, "5")),
    "mg": ((10_000, "100"), (100_000, "1000"), (inf, "5000")),
    "kg": ((0.01, "0.0001"), (0.1, "0.001"), (inf, "0.005")),
    "oz": ((1, "0.01"), (inf, "0.05")),
    "lb": ((inf, "0.01"),),
    "tsp": _SPOON,
    "tbsp": _SPOON,
    "cup": _SPOON,
    "mL": ((10, "0.5"), (100, "1"), (inf, "5")),
}
_ICE: dict[str, _Steps] = {
    "g": ((200, "10"), (inf, "50")),
    "kg": ((0.2, "0.01"), (inf, "0.05")),
    "oz": ((inf, "1"),),
    "lb": _SPOON,
    "tbsp": _SPOON,
    "cup": _SPOON,
    "pt": _PINT,
    "qt": _PINT,
    "gal": _PINT,
    "mL": ((inf, "50"),),
    "L": ((inf, "0.1"),),
}
_LENGTH: dict[str, _Steps] = {
    "mm": ((10, "0.5"), (inf, "1")),
    "cm": ((1, "0.05"), (inf, "0.1")),
    "m": ((inf, "0.001"),),
    "in": ((inf, "1/16"),),
}
STEPS = {"powder": _POWDER, "ice": _ICE, "length": _LENGTH, "water": dict[str, _Steps]()}
"""How finely a hand measures, by the unit: scales of 0.1 g, spoons and cups of a quarter, the
smallest an eighth, a tape of 1 mm or 1/16 in. Common practice, no source. What has no step is
rounded to three figures."""

_DIMENSIONS = {
    "powder": ("mass", "volume"),
    "ice": ("mass", "volume"),
    "length": ("length",),
    "water": ("volume",),
}
_IN_PARTS = ("tsp", "tbsp", "cup", "fl oz", "pt", "qt", "gal", "in", "lb")
"""Units that are counted in halves, quarters and eighths."""


def measured(
    written: str,
    ratio: float,
    what: str,
    fits: Callable[[float], bool] = lambda value: True,
) -> str:
    """Return a quantity times a ratio, in its own unit, as a hand would measure it.

    Parameters
    ----------
    written : str
        As the plan has it: ``2.2 g``, ``1/2 cup``.
    ratio : float
        More than 0. At 1 the quantity stays as it is written.
    what : str
        Which hand measures: ``powder``, ``ice``, ``length`` or ``water``.
    fits : callable
        Told a value in SI units, says whether it will do; of the nearest steps the first that
        does is taken, or the nearest if none does.
    """
    if ratio == 1.0:
        return written
    number, spelling, unit = number_and_unit(written, _DIMENSIONS[what])
    wanted = float(number) * ratio
    step = _step(wanted, STEPS[what].get(unit.spellings[0], ()))
    near = max(1, round(wanted / step))
    tried = [near + off for off in (0, -1, 1, -2, 2) if near + off > 0]
    best = next((n for n in tried if fits(float(n * step * unit.factor))), near)
    return _shown(best * step, spelling, unit, "." in written)


def _step(wanted: float, steps: _Steps) -> Fraction:
    for up_to, step in steps:
        if wanted < up_to:
            return Fraction(step)
    return Fraction(10) ** (floor(log10(wanted)) - 2)


def _shown(number: Fraction, spelling: str, unit: Unit, decimal: bool) -> str:
    return f"{_number(number, unit, decimal)} {_counted(number, spelling, unit)}"


def _number(number: Fraction, unit: Unit, decimal: bool) -> str:
    parts = unit.spellings[0] in _IN_PARTS and number.denominator in (2, 4, 8, 16)
    if not parts or decimal:
        return f"{float(number):.10g}"
    return mixed(number)


def _counted(number: Fraction, spelling: str, unit: Unit) -> str:
    """Write a unit for one or for several: 1/2 cup, 3 cups."""
    if number <= 1 and spelling[:-1] in unit.spellings and spelling.endswith("s"):
        return spelling[:-1]
    if number > 1 and len(spelling) > 2 and f"{spelling}s" in unit.spellings:
        return f"{spelling}s"
    return spelling
