"""The usual limits of a shakedown day, each in the condition that it holds in, and what to do where it is passed.

All are common practice, no source; the makers' figures and the car file's limits always win.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.records import Alarm, Samples
from runlog.records.trace import SHAKING
from runlog.signals.excursions import excursions, under_throttle, where_above
from runlog.signals.sampling import between, stretches
from runlog.units import parse_quantity
from runlog.vocabulary import EXHAUST_TEMPERATURES

if TYPE_CHECKING:
    from collections.abc import Mapping

    from runlog.signals.limits import Span

DEFAULT_HIGH: Final = {
    "coolant_temperature": parse_quantity("220 °F", "temperature"),
    "transmission_temperature": parse_quantity("230 °F", "temperature"),
    "crankcase_pressure": parse_quantity("1 psi", "pressure"),
    "front_wheel_height": parse_quantity("12 in", "length"),
}
STAGING_COOLANT: Final = parse_quantity("200 °F", "temperature")
"""[K] too hot to launch"""
STAGING: Final = 5.0
"""[s] before launch that count as staging"""
LEAST_BATTERY: Final = 12.5
"""[V] of a 12 V system with the engine running"""
SIXTEEN_VOLT: Final = 14.9
"""[V] a usual reading above this is another system, of which the default says nothing"""
OIL_PER_SPEED: Final = parse_quantity("10 psi", "pressure") / parse_quantity("1000 rpm", "angular_speed")
"""[Pa per rad/s] under load"""
NO_OIL: Final = parse_quantity("5 psi", "pressure")
"""[Pa] less is none: a sensor's zero is seldom better"""
OIL_COMES: Final = 5.0
"""[s] after the engine started"""
FUEL_SHARE: Final = 0.9
"""of the full-throttle fuel pressure, below which it has fallen away"""
EXHAUST_SPREAD: Final = 100.0 / 1.8
"""[K] 100 °F that one cylinder may be away from the median of all"""
LEAST_CYLINDERS: Final = 3
"""logged, for a median that one of them doesn't make"""
LOADED, FULL = 0.5, 0.9
"""throttle above which the engine is under load, and fully open"""
STUCK_OPEN: Final = 0.02
"""throttle that may remain 0.3 s after the driver lifted, above its closed position"""
CLOSES_WITHIN, LOOKED_AT = 0.3, 2.0
"""[s] after the lift in which the throttle closes, and until which a throttle that never does counts as stuck"""
RUNNING: Final = 42.0
"""[rad/s] engine speed above which low limits count: a stopped engine has no oil pressure"""

UNDER_LOAD, AFTER_START, STAGED = "under load", "5 s after start", "at staging"
FULL_THROTTLE, WHILE_RUNNING, OFF_MEDIAN = "at full throttle", "running", "away from the median"
AFTER_LIFT, SHIFTING, PAST_60, BRAKING = "after the lift", "flare at a shift", "airborne past 60 ft", "braking"
"""conditions, written to follow the channel's name"""

ACTIONS: Final = {
    ("oil_pressure", AFTER_START): "shut off",
    ("oil_pressure", ""): "stop",
    ("engine_speed", SHIFTING): "check the transmission",
    ("engine_speed", ""): "stop, inspect",
    ("coolant_temperature", STAGED): "wait",
    ("coolant_temperature", ""): "stop",
    ("transmission_temperature", ""): "cool down",
    ("fuel_pressure", ""): "stop",
    ("exhaust_temperature", ""): "stop, read the plugs",
    ("battery_voltage", ""): "charge",
    ("throttle", ""): "stop",
    ("driveshaft_speed", ""): "stop",
    ("front_wheel_height", ""): "stop, revise",
    ("acceleration_x", SHAKING): "inspect driveline and wheels",
    ("acceleration_x", BRAKING): "stop",
    ("crankcase_pressure", ""): "stop, leak-down test",
}
"""what to do, by channel and condition; the empty condition stands for all others of the channel"""
OTHERWISE: Final = "stop and look before the next run"
"""where a limit of the car file is passed on a channel that the table doesn't have"""


def action_for(channel: str, condition: str) -> str:
    """Return what to do when a limit of the channel was passed in that condition."""
    name = "exhaust_temperature" if channel in EXHAUST_TEMPERATURES else channel
    return ACTIONS.get((name, condition)) or ACTIONS.get((name, ""), OTHERWISE)


def while_running(channel: Samples, samples: Mapping[str, Samples], span: Span) -> Samples:
    """Return the samples taken while the engine turned; without an engine speed those of the run."""
    engine = samples.get("engine_speed")
    if engine is None:
        return between(channel, span.launch, span.end)
    return where_above(channel, engine, RUNNING)


def settled_oil(oil: Samples, samples: Mapping[str, Samples], span: Span) -> Samples:
    """Return the oil pressure while the engine runs, without the first seconds after a start, when it builds up."""
    running = while_running(oil, samples, span)
    late = np.ones(running.time.size, dtype=bool)
    for start, _ in starts(samples):
        late &= (running.time < start) | (running.time >= start + OIL_COMES)
    return Samples(running.time[late], running.values[late])


def starts(samples: Mapping[str, Samples]) -> list[tuple[float, float]]:
    """Return when the engine was started in the file and when it stopped or the file ends [s, logger's clock]."""
    engine = samples.get("engine_speed")
    if engine is None:
        return []
    return [
        (float(engine.time[first]), float(engine.time[last - 1]))
        for first, last in stretches(engine.values > RUNNING)
        if first > 0
    ]


def oil_after_start(samples: Mapping[str, Samples], span: Span) -> list[Alarm]:
    """Return an alarm for each start after which there is no oil pressure within ``OIL_COMES``, the engine running."""
    oil = samples.get("oil_pressure")
    if oil is None:
        return []
    found: list[Alarm] = []
    for begin, end in starts(samples):
        found += excursions("oil_pressure", between(oil, begin + OIL_COMES, end), NO_OIL, "low", AFTER_START)[:1]
    return found


def oil_under_load(samples: Mapping[str, Samples], span: Span) -> list[Alarm]:
    """Return alarms for oil pressure below 10 psi per 1,000 rpm under load."""
    oil, engine = under_throttle("oil_pressure", samples, span, LOADED), samples.get("engine_speed")
    if oil is None or engine is None:
        return []
    least = OIL_PER_SPEED * np.interp(oil.time, engine.time, engine.values)
    return excursions("oil_pressure", oil, least, "low", UNDER_LOAD)


def fuel_falls_away(samples: Mapping[str, Samples], span: Span) -> list[Alarm]:
    """Return alarms for fuel pressure more than a tenth below that of the run's first half second at full throttle."""
    fuel = under_throttle("fuel_pressure", samples, span, FULL)
    if fuel is None:
        return []
    fuel = between(fuel, span.launch, span.end)
    first = between(fuel, span.launch, span.launch + 0.5).values
    if not first.size:
        return []
    return excursions("fuel_pressure", fuel, FUEL_SHARE * float(np.median(first)), "low", FULL_THROTTLE)


def weak_battery(samples: Mapping[str, Samples], span: Span) -> list[Alarm]:
    """Return alarms for a 12 V system below 12.5 V while the engine runs."""
    battery = samples.get("battery_voltage")
    if battery is None or battery.values.size == 0 or float(np.median(battery.values)) > SIXTEEN_VOLT:
        return []
    return excursions("battery_voltage", while_running(battery, samples, span), LEAST_BATTERY, "low", WHILE_RUNNING)


def hot_at_staging(samples: Mapping[str, Samples], span: Span) -> list[Alarm]:
    """Return an alarm for coolant above 200 °F while staging."""
    coolant = samples.get("coolant_temperature")
    if coolant is None:
        return []
    staging = between(coolant, span.launch - STAGING, span.launch)
    return excursions("coolant_temperature", staging, STAGING_COOLANT, "high", STAGED)


def uneven_exhaust(samples: Mapping[str, Samples], span: Span) -> list[Alarm]:
    """Return alarms for a cylinder's exhaust more than 100 °F from the median of all, under load in the run."""
    names = [name for name in EXHAUST_TEMPERATURES if name in samples]
    if len(names) < LEAST_CYLINDERS:
        return []
    found: list[Alarm] = []
    for name in names:
        own = under_throttle(name, samples, span, LOADED)
        if own is None:
            continue
        own = between(own, span.launch, span.end)
        others = [np.interp(own.time, samples[other].time, samples[other].values) for other in names]
        middle = np.median(np.array(others), axis=0) if own.time.size else np.empty(0)
        found += excursions(name, own, middle + EXHAUST_SPREAD, "high", OFF_MEDIAN)
        found += excursions(name, own, middle - EXHAUST_SPREAD, "low", OFF_MEDIAN)
    return found


def throttle_stuck(samples: Mapping[str, Samples], span: Span, lift: float | None) -> list[Alarm]:
    """Return alarms for a throttle still open 0.3 s after the driver's foot left the pedal.

    Without a pedal channel the foot isn't seen: then a throttle that was let go of at ``lift`` [s, logger's clock] and
    never closes in the two seconds after counts.
    """
    throttle, pedal = samples.get("throttle"), samples.get("accelerator_pedal")
    if throttle is None or throttle.time.size == 0:
        return []
    closed = min(float(np.min(throttle.values)), 0.1)
    if pedal is None or pedal.time.size == 0:
        late = None if lift is None else between(throttle, lift + CLOSES_WITHIN, lift + LOOKED_AT)
        if late is None or not late.values.size or float(late.values.min()) <= closed + STUCK_OPEN:
            return []
        return excursions("throttle", late, closed + STUCK_OPEN, "high", AFTER_LIFT)
    foot_off = np.interp(throttle.time, pedal.time, pedal.values) <= float(np.min(pedal.values)) + STUCK_OPEN
    late_enough = np.zeros_like(foot_off)
    for first, last in stretches(foot_off):
        late_enough[first:last] = throttle.time[first:last] >= throttle.time[first] + CLOSES_WITHIN
    checked = Samples(throttle.time[late_enough], throttle.values[late_enough])
    return excursions("throttle", checked, closed + STUCK_OPEN, "high", AFTER_LIFT)


LOW_RULES: Final = (
    ("oil_pressure", oil_under_load),
    ("fuel_pressure", fuel_falls_away),
    ("battery_voltage", weak_battery),
)
"""low limits of the trade; each holds only where the car file has no low limit for the channel"""
ALWAYS_RULES: Final = (oil_after_start, uneven_exhaust)
"""limits that the car file's don't stand for"""
