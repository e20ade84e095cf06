"""Limits that were passed, a sagging battery and sensors at fault, as events with time, place and confidence.

``limit passed``, ``overspeed``, ``flare``, ``battery sag``, ``dropout``, ``flat line``, ``clipping``, ``spikes``.
Thresholds are common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.records import Samples, TraceEvent
from runlog.records.trace import alarm_name
from runlog.signals.alarm_rules import LEAST_BATTERY, SHIFTING, SIXTEEN_VOLT, WHILE_RUNNING, while_running
from runlog.signals.excursions import excursions
from runlog.units import SPOKEN, unit_of
from runlog.vocabulary import CHANNEL_BY_NAME

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from runlog.records import Alarm
    from runlog.signals.health import Fault
    from runlog.signals.limits import Span

SAG: Final = 1.0
"""[V] below the level before the launch that a battery may fall"""
SURE, UNSURE = 0.9, 0.5
"""confidence in what a channel shows whose sensor is in order, and whose isn't"""


def troubles(
    good: Mapping[str, Samples], span: Span, alarms: Sequence[Alarm], faults: Sequence[Fault]
) -> list[TraceEvent]:
    """Return an event for each limit passed, sag and fault, yet without its place."""
    doubtful = {fault.channel for fault in faults}
    return [
        *limit_events(alarms, doubtful),
        *battery_sags(good, span, doubtful),
        *(TraceEvent(fault.name, fault.time, None, fault.confidence, fault.text) for fault in faults),
    ]


def limit_events(alarms: Sequence[Alarm], doubtful: Collection[str]) -> list[TraceEvent]:
    """Return an event for each alarm with a number; what was only seen is an event already, and a weak battery a sag.

    ``doubtful``: channels whose sensor is at fault.
    """
    found = []
    for alarm in alarms:
        if alarm.value is None or alarm.limit is None or (alarm.channel, alarm.condition) == _WEAK:
            continue
        name = "limit passed"
        if (alarm.channel, alarm.kind) == ("engine_speed", "high"):
            name = "flare" if alarm.condition == SHIFTING else "overspeed"
        side = "over" if alarm.kind == "high" else "under"
        value, limit = (_spoken(alarm.channel, number) for number in (alarm.value, alarm.limit))
        text = f"{alarm_name(alarm.channel, alarm.condition)}: {value}, {side} the limit of {limit}"
        sure = UNSURE if alarm.channel in doubtful else SURE
        found.append(TraceEvent(name, alarm.time, None, sure, text))
    return found


_WEAK: Final = ("battery_voltage", WHILE_RUNNING)


def _spoken(channel: str, value: float) -> str:
    word = CHANNEL_BY_NAME.get(channel)
    unit = unit_of(SPOKEN.get(word.dimension, "1") if word else "1")
    return f"{unit.from_si(value):.4g} {unit.spoken}".removesuffix(" 1")


def battery_sags(good: Mapping[str, Samples], span: Span, doubtful: Collection[str]) -> list[TraceEvent]:
    """Return where the battery fell ``SAG`` below its level before the launch, or a 12 V system below 12.5 V.

    Only while the engine runs: cranking pulls any battery down.
    """
    battery = good.get("battery_voltage")
    if battery is None:
        return []
    running = while_running(battery, good, span)
    if not running.values.size:
        return []
    before = running.values[running.time < span.launch]
    level = float(np.median(before if before.size >= _FEW else running.values))
    least = level - SAG if level > SIXTEEN_VOLT else max(level - SAG, LEAST_BATTERY)
    found = []
    for stay in excursions("battery_voltage", running, least, "low"):
        time, lowest = stay.time - span.launch, float(stay.value or 0.0)
        sure = UNSURE if "battery_voltage" in doubtful else float(np.clip(0.6 + 0.3 * (least - lowest), 0.6, 0.95))
        text = f"the battery falls to {lowest:.1f} V, from {level:.1f} V before the launch"
        found.append(TraceEvent("battery sag", time, None, round(sure, 2), text))
    return found


_FEW: Final = 5
"""samples that make a level"""
