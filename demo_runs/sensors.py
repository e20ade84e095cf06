"""What the car's sensors would have shown: the motion of a run, before and after it, with honest faults.

Units here are the sensors' own: rpm, g, %, psi, °F, V, in. Time 0 is the brake release.
"""

from __future__ import annotations

import bisect
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from noise import Noise
from running import SHAKE_S, Ran
from simulation import G

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

RPM = 30 / math.pi
PITCH_DEG_PER_G = 1.3
SHAKE_HZ = 26.0
BURNOUT_S = (-12.5, -9.3)
CREEP_S = (-2.6, -1.7)
SWITCH_ON_S = -1.1
OIL_DIP_S = (0.45, 0.85)


@dataclass(frozen=True)
class Scene:
    """What else is on the recording."""

    burnout: bool = False
    creep: bool = False
    oil_dip: bool = False


@dataclass(frozen=True)
class Recording:
    """Functions of time, one a channel, without sensor noise; and facts about them."""

    channels: dict[str, Callable[[float], float]]
    end: float
    peak_g: float
    bias_g: float


SHAFT_LOWEST = 15.0  # [rpm] the pulse pick-up reads nothing below this
SENSOR_NOISE = {
    "engine": 14.0, "shaft": 5.0, "accel": 0.022, "throttle": 0.15, "switch": 0.0, "oil": 0.7, "coolant": 0.25,
    "battery": 0.03, "shock": 0.012,
}  # fmt: skip


def _ramp(t: float, start: float, end: float) -> float:
    """Rise smoothly from 0 to 1 between two times."""
    u = min(1.0, max(0.0, (t - start) / (end - start)))
    return u * u * (3 - 2 * u)


def _pulse(t: float, start: float, end: float, edge: float) -> float:
    return _ramp(t, start, start + edge) * (1 - _ramp(t, end - edge, end))


def _interpolator(times: Sequence[float], values: Sequence[float]) -> Callable[[float], float]:
    def at(t: float) -> float:
        k = min(max(1, bisect.bisect_right(times, t)), len(times) - 1)
        share = (t - times[k - 1]) / (times[k] - times[k - 1])
        return values[k - 1] + share * (values[k] - values[k - 1])

    return at


def _lagged(times: Sequence[float], values: Sequence[float], lag: float) -> list[float]:
    state, result, previous = 0.0, [], times[0]
    for time, value in zip(times, values, strict=True):
        state += (value - state) * (1 - math.exp(-(time - previous) / lag))
        previous = time
        result.append(state)
    return result


def record(run: Ran, scene: Scene) -> Recording:
    """Turn a run into channels as functions of time."""
    motion = run.motion
    late = [run.stretch.at(time) for time in motion.time]
    times = [time + lag for time, (lag, _) in zip(motion.time, late, strict=True)]
    pace = [1 / (1 + slope) for _, slope in late]
    speed = [v * p for v, p in zip(motion.v, pace, strict=True)]
    accel = [0.0, *((b - a) / (u - t) for a, b, t, u in zip(speed, speed[1:], times, times[1:], strict=False))]
    accel_g = [value / G for value in accel]
    lifted = [PITCH_DEG_PER_G * value for value in _lagged(times, accel_g, 0.18)]
    measured = [
        value * math.cos(math.radians(pitch)) + math.sin(math.radians(pitch))
        for value, pitch in zip(accel_g, lifted, strict=True)
    ]
    noise = Noise(f"sensors {run.key}")
    bias = 0.014 + noise.normal(0.003)
    coolant = noise.between(158, 172)
    engine = _interpolator(times, [value * p * RPM for value, p in zip(motion.engine, pace, strict=True)])
    shaft = _interpolator(times, [value * p * RPM for value, p in zip(motion.shaft, pace, strict=True)])
    along, throttle = _interpolator(times, measured), _interpolator(times, motion.throttle)
    shock = _interpolator(times, [4.4 * (1 - math.exp(-max(0.0, pitch) / 2.4)) for pitch in lifted])
    before = _Before(scene, run.settings["launch rpm"])
    shaking = run.plan.event == "shake"

    def shake(t: float) -> float:
        return math.sin(2 * math.pi * SHAKE_HZ * t) * _pulse(t, SHAKE_S[0], SHAKE_S[1] + 0.15, 0.08) if shaking else 0.0

    def engine_rpm(t: float) -> float:
        return before.engine(t) if t < 0 else engine(t) + 60 * shake(t)

    def oil(t: float) -> float:
        dip = 40 * _pulse(t, *OIL_DIP_S, 0.1) if scene.oil_dip else 0.0
        return 24 + 48 * (1 - math.exp(-engine_rpm(t) / 2600)) - dip

    channels = {
        "engine": engine_rpm,
        "shaft": lambda t: before.shaft(t) if t < 0 else max(0.0, shaft(t) + 170 * shake(t)),
        "accel": lambda t: (before.accel(t) if t < 0 else along(t) + 0.55 * shake(t)) + bias,
        "throttle": lambda t: before.throttle(t) if t < 0 else 100 * throttle(t),
        "switch": lambda t: 1.0 if SWITCH_ON_S <= t < 0 else 0.0,
        "oil": oil,
        "coolant": lambda t: coolant + 0.35 * (t + 12) + 3 * _ramp(t, 2, 10),
        "battery": lambda t: 13.7 - 0.25 * _ramp(t, 0, 0.4) - 0.1 * _ramp(t, SWITCH_ON_S, SWITCH_ON_S + 0.1),
        "shock": lambda t: shock(t) if t >= 0 else 0.15 * before.accel(t),
    }
    return Recording(channels, times[-1], max(accel_g), bias)


def read_sensor(recording: Recording, channel: str, t: float, noise: Noise) -> float:
    """Return one sample with the sensor's noise; speeds and throttle don't go below zero."""
    true = recording.channels[channel](t)
    value = true + noise.normal(SENSOR_NOISE[channel])
    if channel == "shaft" and true < SHAFT_LOWEST:
        return 0.0
    return max(0.0, value) if channel in ("engine", "shaft", "throttle") else value


@dataclass(frozen=True)
class _Before:
    """Burnout, staging creep and the wait on the brake."""

    scene: Scene
    launch_rpm: float

    def _burn(self, t: float) -> float:
        return _pulse(t, *BURNOUT_S, 0.6) if self.scene.burnout else 0.0

    def _creep(self, t: float) -> float:
        if not self.scene.creep or not CREEP_S[0] < t < CREEP_S[1]:
            return 0.0
        return math.sin(math.pi * (t - CREEP_S[0]) / (CREEP_S[1] - CREEP_S[0]))

    def engine(self, t: float) -> float:
        idle = 1380 + 25 * math.sin(2.1 * t)
        flutter = 35 * math.sin(2 * math.pi * 9 * t) * _ramp(t, -0.6, -0.5)
        held = (self.launch_rpm - idle) * _ramp(t, -0.95, -0.55) + flutter * (1 - _ramp(t, -0.06, 0))
        return idle + 4100 * self._burn(t) + 240 * self._creep(t) + held

    def shaft(self, t: float) -> float:
        return 2350 * self._burn(t) + 40 * self._creep(t) ** 2

    def accel(self, t: float) -> float:
        shove = 0.07 * (_pulse(t, -12.3, -11.2, 0.3) - _pulse(t, -9.5, -8.9, 0.2)) if self.scene.burnout else 0.0
        if not self.scene.creep:
            return shove
        return shove + 0.04 * (_pulse(t, -2.6, -2.15, 0.15) - _pulse(t, -2.15, -1.7, 0.15))

    def throttle(self, t: float) -> float:
        return 0.4 + 62 * self._burn(t) + 4 * self._creep(t) + 99.6 * _ramp(t, -0.95, -0.75)
