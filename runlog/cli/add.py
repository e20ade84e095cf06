"""``runlog add``: things typed by hand."""

from __future__ import annotations

import datetime as dt
import sys
from typing import TYPE_CHECKING, Annotated

import typer

from runlog.cli.add_change import change
from runlog.cli.add_record import report, start
from runlog.cli.common import (
    SETTINGS,
    JsonOption,
    LogbookOption,
    logbook,
    note,
    option,
    plain,
    print_json,
    reports_errors,
)
from runlog.errors import UsageError

if TYPE_CHECKING:
    from pathlib import Path

    from runlog.store.connection import Logbook

app = typer.Typer(add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False, no_args_is_help=True)


@app.callback(context_settings=SETTINGS)
def _group() -> None:
    """Type something in by hand."""


app.command(
    "change",
    help="Type in what was really changed before a run, or what the plan or the way back to the baseline had; on a "
    "terminal it is asked for where nothing is said, and each change is confirmed.",
    epilog='Example: runlog add change "launch rpm=4400" "rear tyre pressure -0.5" --car heron',
    context_settings=SETTINGS,
)(change)
app.command(
    "report",
    help="Keep what the driver felt, before any figure is shown. All is optional; on a terminal it is asked for.",
    epilog="Example: runlog add report --moved left --moved-at 200 --bars touched --braking good",
    context_settings=SETTINGS,
)(report)
app.command(
    "start",
    help="Keep what is noted at the start line. Driver, tyre set and staging are as last time unless said.",
    epilog="Example: runlog add start --coolant 165F --driver 'A. Driver' --tyres B --surface 96F",
    context_settings=SETTINGS,
)(start)


Seconds = str | None


@app.command(
    "run",
    help="Type in a run's timing slip. What is missing is asked for; Enter leaves it blank.",
    epilog="Example: runlog add run --car heron --lane left --60 1.412 --330 4.010",
    context_settings=SETTINGS,
)
@reports_errors
def run(
    car: Annotated[str | None, option("--car", "CAR", "The car.")] = None,
    date: Annotated[str | None, option("--date", "DATE", "The day; today by default.")] = None,
    number: Annotated[int | None, option("--number", "N", "Run of the day; the next one by default.")] = None,
    time: Annotated[str | None, option("--time", "HH:MM", "Clock time.")] = None,
    track: Annotated[str | None, option("--track", "TRACK", "The track.")] = None,
    lane: Annotated[str | None, option("--lane", "LANE", "left or right.")] = None,
    purpose: Annotated[str | None, option("--purpose", "DIST", "Planned distance: 60, 330, 660, full.")] = None,
    reaction: Annotated[Seconds, option("--reaction", "S", "Reaction time.")] = None,
    t60: Annotated[Seconds, option("--60", "S", "Time at 60 ft.")] = None,
    t330: Annotated[Seconds, option("--330", "S", "Time at 330 ft.")] = None,
    t660: Annotated[Seconds, option("--660", "S", "Time at 660 ft.")] = None,
    v660: Annotated[Seconds, option("--v660", "MPH", "Trap speed at 660 ft.")] = None,
    t1000: Annotated[Seconds, option("--1000", "S", "Time at 1000 ft.")] = None,
    t1320: Annotated[Seconds, option("--1320", "S", "Time at 1320 ft.")] = None,
    v1320: Annotated[Seconds, option("--v1320", "MPH", "Trap speed at 1320 ft.")] = None,
    true_to: Annotated[str | None, option("--true-to", "FT", "Distance up to which it counts.")] = None,
    spoiled: Annotated[str | None, option("--spoiled", "REASON", "What spoiled the run.")] = None,
    remark: Annotated[str | None, option("--note", "TEXT", "A note.")] = None,
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
    from runlog.records import Given
    from runlog.workflows.intake.ingest import add_typed
    from runlog.workflows.intake.slip_talk import FIGURES, as_file
    from runlog.workflows.runs.page import run_page

    # a slip with a time and a car is complete; asking goes on only where a person can answer
    if sys.stdin.isatty() and not (said["car"] and any(said[name] for name in FIGURES)):
        note("Ask the driver before anyone looks at the figures: runlog add report")
        said = _asked(book, said)
    if said["car"] is None:
        raise UsageError("no car given: --car CAR")
    if not any(said[name] for name in FIGURES):
        raise UsageError("no time given: a slip needs at least one of --60, --330, --660, --1000, --1320")
    with logbook(book, write=True) as opened:
        key = _identify(opened, said)
        add_typed(opened, "slips", as_file(said), f"typed {key}", Given())
        from runlog.workflows.find import find_run

        page = run_page(opened, find_run(opened, key))
    note(f"{key} is stored. 'runlog undo' takes it back, typing the run again corrects it; the history keeps both.")
    if as_json:
        print_json(page)
    else:
        from runlog.reports.run_page import print_run_page

        print_run_page(page)


def _asked(book: Path | None, said: dict[str, str | None]) -> dict[str, str | None]:
    """Ask for what is missing, each answer checked at once; the logbook is free while the crew types."""
    from runlog.errors import NotFound
    from runlog.reports.amounts import symbol
    from runlog.workflows.find import find_car
    from runlog.workflows.intake.slip_talk import LastTime, SlipTalk

    with logbook(book) as opened:
        try:
            usual = find_car(opened, None)
        except (NotFound, UsageError):
            usual = None
        last = LastTime.of(opened, usual)
    now = dt.datetime.now()
    talk = SlipTalk(said, last, now.date().isoformat(), f"{now:%H:%M}", symbol("mph"))
    note("Enter takes what is in brackets, - leaves it blank, < goes back a question, Ctrl-C stores nothing.")
    while (question := talk.question()) is not None:
        offered = f" [{plain(question.offered)}]" if question.offered else ""
        wrong = talk.answer(typer.prompt(f"{question.text}{offered}", default="", show_default=False))
        if wrong is not None:
            note(f"  ✗ {wrong}")
    return talk.said


def _identify(book: Logbook, said: dict[str, str | None]) -> str:
    """Settle car, date and number where they weren't said; return the run key."""
    from runlog.store.results import run_keys

    said["car"] = (said["car"] or "").strip().lower()
    said["date"] = said["date"] or dt.date.today().isoformat()
    if said["run"] is None:
        days = [key for key in run_keys(book) if key.car == said["car"] and key.date.isoformat() == said["date"]]
        said["run"] = str(max((key.number for key in days), default=0) + 1)
    return f"{said['car']}/{said['date']}/{said['run']}"
