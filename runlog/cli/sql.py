"""``runlog sql``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from runlog.cli.common import JsonOption, LogbookOption, logbook, logbook_path, new_command, print_json
from runlog.errors import UsageError


@new_command(
    "Ask the logbook in SQL. It only reads, and reaches no other file unless --files is given. What there is to ask: "
    "the views run, split, increment, setup, slip, sheet, air, trace, channel, sample, car and track, all in SI units "
    "whatever --units says; settings are in the unit beside them.",
    "runlog sql \"select key, t60, corrected_t60 from run where car = 'heron' order by key\"",
)
def app(
    query: Annotated[str, typer.Argument(metavar="QUERY", help="One SQL query.")],
    lake: Annotated[
        Path | None, typer.Option("--lake", metavar="DIR", help="Ask a lake of 'export --lake'.", show_default=False)
    ] = None,
    files: Annotated[bool, typer.Option("--files", help="Let the query read and write other files.")] = False,
    as_csv: Annotated[bool, typer.Option("--csv", help="Print CSV.")] = False,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Answer a query."""
    if as_csv and as_json:
        raise UsageError("--csv and --json: say one")
    if lake is not None:
        if files:
            raise UsageError("a lake is read alone: --files is for a logbook")
        from runlog.store.lake import ask_lake

        answer = ask_lake(lake, query)
    else:
        from runlog.store.connection import open_logbook
        from runlog.store.query import ask

        with logbook(book):
            pass  # brings a logbook up to date that needs it
        with open_logbook(logbook_path(book), read_only=True, files=files) as opened:
            answer = ask(opened, query)
    if as_json:
        print_json([dict(zip(answer.columns, map(_plain, row), strict=True)) for row in answer.rows])
        return
    from runlog.reports.answer import print_answer, write_csv

    (write_csv if as_csv else print_answer)(answer.columns, answer.rows)


def _plain(value: Any) -> Any:
    """Return a value as JSON has it; dates, times and what else JSON lacks as text."""
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, dict):
        return {str(name): _plain(item) for name, item in value.items()}
    if isinstance(value, float) and not abs(value) < float("inf"):
        return None
    return value if isinstance(value, str | int | float | bool | None) else str(value)
