"""What commands share: their options, opening the logbook, errors and JSON."""

from __future__ import annotations

import contextlib
import functools
import json
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, ParamSpec, TypeVar

import typer

from runlog.errors import NotFound, RunlogError, UsageError

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Iterator

    from runlog.store.connection import Logbook

P = ParamSpec("P")
R = TypeVar("R")

LogbookOption = Annotated[
    Path | None, typer.Option("--logbook", "-l", metavar="FILE", help="The logbook.", show_default=False)
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON for machines.")]
CarOption = Annotated[str | None, typer.Option("--car", metavar="CAR", help="The car.", show_default=False)]


def new_command(module_help: str, example: str) -> Callable[[Callable[P, Any]], typer.Typer]:
    """Make the Typer application of a single command from a function."""

    def make(function: Callable[P, Any]) -> typer.Typer:
        command = typer.Typer(add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False)
        command.command(help=module_help, epilog=f"Example: {example}", context_settings=SETTINGS)(
            reports_errors(function)
        )
        return command

    return make


SETTINGS: dict[str, Any] = {"help_option_names": ["-h", "--help"], "max_content_width": 80}


def reports_errors(function: Callable[P, R]) -> Callable[P, R]:
    """Turn the program's own errors into a message on stderr and their exit code."""

    @functools.wraps(function)
    def wrapped(*args: P.args, **kwargs: P.kwargs) -> R:
        try:
            return function(*args, **kwargs)
        except RunlogError as error:
            for line in str(error).splitlines():
                typer.echo(f"runlog: {plain(line)}", err=True)
            raise typer.Exit(error.exit_code) from None
        except BrokenPipeError:
            # the reader of our output has gone: nothing more to say, and nothing to flush into
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            raise typer.Exit(1) from None

    return wrapped


def plain(text: str) -> str:
    """Return text from files with control characters made visible, so that it can't steer the terminal."""
    return "".join(char if char.isprintable() else repr(char)[1:-1] for char in text)


def logbook_path(given: Path | None) -> Path:
    """Return the logbook to use; ``UsageError`` when nothing tells which."""
    if given is not None:
        return given
    named = os.environ.get("RUNLOG_LOGBOOK")
    if named:
        return Path(named)
    here = sorted(Path.cwd().glob("*.duckdb"))
    if len(here) == 1:
        return here[0]
    found = f"several logbooks here ({', '.join(path.name for path in here)})" if here else "no logbook here"
    raise UsageError(f"{found}: say which with --logbook FILE or RUNLOG_LOGBOOK, or make one with 'runlog new FILE'")


@contextlib.contextmanager
def logbook(given: Path | None, *, write: bool = False) -> Iterator[Logbook]:
    """Open the logbook that is meant; results that were left out of date are computed first."""
    from runlog.store.connection import open_logbook
    from runlog.store.results import stale_marks

    path = logbook_path(given)
    book = open_logbook(path, read_only=not write)
    try:
        if stale_marks(book):
            book.close()
            book = open_logbook(path)
            from runlog.workflows.results.derive import refresh

            refresh(book)
        yield book
    finally:
        book.close()


def print_json(content: Any) -> None:
    """Print a result for machines, alone on stdout."""
    typer.echo(json.dumps(content, ensure_ascii=False, indent=2, allow_nan=False))


def note(text: str) -> None:
    """Say something beside the result, on stderr."""
    typer.echo(plain(text), err=True)


def quantity(text: str | None, dimension: str, option: str) -> float | None:
    """Read an option given with its unit, such as ``90F``; SI."""
    from runlog.units import parse_quantity

    if text is None:
        return None
    try:
        return parse_quantity(text, dimension)
    except ValueError as error:
        raise UsageError(f"{option}: {error}") from None


def run_key(text: str | None) -> Any:
    """Read an option that names a run in full."""
    from runlog.readers.keys import parse_run_key

    if text is None:
        return None
    key = parse_run_key(text)
    if key is None:
        raise UsageError(f"--run: {text!r} is not a run key; accepted: car/date/number such as heron/2031-04-12/3")
    return key


def day_option(text: str | None) -> dt.date | None:
    """Read the option ``--date``."""
    from runlog.readers.keys import parse_date

    found = None if text is None else parse_date(text)
    if text is not None and found is None:
        raise UsageError(f"--date: {text!r} is not a date; accepted: a date such as 2031-04-12")
    return found


def existing(paths: list[Path]) -> list[Path]:
    """Return the paths; ``NotFound`` that names every one that isn't there."""
    missing = [str(path) for path in paths if not path.exists()]
    if missing:
        raise NotFound(f"no such file or folder: {', '.join(missing)}")
    return paths
