"""Where the figures of a run's page come from, on the terminal."""

from __future__ import annotations

from typing import Any

from runlog.reports.amounts import prose
from runlog.reports.console import bullets, console, line
from runlog.reports.shown import readings_line


def print_explanation(page: dict[str, Any]) -> None:
    """Print each figure with what it rests on, its formula and the source of that."""
    out = console()
    out.print(line((f"{page['run']['key']}: where its figures come from", "bold")))
    for row in page["explanation"]:
        said = readings_line(page["air"]) if row["figure"] == "air readings" else prose(row["value"])
        out.print()
        out.print(line((row["figure"], "bold"), f"   {said}"))
        bullets(out, [f"from   {row['origin']}"], " ", as_said=True)
        bullets(out, [f"how    {row['formula']}", f"source {row['source']}"], " ")
    out.print()
    out.print(line(("The files themselves are kept: runlog history lists them", "dim")))
