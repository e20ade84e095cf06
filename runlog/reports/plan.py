"""The plan for the runs that are left, on the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rich.text import Text

from runlog.reports.amounts import amount
from runlog.reports.console import add_row, bullets, clean, console, heading, line, number, table
from runlog.reports.words import probability

if TYPE_CHECKING:
    from rich.console import Console


def print_plan(page: dict[str, Any]) -> None:
    """Print what to try in the runs that are left."""
    out = console()
    out.print(line((f"{page['car']}: plan from run {page['run'].rpartition('/')[2]}", "bold"), f"   {page['date']}"))
    out.print(line(f"{page['turnaround_minutes']:g} minutes from run to run, work on the car included"))
    _clearance(out, page["clearance"])
    print_path(out, page)
    _outlook(out, page["expected"])
    _leave(out, page["leave_with"])
    bullets(out, page["notes"], "?")
    bullets(out, page["cautions"], "!")
    if not page["accepted"] and page["steps"]:
        out.print(line(("Next: runlog plan with --accept makes it the plan of the day", "dim")))


def _clearance(out: Console, cleared: dict[str, Any] | None) -> None:
    from runlog.reports.release import clearance_lines

    bullets(out, clearance_lines(cleared), "✗")


def print_path(out: Console, page: dict[str, Any]) -> None:
    """Print the steps of a plan."""
    out.print()
    if not page["steps"]:
        held = page["clearance"] is not None and page["clearance"]["to_ft"] == 0
        out.print(line("no run is proposed" if held else "no run fits in"))
        return
    made = table("run", "time", "to", "change", "min", "why", left=4)
    made.columns[5].justify = "left"
    made.columns[5].no_wrap = False
    for step in page["steps"]:
        cells = [str(step["run"]), step["time"] or "", purpose_words(step["purpose"]), change_words(step["set"])]
        add_row(made, [*cells, number(step["minutes"], 0), Text(clean(step["why"]))])
    out.print(made)
    out.print()


def purpose_words(text: str) -> str:
    """Return how far a run is to go."""
    return f"{text} ft" if text.isdigit() else "the finish"


def change_words(made: list[dict[str, Any]]) -> str:
    """Return the changes before a run in one line."""
    if not made:
        return "as the car stands"
    return "; ".join(f"{item['item']} {amount(item['value'], item['unit'])}" for item in made)


def _leave(out: Console, rows: list[dict[str, Any]]) -> None:
    """Print what to leave the day with, by what is known now."""
    if not rows:
        return
    out.print(heading("To leave the day with: the best known of what was run or is planned"))
    made = table("setting", "best known", "after the plan", "among")
    made.columns[3].justify = "left"
    made.columns[3].no_wrap = False
    for row in rows:
        among = ", ".join(amount(item, row["unit"]) for item in row["among"])
        chances = [probability(row[name]) for name in ("chance_now", "chance_after")]
        add_row(made, [f"{row['item']} {amount(row['value'], row['unit'])}", *chances, among])
    out.print(made)
    out.print(line(("after the plan: how likely what will look best then is the best", "dim")))
    out.print()


def _outlook(out: Console, rows: list[dict[str, Any]]) -> None:
    finish = max((row["to_ft"] for row in rows if row["from_ft"] == 0), default=0)
    whole = [row for row in rows if row["from_ft"] == 0 and row["to_ft"] == finish]
    if not whole:
        return
    out.print(heading("Doubt of one step's effect on the elapsed time: sd, and chance to settle it"))
    made = table("adjustable", "now", "by this plan", "there and back", "change and stay")
    for row in whole:
        ways = (
            ("sd_after_s", "chance_settled"),
            ("sd_there_and_back_s", "chance_settled_there_and_back"),
            ("sd_change_and_stay_s", "chance_settled_change_and_stay"),
        )
        cells = [f"{number(row[sd], 4)} {probability(row[chance]):>5}" for sd, chance in ways]
        add_row(made, [row["adjustable"], number(row["sd_now_s"], 4), *cells])
    out.print(made)
    out.print()
