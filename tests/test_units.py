"""The unit table against pint, an independent units library, and against the pitfalls of spellings."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from runlog import units
from runlog.units import Unit, find_unit, parse_quantity, split_quantity, unit_of, units_for

COUNTS = {"clicks", "holes", "flats", "turns", "sets", "runs"}
"""Things of the trade that are counted: no units library has them."""

# our symbol → how pint writes the same unit, where the spelling differs
PINT = {
    "N·m": "newton*meter", "lbf·ft": "lbf*ft", "hp": "horsepower", "PS": "metric_horsepower", "m/s²": "m/s**2",
    "ft/s²": "ft/s**2", "gn": "standard_gravity", "kn": "knot", "°C": "degC", "°F": "degF", "kg/m³": "kg/m**3",
    "m²": "m**2", "ft²": "ft**2", "%": "percent", "1": "dimensionless", "lb/in": "lbf/in", "mi": "mile",
    "h": "hour", "deg": "degree", "deg/s": "degree/s", "mgn": "millistandard_gravity",
}  # fmt: skip
PINT_SI = {"N·m": "newton*meter", "m/s²": "m/s**2", "kg/m³": "kg/m**3", "m²": "m**2", "1": "dimensionless"}

TABLE = [unit_of(symbol) for dimension in units.SI_UNITS for symbol in units_for(dimension)]
MEASURED = [unit for unit in TABLE if unit.dimension not in COUNTS]
PINT_LOOSE = {"inHg", "mmHg", "PS"}
"""Pint takes mercury at 0 °C to fewer digits than the conventional millimetre of mercury; seven digits agree."""


@cache
def registry() -> pint.UnitRegistry:
    return pint.UnitRegistry()


def by_pint(unit: Unit, value: float) -> float:
    si = units.SI_UNITS[unit.dimension]
    quantity = registry().Quantity(value, PINT.get(unit.symbol, unit.symbol))
    return float(quantity.to(PINT_SI.get(si, si)).magnitude)


@pytest.mark.parametrize("unit", MEASURED, ids=lambda unit: unit.symbol)
def test_every_unit_agrees_with_pint(unit):
    tolerance = 1e-6 if unit.symbol in PINT_LOOSE else 1e-12
    for value in (0.0, 1.0, 37.5):
        assert unit.to_si(value) == pytest.approx(by_pint(unit, value), rel=tolerance, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "dimension", "expected"),
    [
        # NIST SP 811 (2008) appendix B.8 is quoted from memory; each figure also follows from exact definitions
        ("1 inHg", "pressure", 3386.389),  # NIST SP 811 (2008) appendix B.8, inch of mercury, conventional
        ("1 mmHg", "pressure", 133.3224),  # NIST SP 811 appendix B.8
        ("1 PS", "power", 735.49875),  # 75 kgf·m/s exactly: 75 × 9.80665
        ("1 hp", "power", 745.6998715822702),  # 550 ft·lbf/s exactly, NIST SP 811 appendix B.8: 745.6999
        ("1 psi", "pressure", 6894.757),  # NIST SP 811 appendix B.8
        ("1 kn", "speed", 0.5144444444),  # NIST SP 811 appendix B.8: one nautical mile, 1852 m, an hour
        ("212 °F", "temperature", 373.15),  # NIST SP 811 appendix B.8: K = (°F + 459.67)/1.8
        ("1 rpm", "angular_speed", 2 * math.pi / 60),
        ("2650 lb", "mass", 1202.0197805),  # 2650 × 0.45359237
    ],
)
def test_published_factors(text, dimension, expected):
    assert parse_quantity(text, dimension) == pytest.approx(expected, rel=2e-7)


@pytest.mark.parametrize("dimension", sorted(COUNTS))
def test_counted_things_are_one_each(dimension):
    (symbol,) = units_for(dimension)
    assert unit_of(symbol).to_si(3.0) == 3.0


@given(unit=st.sampled_from(TABLE), value=st.floats(-1e6, 1e6))
def test_there_and_back(unit, value):
    assert unit.from_si(unit.to_si(value)) == pytest.approx(value, rel=1e-9, abs=1e-7)


@pytest.mark.parametrize("unit", TABLE, ids=lambda unit: unit.symbol)
def test_more_of_a_unit_is_more(unit):
    assert unit.to_si(2.0) > unit.to_si(1.0)


def test_arrays_are_converted_element_by_element():
    found = unit_of("°F").to_si(np.array([32.0, 212.0]))
    assert found == pytest.approx([273.15, 373.15])


@pytest.mark.parametrize("unit", TABLE, ids=lambda unit: unit.symbol)
def test_every_symbol_finds_itself_with_and_without_its_dimension(unit):
    assert find_unit(unit.symbol) is unit
    assert find_unit(f" {unit.symbol} ", unit.dimension) is unit


def test_the_si_unit_of_every_dimension_has_factor_one():
    for dimension, symbol in units.SI_UNITS.items():
        if symbol in {unit.symbol for unit in TABLE}:
            assert (unit_of(symbol).factor, unit_of(symbol).offset) == (1.0, 0.0), dimension


@pytest.mark.parametrize(
    ("spelling", "dimension", "symbol"),
    [
        ("g", None, "g"),
        ("g", "acceleration", "gn"),  # logger headers write standard gravity so
        ("G", "acceleration", "gn"),
        ("g", "mass", "g"),
        ("lb", None, "lb"),
        ("lbs", "force", "lbf"),
        ("kn", None, "kn"),
        ("kN", None, "kN"),
        ("KN", "speed", "kn"),  # case lost: the dimension settles it
        ("KN", "force", "kN"),
        ("MPa", None, "MPa"),
        ("mV", None, "mV"),
        ("KPA", None, "kPa"),
        ("kpa", None, "kPa"),
        ("1/min", None, "rpm"),
        ("deg F", None, "°F"),
        ("℉", None, None),
        ("F", "temperature", "°F"),
        ("c", "temperature", "°C"),
        ("°", "angle", "deg"),
        ("in Hg", None, "inHg"),
        ("µs", None, "us"),
        ('"', "length", "in"),
        ("'", "length", "ft"),
    ],
)
def test_spellings(spelling, dimension, symbol):
    found = find_unit(spelling, dimension)
    assert (found.symbol if found else None) == symbol


@pytest.mark.parametrize("spelling", ["mPa", "MPA", "mpa"])
def test_mega_and_milli_are_not_guessed(spelling):
    assert find_unit(spelling) is None
    assert find_unit(spelling, "pressure") is None


@pytest.mark.parametrize("spelling", ["", "furlong", "psi/s", "kgg"])
def test_what_names_no_unit(spelling):
    assert find_unit(spelling) is None


@pytest.mark.parametrize(("spelling", "dimension"), [("psi", "length"), ("rpm", "frequency"), ("%", "angle")])
def test_a_unit_of_another_dimension_is_none(spelling, dimension):
    assert find_unit(spelling, dimension) is None


def test_an_unknown_symbol_is_a_key_error():
    with pytest.raises(KeyError, match="furlong"):
        unit_of("furlong")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2650 lb", (2650.0, "lb")),
        ("2650lb", (2650.0, "lb")),
        (" -.5e1  deg F ", (-5.0, "deg F")),
        ("7", (7.0, "")),
        ("+3.", (3.0, "")),
    ],
)
def test_numbers_and_units_are_taken_apart(text, expected):
    assert split_quantity(text) == expected


@pytest.mark.parametrize("text", ["", "lb", "two lb", "--3 lb", "nan lb", "inf lb"])
def test_what_does_not_start_with_a_number(text):
    with pytest.raises(ValueError, match="does not start with a number"):
        split_quantity(text)


def test_a_number_beyond_all_bounds():
    with pytest.raises(ValueError, match="'1e999 lb' is beyond any number"):
        parse_quantity("1e999 lb", "mass")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("2650", "'2650' has no unit; accepted units of mass: kg, g, lb"),
        ("2650 psi", "'2650 psi' has the unit 'psi'; accepted units of mass: kg, g, lb"),
        ("2,650 lb", "has the unit ',650 lb'"),
    ],
)
def test_errors_say_what_is_accepted(text, message):
    with pytest.raises(ValueError, match=message):
        parse_quantity(text, "mass")


@given(st.floats(-1e5, 1e5), st.sampled_from(MEASURED))
def test_what_is_written_is_read(value, unit):
    assert parse_quantity(f"{value!r} {unit.symbol}", unit.dimension) == pytest.approx(unit.to_si(value))
