"""The run page on the terminal: one screen of 80 columns and 50 lines."""

from __future__ import annotations

import textwrap
from typing import Any

from rich.text import Text

from runlog.reports.amounts import amount, place, prose, setting
from runlog.reports.budget import LINES, Left, Page
from runlog.reports.console import NOTHING, WIDTH, add_row, clean, console, heading, line, marked, number, table
from runlog.reports.digits import tall
from runlog.reports.plan import change_words, purpose_words
from runlog.reports.release import clearance_lines, item_words
from runlog.reports.shown import density_line, readings_line, speed
from runlog.reports.words import VERDICTS, alarm_words, brief, interval, probability, verdict_words

_TELLING = 2.0
"""standard deviations from which a time is called quicker or slower than expected"""


_NOTES = Left("note on the corrected figures", "notes on the corrected figures", "--full")
_LEGENDS = Left("legend", "legends")
_TRACE = Left("note on the trace", "notes on the trace")
_ASKED = Left("question", "questions")
_ITEMS = Left("open item", "open items", "runlog item list")
# what makes room first where the page is longer than the screen; without a rank a part always stays
_FINE_PRINT, _REMARKS, _LESSONS, _DETAIL, _DUTIES = 1, 2, 3, 4, 5


def print_run_page(page: dict[str, Any], *, full: bool = False) -> None:
    """Print the page of one run on one screen; with ``full`` all of it, however long."""
    made = Page(console(), None if full else LINES)
    _title(made, page)
    _headline(made, page)
    _air(made, page)
    _splits(made, page)
    _increments(made, page)
    _changes(made, page)
    if page["off_plan"]:
        made.add(_off_plan(page["off_plan"]))
    _record(made, page)
    _trace(made, page["trace"], max((row["distance_ft"] for row in page["splits"] if row["counts"]), default=1320))
    if page["questions"]:
        texts = marked("?", page["questions"])
        made.add(*texts, head=heading("Questions to the crew"), keep=2, rank=_DUTIES, left=_ASKED)
    _verdicts(made, page["run"]["car"], page["verdicts"], full=full)
    alone = Left("gain on the clock alone", "gains on the clock alone")
    made.add(*marked("!", page["on_the_clock"]), keep=0, rank=_LESSONS, left=alone)
    made.add(heading("Before the next run"))
    made.add(*marked("✗", clearance_lines(page["clearance"])))
    if page["plan"]:
        made.add(_plan(page["plan"]["next"]))
    made.add(
        *marked("☐", [item_words(item) for item in page["open_items"]], as_said=True),
        keep=2,
        rank=_DUTIES,
        left=_ITEMS,
    )
    made.add(*marked("!", page["cautions"]))
    made.print()


def _off_plan(rows: list[dict[str, Any]]) -> Text:
    """Return in one line what was planned and done otherwise."""
    said = []
    for row in rows:
        # distances along the track keep their names in all units
        done, planned = (
            f"{row[name]} ft" if row["what"] == "distance" else amount(row[name], row["unit"])
            for name in ("done", "planned")
        )
        said.append(f"{row['what']} {done}, not {planned}")
    return line(("Not as planned: ", "bold"), "; ".join(said))


def _plan(step: dict[str, Any]) -> Text:
    """Return the next planned run in one line."""
    minutes = f", {step['minutes']:.0f} min" if step["minutes"] else ""
    told = f"run {step['run']} to {purpose_words(step['purpose'])}: {change_words(step['set'])}{minutes}"
    return line(("plan: ", "bold"), f"next {told}")


def _title(made: Page, page: dict[str, Any]) -> None:
    run = page["run"]
    made.add(line((f"{run['car']}  run {run['number']}", "bold"), f"   {run['date']} {(run['time'] or '')[:5]}"))
    where = [run["track"], f"{run['lane']} lane" if run["lane"] else None, _purpose(run["purpose"])]
    made.add(line(" · ".join(part for part in where if part), "   ", _standing(run)))
    if run["note"]:
        made.add(line(f"note: {run['note']}"))


def _headline(made: Page, page: dict[str, Any]) -> None:
    """Add the farthest time that counts in tall figures, and whether it is what this car does in this air."""
    row = next((row for row in reversed(page["splits"]) if row["counts"] and row["measured_s"] is not None), None)
    if row is None:
        return
    trap = next((trap for trap in page["speeds"] if trap["distance_ft"] == row["distance_ft"] and trap["counts"]), None)
    mph = trap["measured_mph"] if trap else None
    corrected = f"corrected {row['corrected_s']:.3f} s" if row["corrected_s"] is not None else "not corrected"
    if trap and trap["corrected_mph"] is not None:
        corrected += f", {speed(trap['corrected_mph'])}"
    verdict = _against(row)
    if verdict.plain:
        verdict.append(f": {_with_sd(row['expected_s'], row['expected_sd_s'])}", style="not bold")
    else:
        verdict = Text("nothing to expect from earlier runs yet")
    beside = (
        Text.assemble((f"s to {row['distance_ft']} ft", "bold"), (f", {speed(mph)}" if mph else "", "bold")),
        Text(corrected),
        verdict,
    )
    figures = tall(f"{row['measured_s']:.3f}")
    made.add(*(Text.assemble((figure, "bold"), "   ", told) for figure, told in zip(figures, beside, strict=True)))


def _air(made: Page, page: dict[str, Any]) -> None:
    air = page["air"]
    if not air:
        made.add(line("no air reading within reach: nothing is corrected"))
        made.gap()
        return
    made.add(line(readings_line(air)))
    made.add(line(density_line(air), (f"  ({air['source'].replace(', interpolated', ',')})", "dim")))
    made.add(line((f"corrected to {page['reference']}", "dim")))
    caveats = (line((_one_line(f"? corrected: {prose(text)}"), "dim")) for text in page["caveats"])
    made.add(*caveats, keep=0, rank=_REMARKS, left=_NOTES)
    made.gap()


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


def _splits(made: Page, page: dict[str, Any]) -> None:
    rows = table("split", "measured", "corrected", "expected", "", "trace")
    for row in page["splits"]:
        if row["measured_s"] is None and row["trace_s"] is None:
            continue
        measured = number(row["measured_s"]) + ("" if row["counts"] or row["measured_s"] is None else " ×")
        style = "bold" if row["counts"] else "dim"
        add_row(
            rows,
            [
                f"{row['distance_ft']} ft",
                Text(measured, style=style),
                Text(number(row["corrected_s"]), style=style),
                _with_sd(row["expected_s"], row["expected_sd_s"]),
                _against(row),
                _with_sd(row["trace_s"], row["trace_sd_s"]),
            ],
        )
    made.add_rows(rows)
    speeds = [row for row in page["speeds"] if row["measured_mph"] is not None]
    if speeds:
        parts: list[str | tuple[str, str]] = []
        told = [row for row in speeds if row["corrected_mph"] is not None] or speeds
        for row in speeds:
            said = " corrected" if row is told[-1] else ""
            bare = speed(row["corrected_mph"]).rsplit(" ", 1)[0]
            corrected = f" ({bare}{said})" if row["corrected_mph"] is not None else ""
            lead = f"{' · ' if parts else 'trap '}at {row['distance_ft']} ft "
            off = "" if row["counts"] else " ×"
            parts += [lead, (f"{speed(row['measured_mph'])}{off}", "bold" if row["counts"] else "dim"), corrected]
        made.add(line(*parts))
    figures = [row for row in page["splits"] if row["measured_s"] is not None] + speeds
    if not all(row["counts"] for row in figures):
        made.add(line(("× after a planned shut-off, a throttle lift or what spoiled it: doesn't count", "dim")))
    made.gap()


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


def _increments(made: Page, page: dict[str, Any]) -> None:
    rows = table("increment", "measured", "corrected", "previous", "best other")
    for row in page["increments"]:
        if row["measured_s"] is None:
            continue
        previous, best = row["previous_corrected_s"], row["best_corrected_s"]
        cells = [f"{row['from_ft']}–{row['to_ft']} ft", number(row["measured_s"]), number(row["corrected_s"])]
        add_row(rows, [*cells, _beside(previous, row["corrected_s"]), _beside(best, row["corrected_s"])])
    if rows.row_count:
        made.add_rows(rows, keep=0, rank=_DETAIL, left=Left("increment", "increments"))
        said = "previous and best are corrected; in brackets how much this run is slower (+)"
        made.add(line((said, "dim")), keep=0, rank=_FINE_PRINT, left=_LEGENDS)
        made.gap()


def _beside(other: float | None, own: float | None) -> str:
    if other is None:
        return NOTHING
    return number(other) if own is None else f"{number(other)} ({number(own - other, sign=True)})"


def _moved(row: dict[str, Any]) -> str:
    before = "not known" if row["from"] is None else setting(row["from"], row["unit"])
    return f"{before} → {amount(row['to'], row['unit'])}"


def _changes(made: Page, page: dict[str, Any]) -> None:
    changes = [f"{row['item']} {_moved(row)}" for row in page["changes"]]
    made.add(line(("Changed: ", "bold"), "; ".join(changes) if changes else "nothing since the run before"))


def _record(made: Page, page: dict[str, Any]) -> None:
    """Add the start-line record and the driver's report, a line each."""
    said = (("Start: ", page["start_record"]), ("Driver: ", page["driver_report"]))
    lines = [line((lead, "bold"), record["summary"]) for lead, record in said if record]
    made.add(*lines, keep=0, rank=_DETAIL, left=Left("record of the run", "records of the run"))


_TOLD = ("spin", "wheelstand", "front wheels up", "throttle stab", "throttle again")
"""events of the trace that stand on the page; the others are in the machine output"""
_SURE = 0.6


def _trace(made: Page, trace: dict[str, Any] | None, finish_ft: int) -> None:
    if trace is None:
        made.add(line(("Trace: ", "bold"), "no logger file for this run"))
        return
    parts = []
    if trace["launch_engine_speed_rpm"] is not None:
        parts.append(f"launch {trace['launch_engine_speed_rpm']:.0f} rpm")
    if trace["peak_acceleration_g"] is not None:
        parts.append(f"peak {trace['peak_acceleration_g']:.2f} g")
    if trace["peak_slip_pct"] is not None:
        parts.append(f"tyre slip up to {trace['peak_slip_pct']:z.0f} %")
    for shift in trace["shifts"]:
        where = f" at {place(shift['distance_ft'])}" if shift["distance_ft"] is not None else ""
        parts.append(f"shift {shift['engine_speed_rpm']:.0f} rpm{where}")
    if trace["lift_distance_ft"] is not None and trace["lift_distance_ft"] < finish_ft:
        parts.append(f"throttle lift at {place(trace['lift_distance_ft'])}")
    parts += [
        f"{event['name']} at {event['time_s']:.1f} s"
        for event in trace["events"]
        if event["name"] in _TOLD and event["confidence"] >= _SURE
    ]
    if trace["shake_suspected"]:
        parts.append("tyre shake suspected: inspect driveline and wheels")
    made.add(line(("Trace: ", "bold"), "; ".join(parts) or "nothing to tell"))
    if trace["first_motion_to_60_s"] is not None:
        made.add(line(_instants(trace)), keep=0, rank=_DETAIL, left=_TRACE)
    if trace["calibration"] is not None and trace["calibration"]["earlier_runs"]:
        made.add(line((_calibration(trace["calibration"]), "dim")), keep=0, rank=_FINE_PRINT, left=_TRACE)
    alarms = (
        line(("! seen: " if alarm["kind"] == "seen" else "! limit passed: ", "bold red"), alarm_words(alarm))
        for alarm in trace["alarms"]
    )
    made.add(*alarms, keep=4, rank=_DUTIES, left=Left("limit passed", "limits passed"))
    missing = ", ".join(name.replace("_", " ").replace("temperature", "temp") for name in trace["not_logged"])
    lead = "" if trace["alarms"] else "No limit passed in the channels logged. "
    made.add(line((f"{lead}Not logged: {missing or 'none of those watched'}.", "dim")))
    made.add(*marked("?", trace["warnings"], "dim"), keep=0, rank=_REMARKS, left=_TRACE)


def _instants(trace: dict[str, Any]) -> str:
    """Say how long 60 ft took on the ground, and which instants the launch had about the first motion."""
    ground = _with_sd(trace["first_motion_to_60_s"], trace["first_motion_to_60_sd_s"])
    parts = [f"60 ft from first motion {ground} s"]
    for name, said in (("release_time_s", "release"), ("beam_clear_time_s", "beam clear")):
        if trace[name] is not None:
            parts.append(f"{said} {trace[name]:+.3f}")
    return ", ".join(parts)


def _calibration(calibration: dict[str, Any]) -> str:
    known = {row["name"]: row for row in calibration["parameters"]}
    wheels, felt = known["circumference"], known["accelerometer"]
    runs = calibration["earlier_runs"]
    return (
        f"Calibrated by {runs} earlier slip{'s' if runs > 1 else ''}: wheels {wheels['value']:+.1f} ± "
        f"{wheels['sd']:.1f} %, accelerometer {felt['value']:+.1f} ± {felt['sd']:.1f} %"
    )


_DECIDED = ("hurt", "helped", "no_difference", "cannot_separate", "cannot_tell")
"""verdicts in the order in which they are shown: what is known first"""


_CHANGE_WIDTH = 28
"""what the figures and the verdict leave of a line"""


def _change(row: dict[str, Any], width: int | None) -> str:
    """Return the change that was made; a long name gives way to the values."""
    values = f" {setting(row['from'], row['unit'])} → {setting(row['to'], row['unit'])}"
    name = row["adjustable"]
    if width is not None and len(name) + len(values) > width:
        name = f"{name[: max(width - len(values) - 1, 1)]}…"
    return f"{name}{values}"


def _verdicts(made: Page, car: str, verdicts: list[dict[str, Any]], *, full: bool) -> None:
    if not verdicts:
        return
    made.gap()
    rows = table("", "", "", "")
    rows.show_header = False
    rows.columns[0].justify = rows.columns[3].justify = "left"
    rows.columns[0].no_wrap = rows.columns[3].no_wrap = not full
    for row in sorted(verdicts, key=lambda row: (_DECIDED.index(row["verdict"]), -abs(row["mean_s"]))):
        words = (
            verdict_words(row["verdict"], {**row, "runs_needed": None})
            if full
            else brief(row["verdict"], row["held_back"])
        )
        style = VERDICTS[row["verdict"]][1]
        cells = [_change(row, None if full else _CHANGE_WIDTH), interval(row), probability(row["probability_helps"])]
        add_row(rows, [*cells, Text(clean(words), style=style)])
    made.add_rows(
        rows,
        head=heading("Changes so far: effect on the elapsed time, 90 % interval, chance that it helps"),
        keep=2,
        rank=_LESSONS,
        left=Left("change made so far", "changes made so far", f"runlog effects --car {car}"),
    )
