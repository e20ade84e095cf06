"""Charts of a test day: increments from run to run with the air below, and the air over the hours."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runlog.constants import INCREMENTS_FT
from runlog.reports.amounts import change
from runlog.reports.console import clean, number
from runlog.reports.html import charts
from runlog.reports.html.charts import BLUE, INK, RUST, SOFT, Chart, Shown, Spec

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

_RUN = {"field": "run", "type": "ordinal", "sort": None}
_TOOLTIP = [
    {"field": "run", "title": "run"},
    {"field": "measured", "title": "measured, s", "format": ".3f"},
    {"field": "corrected", "title": "corrected, s", "format": ".3f"},
    {"field": "what", "title": "changed before it"},
    {"field": "state", "title": "counts"},
]


def increments_chart(runs: Sequence[Mapping[str, Any]], panel_px: int = 50) -> Chart | None:
    """Return every increment from run to run, measured and corrected, with the density altitude below.

    ``runs`` as in ``review --json``; None where no run has an increment that counts. ``panel_px``: height of each.
    """
    rows = [row for run in runs for row in _increment_rows(run)]
    spans = [span for span in map(_name, INCREMENTS_FT) if any(row["span"] == span for row in rows)]
    if not spans:
        return None
    labels = [_label(run) for run in runs]
    changed = [{"run": _label(run), "what": what} for run in runs if (what := _what(run))]
    panels = [_increment_panel([row for row in rows if row["span"] == span], changed, labels) for span in spans]
    height = charts.altitude_ft()
    airs = [{"run": _label(run), "height": height.of(run["air"]["density_altitude_ft"])} for run in runs if run["air"]]
    if airs:
        panels.append(_air_panel(airs, labels, height))
    panels = [{**panel, "height": panel_px} for panel in panels]
    panels[-1]["encoding"]["x"]["axis"] = {"title": "run", "labelAngle": 0}
    return Chart(
        "increments",
        "Increments over the day, with the air",
        " ".join([*(_span_words(span, rows) for span in spans), *_air_words(airs, height)]),
        "● in standard air · ○ as measured · ✕ spoiled run · dashed line: something was changed before this run",
        charts.stacked(panels, []),
    )


def _label(run: Mapping[str, Any]) -> str:
    return str(run["number"])


def _name(span: tuple[int, int]) -> str:
    return f"{span[0]}–{span[1]} ft"


def _what(run: Mapping[str, Any]) -> str:
    return clean(
        "; ".join(f"{item['item']} {change(item['from'], item['to'], item['unit'])}" for item in run["changes"])
    )


def _increment_rows(run: Mapping[str, Any]) -> list[dict[str, Any]]:
    rows = []
    for start, end in INCREMENTS_FT:
        measured = _between(run, "t", start, end)
        if measured is None or end > (run["valid_to_ft"] or 0):
            continue
        rows.append(
            {
                "run": _label(run),
                "span": _name((start, end)),
                "measured": measured,
                "corrected": _between(run, "corrected_t", start, end),
                "what": _what(run),
                "state": "clean" if run["clean"] else "spoiled",
            }
        )
    return rows


def _between(run: Mapping[str, Any], prefix: str, start: int, end: int) -> float | None:
    first = 0.0 if start == 0 else run[f"{prefix}{start}_s"]
    second = run[f"{prefix}{end}_s"]
    return None if first is None or second is None else round(second - first, 4)


def _increment_panel(rows: list[dict[str, Any]], changed: list[dict[str, Any]], labels: list[str]) -> Spec:
    """Return one increment from run to run; marks for which there is nothing to draw are left out."""
    corrected = [row for row in rows if row["corrected"] is not None]

    def y(field: str) -> Spec:
        scale = {"zero": False, "nice": True, "padding": 8}
        return {"field": field, "type": "quantitative", "scale": scale, "axis": charts.number_axis(".3f", tickCount=3)}

    def layer(own: list[dict[str, Any]], field: str | None, mark: Spec) -> Spec:
        return {"data": {"values": own}, "mark": mark, **({"encoding": {"y": y(field)}} if field else {})}

    clean_ones = [row for row in corrected if row["state"] == "clean"]
    spoiled = [row for row in corrected if row["state"] != "clean"]
    layers: list[tuple[list[dict[str, Any]], str | None, Spec]] = [
        (changed, None, {"type": "rule", "strokeDash": [2, 3], "stroke": SOFT}),
        (clean_ones, "corrected", {"type": "line", "stroke": INK, "strokeWidth": 1.4}),
        (rows, "measured", {"type": "point", "stroke": BLUE, "fill": "#fff", "size": 34, "strokeWidth": 1.3}),
        (clean_ones, "corrected", {"type": "point", "filled": True, "fill": INK, "size": 46, "opacity": 1}),
        (spoiled, "corrected", {"type": "text", "text": "✕", "color": RUST, "fontSize": 15, "fontWeight": "bold"}),
    ]
    return {
        "title": f"{rows[0]['span']}, seconds",
        "encoding": {"x": {**_RUN, "scale": {"domain": labels}, "axis": None}, "tooltip": _TOOLTIP},
        "layer": [layer(*one) for one in layers if one[0]],
    }


def _air_panel(airs: list[dict[str, Any]], labels: list[str], shown: Shown) -> Spec:
    return {
        "title": f"density altitude, {shown.unit}",
        "data": {"values": airs},
        "encoding": {
            "x": {**_RUN, "scale": {"domain": labels}},
            "y": {
                "field": "height", "type": "quantitative", "scale": {"zero": False, "padding": 8},
                "axis": charts.number_axis(shown.format, tickCount=3),
            },
            "tooltip": [{"field": "run"}, {"field": "height", "title": f"density altitude, {shown.unit}"}],
        },
        "layer": [
            {"mark": {"type": "line", "stroke": SOFT, "point": {"filled": True, "fill": SOFT, "size": 24}}},
        ],
    }  # fmt: skip


def _span_words(span: str, rows: Sequence[Mapping[str, Any]]) -> str:
    own = [row for row in rows if row["span"] == span and row["state"] == "clean" and row["corrected"] is not None]
    if not own:
        return f"{span}: no clean run that counts."
    best, worst = (pick(own, key=lambda row: row["corrected"]) for pick in (min, max))
    if best is worst:
        return f"{span}: {number(best['corrected'])} s in standard air in run {best['run']}."
    low, high = number(best["corrected"]), number(worst["corrected"])
    return f"{span}: in standard air from {low} s in run {best['run']} to {high} s in run {worst['run']}."


def _air_words(airs: Sequence[Mapping[str, Any]], shown: Shown) -> list[str]:
    if not airs:
        return []
    first, last = airs[0], airs[-1]
    return [
        f"Density altitude {first['height']:,.0f} {shown.unit} at run {first['run']}, "
        f"{last['height']:,.0f} {shown.unit} at run {last['run']}."
    ]


def air_chart(air: Mapping[str, Any] | None) -> Chart | None:
    """Return the day's readings over the hours with the runs marked; None with fewer than two readings."""
    if air is None or len(air["series"]) < 2:
        return None
    hours = [_hour(row["time"]) for row in air["series"]]
    runs: list[dict[str, Any]] = [{"hour": _hour(run["time"]), "run": str(run["number"])} for run in air["runs"]]
    every = [*hours, *(run["hour"] for run in runs)]
    ends = [min(every), max(every)]
    panels: list[Spec] = []
    words: list[str] = []
    for name, field, shown in _quantities():
        rows: list[dict[str, Any]] = [
            {"hour": hour, "value": float(value), "clock": _clock(hour)}
            for hour, row in zip(hours, air["series"], strict=True)
            if (value := shown.of(row[field])) is not None
        ]
        if len(rows) > 1:
            panels.append(_hours_panel(f"{name}, {shown.unit}", rows, runs, shown, first=not panels))
            values = [row["value"] for row in rows]
            edges = min(values), max(values)
            low, high = (f"{edge:,.{shown.digits}f}" for edge in edges)
            words.append(f"{name} {low} to {high} {shown.unit}")
    if not panels:
        return None
    label = "format(floor(datum.value + 0.001), '02') + ':' + format(round((datum.value % 1) * 60) % 60, '02')"
    for panel in panels:
        last = panel is panels[-1]
        axis = {"title": None, "labelExpr": label, "tickMinStep": 0.5} if last else None
        panel["encoding"] = {
            "x": {"field": "hour", "type": "quantitative", "scale": {"domain": ends, "nice": False}, "axis": axis}
        }
    return Chart(
        "air",
        "The air over the day",
        f"Readings from {_clock(ends[0])} to {_clock(ends[1])}: {'; '.join(words)}.",
        "● reading · dashed line with a number: that run",
        charts.stacked(panels, []),
    )


def _quantities() -> tuple[tuple[str, str, Shown], ...]:
    return (
        ("density altitude", "density_altitude_ft", charts.altitude_ft()),
        ("temperature", "temperature_c", charts.temperature_c()),
        ("track surface", "track_temperature_c", charts.temperature_c()),
        ("relative humidity", "relative_humidity_pct", Shown("%")),
        ("station pressure", "station_pressure_hpa", charts.pressure_hpa()),
        ("tailwind", "wind_along_track_m_s", charts.wind_m_s()),
    )


def _hours_panel(
    title: str, rows: list[dict[str, Any]], runs: list[dict[str, Any]], shown: Shown, *, first: bool
) -> Spec:
    marked = [{"data": {"values": runs}, "mark": {"type": "rule", "strokeDash": [2, 3], "stroke": SOFT}}]
    if first:
        named = {"type": "text", "baseline": "bottom", "y": -2, "fontSize": 10, "color": SOFT}
        marked.append({"data": {"values": runs}, "mark": named, "encoding": {"text": {"field": "run"}}})
    line = {
        "data": {"values": rows},
        "mark": {"type": "line", "stroke": INK, "strokeWidth": 1.4, "point": {"filled": True, "fill": INK, "size": 22}},
        "encoding": {
            "y": {"field": "value", "type": "quantitative", "scale": {"zero": False, "padding": 6},
                  "axis": charts.number_axis(shown.format, tickCount=3)},
            "tooltip": [{"field": "clock", "title": "time"}, {"field": "value", "title": title}],
        },
    }  # fmt: skip
    return {"title": {"text": title, "offset": 16 if first else 6}, "height": 48, "layer": [*marked, line]}


def _hour(time: str) -> float:
    clock = time.rpartition("T")[2].split(":")
    return round(int(clock[0]) + int(clock[1]) / 60, 4)


def _clock(hour: float) -> str:
    minutes = round(hour * 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"
