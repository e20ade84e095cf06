"""Limits that were passed: the car file's, and the trade's usual ones where the car file sets none.

A quiet page is no clean bill of health: what wasn't logged is named.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from runlog.records import Alarm
from runlog.signals.alarm_rules import (
    ALWAYS_RULES,
    DEFAULT_HIGH,
    LOW_RULES,
    action_for,
    hot_at_staging,
    settled_oil,
    throttle_stuck,
    while_running,
)
from runlog.signals.excursions import excursions
from runlog.vocabulary import EXHAUST_TEMPERATURES

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from runlog.records import ChannelLimit, Samples

WATCHED: Final = {
    "oil_pressure": ("oil_pressure",),
    "coolant_temperature": ("coolant_temperature",),
    "battery_voltage": ("battery_voltage",),
    "fuel_pressure": ("fuel_pressure",),
    "engine_speed": ("engine_speed",),
    "driveshaft_speed": ("driveshaft_speed",),
    "transmission_temperature": ("transmission_temperature",),
    "exhaust_temperature": EXHAUST_TEMPERATURES,
    "throttle": ("throttle",),
    "crankcase_pressure": ("crankcase_pressure",),
    "acceleration_x": ("acceleration_x",),
    "front_wheel_height": ("front_wheel_height", "pitch_angle", "front_wheel_speed", "shock_front_left"),
}
"""what a shakedown run should log, and the channels of which one is enough for it"""


@dataclass(frozen=True)
class Span:
    """The run on the logger's clock [s]: from the launch to the lift or the end of the motion."""

    launch: float
    end: float


def find_alarms(
    samples: Mapping[str, Samples],
    limits: Sequence[ChannelLimit],
    span: Span,
    *,
    lift: float | None = None,
    seen: Sequence[Alarm] = (),
) -> tuple[Alarm, ...]:
    """Return the limits that were passed long enough, in time order, each with what to do.

    High limits count through the whole file, low ones while the engine runs; without an engine speed, from launch to
    the end of the run. Each excursion gives one alarm with its first instant and its worst value. ``lift``: when the
    driver let go of the throttle; ``seen``: alarms found elsewhere; both on the logger's clock [s].
    """
    highs = DEFAULT_HIGH | {limit.channel: limit.high for limit in limits if limit.high is not None}
    lows = {limit.channel: limit.low for limit in limits if limit.low is not None}
    alarms: list[Alarm] = list(seen)
    for name, high in highs.items():
        if (channel := samples.get(name)) is not None:
            alarms += excursions(name, channel, high, "high")
    for name, low in lows.items():
        if (channel := samples.get(name)) is not None:
            counted = settled_oil if name == "oil_pressure" else while_running
            alarms += excursions(name, counted(channel, samples, span), low, "low")
    for name, rule in LOW_RULES:
        if name not in lows:
            alarms += rule(samples, span)
    for rule in ALWAYS_RULES:
        alarms += rule(samples, span)
    alarms += throttle_stuck(samples, span, lift)
    if not any(alarm.channel == "coolant_temperature" for alarm in alarms):
        alarms += hot_at_staging(samples, span)
    done = (replace(a, time=a.time - span.launch, action=action_for(a.channel, a.condition)) for a in alarms)
    return tuple(sorted(done, key=lambda alarm: alarm.time))


def not_logged(samples: Mapping[str, Samples], limits: Sequence[ChannelLimit]) -> tuple[str, ...]:
    """Return the watched channels, and those with a limit, that the file didn't hold."""
    watched = [what for what, names in WATCHED.items() if not any(name in samples for name in names)]
    own = [limit.channel for limit in limits if limit.channel not in samples]
    return tuple(dict.fromkeys((*watched, *own)))
