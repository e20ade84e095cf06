"""``runlog export``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from runlog.cli.common import CarOption, LogbookOption, logbook, new_command, note
from runlog.errors import UsageError


@new_command(
    "Write what the logbook holds for other programs. A table goes to a file whose ending says its form: .csv, "
    ".parquet or .xlsx; tables are runs, splits, increments, setups, air, crew, effects and traces. A lake is a folder "
    "of Parquet files by car and season, traces too; a second export writes only what has changed.",
    "runlog export runs --to runs.xlsx --car heron",
)
def app(
    table: Annotated[str | None, typer.Argument(metavar="TABLE", help="Which table.", show_default=False)] = None,
    to: Annotated[
        Path | None, typer.Option("--to", metavar="FILE", help="The file of the table.", show_default=False)
    ] = None,
    car: CarOption = None,
    day: Annotated[str | None, typer.Option("--day", metavar="DATE", help="Only this day.", show_default=False)] = None,
    run: Annotated[
        str | None, typer.Option("--run", metavar="KEY", help="Only this run; traces need one.", show_default=False)
    ] = None,
    lake: Annotated[
        Path | None, typer.Option("--lake", metavar="DIR", help="The folder of the lake.", show_default=False)
    ] = None,
    book: LogbookOption = None,
) -> None:
    """Write a table, or bring a lake up to date."""
    if lake is not None:
        if table or to or car or day or run:
            raise UsageError("--lake goes alone: a lake holds everything")
        _lake(lake, book)
        return
    if table is None or to is None:
        raise UsageError("say a table and its file, such as: runlog export runs --to runs.xlsx; or --lake DIR")
    from runlog.reports.workbooks import write_frame
    from runlog.workflows.find import find_car, find_day, find_run
    from runlog.workflows.lessons.page import effects_page
    from runlog.workflows.tables import effects_table
    from runlog.workflows.tables import table as rows_of

    with logbook(book) as opened:
        key = find_run(opened, run) if run or table == "traces" else None
        name = find_car(opened, car) if car or table == "effects" else None
        if table == "effects":
            frame = effects_table(effects_page(opened, find_car(opened, car)))
        else:
            frame = rows_of(opened, table, name, find_day(opened, day)[1] if day else None, key)
    write_frame(frame, to)
    note(f"{to}: {frame.height} row{'' if frame.height == 1 else 's'} of {table}")


def _lake(lake: Path, book: Path | None) -> None:
    from runlog.reports.imports import Progress
    from runlog.store.lake import export_lake

    with logbook(book) as opened, Progress() as progress:
        done = export_lake(opened, lake, progress.step)
    note(f"{lake}: {done.written} files written, {done.unchanged} unchanged, {done.removed} removed")
