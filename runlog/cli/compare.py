"""``runlog compare``."""

from __future__ import annotations

from typing import Annotated

import typer

from runlog.cli.common import JsonOption, LogbookOption, logbook, new_command, print_json
from runlog.errors import UsageError

MOST = 4
"""runs side by side that 80 columns hold"""


@new_command("Put two or more runs side by side; differences are to the first.", "runlog compare 5 7")
def app(
    runs: Annotated[list[str], typer.Argument(metavar="RUN…", help="Two to four runs.")],
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Put two or more runs side by side."""
    from runlog.workflows.compare import comparison
    from runlog.workflows.find import find_run

    if not 2 <= len(runs) <= MOST:
        raise UsageError(f"compare takes two to {MOST} runs, {len(runs)} given")
    with logbook(book) as opened:
        page = comparison(opened, [find_run(opened, text) for text in runs])
    if as_json:
        print_json(page)
    else:
        from runlog.reports.comparison import print_comparison

        print_comparison(page)
