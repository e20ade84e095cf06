"""``runlog runs``."""

from __future__ import annotations

from typing import Annotated

import typer

from runlog.cli.common import CarOption, JsonOption, LogbookOption, logbook, new_command, print_json


@new_command("List the runs, measured and corrected to reference air.", "runlog runs --car heron --day 2031-04-12")
def app(
    car: CarOption = None,
    day: Annotated[str | None, typer.Option("--day", metavar="DATE", help="Only this day.", show_default=False)] = None,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """List the runs."""
    from runlog.store.results import run_results
    from runlog.workflows.find import find_car, find_day
    from runlog.workflows.run_content import flat_run

    with logbook(book) as opened:
        name = find_car(opened, car) if car else None
        date = find_day(opened, day)[1] if day else None
        rows = [flat_run(row) for row in run_results(opened, name, date)]
    if as_json:
        print_json(rows)
    else:
        from runlog.reports.run_list import print_runs

        print_runs(rows)
