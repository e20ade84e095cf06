"""The run page on the terminal: one screen of 80 columns and 50 lines."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

from rich.text import Text

from runlog.reports.console import NOTHING, WIDTH, add_row, bullets, clean, console, heading, line, number, table, value
from runlog.reports.plan import change_words, purpose_words
from runlog.reports.shown import density_line, readings_line, speed
from runlog.reports.words import VERDICTS, interval, probability, verdict_words

if TYPE_CHECKING:
    from rich.console import Console

_TELLING = 2.0
"""standard deviations from which a time is called quicker or slower than expected"""


def print_run_page(page: dict[str, Any]) -> None:
    """Print the page of one run."""
    out = console()
    _title(out, page)
    _splits(out, page)
    _increments(out, page)
    _changes(out, page)
    _trace(out, page["trace"], max((row["distance_ft"] for row in page["splits"] if row["counts"]), default=1320))
    _verdicts(out, page["verdicts"])
    if page["questions"]:
        out.print(heading("Questions to the crew"))
        bullets(out, page["questions"], "?")
    out.print(heading("Before the next run"))
    if page["plan"]:
        out.print(_plan(page["plan"]["next"]))
    bullets(out, [item["text"] for item in page["open_items"]], "☐")
    bullets(out, page["cautions"], "!")


def _plan(step: dict[str, Any]) -> Text:
    """Return the next planned run in one line."""
    minutes = f", {step['minutes']:.0f} min" if step["minutes"] else ""
    told = f"run {step['run']} to {purpose_words(step['purpose'])}: {change_words(step['set'])}{minutes}"
    return line(("plan: ", "bold"), f"next {told}")


def _title(out: Console, page: dict[str, Any]) -> None:
    run = page["run"]
    out.print(line((f"{run['car']}  run {run['number']}", "bold"), f"   {run['date']} {(run['time'] or '')[:5]}"))
    where = [run["track"], f"{run['lane']} lane" if run["lane"] else None, _purpose(run["purpose"])]
    out.print(line(" · ".join(part for part in where if part), "   ", _standing(run)))
    if run["note"]:
        out.print(line(f"note: {run['note']}"))
    air = page["air"]
    if air:
        out.print(line(readings_line(air)))
        out.print(line(density_line(air), (f"  ({air['source'].replace(', interpolated', ',')})", "dim")))
        out.print(line((f"corrected to {page['reference']}", "dim")))
        for text in page["caveats"]:
            out.print(line((_one_line(f"? corrected: {text}"), "dim")))
    else:
        out.print(line("no air reading within reach: nothing is corrected"))
    out.print()


def _one_line(text: str) -> str:
    """Return a text that fits the page, cut before its last clause; ``--json`` and ``runlog air`` have all of it."""
    head, _, last = text.rpartition("; ")
    return textwrap.shorten(text, WIDTH, placeholder=f" … {last}" if head else " …")


def _purpose(purpose: str | None) -> str:
    if not purpose:
        return "to the finish"
    return f"to {purpose} ft" if purpose.isdigit() else purpose


def _standing(run: dict[str, Any]) -> tuple[str, str]:
    if run["spoiled_reason"]:
        until = f", counts to {run['valid_to_ft']} ft" if run["valid_to_ft"] else ", nothing of it counts"
        return f"✗ spoiled: {run['spoiled_reason']}{until}", "bold yellow"
    if run["valid_to_ft"]:
        return f"✓ clean, counts to {run['valid_to_ft']} ft", "bold"
    return "no slip yet", "bold yellow"


def _splits(out: Console, page: dict[str, Any]) -> None:
    made = table("split", "measured", "corrected", "expected", "", "trace")
    for row in page["splits"]:
        if row["measured_s"] is None and row["trace_s"] is None:
            continue
        measured = number(row["measured_s"]) + ("" if row["counts"] or row["measured_s"] is None else " ×")
        style = "bold" if row["counts"] else "dim"
        add_row(
            made,
            [
                f"{row['distance_ft']} ft",
                Text(measured, style=style),
                Text(number(row["corrected_s"]), style=style),
                _with_sd(row["expected_s"], row["expected_sd_s"]),
                _against(row),
                _with_sd(row["trace_s"], row["trace_sd_s"]),
            ],
        )
    out.print(made)
    speeds = [row for row in page["speeds"] if row["measured_mph"] is not None]
    if speeds:
        parts: list[str | tuple[str, str]] = []
        told = [row for row in speeds if row["corrected_mph"] is not None] or speeds
        for row in speeds:
            said = " corrected" if row is told[-1] else ""
            bare = speed(row["corrected_mph"]).rsplit(" ", 1)[0]
            corrected = f" ({bare}{said})" if row["corrected_mph"] is not None else ""
            lead = f"{' · ' if parts else 'trap '}at {row['distance_ft']} ft "
            parts += [lead, (speed(row["measured_mph"]), "bold"), corrected]
        out.print(line(*parts))
    if any(not row["counts"] and row["measured_s"] is not None for row in page["splits"]):
        out.print(line(("× after a planned shut-off, a throttle lift or what spoiled it: doesn't count", "dim")))
    out.print()


def _with_sd(value: float | None, sd: float | None) -> str:
    return NOTHING if value is None else f"{value:.3f} ± {sd or 0:.3f}"


def _against(row: dict[str, Any]) -> Text:
    """Say whether the time is what was expected in this air and setup."""
    if not row["counts"] or None in (row["measured_s"], row["expected_s"], row["expected_sd_s"]):
        return Text("")
    away = (row["measured_s"] - row["expected_s"]) / row["expected_sd_s"]
    if abs(away) < _TELLING:
        return Text("as expected")
    return Text("▼ quicker", style="bold green") if away < 0 else Text("▲ slower", style="bold red")


def _increments(out: Console, page: dict[str, Any]) -> None:
    made = table("increment", "measured", "corrected", "previous", "best other")
    for row in page["increments"]:
        if row["measured_s"] is None:
            continue
        previous, best = row["previous_corrected_s"], row["best_corrected_s"]
        cells = [f"{row['from_ft']}–{row['to_ft']} ft", number(row["measured_s"]), number(row["corrected_s"])]
        add_row(made, [*cells, _beside(previous, row["corrected_s"]), _beside(best, row["corrected_s"])])
    if made.row_count:
        out.print(made)
        out.print(line(("previous and best are corrected; in brackets how much this run is slower (+)", "dim")))
        out.print()


def _beside(other: float | None, own: float | None) -> str:
    if other is None:
        return NOTHING
    return number(other) if own is None else f"{other:.3f} ({own - other:+.3f})"


def _changes(out: Console, page: dict[str, Any]) -> None:
    changes = [
        f"{change['item']} {change['from'] or 'not known'} → {change['to']} {change['unit']}"
        for change in page["changes"]
    ]
    out.print(line(("Changed: ", "bold"), "; ".join(changes) if changes else "nothing since the run before"))


_TOLD = ("spin", "wheelstand", "front wheels up", "throttle stab", "throttle again")
"""events of the trace that stand on the page; the others are in the machine output"""
_SURE = 0.6


def _trace(out: Console, trace: dict[str, Any] | None, finish_ft: int) -> None:
    if trace is None:
        out.print(line(("Trace: ", "bold"), "no logger file for this run"))
        return
    parts = []
    if trace["launch_engine_speed_rpm"] is not None:
        parts.append(f"launch {trace['launch_engine_speed_rpm']:.0f} rpm")
    if trace["peak_acceleration_g"] is not None:
        parts.append(f"peak {trace['peak_acceleration_g']:.2f} g")
    if trace["peak_slip_pct"] is not None:
        parts.append(f"tyre slip up to {trace['peak_slip_pct']:.0f} %")
    for shift in trace["shifts"]:
        where = f" at {shift['distance_ft']:.0f} ft" if shift["distance_ft"] is not None else ""
        parts.append(f"shift {shift['engine_speed_rpm']:.0f} rpm{where}")
    if trace["lift_distance_ft"] is not None and trace["lift_distance_ft"] < finish_ft:
        parts.append(f"throttle lift at {trace['lift_distance_ft']:.0f} ft")
    parts += [
        f"{event['name']} at {event['time_s']:.1f} s"
        for event in trace["events"]
        if event["name"] in _TOLD and event["confidence"] >= _SURE
    ]
    if trace["shake_suspected"]:
        parts.append("tyre shake suspected: inspect driveline and wheels")
    out.print(line(("Trace: ", "bold"), "; ".join(parts) or "nothing to tell"))
    if trace["calibration"] is not None and trace["calibration"]["earlier_runs"]:
        out.print(line((_calibration(trace["calibration"]), "dim")))
    for alarm in trace["alarms"]:
        side = "below" if alarm["kind"] == "low" else "above"
        reading = f"{alarm['channel'].replace('_', ' ')} {alarm['value']:g} {alarm['unit']}"
        text = f"{reading}, {side} its limit {alarm['limit']:g}, {alarm['time_s']:.1f} s after launch"
        out.print(line(("! limit passed: ", "bold red"), text))
    missing = ", ".join(name.replace("_", " ") for name in trace["not_logged"])
    lead = "" if trace["alarms"] else "No limit passed in the channels logged. "
    out.print(line((f"{lead}Watched but not logged: {missing or 'none'}.", "dim")))
    for warning in trace["warnings"]:
        out.print(line((f"? {warning}", "dim")))


def _calibration(calibration: dict[str, Any]) -> str:
    known = {row["name"]: row for row in calibration["parameters"]}
    wheels, felt = known["circumference"], known["accelerometer"]
    runs = calibration["earlier_runs"]
    return (
        f"Calibrated by {runs} earlier slip{'s' if runs > 1 else ''}: wheels {wheels['value']:+.1f} ± "
        f"{wheels['sd']:.1f} %, accelerometer {felt['value']:+.1f} ± {felt['sd']:.1f} %"
    )


def _verdicts(out: Console, verdicts: list[dict[str, Any]]) -> None:
    if not verdicts:
        return
    out.print()
    out.print(heading("Changes so far: effect on the elapsed time, 90 % interval, chance that it helps"))
    made = table("", "", "", "")
    made.show_header = False
    made.columns[3].justify = "left"
    made.columns[3].no_wrap = False
    for row in verdicts:
        change = f"{row['adjustable']} {value(row['from'])} → {value(row['to'])}"
        brief = verdict_words(row["verdict"], {**row, "runs_needed": None})
        verdict = Text(clean(brief), style=VERDICTS[row["verdict"]][1])
        add_row(made, [change, interval(row), probability(row["probability_helps"]), verdict])
    out.print(made)
