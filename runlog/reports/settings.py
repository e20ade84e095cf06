"""What is set, on the terminal."""

from __future__ import annotations

from typing import Any

from runlog.reports.console import NOTHING, add_row, bullets, console, heading, line, table


def print_settings(content: dict[str, Any]) -> None:
    """Print the settings, where each comes from, and the files that were looked for."""
    out = console()
    made = table("setting", "value", "from", left=3)
    for row in content["settings"]:
        value = NOTHING if row["value"] is None else f"{row['value']:g}" if _number(row["value"]) else row["value"]
        add_row(made, [row["key"], value, row["source"] or "not set"])
    out.print(made)
    if content["logbook_problem"]:
        bullets(out, [content["logbook_problem"]], "?")
    out.print()
    out.print(heading("What can be set, in TOML or by a variable"))
    made = table("", "", "", left=3)
    made.show_header = False
    for row in content["settings"]:
        add_row(made, [row["key"], row["variable"], row["meaning"]])
    out.print(made)
    out.print()
    out.print(heading("Files, in the order in which they are asked"))
    for file in content["files"]:
        there = "" if file["exists"] else "  (not there)"
        out.print(line(f"{file['path']}{there}"))


def _number(value: object) -> bool:
    return isinstance(value, int | float)
