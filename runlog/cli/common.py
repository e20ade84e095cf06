"""What commands share: their options, opening the logbook, errors and JSON."""

from __future__ import annotations

import contextlib
import functools
import inspect
import json
import os
import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final, ParamSpec, TypeVar

import typer

from runlog import configuration
from runlog.errors import NotFound, RunlogError, UsageError

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Iterator

    from runlog.store.connection import Logbook

_UNPRINTABLE: Final = re.compile(
    "[\x7f-\x9f\xad\u061c\u200b-\u200f\u2028-\u202e\u2060-\u206f\ud800-\udfff\ufeff\ufff9-\ufffb]"
)
"""Controls beside those that JSON escapes by itself, marks that turn or hide writing, halves of characters."""

P = ParamSpec("P")
R = TypeVar("R")

LogbookOption = Annotated[
    Path | None, typer.Option("--logbook", "-l", metavar="FILE", help="The logbook.", show_default=False)
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON for machines.")]
JobsOption = Annotated[int, typer.Option("--jobs", metavar="N", help="Spread the work over N processes.", min=1)]
SchedulerOption = Annotated[
    str | None,
    typer.Option(
        "--scheduler", metavar="ADDRESS", help="Spread it over a scheduler's workers (tcp://…).", show_default=False
    ),
]
CarOption = Annotated[str | None, typer.Option("--car", metavar="CAR", help="The car.", show_default=False)]

UnitsOption = Annotated[
    str | None,
    typer.Option("--units", metavar="us|metric", help="Units of the page; as set by default.", show_default=False),
]


def option(name: str, metavar: str, text: str) -> typer.models.OptionInfo:
    """Return an option that takes a value and has no default worth showing."""
    made: typer.models.OptionInfo = typer.Option(name, metavar=metavar, help=text, show_default=False)
    return made


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
    """Turn the program's own errors into a message on stderr and their exit code, and let the units be chosen."""

    @functools.wraps(function)
    def wrapped(*args: P.args, **kwargs: P.kwargs) -> R:
        units = kwargs.pop("units", None)
        with reported():
            if units is not None:
                configuration.say("units", units, "--units")
            return function(*args, **kwargs)

    own = inspect.signature(function, eval_str=True)
    chosen = inspect.Parameter("units", inspect.Parameter.KEYWORD_ONLY, default=None, annotation=UnitsOption)
    wrapped.__signature__ = own.replace(parameters=[*own.parameters.values(), chosen])  # type: ignore[attr-defined]
    wrapped.__annotations__ = {**function.__annotations__, "units": UnitsOption}
    return wrapped


@contextlib.contextmanager
def reported() -> Iterator[None]:
    """Turn the program's own errors into a message on stderr and their exit code."""
    try:
        yield
    except RunlogError as error:
        for line in str(error).splitlines():
            typer.echo(f"runlog: {plain(line)}", err=True)
        raise typer.Exit(error.exit_code) from None
    except BrokenPipeError:
        # the reader of our output has gone: nothing more to say, and nothing to flush into
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise typer.Exit(1) from None


def begin(context: typer.Context) -> None:
    """Read what the shop has set, in this folder and for this user; it holds until the command has ended."""
    context.call_on_close(configuration.forget)
    with reported():
        configuration.begin(Path.cwd(), user_file())


def user_file() -> Path:
    """Return the user's own configuration file; the variable RUNLOG_CONFIG names another."""
    named = os.environ.get("RUNLOG_CONFIG")
    return Path(named) if named else Path(typer.get_app_dir("runlog")) / configuration.FILE


def plain(text: str) -> str:
    """Return text from files with control characters made visible, so that it can't steer the terminal."""
    return "".join(char if char.isprintable() else repr(char)[1:-1] for char in text)


def logbook_path(given: Path | None) -> Path:
    """Return the logbook to use, and read what is set beside it; ``UsageError`` when nothing tells which."""
    path = given or _logbook_meant()
    configuration.beside(path)
    return path


def _logbook_meant() -> Path:
    """Return the logbook that is set near by, else the only one here, else the user's own."""
    near = configuration.find("logbook", user=False)
    if near.value is not None:
        return Path(near.value)
    here = sorted(Path.cwd().glob("*.duckdb"))
    if len(here) == 1:
        return here[0]
    usual = configuration.find("logbook")
    if usual.value is not None:
        return Path(usual.value)
    found = f"several logbooks here ({', '.join(path.name for path in here)})" if here else "no logbook here"
    raise UsageError(
        f"{found}: say which with --logbook FILE, RUNLOG_LOGBOOK or runlog.toml, or make one with 'runlog new FILE'"
    )


@contextlib.contextmanager
def logbook(given: Path | None, *, write: bool = False) -> Iterator[Logbook]:
    """Open the logbook that is meant; results that were left out of date are computed first."""
    from runlog.workflows.opening import open_current

    book = open_current(logbook_path(given), write=write)
    try:
        yield book
    finally:
        book.close()


def print_json(content: Any, indent: int | None = 2) -> None:
    """Print a result for machines, alone on stdout.

    What isn't printable is written as JSON's escape of it, which says the same: a terminal acts on some of it.
    """
    text = json.dumps(content, ensure_ascii=False, indent=indent, allow_nan=False)
    typer.echo(_UNPRINTABLE.sub(lambda found: json.dumps(found[0])[1:-1], text))


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
