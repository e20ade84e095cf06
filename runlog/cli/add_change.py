"""``runlog add change``: what was really changed before a run."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated, Any

import typer

from runlog.cli.common import CarOption, JsonOption, LogbookOption, logbook, note, print_json, reports_errors, run_key
from runlog.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runlog.records import RunKey
    from runlog.store.connection import Logbook


@reports_errors
def change(
    changes: Annotated[
        list[str] | None,
        typer.Argument(metavar="CHANGE", help='Such as "launch rpm=4400", "rear tyre pressure -0.5".',
                       show_default=False),
    ] = None,
    planned: Annotated[bool, typer.Option("--planned", help="What the accepted plan has before that run.")] = False,
    to_baseline: Annotated[bool, typer.Option("--to-baseline", help="Everything back as at the baseline.")] = False,
    car: CarOption = None,
    run: Annotated[
        str | None,
        typer.Option("--run", metavar="KEY", help="The run that it holds from; the next one by default.",
                     show_default=False),
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Don't ask whether it was really done so.")] = False,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:  # fmt: skip
    """Keep what was changed."""
    from runlog.workflows.find import find_car
    from runlog.workflows.release import done

    said = sum((bool(changes), planned, to_baseline))
    if said == 0 and sys.stdin.isatty():
        from runlog.cli.guided_change import ask_changes

        asked, changes = ask_changes(book, car, run)
        run = str(asked)
    elif said != 1:
        raise UsageError("say what was changed, or --planned, or --to-baseline")
    with logbook(book, write=True) as opened:
        key = run_key(run) or done.next_key(opened, find_car(opened, car))
        page = done.read_changes(opened, key, _texts(opened, key, changes or (), planned=planned))
        if sys.stdin.isatty() and not yes:
            _confirm(page)
        done.keep_changes(opened, key, page["changes"])
    note(f"kept for {key} and the runs after it. What was done otherwise: type the change again.")
    if as_json:
        print_json(page)
    else:
        from runlog.reports.changes import print_changes

        print_changes(page)


def _texts(book: Logbook, key: RunKey, changes: Sequence[str], *, planned: bool) -> list[str]:
    from runlog.workflows.release import done

    if planned:
        return done.planned(book, key)
    return list(changes) or done.to_baseline(book, key.car)


def _confirm(page: dict[str, Any]) -> None:
    """Ask of each change whether it was really done so; what wasn't can be put right before it is kept."""
    from runlog.reports import amounts

    kept = []
    for item in page["changes"]:
        moved = amounts.change(item["from"], item["to"], item["unit"])
        if typer.confirm(f"{item['item']} {moved}: really done so?", default=True):
            kept.append(item)
        else:
            note(f"{item['item']}: left out; type what was really done")
    if not kept:
        raise typer.Exit(1)
    page["changes"] = kept
