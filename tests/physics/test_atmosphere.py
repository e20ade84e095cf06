"""Standard atmosphere, altitudes, pressures and wind."""

from __future__ import annotations

import re

import ambiance
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from runlog.physics.atmosphere import (
    AIR_GAS_CONSTANT,
    altimeter_setting,
    density_altitude,
    pressure_altitude,
    standard_atmosphere,
    station_pressure,
    wind_along,
    wrong_pressure_kind,
    wrong_setting_kind,
)

FOOT = 0.3048
INCH_OF_MERCURY = 3386.38866667
EARTH_RADIUS = 6356766.0  # ISO 2533


# ISO 2533:1975 tables 5 and 6 by geopotential altitude: m, K, hPa, kg/m³ (read in an open implementation's table)
ISO_2533 = [
    (-1000.0, 294.650, 1139.29, 1.34700),
    (0.0, 288.150, 1013.25, 1.22500),
    (500.0, 284.900, 954.608, 1.16727),
    (1000.0, 281.650, 898.746, 1.11164),
    (1500.0, 278.400, 845.560, 1.05807),
    (2000.0, 275.150, 794.952, 1.00649),
    (3000.0, 268.650, 701.085, 0.909122),
]


@pytest.mark.parametrize(("altitude", "temperature", "pressure", "density"), ISO_2533)
def test_standard_atmosphere_follows_the_table(
    altitude: float, temperature: float, pressure: float, density: float
) -> None:
    found = standard_atmosphere(altitude)
    assert found == pytest.approx((temperature, pressure * 100, density), rel=5e-6)


@pytest.mark.parametrize("geometric", [-1000.0, 0.0, 500.0, 1500.0, 3000.0, 10000.0])
def test_standard_atmosphere_agrees_with_an_independent_library(geometric: float) -> None:
    # ambiance 1.3.1 (ICAO Doc 7488/3); it goes by geometric altitude and holds constants to fewer digits
    oracle = ambiance.Atmosphere(geometric)
    geopotential = EARTH_RADIUS * geometric / (EARTH_RADIUS + geometric)
    temperature, pressure, density = standard_atmosphere(geopotential)
    assert temperature == pytest.approx(oracle.temperature[0], rel=1e-6)
    assert pressure == pytest.approx(oracle.pressure[0], rel=2e-6)
    assert density == pytest.approx(oracle.density[0], rel=2e-6)


def test_standard_atmosphere_takes_arrays() -> None:
    altitudes = np.array([row[0] for row in ISO_2533])
    assert standard_atmosphere(altitudes)[2] == pytest.approx([row[3] for row in ISO_2533], rel=5e-6)


@pytest.mark.parametrize("altitude", [-2000.1, 11000.1, float("nan")])
def test_standard_atmosphere_refuses_what_lies_outside_its_layer(altitude: float) -> None:
    with pytest.raises(ValueError, match="within -2000 and 11000 m"):
        standard_atmosphere(altitude)


# exact inverse of the ISO 2533 formulas, worked by hand: H = (288.15/0.0065)(1 − (ρ/1.225)^0.23496904)
@pytest.mark.parametrize(
    ("density", "altitude"),
    [(1.20, 214.258), (1.15, 653.233), (1.10, 1107.062), (1.05, 1576.957), (1.00, 2064.296), (0.90, 3097.818)],
)
def test_density_altitude_against_the_closed_form(density: float, altitude: float) -> None:
    assert density_altitude(density) == pytest.approx(altitude, abs=0.01)


def test_density_altitude_falls_with_density() -> None:
    assert np.all(np.diff(density_altitude(np.linspace(0.8, 1.35, 50))) < 0)


@given(st.floats(-2000, 11000))
def test_altitudes_invert_the_standard_atmosphere(altitude: float) -> None:
    _, pressure, density = standard_atmosphere(altitude)
    assert density_altitude(density) == pytest.approx(altitude, abs=1e-7)
    assert pressure_altitude(pressure) == pytest.approx(altitude, abs=1e-7)


# FAA-H-8083-25, pressure altitude against altimeter setting: 29.70 read in a figure's caption, the others from memory
@pytest.mark.parametrize(
    ("inches", "feet"), [(29.70, 205), (28.0, 1824), (29.0, 863), (30.5, -531), (31.0, -983), (29.92126, 0)]
)
def test_pressure_altitude_against_the_pilots_handbook(inches: float, feet: float) -> None:
    assert pressure_altitude(inches * INCH_OF_MERCURY) / FOOT == pytest.approx(feet, abs=1.0)


# US National Weather Service density-altitude sheet, its own formula worked by hand: virtual temperature K, station
# inHg, feet. Its rounded constants put the standard day at 17 ft, so it agrees with the exact inverse to about 17 ft.
@pytest.mark.parametrize(
    ("inches", "virtual_temperature", "feet", "exact"),
    [(29.92, 305.813, 2036.1, 2020.4), (29.92126, 288.15, 16.7, 0.0)],
)
def test_density_altitude_against_the_weather_service(
    inches: float, virtual_temperature: float, feet: float, exact: float
) -> None:
    found = density_altitude(inches * INCH_OF_MERCURY / (AIR_GAS_CONSTANT * virtual_temperature)) / FOOT
    assert found == pytest.approx(exact, abs=0.5)
    assert found == pytest.approx(feet, abs=17.0)


# pilots' rule DA = PA + 120 ft per °C above standard: an observer course page of the US Navy; an aviation magazine
@pytest.mark.parametrize(("altitude_feet", "celsius", "rule_feet"), [(520.0, 35.0, 2932.0), (6000.0, 13.0, 7200.0)])
def test_density_altitude_against_the_pilots_rule(altitude_feet: float, celsius: float, rule_feet: float) -> None:
    _, pressure, _ = standard_atmosphere(altitude_feet * FOOT)
    density = pressure / (AIR_GAS_CONSTANT * (celsius + 273.15))
    assert density_altitude(density) / FOOT == pytest.approx(rule_feet, abs=60.0)


# Smithsonian Meteorological Tables (1951) p. 269 adds 0.3 hPa and takes 288 K; second value: closed form in ISO 2533
@pytest.mark.parametrize(
    ("inches", "elevation", "smithsonian", "exact"), [(30.10, 1500.0, 851.00, 850.79), (29.80, 300.0, 974.02, 973.74)]
)
def test_station_pressure_from_altimeter_setting(
    inches: float, elevation: float, smithsonian: float, exact: float
) -> None:
    found = station_pressure(inches * INCH_OF_MERCURY, elevation) / 100
    assert found == pytest.approx(exact, abs=0.01)
    assert found == pytest.approx(smithsonian - 0.3, abs=0.15)


@given(st.floats(60000, 108000), st.floats(-400, 3500))
def test_altimeter_setting_inverts_station_pressure(pressure: float, elevation: float) -> None:
    assert station_pressure(altimeter_setting(pressure, elevation), elevation) == pytest.approx(pressure, rel=1e-12)


@given(st.floats(96000, 106000), st.floats(1, 3500))
def test_station_pressure_lies_below_the_setting_and_differs_by_the_elevation(setting: float, elevation: float) -> None:
    station = station_pressure(setting, elevation)
    assert station < setting
    # definition: the altimeter setting is what makes an altimeter at the station show its elevation
    assert pressure_altitude(station) - pressure_altitude(setting) == pytest.approx(elevation, abs=1e-6)


# by hand from the definition: wind is named by where it comes from; heading east is 90°
@pytest.mark.parametrize(
    ("wind_from", "heading", "along"),
    [(90.0, 90.0, -5.0), (270.0, 90.0, 5.0), (0.0, 90.0, 0.0), (330.0, 30.0, -2.5), (210.0, 350.0, 5 * 0.7660444431)],
)
def test_wind_along_the_track(wind_from: float, heading: float, along: float) -> None:
    assert wind_along(5.0, wind_from, heading) == pytest.approx(along, abs=1e-9)


@given(st.floats(0, 30), st.floats(0, 360), st.floats(0, 360))
def test_wind_along_reverses_with_the_direction_of_travel(speed: float, wind_from: float, heading: float) -> None:
    there, back = wind_along(speed, wind_from, heading), wind_along(speed, wind_from, heading + 180.0)
    assert there == pytest.approx(-back, abs=1e-9)
    assert abs(there) <= speed + 1e-12


# error of taking an altimeter setting for station pressure, 25 °C dry: 3.63 % at 300 m, 21.45 % at a mile; closed form
@pytest.mark.parametrize(("elevation", "percent"), [(300.0, 3.63), (1609.344, 21.45)])
def test_altimeter_setting_given_as_station_pressure_is_noticed(elevation: float, percent: float) -> None:
    warning = wrong_pressure_kind(101325.0, elevation)
    assert warning is not None
    assert "looks like an altimeter setting" in warning
    stated = re.search(r"taken as ([\d.]+) % too dense", warning)
    assert stated is not None
    assert float(stated[1]) == pytest.approx(percent, abs=0.06)


@pytest.mark.parametrize("elevation", [200.0, 500.0, 1000.0, 2000.0])
@pytest.mark.parametrize("setting", [99000.0, 101325.0, 103500.0])
def test_a_true_station_pressure_raises_no_warning(setting: float, elevation: float) -> None:
    assert wrong_pressure_kind(station_pressure(setting, elevation), elevation) is None


@pytest.mark.parametrize("elevation", [-50.0, 0.0, 100.0, 150.0])
def test_low_tracks_are_left_alone(elevation: float) -> None:
    assert wrong_pressure_kind(103000.0, elevation) is None


@given(st.floats(98000, 104000), st.floats(520, 3000))
def test_every_usual_setting_is_noticed_on_a_high_track(setting: float, elevation: float) -> None:
    assert wrong_pressure_kind(setting, elevation) is not None


@given(st.floats(98001, 103999), st.floats(700, 3000))
def test_every_station_pressure_given_as_a_setting_is_noticed_on_a_high_track(setting: float, elevation: float) -> None:
    assert wrong_setting_kind(station_pressure(setting, elevation), elevation) is not None


def test_station_pressure_given_as_a_setting_says_by_how_much() -> None:
    """ISO 2533 table: 954.608 hPa at 500 m, which taken for a setting is brought down to the 898.746 hPa of 1000 m."""
    warning = wrong_setting_kind(95460.8, 500.0)
    assert warning is not None
    assert "whose setting would be 1013.2 hPa" in warning
    stated = re.search(r"taken as ([\d.]+) % too thin", warning)
    assert stated is not None
    assert float(stated[1]) == pytest.approx(100 * (1 - 898.746 / 954.608), abs=0.06)


@given(st.floats(98000, 104000), st.floats(-50, 3000))
def test_an_ordinary_setting_raises_no_warning(setting: float, elevation: float) -> None:
    assert wrong_setting_kind(setting, elevation) is None
