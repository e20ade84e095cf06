"""The list of runs on the terminal."""

from __future__ import annotations

from itertools import groupby
from typing import Any

from rich.text import Text

from runlog.constants import REFERENCE_NAME
from runlog.reports.amounts import speed_number, symbol
from runlog.reports.console import add_row, console, line, number, table


def print_runs(rows: list[dict[str, Any]]) -> None:
    """Print runs, a table for each car and day: measured figures, and the corrected elapsed time beside."""
    out = console()
    if not rows:
        out.print(line("No runs yet. Next: runlog import SLIPS, or runlog add run."))
        return
    for (car, date), group in groupby(rows, key=lambda row: (row["car"], row["date"])):
        out.print(line((f"{car}  {date}", "bold")))
        made = table("run", "time", "60", "330", "660", "1000", "1320", symbol("mph"), "ET*", "")
        made.columns[-1].justify = "left"
        made.columns[-1].no_wrap = False
        for row in group:
            add_row(made, _cells(row))
        out.print(made)
        out.print()
    out.print(line((f"* corrected to {REFERENCE_NAME}, as far as the figures count", "dim")))
    out.print(line(("Next: runlog show CAR/DATE/NUMBER", "dim")))


def _cells(row: dict[str, Any]) -> list[str | Text]:
    limit = row["valid_to_ft"] or 0
    times = [
        Text(number(row[f"t{feet}_s"]), style="" if feet <= limit else "dim") for feet in (60, 330, 660, 1000, 1320)
    ]
    mph = next((row[f"v{feet}_mph"] for feet in (1320, 660) if feet <= limit and row[f"v{feet}_mph"]), None)
    elapsed = row["corrected_t1320_s"] if row["t1320_s"] is not None else row["corrected_t660_s"]
    if row["spoiled_reason"]:
        note = f"✗ {row['spoiled_reason']}"
    else:
        note = "" if limit in (660, 1320) or not limit else f"to {limit}"
    time = (row["time"] or "")[:5]
    return [str(row["number"]), time, *times, speed_number(mph), number(elapsed), note]
