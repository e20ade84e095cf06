"""The analysis of one run's trace as a task of its own: all it needs goes in, plain values come out.

A run's analysis looks at no other run, so any executor may spread the runs over processes or machines.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import TYPE_CHECKING

from runlog.records import TraceFindings
from runlog.signals.analysis import Setting, analyse
from runlog.workflows.results import calibrate

if TYPE_CHECKING:
    from collections.abc import Mapping

    from runlog.records import Samples
    from runlog.results import Findings

_NOT_PLAIN = (
    "distance", "speed", "time", "distance_sd", "speed_sd", "splits", "basis", "shifts", "alarms", "events",
    "rises",
)  # fmt: skip


@dataclass(frozen=True)
class TraceTask:
    """What the analysis of one trace needs; ``setting`` None: there is no car file."""

    car: str
    samples: Mapping[str, Samples]
    setting: Setting | None
    slip_times: Mapping[int, float]


def analysed(task: TraceTask) -> Findings:
    """Return what a trace shows, as the plain values that are kept. Pure."""
    if task.setting is None:
        found = TraceFindings(
            warnings=(f"no car file for {task.car}: the trace can't be turned into speed and distance",)
        )
    else:
        found = analyse(task.samples, task.setting, task.slip_times)
    plain = {
        field.name: getattr(found, field.name) for field in dataclasses.fields(found) if field.name not in _NOT_PLAIN
    }
    plain["basis"] = calibrate.plain_basis(found.basis)
    plain["rises"] = None if found.rises is None else dataclasses.asdict(found.rises)
    plain["shifts"] = [dataclasses.asdict(shift) for shift in found.shifts]
    plain["alarms"] = [dataclasses.asdict(alarm) for alarm in found.alarms]
    plain["events"] = [dataclasses.asdict(event) for event in found.events]
    return plain
