"""``runlog air``."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from runlog.cli.common import CarOption, JsonOption, LogbookOption, logbook, new_command, print_json, quantity
from runlog.errors import UsageError

if TYPE_CHECKING:
    import datetime as dt

    from runlog.workflows.air.figures import Typed


def _option(name: str, metavar: str, text: str) -> typer.models.OptionInfo:
    option: typer.models.OptionInfo = typer.Option(name, metavar=metavar, help=text, show_default=False)
    return option


@new_command(
    "Work out density, density altitude and what else follows from readings: temperature, one of humidity, dew point "
    "and wet bulb, and the station pressure or an altimeter setting with the elevation (two different things). Without "
    "readings the newest in the logbook is taken and its day is plotted. With --car: how far it is from the air of the "
    "car's last run, and what that is worth.",
    "runlog air --temperature 90F --humidity 60 --pressure 29.40inHg --car heron",
)
def app(
    temperature: Annotated[str | None, _option("--temperature", "TEMP", "Such as 90F or 32C.")] = None,
    humidity: Annotated[float | None, _option("--humidity", "PCT", "Relative humidity in per cent.")] = None,
    dew_point: Annotated[str | None, _option("--dew-point", "TEMP", "Instead of --humidity.")] = None,
    wet_bulb: Annotated[str | None, _option("--wet-bulb", "TEMP", "Instead of --humidity.")] = None,
    pressure: Annotated[str | None, _option("--pressure", "PRESSURE", "Station pressure, such as 29.40inHg.")] = None,
    altimeter: Annotated[str | None, _option("--altimeter", "PRESSURE", "Altimeter setting.")] = None,
    elevation: Annotated[str | None, _option("--elevation", "LENGTH", "Of the station, such as 640m.")] = None,
    wind: Annotated[str | None, _option("--wind", "SPEED", "Wind speed, such as 8mph.")] = None,
    wind_from: Annotated[float | None, _option("--wind-from", "DEG", "Where the wind comes from.")] = None,
    heading: Annotated[float | None, _option("--heading", "DEG", "Direction of travel on the track.")] = None,
    track_temperature: Annotated[str | None, _option("--track-temperature", "TEMP", "Of the surface.")] = None,
    car: CarOption = None,
    track: Annotated[str | None, _option("--track", "TRACK", "For its elevation and heading.")] = None,
    day: Annotated[str | None, _option("--day", "DATE", "Plot this day's readings.")] = None,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Work out the air."""
    readings = {
        "temperature": quantity(temperature, "temperature", "--temperature"),
        "relative_humidity": _share(humidity),
        "dew_point": quantity(dew_point, "temperature", "--dew-point"),
        "wet_bulb": quantity(wet_bulb, "temperature", "--wet-bulb"),
        "station_pressure": quantity(pressure, "pressure", "--pressure"),
        "altimeter_setting": quantity(altimeter, "pressure", "--altimeter"),
        "wind_speed": quantity(wind, "speed", "--wind"),
        "wind_from_deg": wind_from,
        "track_temperature": quantity(track_temperature, "temperature", "--track-temperature"),
    }
    typed = None
    if any(value is not None for value in readings.values()):
        where = {"elevation": quantity(elevation, "length", "--elevation"), "heading_deg": heading}
        _complete(readings, where["elevation"] is not None or track is not None)
        typed = _typed({**readings, **where})
    elif elevation is not None or heading is not None:
        raise UsageError("--elevation and --heading go with readings that are typed: give --temperature and the others")
    page = _page(typed, car, track, _date(day), book)
    if as_json:
        print_json(page)
    else:
        from runlog.reports.air import print_air

        print_air(page)


def _share(humidity: float | None) -> float | None:
    if humidity is not None and not 0 <= humidity <= 100:
        raise UsageError(f"--humidity: {humidity:g} is outside 0 to 100 per cent")
    return None if humidity is None else humidity / 100


def _complete(readings: dict[str, Any], elevation_known: bool) -> None:
    """Refuse readings that say too little or too much."""
    if readings["temperature"] is None:
        raise UsageError("--temperature is needed with the other readings")
    humidities = ("relative_humidity", "dew_point", "wet_bulb")
    if sum(readings[name] is not None for name in humidities) != 1:
        raise UsageError("give exactly one of --humidity, --dew-point and --wet-bulb")
    if (readings["station_pressure"] is None) == (readings["altimeter_setting"] is None):
        raise UsageError("give either --pressure (station pressure) or --altimeter with --elevation")
    if readings["altimeter_setting"] is not None and not elevation_known:
        raise UsageError("--altimeter needs --elevation (or --track): without it the station pressure isn't known")


def _typed(values: dict[str, Any]) -> Typed:
    from runlog.workflows.air.figures import Typed

    return Typed(**values)


def _date(text: str | None) -> dt.date | None:
    if text is None:
        return None
    from runlog.readers.keys import parse_date

    date = parse_date(text)
    if date is None:
        raise UsageError(f"--day: {text!r} is not a day; accepted: a date such as 2031-04-12")
    return date


def _page(typed: Typed | None, car: str | None, track: str | None, day: dt.date | None, book: Any) -> dict[str, Any]:
    try:
        if typed is not None and car is None and track is None and day is None:
            from runlog.workflows.air.figures import plain_page, typed_state

            return plain_page(typed_state(typed), typed.elevation)
        from runlog.workflows.air.page import Asked, air_page

        with logbook(book) as opened:
            return air_page(Asked(typed, car, day, track.lower() if track else None), opened)
    except ValueError as error:
        raise UsageError(str(error)) from None
