"""``runlog effects``."""

from __future__ import annotations

from runlog.cli.common import CarOption, JsonOption, LogbookOption, logbook, new_command, print_json


@new_command(
    "Say what each setup change did to each increment, with its doubt and a verdict in plain words.",
    "runlog effects --car heron",
)
def app(car: CarOption = None, as_json: JsonOption = False, book: LogbookOption = None) -> None:
    """Say what each setup change did."""
    from runlog.workflows.effects_page import effects_page
    from runlog.workflows.find import find_car

    with logbook(book) as opened:
        page = effects_page(opened, find_car(opened, car))
    if as_json:
        print_json(page)
    else:
        from runlog.reports.effects import print_effects

        print_effects(page)
