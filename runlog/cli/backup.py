"""``runlog backup``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from runlog.cli.common import JsonOption, LogbookOption, logbook_path, new_command, plain, print_json


@new_command(
    "Write a verified copy of the logbook: whole, or not at all. To restore one, copy it back under the name of the "
    "logbook, or just use it.",
    "runlog backup /media/stick --keep 10",
)
def app(
    folder: Annotated[
        Path | None,
        typer.Argument(metavar="DIR", help="Where to; 'backups' beside the logbook by default.", show_default=False),
    ] = None,
    keep: Annotated[
        int | None,
        typer.Option("--keep", metavar="N", help="Keep only the newest N copies.", show_default=False, min=1),
    ] = None,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Back the logbook up."""
    from runlog.reports.imports import Progress
    from runlog.workflows.keeping.backup import backup

    with Progress() as progress:
        done = backup(logbook_path(book), folder, keep, progress.step)
    if as_json:
        removed = [str(path) for path in done.removed]
        print_json({"file": str(done.path), "entries": done.entries, "removed": removed})
        return
    typer.echo(f"{plain(str(done.path))}: {done.entries} entries, verified")
    if done.removed:
        typer.echo(f"{len(done.removed)} older removed")
