"""``runlog fleet``."""

from __future__ import annotations

from runlog.cli.common import JsonOption, LogbookOption, logbook, new_command, print_json


@new_command(
    "Say what all cars teach each other: effects on average, how much cars differ, what to expect of another car, "
    "which cars differ from the others, and what is worth testing next in the shop.",
    "runlog fleet --json",
)
def app(as_json: JsonOption = False, book: LogbookOption = None) -> None:
    """Say what all cars say together."""
    from runlog.workflows.lessons.fleet import fleet_page

    with logbook(book) as opened:
        page = fleet_page(opened)
    if as_json:
        print_json(page)
    else:
        from runlog.reports.fleet import print_fleet

        print_fleet(page)
