"""The look of a car's season, and of the fleet, as documents."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING, Any

from runlog.reports.html.document import render
from runlog.reports.html.review import date_words
from runlog.reports.html.season_charts import days_chart, fleet_chart, worth_chart

if TYPE_CHECKING:
    from collections.abc import Mapping


def season_html(page: Mapping[str, Any]) -> str:
    """Return a season (the content of ``season --json``) as one self-contained HTML file."""
    days = [{**day, "date_words": date_words(day["date"])} for day in page["days"]]
    longest = max((best["to_ft"] for best in page["bests"] if best["from_ft"] == 0), default=None)
    best = next((row for row in page["bests"] if row["from_ft"] == 0 and row["to_ft"] == longest), None)
    content = {
        **page,
        "days": days,
        "best": best,
        "run_count": sum(day["runs"] for day in days),
        "spans": [(row["from_ft"], row["to_ft"]) for row in days[0]["increments"]],
    }
    return render("season.html.j2", content, [days_chart(page["days"]), worth_chart(page["worth"])])


def fleet_html(page: Mapping[str, Any]) -> str:
    """Return what all cars say together (the content of ``fleet --json``) as one self-contained HTML file."""
    tried = [row for row in page["effects"] if row["cars_tried"]]
    whole = [row for row in tried if row["from_ft"] == 0 and row["to_ft"] == page["finish_ft"]]
    groups = [
        {"first": rows[0], "rows": rows}
        for _, found in groupby(tried, key=lambda row: (row["adjustable"], row["unit"]))
        if (rows := list(found))
    ]
    untried = dict.fromkeys(row["adjustable"] for row in page["effects"] if not row["cars_tried"])
    content = {**page, "groups": groups, "untried": list(untried)}
    return render("fleet.html.j2", content, [fleet_chart(whole)])
