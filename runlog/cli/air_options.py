"""The options that say an air, the same in every command that takes one."""

from __future__ import annotations

from typing import Annotated

from runlog.cli.common import option, quantity
from runlog.errors import UsageError

TemperatureOption = Annotated[str | None, option("--temperature", "TEMP", "Such as 90F or 32C.")]
HumidityOption = Annotated[float | None, option("--humidity", "PCT", "Relative humidity in per cent.")]
PressureOption = Annotated[str | None, option("--pressure", "PRESSURE", "Station pressure, such as 29.40inHg.")]
AltimeterOption = Annotated[str | None, option("--altimeter", "PRESSURE", "Altimeter setting.")]
ElevationOption = Annotated[str | None, option("--elevation", "LENGTH", "Of the station, such as 640m.")]
WindOption = Annotated[str | None, option("--wind", "SPEED", "Wind speed, such as 8mph.")]
WindFromOption = Annotated[float | None, option("--wind-from", "DEG", "Where the wind comes from.")]
HeadingOption = Annotated[float | None, option("--heading", "DEG", "Direction of travel on the track.")]
TrackTemperatureOption = Annotated[str | None, option("--track-temperature", "TEMP", "Of the surface.")]

_DIMENSIONS = {
    "temperature": "temperature",
    "pressure": "pressure",
    "altimeter": "pressure",
    "elevation": "length",
    "wind": "speed",
    "tailwind": "speed",
    "track_temperature": "temperature",
}


def in_si(**said: str | None) -> dict[str, float | None]:
    """Return what was typed in SI, by the name of its option without dashes; ``UsageError`` that names the option."""
    return {name: quantity(text, _DIMENSIONS[name], f"--{name.replace('_', '-')}") for name, text in said.items()}


def share(humidity: float | None) -> float | None:
    """Return the relative humidity 0…1; ``UsageError`` outside 0 to 100 per cent."""
    if humidity is not None and not 0 <= humidity <= 100:
        raise UsageError(f"--humidity: {humidity:g} is outside 0 to 100 per cent")
    return None if humidity is None else humidity / 100


def readings(
    *,
    temperature: str | None,
    humidity: float | None,
    pressure: str | None,
    altimeter: str | None,
    elevation: str | None,
    wind: str | None,
    wind_from: float | None,
    heading: float | None,
    track_temperature: str | None,
) -> dict[str, float | None]:
    """Return what the options said, in SI and by the names that ``Typed`` and ``SaidAir`` have for it."""
    said = in_si(
        temperature=temperature,
        pressure=pressure,
        altimeter=altimeter,
        elevation=elevation,
        wind=wind,
        track_temperature=track_temperature,
    )
    return {
        "temperature": said["temperature"],
        "relative_humidity": share(humidity),
        "station_pressure": said["pressure"],
        "altimeter_setting": said["altimeter"],
        "elevation": said["elevation"],
        "wind_speed": said["wind"],
        "wind_from_deg": wind_from,
        "heading_deg": heading,
        "track_temperature": said["track_temperature"],
    }


EITHER_PRESSURE = "give either --pressure (station pressure) or --altimeter with --elevation"
