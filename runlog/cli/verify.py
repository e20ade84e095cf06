"""``runlog verify``."""

from __future__ import annotations

from typing import Annotated

import typer

from runlog.cli.common import JsonOption, LogbookOption, logbook, new_command, plain, print_json


@new_command(
    "Check that the logbook is whole: its schema, every original against its SHA-256, that everything refers to "
    "something that is there, and that a rebuild of a copy says the same. The logbook isn't changed.",
    "runlog verify --quick",
)
def app(
    quick: Annotated[bool, typer.Option("--quick", help="Leave out the rebuild.")] = False,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Verify the logbook."""
    from runlog.reports.imports import Progress
    from runlog.workflows.keeping.verify import verify

    with logbook(book) as opened, Progress() as progress:
        found = verify(opened, quick=quick, progress=progress.step)
    if as_json:
        print_json(
            {
                "file": str(opened.path),
                "entries": found.entries,
                "rebuilt": found.rebuilt,
                "faults": [{"where": where, "what": what} for where, what in found.faults],
            }
        )
    else:
        for where, what in found.faults:
            typer.echo(f"✗ {where}: {plain(what)}")
        if not found.faults:
            same = ", and a rebuild says the same" if found.rebuilt else "; a rebuild was not tried"
            typer.echo(f"✓ {plain(str(opened.path))} is whole: {found.entries} entries with their originals{same}")
    if found.faults:
        raise typer.Exit(1)
