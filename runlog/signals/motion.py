"""Speed and distance of a run, by smoothing what the accelerometer and the wheels say.

The state is (distance, speed, acceleration, accelerometer bias, driven-wheel excess). Acceleration moves by white jerk
(Wiener acceleration model: Bar-Shalom, Li & Kirubarajan, *Estimation with Applications to Tracking and Navigation*,
Wiley 2001, § 6.2.3; from memory). The driven-wheel excess κ holds tyre slip and the error of the circumference
together: speed at the wheel z = v + κ z + noise, which is linear in the state, so the smoother is exact for the model
and the doubt about slip and circumference reaches the distances. κ may move fast just after launch and slowly later.
Every standard deviation below is common practice, no source, unless it says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.constants import STANDARD_GRAVITY
from runlog.signals.sampling import GRID_STEP, between, filled, integral, noise_sd, rate, window_mean
from runlog.signals.smoother import Chain, Observation, smooth
from runlog.signals.sources import Sources, rest_bias
from runlog.signals.trust import distrusted, felt_speed, lost_pulses

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from runlog.records import Samples
    from runlog.signals.launch import Launch

    FloatArray = NDArray[np.float64]

LEAD: Final = 0.3
"""[s] of standstill before the launch"""
DISTANCE, SPEED, ACCELERATION, BIAS, EXCESS = range(5)

JERK: Final = 20.0
"""[m/s² per √s] how acceleration wanders; at launch ten times this"""
PITCH_BIAS: Final = 0.03 * STANDARD_GRAVITY
"""[m/s²] sd of the accelerometer's change at launch when the body pitches: sin 1.7°"""
BIAS_WALK: Final = 0.015 * STANDARD_GRAVITY
"""[m/s² per √s]"""
CIRCUMFERENCE_SD: Final = 0.015
"""sd of the driven tyre's circumference as the car file gives it: loaded or taped, worn, grown with speed"""
LAUNCH_SLIP: Final = 0.05
"""sd of the change of κ at launch"""
EARLY_SLIP_WALK, LATE_SLIP_WALK = 0.06, 0.008
"""[per √s] in the first ``EARLY`` seconds, and later"""
EARLY: Final = 1.5
"""[s]"""
ACCELEROMETER_SD: Final = 0.02 * STANDARD_GRAVITY
"""[m/s²] least white-noise sd of one grid step: vibration"""
WHEEL_SD: Final = 0.15
"""[m/s] least white-noise sd of a wheel speed in one grid step: driveline twist"""
GROUND_SD, GROUND_SHARE = 0.2, 0.005
"""[m/s] and share of speed: white-noise sd of a speed over ground at its own rate"""
GROUND_SCALE_SD: Final = 0.005
"""sd of the scale of a speed over ground: the undriven tyre's circumference, or what the sensor was set up with"""
BEAM_SD: Final = 0.01
"""[s] a beam time against the trace's clock: the clock's start by the rollout, front tyre and timing"""


@dataclass(frozen=True)
class Motion:
    """A run on the common time: seconds after launch; states (steps, 5) and their covariances (steps, 5, 5)."""

    time: FloatArray
    states: FloatArray
    covariances: FloatArray
    shaft: FloatArray = field(default_factory=lambda: np.empty(0))
    """[m/s] driven-wheel speed on the same time, nan where there is none"""
    scale_sd: float = 0.0
    """doubt about the scale of all distances, which ``covariances`` don't hold"""
    calibrated: bool = False
    """whether beam times were used"""

    @property
    def distance(self) -> FloatArray:
        """Distance from rest [m]."""
        return self.states[:, DISTANCE]

    @property
    def speed(self) -> FloatArray:
        """Speed [m/s]."""
        return self.states[:, SPEED]

    @property
    def acceleration(self) -> FloatArray:
        """Acceleration [m/s²]."""
        return self.states[:, ACCELERATION]

    def sd(self, state: int) -> FloatArray:
        """Return the standard deviation of one state along the run."""
        return np.sqrt(np.maximum(self.covariances[:, state, state], 0.0))


def estimate_motion(sources: Sources, launch: Launch, length: float) -> Motion | None:
    """Return the smoothed motion from ``LEAD`` before launch until past ``length`` [m], or None without sources."""
    if not sources.any:
        return None
    time = _common_time(sources, launch, length)
    if time.size < 10:
        return None
    shaft, observations = _observations(sources, launch, time)
    states, covariances = smooth(_chain(time, launch, sources, observations))
    return Motion(time, states, covariances, shaft, 0.0 if sources.ground is None else GROUND_SCALE_SD)


def calibrate_motion(motion: Motion, sources: Sources, launch: Launch, beams: Mapping[float, float]) -> Motion:
    """Return the motion smoothed again with known places: seconds after launch → distance from rest [m].

    They settle the accelerometer's bias and the driven wheels' excess together.
    """
    _, observations = _observations(sources, launch, motion.time)
    known = _beams(motion.time, motion.speed, beams)
    states, covariances = smooth(_chain(motion.time, launch, sources, (*observations, known)))
    return Motion(motion.time, states, covariances, motion.shaft, calibrated=True)


def _observations(sources: Sources, launch: Launch, time: FloatArray) -> tuple[FloatArray, tuple[Observation, ...]]:
    """Return the driven-wheel speed [m/s] on the run's time, and what every source says there."""
    clock = time + launch.time
    observations = [_standstill(time, launch)]
    shaft = np.full(time.size, np.nan)
    felt = None
    if sources.acceleration is not None:
        observations.append(_acceleration(sources.acceleration, clock))
        felt = felt_speed(sources.acceleration, rest_bias(sources.acceleration, launch)[0], launch.time, clock)
    if sources.ground is not None:
        ground = window_mean(sources.ground, clock, GRID_STEP)
        observations.append(_ground(_believed(ground, felt, time), sources.ground, clock))
        felt = ground if felt is None else felt
    if sources.shaft is not None:
        shaft = window_mean(sources.shaft, clock, GRID_STEP)
        observations.append(_shaft(_believed(shaft, felt, time), sources.shaft))
    return shaft, tuple(observations)


def _common_time(sources: Sources, launch: Launch, length: float) -> FloatArray:
    """Return the run's times: until ``length`` is well passed by the rawest estimate, the end of the data, or 25 s."""
    channels = [channel for channel in (sources.ground, sources.shaft, sources.acceleration) if channel is not None]
    end = min(max(float(channel.time[-1]) for channel in channels) - launch.time, 25.0)
    first = max(-LEAD, min(float(channel.time[0]) for channel in channels) - launch.time)
    speed = channels[0]
    if speed is not sources.acceleration:
        at = np.arange(0.0, end, 0.1)
        covered = integral(speed, at + launch.time) - integral(speed, np.array([launch.time]))
        past = np.flatnonzero(covered > 1.15 * length)
        end = min(end, float(at[past[0]]) + 0.3) if past.size else end
    return GRID_STEP * np.arange(np.ceil(first / GRID_STEP - 1e-9), np.floor(end / GRID_STEP + 1e-9) + 1)


def _unit(steps: int, *entries: tuple[int, float | FloatArray]) -> FloatArray:
    h = np.zeros((steps, 5))
    for state, value in entries:
        h[:, state] = value
    return h


def _standstill(time: FloatArray, launch: Launch) -> Observation:
    z = np.where(time < -0.03 - 2.0 * launch.sd, 0.0, np.nan)
    return Observation(_unit(time.size, (SPEED, 1.0)), z, np.full(time.size, 0.01**2))


def _share(channel: Samples) -> float:
    """Return the grid's rate over the channel's: variance of one sample to variance of one grid step."""
    return 1.0 / (GRID_STEP * rate(channel))


def _acceleration(channel: Samples, clock: FloatArray) -> Observation:
    z = window_mean(channel, clock, GRID_STEP)
    noise = noise_sd(between(channel, clock[0], clock[-1]))
    variance = np.full(z.size, noise**2 * _share(channel) + ACCELEROMETER_SD**2)
    return Observation(_unit(z.size, (ACCELERATION, 1.0), (BIAS, 1.0)), z, variance)


def _believed(speed: FloatArray, felt: FloatArray | None, time: FloatArray) -> FloatArray:
    """Return the speed with nan where it can't be believed: spin, lock-up, lost pulses."""
    doubtful = lost_pulses(speed) if felt is None else distrusted(speed, felt, time)
    return np.where(doubtful, np.nan, speed)


def _ground(z: FloatArray, channel: Samples, clock: FloatArray) -> Observation:
    noise = max(noise_sd(between(channel, clock[0], clock[-1])), GROUND_SD)
    variance = (noise**2 + (GROUND_SHARE * np.nan_to_num(z)) ** 2) * max(_share(channel), 1.0)
    return Observation(_unit(z.size, (SPEED, 1.0)), z, variance)


def _shaft(z: FloatArray, channel: Samples) -> Observation:
    # κ multiplies a smoothed speed: the noise of z in its own coefficient would bias the estimate
    reach = round(0.25 / GRID_STEP)
    padded = np.pad(np.maximum(filled(z), 0.0), reach, mode="edge")
    level = np.convolve(padded, np.ones(2 * reach + 1) / (2 * reach + 1), mode="valid")
    variance = (WHEEL_SD**2 + (0.005 * level) ** 2) * max(_share(channel), 1.0) + noise_sd(channel) ** 2 * _share(
        channel
    )
    return Observation(_unit(z.size, (SPEED, 1.0), (EXCESS, level)), z, variance)


def _beams(time: FloatArray, speed: FloatArray, beams: Mapping[float, float]) -> Observation:
    z, variance = np.full(time.size, np.nan), np.ones(time.size)
    for when, where in beams.items():
        step = round((when - time[0]) / GRID_STEP)
        if 0 <= step < time.size:
            z[step] = where + speed[step] * (time[step] - when)
            variance[step] = (BEAM_SD * speed[step]) ** 2 + 0.01**2
    return Observation(_unit(time.size, (DISTANCE, 1.0)), z, variance)


def _chain(time: FloatArray, launch: Launch, sources: Sources, observations: tuple[Observation, ...]) -> Chain:
    step, steps = GRID_STEP, time.size
    transition = np.eye(5)
    transition[DISTANCE, SPEED] = transition[SPEED, ACCELERATION] = step
    transition[DISTANCE, ACCELERATION] = 0.5 * step**2
    jerk = np.array([[step**5 / 20, step**4 / 8, step**3 / 6], [step**4 / 8, step**3 / 3, step**2 / 2],
                     [step**3 / 6, step**2 / 2, step]])  # fmt: skip
    middle = time[:-1] + 0.5 * step
    near_launch = np.abs(middle) < 0.05 + 2.0 * launch.sd
    process = np.zeros((steps - 1, 5, 5))
    process[:, :3, :3] = (np.where(near_launch, 10.0 * JERK, JERK) ** 2)[:, None, None] * jerk
    pitch = 0.2 * PITCH_BIAS if sources.pitch_known else PITCH_BIAS
    walk = 0.2 * BIAS_WALK if sources.pitch_known else BIAS_WALK
    jump = near_launch / max(int(near_launch.sum()), 1)
    process[:, BIAS, BIAS] = np.where(middle < 0, 1e-12, walk**2 * step) + pitch**2 * jump
    slip_walk = np.where(middle < EARLY, EARLY_SLIP_WALK, LATE_SLIP_WALK)
    process[:, EXCESS, EXCESS] = np.where(middle < 0, 1e-12, slip_walk**2 * step) + LAUNCH_SLIP**2 * jump
    bias, bias_sd = rest_bias(sources.acceleration, launch)
    mean = np.array([0.0, 0.0, 0.0, bias, 0.0])
    sd = np.array([0.01, 0.05, 0.2, bias_sd, CIRCUMFERENCE_SD])
    return Chain(mean, np.diag(sd**2), transition, process, observations)
