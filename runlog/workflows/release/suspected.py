"""Runs whose trace shows a wheelstand or tyre shake though nobody called them spoiled: their setting is barred too."""

from __future__ import annotations

from typing import TYPE_CHECKING

from runlog.workflows.results.spoiling import CAR_AT_RISK, LEAST_CONFIDENCE, SPOILS

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from runlog.records import RunKey
    from runlog.results import Findings, RunResult


def suspected(findings: Mapping[RunKey, Findings], rows: Iterable[RunResult]) -> dict[RunKey, str]:
    """Return, for runs that nobody marked, what their trace shows that the setup may be to blame for."""
    found = {}
    for row in rows:
        events = findings.get(row.key, {}).get("events", ()) if row.spoiled is None else ()
        names = [
            event["name"]
            for event in events
            if event["name"] in CAR_AT_RISK and event["confidence"] >= LEAST_CONFIDENCE and event["time"] >= 0.0
        ]
        if names:
            found[row.key] = f"the trace shows {SPOILS[names[0]]}, and nobody has said otherwise"
    return found
