"""Keeping the driver's report and the start-line record, with what was the same last time filled in."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from runlog.errors import UsageError
from runlog.problems import FileFaults
from runlog.readers.crew import read_crew
from runlog.store import crew, facts
from runlog.workflows.intake.crew import say

if TYPE_CHECKING:
    from collections.abc import Mapping

    from runlog.records import RunKey
    from runlog.store.connection import Logbook

STAYS = ("driver", "driver_weight", "tyre_set", "staging")
"""what is the same as last time unless something else is said"""


def usual_start(book: Logbook, key: RunKey) -> dict[str, Any]:
    """Return what the newest start-line record before a run says of what stays; one more run on the same tyres."""
    earlier = [
        fact
        for fact in crew.said(book, key.car, "start_record")
        if (fact.date, fact.number or 0) < (key.date, key.number)
    ]
    if not earlier:
        return {}
    last = max(earlier, key=lambda fact: (fact.date, fact.number or 0, fact.at))
    found = {name: last.content[name] for name in STAYS if last.content.get(name) is not None}
    if last.content.get("tyre_runs") is not None:
        since = (last.date, last.number or 0)
        runs = [run for run in facts.slips(book, key.car) if since < (run.date, run.number) < (key.date, key.number)]
        found["tyre_runs"] = last.content["tyre_runs"] + 1 + len(runs)
    return found


def add_start(book: Logbook, key: RunKey, told: Mapping[str, Any], by: str | None = None) -> dict[str, Any]:
    """Keep the record at the start line; return it with what was filled in from last time."""
    said = {name: value for name, value in told.items() if value is not None}
    usual = usual_start(book, key)
    if said.get("tyre_set", usual.get("tyre_set")) != usual.get("tyre_set"):
        usual.pop("tyre_runs", None)
    record = {**usual, **said}
    if not record:
        raise UsageError("nothing to keep: give at least one figure, such as --driver or --coolant")
    say(book, f"start record {key}", {"what": "start_record", **_about(key, by), **record})
    return record


def add_report(book: Logbook, key: RunKey, told: Mapping[str, Any], by: str | None = None) -> dict[str, Any]:
    """Keep the driver's report; it notes whether figures of the run were there to be seen already."""
    report = {name: value for name, value in told.items() if value is not None}
    if not report:
        raise UsageError("nothing to keep: say at least one thing, such as --moved left")
    slip = facts.slips(book, key.car).get(key)
    blind = slip is None or not slip.times
    report["before_figures"] = blind
    say(book, f"driver's report {key}", {"what": "driver_report", **_about(key, by), **report})
    return report


def fault_in(what: str, key: RunKey, name: str, value: object) -> str | None:
    """Return what is wrong with one thing said of a run, ``found …; accepted: …``; None: it can be kept."""
    content = {"what": what, **_about(key, None), name: value}
    try:
        read_crew(json.dumps(content).encode(), what)
    except FileFaults as faults:
        # the rest of the entry, such as when it was said, is filled in when all of it is kept
        own = (problem for problem in str(faults).splitlines() if f"key {name}: " in problem)
        return next((problem.partition(f"key {name}: ")[2] for problem in own), None)
    return None


def _about(key: RunKey, by: str | None) -> dict[str, Any]:
    return {"car": key.car, "date": key.date.isoformat(), "run": key.number, "by": by}
