"""What runs and physics say of a change, on the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runlog.reports import amounts
from runlog.reports.amounts import speed_number, symbol
from runlog.reports.console import add_row, bullets, console, heading, line, number, table, value
from runlog.reports.release import clearance_lines
from runlog.reports.shown import altitude, density_line, readings_line
from runlog.reports.words import interval, probability

if TYPE_CHECKING:
    from rich.console import Console


def print_suppose(page: dict[str, Any]) -> None:
    """Print what runs and physics make of supposed changes."""
    out = console()
    out.print(line((f"{page['car']}: what runs and physics make of it", "bold")))
    basis = f"fitted to {page['runs_fitted']} runs" if page["runs_fitted"] else "from the car file alone"
    where = f", setup as of {page['run']}" if page["run"] else ""
    out.print(line(f"learned from {page['runs_used']} runs; longitudinal model {basis}{where}"))
    out.print(line("a negative change is quicker; 90 % intervals"))
    _airs(out, page)
    for change in page["changes"]:
        _change(out, change)
    if page["answer_air"] and page["changes"]:
        out.print()
        out.print(line(("the air", "bold")))
        _answer(out, page["answer_air"])
    if len(page["changes"]) + bool(page["answer_air"]) > 1 or not page["changes"]:
        out.print()
        out.print(line(("all of it together" if page["changes"] else "the air alone", "bold")))
        _answer(out, page["answer"])
    if page["opinion"]:
        _by_model(out, page)
    if page["finish"]:
        _finish(out, page["finish"], page["limits"])
    out.print()
    bullets(out, clearance_lines(page["clearance"]), "✗")
    bullets(out, page["notes"], "?")
    bullets(out, page["cautions"], "!")
    out.print(line((f"Next: runlog effects --car {page['car']}   what the runs themselves say", "dim")))
    if len(page["changes"]) == 1 and page["changes"][0]["prior_origin"] is not None:
        supposed = f'--suppose "{page["changes"][0]["item"]}={value(page["changes"][0]["to"])}"'
        out.print(line((f"      runlog forecast --car {page['car']} {supposed}", "dim")))


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
    path = f"{change['item']} {amounts.change(*ends, change['unit'])}" if None not in ends else change["change"]
    out.print(line((path, "bold")))
    if change["answer"]:
        _answer(out, change["answer"])
    if change["opinion"]:
        if change["answer"][-1]["source"] != "physics":
            whole = change["effects"][-1]
            out.print(line(f"· by physics alone {interval(whole)} to {whole['to_ft']} ft"))
        bullets(out, change["assumptions"], "·")
    else:
        bullets(out, [f"physics has no opinion: {change['why_not']}"], "–")
    bullets(out, change["remarks"], "?")


def _answer(out: Console, rows: list[dict[str, Any]]) -> None:
    """Print what both say together, and line by line which of them."""
    made = table("where", "change in time, s", "sd", "helps", "who says so")
    made.columns[4].justify = "left"
    for row in rows:
        source = row["source"]
        learned = (
            f", {row['share_learned']:.0%} learned".replace("%", " %") if source in ("both", "partly prior") else ""
        )
        helps = "–" if row["probability_helps"] is None else probability(row["probability_helps"])
        cells = [f"{row['from_ft']}–{row['to_ft']} ft", interval(row), number(row["sd_s"]), helps, source + learned]
        add_row(made, cells)
    out.print(made)


def _by_model(out: Console, page: dict[str, Any]) -> None:
    out.print()
    made = table("by the model alone", "before", "after", "change")
    for row in page["splits"]:
        cells = [number(row[name]) for name in ("before_s", "after_s")]
        change = None if None in (row["before_s"], row["after_s"]) else row["after_s"] - row["before_s"]
        add_row(made, [f"{row['distance_ft']} ft, s", *cells, number(change, 3, sign=True)])
    for row in page["speeds"]:
        low, high = (speed_number(row[name], 2, sign=True) for name in ("lo90_mph", "hi90_mph"))
        change_mph = f"{speed_number(row['mean_mph'], 2, sign=True)} [{low}, {high}]"
        cells = [speed_number(row[name], 2) for name in ("before_mph", "after_mph")]
        add_row(made, [f"trap at {row['distance_ft']} ft, {symbol('mph')}", *cells, change_mph])
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
        figures = [*(finish[when][key] for when in ("before", "after")), high.get(f"{name} at the finish")]
        show = speed_number if unit == "mph" else number
        add_row(made, [f"{name}, {symbol(unit)}", *(show(figure, 0) for figure in figures)])
    out.print(made)
