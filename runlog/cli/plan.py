"""``runlog plan``."""

from __future__ import annotations

from typing import Annotated

import typer

from runlog import configuration
from runlog.cli.common import (
    CarOption,
    JsonOption,
    LogbookOption,
    day_option,
    logbook,
    new_command,
    note,
    option,
    print_json,
)


@new_command(
    "Say what to try in the runs that are left, in which order, to learn most: within the limits, with a return, "
    "shakedown steps first; beside it what plain there-and-back and change-and-stay would tell. What risks the engine "
    "is never proposed.",
    'runlog plan --car heron --runs 4 --adjustable "rear tyre pressure" --accept',
)
def app(
    car: CarOption = None,
    runs: Annotated[int, option("--runs", "N", "Runs that are left; 3 by default.")] = 3,
    turnaround: Annotated[
        float | None, option("--turnaround", "MIN", "Between two runs; as set, else 45, by default.")
    ] = None,
    minutes_left: Annotated[float | None, option("--minutes-left", "MIN", "Of the day.")] = None,
    adjustable: Annotated[
        list[str] | None, option("--adjustable", "NAME", "What to test; may be repeated; else the program chooses.")
    ] = None,
    parts: Annotated[
        list[str] | None, option("--parts", "NAME=VALUES", 'At hand, such as "final drive=4.1,4.3"; may be repeated.')
    ] = None,
    changes: Annotated[int, option("--changes", "N", "Changes before one run at most; 1 by default.")] = 1,
    date: Annotated[str | None, option("--date", "DATE", "Another day than the newest.")] = None,
    accept: Annotated[bool, typer.Option("--accept", help="Make it the plan of the day: show refers to it.")] = False,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Say what to try in the runs that are left."""
    from runlog.workflows.ahead.plan import Left, plan_page
    from runlog.workflows.find import find_car

    if turnaround is None:
        turnaround = configuration.find("turnaround").value
    left = Left(runs, turnaround, minutes_left, tuple(adjustable or ()), changes, day_option(date), tuple(parts or ()))
    with logbook(book, write=accept) as opened:
        page = plan_page(opened, find_car(opened, car), left, accept=accept)
    if accept:
        note(f"Accepted as {page['car']}'s plan for {page['date']}; accepting another replaces it, and both are kept.")
    if as_json:
        print_json(page)
    else:
        from runlog.reports.plan import print_plan

        print_plan(page)
