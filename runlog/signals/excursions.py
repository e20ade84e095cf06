"""Stays of a channel beyond a limit, with hysteresis and a least duration, and the samples of a condition."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.records import Alarm, Samples
from runlog.signals.sampling import between, stretches
from runlog.vocabulary import CHANNEL_BY_NAME

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from runlog.signals.limits import Span

    FloatArray = NDArray[np.float64]

LASTS: Final = 0.2
"""[s] that a limit must be passed for; one sample of noise is no alarm"""
HYSTERESIS: Final = 0.02
"""share of the limit that a value must come back by before the next alarm of the kind; of temperatures, whose zero is
far from any that a car has, of what the limit is above freezing, and no less than ``LEAST_KELVIN``. Common practice, no
source."""
LEAST_KELVIN: Final = 2.0
"""[K]"""
FREEZING: Final = 273.15
"""[K]"""


def excursions(
    name: str, channel: Samples, limit: float | FloatArray, kind: str, condition: str = "", lasts: float = LASTS
) -> list[Alarm]:
    """Return an alarm for each stay beyond the limit, ``high`` or ``low``; times on the logger's clock [s].

    ``limit`` is one number or one for each sample; ``condition`` says when it holds, as ``alarm_rules`` writes it; a
    stay shorter than ``lasts`` [s] is none.
    """
    if channel.time.size == 0:
        return []
    bounds = np.broadcast_to(np.asarray(limit, dtype=float), channel.time.shape)
    beyond = (channel.values - bounds) * (1.0 if kind == "high" else -1.0)
    back = beyond < -_band(name, bounds)
    merged: list[tuple[int, int]] = []
    for first, last in stretches(beyond > 0.0):
        if merged and not back[merged[-1][1] : first].any():
            merged[-1] = (merged[-1][0], last)
        else:
            merged.append((first, last))
    step = float(np.median(np.diff(channel.time))) if channel.time.size > 1 else 0.0
    alarms = []
    for first, last in merged:
        if channel.time[last - 1] - channel.time[first] + step + 1e-9 >= lasts:
            worst = first + int(np.argmax(beyond[first:last]))
            value, bound = float(channel.values[worst]), float(bounds[worst])
            alarms.append(Alarm(name, kind, float(channel.time[first]), value, bound, condition))
    return alarms


def _band(name: str, bounds: FloatArray) -> FloatArray:
    """Return by how much the channel must come back from its limits."""
    word = CHANNEL_BY_NAME.get(name)
    if word is not None and word.dimension == "temperature":
        return np.maximum(HYSTERESIS * np.abs(bounds - FREEZING), LEAST_KELVIN)
    return HYSTERESIS * np.abs(bounds)


def where_above(channel: Samples, other: Samples, level: float) -> Samples:
    """Return the samples taken while another channel was above a level."""
    there = np.interp(channel.time, other.time, other.values) > level
    return Samples(channel.time[there], channel.values[there])


def under_throttle(name: str, samples: Mapping[str, Samples], span: Span, above: float) -> Samples | None:
    """Return the channel's samples above a throttle, or those of the run when the throttle wasn't logged."""
    channel, throttle = samples.get(name), samples.get("throttle")
    if channel is None:
        return None
    chosen = between(channel, span.launch, span.end) if throttle is None else where_above(channel, throttle, above)
    return chosen if chosen.time.size else None
