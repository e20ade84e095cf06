"""Runs side by side on the terminal."""

from __future__ import annotations

from typing import Any

from runlog.reports.amounts import BARE, setting, symbol
from runlog.reports.console import WIDTH, add_row, console, heading, line, number, table
from runlog.reports.overlay import MARKS, along_table
from runlog.reports.shown import density_line, readings_line, speed


def print_comparison(page: dict[str, Any]) -> None:
    """Print two to four runs side by side; differences are to the first."""
    out = console()
    runs = page["runs"]
    names = [f"{entry['run']['car']} {entry['run']['date'][5:]}/{entry['run']['number']}" for entry in runs]
    for name, entry in zip(names, runs, strict=True):
        air = entry["air"]
        first, second = _air_lines(f"{name}: ", air) if air else ("no air reading", "")
        out.print(line((f"{name}: ", "bold"), first))
        if second:
            out.print(line(f"  {second}"))
        if entry["run"]["spoiled_reason"]:
            out.print(line(f"  ✗ spoiled: {entry['run']['spoiled_reason']}"))
    out.print()
    for what, title in (("increments", "Increments"), ("splits", "Splits")):
        out.print(heading(f"{title}, corrected (difference to the first)"))
        made = table("", *names)
        for n, first in enumerate(runs[0][what]):
            label = f"{first['from_ft']}–{first['to_ft']} ft" if what == "increments" else f"{first['distance_ft']} ft"
            add_row(made, [label, *(_figure(entry[what][n], n_run) for n_run, entry in enumerate(runs))])
        out.print(made)
        out.print()
    made = table("measured", *names)
    for n, first in enumerate(runs[0]["splits"]):
        add_row(made, [f"{first['distance_ft']} ft", *(number(entry["splits"][n]["measured_s"]) for entry in runs)])
    for n, first in enumerate(runs[0]["speeds"]):
        figures = [speed(entry["speeds"][n]["measured_mph"]) for entry in runs]
        add_row(made, [f"trap {first['distance_ft']} ft", *figures])
    for label, name, digits in _TRACE:
        add_row(made, [label, *(number((entry["trace"] or {}).get(name), digits) for entry in runs)])
    out.print(made)
    out.print()
    if page["along_track"] is not None:
        out.print(heading("Where the time was won or lost, by the traces (seconds so far, as measured)"))
        out.print(line("; ".join(f"{mark} {name}" for mark, name in zip(MARKS, names, strict=False))))
        out.print(along_table(page["along_track"]))
        out.print()
    if page["setup"]:
        made = table("setup differs", *names)
        for row in page["setup"]:
            unit = "" if row["unit"] in BARE else f" [{symbol(row['unit'])}]"
            add_row(made, [f"{row['item']}{unit}", *(setting(value, row["unit"]) for value in row["values"])])
        out.print(made)
    else:
        out.print(line("The sheets of these runs say the same setup."))
    out.print(line((f"corrected to {page['reference']}", "dim")))


def _air_lines(name: str, air: dict[str, Any]) -> tuple[str, str]:
    """Return the air in two lines, what is read first; what has no room beside the run's name stands in the second."""
    read, second = readings_line(air).split(" · "), density_line(air)
    while len(name) + len(" · ".join(read)) > WIDTH and len(read) > 1:
        second = f"{read.pop()} · {second}"
    return " · ".join(read), second


_TRACE = (
    ("first motion–60 ft", "first_motion_to_60_s", 3),
    ("launch rpm", "launch_engine_speed_rpm", 0),
    ("peak g", "peak_acceleration_g", 2),
    ("tyre slip %", "peak_slip_pct", 0),
)


def _figure(row: dict[str, Any], n_run: int) -> str:
    if row["corrected_s"] is None or n_run == 0:
        return number(row["corrected_s"])
    return f"{number(row['corrected_s'])} ({number(row['difference_s'], 3, sign=True)})"
