"""``runlog review``."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from runlog.cli.common import CarOption, JsonOption, LogbookOption, logbook, new_command, print_json
from runlog.cli.written import HtmlOption, PdfOption, ensure_tools, write_document
from runlog.errors import UsageError


@new_command(
    "Sum up a car's test day: what is known and what isn't, every run, what each change did, and the car as left; as a "
    "document to hand over with --html or --pdf.",
    "runlog review 2031-04-12 --car heron --html review.html",
)
def app(
    day: Annotated[str, typer.Argument(metavar="DAY", help="A date, or car/date.")],
    car: CarOption = None,
    html: HtmlOption = None,
    pdf: PdfOption = None,
    short: Annotated[bool, typer.Option("--short", help="The customer's version: fewer pages.")] = False,
    runs: Annotated[
        list[int] | None,
        typer.Option("--run", metavar="N", help="A run to draw along the track, the first as reference; repeat it."),
    ] = None,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Sum up a test day."""
    from runlog.workflows.find import find_car, find_day
    from runlog.workflows.review.page import review_page

    ensure_tools(html, pdf)
    with logbook(book) as opened:
        named, date = find_day(opened, day)
        if car is not None and named is not None and car.lower() != named:
            raise UsageError(f"two cars: {named} in {day}, {car} in --car")
        who = named if car is None else find_car(opened, car)
        page = review_page(opened, who, date, short=short, laid_over=runs or ())
    write_document(lambda: _document(page), html, pdf, f"review of {page['car']} on {page['date']}")
    if as_json:
        print_json(page)
    else:
        from runlog.reports.review import print_review

        print_review(page)


def _document(page: dict[str, Any]) -> str:
    from runlog.reports.html.review import review_html

    return review_html(page)
