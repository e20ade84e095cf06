"""``runlog parts``."""

from __future__ import annotations

from typing import Annotated

import typer

from runlog.cli.common import JsonOption, LogbookOption, logbook, new_command, print_json


@new_command(
    "Count the runs of each part that was named: engine, converter, tyre set and others.", "runlog parts heron"
)
def app(
    car: Annotated[str | None, typer.Argument(metavar="CAR", help="The car; the only one by default.")] = None,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Count the runs of each part."""
    from runlog.workflows.find import find_car
    from runlog.workflows.record.parts import parts_page

    with logbook(book) as opened:
        page = parts_page(opened, find_car(opened, car))
    if as_json:
        print_json(page)
    else:
        from runlog.reports.parts import print_parts

        print_parts(page)
