"""The air functions on the hourly records of a public weather station, where such a file lies beside the checkout."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from runlog.physics.atmosphere import (
    altimeter_setting,
    moist_air_density,
    pressure_altitude,
    saturation_vapour_pressure,
    station_pressure,
    wrong_pressure_kind,
)

RECORDS = Path(__file__).parents[2] / ".." / "shared" / "realdata" / "station_hourly_us_units.csv"
INCH_OF_MERCURY = 3386.38866667
FIELD_ELEVATION = 312.7  # [m] of the station's airfield, 1026 ft, from memory
COLUMNS = (
    "HourlyAltimeterSetting",
    "HourlyStationPressure",
    "HourlyDryBulbTemperature",
    "HourlyDewPointTemperature",
    "HourlyRelativeHumidity",
)

pytestmark = pytest.mark.skipif(not RECORDS.exists(), reason="no weather records beside the checkout")


@pytest.fixture(scope="module")
def hours() -> dict[str, np.ndarray]:
    """Local Climatological Data (NOAA): routine hourly reports with every figure present and unmarked."""
    rows = []
    with RECORDS.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            try:
                rows.append([float(row[column]) for column in COLUMNS])
            except ValueError:
                continue
    table = np.array(rows)
    assert len(table) > 20
    return dict(zip(COLUMNS, table.T, strict=True))


def kelvin(fahrenheit: np.ndarray) -> np.ndarray:
    return (fahrenheit + 459.67) / 1.8


def test_altimeter_settings_follow_from_the_station_pressures(hours: dict[str, np.ndarray]) -> None:
    station, published = (hours[name] * INCH_OF_MERCURY for name in ("HourlyStationPressure", "HourlyAltimeterSetting"))
    # both are rounded to 0.01 inHg, and the service's formula adds up to 0.3 hPa
    found = altimeter_setting(station, FIELD_ELEVATION)
    assert np.abs(found - published).max() < 0.01 * INCH_OF_MERCURY + 30
    assert np.abs(station_pressure(published, FIELD_ELEVATION) - station).max() < 0.01 * INCH_OF_MERCURY + 30
    assert np.median(pressure_altitude(station) - pressure_altitude(published)) == pytest.approx(FIELD_ELEVATION, abs=3)


def test_a_published_altimeter_setting_is_not_taken_for_station_pressure(hours: dict[str, np.ndarray]) -> None:
    station, published = (hours[name] * INCH_OF_MERCURY for name in ("HourlyStationPressure", "HourlyAltimeterSetting"))
    assert all(wrong_pressure_kind(float(pressure), FIELD_ELEVATION) is None for pressure in station)
    # at 313 m every setting above about 1003 hPa can be told
    high = published[published > 100400.0]
    assert high.size > 20
    assert all(wrong_pressure_kind(float(pressure), FIELD_ELEVATION) is not None for pressure in high)


def test_humidity_agrees_with_the_dew_point(hours: dict[str, np.ndarray]) -> None:
    # definition: vapour pressure is the saturation pressure at the dew point; whole °F and whole % blur it to ±6 %
    temperature, dew_point = (kelvin(hours[f"Hourly{name}Temperature"]) for name in ("DryBulb", "DewPoint"))
    vapour = hours["HourlyRelativeHumidity"] / 100 * saturation_vapour_pressure(temperature)
    ratio = vapour / saturation_vapour_pressure(dew_point)
    assert np.abs(ratio - 1).max() < 0.07
    assert np.median(ratio) == pytest.approx(1.0, abs=0.01)


def test_density_stays_where_the_ideal_gas_law_puts_it(hours: dict[str, np.ndarray]) -> None:
    # dry air and vapour as ideal gases (287.05 and 461.5 J/(kg K)) lie 2e-4 to 4e-4 below CIPM-2007
    temperature, pressure = kelvin(hours["HourlyDryBulbTemperature"]), hours["HourlyStationPressure"] * INCH_OF_MERCURY
    humidity = hours["HourlyRelativeHumidity"] / 100
    vapour = humidity * saturation_vapour_pressure(temperature)
    ideal = (pressure - vapour) / (287.05 * temperature) + vapour / (461.5 * temperature)
    assert moist_air_density(temperature, pressure, humidity) == pytest.approx(ideal, rel=8e-4)
