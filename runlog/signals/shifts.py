"""Gear changes, from the engine's speed and, where it was logged, the shaft's.

Thresholds are common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.signals.sampling import filled, rate, running_median, stretches, window_mean

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from runlog.records import Samples, Shift
    from runlog.signals.limits import Span

    FloatArray = NDArray[np.float64]

STEP: Final = 0.02
"""[s] of the times at which a shift is looked for"""
SPAN: Final = 0.35
"""[s] within which the engine has dropped to the next gear's speed"""
LEAST_DROP: Final = 0.08
"""share of engine speed that a shift takes off at least; neighbouring gears are further apart"""
SETTLE: Final = 0.7
"""[s] after launch in which the engine's speed belongs to the launch"""
LOST_STEPS: Final = 4
"""steps within which a median makes lost pulses no drop"""
FLARE: Final = 500.0 * np.pi / 30.0
"""[rad/s] 500 rpm: a greater rise at a shift asks for a look at the transmission"""
IN_GEAR: Final = 1.0
"""[s] of the last gear, before the end of the pull, that show its ratio"""
LEAST_RATE: Final = 8.0
"""[Hz] a slower channel doesn't show a shift"""


def find_shifts(engine: Samples, shaft: Samples | None, start: float, end: float) -> list[tuple[float, float]]:
    """Return (time [s, logger's clock], engine speed just before [rad/s]) of the gear changes from start to end.

    A shift is a drop of the engine's speed. Where the driven wheels' speed was logged, the drop must also last against
    the wheels, and they must not drop as much: a spinning tyre that bites slows both.
    """
    if rate(engine) < LEAST_RATE:
        return []
    width = max(STEP, 1.0 / rate(engine))
    time = np.arange(start + SETTLE, end, STEP)
    if time.size < 4:
        return []
    speed = running_median(filled(window_mean(engine, time, width)), LOST_STEPS)
    span = round(SPAN / STEP)
    dropping = _drop_within(speed, span) >= LEAST_DROP
    if shaft is not None and rate(shaft) >= LEAST_RATE:
        wheels = running_median(filled(window_mean(shaft, time, max(width, 1.0 / rate(shaft)))), LOST_STEPS)
        dropping &= _drop_for_good(speed / np.maximum(wheels, 1.0), span) >= LEAST_DROP
        dropping &= _drop_within(wheels, span) < 0.5 * _drop_within(speed, span)
    found: list[tuple[float, float]] = []
    for first, last in stretches(dropping):
        reach = slice(max(first - 2, 0), min(last + 3, time.size))
        peak = reach.start + int(np.argmax(speed[reach]))
        before = _peak_near(engine, float(time[peak]), max(width, 2.0 * STEP))
        if not found or before[0] - found[-1][0] > SPAN:
            found.append(before)
    return found


def flares(engine: Samples, shaft: Samples, found: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return (time [s], rise [rad/s]) of the shifts at which the engine ran away from the wheels before the next gear.

    The rise is the engine's highest speed at the shift over what the gear before it would give at that wheel speed.
    """
    marked = []
    for when, _ in found:
        window = np.arange(when - 0.6, when + 0.1, STEP)
        speed = filled(window_mean(engine, window, max(STEP, 1.0 / rate(engine))))
        wheels = np.maximum(filled(window_mean(shaft, window, max(STEP, 1.0 / rate(shaft)))), 1.0)
        in_gear = float(np.median((speed / wheels)[:15]))
        rise = float(np.max(speed - in_gear * wheels))
        if rise > FLARE:
            marked.append((when, rise))
    return marked


def ratio_between(engine: Samples, shaft: Samples, start: float, end: float) -> float | None:
    """Return the median of engine over shaft speed, both [rad/s], from start to end [s]; None with too few samples."""
    time = np.arange(start, end, STEP)
    if time.size < 10:
        return None
    over = window_mean(engine, time, max(STEP, 1.0 / rate(engine)))
    under = window_mean(shaft, time, max(STEP, 1.0 / rate(shaft)))
    known = np.isfinite(over) & np.isfinite(under) & (np.nan_to_num(under) > 1.0)
    return float(np.median(over[known] / under[known])) if int(known.sum()) >= 10 else None


def last_gear_ratio(engine: Samples | None, shaft: Samples | None, shifts: Sequence[Shift], span: Span) -> float | None:
    """Return engine over driveshaft speed at the end of the last gear, when a converter has caught up best.

    None where one of the speeds is missing or too slow, or the gear was pulled for less than ``IN_GEAR``.
    """
    if engine is None or shaft is None or min(rate(engine), rate(shaft)) < LEAST_RATE:
        return None
    start = shifts[-1].time + span.launch + 0.5 if shifts else span.end
    if span.end - start < IN_GEAR:
        return None
    return ratio_between(engine, shaft, span.end - IN_GEAR, span.end)


def _drop_within(values: FloatArray, span: int) -> FloatArray:
    """Return by which share the values fall at most within ``span`` steps."""
    padded = np.pad(values, (0, span), mode="edge")
    lowest = np.lib.stride_tricks.sliding_window_view(padded, span + 1).min(axis=1)
    share: FloatArray = 1.0 - lowest / np.maximum(values, 1e-9)
    return share


def _drop_for_good(values: FloatArray, span: int) -> FloatArray:
    """Return by which share the values are lower from ``span`` to two ``span`` steps later."""
    padded = np.pad(values, (0, 2 * span), mode="edge")
    later = np.lib.stride_tricks.sliding_window_view(padded[span:], span + 1).max(axis=1)[: values.size]
    share: FloatArray = 1.0 - later / np.maximum(values, 1e-9)
    return share


def _peak_near(engine: Samples, time: float, width: float) -> tuple[float, float]:
    """Return the time and value of the highest sample within two windows of ``time``."""
    first, last = np.searchsorted(engine.time, [time - 2.0 * width, time + 2.0 * width])
    if last <= first:
        return time, float(np.interp(time, engine.time, engine.values))
    peak = int(first) + int(np.argmax(engine.values[first:last]))
    return float(engine.time[peak]), float(engine.values[peak])
