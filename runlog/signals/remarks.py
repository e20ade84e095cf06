"""Plain sentences on what a trace shows beside its numbers: what it rests on, and what doesn't fit the car file."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.constants import FOOT
from runlog.signals.motion import excess_at

if TYPE_CHECKING:
    from runlog.records import Shift
    from runlog.signals.events import Lift
    from runlog.signals.limits import Span
    from runlog.signals.motion import Motion
    from runlog.signals.sources import Setting, Sources

LEAST_EXCESS: Final = 0.02
"""driven-wheel excess that is worth a word. Common practice, no source."""


def source_remarks(sources: Sources) -> list[str]:
    """Return what the motion rests on when that is one channel."""
    if sources.acceleration is None and sources.ground is None:
        return ["speed and distance come from the driven wheels alone: tyre slip makes them read high"]
    if sources.shaft is None and sources.ground is None:
        return ["speed and distance come from the accelerometer alone: a pitching body makes them drift"]
    return []


def calibration_remarks(motion: Motion) -> list[str]:
    """Return a sentence when the slip shows the driven wheels reading more than 2 % off at the end of the run."""
    if not motion.calibrated or not np.isfinite(motion.shaft).any():
        return []
    excess, sd = excess_at(motion, motion.time.size - 1)
    if abs(excess) < max(LEAST_EXCESS, 2.0 * sd):
        return []
    side, length = ("high", "shorter") if excess > 0 else ("low", "longer")
    return [
        f"against the slip the driven wheels read {100 * abs(excess):.1f} ± {100 * sd:.1f} % {side} at the end of the "
        f"run: tyre slip and growth, or a rolling circumference {length} than the car file's"
    ]


def lift_remarks(lift: Lift | None, where: float | None, span: Span, setting: Setting) -> list[str]:
    """Return what is to be said of a lift before the finish, and of stabs of the pedal; ``where`` [m] from rest."""
    if lift is None:
        return []
    remarks = [f"the throttle closes briefly at {stab - span.launch:.2f} s after launch" for stab in lift.stabs]
    if where is not None and where < setting.length:
        feet = max(where - setting.rollout, 0.0) / FOOT
        remarks.append(
            f"the pull ends at {lift.time - span.launch:.2f} s, {feet:.0f} ft (seen by the {lift.seen_by}): "
            "everything later is coasting"
        )
    return remarks


def driveline_remarks(shifts: tuple[Shift, ...], setting: Setting) -> list[str]:
    """Return what the shifts show of the gears against the car file."""
    gears = setting.gear_ratios
    if gears and len(shifts) > len(gears) - 1:
        return [f"the trace shows {len(shifts)} shifts, the car file has {len(gears)} gears"]
    return []
