"""``runlog undo``."""

from __future__ import annotations

from typing import Annotated

import typer

from runlog.cli.common import JsonOption, LogbookOption, logbook, new_command, plain, print_json


@new_command(
    "Withdraw the last change, or an entry by its number in 'runlog history'. It stays in the history and can be "
    "brought back by undoing the withdrawal. Results that rest on it are computed anew.",
    "runlog undo 41",
)
def app(
    entry: Annotated[
        int | None, typer.Argument(metavar="ENTRY", help="The entry; the last by default.", show_default=False)
    ] = None,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Withdraw an entry."""
    from runlog.reports.imports import Progress
    from runlog.workflows.keeping.undo import undo

    with logbook(book, write=True) as opened, Progress() as progress:
        done = undo(opened, entry, progress.step)
    if as_json:
        print_json({"entry": done.entry.number, "name": done.entry.name, "withdrawn": done.withdrawn, "by": done.by})
        return
    what = "withdrawn" if done.withdrawn else "brought back"
    typer.echo(f"{plain(done.entry.name)} (entry {done.entry.number}) is {what}.")
    typer.echo(f"To reverse that: runlog undo {done.by}")
