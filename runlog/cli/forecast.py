"""``runlog forecast``."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

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
from runlog.cli.common import (
    CarOption,
    JsonOption,
    LogbookOption,
    day_option,
    logbook,
    new_command,
    option,
    print_json,
)
from runlog.errors import UsageError

if TYPE_CHECKING:
    import datetime as dt
    from pathlib import Path


@new_command(
    "Say what the next run will show, in its air, lane and setup: splits with their spread, the chance to run under "
    "a declared time, dial-ins for chosen risks. Every forecast is kept; --record holds them against what happened.",
    'runlog forecast --car heron --dial 9.05 --lane left --suppose "rear tyre pressure=6.5"',
)
def app(
    car: CarOption = None,
    dial: Annotated[float | None, option("--dial", "S", "Declared time, such as 6.40.")] = None,
    lane: Annotated[str | None, option("--lane", "LANE", "left or right.")] = None,
    suppose: Annotated[list[str] | None, option("--suppose", "NAME=VALUE", "A change; may be repeated.")] = None,
    time: Annotated[str | None, option("--time", "HH:MM", "Of the run; 45 minutes after the last by default.")] = None,
    date: Annotated[str | None, option("--date", "DATE", "Another day than the newest.")] = None,
    risk: Annotated[
        list[float] | None, option("--risk", "PCT", "Dial-in for this chance to be quicker; may be repeated.")
    ] = None,
    temperature: TemperatureOption = None,
    humidity: HumidityOption = None,
    pressure: PressureOption = None,
    altimeter: AltimeterOption = None,
    elevation: ElevationOption = None,
    wind: WindOption = None,
    wind_from: WindFromOption = None,
    heading: HeadingOption = None,
    track_temperature: TrackTemperatureOption = None,
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
        raise UsageError(EITHER_PRESSURE)
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
    asked = Question(
        date=day_option(date),
        time=_time(time),
        lane=_lane(lane),
        dial_s=_dial(dial),
        risks=tuple(_risk(pct) for pct in risk) if risk else RISKS,
        suppose=tuple(suppose or ()),
        air=SaidAir(**said),
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
