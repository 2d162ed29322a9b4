"""Quantities as makers write them, read into SI and written back.

A quantity is a number and a unit: ``25 mm``, ``1 1/2 in``, ``1-1/2 in``, ``1½ in``, ``68 degF``.
Numbers are read as exact fractions and rounded once, so ``1.5 in`` and ``38.1 mm`` are one float.
Factors are exact by definition: NIST Handbook 44 appendix C and NIST SP 811 appendix B.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from difflib import get_close_matches
from fractions import Fraction
from types import MappingProxyType

LONGEST = 40  # characters; no honest quantity is longer, and it bounds the work


class QuantityError(ValueError):
    """A text that is not a quantity of the kind wanted; its message is one line."""


@dataclass(frozen=True)
class Unit:
    """``SI = (value + offset) * factor``; the first spelling is the one that is shown."""

    dimension: str
    spellings: tuple[str, ...]
    factor: Fraction
    offset: Fraction = Fraction(0)


def _unit(dimension: str, spellings: str, factor: str | Fraction, offset: str = "0") -> Unit:
    names = tuple(name.strip() for name in spellings.split("|"))
    return Unit(dimension, names, Fraction(factor), Fraction(offset))


INCH = Fraction("0.0254")
POUND = Fraction("0.45359237")
GALLON = 231 * INCH**3  # US liquid gallon: 231 cubic inches
GRAVITY = Fraction("9.80665")  # [m/s2] standard
_DEGREE = Fraction(math.pi) / 180

UNITS = (
    _unit("length", "mm|millimetre|millimetres|millimeter|millimeters", "0.001"),
    _unit("length", "cm|centimetre|centimetres|centimeter|centimeters", "0.01"),
    _unit("length", "m|metre|metres|meter|meters", "1"),
    _unit("length", 'in|inch|inches|"|″', INCH),
    _unit("length", "ft|foot|feet|'|′", 12 * INCH),
    _unit("length", "yd|yard|yards", 36 * INCH),
    _unit("mass", "g|gram|grams|gramme|grammes", "0.001"),
    _unit("mass", "kg|kilo|kilos|kilogram|kilograms", "1"),
    _unit("mass", "mg|milligram|milligrams", "0.000001"),
    _unit("mass", "oz|ounce|ounces", POUND / 16),
    _unit("mass", "lb|lbs|pound|pounds", POUND),
    _unit("volume", "L|l|litre|litres|liter|liters", "0.001"),
    _unit("volume", "mL|ml|millilitre|millilitres|milliliter|milliliters", "0.000001"),
    _unit("volume", "cl|centilitre|centilitres|centiliter|centiliters", "0.00001"),
    _unit("volume", "dl|decilitre|decilitres|deciliter|deciliters", "0.0001"),
    _unit("volume", "m3|cubic metre|cubic metres", "1"),
    _unit("volume", "gal|gallon|gallons", GALLON),
    _unit("volume", "qt|quart|quarts", GALLON / 4),
    _unit("volume", "pt|pint|pints", GALLON / 8),
    _unit("volume", "cup|cups", GALLON / 16),
    _unit("volume", "fl oz|fluid ounce|fluid ounces", GALLON / 128),
    _unit("volume", "tbsp|tablespoon|tablespoons", GALLON / 256),
    _unit("volume", "tsp|teaspoon|teaspoons", GALLON / 768),
    _unit("time", "min|mins|minute|minutes", "60"),
    _unit("time", "h|hr|hrs|hour|hours", "3600"),
    _unit("time", "s|sec|secs|second|seconds", "1"),
    _unit("time", "day|days|d", "86400"),
    _unit("temperature", "degC|°C|ºC|C|celsius|deg C", "1", "273.15"),
    _unit("temperature", "degF|°F|ºF|F|fahrenheit|deg F", Fraction(5, 9), "459.67"),
    _unit("temperature", "K|kelvin", "1"),
    _unit("angle", "deg|°|º|degree|degrees", _DEGREE),
    _unit("angle", "rad|radian|radians", "1"),
    _unit("angle", "turn|turns", 360 * _DEGREE),
    _unit("force", "N|newton|newtons", "1"),
    _unit("force", "lbf|pound-force", POUND * GRAVITY),
    _unit("force", "kgf|kilogram-force", GRAVITY),
    _unit("force", "gf|gram-force", GRAVITY / 1000),
    _unit("share", "%|percent|per cent", "0.01"),
    _unit("pressure", "kPa|kilopascal|kilopascals", "1000"),
    _unit("pressure", "Pa|pascal|pascals", "1"),
    _unit("pressure", "psi", POUND * GRAVITY / INCH**2),
    _unit("mass per area", "g/m2|g/m²|gsm", "0.001"),
    _unit("mass per area", "kg/m2|kg/m²", "1"),
    _unit("mass per area", "oz/yd2|oz/yd²", POUND / 16 / (36 * INCH) ** 2),
    _unit("density", "kg/m3|kg/m³", "1"),
    _unit("density", "g/cm3|g/cm³|g/mL|g/ml", "1000"),
    _unit("density", "g/L|g/l", "1"),
    _unit("volume per mass", "L/kg|l/kg|mL/g|ml/g", "0.001"),
    _unit("volume per mass", "m3/kg|m³/kg", "1"),
)

EXAMPLES = MappingProxyType(
    {
        "length": "25 mm",
        "mass": "3 g",
        "volume": "1/2 cup",
        "time": "20 min",
        "temperature": "20 degC",
        "angle": "35 deg",
        "force": "20 N",
        "share": "50 %",
        "pressure": "10 kPa",
        "mass per area": "160 g/m2",
        "density": "600 kg/m3",
        "volume per mass": "3 L/kg",
    }
)
"""Every dimension, with a quantity of it as a maker would write it."""

_BY_NAME: dict[str, list[Unit]] = {}
for _each in UNITS:
    for _name in _each.spellings:
        _known = _BY_NAME.setdefault(_name.casefold(), [])
        if _each not in _known:
            _known.append(_each)

_VULGAR = {
    "¼": Fraction(1, 4),
    "½": Fraction(1, 2),
    "¾": Fraction(3, 4),
    "⅓": Fraction(1, 3),
    "⅔": Fraction(2, 3),
    "⅕": Fraction(1, 5),
    "⅖": Fraction(2, 5),
    "⅗": Fraction(3, 5),
    "⅘": Fraction(4, 5),
    "⅙": Fraction(1, 6),
    "⅚": Fraction(5, 6),
    "⅛": Fraction(1, 8),
    "⅜": Fraction(3, 8),
    "⅝": Fraction(5, 8),
    "⅞": Fraction(7, 8),
}

_NUMBER = re.compile(
    r"(?P<sign>[+-]?) ?(?:"
    r"(?:(?P<whole>[0-9]{1,9})(?: ?- ?| ))?(?P<top>[0-9]{1,4}) ?[/⁄] ?(?P<bottom>[0-9]{1,4})"
    rf"|(?:(?P<before>[0-9]{{1,9}})(?: ?- ?| ?))?(?P<vulgar>[{''.join(_VULGAR)}])"
    r"|(?P<decimal>(?:[0-9]{1,18}(?:\.[0-9]{0,18})?|\.[0-9]{1,18})(?:[eE][+-]?[0-9]{1,3})?)"
    r")(?![0-9./⁄])"
)


def shown(value: object) -> str:
    """Return a short, printable, one-line form of anything a file may hold."""
    if isinstance(value, bool):
        return str(value).lower()  # as the file has it
    try:
        text = repr(value)
    except (ValueError, RecursionError):  # an integer of many thousand digits, a deep nest
        return f"a very large {type(value).__name__}"
    return text if len(text) <= LONGEST + 2 else f"{text[:LONGEST]}..."


def _article(dimension: str) -> str:
    called = dimension.replace("mass", "weight")  # makers weigh
    return f"an {called}" if called[0] in "aeiou" else f"a {called}"


def _wanted(dimensions: tuple[str, ...]) -> str:
    return " or ".join(f"{_article(d)} such as '{EXAMPLES[d]}'" for d in dimensions)


def _split(text: str, wanted: str) -> tuple[Fraction, str]:
    """Return the exact number in front and the unit's spelling behind it."""
    clean = " ".join(text.replace("−", "-").split())
    match = _NUMBER.match(clean)
    if match is None:
        hint = " (use a point for decimals)" if re.match(r"[0-9]+,[0-9]", clean) else ""
        raise QuantityError(f"{shown(text)} is not a quantity; write {wanted}{hint}")
    if match["decimal"] is not None:
        number = Fraction(match["decimal"])
    elif match["vulgar"] is not None:
        number = int(match["before"] or 0) + _VULGAR[match["vulgar"]]
    elif int(match["bottom"]) == 0:
        raise QuantityError(f"{shown(text)} divides by zero; write {wanted}")
    else:
        number = int(match["whole"] or 0) + Fraction(int(match["top"]), int(match["bottom"]))
    unit = clean[match.end() :].strip()
    if unit.startswith(","):
        raise QuantityError(f"{shown(text)} is not a quantity; use a point for decimals")
    return (-number if match["sign"] == "-" else number), unit


def _pick(unit: str, dimensions: tuple[str, ...], text: str, wanted: str) -> Unit:
    """Return the unit so spelt among those of the wanted dimensions."""
    known = _BY_NAME.get(unit.casefold(), [])
    for each in known:
        if each.dimension in dimensions:
            return each
    if not unit:
        raise QuantityError(f"{shown(text)} has no unit; write {wanted}")
    if known:
        raise QuantityError(f"{shown(text)} is {_article(known[0].dimension)}; write {wanted}")
    names = [s for each in UNITS if each.dimension in dimensions for s in each.spellings]
    near = get_close_matches(unit.casefold(), [n.casefold() for n in names], 1)
    hint = f"; did you mean '{near[0]}'?" if near else ""
    raise QuantityError(f"{shown(text)} has a unit that is not known; write {wanted}{hint}")


def parse_one_of(text: str, dimensions: tuple[str, ...]) -> tuple[str, float]:
    """Read a quantity that may be of one of several dimensions.

    Parameters
    ----------
    text : str
        A number and a unit, at most 40 characters.
    dimensions : tuple of str
        Keys of `EXAMPLES`, for instance ``("mass", "volume")``.

    Returns
    -------
    tuple of (str, float)
        The dimension found and the value in SI units.

    Raises
    ------
    QuantityError
        If the text is no such quantity, is not finite, is negative (temperatures in degrees
        may be) or lies below absolute zero.
    """
    wanted = _wanted(dimensions)
    if not isinstance(text, str):
        raise QuantityError(f"{shown(text)} has no unit; write {wanted}")
    if len(text) > LONGEST:
        raise QuantityError(f"{shown(text)} is too long for a quantity; write {wanted}")
    number, spelling = _split(text, wanted)
    unit = _pick(spelling, dimensions, text, wanted)
    exact = (number + unit.offset) * unit.factor
    if exact < 0:
        what = "below absolute zero" if unit.dimension == "temperature" else "negative"
        raise QuantityError(f"{shown(text)} is {what}; write {wanted}")
    try:
        value = float(exact)
    except OverflowError:
        value = math.inf
    if not math.isfinite(value):
        raise QuantityError(f"{shown(text)} is too large; write {wanted}")
    return unit.dimension, value


def number_and_unit(text: str, dimensions: tuple[str, ...]) -> tuple[Fraction, str, Unit]:
    """Take a quantity apart: its exact number, its unit as written, and that unit.

    Raises
    ------
    QuantityError
        If it is none of these dimensions.
    """
    wanted = _wanted(dimensions)
    number, spelling = _split(text, wanted)
    return number, spelling, _pick(spelling, dimensions, text, wanted)


def parse(text: str, dimension: str) -> float:
    """Read a quantity of one dimension.

    Parameters
    ----------
    text : str
        A number and a unit: ``"1 1/2 in"``, ``"20 degC"``.
    dimension : str
        One of the keys of `EXAMPLES`.

    Returns
    -------
    float
        The value in SI units.

    Raises
    ------
    QuantityError
        As `parse_one_of`.
    """
    return parse_one_of(text, (dimension,))[1]


def _plain(value: float, figures: int = 3) -> str:
    """Return a number to so many significant figures, never in powers of ten."""
    if value == 0 or not math.isfinite(value):
        return "0" if value == 0 else str(value)
    places = figures - 1 - math.floor(math.log10(abs(value)))
    rounded = round(value, places)
    return f"{rounded:.{max(places, 0)}f}".rstrip("0").rstrip(".") if places > 0 else f"{rounded:g}"


def show_length(metres: float) -> str:
    """Return a length [m] in mm, cm or m: ``"25 mm"``."""
    if metres < 0.0995:
        return f"{_plain(metres * 1e3)} mm"
    return f"{_plain(metres * 1e2)} cm" if metres < 0.9995 else f"{_plain(metres)} m"


def mixed(number: Fraction) -> str:
    """Return a number of 0 or more as a ruler or a spoon has it: ``"1-1/2"``."""
    whole, rest = divmod(number, 1)
    return "-".join(str(part) for part in (whole, rest) if part) or "0"


def show_inches(metres: float) -> str:
    """Return a length [m] to the nearest eighth of an inch: ``"1-1/2 in"``."""
    return f"{mixed(Fraction(round(metres / float(INCH) * 8), 8))} in"


def show_mass(kilograms: float) -> str:
    """Return a mass [kg] in mg, g or kg: ``"3 g"``."""
    if kilograms < 0.0995e-3:
        return f"{_plain(kilograms * 1e6)} mg"
    return f"{_plain(kilograms * 1e3)} g" if kilograms < 0.9995 else f"{_plain(kilograms)} kg"


def show_volume(cubic_metres: float) -> str:
    """Return a volume [m3] in mL or L: ``"3.79 L"``."""
    litres = cubic_metres * 1e3
    return f"{_plain(litres * 1e3)} mL" if litres < 0.9995 else f"{_plain(litres)} L"


def show_time(seconds: float) -> str:
    """Return a time [s] in s, min, h or days: ``"20 min"``."""
    if seconds < 59.95:
        return f"{_plain(seconds)} s"
    if seconds < 3599:
        return f"{_plain(seconds / 60)} min"
    hours = seconds / 3600
    return f"{_plain(hours)} h" if hours < 95.95 else f"{_plain(hours / 24)} days"


def show_temperature(kelvin: float) -> str:
    """Return a temperature [K] in whole or half degrees Celsius: ``"20 °C"``."""
    return f"{round((kelvin - 273.15) * 2) / 2:g} °C"


def show_angle(radians: float) -> str:
    """Return an angle [rad] in degrees: ``"35°"``."""
    return f"{_plain(math.degrees(radians))}°"


def show_force(newtons: float) -> str:
    """Return a force [N]: ``"20 N"``."""
    return f"{_plain(newtons)} N"
