"""What the car did before its launch: burnout and staging, told from the run.

Thresholds are common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.records import TraceEvent
from runlog.signals.sampling import filled, stretches, window_mean
from runlog.signals.sources import rest_bias
from runlog.signals.trust import felt_speed

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from runlog.signals.launch import Launch
    from runlog.signals.sources import Sources

    FloatArray = NDArray[np.float64]

STEP: Final = 0.02
"""[s]"""
BURNOUT_SPEED: Final = 8.0
"""[m/s] of the driven wheels, for ``BURNOUT_LASTS``: more than any car does on its way to the beams"""
BURNOUT_LASTS: Final = 0.8
"""[s]"""
BEFORE: Final = 900.0
"""[s] before the launch that are looked at: what was earlier belongs to the pits or to another run"""
ROLLING: Final = (0.12, 4.0)
"""[m/s] highest speed of a roll into the beams"""
STAGING_WITHIN: Final = 30.0
"""[s] before launch"""
ROLL_LASTS: Final = 0.2
"""[s]"""


def before_run(sources: Sources, launch: Launch) -> list[TraceEvent]:
    """Return burnouts and rolls into the beams before the launch, as far as a wheel or ground speed was logged."""
    speed = sources.shaft if sources.shaft is not None else sources.ground
    if speed is None or speed.time[0] > launch.time - 1.0:
        return []
    clock = np.arange(max(float(speed.time[0]), launch.time - BEFORE), launch.time - 0.3, STEP)
    if clock.size < 5:
        return []
    turning = filled(window_mean(speed, clock, 0.1))
    burnouts = [] if sources.shaft is None else _burnouts(sources, launch, clock, turning)
    return [*burnouts, *_rolls(launch, clock, turning)]


def _burnouts(sources: Sources, launch: Launch, clock: FloatArray, turning: FloatArray) -> list[TraceEvent]:
    found = []
    for first, last in stretches(turning > BURNOUT_SPEED):
        lasts = (last - first) * STEP
        if lasts < BURNOUT_LASTS:
            continue
        car = _car_speed(sources, launch, clock[first : last + 1])
        top = float(turning[first:last].max())
        if car is not None and car > 0.7 * top:
            continue  # the car went as fast as its wheels: a start, not a burnout
        text = f"burnout of {lasts:.1f} s, driven wheels up to {top:.0f} m/s"
        confidence = 0.6 if car is None else 0.95
        found.append(TraceEvent("burnout", float(clock[first]) - launch.time, None, confidence, text))
    return found


def _car_speed(sources: Sources, launch: Launch, clock: FloatArray) -> float | None:
    """Return the highest speed [m/s] that the car itself gained over these times, or None when nothing felt it."""
    if sources.ground is not None:
        return float(np.nanmax(filled(window_mean(sources.ground, clock, STEP))))
    if sources.acceleration is None:
        return None
    bias = rest_bias(sources.acceleration, launch)[0]
    return float(felt_speed(sources.acceleration, bias, float(clock[0]), clock).max())


def _rolls(launch: Launch, clock: FloatArray, turning: FloatArray) -> list[TraceEvent]:
    """Return the rolls into the beams, the last ones before the launch; a burnout and what leads to it isn't one."""
    recent = clock > launch.time - STAGING_WITHIN
    fast = np.flatnonzero(turning > ROLLING[1])
    if fast.size:
        recent &= clock > clock[fast[-1]]
    found = []
    for first, last in stretches(recent & (turning > ROLLING[0])):
        if (last - first) * STEP < ROLL_LASTS or (first > 0 and turning[first - 1] > ROLLING[1]):
            continue
        way = float(turning[first:last].sum()) * STEP
        text = f"roll of {100 * way:.0f} cm before the launch: staging"
        found.append(TraceEvent("staging", float(clock[first]) - launch.time, None, 0.7, text))
    return found
