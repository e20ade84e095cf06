"""Dew point and wet bulb against the handbook's worked example, an independent library and round trips."""

from __future__ import annotations

import numpy as np
import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from runlog.physics.atmosphere import humidity_ratio
from runlog.physics.humidity import dew_point, humidity_from_dew_point, humidity_from_wet_bulb, wet_bulb

psychrolib.SetUnitSystem(psychrolib.SI)
ZERO = 273.15

# °C, humidity, Pa, dew point [°C] by PsychroLib 2.5.0 and by CoolProp 8.0.0's real-gas humid air
DEW_POINTS = [
    (20.0, 0.5, 101325.0, 9.272, 9.274),
    (25.0, 0.5, 101325.0, 13.864, 13.867),
    (30.0, 0.7, 101325.0, 23.928, 23.931),
    (35.0, 0.3, 101325.0, 14.844, 14.851),
    (10.0, 0.9, 101325.0, 8.437, 8.437),
    (30.0, 0.5, 84556.0, 18.447, 18.451),
]

temperatures = st.floats(274.15, 318.15)
pressures = st.floats(75000, 105000)


@pytest.mark.parametrize(("celsius", "humidity", "pressure", "ideal", "real_gas"), DEW_POINTS)
def test_dew_point(celsius: float, humidity: float, pressure: float, ideal: float, real_gas: float) -> None:
    found = dew_point(celsius + ZERO, pressure, humidity) - ZERO
    assert found == pytest.approx(ideal, abs=0.01)
    assert found == pytest.approx(real_gas, abs=0.005)


def test_worked_example_of_the_handbook() -> None:
    """ASHRAE Handbook—Fundamentals 2017 ch. 1 example 1, read off a chart: 40 °C dry, 20 °C wet, 101.325 kPa."""
    humidity = humidity_from_wet_bulb(40 + ZERO, 101325.0, 20 + ZERO)
    assert humidity == pytest.approx(0.14, abs=0.01)
    assert humidity_ratio(40 + ZERO, 101325.0, humidity) == pytest.approx(0.0065, abs=1e-4)
    assert dew_point(40 + ZERO, 101325.0, humidity) - ZERO == pytest.approx(7.0, abs=0.6)


@given(temperatures, pressures, st.floats(0.05, 1.0))
def test_wet_bulb_against_an_independent_library(temperature: float, pressure: float, humidity: float) -> None:
    """PsychroLib 2.5.0 solves the same balance of the handbook with its own saturation pressure, to 0.001 K."""
    oracle = psychrolib.GetTWetBulbFromRelHum(temperature - ZERO, humidity, pressure)
    found = wet_bulb(temperature, pressure, humidity)
    if oracle > 0.05:
        assert found - ZERO == pytest.approx(oracle, abs=0.06)
    if oracle < -1.5:  # the library takes ice there, which holds a wick up to 1 K colder than water does
        assert np.isnan(found)


@given(temperatures, pressures, st.floats(0.02, 1.0))
def test_there_and_back(temperature: float, pressure: float, humidity: float) -> None:
    point = dew_point(temperature, pressure, humidity)
    assert humidity_from_dew_point(temperature, pressure, point) == pytest.approx(humidity, rel=1e-9)
    wick = wet_bulb(temperature, pressure, humidity)
    if not np.isnan(wick):
        assert humidity_from_wet_bulb(temperature, pressure, wick) == pytest.approx(humidity, rel=1e-6, abs=1e-9)
        assert point <= wick + 1e-6
        assert wick <= temperature + 1e-9


@given(temperatures, pressures)
def test_saturated_air_has_all_three_alike(temperature: float, pressure: float) -> None:
    assert dew_point(temperature, pressure, 1.0) == pytest.approx(temperature, abs=1e-6)
    assert wet_bulb(temperature, pressure, 1.0) == pytest.approx(temperature, abs=1e-6)


@pytest.mark.parametrize("celsius", [-20.0, -10.0, -5.0])
def test_dew_point_below_freezing_is_over_water(celsius: float) -> None:
    """Saturation pressure over water by WMO-No. 8 annex 4.B (from memory), valid from −45 °C, in air of 5 °C."""

    def magnus(t: float) -> float:
        return float(np.exp(17.62 * t / (243.12 + t)))

    found = humidity_from_dew_point(5 + ZERO, 1e5, celsius + ZERO)
    assert found == pytest.approx(magnus(celsius) / magnus(5.0), rel=0.01)


def test_more_water_raises_both() -> None:
    humidity = np.linspace(0.2, 1.0, 9)
    assert np.all(np.diff(dew_point(303.15, 1e5, humidity)) > 0)
    assert np.all(np.diff(wet_bulb(303.15, 1e5, humidity)) > 0)
    assert np.isnan(dew_point(303.15, 1e5, 0.0))


def test_readings_that_cant_be() -> None:
    with pytest.raises(ValueError, match=r"dew point of 25\.0 °C above the air's 20\.0 °C can't be"):
        humidity_from_dew_point(293.15, 1e5, 298.15)
    with pytest.raises(ValueError, match=r"wet bulb of 21\.0 °C above the air's 20\.0 °C can't be"):
        humidity_from_wet_bulb(293.15, 1e5, 294.15)
    with pytest.raises(ValueError, match=r"wet bulb of 5\.0 °C in air of 40\.0 °C can't be: even dry air"):
        humidity_from_wet_bulb(313.15, 1e5, 278.15)
    with pytest.raises(ValueError, match="below freezing, where water and ice on the wick read differently"):
        humidity_from_wet_bulb(278.15, 1e5, 272.15)
    assert humidity_from_dew_point(293.15, 1e5, 293.18) == 1.0  # the rounding of an instrument
