"""What happened on the way: peak acceleration, throttle lift, tyre slip, tyre shake."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.signals.sampling import between, rate, window_mean

if TYPE_CHECKING:
    from runlog.records import Samples

PEAK_WINDOW: Final = 0.2
"""[s] over which acceleration is averaged, so that noise and shake don't set its peak. Common practice, no source."""


def peak_acceleration(acceleration: Samples, bias: float, start: float, end: float) -> float | None:
    """Return the greatest mean over ``PEAK_WINDOW`` of the acceleration less its bias [m/s²], from start to end [s].

    None when the span holds no whole window.
    """
    centres = np.arange(start + 0.5 * PEAK_WINDOW, end - 0.5 * PEAK_WINDOW + 1e-9, 0.01)
    if centres.size == 0 or between(acceleration, start, end).time.size < 3:
        return None
    means = window_mean(acceleration, centres, PEAK_WINDOW)
    if rate(acceleration) < 2.0 / PEAK_WINDOW or not np.isfinite(means).any():
        return None
    return float(np.nanmax(means)) - bias
