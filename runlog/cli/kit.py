"""``runlog kit``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from runlog.cli.common import JsonOption, LogbookOption, logbook, new_command, print_json
from runlog.errors import RunlogError


@new_command(
    "Write blank setup sheet, slips and air files for a car, as CSV and as workbooks: to be printed, or filled in and "
    "imported as they are. Each setting stands with its unit, its last value, its limits and what to mind.",
    "runlog kit heron pits/",
)
def app(
    car: Annotated[str, typer.Argument(metavar="CAR", help="The car.")],
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Where to; made where it isn't there.")],
    force: Annotated[bool, typer.Option("--force", help="Replace files that are there.")] = False,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Write the blank files for a car."""
    from runlog.reports.amounts import metric, setting, symbol
    from runlog.reports.workbooks import write_form
    from runlog.workflows.find import find_car
    from runlog.workflows.kit import Units, kit

    own = ("C", "hPa", "m_s", "kg", "mm") if metric() else ()
    with logbook(book) as opened:
        forms = kit(opened, find_car(opened, car), Units(symbol, setting, *own))
    paths = [(folder / f"{form.name}{ending}", form) for form in forms for ending in (".csv", ".xlsx")]
    there = [str(path) for path, _ in paths if path.exists()]
    if there and not force:
        raise RunlogError(f"there already, perhaps filled in: {', '.join(there)}; --force replaces them")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise RunlogError(f"{folder} can't be made: {error.strerror}") from None
    for path, form in paths:
        write_form(path, form)
    if as_json:
        print_json({"files": [{"path": str(path), "title": form.title} for path, form in paths]})
        return
    from runlog.reports.console import bullets, console, line

    out = console()
    for form in forms:
        out.print(line((f"{form.name}.csv, {form.name}.xlsx", "bold")))
        bullets(out, [form.title], " ")
    out.print(
        line(
            (
                f"Next: fill in one of each, then runlog import {folder}; blank ones are refused, which does no harm",
                "dim",
            )
        )
    )
