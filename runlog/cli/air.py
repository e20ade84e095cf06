"""``runlog air``."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

from runlog.cli.air_options import (
    EITHER_PRESSURE,
    AltimeterOption,
    ElevationOption,
    HeadingOption,
    HumidityOption,
    PressureOption,
    TemperatureOption,
    TrackTemperatureOption,
    WindFromOption,
    WindOption,
    readings,
)
from runlog.cli.common import CarOption, JsonOption, LogbookOption, logbook, new_command, option, print_json, quantity
from runlog.errors import UsageError

if TYPE_CHECKING:
    import datetime as dt

    from runlog.workflows.air.figures import Typed


@new_command(
    "Work out density, density altitude and what else follows from readings: temperature, one of humidity, dew point "
    "and wet bulb, and the station pressure or an altimeter setting with the elevation (two different things). Without "
    "readings the newest in the logbook is taken and its day is plotted. With --car: how far it is from the air of the "
    "car's last run, and what that is worth.",
    "runlog air --temperature 90F --humidity 60 --pressure 29.40inHg --car heron",
)
def app(
    temperature: TemperatureOption = None,
    humidity: HumidityOption = None,
    dew_point: Annotated[str | None, option("--dew-point", "TEMP", "Instead of --humidity.")] = None,
    wet_bulb: Annotated[str | None, option("--wet-bulb", "TEMP", "Instead of --humidity.")] = None,
    pressure: PressureOption = None,
    altimeter: AltimeterOption = None,
    elevation: ElevationOption = None,
    wind: WindOption = None,
    wind_from: WindFromOption = None,
    heading: HeadingOption = None,
    track_temperature: TrackTemperatureOption = None,
    car: CarOption = None,
    track: Annotated[str | None, option("--track", "TRACK", "For its elevation and heading.")] = None,
    day: Annotated[str | None, option("--day", "DATE", "Plot this day's readings.")] = None,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Work out the air."""
    said = readings(
        temperature=temperature,
        humidity=humidity,
        pressure=pressure,
        altimeter=altimeter,
        elevation=elevation,
        wind=wind,
        wind_from=wind_from,
        heading=heading,
        track_temperature=track_temperature,
    )
    said |= {
        "dew_point": quantity(dew_point, "temperature", "--dew-point"),
        "wet_bulb": quantity(wet_bulb, "temperature", "--wet-bulb"),
    }
    typed = None
    if any(value is not None for name, value in said.items() if name not in _PLACE):
        _complete(said, said["elevation"] is not None or track is not None)
        typed = _typed(said)
    elif elevation is not None or heading is not None:
        raise UsageError("--elevation and --heading go with readings that are typed: give --temperature and the others")
    page = _page(typed, car, track, _date(day), book)
    if as_json:
        print_json(page)
    else:
        from runlog.reports.air import print_air

        print_air(page)


_PLACE = ("elevation", "heading_deg")
"""of the station and the track, which make no reading"""


def _complete(said: dict[str, Any], elevation_known: bool) -> None:
    """Refuse readings that say too little or too much."""
    if said["temperature"] is None:
        raise UsageError("--temperature is needed with the other readings")
    humidities = ("relative_humidity", "dew_point", "wet_bulb")
    if sum(said[name] is not None for name in humidities) != 1:
        raise UsageError("give exactly one of --humidity, --dew-point and --wet-bulb")
    if (said["station_pressure"] is None) == (said["altimeter_setting"] is None):
        raise UsageError(EITHER_PRESSURE)
    if said["altimeter_setting"] is not None and not elevation_known:
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
