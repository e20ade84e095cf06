"""``runlog merge``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from runlog.cli.common import JsonOption, LogbookOption, logbook, new_command, print_json


@new_command(
    "Take in what another logbook or a bundle holds. The same is kept once; where the two tell the same thing "
    "differently, both stay and are listed to be settled. The other file isn't changed. Merging again changes nothing.",
    "runlog merge other-laptop.duckdb",
)
def app(
    other: Annotated[Path, typer.Argument(metavar="OTHER", help="The other logbook, or a bundle.")],
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Merge another logbook."""
    from runlog.reports.imports import Progress
    from runlog.workflows.keeping.conflicts import conflicts_page
    from runlog.workflows.keeping.merge import merge

    with logbook(book, write=True) as opened, Progress() as progress:
        done = merge(opened, other, progress.step)
    page = {
        "taken": [{"entry": item.number, "kind": item.kind, "name": item.name} for item in done.taken],
        "same": done.same,
        "unread": [{"name": name, "why": why} for name, why in done.unread.items()],
        "conflicts": conflicts_page(done.conflicts),
        "new_conflicts": done.fresh,
    }
    if as_json:
        print_json(page)
    else:
        from runlog.reports.merging import print_merge

        print_merge(page)
