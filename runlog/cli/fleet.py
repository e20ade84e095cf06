"""``runlog fleet``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from runlog.cli.common import JobsOption, JsonOption, LogbookOption, SchedulerOption, logbook, new_command, print_json
from runlog.cli.written import HtmlOption, PdfOption, ensure_tools, write_document
from runlog.errors import UsageError


@new_command(
    "Say what all cars teach each other: effects on average, how much cars differ, what to expect of another car, "
    "which cars differ from the others, and what is worth testing next in the shop.",
    "runlog fleet --json",
)
def app(
    lake: Annotated[
        Path | None,
        typer.Option("--lake", metavar="DIR", help="Learn from a lake of 'export --lake'.", show_default=False),
    ] = None,
    jobs: JobsOption = 1,
    scheduler: SchedulerOption = None,
    html: HtmlOption = None,
    pdf: PdfOption = None,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Say what all cars say together."""
    if lake is None and (jobs > 1 or scheduler):
        raise UsageError("a logbook keeps each car's statistics: --jobs and --scheduler are for a --lake")
    ensure_tools(html, pdf)
    if lake is not None:
        from runlog.workflows.lessons.lake import lake_fleet_page
        from runlog.workflows.workers import workers

        with workers(jobs, scheduler) as executor:
            page = lake_fleet_page(lake, executor)
    else:
        from runlog.workflows.lessons.fleet import fleet_page

        with logbook(book) as opened:
            page = fleet_page(opened)
    write_document(lambda: _document(page), html, pdf, "what the cars say together")
    if as_json:
        print_json(page)
    else:
        from runlog.reports.fleet import print_fleet

        print_fleet(page)


def _document(page: dict[str, Any]) -> str:
    from runlog.reports.html.season import fleet_html

    return fleet_html(page)
