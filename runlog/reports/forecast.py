"""The forecast of the next run, and how right forecasts were so far, on the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runlog.reports import amounts
from runlog.reports.console import add_row, bullets, console, heading, line, number, table
from runlog.reports.release import clearance_lines
from runlog.reports.shown import density_line, readings_line
from runlog.reports.words import probability

if TYPE_CHECKING:
    from rich.console import Console


def print_forecast(page: dict[str, Any]) -> None:
    """Print what the next run will show."""
    out = console()
    car, _, rest = page["run"].partition("/")
    when = f" {page['time'][:5]}" if page["time"] else ""
    out.print(line((f"{car}: forecast of run {rest.rpartition('/')[2]}", "bold"), f"   {rest.split('/')[0]}{when}"))
    lane = f" · {page['lane']} lane" if page["lane"] else ""
    out.print(line(f"a clean run to {page['finish_ft']} ft{lane}, learned from {page['runs_used']} runs"))
    if page["air"]:
        out.print(line(readings_line(page["air"])))
        out.print(line(density_line(page["air"]), (f"  ({page['air']['source']})", "dim")))
    for change in page["setup"]:
        if change["supposed_from"] is not None:
            moved = amounts.change(change["supposed_from"], change["value"], change["unit"])
            out.print(line(("supposed: ", "bold"), f"{change['item']} {moved}"))
    bullets(out, clearance_lines(page["clearance"]), "✗")
    out.print()
    _splits(out, page["splits"])
    if page["clearance"]["to_ft"]:
        _dial(out, page)
    bullets(out, page["notes"], "?")
    bullets(out, page["cautions"], "!")
    if page["clearance"]["to_ft"]:
        out.print(line(("Kept. Next: runlog forecast --record   how right forecasts were so far", "dim")))


def _splits(out: Console, rows: list[dict[str, Any]]) -> None:
    made = table("split", "expected", "sd", "50 %", "90 %")
    for row in rows:
        if row["mean_s"] is None:
            continue
        spans = [f"{number(row[f'lo{pct}_s'])} to {number(row[f'hi{pct}_s'])}" for pct in (50, 90)]
        add_row(made, [f"{row['distance_ft']} ft", number(row["mean_s"]), number(row["sd_s"]), *spans])
    if made.row_count:
        out.print(made)
        out.print()


def _dial(out: Console, page: dict[str, Any]) -> None:
    if page["chance_under_dial"] is not None:
        chance = probability(page["chance_under_dial"])
        out.print(line((f"under {page['dial_s']:.3f} s: {chance}", "bold"), " of clean runs"))
    rows = [row for row in page["suggested_dial"] if row["dial_s"] is not None]
    if rows:
        parts = [f"{number(row['dial_s'])} ({probability(row['risk'])})" for row in rows]
        out.print(line("dial-in for a chance to be quicker: ", " · ".join(parts)))
    out.print(line(f"not clean at all, whatever the dial-in: {probability(page['chance_not_clean'])}"))
    out.print()


def print_record(page: dict[str, Any]) -> None:
    """Print how right forecasts were."""
    out = console()
    whose = page["car"] or "all cars"
    out.print(line((f"{whose}: how right forecasts were", "bold")))
    waiting = f", {page['waiting']} wait for their run" if page["waiting"] else ""
    out.print(line(f"{page['forecasts']} kept, {page['scored']} held against their run{waiting}"))
    for item in page["set_aside"]:
        out.print(line(f"set aside: {item['run']}, {item['why']}"))
    _calibration(out, page)
    lost = page["not_clean"]
    if lost["runs"]:
        out.print(
            line(f"not clean: {lost['count']} of {lost['runs']} runs; {lost['expected']:.1f} were to be expected")
        )
    if page["look_back"] is not None:
        out.print()
        out.print(heading("Looking back: what the runs before led to expect of each run"))
        out.print(line("as if a forecast had been made before each run, in the air and setup that it had"))
        _calibration(out, page["look_back"])
    elif not page["scored"]:
        out.print(line("Nothing to judge yet. With --look-back: as if one had been made before each run."))


def _calibration(out: Console, part: dict[str, Any]) -> None:
    rows = [row for row in part["distances"] if row["count"]]
    if not rows:
        return
    out.print()
    made = table("split", "runs", "in 50 %", "in 90 %", "mean", "rms", "by tenths of the forecast")
    made.padding = (0, 1, 0, 0)  # ten tenths leave no room for more
    for row in rows:
        inside = [f"{row[f'inside{pct}']} ({100 * row[f'share_inside{pct}']:.0f} %)" for pct in (50, 90)]
        errors = [number(row["mean_error_s"], 3, sign=True), number(row["rms_error_s"])]
        tenths = " ".join(f"{count:2d}" for count in row["pit"])
        add_row(made, [f"{row['distance_ft']} ft", str(row["count"]), *inside, *errors, tenths])
    out.print(made)
    meaning = (
        "mean: of the errors, above 0 is slower than foretold; rms: their size. Right forecasts fill all ten tenths "
        "alike; heaped at both ends they were too sure, in the middle too careful"
    )
    out.print(line((meaning, "dim")))
    out.print()
    said: dict[str, list[str]] = {}
    for row in rows:
        said.setdefault("; ".join(row["words"]), []).append(str(row["distance_ft"]))
    bullets(out, [f"{', '.join(feet)} ft: {words}" for words, feet in said.items()], "•")
    if part["days"]:
        out.print()
        days = table("day", "car", "runs", "mean error", "rms", left=2)
        for row in part["days"]:
            errors = [number(row["mean_error_s"], 3, sign=True), number(row["rms_error_s"])]
            add_row(days, [row["date"], row["car"], str(row["count"]), *errors])
        out.print(heading("Elapsed time, day by day"))
        out.print(days)
