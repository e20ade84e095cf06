"""What the numbers of a channel say of what it is: engines idle, shafts start from rest, throttles stop at both ends.

Each witness speaks from -1 (against) to 1 (for), with its reason; the numbers are in SI. Thresholds are common
practice, no source, unless it says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]

_RPM: Final = np.pi / 30
_FEWEST: Final = 20
_MOST: Final = 256
_BLOCKS: Final = 60
SHAFT_RADIUS: Final = 0.09
"""[m/rad] road covered by the turning driveshaft of a usual car, within a factor of two either way"""
BACKWARDS: Final = -0.75
SURELY_BACKWARDS: Final = -0.9
AGREES: Final = 0.6
STRANGER: Final = 0.3


@dataclass(frozen=True)
class Look:
    """Some samples of a channel, evenly over its time: times [s] and values [SI], without gaps."""

    time: FloatArray
    values: FloatArray

    @property
    def tells(self) -> bool:
        """Tell whether there is enough to judge by: samples, and a change in them."""
        return self.values.size >= _FEWEST and float(np.ptp(self.values)) > 0.0


@dataclass(frozen=True)
class Opinion:
    """How far the numbers speak for a channel, from -1 to 1, and why."""

    support: float
    why: str


def thinned(time: FloatArray, values: FloatArray) -> Look:
    """Return a light look at a channel."""
    step = max(1, values.size // _MOST)
    time, values = time[::step], values[::step]
    valid = np.isfinite(values) & np.isfinite(time)
    return Look(time[valid], values[valid])


def opinion(canonical: str, look: Look, others: Mapping[str, Look]) -> Opinion | None:
    """Return what the numbers say of a claim; None where they can't say anything.

    ``others`` are looks at the channels that are known so far.
    """
    if not look.tells:
        return None
    match canonical:
        case "engine_speed":
            return _engine(look.values)
        case "driveshaft_speed":
            return _driveshaft(look, others.get("engine_speed"))
        case "throttle" | "accelerator_pedal":
            return _pedal(look.values)
    return None


def _engine(values: FloatArray) -> Opinion | None:
    top = float(values.max())
    if float(values.min()) < -0.02 * abs(top):
        return Opinion(-1.0, "turns negative, which no engine does")
    idle = float(np.percentile(values, 10))
    if 300 * _RPM <= idle <= 5000 * _RPM and top > 1.3 * idle:
        return Opinion(1.0, f"idles, at {idle / _RPM:.0f} rpm or less for a tenth of the time, and rises")
    if float(np.mean(values < 0.02 * top)) > 0.1 and values[0] < 0.02 * top:
        return Opinion(-0.5, "starts at zero and stays there, which a running engine doesn't")
    return None


def _driveshaft(look: Look, engine: Look | None) -> Opinion:
    values, top = look.values, float(look.values.max())
    if float(values.min()) < -0.05 * abs(top):
        return Opinion(-1.0, "turns negative")
    if float(np.median(values[: max(3, values.size // 30)])) > 0.05 * top:
        return Opinion(-0.5, "doesn't start at zero")
    if engine is None or not engine.tells:
        return Opinion(0.7, "starts at zero")
    with_engine = np.interp(look.time, engine.time, engine.values)
    likeness = _correlation(values, with_engine)
    if likeness < 0.0:
        return Opinion(-0.5, f"starts at zero, but goes against engine speed (correlation {likeness:.2f})")
    return Opinion(1.0, f"starts at zero and goes with engine speed (correlation {likeness:.2f})")


def _pedal(values: FloatArray) -> Opinion:
    low, high = float(values.min()), float(values.max())
    near = 0.03 * (high - low)
    shut, open_ = float(np.mean(values <= low + near)), float(np.mean(values >= high - near))
    if min(shut, open_) >= 0.03:
        return Opinion(1.0, f"rests at both ends ({shut:.0%} and {open_:.0%} of the time)")
    return Opinion(-0.3, "doesn't rest at both ends")


@dataclass(frozen=True)
class Comparison:
    """An accelerometer held against the slope of a speed: correlation, and how many times the slope it shows."""

    correlation: float
    times_slope: float


def compare(acceleration: Look, speed: Look, scale: float = 1.0) -> Comparison | None:
    """Hold the mean acceleration [m/s²] of short stretches against the slope of the speed there.

    ``scale`` brings the speed to m/s. None where the two hardly overlap or the speed doesn't change.
    """
    if not (acceleration.tells and speed.tells):
        return None
    begin, end = max(acceleration.time[0], speed.time[0]), min(acceleration.time[-1], speed.time[-1])
    if end <= begin:
        return None
    edges = np.linspace(begin, end, min(_BLOCKS, acceleration.time.size // 3, speed.time.size // 3) + 1)
    slope = np.diff(np.interp(edges, speed.time, speed.values)) / np.diff(edges) * scale
    steps = np.diff(acceleration.time)
    covered = np.concatenate(([0.0], np.cumsum((acceleration.values[1:] + acceleration.values[:-1]) / 2 * steps)))
    mean = np.diff(np.interp(edges, acceleration.time, covered)) / np.diff(edges)
    if edges.size < 6 or float(np.std(slope)) < 0.3:
        return None
    likeness = _correlation(mean, slope)
    return Comparison(likeness, float(likeness * np.std(mean) / np.std(slope)))


def _correlation(one: FloatArray, other: FloatArray) -> float:
    a, b = one - one.mean(), other - other.mean()
    size = float(np.sqrt((a @ a) * (b @ b)))
    return float(a @ b) / size if size > 0.0 else 0.0
