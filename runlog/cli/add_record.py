"""``runlog add report`` and ``runlog add start``: what is recorded of a run beside its figures."""

from __future__ import annotations

import datetime as dt
import sys
from typing import TYPE_CHECKING, Annotated, Any

import typer

from runlog.cli.common import JsonOption, LogbookOption, logbook, note, option, plain, print_json, reports_errors
from runlog.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Callable

    from runlog.records import RunKey
    from runlog.store.connection import Logbook


Text = str | None
CarOption = Annotated[Text, option("--car", "CAR", "The car.")]
DateOption = Annotated[Text, option("--date", "DATE", "The day; the car's newest by default.")]
ByOption = Annotated[Text, option("--by", "NAME", "Who says so.")]


@reports_errors
def report(
    car: CarOption = None,
    date: DateOption = None,
    number: Annotated[int | None, option("--number", "N", "Run of the day; the newest by default.")] = None,
    moved: Annotated[Text, option("--moved", "SIDE", "left, right or straight.")] = None,
    moved_at: Annotated[int | None, option("--moved-at", "FT", "Where it moved.")] = None,
    wheels: Annotated[Text, option("--wheels", "HOW", "Front wheels: down, carried or high.")] = None,
    height: Annotated[Text, option("--height", "LENGTH", "How high, such as 6in.")] = None,
    bars: Annotated[Text, option("--bars", "HOW", "Wheelie bars: clear, touched, 'rode on them'.")] = None,
    vibration: Annotated[Text, option("--vibration", "HOW", "none, some or strong.")] = None,
    braking: Annotated[Text, option("--braking", "HOW", "good, weak, 'pulled left', 'pulled right'.")] = None,
    parachute: Annotated[Text, option("--parachute", "HOW", "'not used', good, late or failed.")] = None,
    remark: Annotated[Text, option("--note", "TEXT", "Anything else.")] = None,
    by: ByOption = None,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Keep what the driver felt; no figure is shown before or after."""
    told: dict[str, Any] = {
        "moved": moved, "moved_at_ft": moved_at, "front_wheels": wheels, "front_wheel_height": height, "bars": bars,
        "vibration": vibration, "braking": braking, "parachute": parachute, "text": remark,
    }  # fmt: skip
    from runlog.workflows.record.content import REPORT, report_words
    from runlog.workflows.record.keep import add_report, fault_in

    with logbook(book, write=True) as opened:
        key = _key(opened, car, date, number, following=False)
        if sys.stdin.isatty() and not any(value is not None for value in told.values()):
            _guide(told, _REPORTED, {}, lambda name, said: fault_in("driver_report", key, name, said))
        kept = add_report(opened, key, told, by)
    part = {**dict.fromkeys(REPORT), **kept}
    _say(key, part, report_words(part), as_json=as_json)


@reports_errors
def start(
    car: CarOption = None,
    date: DateOption = None,
    number: Annotated[int | None, option("--number", "N", "Run of the day; the next by default.")] = None,
    coolant: Annotated[Text, option("--coolant", "TEMP", "Such as 165F.")] = None,
    oil: Annotated[Text, option("--oil", "TEMP", "Oil temperature.")] = None,
    transmission: Annotated[Text, option("--transmission", "TEMP", "Transmission temperature.")] = None,
    fuel: Annotated[Text, option("--fuel", "MASS", "In the tank, such as 30lb.")] = None,
    driver: Annotated[Text, option("--driver", "NAME", "Who drives; as last time by default.")] = None,
    weight: Annotated[Text, option("--driver-weight", "MASS", "With all gear; as last time by default.")] = None,
    tyres: Annotated[Text, option("--tyres", "SET", "Rear tyre set; as last time by default.")] = None,
    tyre_runs: Annotated[int | None, option("--tyre-runs", "N", "Runs on it; counted on by default.")] = None,
    rear: Annotated[Text, option("--rear-pressure", "P", "Rear tyre pressure there, such as 7psi.")] = None,
    front: Annotated[Text, option("--front-pressure", "P", "Front tyre pressure there.")] = None,
    staging: Annotated[Text, option("--staging", "HOW", "shallow, normal or deep; as last time.")] = None,
    burnout: Annotated[Text, option("--burnout", "TIME", "How long, such as 3s.")] = None,
    surface: Annotated[Text, option("--surface", "TEMP", "Temperature of the track's surface.")] = None,
    remark: Annotated[Text, option("--note", "TEXT", "Anything else.")] = None,
    by: ByOption = None,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Keep what is noted at the start line."""
    told: dict[str, Any] = {
        "coolant": coolant, "oil": oil, "transmission": transmission, "fuel": fuel, "driver": driver,
        "driver_weight": weight, "tyre_set": tyres, "tyre_runs": tyre_runs, "rear_tyre_pressure": rear,
        "front_tyre_pressure": front, "staging": staging, "burnout": burnout, "surface": surface, "text": remark,
    }  # fmt: skip
    from runlog.workflows.record.content import START, start_words
    from runlog.workflows.record.keep import add_start, fault_in, usual_start

    with logbook(book, write=True) as opened:
        key = _key(opened, car, date, number, following=True)
        if sys.stdin.isatty() and not any(value is not None for value in told.values()):
            _guide(told, _NOTED, usual_start(opened, key), lambda name, said: fault_in("start_record", key, name, said))
        kept = add_start(opened, key, told, by)
    part = {**dict.fromkeys(START), **kept}
    _say(key, part, start_words(part), as_json=as_json)


_REPORTED = (
    ("moved", "Moved (left, right, straight)"),
    ("moved_at_ft", "Where [ft]"),
    ("front_wheels", "Front wheels (down, carried, high)"),
    ("bars", "Wheelie bars (clear, touched, rode on them)"),
    ("vibration", "Vibration (none, some, strong)"),
    ("braking", "Braking (good, weak, pulled left, pulled right)"),
    ("parachute", "Parachute (not used, good, late, failed)"),
    ("text", "Anything else"),
)
_NOTED = (
    ("coolant", "Coolant (165F)"),
    ("oil", "Oil (180F)"),
    ("transmission", "Transmission (150F)"),
    ("fuel", "Fuel (30lb)"),
    ("driver", "Driver"),
    ("driver_weight", "Driver with all gear (190lb)"),
    ("tyre_set", "Rear tyre set"),
    ("tyre_runs", "Runs on it"),
    ("rear_tyre_pressure", "Rear tyre pressure (7psi)"),
    ("staging", "Staging (shallow, normal, deep)"),
    ("burnout", "Burnout (3s)"),
    ("surface", "Track surface (95F)"),
    ("text", "Anything else"),
)
_WHOLE = ("moved_at_ft", "tyre_runs")


def _guide(
    told: dict[str, Any],
    asked: tuple[tuple[str, str], ...],
    usual: dict[str, Any],
    fault_of: Callable[[str, object], str | None],
) -> None:
    """Ask for each thing; Enter takes what stands there, or leaves it out. What can't be kept is asked again."""
    for name, question in asked:
        default = usual.get(name, "")
        while said := str(typer.prompt(question, default=default, show_default=default != "")).strip():
            value = int(said) if name in _WHOLE and said.isdecimal() else said
            fault = fault_of(name, value)
            if fault is None:
                told[name] = value
                break
            note(plain(fault))


def _key(book: Logbook, car: str | None, date: str | None, number: int | None, *, following: bool) -> RunKey:
    """Return the run that is meant: the newest of the day, or the one that follows it."""
    from runlog.readers.keys import parse_date
    from runlog.records import RunKey
    from runlog.store.results import run_keys
    from runlog.workflows.find import find_car

    name = find_car(book, car)
    own = [key for key in run_keys(book) if key.car == name]
    day = parse_date(date) if date else max((key.date for key in own), default=dt.date.today())
    if day is None:
        raise UsageError(f"--date: {date!r} is not a date; accepted: a date such as 2031-04-12")
    newest = max((key.number for key in own if key.date == day), default=0)
    if number is None:
        number = newest + 1 if following else max(newest, 1)
    return RunKey(name, day, number)


def _say(key: RunKey, part: dict[str, Any], words: str, *, as_json: bool) -> None:
    note(f"{key}: {words}")
    if as_json:
        print_json({"run": str(key), **part})
