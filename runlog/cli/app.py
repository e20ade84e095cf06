"""The command line's entry point: a table of commands, each imported only when it is used."""

from __future__ import annotations

import functools
import gc
import importlib
import io
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import typer
from typer.core import TyperGroup

import runlog

if TYPE_CHECKING:
    from collections.abc import Callable

COMMANDS = {
    # name: (module in runlog.cli, what it does)
    "new": ("new", "Make a new, empty logbook."),
    "import": ("import_", "Read files or folders into the logbook."),
    "watch": ("watch", "Read what arrives in a folder, and show runs as they get complete."),
    "add": ("add", "Type something in by hand."),
    "answer": ("answer", "List the questions that the data raise, and answer them."),
    "parts": ("parts", "Count the runs of each part."),
    "map": ("map", "List, write, show and forget channel maps."),
    "runs": ("runs", "List the runs."),
    "show": ("show", "Show one run on one page; the newest by default."),
    "compare": ("compare", "Put two or more runs side by side."),
    "effects": ("effects", "Say what each setup change did, with its doubt."),
    "season": ("season", "Show a car's days side by side."),
    "fleet": ("fleet", "Say what all cars teach each other."),
    "plot": ("plot", "Plot increments, traces, effects, air or the chassis."),
    "review": ("review", "Sum up a test day, as a document to hand over."),
    "chassis": ("chassis", "Show links, instant centre, anti-squat, weights and balance."),
    "suppose": ("suppose", "Say what physics makes of a change before it is made."),
    "forecast": ("forecast", "Say what the next run will show, and with which chance."),
    "plan": ("plan", "Say what to try in the runs that are left, to learn most."),
    "release": ("release", "Show, tick and sign how far a car's next run may go."),
    "back-to-baseline": ("back_to_baseline", "List how to undo all changes."),
    "item": ("item", "Add, close and list open items."),
    "air": ("air", "Work out density and density altitude from readings."),
    "kit": ("kit", "Write blank sheet, slip and air files for a car."),
    "config": ("config", "Show what is set and where each setting comes from."),
    "history": ("history", "List every entry about a run, a day, a car or a track."),
    "undo": ("undo", "Withdraw the last change, or bring back what was withdrawn."),
    "sql": ("sql", "Ask the logbook in SQL; it only reads."),
    "export": ("export", "Write what the logbook holds for other programs."),
    "merge": ("merge", "Take in what another logbook or a bundle holds."),
    "conflicts": ("conflicts", "List what laptops told differently."),
    "settle": ("settle", "Say which of two entries that differ holds."),
    "bundle": ("bundle", "Pack a test day into one file to carry or mail."),
    "verify": ("verify", "Check that the logbook is whole."),
    "backup": ("backup", "Write a verified copy of the logbook."),
    "rebuild": ("rebuild", "Read all originals again and compute everything anew."),
    "demo": ("demo", "Make a logbook from the demo season and show its pages."),
}


_ASKED_BY_SHELL = "_RUNLOG_COMPLETE" in os.environ
"""this process only says what a shell is to offer after Tab"""


class _AsTyped:
    """Takes a word of the command line as a text or a path, in place of typer's general reader.

    That one loads a library of models, a third of the time that a page takes to appear, to do the same. What is neither
    is left to it.
    """

    def __init__(self, kind: type, general: Callable[[], Any]) -> None:
        self.kind = kind
        self.general = general

    def coerce(self, value: Any, **said: Any) -> Any:
        if value is None or isinstance(value, self.kind):
            return value
        return Path(value) if self.kind is Path and isinstance(value, str) else self.general().coerce(value, **said)


def _read_plainly(command: Any) -> None:
    """Let single texts, paths and switches of a command be taken as typed; numbers and lists stay with typer."""
    for below in getattr(command, "commands", {}).values():
        _read_plainly(below)
    for parameter in command.params:
        _take_as_typed(parameter)
    its_help = command.get_help_option

    def help_option(ctx: Any) -> Any:
        return _take_as_typed(its_help(ctx))

    command.get_help_option = help_option


def _take_as_typed(parameter: Any) -> Any:
    kind = getattr(getattr(parameter, "type_descriptor", None), "annotation", None)
    if kind in (str, Path, bool) and parameter.nargs == 1 and not parameter.multiple:
        general = parameter.get_runtime_param
        if not isinstance(general, functools.partial):
            parameter.get_runtime_param = functools.partial(_AsTyped, kind, general)
    return parameter


class _Offered(NamedTuple):
    """A word for the shell, as typer's completion takes it."""

    value: str
    help: str
    type: str = "plain"


def _completed(command: Any) -> None:
    """Let every parameter of a command, and of those below it, be completed by what it is called in the help."""
    from runlog.cli.completing import complete

    for below in getattr(command, "commands", {}).values():
        _completed(below)
    for parameter in command.params:

        def offers(ctx: Any, incomplete: str, parameter: Any = parameter) -> list[Any]:
            return [_Offered(text, said) for text, said in complete(parameter, ctx, incomplete)]

        parameter.shell_complete = offers


class _Commands(TyperGroup):
    """Knows every command by name and help text, and imports a command's module when it is called."""

    def get_params(self, ctx: Any) -> Any:
        return [_take_as_typed(parameter) for parameter in super().get_params(ctx)]

    def list_commands(self, ctx: Any) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"runlog.cli.{COMMANDS[cmd_name][0]}")
        command = typer.main.get_command(module.app)
        command.name = cmd_name
        _read_plainly(command)
        if _ASKED_BY_SHELL:
            _completed(command)
        return command

    def shell_complete(self, ctx: Any, incomplete: str) -> list[Any]:
        """Offer commands from the table, without importing all of them; else the options."""
        found = [_Offered(name, text) for name, (_, text) in COMMANDS.items() if name.startswith(incomplete)]
        return found or super().shell_complete(ctx, incomplete)

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in COMMANDS.items()])


app = typer.Typer(
    cls=_Commands,
    name="runlog",
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
)


def _show_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"runlog {runlog.__version__}")
        raise typer.Exit


@app.callback(
    help="Track-test run log and setup-change analyser for straight-line race cars.",
    epilog="Start with: runlog demo. The logbook is taken from --logbook, then RUNLOG_LOGBOOK, then runlog.toml, then "
    "the only .duckdb file in this folder.",
)
def _root(
    context: typer.Context,
    version: bool = typer.Option(False, "--version", callback=_show_version, is_eager=True, help="Show the version."),
) -> None:
    """Read what the shop has set, before any command."""
    from runlog.cli.common import begin

    begin(context)


def main() -> None:
    """Run the command line."""
    # the matrices here are small: more threads only wait for each other. A user's own setting stands
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # start-up makes many lasting objects: looking through them for garbage again and again costs a tenth of it
    gc.set_threshold(50_000)
    _write_any_text()
    try:
        app()
    except Exception as error:
        if os.environ.get("RUNLOG_TRACEBACK"):
            raise
        sys.exit(_unforeseen(error))


def _write_any_text() -> None:
    """Have any text written: to files and pipes as UTF-8, to a terminal as far as it has the characters.

    Where the system's own encoding is an older one, as on Windows for what isn't a terminal, a tick would end a command
    halfway. ``PYTHONIOENCODING`` is a user's own word on the encoding.
    """
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            own = None if stream.isatty() or os.environ.get("PYTHONIOENCODING") else "utf-8"
            stream.reconfigure(encoding=own, errors="replace")


def _unforeseen(error: Exception) -> int:
    """Say in a line what nobody foresaw: a traceback helps no one in the pits, and may hold text from a file."""
    from runlog.cli.common import plain

    said = plain(" ".join(f"{type(error).__name__}: {error}".split()))[:200]
    print(
        f"runlog: this should not have happened ({said}). Nothing half done is kept. 'runlog verify' tells whether the "
        "logbook is whole; RUNLOG_TRACEBACK=1 in the environment shows where it happened.",
        file=sys.stderr,
    )
    return 1
