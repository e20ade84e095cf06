"""What physics says of a change, on the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runlog.reports.console import add_row, bullets, console, heading, line, number, table, value
from runlog.reports.shown import altitude, density_line, readings_line
from runlog.reports.words import interval

if TYPE_CHECKING:
    from rich.console import Console


def print_suppose(page: dict[str, Any]) -> None:
    """Print what physics makes of supposed changes."""
    out = console()
    out.print(line((f"{page['car']}: what physics makes of it", "bold")))
    basis = f"fitted to {page['runs_fitted']} runs" if page["runs_fitted"] else "from the car file alone"
    where = f", setup as of {page['run']}" if page["run"] else ""
    out.print(line(f"longitudinal model {basis}{where}"))
    out.print(line("a negative change is quicker; 90 % intervals"))
    _airs(out, page)
    for change in page["changes"]:
        _change(out, change)
    several = len(page["changes"]) + (page["air_after"] is not None) > 1
    if page["opinion"] and (several or not page["changes"]):
        out.print()
        out.print(line(("all of it together" if page["changes"] else "the air alone", "bold")))
    if page["opinion"]:
        _together(out, page, with_effects=several or not page["changes"])
    if page["finish"]:
        _finish(out, page["finish"], page["limits"])
    out.print()
    bullets(out, page["notes"], "?")
    bullets(out, page["cautions"], "!")
    out.print(line((f"Next: runlog effects --car {page['car']}   what the runs themselves say", "dim")))


def _airs(out: Console, page: dict[str, Any]) -> None:
    out.print(line("air: ", readings_line(page["air"])))
    if page["air_after"] is None:
        out.print(line(density_line(page["air"])))
        return
    out.print(line("supposed: ", readings_line(page["air_after"])))
    before, after = (altitude(page[name]["density_altitude_ft"]) for name in ("air", "air_after"))
    out.print(line(f"density altitude {before} → {after}"))


def _change(out: Console, change: dict[str, Any]) -> None:
    out.print()
    ends = (change["from"], change["to"])
    unit = "" if change["unit"] in ("1", "hole") else f" {change['unit']}"
    path = f"{change['item']} {value(ends[0])} → {value(ends[1])}{unit}" if None not in ends else change["change"]
    out.print(line((path, "bold")))
    if not change["opinion"]:
        bullets(out, [f"physics has no opinion: {change['why_not']}"], "–")
    else:
        _effects(out, change["effects"])
        bullets(out, change["assumptions"], "·")


def _effects(out: Console, rows: list[dict[str, Any]]) -> None:
    made = table("where", "change in time, s", "sd")
    for row in rows:
        add_row(made, [f"{row['from_ft']}–{row['to_ft']} ft", interval(row), number(row["sd_s"])])
    out.print(made)


def _together(out: Console, page: dict[str, Any], *, with_effects: bool) -> None:
    if with_effects:
        _effects(out, page["effects"])
    out.print()
    made = table("by the model", "before", "after", "change")
    for row in page["splits"]:
        cells = [number(row[name]) for name in ("before_s", "after_s")]
        change = None if None in (row["before_s"], row["after_s"]) else row["after_s"] - row["before_s"]
        add_row(made, [f"{row['distance_ft']} ft, s", *cells, number(change, 3, sign=True)])
    for row in page["speeds"]:
        low, high = (number(row[name], 2, sign=True) for name in ("lo90_mph", "hi90_mph"))
        change_mph = f"{number(row['mean_mph'], 2, sign=True)} [{low}, {high}]"
        cells = [number(row[name], 2) for name in ("before_mph", "after_mph")]
        add_row(made, [f"trap at {row['distance_ft']} ft, mph", *cells, change_mph])
    out.print(made)


def _finish(out: Console, finish: dict[str, Any], limits: list[dict[str, Any]]) -> None:
    high = {limit["what"]: limit["high"] for limit in limits}
    names = (
        ("engine speed", "engine_speed_rpm", "rpm"),
        ("driveshaft speed", "driveshaft_speed_rpm", "rpm"),
        ("tyre speed", "tyre_speed_mph", "mph"),
    )
    if all(finish["after"][key] is None for _, key, _ in names):
        return
    out.print()
    out.print(heading(f"At the finish line, {finish['distance_ft']} ft"))
    made = table("", "before", "after", "limit")
    for name, key, unit in names:
        cells = [number(finish[when][key], 0) for when in ("before", "after")]
        add_row(made, [f"{name}, {unit}", *cells, number(high.get(f"{name} at the finish"), 0)])
    out.print(made)
