"""``runlog bundle``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from runlog.cli.common import JsonOption, LogbookOption, logbook, new_command, note, plain, print_json


@new_command(
    "Pack a test day into one file to carry or mail: car and track files, sheets, slips, air, traces, what the crew "
    "said, and all their originals. The other laptop takes it with 'runlog merge'.",
    "runlog bundle heron/2031-04-12 heron-2031-04-12.duckdb",
)
def app(
    day: Annotated[str, typer.Argument(metavar="DAY|RUN", help="A date, car/date, or a run of the day.")],
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The file to make, ending in .duckdb.")],
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Pack a test day."""
    from runlog.reports.imports import Progress
    from runlog.workflows.keeping.bundle import bundle

    with logbook(book) as opened, Progress() as progress:
        done = bundle(opened, day, file, progress.step)
    if done.others:
        note(f"Files of that day also tell of {', '.join(done.others)}: they go whole.")
    if as_json:
        print_json(
            {
                "file": str(file),
                "date": done.date.isoformat(),
                "cars": list(done.cars),
                "other_cars": list(done.others),
                "entries": [{"kind": item.kind, "name": item.name} for item in done.entries],
            }
        )
        return
    typer.echo(f"{plain(str(file))}: {', '.join(done.cars)} on {done.date}, {len(done.entries)} entries")
    typer.echo(f"On the other laptop: runlog merge {plain(file.name)}")
