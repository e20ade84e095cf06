"""``runlog season``."""

from __future__ import annotations

from typing import Annotated

import typer

from runlog.cli.common import JsonOption, LogbookOption, logbook, new_command, print_json


@new_command(
    "Show a car's days side by side: best and typical times in standard air, personal bests, consistency, what was "
    "changed and what that did.",
    "runlog season heron",
)
def app(
    car: Annotated[str | None, typer.Argument(metavar="[CAR]", help="The car.", show_default=False)] = None,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Show a car's season."""
    from runlog.workflows.find import find_car
    from runlog.workflows.lessons.season import season_page

    with logbook(book) as opened:
        page = season_page(opened, find_car(opened, car))
    if as_json:
        print_json(page)
    else:
        from runlog.reports.season import print_season

        print_season(page)
