"""Plots on the terminal, and as drawings and documents."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runlog.constants import INCREMENTS_FT, SPLIT_DISTANCES_FT
from runlog.reports.amounts import change
from runlog.reports.console import clean, console, line
from runlog.reports.day_plot import day_plot
from runlog.reports.html.charts import speed_mph
from runlog.reports.side_view import side_view
from runlog.reports.text_plot import interval_plot, line_plot
from runlog.reports.words import VERDICTS

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from runlog.reports.html.charts import Chart

_MARKS = "abcd"


def print_plot(content: Mapping[str, Any]) -> None:
    """Print a plot in plain characters; ``content`` is that of ``workflows.plots``."""
    out = console()
    made = {"increments": _increments, "traces": _traces, "effects": _effects, "air": _air, "chassis": _chassis}
    out.print(line((f"{content['about']}: {content['kind']}", "bold")))
    out.print()
    for text in made[content["kind"]](content):
        out.print(line(text))


def chart_of(content: Mapping[str, Any]) -> Chart | None:
    """Return the chart of a plot; None for the chassis, which is a drawing to scale, and where nothing counts."""
    from runlog.reports.html.day_charts import air_chart, increments_chart
    from runlog.reports.html.effect_charts import effects_chart
    from runlog.reports.html.track_charts import track_chart

    match content["kind"]:
        case "increments":
            return increments_chart(content["runs"])
        case "traces":
            return track_chart(content["traces"])
        case "effects":
            return effects_chart(content["effects"])
        case "air":
            return air_chart(content["air"])
        case _:
            return None


def drawing_of(content: Mapping[str, Any]) -> str:
    """Return a plot as the text of an SVG file; RunlogError where the extra for charts isn't installed."""
    chart = chart_of(content)
    if chart is not None:
        from runlog.reports.html.vega import svg_of

        return svg_of(chart.spec)
    from runlog.reports.drawing import side_view_svg

    return side_view_svg(content["chassis"])


def _increments(content: Mapping[str, Any]) -> Iterable[str]:
    runs = content["runs"]
    ticks = [(float(n), str(run["number"])) for n, run in enumerate(runs)]
    if len(ticks) < 2:
        return [f"one run only: runlog show {runs[0]['key']}"]
    lines: list[str] = []
    for start, end in INCREMENTS_FT:
        clean_ones = _increment(runs, "corrected_t", start, end, clean_only=True)
        every = _increment(runs, "corrected_t", start, end, clean_only=False)
        spoiled = [point for point in every if point not in clean_ones]
        measured = _increment(runs, "t", start, end, clean_only=False)
        series = [("o", clean_ones), *(("x", [point]) for point in spoiled), *(("m", [point]) for point in measured)]
        lines += line_plot(f"{start}–{end} ft, seconds", series, ticks, rows=6)
    lines.append("o in standard air   x the same of a spoiled run   m as measured   . between runs")
    for run in runs:
        if run["changes"]:
            moves = [f"{item['item']} {change(item['from'], item['to'], item['unit'])}" for item in run["changes"]]
            lines.append(clean(f"before run {run['number']}: {'; '.join(moves)}"))
    return lines


def _increment(
    runs: Sequence[Mapping[str, Any]], prefix: str, start: int, end: int, *, clean_only: bool
) -> list[tuple[float, float]]:
    """Return (place of the run in the day, time between two beams [s]) as far as it counts."""
    return [
        (float(n), second - first)
        for n, run in enumerate(runs)
        if end <= (run["valid_to_ft"] or 0)
        and (run["clean"] or not clean_only)
        and (second := run[f"{prefix}{end}_s"]) is not None
        and (first := 0.0 if start == 0 else run[f"{prefix}{start}_s"]) is not None
    ]


def _traces(content: Mapping[str, Any]) -> Iterable[str]:
    part, speed = content["traces"], speed_mph()
    stations, runs = part["station_ft"], part["runs"]
    beams = [0, *(feet for feet in SPLIT_DISTANCES_FT if feet < stations[-1]), stations[-1]]
    ticks = [(float(feet), f"{feet} ft" if feet == stations[-1] else str(feet)) for feet in beams]
    lines: list[str] = []
    for title, name, factor, digits, rows in (
        (f"speed, {speed.unit}", "speed_mph", speed.factor, 0, 12),
        ("engine speed, rpm", "engine_speed_rpm", 1.0, 0, 8),
        (f"seconds behind {runs[0]['key']}", "difference_s", 1.0, 3, 8),
    )[: 3 if len(runs) > 1 else 2]:
        series = [
            (mark, _line(stations, run[name], factor))
            for mark, run in zip(_MARKS, runs, strict=False)
            if run[name] is not None
        ]
        lines += line_plot(title, series, ticks, rows=rows, digits=digits)
    lines.append("   ".join(f"{mark} {run['key']}" for mark, run in zip(_MARKS, runs, strict=False)))
    return [*lines, "by the logger, as measured, as far as each run pulled"]


def _line(stations: Sequence[int], values: Sequence[float | None], factor: float) -> list[tuple[float, float]]:
    return [(float(feet), factor * value) for feet, value in zip(stations, values, strict=True) if value is not None]


def _effects(content: Mapping[str, Any]) -> Iterable[str]:
    rows = content["effects"]
    named = []
    for row in rows:
        mark = "?" if row["note"] else VERDICTS[row["verdict"]][2]
        name = clean(f"{mark} {row['item']} {change(row['from'], row['to'], row['unit'])}")
        named.append((name, row["lo90_s"], row["mean_s"], row["hi90_s"]))
    key = "  ".join(f"{mark} {words}" for words, _, mark in VERDICTS.values() if mark.strip())
    said = f"seconds to {rows[0]['to_ft']} ft; left of | is quicker; o most likely, [ ] 90 % interval"
    return [*interval_plot(named), said, key]


def _air(content: Mapping[str, Any]) -> Iterable[str]:
    return day_plot(content["air"]["series"], content["air"]["runs"])


def _chassis(content: Mapping[str, Any]) -> Iterable[str]:
    page = content["chassis"]
    share = page["anti_squat_pct"]
    told = "not known" if share is None else f"{share:.1f} %"
    return [*side_view(page), f"anti-squat {told}; an estimate, not permission"]
