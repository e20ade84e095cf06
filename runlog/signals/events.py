"""What happened on the way: peak acceleration, throttle lift, driven-tyre slip, tyre shake.

Thresholds are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.signals.sampling import GRID_STEP, between, rate, stretches, window_mean

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from runlog.records import Samples

    FloatArray = NDArray[np.float64]

PEAK_WINDOW: Final = 0.2
"""[s] over which acceleration is averaged, so that noise and shake don't set its peak"""
LIFT_SHARE: Final = 0.5
"""share of the run's open throttle below which it counts as lifted"""
LIFT_LASTS: Final = 0.3
"""[s] a shorter closing is a stab of the pedal or an ignition cut at a shift, not a lift"""
COASTING: Final = -0.5
"""[m/s²] mean acceleration below which the car no longer pulls"""
COASTING_LASTS: Final = 0.5
"""[s]"""
SLIP_FROM: Final = 5.0
"""[m/s] below this speed slip is a ratio of small numbers"""
SHAKE_BAND: Final = (10.0, 45.0)
"""[Hz]"""
SHAKE_RMS: Final = 2.0
"""[m/s²] root mean square in the band, within one window"""
SHAKE_TONE: Final = 0.5
"""share of the band's energy that its strongest three bins must hold: shake is a tone, roughness is not"""
SHAKE_WINDOW: Final = 0.5
"""[s]"""
SHAKE_LEAST_RATE: Final = 80.0
"""[Hz]"""


@dataclass(frozen=True)
class Lift:
    """The end of the pull: when [s, logger's clock] and by which channel it was seen."""

    time: float
    seen_by: str
    stabs: tuple[float, ...] = ()
    """earlier, shorter closings of the throttle [s, logger's clock]"""


def peak_acceleration(acceleration: Samples, bias: float, start: float, end: float) -> float | None:
    """Return the greatest mean over ``PEAK_WINDOW`` of the acceleration less its bias [m/s²], from start to end [s].

    A pitched body's share of gravity is in it. None when the span holds no whole window or the channel has fewer than
    two samples a window.
    """
    found = strongest(acceleration, bias, start, end)
    return None if found is None else found[0]


def strongest(acceleration: Samples, bias: float, start: float, end: float) -> tuple[float, float] | None:
    """Return the peak acceleration as ``peak_acceleration`` does, and the middle [s] of the window that it is of."""
    centres = np.arange(start + 0.5 * PEAK_WINDOW, end - 0.5 * PEAK_WINDOW + 1e-9, GRID_STEP)
    if centres.size == 0 or rate(acceleration) < 2.0 / PEAK_WINDOW:
        return None
    means = window_mean(acceleration, centres, PEAK_WINDOW)
    if not np.isfinite(means).any():
        return None
    place = int(np.nanargmax(means))
    return float(means[place]) - bias, float(centres[place])


def throttle_closings(throttle: Samples, start: float) -> tuple[float | None, tuple[float, ...]]:
    """Return when the throttle closes for at least ``LIFT_LASTS``, and the shorter closings before [s].

    The throttle's open level is the 90th percentile of the first three seconds from ``start``; a closing that lasts to
    the end of the data counts as a lift.
    """
    run = between(throttle, start, float(throttle.time[-1]))
    first = between(throttle, start, start + 3.0).values
    if first.size < 2 or (open_level := float(np.percentile(first, 90))) <= 0.0:
        return None, ()
    closed = run.values < LIFT_SHARE * open_level
    stabs: list[float] = []
    for begin, end in stretches(closed):
        if begin == 0:
            continue
        lasts = run.time[min(end, run.time.size - 1)] - run.time[begin]
        if lasts >= LIFT_LASTS or end == run.time.size:
            return float(run.time[begin]), tuple(stabs)
        stabs.append(float(run.time[begin]))
    return None, tuple(stabs)


def pull_ends(time: FloatArray, speed: FloatArray) -> float | None:
    """Return when a moving car's speed starts to fall for ``COASTING_LASTS``, on the times given, or None."""
    step = float(time[1] - time[0])
    span = max(round(COASTING_LASTS / step), 1)
    if time.size <= 2 * span:
        return None
    falls = (speed[span:] - speed[:-span]) / (span * step) < COASTING
    begins = np.flatnonzero(falls & (speed[:-span] > 3.0) & (time[:-span] > 0.3))
    return float(time[begins[0]]) if begins.size else None


def find_lift(throttle: Samples | None, launch: float, time: FloatArray, speed: FloatArray) -> Lift | None:
    """Return the lift by the throttle, or without that channel by the falling speed; None when there is none."""
    if throttle is not None:
        lifted, stabs = throttle_closings(throttle, launch)
        if lifted is not None:
            return Lift(lifted, "throttle", stabs)
        if throttle.time[-1] > launch + 1.0:
            return None
    ended = pull_ends(time, speed)
    return None if ended is None else Lift(launch + ended, "speed")


def peak_slip(shaft: FloatArray, speed: FloatArray, time: FloatArray, end: float) -> float | None:
    """Return the greatest driven-tyre slip ω/ω₀ − 1 (SAE J670 sense), averaged over a tenth of a second, up to ``end``.

    The arguments are those of ``greatest_slip``.
    """
    found = greatest_slip(shaft, speed, time, end)
    return None if found is None else found[0]


def greatest_slip(shaft: FloatArray, speed: FloatArray, time: FloatArray, end: float) -> tuple[float, int] | None:
    """Return the greatest driven-tyre slip and the place in the arrays that it is at.

    ``shaft``: the driven wheels' rolling speed [m/s], nan where not logged; ``speed`` the car's [m/s]; ``time`` [s]
    after launch. The circumference's error is in it. None when the car isn't faster than 5 m/s with both known.
    """
    known = np.isfinite(shaft) & (speed > SLIP_FROM) & (time > 0.0) & (time <= end)
    width = round(0.1 / GRID_STEP)
    if int(known.sum()) < 2 * width:
        return None
    slip = np.where(known, shaft / np.where(known, speed, 1.0) - 1.0, 0.0)
    kernel = np.ones(width)
    count = np.convolve(known, kernel, mode="same")
    mean = np.convolve(slip, kernel, mode="same") / np.maximum(count, 1.0)
    if not bool((count == width).any()):
        return None
    place = int(np.argmax(np.where(count == width, mean, -np.inf)))
    return float(mean[place]), place


def shake_suspected(acceleration: Samples, start: float, end: float) -> bool | None:
    """Return whether ``shake_starts`` finds tyre shake between start and end [s]; None when it can't tell."""
    starts = shake_starts(acceleration, start, end)
    return None if starts is None else bool(starts)


def shake_starts(acceleration: Samples, start: float, end: float) -> list[float] | None:
    """Return when windows with a strong tone of 10 to 45 Hz begin, from start to end [s]; None when it can't be told.

    Two windows in a row, half overlapping, must pass, so that one knock, such as a shift, doesn't. The channel needs 80
    samples a second; below 100 the band ends at 0.45 of the rate.
    """
    hertz = rate(acceleration)
    run = between(acceleration, start, end)
    size = round(SHAKE_WINDOW * hertz)
    if hertz < SHAKE_LEAST_RATE or run.values.size < 2 * size:
        return None
    clock = np.arange(run.time[0], run.time[-1], 1.0 / hertz)
    even = np.interp(clock, run.time, run.values)
    pieces = np.lib.stride_tricks.sliding_window_view(even, size)[:: size // 2]
    rms, tone = band_energy(pieces, hertz)
    marked = (rms >= SHAKE_RMS) & (tone >= SHAKE_TONE)
    return [float(clock[n * (size // 2)]) for n in np.flatnonzero(marked[1:] & marked[:-1])]


def band_energy(pieces: FloatArray, hertz: float) -> tuple[FloatArray, FloatArray]:
    """Return the root mean square in the shake band and the share of its strongest three bins, for each row.

    Parabolas are taken out first and a Hann window applied; by Parseval's theorem the mean square is the sum of the
    one-sided spectrum over the window's energy.
    """
    size = pieces.shape[1]
    powers = np.vander(np.linspace(-1.0, 1.0, size), 3)
    straight = pieces - (pieces @ np.linalg.pinv(powers).T) @ powers.T
    window = np.hanning(size)
    spectrum = 2.0 * np.abs(np.fft.rfft(straight * window, axis=1)) ** 2 / (size * float(window @ window))
    frequency = np.fft.rfftfreq(size, 1.0 / hertz)
    band = spectrum[:, (frequency >= SHAKE_BAND[0]) & (frequency <= min(SHAKE_BAND[1], 0.45 * hertz))]
    total = band.sum(axis=1)
    three = band[:, :-2] + band[:, 1:-1] + band[:, 2:]
    return np.sqrt(total), three.max(axis=1) / np.maximum(total, 1e-12)
