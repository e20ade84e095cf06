"""``runlog export``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from runlog.cli.common import LogbookOption, logbook, new_command, note


@new_command(
    "Write what the logbook holds for other programs. A lake is a folder of Parquet files by car and season, traces "
    "too; a second export writes only what has changed.",
    "runlog export --lake /srv/shop/lake",
)
def app(
    lake: Annotated[Path, typer.Option("--lake", metavar="DIR", help="The folder of the lake.", show_default=False)],
    book: LogbookOption = None,
) -> None:
    """Bring a lake up to date."""
    from runlog.reports.imports import Progress
    from runlog.store.lake import export_lake

    with logbook(book) as opened, Progress() as progress:
        done = export_lake(opened, lake, progress.step)
    note(f"{lake}: {done.written} files written, {done.unchanged} unchanged, {done.removed} removed")
