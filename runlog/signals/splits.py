"""Split times from a motion: the logger's own opinion of the timing slip, and what it rests on."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.constants import FOOT, SPLIT_DISTANCES_FT
from runlog.records import SplitBasis
from runlog.signals.motion import CARRIED, DISTANCE, STATES

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from runlog.signals.motion import Motion

    FloatArray = NDArray[np.float64]


def reached(motion: Motion, distance: float) -> tuple[float, float, int] | None:
    """Return when the car covered ``distance`` [m]: seconds after launch, the speed then, the step; None if never."""
    covered = motion.distance
    beyond = np.flatnonzero(covered >= distance)
    if beyond.size == 0 or beyond[0] == 0:
        return None
    right = int(beyond[0])
    left = right - 1
    share = (distance - covered[left]) / (covered[right] - covered[left])
    time = motion.time[left] + share * (motion.time[right] - motion.time[left])
    speed = motion.speed[left] + share * (motion.speed[right] - motion.speed[left])
    return (float(time), float(speed), right) if speed > 0.1 else None


GROUND_FT: Final = 60
"""[ft] of ground that are timed from the first motion"""


def split_basis(motion: Motion, rollout: float, finish_ft: int, launch_sd: float = 0.0) -> SplitBasis | None:
    """Return what the trace tells of the splits that the car reached, or None when it didn't reach the first.

    The clock starts when the car has covered ``rollout`` [m] and what θ adds to it; a split stands at that place plus
    its distance. ``launch_sd`` [s] of the first motion only matters to what is timed from it. For small errors δ a time
    at a place moves by −δx/v, so a split by δx₀/v₀ − δx/v + δr (1/v − 1/v₀).
    """
    clock = reached(motion, rollout)
    if clock is None:
        return None
    places = {feet: reached(motion, rollout + feet * FOOT) for feet in SPLIT_DISTANCES_FT if feet <= finish_ft}
    found = {feet: place for feet, place in places.items() if place is not None}
    if not found:
        return None
    marks = [clock, *found.values()]
    slowness = 1.0 / np.array([speed for _, speed, _ in marks])
    joint = _joint(motion, [step for _, _, step in marks])
    count, theta = len(found), len(motion.prior.mean)
    # from (distances at the marks, θ but the rollout) to split times
    change = np.column_stack((np.full(count, slowness[0]), -np.diag(slowness[1:])))
    times = np.array([time for time, _, _ in found.values()]) - clock[0]
    with_theta = change @ joint[: count + 1, count + 1 :]
    of_theta = joint[count + 1 :, count + 1 :]
    slopes = np.zeros((count, theta))
    slopes[:, :CARRIED] = np.linalg.solve(of_theta, with_theta.T).T
    slopes[:, CARRIED] = slowness[1:] - slowness[0]
    covariance = change @ joint[: count + 1, : count + 1] @ change.T - slopes[:, :CARRIED] @ with_theta.T
    mean = motion.states[-1, STATES - CARRIED :]
    information, score = _likelihood(motion, of_theta, mean)
    ground = _ground(motion, launch_sd)
    return SplitBasis(
        tuple(found),
        times - slopes[:, :CARRIED] @ mean,
        slopes,
        _no_less_than_zero(covariance),
        information,
        score,
        1.0 / slowness[1:],
        *ground,
    )


def _ground(motion: Motion, launch_sd: float) -> tuple[float | None, FloatArray | None, float]:
    """Return the time [s] from first motion until ``GROUND_FT`` are covered as a line in θ, and its variance given θ.

    No beam is in it: neither the staging depth nor a front that lifts moves it.
    """
    place = reached(motion, GROUND_FT * FOOT)
    if place is None:
        return None, None, 0.0
    time, speed, step = place
    joint = _joint(motion, [step])
    slopes = np.zeros(len(motion.prior.mean))
    with_theta = -joint[0, 1:] / speed
    slopes[:CARRIED] = np.linalg.solve(joint[1:, 1:], with_theta)
    variance = joint[0, 0] / speed**2 - float(slopes[:CARRIED] @ with_theta)
    mean = motion.states[-1, STATES - CARRIED :]
    return time - float(slopes[:CARRIED] @ mean), slopes, max(variance, 0.0) + launch_sd**2


def beam_clear(motion: Motion, rollout: float, launch_sd: float) -> tuple[float, float] | None:
    """Return when the car had covered the rollout [m]: seconds after first motion, and their sd; None if never."""
    place = reached(motion, rollout)
    if place is None:
        return None
    time, speed, step = place
    return time, float(np.hypot(np.sqrt(max(motion.covariances[step][DISTANCE, DISTANCE], 0.0)) / speed, launch_sd))


def _joint(motion: Motion, steps: list[int]) -> FloatArray:
    """Return the covariance of the distances at these steps, in order, and θ but the rollout, given the trace.

    θ stands still, so it can be read off at the last step. ``ValueError`` where beam times were used.
    """
    if motion.calibrated:
        raise ValueError("the gains know nothing of the beam times")
    count = len(steps)
    joint = np.zeros((count + CARRIED, count + CARRIED))
    last = motion.covariances[-1]
    joint[count:, count:] = last[STATES - CARRIED :, STATES - CARRIED :]
    # one row for each mark passed: what its distance's error becomes at the step reached
    rows, at = np.empty((0, STATES)), steps[0]
    for n, step in enumerate(steps):
        rows = _onwards(rows, motion.gains[at:step])
        at = step
        joint[n, :n] = joint[:n, n] = rows @ motion.covariances[step][:, DISTANCE]
        joint[n, n] = motion.covariances[step][DISTANCE, DISTANCE]
        rows = np.vstack((rows, np.eye(STATES)[DISTANCE]))
    across = _onwards(rows, motion.gains[at:]) @ last[:, STATES - CARRIED :]
    joint[:count, count:], joint[count:, :count] = across, across.T
    return joint


def _onwards(rows: FloatArray, gains: FloatArray) -> FloatArray:
    """Return the rows carried through the smoother's gains, in order."""
    for gain in gains:
        rows = rows @ gain
    return rows


def _likelihood(motion: Motion, of_theta: FloatArray, mean: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return what the trace alone says of θ: information and score, the prior taken out again."""
    size = len(motion.prior.mean)
    before = np.linalg.inv(motion.prior.covariance[:CARRIED, :CARRIED])
    after = np.linalg.inv(of_theta)
    information, score = np.zeros((size, size)), np.zeros(size)
    information[:CARRIED, :CARRIED] = _no_less_than_zero(after - before)
    score[:CARRIED] = after @ mean - before @ motion.prior.mean[:CARRIED]
    return information, score


def _no_less_than_zero(matrix: FloatArray) -> FloatArray:
    """Return the nearest symmetric matrix without negative eigenvalues: rounding can leave tiny ones."""
    values, vectors = np.linalg.eigh(0.5 * (matrix + matrix.T))
    mended: FloatArray = (vectors * np.maximum(values, 0.0)) @ vectors.T
    return mended
