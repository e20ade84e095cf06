"""Limits that were passed: the car file's, and the trade's usual ones where the car file sets none.

All defaults are common practice, no source; the makers' figures always win. A quiet page is no clean bill of health:
what wasn't logged is named.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.records import Alarm, ChannelLimit, Samples
from runlog.signals.sampling import between, stretches
from runlog.units import parse_quantity

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]

WATCHED: Final = (
    "oil_pressure",
    "coolant_temperature",
    "battery_voltage",
    "fuel_pressure",
    "engine_speed",
    "driveshaft_speed",
)
"""channels that a shakedown run should log"""
DEFAULT_HIGH: Final = {
    "coolant_temperature": parse_quantity("220 °F", "temperature"),
    "transmission_temperature": parse_quantity("230 °F", "temperature"),
    "crankcase_pressure": parse_quantity("1 psi", "pressure"),
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
FUEL_SHARE: Final = 0.9
"""of the full-throttle fuel pressure, below which it has fallen away"""
LOADED, FULL = 0.5, 0.9
"""throttle above which the engine is under load, and fully open"""
STUCK_OPEN: Final = 0.02
"""throttle that may remain 0.3 s after the driver lifted, above its closed position"""
LASTS: Final = 0.2
"""[s] that a limit must be passed for; one sample of noise is no alarm"""
HYSTERESIS: Final = 0.02
"""share of the limit that a value must come back by before the next alarm of the kind"""
RUNNING: Final = 42.0
"""[rad/s] engine speed above which low limits count: a stopped engine has no oil pressure"""


@dataclass(frozen=True)
class Span:
    """The run on the logger's clock [s]: from the launch to the lift or the end of the motion."""

    launch: float
    end: float


def find_alarms(samples: Mapping[str, Samples], limits: Sequence[ChannelLimit], span: Span) -> tuple[Alarm, ...]:
    """Return the limits that were passed for at least ``LASTS``, in time order.

    High limits count through the whole file, low ones while the engine runs; without an engine speed, from launch to
    the end of the run. Each excursion gives one alarm with its first instant and its worst value.
    """
    highs = DEFAULT_HIGH | {limit.channel: limit.high for limit in limits if limit.high is not None}
    lows = {limit.channel: limit.low for limit in limits if limit.low is not None}
    alarms: list[Alarm] = []
    for name, high in highs.items():
        if (channel := samples.get(name)) is not None:
            alarms += excursions(name, channel, high, "high")
    for name, low in lows.items():
        if (channel := samples.get(name)) is not None:
            alarms += excursions(name, while_running(channel, samples, span), low, "low")
    for name, rule in _RULES:
        if name not in lows:
            alarms += rule(samples, span)
    alarms += throttle_stuck(samples)
    if not any(alarm.channel == "coolant_temperature" for alarm in alarms):
        alarms += hot_at_staging(samples, span)
    after = (Alarm(a.channel, a.kind, a.time - span.launch, a.value, a.limit) for a in alarms)
    return tuple(sorted(after, key=lambda alarm: alarm.time))


def excursions(name: str, channel: Samples, limit: float | FloatArray, kind: str) -> list[Alarm]:
    """Return an alarm for each stay beyond the limit, ``high`` or ``low``; times on the logger's clock [s]."""
    if channel.time.size == 0:
        return []
    bounds = np.broadcast_to(np.asarray(limit, dtype=float), channel.time.shape)
    beyond = (channel.values - bounds) * (1.0 if kind == "high" else -1.0)
    back = beyond < -HYSTERESIS * np.abs(bounds)
    merged: list[tuple[int, int]] = []
    for first, last in stretches(beyond > 0.0):
        if merged and not back[merged[-1][1] : first].any():
            merged[-1] = (merged[-1][0], last)
        else:
            merged.append((first, last))
    step = float(np.median(np.diff(channel.time))) if channel.time.size > 1 else 0.0
    alarms = []
    for first, last in merged:
        if channel.time[last - 1] - channel.time[first] + step + 1e-9 >= LASTS:
            worst = first + int(np.argmax(beyond[first:last]))
            value, bound = float(channel.values[worst]), float(bounds[worst])
            alarms.append(Alarm(name, kind, float(channel.time[first]), value, bound))
    return alarms


def while_running(channel: Samples, samples: Mapping[str, Samples], span: Span) -> Samples:
    """Return the samples taken while the engine turned; without an engine speed those of the run."""
    engine = samples.get("engine_speed")
    if engine is None:
        return between(channel, span.launch, span.end)
    return _where(channel, engine, RUNNING)


def _where(channel: Samples, other: Samples, above: float) -> Samples:
    """Return the samples taken while another channel was above a level."""
    there = np.interp(channel.time, other.time, other.values) > above
    return Samples(channel.time[there], channel.values[there])


def _under_load(name: str, samples: Mapping[str, Samples], span: Span, above: float) -> Samples | None:
    """Return the channel's samples above a throttle, or those of the run when the throttle wasn't logged."""
    channel, throttle = samples.get(name), samples.get("throttle")
    if channel is None:
        return None
    chosen = between(channel, span.launch, span.end) if throttle is None else _where(channel, throttle, above)
    return chosen if chosen.time.size else None


def oil_under_load(samples: Mapping[str, Samples], span: Span) -> list[Alarm]:
    """Return alarms for oil pressure below 10 psi per 1,000 rpm under load."""
    oil, engine = _under_load("oil_pressure", samples, span, LOADED), samples.get("engine_speed")
    if oil is None or engine is None:
        return []
    return excursions("oil_pressure", oil, OIL_PER_SPEED * np.interp(oil.time, engine.time, engine.values), "low")


def fuel_falls_away(samples: Mapping[str, Samples], span: Span) -> list[Alarm]:
    """Return alarms for fuel pressure more than a tenth below that of the run's first half second at full throttle."""
    fuel = _under_load("fuel_pressure", samples, span, FULL)
    if fuel is None:
        return []
    fuel = between(fuel, span.launch, span.end)
    first = between(fuel, span.launch, span.launch + 0.5).values
    return excursions("fuel_pressure", fuel, FUEL_SHARE * float(np.median(first)), "low") if first.size else []


def weak_battery(samples: Mapping[str, Samples], span: Span) -> list[Alarm]:
    """Return alarms for a 12 V system below 12.5 V while the engine runs."""
    battery = samples.get("battery_voltage")
    if battery is None or battery.values.size == 0 or float(np.median(battery.values)) > SIXTEEN_VOLT:
        return []
    return excursions("battery_voltage", while_running(battery, samples, span), LEAST_BATTERY, "low")


def hot_at_staging(samples: Mapping[str, Samples], span: Span) -> list[Alarm]:
    """Return an alarm for coolant above 200 °F while staging."""
    coolant = samples.get("coolant_temperature")
    if coolant is None:
        return []
    staging = between(coolant, span.launch - STAGING, span.launch)
    return excursions("coolant_temperature", staging, STAGING_COOLANT, "high")


def throttle_stuck(samples: Mapping[str, Samples]) -> list[Alarm]:
    """Return alarms for a throttle still open 0.3 s after the driver's foot left the pedal."""
    throttle, pedal = samples.get("throttle"), samples.get("accelerator_pedal")
    if throttle is None or pedal is None or throttle.time.size == 0 or pedal.time.size == 0:
        return []
    foot_off = np.interp(throttle.time, pedal.time, pedal.values) <= float(np.min(pedal.values)) + STUCK_OPEN
    late = np.zeros_like(foot_off)
    for first, last in stretches(foot_off):
        late[first:last] = throttle.time[first:last] >= throttle.time[first] + 0.3
    closed = float(np.min(throttle.values)) if foot_off.any() else 0.0
    checked = Samples(throttle.time[late], throttle.values[late])
    return excursions("throttle", checked, min(closed, 0.1) + STUCK_OPEN, "high")


_RULES: Final = (
    ("oil_pressure", oil_under_load),
    ("fuel_pressure", fuel_falls_away),
    ("battery_voltage", weak_battery),
)
"""low limits of the trade; each holds only where the car file has no low limit for the channel"""


def not_logged(samples: Mapping[str, Samples], limits: Sequence[ChannelLimit]) -> tuple[str, ...]:
    """Return the watched channels, and those with a limit, that the file didn't hold."""
    wanted = dict.fromkeys((*WATCHED, *(limit.channel for limit in limits)))
    return tuple(name for name in wanted if name not in samples)
