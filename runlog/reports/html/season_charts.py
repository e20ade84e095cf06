"""Charts of a car's season: its days side by side, how well it repeats, and what a step is worth here and elsewhere."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runlog.reports.amounts import amount
from runlog.reports.console import clean, number
from runlog.reports.html import charts
from runlog.reports.html.charts import BLUE, INK, SOFT, Chart, Spec

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


def days_chart(days: Sequence[Mapping[str, Any]]) -> Chart | None:
    """Return best and typical times of every day in standard air, a panel for each stretch; None without any."""
    spans = [
        (name, rows)
        for name, pick in (("elapsed", _elapsed), ("0–60 ft", _first), ("60–330 ft", _second))
        if len(rows := [row for day in days if (row := pick(day))]) > 1
    ]
    if not spans:
        return None
    domain = [day["date"] for day in days]
    panels = [_panel(name, rows, domain) for name, rows in spans]
    panels[-1]["encoding"]["x"]["axis"] = {"title": None, "labelAngle": 0, "labelOverlap": True}
    return Chart(
        "days",
        "How the car developed, in standard air",
        " ".join(_words(name, rows) for name, rows in spans),
        "● best of the day · ○ typical: the median of what counts",
        charts.stacked(panels, []),
    )


def _elapsed(day: Mapping[str, Any]) -> dict[str, Any] | None:
    part = day["elapsed"]
    return None if part is None else _row(day, part)


def _first(day: Mapping[str, Any]) -> dict[str, Any] | None:
    return _row(day, day["increments"][0])


def _second(day: Mapping[str, Any]) -> dict[str, Any] | None:
    return _row(day, day["increments"][1])


def _row(day: Mapping[str, Any], part: Mapping[str, Any]) -> dict[str, Any] | None:
    if part["best_s"] is None:
        return None
    return {"day": day["date"], "best": part["best_s"], "typical": part["typical_s"], "to": f"{part['to_ft']} ft"}


def _panel(name: str, rows: list[dict[str, Any]], domain: list[str]) -> Spec:
    def y(field: str) -> Spec:
        scale = {"zero": False, "padding": 8}
        return {"field": field, "type": "quantitative", "scale": scale, "axis": charts.number_axis(".3f", tickCount=3)}

    ends = dict.fromkeys(row["to"] for row in rows)
    title = f"to {', '.join(ends)}, seconds" if name == "elapsed" else f"{name}, seconds"
    return {
        "title": title,
        "height": 90 if name == "elapsed" else 60,
        "data": {"values": rows},
        "encoding": {
            "x": {"field": "day", "type": "ordinal", "scale": {"domain": domain}, "axis": None},
            "tooltip": [
                {"field": "day"},
                {"field": "best", "title": "best, s", "format": ".3f"},
                {"field": "typical", "title": "typical, s", "format": ".3f"},
            ],
        },
        "layer": [
            {
                "mark": {"type": "line", "stroke": SOFT, "strokeDash": [3, 3], "strokeWidth": 1.2},
                "encoding": {"y": y("typical")},
            },
            {
                "mark": {"type": "point", "stroke": BLUE, "fill": "#fff", "size": 36},
                "encoding": {"y": y("typical")},
            },
            {"mark": {"type": "line", "stroke": INK, "strokeWidth": 1.5}, "encoding": {"y": y("best")}},
            {
                "mark": {"type": "point", "filled": True, "fill": INK, "size": 46, "opacity": 1},
                "encoding": {"y": y("best")},
            },
        ],
    }


def _words(name: str, rows: Sequence[Mapping[str, Any]]) -> str:
    first, last = rows[0], rows[-1]
    where = f"to {last['to']}" if name == "elapsed" else name
    return f"Best {where}: {number(first['best'])} s on {first['day']}, {number(last['best'])} s on {last['day']}."


def worth_chart(worth: Sequence[Mapping[str, Any]]) -> Chart | None:
    """Return what one usual step is worth here and across cars; ``worth`` as in ``season --json``."""
    rows = []
    for row in worth:
        step = _step(row)
        for where, part in (("in this car", row["here"]), ("across cars", row["across"])):
            if part is not None:
                rows.append(_bar(f"{step}, {where}", part, INK if where == "in this car" else "#8f979d"))
    return _bars_chart("worth", "What one usual step is worth, here and across cars", rows)


def fleet_chart(effects: Sequence[Mapping[str, Any]]) -> Chart | None:
    """Return what one usual step is worth on average, and in another car; the fleet's effects to the finish."""
    rows = []
    for row in effects:
        bar = _bar(_step(row), row, INK)
        wide = {"wide_low": round(row["new_car_lo90_s"], 4), "wide_high": round(row["new_car_hi90_s"], 4)}
        rows.append(bar | wide)
    return _bars_chart("fleet", "What one usual step is worth, on average and in another car", rows)


def _bars_chart(name: str, title: str, rows: list[dict[str, Any]]) -> Chart | None:
    from runlog.reports.html.effect_charts import bars

    if not rows:
        return None
    wide = " · dotted: 90 % of what another car would show" if "wide_low" in rows[0] else ""
    return Chart(
        name,
        title,
        " ".join(f"{row['name']}: {row['said']}." for row in rows),
        f"● most likely · bar: 90 % interval{wide} · left of the line is quicker",
        bars(rows, "seconds on the elapsed time; negative is quicker"),
    )


def _bar(name: str, part: Mapping[str, Any], colour: str) -> dict[str, Any]:
    mean, low, high = (number(part[field], sign=True) for field in ("mean_s", "lo90_s", "hi90_s"))
    return {
        "name": name,
        "label": name,
        "mean": round(part["mean_s"], 4),
        "low": round(part["lo90_s"], 4),
        "high": round(part["hi90_s"], 4),
        "colour": colour,
        "said": f"{mean} s [{low}, {high}]",
    }


def _step(row: Mapping[str, Any]) -> str:
    return clean(f"{row['adjustable']} {amount(row['step'], row['unit'], sign=True)}")
