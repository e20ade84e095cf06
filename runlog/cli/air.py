"""``runlog air``."""

from __future__ import annotations

from typing import Annotated

import typer

from runlog.cli.common import JsonOption, new_command, print_json, quantity
from runlog.errors import UsageError


def _option(name: str, metavar: str, text: str) -> typer.models.OptionInfo:
    option: typer.models.OptionInfo = typer.Option(name, metavar=metavar, help=text, show_default=False)
    return option


@new_command(
    "Work out density, density ratio and density altitude. Give the station pressure, or an altimeter setting with "
    "the elevation: they are two different things.",
    "runlog air --temperature 90F --humidity 60 --pressure 29.40inHg",
)
def app(
    temperature: Annotated[str, _option("--temperature", "TEMP", "Such as 90F or 32C.")],
    humidity: Annotated[float, _option("--humidity", "PCT", "Relative humidity in per cent.")],
    pressure: Annotated[str | None, _option("--pressure", "PRESSURE", "Station pressure, such as 29.40inHg.")] = None,
    altimeter: Annotated[str | None, _option("--altimeter", "PRESSURE", "Altimeter setting.")] = None,
    elevation: Annotated[str | None, _option("--elevation", "LENGTH", "Of the station, such as 640m.")] = None,
    wind: Annotated[str | None, _option("--wind", "SPEED", "Wind speed, such as 8mph.")] = None,
    wind_from: Annotated[float | None, _option("--wind-from", "DEG", "Where the wind comes from.")] = None,
    heading: Annotated[float | None, _option("--heading", "DEG", "Direction of travel on the track.")] = None,
    track_temperature: Annotated[str | None, _option("--track-temperature", "TEMP", "Of the surface.")] = None,
    as_json: JsonOption = False,
) -> None:
    """Work out the air."""
    from runlog.workflows.air_page import Typed, air_page

    if (pressure is None) == (altimeter is None):
        raise UsageError("give either --pressure (station pressure) or --altimeter with --elevation")
    if altimeter is not None and elevation is None:
        raise UsageError("--altimeter needs --elevation: without it the station pressure isn't known")
    if not 0 <= humidity <= 100:
        raise UsageError(f"--humidity: {humidity:g} is outside 0 to 100 per cent")
    typed = Typed(
        temperature=quantity(temperature, "temperature", "--temperature") or 0.0,
        relative_humidity=humidity / 100,
        station_pressure=quantity(pressure, "pressure", "--pressure"),
        altimeter_setting=quantity(altimeter, "pressure", "--altimeter"),
        elevation=quantity(elevation, "length", "--elevation"),
        wind_speed=quantity(wind, "speed", "--wind"),
        wind_from_deg=wind_from,
        heading_deg=heading,
        track_temperature=quantity(track_temperature, "temperature", "--track-temperature"),
    )
    try:
        page = air_page(typed)
    except ValueError as error:
        raise UsageError(str(error)) from None
    if as_json:
        print_json(page)
    else:
        from runlog.reports.air import print_air

        print_air(page)
