"""``runlog back-to-baseline``."""

from __future__ import annotations

from typing import Annotated

import typer

from runlog.cli.common import JsonOption, LogbookOption, logbook, new_command, print_json


@new_command(
    "List how to undo all changes: what differs from the baseline sheet, in an order in which it can be done, with "
    "minutes, cautions and checks.",
    "runlog back-to-baseline heron",
)
def app(
    car: Annotated[str | None, typer.Argument(metavar="CAR", help="The car.", show_default=False)] = None,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """List the way back."""
    from runlog.workflows.find import find_car
    from runlog.workflows.release.baseline import baseline_page

    with logbook(book) as opened:
        page = baseline_page(opened, find_car(opened, car))
    if as_json:
        print_json(page)
    else:
        from runlog.reports.changes import print_baseline

        print_baseline(page)
