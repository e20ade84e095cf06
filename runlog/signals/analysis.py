"""The whole trace analysis of one run: channels in, findings out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from runlog.constants import FOOT
from runlog.records import ChannelLimit, Samples, TraceFindings
from runlog.signals.events import peak_acceleration
from runlog.signals.launch import Launch, find_launch
from runlog.signals.motion import Motion, Sources, estimate_motion, finish_length, rest_bias
from runlog.signals.sampling import between, usable
from runlog.signals.splits import reached, split_times

if TYPE_CHECKING:
    from collections.abc import Mapping


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
    sources = motion_sources(samples, setting)
    launch = find_launch(sources.acceleration, sources.ground, sources.shaft, usable(samples.get("launch_switch")))
    if launch is None:
        return TraceFindings(warnings=(_no_launch(sources),))
    length = finish_length(setting.rollout, setting.finish_ft)
    motion = estimate_motion(sources, launch, length)
    if motion is None:
        return TraceFindings(launch_time=launch.time, launch_time_sd=launch.sd, warnings=launch.warnings)
    splits = split_times(motion, setting.rollout, setting.finish_ft)
    motion = _calibrated(sources, launch, motion, setting, slip_times)
    peak = None
    if sources.acceleration is not None:
        bias = rest_bias(sources.acceleration, launch)[0]
        peak = peak_acceleration(sources.acceleration, bias, launch.time, launch.time + float(motion.time[-1]))
    return TraceFindings(
        launch_time=launch.time,
        launch_time_sd=launch.sd,
        launch_engine_speed=launch_engine_speed(usable(samples.get("engine_speed")), launch),
        peak_acceleration=peak,
        splits=splits,
        distance=motion.distance,
        speed=motion.speed,
        time=motion.time,
        warnings=launch.warnings,
    )


def motion_sources(samples: Mapping[str, Samples], setting: Setting) -> Sources:
    """Return the channels that tell of the motion, in m/s and m/s²."""
    shaft = usable(samples.get("driveshaft_speed"))
    if shaft is not None:
        metres_per_radian = setting.tyre_circumference / (2.0 * np.pi * setting.final_drive)
        shaft = Samples(shaft.time, shaft.values * metres_per_radian)
    else:
        shaft = usable(samples.get("rear_wheel_speed"))
    ground = usable(samples.get("front_wheel_speed")) or usable(samples.get("ground_speed"))
    return Sources(usable(samples.get("acceleration_x")), ground, shaft)


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
    length = finish_length(setting.rollout, setting.finish_ft)
    return estimate_motion(sources, launch, length, beams) or motion


def _no_launch(sources: Sources) -> str:
    if not sources.any:
        return "no acceleration, wheel, driveshaft or ground speed was logged, so the trace doesn't show the run"
    return "no launch was found: no channel shows a sustained acceleration of a run"
