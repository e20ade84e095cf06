"""What happened while the car pulled: g by increment, spin, gear by gear slip, front wheels in the air.

Thresholds are common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.constants import FOOT, INCREMENTS_FT, STANDARD_GRAVITY
from runlog.records import TraceEvent
from runlog.signals.events import greatest_slip, strongest
from runlog.signals.sampling import GRID_STEP, filled, noise_sd, rate, stretches, window_mean
from runlog.signals.shifts import LEAST_RATE, ratio_between
from runlog.signals.splits import reached

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from runlog.records import Samples, Shift
    from runlog.signals.limits import Span
    from runlog.signals.motion import Motion
    from runlog.signals.sources import Setting

    FloatArray = NDArray[np.float64]

SPIN: Final = (0.15, 3.0)
"""share of the car's speed and [m/s] by which the driven wheels must run ahead, both"""
SPIN_LASTS: Final = 0.12
"""[s]"""
SETTLED: Final = 0.3
"""[s] after launch or a shift from which a gear's slip is looked at"""
TOPPED, TOPPED_EDGE = 0.2, 0.12
"""[s] that a shock must stand still at its longest while the push changes, and what isn't looked at on both sides"""
PUSH_CHANGES: Final = 0.12
"""by which share"""
OFF_GROUND: Final = 0.05
"""[m] a height over the ground that isn't the sensor's zero"""
NOSE_UP: Final = np.radians(6.0)
"""pitch over that at rest from which the front wheels are likely off the ground"""
FLOATING: Final = 0.06
"""share by which front wheels that aren't driven by the ground fall behind while the car gains speed"""
WHEELSTAND: Final = 0.7
"""[s] with the front wheels up that is more than a launch"""


def mean_g(motion: Motion, rollout: float, span: Span) -> list[TraceEvent]:
    """Return the mean acceleration of every increment that lies within the pull: gain of speed over time."""
    found = []
    for start, end in INCREMENTS_FT:
        ends = [reached(motion, rollout + feet * FOOT) for feet in (start, end)]
        if ends[0] is None or ends[1] is None or ends[1][0] > span.end - span.launch + 0.05:
            continue
        (t1, v1, _), (t2, v2, _) = ends[0], ends[1]
        g = (v2 - v1) / (t2 - t1) / STANDARD_GRAVITY
        text = f"{start}–{end} ft: {g:.2f} g on average"
        found.append(TraceEvent("mean g", t2, rollout + end * FOOT, 0.9, text))
    return found


def peak_g(felt: Samples, bias: float, motion: Motion, rollout: float, span: Span) -> list[TraceEvent]:
    """Return the strongest acceleration of every increment that the pull reaches, as far as it goes.

    ``felt`` [m/s²] on the logger's clock and its ``bias``: the accelerometer, else the slope of the speed over ground.
    """
    found = []
    for start, end in INCREMENTS_FT:
        ends = [reached(motion, rollout + feet * FOOT) for feet in (start, end)]
        if ends[0] is None:
            break
        begin = span.launch + (ends[0][0] if start else 0.0)
        close = span.end if ends[1] is None else min(span.launch + ends[1][0], span.end)
        if (top := strongest(felt, bias, begin, close)) is None:
            continue
        g, when = top[0] / STANDARD_GRAVITY, top[1] - span.launch
        found.append(TraceEvent("peak g", when, _place(motion, when), 0.8, f"{start}–{end} ft: {g:.2f} g at most"))
    return found


def most_slip(motion: Motion, span: Span) -> list[TraceEvent]:
    """Return where the driven tyres slipped most, with the circumference's error in it; needs both speeds."""
    top = greatest_slip(motion.shaft, motion.speed, motion.time, span.end - span.launch)
    if top is None:
        return []
    slip, place = top
    if slip <= 0.0:  # the circumference's error and noise
        return []
    text = f"driven tyre slip up to {100 * slip:.0f} %"
    return [TraceEvent("tyre slip", float(motion.time[place]), float(motion.distance[place]), 0.7, text)]


def spins(motion: Motion, span: Span) -> list[TraceEvent]:
    """Return where the driven wheels ran away from the car; needs both speeds."""
    time, ahead = motion.time, np.nan_to_num(motion.shaft - motion.speed)
    wild = (ahead > SPIN[0] * motion.speed) & (ahead > SPIN[1]) & (time > 0.1) & (time < span.end - span.launch)
    found = []
    for first, last in stretches(wild):
        lasts = (last - first) * GRID_STEP
        if lasts < SPIN_LASTS:
            continue
        share = float(np.max(ahead[first:last] / np.maximum(motion.speed[first:last], SPIN[1])))
        text = f"the driven wheels run up to {100 * share:.0f} % ahead of the car for {lasts:.2f} s"
        confidence = float(np.clip(0.4 + share + 0.5 * lasts, 0.5, 0.95))
        found.append(TraceEvent("spin", float(time[first]), float(motion.distance[first]), confidence, text))
    return found


def gear_slips(
    good: Mapping[str, Samples], motion: Motion, shifts: Sequence[Shift], span: Span, setting: Setting
) -> list[TraceEvent]:
    """Return for each gear of the car file by how much the engine turned faster than the driveshaft times its ratio."""
    engine, shaft = good.get("engine_speed"), good.get("driveshaft_speed")
    if engine is None or shaft is None or min(rate(engine), rate(shaft)) < LEAST_RATE:
        return []
    starts = [span.launch, *(span.launch + shift.time for shift in shifts)]
    ends = [*starts[1:], span.end]
    found = []
    for gear, (ratio, start, end) in enumerate(zip(setting.gear_ratios, starts, ends, strict=False), 1):
        over = ratio_between(engine, shaft, start + SETTLED, end - 0.1)
        if over is None:
            continue
        slip = over / ratio - 1.0
        middle = 0.5 * (start + SETTLED + end) - span.launch
        text = f"gear {gear}: the engine turns {100 * slip:+.1f} % against the driveshaft: converter or clutch slip"
        confidence = 0.8 if -0.02 < slip < 0.5 else 0.3
        found.append(TraceEvent("gear slip", middle, _place(motion, middle), confidence, text))
    return found


def front_lift(good: Mapping[str, Samples], motion: Motion, span: Span) -> list[TraceEvent]:
    """Return when the front wheels were off the ground, by height, pitch, front wheel speed or topped-out shocks.

    The surest of them speaks. Long ones are wheelstands. A topped-out shock alone leaves the tyre on the ground as
    likely as not.
    """
    clock = motion.time + span.launch
    pulling = (motion.time > 0.0) & (clock < span.end)
    ways = [
        (_by_height(good.get("front_wheel_height"), clock), 0.9, "their height says so"),
        (_by_pitch(good.get("pitch_angle"), clock, motion), 0.75, "the nose is more than 6° up"),
        (_by_wheels(good.get("front_wheel_speed"), clock, motion), 0.7, "the front wheels fall behind the car"),
        (_by_shocks(good, clock, motion), 0.4, "the front shocks stand at their longest"),
    ]
    for mask, confidence, why in ways:
        if mask is None:
            continue
        spans = [(a, b) for a, b in stretches(mask & pulling) if (b - a) * GRID_STEP >= 0.15]
        if not spans:
            continue
        first, last = max(spans, key=lambda pair: pair[1] - pair[0])
        lasts = (last - first) * GRID_STEP
        name = "wheelstand" if lasts >= WHEELSTAND and confidence > 0.5 else "front wheels up"
        text = f"front wheels off the ground for {lasts:.2f} s, it seems: {why}"
        begin, end = float(motion.distance[first]), float(motion.distance[last - 1])
        return [TraceEvent(name, float(motion.time[first]), begin, confidence, text, until=end)]
    return []


def _by_height(height: Samples | None, clock: FloatArray) -> NDArray[np.bool_] | None:
    return None if height is None else np.asarray(filled(window_mean(height, clock, 0.05)) > OFF_GROUND)


def _by_pitch(pitch: Samples | None, clock: FloatArray, motion: Motion) -> NDArray[np.bool_] | None:
    if pitch is None:
        return None
    angle = filled(window_mean(pitch, clock, 0.05))
    rest = angle[motion.time < 0.0]
    return np.asarray(angle - (float(np.median(rest)) if rest.size else 0.0) > NOSE_UP)


def _by_wheels(front: Samples | None, clock: FloatArray, motion: Motion) -> NDArray[np.bool_] | None:
    if front is None or rate(front) < LEAST_RATE or not np.isfinite(motion.shaft).any():
        return None
    behind = motion.speed - filled(window_mean(front, clock, 0.05))
    return np.asarray((behind > FLOATING * motion.speed) & (behind > 0.7) & (motion.push > 2.0))


def _by_shocks(good: Mapping[str, Samples], clock: FloatArray, motion: Motion) -> NDArray[np.bool_] | None:
    masks = [_topped(good[name], clock, motion) for name in ("shock_front_left", "shock_front_right") if name in good]
    return np.logical_and.reduce(masks) if masks else None


def _topped(shock: Samples, clock: FloatArray, motion: Motion) -> NDArray[np.bool_]:
    """Return where a shock stands at its longest although the push changes: its stop holds it, not its spring."""
    travel = filled(window_mean(shock, clock, 0.02))
    after = motion.time > 0.0
    longest = float(travel[after].max()) if after.any() else 0.0
    reach = longest - float(np.median(travel[~after])) if (~after).any() else 0.0
    near = after & (travel > longest - max(4.0 * noise_sd(shock), 0.01 * reach))
    topped = np.zeros(clock.size, dtype=bool)
    edge = round(TOPPED_EDGE / GRID_STEP)
    for first, last in stretches(near):
        # at its edges the push, which is a mean over time, still holds what was before and comes after
        push = motion.push[first + edge : last - edge]
        if reach > 0.0 and push.size * GRID_STEP >= TOPPED and np.ptp(push) > PUSH_CHANGES * np.abs(push).max():
            topped[first:last] = True
    return topped


def _place(motion: Motion, time: float) -> float:
    return float(np.interp(time, motion.time, motion.distance))
