"""When a run's car first moved, by its trace and by how the car was launched before."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Any, Final

from runlog.records import Rises
from runlog.signals.rises import of_launch, under

if TYPE_CHECKING:
    from collections.abc import Mapping

    from runlog.results import Findings
    from runlog.store.calibrations import CalibrationRow

_TIMED: Final = ("release_time", "shaft_time", "beam_time", "lift_time")
_LISTED: Final = ("shifts", "alarms", "events")
"""what of the findings is timed from the first motion"""


def with_earlier_launches(found: Findings, row: CalibrationRow | None) -> Findings:
    """Return findings with the first motion where the trace and earlier launches put it, all else timed from there.

    A trace alone hardly tells the shape in which its push rose; the doubt of that is what earlier launches narrow.
    """
    if found["rises"] is None or row is None:
        return found
    moved, sd = under(Rises(**found["rises"]), of_launch(row.known["rises"]))
    before = found["launch_time_sd"] ** 2
    beam_sd = None if found["beam_time_sd"] is None else _doubt(found["beam_time_sd"] ** 2 - before, sd)
    timed = {name: None if found[name] is None else found[name] - moved for name in _TIMED}
    listed = {name: [{**item, "time": item["time"] - moved} for item in found[name]] for name in _LISTED}
    doubts = {"launch": sd, "beam clear": beam_sd}
    events = (_restated(event, doubts.get(event["name"])) for event in listed["events"])
    listed["events"] = sorted(events, key=lambda event: event["time"])
    return {
        **found,
        **timed,
        **listed,
        "launch_time": found["launch_time"] + moved,
        "launch_time_sd": sd,
        "beam_time_sd": beam_sd,
        "basis": _basis(found["basis"], moved, before, sd),
    }


def _doubt(rest: float, sd: float) -> float:
    """Return the sd of what holds the doubt of the first motion and a variance of its own."""
    return math.sqrt(max(rest, 0.0) + sd**2)


def _basis(basis: Mapping[str, Any] | None, moved: float, before: float, sd: float) -> Mapping[str, Any] | None:
    if basis is None or basis["ground_time"] is None:
        return basis
    variance = _doubt(basis["ground_variance"] - before, sd) ** 2
    return {**basis, "ground_time": basis["ground_time"] - moved, "ground_variance": variance}


def _restated(event: dict[str, Any], sd: float | None) -> dict[str, Any]:
    """Return an event whose text tells this doubt [s]; all is timed from the launch."""
    time = 0.0 if event["name"] == "launch" else event["time"]
    text = event["text"] if sd is None else re.sub(r"± \d+ ms", f"± {1000 * sd:.0f} ms", event["text"])
    return {**event, "time": time, "text": text}
