"""How the pull ended: throttle lift and re-application, abort, coasting, brake or parachute.

Thresholds are common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.constants import FOOT
from runlog.records import TraceEvent
from runlog.signals.events import LIFT_SHARE
from runlog.signals.sampling import GRID_STEP, between, filled, stretches, window_mean

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from runlog.records import Samples
    from runlog.signals.events import Lift
    from runlog.signals.limits import Span
    from runlog.signals.motion import Motion
    from runlog.signals.sources import Setting

    FloatArray = NDArray[np.float64]

REAPPLIED_FOR: Final = 0.2
"""[s] that a throttle must be open again"""
EASED: Final = 0.85
"""share of the open throttle below which the pedal was eased"""
STAB_LASTS: Final = 0.12
"""[s]"""
COASTS: Final = -0.5
"""[m/s²]"""
BRAKES: Final = -3.5
"""[m/s²] more than air, rolling and engine braking take off after the pull"""
LASTS: Final = 0.3
"""[s]"""
PARACHUTE: Final = (45.0, 4.0, 0.35)
"""[m/s] from which one is used, [m/s²] that it takes off at once, and within [s]"""
PRESSED: Final = 5e5
"""[Pa] line pressure that is braking: 73 psi"""


def ending(
    good: Mapping[str, Samples], motion: Motion, lift: Lift | None, span: Span, setting: Setting
) -> list[TraceEvent]:
    """Return what ended the pull and what came then, as far as the motion reaches."""
    throttle = good.get("throttle")
    found = _throttle(throttle, motion, lift, span)
    if throttle is not None:
        found += _stabs(throttle, motion, span)
    aborted = lift is not None and not any(event.name == "throttle again" for event in found)
    place = None if lift is None else _place(motion, lift.time - span.launch)
    if lift is not None and aborted and place is not None and span.end >= lift.time - 1e-9:
        feet = max(place - setting.rollout, 0.0) / FOOT
        if feet < 0.97 * setting.finish_ft:
            text = f"the pull ends at {feet:.0f} ft and isn't taken up again: a planned shut-off or an abort"
            found.append(_event(motion, "abort", lift.time - span.launch, 0.6, text))
    return [*found, *_slowing(good, motion, span)]


def _throttle(throttle: Samples | None, motion: Motion, lift: Lift | None, span: Span) -> list[TraceEvent]:
    if lift is None:
        return []
    when = lift.time - span.launch
    seen = 0.95 if lift.seen_by == "throttle" else 0.6
    found = [_event(motion, "throttle lift", when, seen, f"the pull ends, seen by the {lift.seen_by}")]
    again = _again(throttle, lift, span) if throttle is not None and lift.seen_by == "throttle" else None
    if again is not None and again - span.launch <= motion.time[-1]:
        text = f"the throttle opens again {again - lift.time:.2f} s after it closed"
        found.append(_event(motion, "throttle again", again - span.launch, 0.9, text))
    return found


def _stabs(throttle: Samples, motion: Motion, span: Span) -> list[TraceEvent]:
    """Return where the throttle was eased during the pull and opened again; gear changes with cut are shorter."""
    pull = between(throttle, span.launch, span.end)
    if pull.values.size < 5 or (open_level := float(np.percentile(pull.values, 90))) <= 0.0:
        return []
    found = []
    for first, last in stretches(pull.values < EASED * open_level):
        if first == 0 or last == pull.values.size or pull.time[last] - pull.time[first] < STAB_LASTS:
            continue
        lowest = float(pull.values[first:last].min()) / open_level
        text = f"the throttle is eased to {100 * max(lowest, 0.0):.0f} % for {pull.time[last] - pull.time[first]:.2f} s"
        found.append(_event(motion, "throttle stab", float(pull.time[first]) - span.launch, 0.9, text))
    return found


def _again(throttle: Samples, lift: Lift, span: Span) -> float | None:
    """Return when the throttle opens again after the lift for ``REAPPLIED_FOR``, or None."""
    open_level = float(np.percentile(between(throttle, span.launch, lift.time).values, 90))
    late = between(throttle, lift.time, float(throttle.time[-1]))
    for first, last in stretches(late.values > LIFT_SHARE * open_level):
        if first > 0 and late.time[last - 1] - late.time[first] >= REAPPLIED_FOR:
            return float(late.time[first])
    return None


def _slowing(good: Mapping[str, Samples], motion: Motion, span: Span) -> list[TraceEvent]:
    """Return the onset of coasting and of braking after the pull."""
    width = round(LASTS / GRID_STEP)
    pushed = np.convolve(np.pad(motion.acceleration, (0, width - 1), mode="edge"), np.ones(width) / width, "valid")
    whole = np.arange(motion.time.size) <= motion.time.size - width
    after = whole & (motion.time > max(span.end - span.launch - 0.1, 0.5)) & (motion.speed > 3.0)
    found = []
    coasting = np.flatnonzero(after & (pushed < COASTS))
    if coasting.size:
        text = f"the car slows, from {motion.speed[coasting[0]]:.0f} m/s"
        found.append(_event(motion, "coast-down", float(motion.time[coasting[0]]), 0.8, text))
    braking = np.flatnonzero(after & (pushed < BRAKES))
    if braking.size:
        found.append(_brake(good.get("brake_pressure"), motion, int(braking[0]), span))
    return found


def _brake(pressure: Samples | None, motion: Motion, step: int, span: Span) -> TraceEvent:
    """Return the event of a strong deceleration: by brake, by parachute, or either."""
    when = float(motion.time[step])
    pressed = None
    if pressure is not None:
        near = filled(window_mean(pressure, span.launch + when + np.arange(-0.3, 0.6, 0.05), 0.05))
        pressed = bool(near.max() > PRESSED)
    before = motion.acceleration[max(step - round(PARACHUTE[2] / GRID_STEP), 0)]
    later = motion.acceleration[min(step + round(PARACHUTE[2] / GRID_STEP), motion.time.size - 1)]
    sudden = motion.speed[step] > PARACHUTE[0] and before - later > PARACHUTE[1]
    size = f"{-float(later):.1f} m/s²"
    if pressed:
        return _event(motion, "brake", when, 0.9, f"the brakes come on, {size}")
    if sudden and pressed is False:
        return _event(motion, "parachute", when, 0.8, f"a sudden drag of {size} without the brakes: parachute")
    how = "at once" if sudden else "little by little"
    return _event(motion, "brake or parachute", when, 0.7, f"the car is slowed by {size}, {how}: brakes or parachute")


def _event(motion: Motion, name: str, time: float, confidence: float, text: str) -> TraceEvent:
    return TraceEvent(name, time, _place(motion, time), confidence, text)


def _place(motion: Motion, time: float) -> float | None:
    if not motion.time[0] <= time <= motion.time[-1]:
        return None
    return float(np.interp(time, motion.time, motion.distance))
