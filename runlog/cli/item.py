"""``runlog item``: what was found and must be dealt with."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from runlog.cli.common import (
    SETTINGS,
    CarOption,
    JsonOption,
    LogbookOption,
    logbook,
    note,
    plain,
    print_json,
    reports_errors,
)
from runlog.errors import UsageError

app = typer.Typer(add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False, no_args_is_help=True)


@app.callback(context_settings=SETTINGS)
def _group() -> None:
    """Keep what was found loose, leaking or wrong until it is dealt with."""


def _option(name: str, metavar: str, text: str) -> typer.models.OptionInfo:
    option: typer.models.OptionInfo = typer.Option(name, metavar=metavar, help=text, show_default=False)
    return option


ByOption = Annotated[str | None, _option("--by", "NAME", "Who says so.")]


@app.command(
    "add",
    help="Add an open item; without TEXT it is asked for on a terminal. With --stop there is no next run until it is "
    "closed, and the settings changed since the last clean run are barred: name the ones that caused it with "
    "--setting, or say --no-setting.",
    epilog='Example: runlog item add "oil on the left header" --stop --no-setting --by "A. Crew"',
    context_settings=SETTINGS,
)
@reports_errors
def add(
    text: Annotated[
        str | None,
        typer.Argument(metavar="TEXT", help="What was found; asked for on a terminal.", show_default=False),
    ] = None,
    stop: Annotated[bool, typer.Option("--stop", help="No run before it is dealt with.")] = False,
    shop: Annotated[bool, typer.Option("--shop", help="To be dealt with back at the shop.")] = False,
    car: CarOption = None,
    run: Annotated[str | None, _option("--run", "RUN", "The run; the car's newest by default.")] = None,
    setting: Annotated[list[str] | None, _option("--setting", "NAME", "An adjustable that caused it.")] = None,
    no_setting: Annotated[bool, typer.Option("--no-setting", help="No setting caused it.")] = False,
    by: ByOption = None,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Add an open item."""
    from runlog.workflows.find import find_car, find_run
    from runlog.workflows.release.listing import add_item, list_page, would_bar
    from runlog.workflows.release.signing import Who

    if stop and shop:
        raise UsageError("--stop and --shop contradict each other")
    if no_setting and setting:
        raise UsageError("--setting and --no-setting contradict each other")
    due = "stop" if stop else "at the shop" if shop else "before next run"
    if text is None and sys.stdin.isatty():
        from runlog.cli.guided_item import NONE, SHOP, ask_item, settings_of

        given = {"car": car, "run": run, "by": by, "due": "stop" if stop else SHOP if shop else None,
                 "settings": NONE if no_setting else ", ".join(setting) if setting else None}  # fmt: skip
        said = ask_item(book, {name: value for name, value in given.items() if value is not None})
        run, text, by = said["run"] or None, said["text"], said["by"] or None
        stop, due = said["due"] == "stop", "at the shop" if said["due"] == SHOP else said["due"]
        setting = settings_of(said)
        no_setting = setting == []
    elif text is None:
        raise UsageError("say what was found: runlog item add TEXT")
    with logbook(book, write=True) as opened:
        key = find_run(opened, run) if run else None
        name = key.car if key else find_car(opened, car)
        settings = [] if no_setting or not stop else setting
        made = add_item(opened, name, due, key, Who(by, text), settings)
        if stop and settings is None and made.fact.number is not None:
            from runlog.records import RunKey

            moved = would_bar(opened, RunKey(name, made.fact.date, made.fact.number))
            if moved:
                note(f"barred with it, as changed since the last clean run: {', '.join(moved)}. "
                     "If none of them caused it: runlog release --setting NAME=VALUE --by NAME --why TEXT")  # fmt: skip
        page = list_page(opened, name, closed=False)
    _show(page, as_json=as_json)


@app.command(
    "close",
    help="Close an open item: its number in the list, or the beginning of its identity.",
    epilog='Example: runlog item close 1 --did "new gasket, no oil after a warm-up" --by "A. Crew"',
    context_settings=SETTINGS,
)
@reports_errors
def close(
    which: Annotated[str, typer.Argument(metavar="ITEM", help="Number or identity.")],
    did: Annotated[str | None, _option("--did", "TEXT", "What was done.")] = None,
    by: ByOption = None,
    car: CarOption = None,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Close an open item."""
    from runlog.workflows.find import find_car
    from runlog.workflows.release.listing import close_item, list_page
    from runlog.workflows.release.signing import Who

    if did is None and sys.stdin.isatty():
        did = typer.prompt("What was done")
    if not did:
        raise UsageError("say what was done: --did TEXT")
    with logbook(book, write=True) as opened:
        name = find_car(opened, car) if car else None
        done = close_item(opened, name, which, Who(by, did))
        page = list_page(opened, name, closed=False)
    note(plain(f"closed: {done.text}"))
    _show(page, as_json=as_json)


@app.command(
    "list",
    help="List the open items, numbered, the most urgent first.",
    epilog="Example: runlog item list --car heron",
    context_settings=SETTINGS,
)
@reports_errors
def list_items(
    car: CarOption = None,
    closed: Annotated[bool, typer.Option("--all", help="Those that were closed as well.")] = False,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """List the open items."""
    from runlog.workflows.find import find_car
    from runlog.workflows.release.listing import list_page

    with logbook(book) as opened:
        page = list_page(opened, find_car(opened, car) if car else None, closed=closed)
    _show(page, as_json=as_json)


def _show(page: list[dict[str, object]], *, as_json: bool) -> None:
    if as_json:
        print_json(page)
        return
    from runlog.reports.release import print_items

    print_items(page)
