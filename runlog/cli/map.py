"""``runlog map``: channel maps, which settle what the columns of a logger file are."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from runlog.cli.common import SETTINGS, JsonOption, LogbookOption, logbook, note, plain, print_json, reports_errors
from runlog.errors import RunlogError, UsageError

if TYPE_CHECKING:
    from runlog.workflows.intake.maps import KnownMap

app = typer.Typer(add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False, no_args_is_help=True)


@app.callback(context_settings=SETTINGS)
def _group() -> None:
    """List, write, show and forget channel maps."""


@app.command(
    "list",
    help="List the channel maps that are remembered, newest first.",
    epilog="Example: runlog map list",
    context_settings=SETTINGS,
)
@reports_errors
def list_maps(as_json: JsonOption = False, book: LogbookOption = None) -> None:
    """List the maps."""
    from runlog.workflows.intake.maps import known_maps

    with logbook(book) as opened:
        maps = known_maps(opened)
    if as_json:
        print_json([_content(item) for item in maps])
        return
    from runlog.reports.imports import print_maps

    print_maps([_content(item) for item in maps])


@app.command(
    "write",
    help="Write a channel map for a logger file, filled in with what was understood of it. No logbook is needed.",
    epilog="Example: runlog map write pits/log.csv --to maps/log.toml",
    context_settings=SETTINGS,
)
@reports_errors
def write(
    log: Annotated[Path, typer.Argument(metavar="LOG", help="The logger file.")],
    to: Annotated[Path | None, typer.Option("--to", metavar="FILE", help="Write it there.", show_default=False)] = None,
    rate: Annotated[
        float | None,
        typer.Option("--rate", metavar="HZ", help="Sample rate of a log without time.", show_default=False, min=0.001),
    ] = None,
) -> None:
    """Write a map."""
    from runlog.workflows.intake.maps import written_map

    text = written_map(log, rate)
    if to is None:
        typer.echo(text, nl=False)
        return
    if to.exists():
        raise UsageError(f"{to} exists already: choose another name, or remove it first")
    try:
        to.write_text(text, "utf-8", newline="\n")
    except OSError as error:
        raise RunlogError(f"{to}: {error.strerror or error}") from None
    note(f"{to} is written. Correct what is wrong, then: runlog import {log} --map {to}")


_Which = Annotated[str, typer.Argument(metavar="FINGERPRINT", help="As listed; its beginning will do.")]


@app.command(
    "show",
    help="Show a channel map as it was written.",
    epilog="Example: runlog map show 3f9a",
    context_settings=SETTINGS,
)
@reports_errors
def show(fingerprint: _Which, as_json: JsonOption = False, book: LogbookOption = None) -> None:
    """Show a map."""
    from runlog.workflows.intake.maps import find_map

    with logbook(book) as opened:
        found = find_map(opened, fingerprint)
    if as_json:
        print_json({**_content(found), "content": found.content})
    else:
        for line in found.content.splitlines():
            typer.echo(plain(line))


@app.command(
    "forget",
    help="Forget a channel map for files to come. What was stored with it stays as it is.",
    epilog="Example: runlog map forget 3f9a",
    context_settings=SETTINGS,
)
@reports_errors
def forget(fingerprint: _Which, as_json: JsonOption = False, book: LogbookOption = None) -> None:
    """Forget a map."""
    from runlog.workflows.intake.maps import forget_map

    with logbook(book, write=True) as opened:
        found = forget_map(opened, fingerprint)
    if as_json:
        print_json(_content(found))
    else:
        typer.echo(f"{plain(found.name)} is forgotten for {found.fingerprint}.")


def _content(item: KnownMap) -> dict[str, Any]:
    return {
        "fingerprint": item.fingerprint or None,
        "name": item.name,
        "columns": item.columns,
        "logs": item.logs,
    }
