"""Whether the sensors can be believed: gaps, flat lines, saturation, spikes. Thresholds: common practice, no source."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.signals.sampling import between, stretches

if TYPE_CHECKING:
    from collections.abc import Mapping

    from runlog.records import FloatArray, Samples
    from runlog.signals.limits import Span

GAP: Final = 0.1
"""[s] and three sample steps: a longer pause is a dropout"""
NAMED_GAPS: Final = 3
"""gaps of one channel that are named one by one"""
FLAT_FOR: Final = 1.0
"""[s] that a moving channel may repeat one value exactly"""
STUCK_SAMPLES: Final = 5
"""equal samples in a row at the channel's extreme: the sensor or its input is saturated"""
SPIKE: Final = 12.0
"""times the usual scatter about the neighbours, from which a lone sample is a spike"""
SPIKE_SHARE: Final = 0.05
"""of the channel's range, which a spike must exceed as well"""
MOVING: Final = ("engine_speed", "driveshaft_speed", "acceleration_x", "ground_speed", "front_wheel_speed")
"""channels that can't stand still during a run"""
SATURABLE: Final = (
    *MOVING,
    "oil_pressure",
    "fuel_pressure",
    "shock_front_left",
    "shock_front_right",
    "shock_rear_left",
    "shock_rear_right",
)


@dataclass(frozen=True)
class Fault:
    """What is wrong with a channel: ``dropout``, ``flat line``, ``clipping`` or ``spikes``, and how sure that is, 0…1.

    ``time`` [s] after launch at which it begins. Confidence is a judgement, not a measured frequency.
    """

    name: str
    channel: str
    time: float
    confidence: float
    text: str


def sensor_faults(samples: Mapping[str, Samples], span: Span) -> tuple[Fault, ...]:
    """Return what is wrong with the channels during the run, one plain sentence each."""
    found: list[Fault] = []
    for name, channel in samples.items():
        run = between(channel, span.launch, span.end)
        if run.time.size == 0:
            found.append(Fault("dropout", name, 0.0, 0.95, f"{name} has no samples during the run"))
            continue
        found += dropouts(name, channel, span)
        flat = longest_flat(run)
        if name in MOVING and flat is not None and flat[1] - flat[0] >= FLAT_FOR:
            begin, end = flat[0] - span.launch, flat[1] - span.launch
            text = f"{name} doesn't move from {begin:.2f} to {end:.2f} s after launch: look at the sensor"
            found.append(Fault("flat line", name, begin, 0.9, text))
        elif name in SATURABLE and (stuck := saturated(run)) is not None:
            text = f"{name} sticks at its {stuck[0]} value: the sensor or its input may be saturated"
            found.append(Fault("clipping", name, stuck[1] - span.launch, 0.7, text))
        if name in SATURABLE and (lone := spikes(run)).size:
            first = float(lone[0]) - span.launch
            text = f"{name} has {lone.size} spikes of one sample, the first {first:.2f} s after launch"
            found.append(Fault("spikes", name, first, 0.8, f"{text}: look at plug and wiring"))
    return tuple(found)


def dropouts(name: str, channel: Samples, span: Span) -> list[Fault]:
    """Return the gaps of a channel between launch and the end of the run, its early end included."""
    if channel.time.size < 3:
        return [Fault("dropout", name, 0.0, 0.95, f"{name} has only {channel.time.size} samples")]
    allowed = max(GAP, 3.0 * float(np.median(np.diff(channel.time))))
    inside = channel.time[(channel.time > span.launch) & (channel.time < span.end)]
    edges = np.concatenate(([span.launch], inside, [span.end])) - span.launch
    gaps = np.flatnonzero(np.diff(edges) > allowed)
    said = [
        f"{name} has no samples from {edges[g]:.2f} to {edges[g + 1]:.2f} s after launch" for g in gaps[:NAMED_GAPS]
    ]
    if gaps.size > NAMED_GAPS:
        said.append(f"{name} has {gaps.size - NAMED_GAPS} more gaps during the run")
    return [Fault("dropout", name, float(edges[g]), 0.95, text) for g, text in zip(gaps, said, strict=False)]


def spikes(run: Samples) -> FloatArray:
    """Return the times [s] of lone samples far from both neighbours, which agree with each other."""
    values = run.values
    if values.size < 4 * STUCK_SAMPLES:
        return np.empty(0)
    off = np.abs(values[1:-1] - 0.5 * (values[:-2] + values[2:]))
    low, high = np.percentile(values, (1.0, 99.0))
    least = max(SPIKE * 1.4826 * float(np.median(off)), SPIKE_SHARE * float(high - low))
    lone = (off > least) & (np.abs(values[2:] - values[:-2]) < 0.5 * off)
    return run.time[1:-1][lone]


def longest_flat(run: Samples) -> tuple[float, float] | None:
    """Return begin and end [s] of the longest stretch of exactly equal samples, or None when no two are equal."""
    same = stretches(np.diff(run.values) == 0.0)
    if not same:
        return None
    first, last = max(same, key=lambda pair: float(run.time[pair[1]] - run.time[pair[0]]))
    return float(run.time[first]), float(run.time[last])


def saturated(run: Samples) -> tuple[str, float] | None:
    """Return ``highest`` or ``lowest`` when the channel repeats that value where it should have gone on, and from when.

    A clipped peak differs from a resting or coarsely stepped sensor in that the channel otherwise moves from sample to
    sample: more than half of its steps aren't zero.
    """
    if run.values.size < 4 * STUCK_SAMPLES or float(np.median(np.abs(np.diff(run.values)))) == 0.0:
        return None
    for side, level in (("highest", float(run.values.max())), ("lowest", float(run.values.min()))):
        for first, last in stretches(run.values == level):
            if last - first >= STUCK_SAMPLES and first > 0 and last < run.values.size:
                return side, float(run.time[first])
    return None
