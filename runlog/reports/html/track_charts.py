"""Chart along the track: speed, engine speed and time won or lost against distance."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runlog.constants import SPLIT_DISTANCES_FT
from runlog.reports.console import number
from runlog.reports.html import charts
from runlog.reports.html.charts import GRID, SOFT, STROKES, Chart, Spec

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


def track_chart(traces: Mapping[str, Any] | None) -> Chart | None:
    """Return the runs laid over each other; ``traces`` as in ``review --json``. None without any."""
    if traces is None:
        return None
    runs, speed = traces["runs"], charts.speed_mph()
    names = _names(runs)
    reference = names[0]
    rows = [
        {
            "run": name,
            "feet": feet,
            "speed": speed.of(run["speed_mph"][n]),
            "rpm": None if run["engine_speed_rpm"] is None else run["engine_speed_rpm"][n],
            "behind": run["difference_s"][n],
        }
        for name, run in zip(names, runs, strict=True)
        for n, feet in enumerate(traces["station_ft"])
        if run["speed_mph"][n] is not None
    ]
    end = traces["station_ft"][-1]
    lines = _Lines(names, end)
    panels = [lines.panel(f"speed, {speed.unit}", "speed", ",.0f", 190)]
    if any(run["engine_speed_rpm"] is not None for run in runs):
        panels.append(lines.panel("engine speed, rpm", "rpm", ",.0f", 130))
    if len(runs) > 1:
        panels.append(lines.panel(f"seconds behind {reference}; below the line: ahead", "behind", "+.3f", 150))
    lines.name_the_distance(panels[-1])
    at = {
        "name": "at",
        "select": {"type": "point", "on": "pointerover", "nearest": True, "fields": ["feet"], "clear": "pointerout"},
        "views": ["hover"],
    }
    return Chart(
        "track",
        "Along the track",
        " ".join([f"{len(runs)} runs laid over each other; {reference} is the reference.", *_words(names, traces)]),
        " · ".join(f"{style} {name}" for style, name in zip(_STYLES, names, strict=False)),
        charts.stacked(panels, rows, params=[at]),
    )


_STYLES = ("solid black:", "dashed red:", "dotted blue:", "dash-dotted green:")


class _Lines:
    """Panels with the same runs in the same strokes."""

    def __init__(self, names: Sequence[str], end: int) -> None:
        strokes = STROKES[: len(names)]
        self.end = end
        self.beams = [feet for feet in SPLIT_DISTANCES_FT if feet <= end]
        self.colour = {"field": "run", "type": "nominal", "legend": None, "sort": None,
                       "scale": {"domain": list(names), "range": [colour for colour, _ in strokes]}}  # fmt: skip
        self.dash = {"field": "run", "type": "nominal", "legend": None, "sort": None,
                     "scale": {"domain": list(names), "range": [list(dash) for _, dash in strokes]}}  # fmt: skip

    def panel(self, title: str, field: str, fmt: str, height: int) -> Spec:
        """Return one quantity against distance with the beams marked and a reading line under the pointer."""
        y = {"field": field, "type": "quantitative", "scale": {"zero": False}, "axis": charts.number_axis(fmt)}
        x = {"field": "feet", "type": "quantitative", "scale": {"domain": [0, self.end], "nice": False}, "axis": None}
        beams = [{"beam": feet} for feet in self.beams]
        tooltip = [{"field": "run"}, {"field": "feet", "title": "ft"}, {"field": field, "title": title, "format": fmt}]
        zero = [{"mark": {"type": "rule", "stroke": SOFT}, "encoding": {"y": {"datum": 0}, "x": None}}]
        hover = {
            "description": charts.LIVE_ONLY,
            **({"name": "hover"} if field == "speed" else {}),
            "transform": [{"filter": f"isValid(datum.{field})"}],
            "mark": {"type": "point", "filled": True, "size": 40},
            "encoding": {
                "y": y, "color": self.colour, "tooltip": tooltip,
                "opacity": {"condition": {"param": "at", "empty": False, "value": 1}, "value": 0},
            },
        }  # fmt: skip
        return {
            "title": title,
            "height": height,
            "encoding": {"x": x},
            "layer": [
                {
                    "data": {"values": beams},
                    "mark": {"type": "rule", "stroke": GRID},
                    "encoding": {"x": {**x, "field": "beam"}},
                },
                *(zero if field == "behind" else []),
                {
                    "transform": [{"filter": f"isValid(datum.{field})"}],
                    "mark": {"type": "line", "strokeWidth": 1.7, "interpolate": "linear"},
                    "encoding": {"y": y, "color": self.colour, "strokeDash": self.dash},
                },
                hover,
            ],
        }

    def name_the_distance(self, panel: Spec) -> None:
        """Give the lowest panel its axis: the beams, and what they are distances of."""
        axis = {
            "title": "distance from the start beam, ft", "values": [0, *self.beams], "format": "d",
            "labelOverlap": "greedy",
        }  # fmt: skip
        panel["encoding"]["x"]["axis"] = axis
        panel["layer"][0]["encoding"]["x"]["axis"] = axis


def _names(runs: Sequence[Mapping[str, Any]]) -> list[str]:
    """Return what the runs are called: by their numbers where all are of one car and day, else in full."""
    days = {run["key"].rpartition("/")[0] for run in runs}
    return [f"run {run['number']}" if len(days) == 1 else run["key"] for run in runs]


def _words(names: Sequence[str], traces: Mapping[str, Any]) -> list[str]:
    said = []
    for name, run in zip(names[1:], traces["runs"][1:], strict=True):
        known = [
            (feet, value)
            for feet, value in zip(traces["station_ft"], run["difference_s"], strict=True)
            if value is not None
        ]
        if not known:
            continue
        feet, value = known[-1]
        side = "behind" if value >= 0 else "ahead"
        middle = next((item for item in known if item[0] == 60), None)
        early = "" if middle is None else f" ({number(middle[1], sign=True)} s of it by 60 ft)"
        said.append(f"{name.replace('run ', 'Run ')} is {number(abs(value))} s {side} at {feet} ft{early}.")
    return said
