"""``runlog demo``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from runlog.cli.common import JsonOption, new_command, note, print_json


@new_command(
    "Make a logbook from the demo season (invented: no real shop, car or track), import everything, and show the "
    "newest run, what each change did, and a plan for the next three runs.",
    "runlog demo",
)
def app(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The logbook to make.")] = Path("demo.duckdb"),
    as_json: JsonOption = False,
) -> None:
    """Make the demo logbook and show its pages."""
    from runlog.reports.effects import print_effects
    from runlog.reports.imports import Progress
    from runlog.reports.plan import print_plan
    from runlog.reports.run_page import print_run_page
    from runlog.store.connection import create_logbook, open_logbook
    from runlog.workflows.ahead.plan import Left, plan_page
    from runlog.workflows.find import find_run
    from runlog.workflows.intake.demo import import_demo
    from runlog.workflows.lessons.page import effects_page
    from runlog.workflows.runs.page import run_page

    with open_logbook(file) if file.exists() else create_logbook(file) as book:
        with Progress() as progress:
            report = import_demo(book, progress.step)
        newest = find_run(book, None)
        page, effects = run_page(book, newest), effects_page(book, newest.car)
        plan = plan_page(book, newest.car, Left())
    note(f"{file}: {report.stored} files stored, {report.unchanged} unchanged, {report.refused} refused (all invented)")
    if as_json:
        print_json({"show": page, "effects": effects, "plan": plan})
    else:
        print_run_page(page)
        typer.echo()
        print_effects(effects, with_next=False)
        print_plan(plan)
        typer.echo(f"\nNext: runlog runs --logbook {file}\n      runlog effects --car heron --logbook {file}")
    if report.refused:
        raise typer.Exit(1)
