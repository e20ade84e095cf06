"""A test day's review on the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rich.text import Text

from runlog.reports.amounts import amount, setting, symbol
from runlog.reports.amounts import change as change_words
from runlog.reports.console import add_row, bullets, console, heading, line, number, table
from runlog.reports.learned import verdict_text
from runlog.reports.release import item_words
from runlog.reports.shown import altitude, mass, speed
from runlog.reports.words import alarm_words, interval, learned_words, spoken

if TYPE_CHECKING:
    from rich.console import Console

_FEET = (60, 330, 660, 1000, 1320)


def print_review(page: dict[str, Any]) -> None:
    """Print the summary, the runs, what the changes did and the car as left."""
    out = console()
    where = f" at {', '.join(page['tracks'])}" if page["tracks"] else ""
    out.print(line((f"{page['car']}, {page['date']}{where}: the day in short", "bold")))
    out.print()
    summary = spoken(page)
    for name, title, mark in (
        ("known", "What we know", "•"),
        ("unknown", "What we don't know yet", "?"),
        ("next", "What comes next", "→"),
    ):
        if summary[name]:
            out.print(heading(title))
            bullets(out, summary[name], mark, as_said=True)
            out.print()
    _runs(out, page)
    _changes(out, page["changes"], learned_words(page))
    _found(out, page)
    _left(out, page["as_left"])
    bullets(out, page["cautions"], "!")
    day = f"{page['car']}/{page['date']}"
    out.print(line((f"Next: runlog review {day} --html FILE, for the customer with --short", "dim")))


def _runs(out: Console, page: dict[str, Any]) -> None:
    out.print(heading("The runs: measured, and the farthest time that counts in standard air"))
    made = table("run", *map(str, _FEET), symbol("mph"), "air*", "standard", "")
    made.columns[-1].justify = "left"
    made.columns[-1].no_wrap = False
    for run in page["runs"]:
        limit = run["valid_to_ft"] or 0
        counted = [feet for feet in _FEET if feet <= limit and run[f"corrected_t{feet}_s"] is not None]
        corrected = f"{number(run[f'corrected_t{counted[-1]}_s'])} @{counted[-1]}" if counted else number(None)
        times = [_time(run[f"t{feet}_s"], counts=feet <= limit) for feet in _FEET]
        traps = [feet for feet in (1320, 660) if feet <= limit and feet not in run["coasted_ft"]]
        trap = next((run[f"v{feet}_mph"] for feet in traps if run[f"v{feet}_mph"]), None)
        height = None if run["air"] is None else run["air"]["density_altitude_ft"]
        state = "" if run["clean"] else "✗"
        add_row(
            made, [str(run["number"]), *times, speed(trap).split()[0], altitude(height).split()[0], corrected, state]
        )
    out.print(made)
    told = [
        f"run {run['number']} {who}: {run[what]['summary']}"
        for run in page["runs"]
        for who, what in (("start", "start_record"), ("driver", "driver_report"))
        if run[what]
    ]
    bullets(out, told, "•", as_said=True)
    out.print(line(("~ printed by the timing system, but the car was no longer pulling; ✗ spoiled", "dim")))
    out.print(line((f"* density altitude, {symbol('ft')}", "dim")))
    out.print()


def _time(seconds: float | None, *, counts: bool) -> Text:
    if seconds is None:
        return Text(f"{number(None)} ")
    return Text(f"{number(seconds)} ") if counts else Text(f"{number(seconds)}~", style="dim")


def _changes(out: Console, changes: list[dict[str, Any]], learned: str) -> None:
    out.print(heading("What was changed, and what it did"))
    if changes and learned:
        out.print(line((learned, "dim")))
    if not changes:
        out.print(line("nothing was changed on this day"))
    for change in changes:
        unit = change["unit"]
        moves = [f"run {move['run']}: {change_words(move['from'], move['to'], unit)}" for move in change["moves"]]
        out.print(line((f"{change['item']}", "bold"), f"   {', '.join(moves)}"))
        effect = change["elapsed"]
        if effect is None:
            out.print(line("  noted; nothing is learned about it"))
            continue
        out.print(line(f"  time to {effect['to_ft']} ft: {interval(effect)} s"))
        out.print(Text("  ").append_text(verdict_text(effect["verdict"], effect)))
        bullets(out, [text for text in (effect["note"], f"to settle it: {change['settles']}") if text], " ")
        bullets(out, change["cautions"], "  !")
    out.print()


def _found(out: Console, page: dict[str, Any]) -> None:
    found, items = page["found"], page["open_items"]
    out.print(heading("What was found"))
    bullets(out, [item_words(item) for item in items], "☐", as_said=True)
    alarms = [f"run {alarm['run']}: {alarm_words(alarm)}" for alarm in found["alarms"]]
    bullets(out, alarms, "!")
    if not any(run["trace"] for run in page["runs"]):
        out.print(line("no run was logged: nothing can be said of the car's limits"))
    elif not alarms:
        out.print(line("no limit passed in the channels that were logged"))
    if found["not_logged"]:
        names = ", ".join(name.replace("_", " ") for name in found["not_logged"])
        bullets(out, [f"watched, but not logged on every run: {names}"], "?")
    bullets(out, [f"run {item['run']}: {item['text']}" for item in found["questions"]], "?")
    out.print()


def _left(out: Console, left: dict[str, Any]) -> None:
    out.print(heading("The car as left"))
    moved = [entry for entry in left["sheet"] if entry["differs"]]
    for entry in moved:
        now, base = amount(entry["value"], entry["unit"]), setting(entry["baseline"], entry["unit"])
        out.print(line(f"{entry['item']}: {now}   baseline {base}"))
    if not left["sheet"]:
        out.print(line("no setup sheet in the logbook"))
    elif not left["baseline_known"]:
        out.print(line("no baseline sheet in the logbook"))
    elif not moved:
        out.print(line("at its baseline: nothing to undo"))
    chassis = left["chassis"]
    if chassis and chassis["total_kg"] is not None:
        out.print(line(f"weight {mass(chassis['total_kg'])}, front {number(chassis['front_pct'], 1)} %"))
    out.print()
