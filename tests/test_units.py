"""Quantities against NIST factors, against pint, and against hostile input."""

import math
import time
from fractions import Fraction

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meltwick import units
from meltwick.units import QuantityError, parse, parse_one_of

# NIST Handbook 44 appendix C and NIST SP 811 appendix B: exact by definition.
NIST = [
    ("1 in", "length", 0.0254),
    ("1 ft", "length", 0.3048),
    ("1 yd", "length", 0.9144),
    ("1 lb", "mass", 0.45359237),
    ("1 oz", "mass", 0.028349523125),
    ("1 gal", "volume", 3.785411784e-3),
    ("1 qt", "volume", 0.946352946e-3),
    ("1 pt", "volume", 0.473176473e-3),
    ("1 cup", "volume", 236.5882365e-6),
    ("1 fl oz", "volume", 29.5735295625e-6),
    ("1 tbsp", "volume", 14.78676478125e-6),
    ("1 tsp", "volume", 4.92892159375e-6),
    ("1 lbf", "force", 4.4482216152605),
    ("1 kgf", "force", 9.80665),
    ("32 degF", "temperature", 273.15),
    ("212 degF", "temperature", 373.15),
    ("-40 degF", "temperature", 233.15),
    ("-40 degC", "temperature", 233.15),
]

# what pint calls each of our units; "share" is a plain ratio there
PINT = {
    "mm": "millimeter",
    "cm": "centimeter",
    "m": "meter",
    "in": "inch",
    "ft": "foot",
    "yd": "yard",
    "g": "gram",
    "kg": "kilogram",
    "mg": "milligram",
    "oz": "ounce",
    "lb": "pound",
    "L": "liter",
    "mL": "milliliter",
    "cl": "centiliter",
    "dl": "deciliter",
    "m3": "meter**3",
    "gal": "US_liquid_gallon",
    "qt": "US_liquid_quart",
    "pt": "US_pint",
    "cup": "US_liquid_cup",
    "fl oz": "US_fluid_ounce",
    "tbsp": "tablespoon",
    "tsp": "teaspoon",
    "min": "minute",
    "h": "hour",
    "s": "second",
    "day": "day",
    "degC": "degC",
    "degF": "degF",
    "K": "kelvin",
    "deg": "degree",
    "rad": "radian",
    "turn": "turn",
    "N": "newton",
    "lbf": "pound_force",
    "kgf": "kilogram_force",
    "gf": "gram_force",
    "%": "percent",
    "kPa": "kilopascal",
    "Pa": "pascal",
    "psi": "psi",
    "g/m2": "gram/meter**2",
    "kg/m2": "kilogram/meter**2",
    "oz/yd2": "ounce/yard**2",
    "kg/m3": "kilogram/meter**3",
    "g/cm3": "gram/centimeter**3",
    "g/L": "gram/liter",
    "L/kg": "liter/kilogram",
    "m3/kg": "meter**3/kilogram",
}

HOSTILE = [
    "9**9**9 mm",
    "1e999 mm",
    "nan mm",
    "inf mm",
    "inf",
    "-3 mm",
    "−3 mm",
    "- 1½ in",
    "-1/2 in",
    "25",
    "mm",
    "",
    " ",
    "1,5 cm",
    "1,500 mm",
    "1/0 in",
    "1 1/2/3 in",
    "1--1/2 in",
    "1..5 mm",
    "1.5.2 mm",
    "1 2 mm",
    "0x10 mm",
    "1_000 mm",
    "٣ mm",
    "3 g",
    "5 furlongs",
    "__import__('os') mm",
    "25 mm\n25 mm",
    "25 \x1b[31mmm",
    "2" * 30 + " mm",
    "x" * 100_000,
    "1" * 1_000_000 + " mm",
]


@pytest.mark.parametrize(("text", "dimension", "value"), NIST)
def test_factors_are_those_of_nist(text, dimension, value):
    assert parse(text, dimension) == pytest.approx(value, rel=1e-15, abs=0.0)


@pytest.fixture(scope="module")
def registry():
    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


@pytest.mark.parametrize("unit", units.UNITS, ids=lambda u: u.spellings[0])
def test_every_unit_agrees_with_pint(registry, unit):
    ours = parse(f"7.25 {unit.spellings[0]}", unit.dimension)
    theirs = registry.Quantity(7.25, PINT[unit.spellings[0]]).to_base_units()
    scale = 1e-3 if "gram" in str(theirs.units) and "kilogram" not in str(theirs.units) else 1.0
    assert ours == pytest.approx(theirs.magnitude * scale, rel=1e-12, abs=0.0)


@pytest.mark.parametrize("unit", units.UNITS, ids=lambda u: u.spellings[0])
def test_every_spelling_means_the_same_in_its_dimension(unit):
    values = {parse(f"3 {spelling}", unit.dimension) for spelling in unit.spellings}
    values |= {parse(f"3{spelling}", unit.dimension) for spelling in unit.spellings}
    assert len(values) == 1


def test_there_are_about_forty_units_and_each_dimension_has_an_example():
    assert len(units.UNITS) >= 40
    assert {u.dimension for u in units.UNITS} == set(units.EXAMPLES)
    for dimension, example in units.EXAMPLES.items():
        assert parse(example, dimension) > 0


@pytest.mark.parametrize(
    "text", ["1 1/2 in", "1-1/2 in", "1½ in", "1 ½ in", "1.5 in", "1-½ in", '1 1/2"', "3/2 inches"]
)
def test_every_way_to_write_one_and_a_half_inches_is_one_float(text):
    assert parse(text, "length") == parse("38.1 mm", "length") == 0.0381


@pytest.mark.parametrize("text", HOSTILE, ids=lambda t: ascii(t[:12]))
def test_hostile_text_is_refused_at_once_in_one_short_line(text):
    began = time.process_time()
    with pytest.raises(QuantityError) as caught:
        parse(text, "length")
    assert time.process_time() - began < 0.1
    message = str(caught.value)
    assert len(message) < 200
    assert message.isprintable()
    assert "25 mm" in message or "point for decimals" in message


@pytest.mark.parametrize("value", [25, 2.5, None, True, ["25 mm"], {"mm": 25}, math.nan])
def test_what_is_not_text_is_refused(value):
    with pytest.raises(QuantityError, match="has no unit"):
        parse(value, "length")


def test_messages_name_the_right_unit_or_dimension():
    with pytest.raises(QuantityError, match="did you mean 'millimeter'"):
        parse("25 milimeter", "length")
    with pytest.raises(QuantityError, match="'3 g' is a weight; write a length such as '25 mm'"):
        parse("3 g", "length")
    with pytest.raises(QuantityError, match="below absolute zero"):
        parse("-300 degC", "temperature")


def test_either_of_two_dimensions_is_told_apart():
    assert parse_one_of("3 g", ("mass", "volume")) == ("mass", 0.003)
    assert parse_one_of("1 tsp", ("mass", "volume"))[0] == "volume"
    assert parse_one_of("1 fl oz", ("mass", "volume"))[0] == "volume"
    assert parse_one_of("1 oz", ("mass", "volume"))[0] == "mass"


@settings(deadline=None)
@given(st.integers(0, 10**6), st.integers(0, 999), st.integers(1, 999))
def test_mixed_numbers_are_exact(whole, top, bottom):
    exact = float((whole + Fraction(top, bottom)) * Fraction(254, 10000))
    assert parse(f"{whole} {top}/{bottom} in", "length") == exact
    assert parse(f"{whole}-{top}/{bottom} in", "length") == exact


@settings(deadline=None)
@given(st.floats(1e-6, 1e6))
def test_si_floats_come_back_unchanged(value):
    # 17 figures hold a float exactly; our numbers take 18 digits on each side of the point
    text = f"{value:.17e}"
    assert parse(f"{text} m", "length") == value
    assert parse(f"{text} kg", "mass") == value


@settings(deadline=None)
@given(st.text(max_size=60))
def test_any_text_gives_a_number_or_one_line(text):
    value, said = 0.0, ""
    try:
        value = parse(text, "length")
    except QuantityError as error:
        said = str(error)
    assert said.isprintable()
    assert math.isfinite(value)
    assert value >= 0


SHOWN = [
    (units.show_length, "length", st.floats(1e-4, 100.0)),
    (units.show_mass, "mass", st.floats(1e-6, 100.0)),
    (units.show_volume, "volume", st.floats(1e-6, 1.0)),
    (units.show_time, "time", st.floats(1.0, 1e6)),
    (units.show_angle, "angle", st.floats(1e-3, 6.0)),
    (units.show_force, "force", st.floats(0.1, 500.0)),
]


@pytest.mark.parametrize(("show", "dimension", "values"), SHOWN, ids=lambda p: str(p)[:20])
def test_what_is_shown_reads_back_to_three_figures(show, dimension, values):
    @settings(deadline=None, max_examples=60)
    @given(values)
    def check(value):
        assert parse(show(value), dimension) == pytest.approx(value, rel=0.0051)
        assert "e" not in show(value).split()[0]

    check()


@settings(deadline=None)
@given(st.floats(250.0, 373.0))
def test_temperatures_are_shown_to_half_a_degree(kelvin):
    assert parse(units.show_temperature(kelvin), "temperature") == pytest.approx(kelvin, abs=0.251)


@settings(deadline=None)
@given(st.floats(0.001, 3.0))
def test_inches_are_shown_to_the_nearest_eighth(metres):
    shown = units.show_inches(metres)
    assert parse(shown, "length") == pytest.approx(metres, abs=0.0254 / 16 + 1e-9)


def test_quantities_are_shown_as_a_maker_writes_them():
    assert units.show_length(0.025) == "25 mm"
    assert units.show_length(0.7) == "70 cm"
    assert units.show_length(1.5) == "1.5 m"
    assert units.show_inches(0.0381) == "1-1/2 in"
    assert units.show_inches(0.0254) == "1 in"
    assert units.show_mass(0.0025) == "2.5 g"
    assert units.show_mass(1.2) == "1.2 kg"
    assert units.show_time(1200) == "20 min"
    assert units.show_time(86400) == "24 h"
    assert units.show_time(7 * 86400) == "7 days"
    assert units.show_temperature(293.15) == "20 °C"
    assert units.show_angle(math.radians(35)) == "35°"
    assert units.show_volume(3.785411784e-3) == "3.79 L"
    assert units.show_force(20.0) == "20 N"
