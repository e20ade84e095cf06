"""Channels of different rates brought to common times."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from runlog.records import Samples

    FloatArray = NDArray[np.float64]

GRID_STEP = 0.01
"""[s] step of the common time of a run: 100 Hz, well above what the motion of a whole car holds."""

SLOWEST_STEP = 60.0
"""[s] between samples, beyond which a channel shows nothing of a run"""


def rate(samples: Samples) -> float:
    """Return the usual sampling rate [Hz], from the median step; 0 when there are fewer than two samples."""
    if samples.time.size < 2:
        return 0.0
    return 1.0 / float(np.median(np.diff(samples.time)))


def usable(samples: Samples | None, least: int = 3) -> Samples | None:
    """Return the channel without non-finite samples and steps back in time; None when fewer than ``least`` remain.

    One whose samples are usually more than ``SLOWEST_STEP`` apart shows nothing of a run, and is none either.
    """
    if samples is None:
        return None
    good = np.isfinite(samples.time) & np.isfinite(samples.values)
    latest = np.maximum.accumulate(np.where(good, samples.time, -np.inf))
    good[1:] &= samples.time[1:] > latest[:-1]
    if int(good.sum()) < least or float(np.median(np.diff(samples.time[good]))) > SLOWEST_STEP:
        return None
    if good.all():
        return samples
    return type(samples)(samples.time[good], samples.values[good])


def integral(samples: Samples, at: FloatArray) -> FloatArray:
    """Return the integral of the channel, linear between samples and constant outside, from its first sample to ``at``.

    ``at`` [s], shape (n,); the result has the channel's unit times seconds.
    """
    time, values = samples.time, samples.values
    steps = np.diff(time) * 0.5 * (values[1:] + values[:-1])
    cumulated = np.concatenate(([0.0], np.cumsum(steps)))
    index = np.clip(np.searchsorted(time, at, side="right") - 1, 0, time.size - 1)
    start = np.where(at < time[0], time[0], time[index])
    here = np.interp(at, time, values)
    result: FloatArray = cumulated[index] + (at - start) * 0.5 * (values[index] + here)
    return result


def window_mean(samples: Samples, centres: FloatArray, width: float) -> FloatArray:
    """Return the mean of the channel over windows of ``width`` [s] about ``centres``; nan where it has no samples.

    For a channel faster than the windows this is an average, for a slower one the linear interpolation. A centre counts
    as covered when the gap between the samples around it is at most three usual steps, and no less than the window.
    """
    time = samples.time
    half = 0.5 * width
    mean = (integral(samples, centres + half) - integral(samples, centres - half)) / width
    after = np.searchsorted(time, centres, side="left")
    inside = (centres >= time[0] - half) & (centres <= time[-1] + half)
    gap = time[np.clip(after, 0, time.size - 1)] - time[np.clip(after - 1, 0, time.size - 1)]
    allowed = max(3.0 / rate(samples), width) if time.size > 1 else width
    return np.where(inside & (gap <= allowed * (1.0 + 1e-9)), mean, np.nan)


def running_median(values: FloatArray, width: float) -> FloatArray:
    """Return the median of each value and those within half of ``width`` steps around it; the ends are extended."""
    reach = max(round(width / 2), 1)
    padded = np.pad(values, reach, mode="edge")
    return np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1), axis=1)


def filled(values: FloatArray) -> FloatArray:
    """Return the values with nan replaced by the line between the neighbours; zeros when all are nan."""
    good = np.isfinite(values)
    if not good.any():
        return np.zeros_like(values)
    index = np.arange(values.size)
    return np.interp(index, index[good], values[good])


def between(samples: Samples, start: float, end: float) -> Samples:
    """Return the samples with start <= time <= end."""
    first, last = np.searchsorted(samples.time, [start, end + 1e-12])
    return type(samples)(samples.time[first:last], samples.values[first:last])


def noise_sd(samples: Samples) -> float:
    """Return the white-noise sd of a channel, robustly, from its second differences; 0 with fewer than 8 samples.

    The second difference of a smooth signal is small, of white noise it has variance 6 sd². 1.4826 makes the median
    absolute deviation a standard deviation for normal noise.
    """
    if samples.values.size < 8:
        return 0.0
    second = np.diff(samples.values, 2)
    return float(1.4826 * np.median(np.abs(second)) / np.sqrt(6.0))


def stretches(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Return the (first, past-the-last) index pairs of the runs of True in a mask."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(np.int8)))
    return [(int(first), int(last)) for first, last in zip(edges[::2], edges[1::2], strict=True)]
