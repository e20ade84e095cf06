"""Air as figures: what was typed made a state of the air, and everything that follows from it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from runlog.constants import FOOT, REFERENCE_NAME
from runlog.physics.atmosphere import (
    Air,
    altimeter_setting,
    density_altitude,
    humidity_ratio,
    pressure_altitude,
    station_pressure,
    vapour_pressure,
    virtual_temperature,
    wind_along,
)
from runlog.physics.humidity import dew_point, humidity_from_dew_point, humidity_from_wet_bulb, wet_bulb
from runlog.results import AirState
from runlog.workflows.air.of_run import pressure_warning
from runlog.workflows.run_content import air_part, rounded

if TYPE_CHECKING:
    from collections.abc import Callable

GRAINS_PER_POUND = 7000.0


@dataclass(frozen=True)
class Typed:
    """Air as typed: temperature [K], one of the three humidities, one of the two pressures [Pa], the rest if known."""

    temperature: float
    relative_humidity: float | None = None
    """0…1"""
    dew_point: float | None = None
    """[K]"""
    wet_bulb: float | None = None
    """[K]"""
    station_pressure: float | None = None
    altimeter_setting: float | None = None
    elevation: float | None = None
    """[m]"""
    wind_speed: float | None = None
    wind_from_deg: float | None = None
    heading_deg: float | None = None
    track_temperature: float | None = None


def typed_state(typed: Typed) -> AirState:
    """Return the air that was typed; ValueError for readings that can't be, or that say too little or too much."""
    pressure, source = typed.station_pressure, "station pressure"
    if pressure is None:
        if typed.altimeter_setting is None or typed.elevation is None:
            raise ValueError("a station pressure, or an altimeter setting and its elevation, is needed")
        pressure = float(station_pressure(typed.altimeter_setting, typed.elevation))
        source = "altimeter setting and elevation"
    humidity, told = _humidity(typed, pressure)
    wind = None
    if typed.wind_speed is not None and typed.wind_from_deg is not None and typed.heading_deg is not None:
        wind = float(wind_along(typed.wind_speed, typed.wind_from_deg, typed.heading_deg))
    elif typed.wind_speed == 0.0:
        wind = 0.0
    air = Air(typed.temperature, pressure, humidity)
    return AirState(
        temperature=typed.temperature,
        relative_humidity=humidity,
        station_pressure=pressure,
        density=float(air.density),
        density_ratio=float(air.density_ratio),
        density_altitude=float(density_altitude(air.density)),
        wind_along=wind,
        track_temperature=typed.track_temperature,
        source=f"{source}{told}",
    )


def _humidity(typed: Typed, pressure: float) -> tuple[float, str]:
    """Return the relative humidity, and how it was told where it wasn't directly."""
    ways: tuple[tuple[float | None, str, Callable[[float, float, float], Any]], ...] = (
        (typed.dew_point, "dew point", humidity_from_dew_point),
        (typed.wet_bulb, "wet bulb", humidity_from_wet_bulb),
    )
    given = [way for way in ways if way[0] is not None]
    if len(given) + (typed.relative_humidity is not None) != 1:
        raise ValueError("one of relative humidity, dew point and wet bulb is needed")
    if typed.relative_humidity is not None:
        return typed.relative_humidity, ""
    reading, name, humidity = given[0]
    return float(humidity(typed.temperature, pressure, reading or 0.0)), f", humidity from the {name}"


def plain_page(state: AirState, elevation: float | None) -> dict[str, Any]:
    """Return the air in the shape of ``air --json`` with nothing of a logbook beside it."""
    nothing: dict[str, Any] = dict.fromkeys(("track", "track_assumed", "day", "time", "series", "runs", "against"))
    nothing["track_assumed"] = False
    wrong = None if elevation is None else pressure_warning(state, elevation)
    return {**air_figures(state, elevation), **nothing, "warnings": [wrong] if wrong else []}


def air_figures(state: AirState, elevation: float | None) -> dict[str, Any]:
    """Return everything that follows from the readings, in the shape of ``air --json``."""
    readings = (state.temperature, state.station_pressure, state.relative_humidity)
    air = Air(*readings)
    ratio = float(humidity_ratio(*readings))
    setting = None if elevation is None else float(altimeter_setting(state.station_pressure, elevation))
    return {
        **(air_part(state) or {}),
        "dew_point_c": _celsius(float(dew_point(*readings))),
        "wet_bulb_c": _celsius(float(wet_bulb(*readings))),
        "vapour_pressure_hpa": rounded(float(vapour_pressure(*readings)) / 100, 3),
        "dry_air_pressure_hpa": rounded(float(air.dry_pressure) / 100, 2),
        "pressure_altitude_ft": rounded(float(pressure_altitude(state.station_pressure)) / FOOT, 1),
        "altimeter_setting_hpa": None if setting is None else rounded(setting / 100, 2),
        "elevation_m": rounded(elevation, 1),
        "virtual_temperature_c": _celsius(float(virtual_temperature(*readings))),
        "water_content_g_kg": rounded(ratio * 1000, 2),
        "water_content_gr_lb": rounded(ratio * GRAINS_PER_POUND, 1),
        "reference": REFERENCE_NAME,
    }


def _celsius(kelvin: float) -> float | None:
    return rounded(kelvin - 273.15, 2)
