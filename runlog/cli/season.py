"""``runlog season``."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from runlog.cli.common import JsonOption, LogbookOption, logbook, new_command, print_json
from runlog.cli.written import HtmlOption, PdfOption, ensure_tools, write_document


@new_command(
    "Show a car's days side by side: best and typical times in standard air, personal bests, consistency, what was "
    "changed and what that did.",
    "runlog season heron",
)
def app(
    car: Annotated[str | None, typer.Argument(metavar="CAR", help="The car.", show_default=False)] = None,
    html: HtmlOption = None,
    pdf: PdfOption = None,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Show a car's season."""
    from runlog.workflows.find import find_car
    from runlog.workflows.lessons.season import season_page

    ensure_tools(html, pdf)
    with logbook(book) as opened:
        page = season_page(opened, find_car(opened, car))
    write_document(lambda: _document(page), html, pdf, f"season of {page['car']}")
    if as_json:
        print_json(page)
    else:
        from runlog.reports.season import print_season

        print_season(page)


def _document(page: dict[str, Any]) -> str:
    from runlog.reports.html.season import season_html

    return season_html(page)
