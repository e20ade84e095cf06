"""The air from figures typed in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from runlog.constants import FOOT, REFERENCE_NAME
from runlog.physics.atmosphere import (
    Air,
    density_altitude,
    humidity_ratio,
    pressure_altitude,
    station_pressure,
    wind_along,
    wrong_pressure_kind,
)
from runlog.results import AirState
from runlog.workflows.run_content import air_part, rounded


@dataclass(frozen=True)
class Typed:
    """Air as typed: temperature [K], humidity 0…1, one of the two pressures [Pa], the rest where known."""

    temperature: float
    relative_humidity: float
    station_pressure: float | None = None
    altimeter_setting: float | None = None
    elevation: float | None = None
    """[m]"""
    wind_speed: float | None = None
    wind_from_deg: float | None = None
    heading_deg: float | None = None
    track_temperature: float | None = None


def air_page(typed: Typed) -> dict[str, Any]:
    """Return the air in the shape of ``air --json``.

    With an elevation and a station pressure, a reading that looks like an altimeter setting gets a warning. The caller
    has made sure that exactly one pressure is given, an altimeter setting together with its elevation.
    """
    pressure, source = typed.station_pressure, "station pressure"
    warnings = []
    if pressure is None:
        if typed.altimeter_setting is None or typed.elevation is None:
            raise ValueError("a station pressure, or an altimeter setting and its elevation, is needed")
        pressure = float(station_pressure(typed.altimeter_setting, typed.elevation))
        source = "altimeter setting and elevation"
    elif typed.elevation is not None:
        wrong = wrong_pressure_kind(pressure, typed.elevation)
        warnings += [wrong] if wrong else []
    air = Air(typed.temperature, pressure, typed.relative_humidity)
    wind = None
    if typed.wind_speed is not None and typed.wind_from_deg is not None and typed.heading_deg is not None:
        wind = float(wind_along(typed.wind_speed, typed.wind_from_deg, typed.heading_deg))
    state = AirState(
        temperature=typed.temperature,
        relative_humidity=typed.relative_humidity,
        station_pressure=pressure,
        density=float(air.density),
        density_ratio=float(air.density_ratio),
        density_altitude=float(density_altitude(air.density)),
        wind_along=wind,
        track_temperature=typed.track_temperature,
        source=source,
    )
    ratio = float(humidity_ratio(typed.temperature, pressure, typed.relative_humidity))
    return {
        **(air_part(state) or {}),
        "dry_air_pressure_hpa": rounded(float(air.dry_pressure) / 100, 2),
        "pressure_altitude_ft": rounded(float(pressure_altitude(pressure)) / FOOT, 1),
        "water_content_g_kg": rounded(ratio * 1000, 2),
        "reference": REFERENCE_NAME,
        "warnings": warnings,
    }
