"""``runlog compare``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from runlog.cli.common import JsonOption, LogbookOption, logbook, new_command, note, print_json
from runlog.errors import RunlogError, UsageError

MOST = 4
"""runs side by side that 80 columns hold"""


@new_command("Put two or more runs side by side; differences are to the first.", "runlog compare 5 7")
def app(
    runs: Annotated[list[str], typer.Argument(metavar="RUN…", help="Two to four runs.")],
    svg: Annotated[
        Path | None,
        typer.Option("--svg", metavar="FILE", help="Draw speed and time against distance.", show_default=False),
    ] = None,
    png: Annotated[
        Path | None,
        typer.Option("--png", metavar="FILE", help="The same as a picture; needs runlog[png].", show_default=False),
    ] = None,
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
    if svg is not None:
        _write(svg, page)
    if png is not None:
        from runlog.cli.picture import write_png

        write_png(png, _drawn(page), "speed and time against distance")
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


def _write(path: Path, page: dict[str, Any]) -> None:
    drawn = _drawn(page)
    try:
        path.write_text(drawn, "utf-8")
    except OSError as error:
        raise RunlogError(f"{path} can't be written: {error.strerror}") from None
    note(f"speed and time against distance written to {path}")
