"""Moist air: vapour pressure, density, humidity, and the state of the air."""

from __future__ import annotations

import numpy as np
import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from runlog.constants import REFERENCE_NAME
from runlog.physics.atmosphere import (
    STANDARD_AIR,
    Air,
    dry_air_pressure,
    humidity_ratio,
    moist_air_density,
    saturation_vapour_pressure,
    vapour_pressure,
    virtual_temperature,
)

psychrolib.SetUnitSystem(psychrolib.SI)

# celsius, Pa, humidity, density. First value: CIPM-2007 formula worked independently from the published coefficients;
# second: real-gas humid air, CoolProp 8.0.0. No published worked value of CIPM-2007 could be found.
DENSITIES = [
    (20.0, 101325.0, 0.0, 1.204557, 1.204603),
    (20.0, 101325.0, 0.5, 1.199314, 1.199359),
    (20.0, 100000.0, 0.5, 1.183557, 1.183601),
    (30.0, 101325.0, 0.6, 1.153677, 1.153722),
    (35.0, 95000.0, 0.4, 1.064629, 1.064668),
    (10.0, 85000.0, 0.8, 1.041646, 1.041681),
]

air_states = st.tuples(st.floats(263.15, 318.15), st.floats(75000, 105000), st.floats(0, 1))


@pytest.mark.parametrize(("celsius", "pressure", "humidity", "cipm", "real_gas"), DENSITIES)
def test_density_of_moist_air(celsius: float, pressure: float, humidity: float, cipm: float, real_gas: float) -> None:
    density = moist_air_density(celsius + 273.15, pressure, humidity)
    assert density == pytest.approx(cipm, rel=2e-6)
    assert density == pytest.approx(real_gas, rel=6e-5)


@pytest.mark.parametrize(("celsius", "pressure", "humidity", "_cipm", "_real_gas"), DENSITIES)
def test_density_against_ideal_gas_psychrometrics(
    celsius: float, pressure: float, humidity: float, _cipm: float, _real_gas: float
) -> None:
    # PsychroLib 2.5.0 (ASHRAE Handbook—Fundamentals 2017, ideal gas); its volume is per kg of dry air
    ratio = psychrolib.GetHumRatioFromRelHum(celsius, humidity, pressure)
    oracle = psychrolib.GetMoistAirDensity(celsius, ratio, pressure)
    assert moist_air_density(celsius + 273.15, pressure, humidity) == pytest.approx(oracle, rel=5e-4)


def test_density_against_the_simplified_formula_for_weighing() -> None:
    # OIML R 111-1:2004 annex E.3 (from memory), stated good to 2e-4: p hPa, h %, t °C
    t, p, h = 22.0, 1000.0, 45.0
    oracle = (0.34848 * p - 0.009 * h * np.exp(0.061 * t)) / (273.15 + t)
    assert moist_air_density(t + 273.15, p * 100, h / 100) == pytest.approx(oracle, rel=2e-4)


# IAPWS-95 by CoolProp 8.0.0; ASHRAE Handbook—Fundamentals 2017 ch. 1 table 3 for 5, 25 and 50 °C
@pytest.mark.parametrize(
    ("celsius", "pascal"),
    [
        (10, 1228.20),
        (20, 2339.32),
        (25, 3169.93),
        (30, 4246.97),
        (40, 7384.94),
        (5, 872.6),
        (25, 3169.7),
        (50, 12351.3),
    ],
)
def test_saturation_pressure(celsius: float, pascal: float) -> None:
    assert saturation_vapour_pressure(celsius + 273.15) == pytest.approx(pascal, rel=7e-4)


def test_vapour_pressure_carries_the_enhancement_factor() -> None:
    # CIPM-2007 intermediates at 20 °C, 101325 Pa, half saturated, worked independently: p_sv 2339.163, f 1.004026
    assert saturation_vapour_pressure(293.15) == pytest.approx(2339.163, abs=0.001)
    assert vapour_pressure(293.15, 101325.0, 0.5) == pytest.approx(0.5 * 1.004026 * 2339.163, rel=1e-6)


# real-gas humid air, CoolProp 8.0.0: humidity ratio, vapour pressure (its value contains the enhancement factor)
@pytest.mark.parametrize(
    ("celsius", "pressure", "humidity", "ratio", "vapour"),
    [
        (20.0, 101325.0, 0.5, 0.007294, 1174.49),
        (30.0, 101325.0, 0.7, 0.018884, 2985.86),
        (35.0, 101325.0, 0.3, 0.010590, 1696.38),
        (10.0, 101325.0, 0.9, 0.006888, 1109.86),
        (30.0, 84556.0, 0.5, 0.016085, 2131.75),
    ],
)
def test_humidity(celsius: float, pressure: float, humidity: float, ratio: float, vapour: float) -> None:
    kelvin = celsius + 273.15
    assert vapour_pressure(kelvin, pressure, humidity) == pytest.approx(vapour, rel=4e-4)
    assert humidity_ratio(kelvin, pressure, humidity) == pytest.approx(ratio, rel=4e-4)
    # PsychroLib leaves the enhancement factor out, which is 0.4 to 0.5 %
    assert humidity_ratio(kelvin, pressure, humidity) == pytest.approx(
        psychrolib.GetHumRatioFromRelHum(celsius, humidity, pressure), rel=6e-3
    )


# ASHRAE Handbook—Fundamentals 2017 ch. 1 table 2, saturated air at 101325 Pa
@pytest.mark.parametrize(("celsius", "ratio"), [(5.0, 0.005425), (25.0, 0.020173), (50.0, 0.086863)])
def test_saturation_humidity_ratio(celsius: float, ratio: float) -> None:
    assert humidity_ratio(celsius + 273.15, 101325.0, 1.0) == pytest.approx(ratio, rel=1.5e-3)


# T/(1 − (e/p)(1 − 0.622)) worked by hand; MetPy 1.7.1 gives 294.432, 306.540, 310.097
@pytest.mark.parametrize(
    ("celsius", "humidity", "kelvin"), [(20.0, 0.5, 294.435), (30.0, 0.7, 306.550), (35.0, 0.3, 310.103)]
)
def test_virtual_temperature(celsius: float, humidity: float, kelvin: float) -> None:
    assert virtual_temperature(celsius + 273.15, 101325.0, humidity) == pytest.approx(kelvin, abs=0.02)


@given(air_states)
def test_moist_air_is_lighter_and_leaves_less_dry_air(state: tuple[float, float, float]) -> None:
    temperature, pressure, humidity = state
    humidity, damp = 0.9 * humidity, 0.9 * humidity + 0.1
    assert moist_air_density(temperature, pressure, damp) < moist_air_density(temperature, pressure, humidity)
    assert dry_air_pressure(temperature, pressure, damp) < dry_air_pressure(temperature, pressure, humidity)


@given(air_states)
def test_warm_or_thin_air_is_less_dense(state: tuple[float, float, float]) -> None:
    temperature, pressure, humidity = state
    density = moist_air_density(temperature, pressure, humidity)
    assert moist_air_density(temperature + 1, pressure, humidity) < density
    assert moist_air_density(temperature, pressure - 100, humidity) < density


def test_standard_air_is_the_iso_2533_sea_level() -> None:
    # 1.225 kg/m³ in ISO 2533, for which air is an ideal gas; CIPM-2007 counts that it is not: 4e-4 more
    assert STANDARD_AIR.density == pytest.approx(1.225, rel=5e-4)
    assert STANDARD_AIR.density > 1.225
    assert STANDARD_AIR.dry_pressure == 101325.0
    assert STANDARD_AIR.density_ratio == 1.0
    assert "15 °C" in REFERENCE_NAME
    assert STANDARD_AIR.temperature - 273.15 == 15.0


def test_air_takes_arrays_and_carries_missing_readings_through() -> None:
    air = Air(np.array([293.15, 303.15, np.nan]), 101325.0, np.array([0.5, 0.6, 0.5]))
    # CIPM-2007 values as above
    assert air.density == pytest.approx([1.199314, 1.153677, np.nan], rel=2e-6, nan_ok=True)


@pytest.mark.parametrize(
    ("reading", "match"),
    [
        ((25.0, 101325.0, 0.5), "temperature must lie within 223.15 and 333.15 K, got 25.0"),
        ((298.0, 1013.25, 0.5), "pressure must lie within 50000 and 110000 Pa, got 1013.25"),
        ((298.0, 101325.0, 50.0), "relative humidity must lie within 0 and 1, got 50.0"),
        ((298.0, np.array([101325.0, 29.92]), 0.5), "pressure must lie within"),
    ],
)
def test_air_refuses_a_reading_in_the_wrong_unit(reading: tuple[float, float, float], match: str) -> None:
    with pytest.raises(ValueError, match=match):
        Air(*reading)
