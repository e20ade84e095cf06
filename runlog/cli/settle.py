"""``runlog settle``."""

from __future__ import annotations

from typing import Annotated

import typer

from runlog.cli.common import JsonOption, LogbookOption, logbook, new_command, plain, print_json


@new_command(
    "Let hold what an entry says where entries differ: of one thing, or of all on which it differs from others. "
    "'runlog undo' takes that back.",
    'runlog settle 41 "slip heron/2031-04-12/3"',
)
def app(
    entry: Annotated[int, typer.Argument(metavar="ENTRY", help="The entry that holds.")],
    thing: Annotated[
        str | None, typer.Argument(metavar="THING", help="As 'runlog conflicts' names it.", show_default=False)
    ] = None,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Settle conflicts."""
    from runlog.reports.imports import Progress
    from runlog.workflows.keeping.conflicts import settle

    with logbook(book, write=True) as opened, Progress() as progress:
        done = settle(opened, entry, thing, progress.step)
    if as_json:
        print_json({"entry": entry, "settled": [item.thing for item in done]})
        return
    for item in done:
        typer.echo(f"{plain(item.thing)}: entry {entry} holds")
