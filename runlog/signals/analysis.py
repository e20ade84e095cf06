"""The whole trace analysis of one run: channels in, findings out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from runlog.constants import FOOT, STANDARD_GRAVITY
from runlog.records import ChannelLimit, Samples, Shift, TraceFindings
from runlog.signals.events import Lift, find_lift, peak_acceleration, peak_slip, shake_suspected
from runlog.signals.health import sensor_warnings
from runlog.signals.launch import Launch, find_launch
from runlog.signals.limits import Span, find_alarms, not_logged
from runlog.signals.motion import Motion, Sources, estimate_motion, rest_bias
from runlog.signals.sampling import between, rate, usable
from runlog.signals.shifts import find_shifts
from runlog.signals.splits import reached, split_times

if TYPE_CHECKING:
    from collections.abc import Mapping

LEAST_PITCH_RATE = 10.0
"""[Hz] a slower pitch angle misses the launch. Common practice, no source."""


@dataclass(frozen=True)
class Setting:
    """What the analysis needs to know of car and track."""

    tyre_circumference: float
    """[m] driven tyre"""
    final_drive: float
    gear_ratios: tuple[float, ...] = ()
    rollout: float = 0.2286
    """[m] from rest to where the clock starts"""
    finish_ft: int = 1320
    limits: tuple[ChannelLimit, ...] = ()


def analyse(
    samples: Mapping[str, Samples], setting: Setting, slip_times: Mapping[int, float] | None = None
) -> TraceFindings:
    """Return what the logged channels tell of a run.

    ``samples`` is keyed by canonical channel name, each channel on its own time [s] and in SI; any may be absent.
    ``slip_times`` [s], keyed by distance in feet, calibrate speed and distance; the splits never see them, so that they
    stay a second opinion of the slip. What can't be had is None or empty, and a warning says why.
    """
    good = {name: kept for name, channel in samples.items() if (kept := usable(channel)) is not None}
    sources = motion_sources(good, setting)
    launch = find_launch(sources.acceleration, sources.ground, sources.shaft, good.get("launch_switch"))
    motion = None if launch is None else estimate_motion(sources, launch, _length(setting))
    if launch is None or motion is None:
        return _without_launch(good, sources, setting)
    splits = split_times(motion, setting.rollout, setting.finish_ft)
    motion = _calibrated(sources, launch, motion, setting, slip_times)
    lift = find_lift(good.get("throttle"), launch.time, motion.time, motion.speed)
    span = Span(launch.time, _end(launch, motion, lift, setting))
    after = TraceFindings(
        launch_time=launch.time,
        launch_time_sd=launch.sd,
        launch_engine_speed=launch_engine_speed(good.get("engine_speed"), launch),
        lift_time=None if lift is None else lift.time - launch.time,
        lift_distance=None if lift is None else distance_at(motion, lift.time - launch.time),
        alarms=find_alarms(good, setting.limits, span),
        not_logged=not_logged(good, setting.limits),
        splits=splits,
        distance=motion.distance,
        speed=motion.speed,
        time=motion.time,
        warnings=(*launch.warnings, *_remarks(sources, motion, lift, launch, setting), *sensor_warnings(good, span)),
    )
    return replace(after, **_pull(good, sources, launch, motion, span))


def _pull(good: Mapping[str, Samples], sources: Sources, launch: Launch, motion: Motion, span: Span) -> dict[str, Any]:
    """Return the findings that belong to the pull from launch to lift: peak acceleration, slip, shake, shifts."""
    found: dict[str, Any] = {}
    if sources.acceleration is not None:
        bias = rest_bias(sources.acceleration, launch)[0]
        found["peak_acceleration"] = peak_acceleration(sources.acceleration, bias, span.launch, span.end)
        found["shake_suspected"] = shake_suspected(sources.acceleration, span.launch + 0.15, span.end)
    elif sources.ground is not None:
        felt = Samples(motion.time, motion.acceleration)
        found["peak_acceleration"] = peak_acceleration(felt, 0.0, 0.0, span.end - span.launch)
    if sources.acceleration is not None or sources.ground is not None:
        found["peak_slip"] = peak_slip(motion.shaft, motion.speed, motion.time, span.end - span.launch)
    if (engine := good.get("engine_speed")) is not None:
        changes = find_shifts(engine, sources.shaft, span.launch, span.end)
        found["shifts"] = tuple(
            Shift(when - launch.time, speed, distance_at(motion, when - launch.time)) for when, speed in changes
        )
    return found


def distance_at(motion: Motion, time: float) -> float | None:
    """Return the distance [m] at seconds after launch, or None outside the motion."""
    if not motion.time[0] <= time <= motion.time[-1]:
        return None
    return float(np.interp(time, motion.time, motion.distance))


def _length(setting: Setting) -> float:
    return setting.rollout + setting.finish_ft * FOOT


def _end(launch: Launch, motion: Motion, lift: Lift | None, setting: Setting) -> float:
    """Return the end of the run [s, logger's clock]: the first of lift, finish and end of the data."""
    ends = [launch.time + float(motion.time[-1])]
    if lift is not None:
        ends.append(lift.time)
    if (finish := reached(motion, _length(setting))) is not None:
        ends.append(launch.time + finish[0])
    return min(ends)


def _remarks(sources: Sources, motion: Motion, lift: Lift | None, launch: Launch, setting: Setting) -> tuple[str, ...]:
    remarks = []
    if sources.acceleration is None and sources.ground is None:
        remarks.append("speed and distance come from the driven wheels alone: tyre slip makes them read high")
    elif sources.shaft is None and sources.ground is None:
        remarks.append("speed and distance come from the accelerometer alone: a pitching body makes them drift")
    if lift is not None:
        where = distance_at(motion, lift.time - launch.time)
        if where is not None and where < _length(setting):
            feet = max(where - setting.rollout, 0.0) / FOOT
            remarks.append(
                f"the pull ends at {lift.time - launch.time:.2f} s, {feet:.0f} ft (seen by the {lift.seen_by}): "
                "everything later is coasting"
            )
        remarks += [f"the throttle closes briefly at {stab - launch.time:.2f} s after launch" for stab in lift.stabs]
    return tuple(remarks)


def motion_sources(samples: Mapping[str, Samples], setting: Setting) -> Sources:
    """Return the channels that tell of the motion, in m/s and m/s²."""
    shaft = samples.get("driveshaft_speed")
    if shaft is not None:
        metres_per_radian = setting.tyre_circumference / (2.0 * np.pi * setting.final_drive)
        shaft = Samples(shaft.time, shaft.values * metres_per_radian)
    else:
        shaft = samples.get("rear_wheel_speed")
    ground = samples.get("front_wheel_speed") or samples.get("ground_speed")
    acceleration, pitch = samples.get("acceleration_x"), samples.get("pitch_angle")
    if acceleration is None or pitch is None or rate(pitch) < LEAST_PITCH_RATE:
        return Sources(acceleration, ground, shaft)
    return Sources(without_gravity(acceleration, pitch), ground, shaft, pitch_known=True)


def without_gravity(acceleration: Samples, pitch: Samples) -> Samples:
    """Return the acceleration along the track [m/s²] from a body-fixed accelerometer and the pitch [rad], nose up.

    The accelerometer reads a cos θ + g sin θ (specific force along the pitched axis; 6° read 0.10 g at rest).
    """
    angle = np.interp(acceleration.time, pitch.time, pitch.values)
    return Samples(acceleration.time, (acceleration.values - STANDARD_GRAVITY * np.sin(angle)) / np.cos(angle))


def launch_engine_speed(engine: Samples | None, launch: Launch) -> float | None:
    """Return the median engine speed [rad/s] of the 0.15 s before launch, or None when it wasn't logged then."""
    if engine is None:
        return None
    before = between(engine, launch.time - 0.15, launch.time - 0.01).values
    return float(np.median(before)) if before.size else None


def _calibrated(
    sources: Sources, launch: Launch, motion: Motion, setting: Setting, slip_times: Mapping[int, float] | None
) -> Motion:
    clock = reached(motion, setting.rollout)
    if not slip_times or clock is None:
        return motion
    beams = {clock[0] + time: setting.rollout + feet * FOOT for feet, time in slip_times.items()}
    return estimate_motion(sources, launch, _length(setting), beams) or motion


def _without_launch(good: Mapping[str, Samples], sources: Sources, setting: Setting) -> TraceFindings:
    """Return what a file without a launch still tells, such as one of a fire-up: alarms, on the logger's clock."""
    alarms = find_alarms(good, setting.limits, Span(0.0, 0.0))
    warnings = [_no_launch(sources)]
    if alarms:
        warnings.append("without a launch the times of the alarms are on the logger's clock")
    return TraceFindings(alarms=alarms, not_logged=not_logged(good, setting.limits), warnings=tuple(warnings))


def _no_launch(sources: Sources) -> str:
    if not sources.any:
        return "no acceleration, wheel, driveshaft or ground speed was logged, so the trace doesn't show the run"
    return "no launch was found: no channel shows a sustained acceleration of a run"
