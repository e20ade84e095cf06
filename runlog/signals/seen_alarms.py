"""Alarms from what the analysis of the run has found: flare at a shift, front wheels in the air, tyre shake, braking.

Thresholds are common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.constants import FOOT
from runlog.records import Alarm
from runlog.records.trace import SHAKING
from runlog.signals.alarm_rules import BRAKING, PAST_60, SHIFTING, action_for
from runlog.signals.sampling import between, filled, rate, window_mean
from runlog.signals.shifts import FLARE, LEAST_RATE, flares
from runlog.signals.sources import rest_bias

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from runlog.records import Samples, Shift, TraceEvent
    from runlog.signals.launch import Launch
    from runlog.signals.limits import Span
    from runlog.signals.sources import Sources

    FloatArray = NDArray[np.float64]

SURE: Final = 0.6
"""confidence of an event that is worth an alarm"""
AIRBORNE: Final = ("front wheels up", "wheelstand")
BRAKED_FOR: Final = 1.0
"""[s] over which a deceleration is averaged"""
BRAKES: Final = 3.0
"""[m/s²] more than air, rolling and engine braking take off: without a brake pressure less isn't called braking"""
PRESSED: Final = 5e5
"""[Pa] line pressure that is braking: 73 psi"""
USUAL_RUNS, ALIKE = 3, 0.25
"""earlier runs that make a usual deceleration, and the share by which the speed that they braked from may differ"""
LEAST_SHARE: Final = 0.8
"""of the usual deceleration"""
SLOWED_WITHIN: Final = 120.0
"""[s] after the pull that are looked at: a file may go on for hours"""
STEP: Final = 0.05
"""[s]"""


def flare_alarms(good: Mapping[str, Samples], shifts: Sequence[Shift], span: Span) -> list[Alarm]:
    """Return an alarm for each shift at which the engine ran away from its gear; times on the logger's clock [s]."""
    engine, shaft = good.get("engine_speed"), good.get("driveshaft_speed")
    if engine is None or shaft is None or min(rate(engine), rate(shaft)) < LEAST_RATE:
        return []
    marked = flares(engine, shaft, [(shift.time + span.launch, 0.0) for shift in shifts])
    return [Alarm("engine_speed", "high", when, rise, FLARE, SHIFTING) for when, rise in marked]


def event_alarms(events: Sequence[TraceEvent], rollout: float, span: Span) -> list[Alarm]:
    """Return alarms for front wheels in the air past 60 ft, and for tyre shake; times on the logger's clock [s].

    ``rollout`` [m] from rest to where the clock starts. A nose that rises before 60 ft and stays up past it counts.
    """
    found = []
    for event in events:
        if event.confidence < SURE or event.distance is None:
            continue
        if event.name in AIRBORNE and (event.until or event.distance) > rollout + 60 * FOOT:
            found.append(Alarm("front_wheel_height", "seen", event.time + span.launch, None, None, PAST_60))
        if event.name == "shake":
            found.append(Alarm("acceleration_x", "seen", event.time + span.launch, None, None, SHAKING))
    return found


def braking(good: Mapping[str, Samples], sources: Sources, launch: Launch, span: Span) -> tuple[float, float] | None:
    """Return the strongest deceleration over a second after the pull [m/s²] and the driven speed it began at [m/s].

    By the speed over ground, else the accelerometer. None when the file shows no braking: less than ``BRAKES`` without
    a line pressure that says so.
    """
    channel = sources.ground if sources.ground is not None else sources.acceleration
    speed = sources.ground if sources.ground is not None else sources.shaft
    if channel is None or speed is None:
        return None
    end = min(float(channel.time[-1]), float(speed.time[-1]), span.end + SLOWED_WITHIN)
    clock = np.arange(span.end, end - BRAKED_FOR, STEP)
    if clock.size < 2:
        return None
    middles = clock + 0.5 * BRAKED_FOR
    if sources.ground is not None:
        fast = filled(window_mean(speed, np.concatenate((clock, clock + BRAKED_FOR)), 0.2))
        slowing = (fast[: clock.size] - fast[clock.size :]) / BRAKED_FOR
    else:
        slowing = rest_bias(channel, launch)[0] - filled(window_mean(channel, middles, BRAKED_FOR))
    place = int(np.argmax(slowing))
    if float(slowing[place]) < BRAKES and not _pressed(good.get("brake_pressure"), float(clock[place])):
        return None
    began = float(filled(window_mean(speed, clock[place : place + 1], 0.2))[0])
    return float(slowing[place]), began


def _pressed(pressure: Samples | None, start: float) -> bool:
    if pressure is None:
        return False
    values = between(pressure, start, start + BRAKED_FOR).values
    return bool(values.size) and float(np.median(values)) > PRESSED


def weak_braking(
    found: tuple[float, float], earlier: Sequence[tuple[float, float]], lift_time: float | None
) -> Alarm | None:
    """Return an alarm when a run braked a fifth less than the car's usual, or None.

    ``found`` and ``earlier``: (deceleration [m/s²], speed it began at [m/s]) of the run and of earlier ones, of which
    those from about the same speed make the usual one, their median. ``lift_time`` [s] after launch, for the alarm.
    """
    value, speed = found
    alike = [other for other, began in earlier if abs(began - speed) <= ALIKE * speed]
    if len(alike) < USUAL_RUNS:
        return None
    least = LEAST_SHARE * float(np.median(alike))
    if value >= least:
        return None
    return Alarm(
        "acceleration_x", "low", lift_time or 0.0, value, least, BRAKING, action_for("acceleration_x", BRAKING)
    )


def levels(good: Mapping[str, Samples], span: Span) -> dict[str, float]:
    """Return the median of each channel during the pull, where it has samples then."""
    inside = ((name, between(channel, span.launch, span.end).values) for name, channel in good.items())
    return {name: float(np.median(values)) for name, values in inside if values.size}
