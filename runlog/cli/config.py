"""``runlog config``."""

from __future__ import annotations

from typing import Any

from runlog.cli.common import JsonOption, LogbookOption, new_command, print_json
from runlog.errors import UsageError


@new_command(
    "Show what is set and where each setting comes from. The first that says something holds: an option, the "
    "environment (RUNLOG_UNITS …), runlog.toml in this folder, the one beside the logbook, the user's own.",
    "runlog config --json",
)
def app(as_json: JsonOption = False, book: LogbookOption = None) -> None:
    """Show what is set and where it comes from."""
    from runlog.cli.common import logbook_path

    try:
        path = logbook_path(book)
    except UsageError as error:  # none, or several: the other settings are there to be seen all the same
        content = _content(None, str(error))
    else:
        content = _content(str(path), None)
    if as_json:
        print_json(content)
    else:
        from runlog.reports.settings import print_settings

        print_settings(content)


def _content(logbook: str | None, why: str | None) -> dict[str, Any]:
    from runlog import configuration

    settings = []
    for name, key in configuration.KEYS.items():
        found = configuration.find(name)
        value, source = found.value, found.source
        if name == "logbook" and logbook is not None and value != logbook:
            value, source = logbook, "the only .duckdb file here"
        settings.append(
            {"key": name, "value": value, "source": source or None, "variable": key.variable, "meaning": key.meaning}
        )
    return {
        "settings": settings,
        "logbook_problem": why,
        "files": [
            {"path": str(file.path), "whose": file.whose, "exists": file.exists} for file in configuration.files()
        ],
    }
