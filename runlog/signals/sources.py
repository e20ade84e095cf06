"""The channels that tell of a run's motion, brought to m/s and m/s² and held against each other."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.constants import FOOT, STANDARD_GRAVITY
from runlog.records import ChannelLimit, Samples
from runlog.signals.sampling import between, rate, window_mean
from runlog.signals.trust import LIKELY_RATIO, felt_speed, usual_ratio

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from runlog.signals.launch import Launch

    FloatArray = NDArray[np.float64]

LEAST_PITCH_RATE: Final = 10.0
"""[Hz] a slower pitch angle misses the launch. Common practice, no source."""
UNKNOWN_BIAS: Final = 0.05 * STANDARD_GRAVITY
"""[m/s²] sd of the accelerometer's bias when the file holds no standstill. Common practice, no source."""
LAG_SPAN: Final = 3.0
"""[s] after launch over which a lag is looked for: the launch itself shows it best"""
LAGS: Final = np.arange(0.0, 0.601, 0.01)
"""[s] that are tried"""
LEAST_LAG: Final = 0.03
"""[s] smaller ones are left alone"""
COMPARED_FOR: Final = 12.0
"""[s] after launch over which the channels are held against each other"""


@dataclass(frozen=True)
class Setting:
    """What the analysis needs to know of car and track."""

    tyre_circumference: float
    """[m] driven tyre"""
    final_drive: float
    gear_ratios: tuple[float, ...] = ()
    rollout: float = 0.2286
    """[m] from rest to where the clock starts"""
    finish_ft: int = 1320
    limits: tuple[ChannelLimit, ...] = ()
    tyre_growth: float | None = None
    """[1/(m/s)²] of the driven tyre's circumference, where the car file tells it"""

    @property
    def length(self) -> float:
        """Distance from rest to the finish beam [m]."""
        return self.rollout + self.finish_ft * FOOT


@dataclass(frozen=True)
class Sources:
    """What tells of the motion: acceleration [m/s²], speed over ground and at the driven wheels [m/s], where logged."""

    acceleration: Samples | None = None
    ground: Samples | None = None
    shaft: Samples | None = None
    pitch_known: bool = False
    """True when gravity was taken out of the accelerometer by a measured pitch angle"""

    @property
    def any(self) -> bool:
        """Whether there is anything to compute a motion from."""
        return any(channel is not None for channel in (self.acceleration, self.ground, self.shaft))


def motion_sources(samples: Mapping[str, Samples], setting: Setting) -> Sources:
    """Return the channels that tell of the motion: the first there is of each kind; one that never changes is dead."""
    samples = {name: channel for name, channel in samples.items() if np.ptp(channel.values) > 0.0}
    shaft = samples.get("driveshaft_speed")
    if shaft is not None:
        metres_per_radian = setting.tyre_circumference / (2.0 * np.pi * setting.final_drive)
        shaft = Samples(shaft.time, shaft.values * metres_per_radian)
    else:
        shaft = samples.get("rear_wheel_speed")
    ground = samples.get("front_wheel_speed") or samples.get("ground_speed")
    acceleration, pitch = samples.get("acceleration_x"), samples.get("pitch_angle")
    if acceleration is None or pitch is None or rate(pitch) < LEAST_PITCH_RATE:
        return Sources(acceleration, ground, shaft)
    return Sources(without_gravity(acceleration, pitch), ground, shaft, pitch_known=True)


def without_gravity(acceleration: Samples, pitch: Samples) -> Samples:
    """Return the acceleration along the track [m/s²] from a body-fixed accelerometer and the pitch [rad], nose up.

    The accelerometer reads a cos θ + g sin θ (specific force along the pitched axis; 6° read 0.10 g at rest).
    """
    angle = np.interp(acceleration.time, pitch.time, pitch.values)
    return Samples(acceleration.time, (acceleration.values - STANDARD_GRAVITY * np.sin(angle)) / np.cos(angle))


def rest_bias(acceleration: Samples | None, launch: Launch) -> tuple[float, float]:
    """Return what the accelerometer reads in the second before launch and its sd [m/s²]; 0, wide, when not logged."""
    if acceleration is None:
        return 0.0, UNKNOWN_BIAS
    rest = between(acceleration, launch.time - 1.0, launch.time - 0.05 - 3.0 * launch.sd).values
    if rest.size < 5:
        return 0.0, UNKNOWN_BIAS
    return float(np.mean(rest)), float(np.hypot(np.std(rest) / np.sqrt(rest.size), 0.02))


def agreeing(sources: Sources, launch: Launch) -> tuple[Sources | None, tuple[str, ...]]:
    """Return the sources without one that contradicts the others, and what is to be said of it.

    Two channels contradict each other when their speeds differ by a factor that neither slip nor a worn tyre explains:
    a wrong unit, sign, pulse count or gear ratio. Of three, the odd one out is dropped. Of two, nobody can tell which
    is wrong, so None is returned: no speed is better than a wrong one.
    """
    speeds = _speeds(sources, launch, launch.time + np.arange(0.5, COMPARED_FOR, 0.02))
    names = list(speeds)
    ratios = {pair: usual_ratio(speeds[pair[1]], speeds[pair[0]]) for pair in combinations(names, 2)}
    clashes = {
        pair: ratio
        for pair, ratio in ratios.items()
        if ratio is not None and not LIKELY_RATIO[0] <= ratio <= LIKELY_RATIO[1]
    }
    if not clashes:
        return sources, ()
    said = tuple(f"{_SPOKEN[b]} shows {ratio:.2f} times the speed of {_SPOKEN[a]}" for (a, b), ratio in clashes.items())
    odd = [name for name in names if sum(name in pair for pair in clashes) == 2]
    if len(names) == 3 and len(odd) == 1:
        kept = Sources(
            None if "acceleration" in odd else sources.acceleration,
            None if "ground" in odd else sources.ground,
            None if "shaft" in odd else sources.shaft,
            sources.pitch_known,
        )
        return kept, (*said, f"{_SPOKEN[odd[0]]} is left out of speed and distance")
    advice = "check units, signs, pulses a turn, final drive and circumference; without that there is no speed or split"
    return None, (*said, advice)


def without_lag(sources: Sources, launch: Launch) -> tuple[Sources, tuple[str, ...]]:
    """Return the sources with the speed over ground moved to where the others' is, and what is to be said of it.

    Satellite receivers filter, and so lag by a tenth of a second and more. The lag is the one with the least squared
    difference from the accelerometer's or the driven wheels' speed, whose scale is free, over the first seconds.
    """
    ground = sources.ground
    if ground is None or (sources.acceleration is None and sources.shaft is None):
        return sources, ()
    clock = launch.time + np.arange(-0.5, LAG_SPAN, 0.02)
    speeds = _speeds(replace(sources, ground=None), launch, clock)
    reference = next(iter(speeds.values()))
    misfits = [_misfit(window_mean(ground, clock + lag, 0.02), reference) for lag in LAGS]
    if not np.isfinite(misfits).any():
        return sources, ()
    lag = float(LAGS[int(np.nanargmin(misfits))])
    if lag < LEAST_LAG:
        return sources, ()
    moved = replace(sources, ground=Samples(ground.time - lag, ground.values))
    return moved, (f"the speed over ground lags by {lag:.2f} s; it was moved by as much",)


def _misfit(speed: FloatArray, reference: FloatArray) -> float:
    """Return the mean squared difference of a speed from a scaled reference; nan with too few common times."""
    known = np.isfinite(speed) & np.isfinite(reference)
    x, y = reference[known], speed[known]
    if x.size < 50 or not x.any():
        return float("nan")
    return float(np.mean((y - (x @ y) / (x @ x) * x) ** 2))


_SPOKEN: Final = {"acceleration": "the accelerometer", "ground": "the speed over ground", "shaft": "the driven wheels"}


def _speeds(sources: Sources, launch: Launch, clock: FloatArray) -> dict[str, FloatArray]:
    speeds: dict[str, FloatArray] = {}
    if sources.acceleration is not None:
        felt = felt_speed(sources.acceleration, rest_bias(sources.acceleration, launch)[0], launch.time, clock)
        speeds["acceleration"] = np.where(clock <= sources.acceleration.time[-1], felt, np.nan)
    for name, channel in (("ground", sources.ground), ("shaft", sources.shaft)):
        if channel is not None:
            speeds[name] = window_mean(channel, clock, 0.02)
    return speeds
