"""``runlog compare``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from runlog.cli.common import JsonOption, LogbookOption, logbook, new_command, option, print_json
from runlog.cli.written import PngOption, write_drawing
from runlog.errors import RunlogError, UsageError

MOST = 4
"""runs side by side that 80 columns hold"""


@new_command(
    "Put two to four runs side by side; differences are to the first. Their traces as an interactive chart: 'runlog "
    "plot traces RUN RUN --html FILE'.",
    "runlog compare 5 7",
)
def app(
    runs: Annotated[list[str], typer.Argument(metavar="RUN", help="Two to four runs.")],
    svg: Annotated[Path | None, option("--svg", "FILE", "Draw speed and time against distance.")] = None,
    png: PngOption = None,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Put two or more runs side by side."""
    from runlog.workflows.find import find_run
    from runlog.workflows.runs.compare import comparison

    if not 2 <= len(runs) <= MOST:
        raise UsageError(f"compare takes two to {MOST} runs, {len(runs)} given")
    with logbook(book) as opened:
        page = comparison(opened, [find_run(opened, text) for text in runs])
    write_drawing(lambda: _drawn(page), svg, png, "speed and time against distance")
    if as_json:
        print_json(page)
    else:
        from runlog.reports.comparison import print_comparison

        print_comparison(page)


def _drawn(page: dict[str, Any]) -> str:
    from runlog.reports.overlay import overlay_svg

    if page["along_track"] is None:
        raise RunlogError("there is nothing to draw: not every run has a trace that tells its speed and distance")
    return overlay_svg(page)
