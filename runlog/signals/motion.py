"""Speed and distance of a run, by smoothing what the accelerometer and the wheels say.

The state is (distance, speed, acceleration, accelerometer bias, passing slip) and the car's calibration θ, which
stands still during a run (``calibration.PARAMETERS``). Acceleration moves by white jerk (Wiener acceleration model:
Bar-Shalom, Li & Kirubarajan, *Estimation with Applications to Tracking and Navigation*, Wiley 2001, § 6.2.3; from
memory). The driven wheels read v (1 + κ) with κ = circumference error + slip per g times the push − growth times speed
squared + passing slip, which dies away and is stirred most just after launch. The accelerometer reads the acceleration,
its bias, and a share of the push that holds its scale and the gravity that a pitching body lets it feel. Push and speed
as coefficients come from the channels themselves, so the model is linear and the smoother exact for it; the doubt about
calibration reaches the distances. Every standard deviation below is common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.constants import STANDARD_GRAVITY
from runlog.signals.calibration import GROWTH_SPEED, NAMES, Calibration, of_run
from runlog.signals.sampling import GRID_STEP, between, filled, integral, noise_sd, rate, window_mean
from runlog.signals.smoother import Chain, Late, Observation, condition, smooth_with_gains
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
DISTANCE, SPEED, ACCELERATION, BIAS, PASSING = range(5)
CIRCUMFERENCE, SLIP_PER_G, GROWTH, ACCELEROMETER, GROUND = range(5, 10)
STATES: Final = 10
"""the last five are θ but for the rollout, in the order of ``calibration.NAMES``"""
CARRIED: Final = len(NAMES) - 1

JERK: Final = 20.0
"""[m/s² per √s] how acceleration wanders; at launch ten times this"""
PITCH_BIAS: Final = 0.01 * STANDARD_GRAVITY
"""[m/s²] sd of the accelerometer's change at launch beyond what goes with the push: sin 0.6°"""
BIAS_WALK: Final = 0.005 * STANDARD_GRAVITY
"""[m/s² per √s]"""
PITCH_LAG: Final = 0.12
"""[s] by which a body's pitch follows the push"""
PUSH_WINDOW: Final = 0.2
"""[s] over which the push is averaged"""
LAUNCH_SLIP: Final = 0.05
"""sd of the passing slip just after launch"""
EARLY_SLIP_WALK, LATE_SLIP_WALK = 0.06, 0.007
"""[per √s] how the passing slip is stirred in the first ``EARLY`` seconds, and later"""
EARLY: Final = 1.5
"""[s]"""
SLIP_LASTS: Final = 0.6
"""[s] time constant with which the passing slip dies away"""
ACCELEROMETER_SD: Final = 0.02 * STANDARD_GRAVITY
"""[m/s²] least white-noise sd of one grid step: vibration"""
WHEEL_SD: Final = 0.15
"""[m/s] least white-noise sd of a wheel speed in one grid step: driveline twist"""
GROUND_SD, GROUND_SHARE = 0.2, 0.005
"""[m/s] and share of speed: white-noise sd of a speed over ground at its own rate"""
BEAM_SD: Final = 0.005
"""[s] a beam time against the trace's clock: the clock's start by the rollout, front tyre and timing"""


@dataclass(frozen=True)
class Motion:
    """A run on the common time: seconds after launch; states (steps, 10) and their covariances (steps, 10, 10)."""

    time: FloatArray
    states: FloatArray
    covariances: FloatArray
    gains: FloatArray
    """of the smoother (steps - 1, 10, 10): how errors at different times go together before beam times were used"""
    prior: Calibration
    """what was known of this run's θ before its trace"""
    shaft: FloatArray = field(default_factory=lambda: np.empty(0))
    """[m/s] driven-wheel speed on the same time, nan where there is none"""
    push: FloatArray = field(default_factory=lambda: np.empty(0))
    """[m/s²] on the same time: the acceleration, smoothed, as the coefficient of slip and pitch"""
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


def excess_at(motion: Motion, step: int) -> tuple[float, float]:
    """Return by which share the driven wheels read high at a step, and its sd."""
    row = _excess_row(motion.push[step : step + 1], motion.speed[step : step + 1])[0]
    return float(row @ motion.states[step]), float(np.sqrt(max(row @ motion.covariances[step] @ row, 0.0)))


def estimate_motion(sources: Sources, launch: Launch, length: float, known: Calibration) -> Motion | None:
    """Return the smoothed motion from ``LEAD`` before launch until past ``length`` [m], or None without sources.

    ``known``: what earlier runs taught of the car.
    """
    if not sources.any:
        return None
    time = _common_time(sources, launch, length)
    if time.size < 10:
        return None
    shaft, push, observations = _observations(sources, launch, time)
    prior = of_run(known)
    states, covariances, gains = smooth_with_gains(_chain(time, launch, sources, observations, prior))
    return Motion(time, states, covariances, gains, prior, shaft, push)


def calibrate_motion(motion: Motion, beams: Mapping[float, float]) -> Motion:
    """Return the motion given known places too: seconds after launch → distance from rest [m]."""
    known = _beams(motion, beams)
    if not known.steps.size:
        return motion
    states, covariances = condition(motion.states, motion.covariances, motion.gains, known)
    return replace(motion, states=states, covariances=covariances, calibrated=True)


def _observations(
    sources: Sources, launch: Launch, time: FloatArray
) -> tuple[FloatArray, FloatArray, tuple[Observation, ...]]:
    """Return driven-wheel speed [m/s] and push [m/s²] on the run's time, and what every source says there."""
    clock = time + launch.time
    push = _push(sources, launch, clock)
    observations = [_standstill(time, launch)]
    shaft = np.full(time.size, np.nan)
    felt = None
    if sources.acceleration is not None:
        observations.append(_acceleration(sources, clock, push))
        felt = felt_speed(sources.acceleration, rest_bias(sources.acceleration, launch)[0], launch.time, clock)
    if sources.ground is not None:
        ground = window_mean(sources.ground, clock, GRID_STEP)
        observations.append(_ground(_believed(ground, felt, time), sources.ground, clock))
        felt = ground if felt is None else felt
    if sources.shaft is not None:
        shaft = window_mean(sources.shaft, clock, GRID_STEP)
        observations.append(_shaft(_believed(shaft, felt, time), sources.shaft, push))
    return shaft, push, tuple(observations)


def _push(sources: Sources, launch: Launch, clock: FloatArray) -> FloatArray:
    """Return the acceleration [m/s²] over ``PUSH_WINDOW``, by the first of accelerometer, ground and driven wheels."""
    if sources.acceleration is not None:
        felt = filled(window_mean(sources.acceleration, clock, PUSH_WINDOW))
        push = felt - rest_bias(sources.acceleration, launch)[0]
    else:
        speed = sources.ground if sources.ground is not None else sources.shaft
        if speed is None:
            return np.zeros(clock.size)
        push = np.gradient(filled(window_mean(speed, clock, 2.0 * PUSH_WINDOW)), clock)
    return np.asarray(np.clip(push, -1.5 * STANDARD_GRAVITY, 6.0 * STANDARD_GRAVITY))


def _pitch(push: FloatArray) -> FloatArray:
    """Return the push [m/s²] as a pitching body follows it, ``PITCH_LAG`` later."""
    steps = np.arange(push.size)
    followed: FloatArray = np.interp(steps - PITCH_LAG / GRID_STEP, steps, push)
    return followed


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
    h = np.zeros((steps, STATES))
    for state, value in entries:
        h[:, state] = value
    return h


def _standstill(time: FloatArray, launch: Launch) -> Observation:
    z = np.where(time < -0.03 - 2.0 * launch.sd, 0.0, np.nan)
    return Observation(_unit(time.size, (SPEED, 1.0)), z, np.full(time.size, 0.01**2))


def _share(channel: Samples) -> float:
    """Return the grid's rate over the channel's: variance of one sample to variance of one grid step."""
    return 1.0 / (GRID_STEP * rate(channel))


def _acceleration(sources: Sources, clock: FloatArray, push: FloatArray) -> Observation:
    channel = sources.acceleration
    if channel is None:
        raise ValueError("there is no accelerometer")
    z = window_mean(channel, clock, GRID_STEP)
    noise = noise_sd(between(channel, clock[0], clock[-1]))
    variance = np.full(z.size, noise**2 * _share(channel) + ACCELEROMETER_SD**2)
    # a measured pitch has already been taken out
    share = 0.0 if sources.pitch_known else _pitch(push)
    return Observation(_unit(z.size, (ACCELERATION, 1.0), (BIAS, 1.0), (ACCELEROMETER, share)), z, variance)


def _believed(speed: FloatArray, felt: FloatArray | None, time: FloatArray) -> FloatArray:
    """Return the speed with nan where it can't be believed: spin, lock-up, lost pulses."""
    doubtful = lost_pulses(speed) if felt is None else distrusted(speed, felt, time)
    return np.where(doubtful, np.nan, speed)


def _ground(z: FloatArray, channel: Samples, clock: FloatArray) -> Observation:
    noise = max(noise_sd(between(channel, clock[0], clock[-1])), GROUND_SD)
    variance = (noise**2 + (GROUND_SHARE * np.nan_to_num(z)) ** 2) * max(_share(channel), 1.0)
    return Observation(_unit(z.size, (SPEED, 1.0), (GROUND, _level(z))), z, variance)


def _level(z: FloatArray) -> FloatArray:
    """Return a speed over half a second: the noise of z in its own coefficient would bias the estimate."""
    reach = round(0.25 / GRID_STEP)
    padded = np.pad(np.maximum(filled(z), 0.0), reach, mode="edge")
    level: FloatArray = np.convolve(padded, np.ones(2 * reach + 1) / (2 * reach + 1), mode="valid")
    return level


def _excess_row(push: FloatArray, speed: FloatArray) -> FloatArray:
    """Return the coefficients of the driven wheels' excess κ at a push [m/s²] and a speed [m/s]."""
    growth = -((speed / GROWTH_SPEED) ** 2)
    slip = push / STANDARD_GRAVITY
    return _unit(push.size, (PASSING, 1.0), (CIRCUMFERENCE, 1.0), (SLIP_PER_G, slip), (GROWTH, growth))


def _shaft(z: FloatArray, channel: Samples, push: FloatArray) -> Observation:
    level = _level(z)
    variance = (WHEEL_SD**2 + (0.005 * level) ** 2) * max(_share(channel), 1.0) + noise_sd(channel) ** 2 * _share(
        channel
    )
    return Observation(level[:, None] * _excess_row(push, level) + _unit(z.size, (SPEED, 1.0)), z, variance)


def _beams(motion: Motion, beams: Mapping[float, float]) -> Late:
    """Return the places of the beams that were passed while the trace goes on, each at the nearest step."""
    when, where = np.array(list(beams)), np.array(list(beams.values()))
    steps = np.rint((when - motion.time[0]) / GRID_STEP).astype(np.int64)
    within = (steps >= 0) & (steps < motion.time.size)
    when, where, steps = when[within], where[within], steps[within]
    speed = motion.speed[steps]
    return Late(DISTANCE, steps, where + speed * (motion.time[steps] - when), (BEAM_SD * speed) ** 2 + 0.01**2)


def _chain(
    time: FloatArray, launch: Launch, sources: Sources, observations: tuple[Observation, ...], prior: Calibration
) -> Chain:
    step, steps = GRID_STEP, time.size
    transition = np.eye(STATES)
    transition[DISTANCE, SPEED] = transition[SPEED, ACCELERATION] = step
    transition[DISTANCE, ACCELERATION] = 0.5 * step**2
    transition[PASSING, PASSING] = np.exp(-step / SLIP_LASTS)
    jerk = np.array([[step**5 / 20, step**4 / 8, step**3 / 6], [step**4 / 8, step**3 / 3, step**2 / 2],
                     [step**3 / 6, step**2 / 2, step]])  # fmt: skip
    middle = time[:-1] + 0.5 * step
    near_launch = np.abs(middle) < 0.05 + 2.0 * launch.sd
    process = np.zeros((steps - 1, STATES, STATES))
    process[:, :3, :3] = (np.where(near_launch, 10.0 * JERK, JERK) ** 2)[:, None, None] * jerk
    jump = near_launch / max(int(near_launch.sum()), 1)
    process[:, BIAS, BIAS] = np.where(middle < 0, 1e-12, BIAS_WALK**2 * step) + PITCH_BIAS**2 * jump
    slip_walk = np.where(middle < EARLY, EARLY_SLIP_WALK, LATE_SLIP_WALK)
    process[:, PASSING, PASSING] = np.where(middle < 0, 1e-12, slip_walk**2 * step) + LAUNCH_SLIP**2 * jump
    bias, bias_sd = rest_bias(sources.acceleration, launch)
    mean = np.array([0.0, 0.0, 0.0, bias, 0.0, *prior.mean[:CARRIED]])
    covariance = np.diag(np.square([0.01, 0.05, 0.2, bias_sd, 0.001, *np.zeros(CARRIED)]))
    covariance[5:, 5:] = prior.covariance[:CARRIED, :CARRIED]
    return Chain(mean, covariance, transition, process, observations)
