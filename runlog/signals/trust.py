"""Which moments of a speed channel can be believed, by comparison with another that feels the car's motion.

Thresholds are common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.signals.sampling import GRID_STEP, filled, integral, running_median

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from runlog.records import Samples

    FloatArray = NDArray[np.float64]
    BoolArray = NDArray[np.bool_]

RATIO_FROM: Final = 5.0
"""[m/s] below this speed a ratio of speeds says little"""
LEAST_STEPS: Final = 30
"""grid steps above ``RATIO_FROM`` that a ratio needs"""
LIKELY_RATIO: Final = (0.8, 1.25)
"""an error of circumference and the usual slip stay within this; beyond it a unit, sign or gear ratio is wrong"""
SLIP_SHARE, SLIP_SPEED, DRIFT = 0.12, 1.0, 0.3
"""share of speed, [m/s] and [m/s per s after launch] by which a channel may differ from the other"""
MARGIN: Final = 0.05
"""[s] on both sides of a distrusted moment"""


def felt_speed(acceleration: Samples, bias: float, launch: float, clock: FloatArray) -> FloatArray:
    """Return the speed [m/s] gained since launch by an accelerometer [m/s²], at times of the logger's clock [s]."""
    start = float(integral(acceleration, np.array([launch]))[0])
    return np.maximum(integral(acceleration, clock) - start - bias * (clock - launch), 0.0)


def usual_ratio(speed: FloatArray, reference: FloatArray) -> float | None:
    """Return the median of speed over reference, 0.01 to 100, where either is above 5 m/s; None where that is rare."""
    known = np.isfinite(speed) & np.isfinite(reference)
    moving = known & (np.fmax(speed, reference) > RATIO_FROM)
    if int(moving.sum()) < LEAST_STEPS:
        return None
    return float(np.clip(np.median(np.fmax(speed[moving], 0.0) / np.fmax(reference[moving], 0.05)), 0.01, 100.0))


def distrusted(speed: FloatArray, reference: FloatArray, time: FloatArray) -> BoolArray:
    """Return where a speed leaves the reference by more than slip and drift explain: spin, lock-up, lost pulses.

    All three [m/s, m/s, s after launch] on the common time. The usual ratio of the two, within ``LIKELY_RATIO``, is
    allowed for, so that a wrong circumference isn't taken for spin.
    """
    ratio = usual_ratio(speed, reference)
    expected = reference * (1.0 if ratio is None else float(np.clip(ratio, *LIKELY_RATIO)))
    allowed = SLIP_SHARE * expected + SLIP_SPEED + DRIFT * np.maximum(time, 0.0)
    with np.errstate(invalid="ignore"):
        apart = np.abs(speed - expected) > allowed
    width = 2 * round(MARGIN / GRID_STEP) + 1
    return np.convolve(apart, np.ones(width), mode="same") > 0.5


def lost_pulses(speed: FloatArray) -> BoolArray:
    """Return where a speed [m/s] is less than half of what it is half a second around: a sensor that dropped out."""
    reach = round(0.25 / GRID_STEP)
    around = running_median(filled(speed), 2 * reach)
    with np.errstate(invalid="ignore"):
        lost = (around > RATIO_FROM) & (speed < 0.5 * around)
    return np.convolve(lost, np.ones(3), mode="same") > 0.5
