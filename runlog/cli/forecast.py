"""``runlog forecast``."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from runlog.cli.common import (
    CarOption,
    JsonOption,
    LogbookOption,
    day_option,
    logbook,
    new_command,
    print_json,
    quantity,
)
from runlog.errors import UsageError

if TYPE_CHECKING:
    import datetime as dt
    from pathlib import Path


def _option(name: str, metavar: str, text: str) -> typer.models.OptionInfo:
    option: typer.models.OptionInfo = typer.Option(name, metavar=metavar, help=text, show_default=False)
    return option


@new_command(
    "Say what the next run will show, in its air, lane and setup: splits with their spread, the chance to run under "
    "a declared time, dial-ins for chosen risks. Every forecast is kept; --record holds them against what happened.",
    'runlog forecast --car heron --dial 9.05 --lane left --suppose "rear tyre pressure=6.5"',
)
def app(
    car: CarOption = None,
    dial: Annotated[float | None, _option("--dial", "S", "Declared time, such as 6.40.")] = None,
    lane: Annotated[str | None, _option("--lane", "LANE", "left or right.")] = None,
    suppose: Annotated[list[str] | None, _option("--suppose", "NAME=VALUE", "A change; may be repeated.")] = None,
    time: Annotated[str | None, _option("--time", "HH:MM", "Of the run; 45 minutes after the last by default.")] = None,
    date: Annotated[str | None, _option("--date", "DATE", "Another day than the newest.")] = None,
    risk: Annotated[
        list[float] | None, _option("--risk", "PCT", "Dial-in for this chance to be quicker; may be repeated.")
    ] = None,
    temperature: Annotated[str | None, _option("--temperature", "TEMP", "Such as 90F; the newest by default.")] = None,
    humidity: Annotated[float | None, _option("--humidity", "PCT", "Relative humidity in per cent.")] = None,
    pressure: Annotated[str | None, _option("--pressure", "PRESSURE", "Station pressure, such as 29.40inHg.")] = None,
    altimeter: Annotated[str | None, _option("--altimeter", "PRESSURE", "Altimeter setting.")] = None,
    elevation: Annotated[str | None, _option("--elevation", "LENGTH", "Of the station; else the track's.")] = None,
    wind: Annotated[str | None, _option("--wind", "SPEED", "Wind speed, such as 8mph.")] = None,
    wind_from: Annotated[float | None, _option("--wind-from", "DEG", "Where the wind comes from.")] = None,
    heading: Annotated[float | None, _option("--heading", "DEG", "Direction of travel on the track.")] = None,
    track_temperature: Annotated[str | None, _option("--track-temperature", "TEMP", "Of the surface.")] = None,
    record: Annotated[bool, typer.Option("--record", help="Show how right the forecasts kept so far were.")] = False,
    look_back: Annotated[
        bool, typer.Option("--look-back", help="With --record: score also what each run's forerunners led to expect.")
    ] = False,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Say what the next run will show."""
    if look_back and not record:
        raise UsageError("--look-back goes with --record")
    if record:
        _record(book, car, look_back=look_back, as_json=as_json)
        return
    from runlog.workflows.ahead.forecast import RISKS, Question, forecast_page
    from runlog.workflows.ahead.next_run import SaidAir
    from runlog.workflows.find import find_car

    if pressure is not None and altimeter is not None:
        raise UsageError("give either --pressure (station pressure) or --altimeter with --elevation")
    if humidity is not None and not 0 <= humidity <= 100:
        raise UsageError(f"--humidity: {humidity:g} is outside 0 to 100 per cent")
    said = SaidAir(
        temperature=quantity(temperature, "temperature", "--temperature"),
        relative_humidity=None if humidity is None else humidity / 100,
        station_pressure=quantity(pressure, "pressure", "--pressure"),
        altimeter_setting=quantity(altimeter, "pressure", "--altimeter"),
        elevation=quantity(elevation, "length", "--elevation"),
        wind_speed=quantity(wind, "speed", "--wind"),
        wind_from_deg=wind_from,
        heading_deg=heading,
        track_temperature=quantity(track_temperature, "temperature", "--track-temperature"),
    )
    asked = Question(
        date=day_option(date),
        time=_time(time),
        lane=_lane(lane),
        dial_s=_dial(dial),
        risks=tuple(_risk(pct) for pct in risk) if risk else RISKS,
        suppose=tuple(suppose or ()),
        air=said,
    )
    with logbook(book, write=True) as opened:
        page = forecast_page(opened, find_car(opened, car), asked)
    if as_json:
        print_json(page)
    else:
        from runlog.reports.forecast import print_forecast

        print_forecast(page)


def _record(book: Path | None, car: str | None, *, look_back: bool, as_json: bool) -> None:
    from runlog.workflows.ahead.record import record_page
    from runlog.workflows.find import find_car

    with logbook(book) as opened:
        page = record_page(opened, None if car is None else find_car(opened, car), look_back=look_back)
    if as_json:
        print_json(page)
    else:
        from runlog.reports.forecast import print_record

        print_record(page)


def _time(text: str | None) -> dt.time | None:
    from runlog.readers.keys import parse_time

    found = None if text is None else parse_time(text)
    if text is not None and found is None:
        raise UsageError(f"--time: {text!r} is not a clock time; accepted: a time such as 14:30")
    return found


def _lane(text: str | None) -> str | None:
    if text is not None and text.lower() not in ("left", "right"):
        raise UsageError(f"--lane: {text!r}; accepted: left, right")
    return None if text is None else text.lower()


def _dial(dial: float | None) -> float | None:
    if dial is not None and not 0 < dial < 60:
        raise UsageError(f"--dial: {dial:g} is outside 0 to 60 seconds")
    return dial


def _risk(pct: float) -> float:
    if not 0 < pct < 100:
        raise UsageError(f"--risk: {pct:g} is outside 0 to 100 per cent, both excluded")
    return pct / 100
