"""How a run departed from the plan of its day."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runlog.store import proposals

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runlog.records import Car
    from runlog.results import RunResult
    from runlog.store.connection import Logbook


def off_plan(book: Logbook, car: Car | None, row: RunResult) -> list[dict[str, Any]]:
    """Return what was planned of a run and done otherwise: settings, and how far it went; empty: nothing, or no plan.

    Only what the plan itself had changed until then is looked at. A run cut short is no departure: something made it
    so; one that went further than planned is.
    """
    found = proposals.plan(book, row.key.car, row.key.date)
    steps = found.content["steps"] if found else []
    step = next((step for step in steps if step["run"] == row.key.number), None)
    if step is None:
        return []
    return [*_settings(car, row, [other for other in steps if other["run"] <= row.key.number]), *_distance(row, step)]


def _settings(car: Car | None, row: RunResult, steps: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    wanted = {line["item"]: line for step in steps for line in step["set"]}
    setup = {entry.item: entry for entry in row.setup}
    part = []
    for name, line in wanted.items():
        item, entry = car.adjustable(name) if car else None, setup.get(name)
        if item is None or entry is None or entry.value is None:
            continue
        done = item.label(entry.value) if item.holes else entry.value
        if done != line["value"]:
            part.append({"what": name, "planned": line["value"], "done": done, "unit": line["unit"]})
    return part


def _distance(row: RunResult, step: dict[str, Any]) -> list[dict[str, Any]]:
    reached = max(row.counted_times(), default=0)
    if step["purpose"] == "full" or reached <= int(step["purpose"]):
        return []
    return [{"what": "distance", "planned": int(step["purpose"]), "done": reached, "unit": "ft"}]
