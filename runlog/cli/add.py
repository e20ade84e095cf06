"""``runlog add``: things typed by hand."""

from __future__ import annotations

import csv
import datetime as dt
import io
import sys
from typing import TYPE_CHECKING, Annotated

import typer

from runlog.cli.common import SETTINGS, JsonOption, LogbookOption, logbook, note, print_json, reports_errors
from runlog.errors import UsageError

if TYPE_CHECKING:
    from runlog.store.connection import Logbook

app = typer.Typer(add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False, no_args_is_help=True)


@app.callback(context_settings=SETTINGS)
def _group() -> None:
    """Type something in by hand."""


_ASKED = (
    # column, question
    ("time", "Clock time (10:05)"),
    ("track", "Track"),
    ("lane", "Lane (left, right)"),
    ("purpose", "Planned distance (60, 330, 660, full)"),
    ("reaction_s", "Reaction [s]"),
    ("t60_s", "60 ft [s]"),
    ("t330_s", "330 ft [s]"),
    ("t660_s", "660 ft [s]"),
    ("v660_mph", "Speed at 660 ft [mph]"),
    ("t1000_s", "1000 ft [s]"),
    ("t1320_s", "1320 ft [s]"),
    ("v1320_mph", "Speed at 1320 ft [mph]"),
    ("true_to_ft", "Figures count up to [ft], Enter for all"),
    ("spoiled", "Spoiled by, Enter if clean"),
    ("note", "Note"),
)


def _text(name: str, metavar: str, text: str) -> typer.models.OptionInfo:
    option: typer.models.OptionInfo = typer.Option(name, metavar=metavar, help=text, show_default=False)
    return option


Seconds = str | None


@app.command(
    "run",
    help="Type in a run's timing slip. What is missing is asked for; Enter leaves it blank.",
    epilog="Example: runlog add run --car heron --lane left --60 1.412 --330 4.010",
    context_settings=SETTINGS,
)
@reports_errors
def run(
    car: Annotated[str | None, _text("--car", "CAR", "The car.")] = None,
    date: Annotated[str | None, _text("--date", "DATE", "The day; today by default.")] = None,
    number: Annotated[int | None, _text("--number", "N", "Run of the day; the next one by default.")] = None,
    time: Annotated[str | None, _text("--time", "HH:MM", "Clock time.")] = None,
    track: Annotated[str | None, _text("--track", "TRACK", "The track.")] = None,
    lane: Annotated[str | None, _text("--lane", "LANE", "left or right.")] = None,
    purpose: Annotated[str | None, _text("--purpose", "DIST", "Planned distance: 60, 330, 660, full.")] = None,
    reaction: Annotated[Seconds, _text("--reaction", "S", "Reaction time.")] = None,
    t60: Annotated[Seconds, _text("--60", "S", "Time at 60 ft.")] = None,
    t330: Annotated[Seconds, _text("--330", "S", "Time at 330 ft.")] = None,
    t660: Annotated[Seconds, _text("--660", "S", "Time at 660 ft.")] = None,
    v660: Annotated[Seconds, _text("--v660", "MPH", "Trap speed at 660 ft.")] = None,
    t1000: Annotated[Seconds, _text("--1000", "S", "Time at 1000 ft.")] = None,
    t1320: Annotated[Seconds, _text("--1320", "S", "Time at 1320 ft.")] = None,
    v1320: Annotated[Seconds, _text("--v1320", "MPH", "Trap speed at 1320 ft.")] = None,
    true_to: Annotated[str | None, _text("--true-to", "FT", "Distance up to which it counts.")] = None,
    spoiled: Annotated[str | None, _text("--spoiled", "REASON", "What spoiled the run.")] = None,
    remark: Annotated[str | None, _text("--note", "TEXT", "A note.")] = None,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Type in a timing slip."""
    said = {
        "car": car, "date": date, "run": str(number) if number else None, "time": time, "track": track, "lane": lane,
        "purpose": purpose, "reaction_s": reaction, "t60_s": t60, "t330_s": t330, "t660_s": t660, "v660_mph": v660,
        "t1000_s": t1000, "t1320_s": t1320, "v1320_mph": v1320, "true_to_ft": true_to, "spoiled": spoiled,
        "note": remark,
    }  # fmt: skip
    figures = ("t60_s", "t330_s", "t660_s", "t1000_s", "t1320_s")
    # a slip with a time and a car is complete; asking goes on only where a person can answer
    guided = sys.stdin.isatty() and not (said["car"] and any(said[name] for name in figures))
    from runlog.records import Given
    from runlog.workflows.intake.ingest import add_typed
    from runlog.workflows.runs.page import run_page

    with logbook(book, write=True) as opened:
        key = _identify(opened, said, guided=guided)
        if guided:
            for column, question in _ASKED:
                if said[column] is None:
                    said[column] = typer.prompt(question, default="", show_default=False) or None
        if not any(said[name] for name in figures):
            raise UsageError("no time given: a slip needs at least one of --60, --330, --660, --1000, --1320")
        add_typed(opened, "slips", _slip(said), f"typed {key}", Given())
        from runlog.workflows.find import find_run

        page = run_page(opened, find_run(opened, key))
    note(f"{key} is stored. 'runlog undo' takes it back, typing the run again corrects it; the history keeps both.")
    if as_json:
        print_json(page)
    else:
        from runlog.reports.run_page import print_run_page

        print_run_page(page)


def _identify(book: Logbook, said: dict[str, str | None], *, guided: bool) -> str:
    """Settle car, date and number, asking where a person can answer; return the run key."""
    from runlog.store.results import run_keys
    from runlog.workflows.find import find_car

    if said["car"] is None and guided:
        said["car"] = typer.prompt("Car", default=find_car(book, None))
    if said["car"] is None:
        raise UsageError("no car given: --car CAR")
    said["car"] = said["car"].strip().lower()
    today = dt.date.today().isoformat()
    if said["date"] is None:
        said["date"] = typer.prompt("Date", default=today) if guided else today
    keys = run_keys(book)
    numbers = [key.number for key in keys if key.car == said["car"] and key.date.isoformat() == said["date"]]
    following = str(max(numbers, default=0) + 1)
    if said["run"] is None:
        said["run"] = typer.prompt("Run of the day", default=following) if guided else following
    return f"{said['car']}/{said['date']}/{said['run']}"


def _slip(said: dict[str, str | None]) -> bytes:
    """Return the slip as the CSV that would have said the same: the original that is kept."""
    given = {name: value for name, value in said.items() if value is not None}
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(given)
    writer.writerow(given.values())
    return text.getvalue().encode()
