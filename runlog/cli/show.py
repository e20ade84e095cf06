"""``runlog show``."""

from __future__ import annotations

from typing import Annotated

import typer

from runlog.cli.common import JsonOption, LogbookOption, logbook, new_command, print_json


@new_command(
    "Show one run on one page: measured and corrected figures, what was expected, what changed, what the trace shows.",
    "runlog show heron/2031-04-12/5",
)
def app(
    run: Annotated[
        str | None,
        typer.Argument(metavar="RUN", help="car/date/number, car/latest, or a number of the newest day."),
    ] = None,
    full: Annotated[bool, typer.Option("--full", help="All of it, however long, not one screen.")] = False,
    explain: Annotated[
        bool, typer.Option("--explain", help="Where each figure comes from: entries, formula, source.")
    ] = False,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Show one run on one page."""
    from runlog.workflows.find import find_run
    from runlog.workflows.runs.page import run_page

    with logbook(book) as opened:
        key = find_run(opened, run)
        page = run_page(opened, key)
        if explain:
            from runlog.workflows.runs.explain import explanation

            page["explanation"] = explanation(opened, key, page)
    if as_json:
        print_json(page)
    elif explain:
        from runlog.reports.explained import print_explanation

        print_explanation(page)
    else:
        from runlog.reports.run_page import print_run_page

        print_run_page(page, full=full)
