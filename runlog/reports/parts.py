"""Runs per part on the terminal."""

from __future__ import annotations

from typing import Any

from runlog.reports.console import add_row, console, heading, line, table


def print_parts(page: dict[str, Any]) -> None:
    """Print each part with its runs; those in the car first."""
    out = console()
    out.print(heading(f"{page['car']}: runs of each part, of {page['runs']} in the logbook"))
    if not page["parts"]:
        out.print(line("No part was named yet: runlog release --part engine=NAME, or runlog add start --tyres SET"))
        return
    made = table("part", "in the car", "since", "runs", "660 ft and on")
    for item in page["parts"]:
        before = f" (+{item['runs_before']} before)" if item["runs_before"] else ""
        cells = [f"{item['part']} {item['name']}", "yes" if item["in_car"] else "no", item["since"].partition("/")[2]]
        add_row(made, [*cells, f"{item['runs']}{before}", str(item["long_runs"])])
    out.print(made)
    out.print(line(("Service intervals are the makers'; a run that wasn't entered isn't counted.", "dim")))
