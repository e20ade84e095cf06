"""Plain sentences on what a trace shows beside its numbers: what it rests on, and what doesn't fit the car file."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.constants import FOOT
from runlog.signals.motion import excess_at
from runlog.signals.sampling import rate
from runlog.signals.shifts import LEAST_RATE, ratio_between

if TYPE_CHECKING:
    from collections.abc import Mapping

    from runlog.records import Samples, Shift
    from runlog.signals.events import Lift
    from runlog.signals.limits import Span
    from runlog.signals.motion import Motion
    from runlog.signals.sources import Setting, Sources

LEAST_EXCESS: Final = 0.02
"""driven-wheel excess that is worth a word. Common practice, no source."""
CONVERTER: Final = (0.95, 1.2)
"""engine speed over what the gear gives: a converter slips, a clutch hardly. Common practice, no source."""


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


def driveline_remarks(
    good: Mapping[str, Samples], shifts: tuple[Shift, ...], span: Span, setting: Setting
) -> list[str]:
    """Return what engine and driveshaft show of the gears against the car file."""
    gears = setting.gear_ratios
    remarks = []
    if gears and len(shifts) > len(gears) - 1:
        remarks.append(f"the trace shows {len(shifts)} shifts, the car file has {len(gears)} gears")
    engine, shaft = good.get("engine_speed"), good.get("driveshaft_speed")
    if engine is None or shaft is None or min(rate(engine), rate(shaft)) < LEAST_RATE:
        return remarks
    last = shifts[-1].time + span.launch + 0.5 if shifts else span.end
    ratio = ratio_between(engine, shaft, last, span.end)
    in_last_gear = bool(gears) and len(shifts) == len(gears) - 1
    if in_last_gear and ratio is not None and not CONVERTER[0] <= ratio / gears[-1] <= CONVERTER[1]:
        remarks.append(
            f"in the last gear the engine turns {ratio:.2f} times the driveshaft; the car file's ratio is {gears[-1]:g}"
        )
    return remarks
