"""``runlog conflicts``."""

from __future__ import annotations

from runlog.cli.common import JsonOption, LogbookOption, logbook, new_command, print_json


@new_command(
    "List what laptops told differently without knowing of each other. Until it is settled, what was stored last is "
    "shown.",
    "runlog conflicts",
)
def app(as_json: JsonOption = False, book: LogbookOption = None) -> None:
    """List conflicts."""
    from runlog.workflows.keeping.conflicts import conflicts, conflicts_page

    with logbook(book) as opened:
        page = conflicts_page(conflicts(opened))
    if as_json:
        print_json(page)
    else:
        from runlog.reports.merging import print_conflicts

        print_conflicts(page)
