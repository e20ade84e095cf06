"""``runlog history``."""

from __future__ import annotations

from typing import Annotated

import typer

from runlog.cli.common import JsonOption, LogbookOption, logbook, new_command, print_json


@new_command(
    "List every entry about a run, a day, a car or a track: when it came, from whom, what it says otherwise than the "
    "one before it, and what was replaced or withdrawn. The newest entries of all by default.",
    "runlog history heron/2031-04-12/3",
)
def app(
    about: Annotated[
        str | None,
        typer.Argument(metavar="RUN|DAY|CAR|TRACK", help="What the entries are about.", show_default=False),
    ] = None,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """List entries."""
    from runlog.workflows.keeping.history import history_page

    with logbook(book) as opened:
        page = history_page(opened, about)
    if as_json:
        print_json(page)
    else:
        from runlog.reports.history import print_history

        print_history(page)
