"""``runlog effects``."""

from __future__ import annotations

from typing import Annotated

import typer

from runlog.cli.common import CarOption, JsonOption, LogbookOption, logbook, new_command, print_json
from runlog.errors import UsageError


@new_command(
    "Say what each setup change did to each increment, with its doubt and a verdict in plain words.",
    "runlog effects --car heron",
)
def app(
    car: CarOption = None,
    day: Annotated[
        str | None, typer.Option("--day", metavar="DATE", help="From this day's runs alone.", show_default=False)
    ] = None,
    priors: Annotated[bool, typer.Option("--priors", help="Show what was assumed before any run.")] = False,
    backtest: Annotated[
        bool, typer.Option("--backtest", help="Foretell each day from the others, beside plain tools.")
    ] = False,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Say what each setup change did."""
    from runlog.workflows.find import find_car, find_day
    from runlog.workflows.lessons.page import day_page, effects_page

    if backtest and (day or priors):
        raise UsageError("--backtest takes all days and shows nothing else: leave out --day and --priors")
    with logbook(book) as opened:
        name = find_car(opened, car)
        if backtest:
            from runlog.workflows.lessons.backtest import backtest_page

            page = backtest_page(opened, name)
        elif day is not None:
            page = day_page(opened, name, find_day(opened, f"{name}/{day}")[1])
        else:
            page = effects_page(opened, name)
    if as_json:
        print_json(page)
        return
    from runlog.reports.effects import print_backtest, print_effects, print_priors

    if backtest:
        print_backtest(page)
    elif priors:
        print_priors(page)
    else:
        print_effects(page)
