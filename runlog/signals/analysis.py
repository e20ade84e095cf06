"""The whole trace analysis of one run: channels in, findings out."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from runlog.constants import FOOT
from runlog.records import Rises, Samples, Shift, TraceFindings
from runlog.signals.calibration import Calibration, prior, split_opinion
from runlog.signals.events import Lift, find_lift, peak_acceleration, peak_slip, shake_suspected
from runlog.signals.happenings import Seen, happenings, in_order, launch_only
from runlog.signals.health import sensor_faults
from runlog.signals.launch import Launch, find_launch
from runlog.signals.limits import Span, find_alarms, not_logged
from runlog.signals.motion import DISTANCE, SPEED, Motion, calibrate_motion, estimate_motion
from runlog.signals.remarks import calibration_remarks, driveline_remarks, lift_remarks, source_remarks
from runlog.signals.sampling import between, usable
from runlog.signals.seen_alarms import braking, event_alarms, flare_alarms, levels
from runlog.signals.shifts import find_shifts, last_gear_ratio
from runlog.signals.sources import Setting, Sources, agreeing, motion_sources, rest_bias, without_lag
from runlog.signals.splits import beam_clear, reached, split_basis
from runlog.signals.trouble import troubles

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["Setting", "analyse"]


def analyse(
    samples: Mapping[str, Samples],
    setting: Setting,
    slip_times: Mapping[int, float] | None = None,
    known: Calibration | None = None,
) -> TraceFindings:
    """Return what the logged channels tell of a run.

    ``samples`` is keyed by canonical channel name, each channel on its own time [s] and in SI; any may be absent.
    ``slip_times`` [s], keyed by distance in feet, calibrate speed and distance; the splits never see them, so that they
    stay a second opinion of the slip. ``known``: what other runs taught of the car; None: nothing. What can't be had is
    None or empty, and a warning says why.
    """
    known = prior(setting.tyre_growth) if known is None else known
    good = {name: kept for name, channel in samples.items() if (kept := usable(channel)) is not None}
    sources = motion_sources(good, setting)
    launch = find_launch(sources.acceleration, sources.ground, sources.shaft, good.get("launch_switch"))
    if launch is None:
        return _without_launch(good, sources, setting)
    agreed, contradictions = agreeing(sources, launch)
    agreed, moves = (None, ()) if agreed is None else without_lag(agreed, launch)
    launch = replace(launch, warnings=(*launch.warnings, *contradictions, *moves))
    motion = None if agreed is None else estimate_motion(agreed, launch, setting.length, known)
    if agreed is None or motion is None:
        return _without_motion(good, launch, setting)
    return _with_motion(good, agreed, launch, (motion, known), setting, slip_times)


def _with_motion(
    good: Mapping[str, Samples],
    sources: Sources,
    launch: Launch,
    estimate: tuple[Motion, Calibration],
    setting: Setting,
    slip_times: Mapping[int, float] | None,
) -> TraceFindings:
    motion, known = estimate
    basis = split_basis(motion, setting.rollout, setting.finish_ft, launch.sd)
    motion = _calibrated(motion, setting, slip_times)
    lift = find_lift(good.get("throttle"), launch.time, motion.time, motion.speed)
    span = Span(launch.time, _end(launch, motion, lift, setting))
    lift_distance = None if lift is None else distance_at(motion, lift.time - launch.time)
    shifts = _shifts(good.get("engine_speed"), sources, motion, span)
    events = happenings(good, Seen(sources, launch, motion, span, shifts, lift), setting)
    seen = [*flare_alarms(good, shifts, span), *event_alarms(events, setting.rollout, span)]
    faults = sensor_faults(good, span)
    closing = None if lift is None or lift.seen_by != "throttle" else lift.time
    alarms = find_alarms(good, setting.limits, span, lift=closing, seen=seen)
    events = (*events, *troubles(good, span, alarms, faults))
    beam = beam_clear(motion, setting.rollout, launch.sd)
    return replace(
        _instants(launch),
        beam_time=None if beam is None else beam[0],
        beam_time_sd=None if beam is None else beam[1],
        launch_engine_speed=launch_engine_speed(good.get("engine_speed"), launch),
        peak_acceleration=_peak(sources, launch, motion, span),
        peak_slip=_slip(sources, motion, span),
        lift_time=None if lift is None else lift.time - launch.time,
        lift_distance=lift_distance,
        shake_suspected=_shake(sources, span),
        shifts=shifts,
        alarms=alarms,
        braking=braking(good, sources, launch, span),
        last_gear_ratio=last_gear_ratio(good.get("engine_speed"), good.get("driveshaft_speed"), shifts, span),
        levels=levels(good, span),
        not_logged=not_logged(good, setting.limits),
        splits={} if basis is None else split_opinion(basis, known),
        basis=basis,
        events=in_order(events, lambda time: distance_at(motion, time)),
        distance=motion.distance,
        speed=motion.speed,
        time=motion.time,
        distance_sd=motion.sd(DISTANCE),
        speed_sd=motion.sd(SPEED),
        warnings=(
            *launch.warnings,
            *source_remarks(sources),
            *calibration_remarks(motion),
            *lift_remarks(lift, lift_distance, span, setting),
            *driveline_remarks(shifts, setting),
            *(fault.text for fault in faults),
        ),
    )


def _instants(launch: Launch) -> TraceFindings:
    """Return findings that hold the first motion on the logger's clock, and what came about it."""
    return TraceFindings(
        launch_time=launch.time,
        launch_time_sd=launch.sd,
        rises=_about(launch),
        release_time=None if launch.release is None else launch.release - launch.time,
        shaft_time=None if launch.shaft is None else launch.shaft - launch.time,
    )


def _about(launch: Launch) -> Rises | None:
    """Return the instants by each shape about the launch, as all else is told."""
    if launch.rises is None:
        return None
    return replace(launch.rises, times=tuple(time - launch.time for time in launch.rises.times))


def _peak(sources: Sources, launch: Launch, motion: Motion, span: Span) -> float | None:
    """Return the peak acceleration [m/s²] by the accelerometer, else by the speed over ground, else None."""
    if sources.acceleration is not None:
        bias = rest_bias(sources.acceleration, launch)[0]
        return peak_acceleration(sources.acceleration, bias, span.launch, span.end)
    if sources.ground is not None:
        return peak_acceleration(Samples(motion.time, motion.acceleration), 0.0, 0.0, span.end - span.launch)
    return None


def _slip(sources: Sources, motion: Motion, span: Span) -> float | None:
    """Return the driven tyre's peak slip, where a channel other than the driven wheels feels the car's speed."""
    if sources.acceleration is None and sources.ground is None:
        return None
    return peak_slip(motion.shaft, motion.speed, motion.time, span.end - span.launch)


def _shake(sources: Sources, span: Span) -> bool | None:
    if sources.acceleration is None:
        return None
    return shake_suspected(sources.acceleration, span.launch + 0.15, span.end)


def _shifts(engine: Samples | None, sources: Sources, motion: Motion, span: Span) -> tuple[Shift, ...]:
    if engine is None:
        return ()
    changes = find_shifts(engine, sources.shaft, span.launch, span.end)
    after = [(when - span.launch, speed) for when, speed in changes]
    return tuple(Shift(when, speed, distance_at(motion, when)) for when, speed in after)


def distance_at(motion: Motion, time: float) -> float | None:
    """Return the distance [m] at seconds after launch, or None outside the motion."""
    if not motion.time[0] <= time <= motion.time[-1]:
        return None
    return float(np.interp(time, motion.time, motion.distance))


def _end(launch: Launch, motion: Motion, lift: Lift | None, setting: Setting) -> float:
    """Return the end of the run [s, logger's clock]: the first of lift, finish and end of the data."""
    ends = [launch.time + float(motion.time[-1])]
    if lift is not None:
        ends.append(lift.time)
    if (finish := reached(motion, setting.length)) is not None:
        ends.append(launch.time + finish[0])
    return min(ends)


def launch_engine_speed(engine: Samples | None, launch: Launch) -> float | None:
    """Return the median engine speed [rad/s] of the 0.15 s before launch, or None when it wasn't logged then."""
    if engine is None:
        return None
    before = between(engine, launch.time - 0.15, launch.time - 0.01).values
    return float(np.median(before)) if before.size else None


def _calibrated(motion: Motion, setting: Setting, slip_times: Mapping[int, float] | None) -> Motion:
    clock = reached(motion, setting.rollout)
    if not slip_times or clock is None:
        return motion
    beams = {clock[0] + time: setting.rollout + feet * FOOT for feet, time in slip_times.items()}
    return calibrate_motion(motion, beams)


def _without_motion(good: Mapping[str, Samples], launch: Launch, setting: Setting) -> TraceFindings:
    """Return what is left when speed and distance can't be had."""
    span = Span(launch.time, launch.start.end)
    alarms, faults = find_alarms(good, setting.limits, span), sensor_faults(good, span)
    events = (*launch_only(launch), *troubles(good, span, alarms, faults))
    return replace(
        _instants(launch),
        launch_engine_speed=launch_engine_speed(good.get("engine_speed"), launch),
        alarms=alarms,
        events=in_order(events, lambda _: None),
        not_logged=not_logged(good, setting.limits),
        warnings=(*launch.warnings, *(fault.text for fault in faults)),
    )


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
