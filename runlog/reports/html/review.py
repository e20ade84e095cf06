"""The look of a test day's review as a document."""

from __future__ import annotations

import datetime as dt
from itertools import groupby
from typing import TYPE_CHECKING, Any

from runlog.constants import SPEED_DISTANCES_FT, SPLIT_DISTANCES_FT
from runlog.records.trace import SHAKING
from runlog.reports.chassis import share
from runlog.reports.console import NOTHING, number
from runlog.reports.drawing import side_view_svg
from runlog.reports.html import charts
from runlog.reports.html.day_charts import air_chart, increments_chart
from runlog.reports.html.document import picture, render
from runlog.reports.html.effect_charts import effects_chart
from runlog.reports.html.track_charts import track_chart
from runlog.reports.release import clearance_lines
from runlog.reports.shown import length, mass
from runlog.reports.words import in_units, learned_words, spoken

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

_CONTENTS = (
    ("summary", "In short"), ("runs", "The runs"), ("changes", "What was changed"), ("track", "Along the track"),
    ("found", "What was found"), ("left", "The car as left"), ("air", "The air"), ("method", "Method"),
    ("cautions", "Cautions"), ("names", "Names"),
)  # fmt: skip
_PANEL_PX, _ROW_PX = (50, 34), (40, 30)
"""heights in charts: for the shop, and in the customer's shorter document"""


def review_html(page: Mapping[str, Any]) -> str:
    """Return a review (the content of ``review --json``) as one self-contained HTML file.

    RunlogError when the extra that documents need isn't installed.
    """
    shop = page["audience"] == "shop"
    changed = {change["item"] for change in page["changes"]}
    effects = [effect for effect in page["effects"] if shop or not changed or effect["item"] in changed]
    drawn = [
        increments_chart(page["runs"], _PANEL_PX[not shop]),
        effects_chart(effects, _ROW_PX[not shop]),
        track_chart(page["traces"]),
        air_chart(page["air"]),
    ]
    names = {chart.name for chart in drawn if chart}
    optional = {"track", "air"}
    distances = [feet for feet in SPLIT_DISTANCES_FT if any(run[f"t{feet}_s"] is not None for run in page["runs"])]
    way = page["as_left"]["back_to_baseline"] or []
    speed, height = charts.speed_mph(), charts.altitude_ft()
    content = {
        **page,
        "summary": spoken(page),
        "shop": shop,
        "date_words": date_words(page["date"]),
        "ribbon": _ribbon(page),
        "contents": [(name, words) for name, words in _CONTENTS if name not in optional or name in names],
        "distances": distances,
        "speed_unit": speed.unit,
        "height_unit": height.unit,
        "runs": [_run(run, distances, speed, height) for run in page["runs"]],
        "changes": [{**change, "notes": _notes(change)} for change in page["changes"]],
        "along": _along(page["traces"], speed),
        "logged": any(run["trace"] for run in page["runs"]),
        "learned": learned_words(page),
        "way_cautions": list(dict.fromkeys(text for step in way for text in step["cautions"])),
        "shaken": _shaken(page["found"]),
        "remarks": _remarks(page["found"]["warnings"]),
        "last_number": page["runs"][-1]["number"],
        "cleared_lines": [in_units(page, text) for text in clearance_lines(page["clearance"])],
        "weights": _weights(page["as_left"]["chassis"], page["as_left"]["sheet"]),
        "drawing": _drawing(page["as_left"]["chassis"]),
        "chassis_warnings": (page["as_left"]["chassis"] or {"warnings": []})["warnings"],
    }
    return render("review.html.j2", content, drawn)


def date_words(date: str) -> str:
    """Return an ISO date as people say it."""
    day = dt.date.fromisoformat(date)
    months = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
              "November", "December")  # fmt: skip
    return f"{day.day} {months[day.month - 1]} {day.year}"


def _ribbon(page: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return the splits of the best pass with their places along the track in per cent."""
    best = page["best"]
    if best is None:
        return []
    run = next(run for run in page["runs"] if run["number"] == best["number"])
    return [
        {
            "feet": feet,
            "place": round(100 * feet / best["to_ft"], 2),
            "measured": run[f"t{feet}_s"],
            "corrected": run[f"corrected_t{feet}_s"],
        }
        for feet in SPLIT_DISTANCES_FT
        if feet <= best["to_ft"] and run[f"t{feet}_s"] is not None
    ]


def _run(run: Mapping[str, Any], distances: list[int], speed: charts.Shown, height: charts.Shown) -> dict[str, Any]:
    limit = run["valid_to_ft"] or 0
    cells = [
        {"measured": run[f"t{feet}_s"], "corrected": run[f"corrected_t{feet}_s"], "counts": feet <= limit}
        for feet in distances
    ]
    counted = [feet for feet in SPEED_DISTANCES_FT if feet <= limit and feet not in run["coasted_ft"]]
    trap = run[f"v{counted[-1]}_mph"] if counted else None
    air = run["air"]
    return {
        **run,
        "cells": cells,
        "speed": NOTHING if trap is None else f"{speed.of(trap):.1f}",
        "height": NOTHING if air is None else f"{height.of(air['density_altitude_ft']):,.0f}",
    }


def _notes(change: Mapping[str, Any]) -> list[str]:
    """Return why claims on single stretches are held back."""
    whole = change["elapsed"]["note"] if change["elapsed"] else ""
    return [note for note in dict.fromkeys(part["note"] for part in change["increments"]) if note and note != whole]


def _along(traces: Mapping[str, Any] | None, speed: charts.Shown) -> list[dict[str, Any]]:
    """Return the table of the traces at the beams and every 100 ft."""
    if traces is None:
        return []
    wanted = {*SPLIT_DISTANCES_FT, *range(0, SPLIT_DISTANCES_FT[-1] + 1, 100)}
    rows = []
    for n, feet in enumerate(traces["station_ft"]):
        if feet not in wanted:
            continue
        cells: list[str] = []
        for place, run in enumerate(traces["runs"]):
            cells.append(number(speed.of(run["speed_mph"][n]), 1))
            cells.append(number(run["engine_speed_rpm"][n] if run["engine_speed_rpm"] else None, 0))
            if place:
                cells.append(number(run["difference_s"][n], sign=True))
        rows.append({"feet": feet, "cells": cells})
    return rows


def _shaken(found: Mapping[str, Any]) -> list[int]:
    """Return the runs with suspected tyre shake that no alarm tells of."""
    told = {alarm["run"] for alarm in found["alarms"] if alarm["condition"] == SHAKING}
    return [run for run in found["shake"] if run not in told]


def _remarks(warnings: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return the remarks with the runs that each was made of."""
    by_text = sorted(warnings, key=lambda item: (item["text"], item["run"]))
    made = [
        {"text": text, "runs": ", ".join(str(item["run"]) for item in group)}
        for text, group in groupby(by_text, key=lambda item: item["text"])
    ]
    return sorted(made, key=lambda item: int(item["runs"].split(",")[0]))


def _weights(chassis: Mapping[str, Any] | None, sheet: Sequence[Mapping[str, Any]]) -> list[tuple[str, str]]:
    """Return weights and geometry; corner weights only where the setup sheet beside them doesn't list them."""
    if chassis is None:
        return []
    listed = {line["item"] for line in sheet}
    corners, gravity = chassis["corner_weights_kg"], chassis["centre_of_gravity_m"]
    centre = chassis["instant_centre"]
    named = {name: name.replace("_", " ") for name in corners}
    rows = [
        ("total", mass(chassis["total_kg"])),
        *((words, mass(corners[name])) for name, words in named.items() if f"weight {words}" not in listed),
        ("on the front axle", share(chassis["front_pct"])),
        ("on the left", share(chassis["left_pct"])),
        ("cross (right front + left rear)", share(chassis["cross_pct"])),
        ("centre of gravity, height", length(gravity["z"])),
        ("instant centre, ahead of the rear axle", length(centre["x_m"])),
        ("instant centre, height", length(centre["z_m"])),
        ("anti-squat", share(chassis["anti_squat_pct"])),
    ]
    return [(name, figure) for name, figure in rows if figure != NOTHING]


def _drawing(chassis: Mapping[str, Any] | None) -> dict[str, Any] | None:
    if chassis is None or not chassis["links"]:
        return None
    links = "; ".join(f"{link['name']} at {link['angle_deg']:.1f}°" for link in chassis["links"])
    words = f"Side view of the rear suspension, front to the right: {links}."
    return {**picture(side_view_svg(chassis)), "words": words}
