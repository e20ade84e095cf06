"""Rollout and split times against closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from runlog.constants import FOOT, STANDARD_GRAVITY
from runlog.signals.analysis import analyse
from runlog.signals.calibration import of_run, prior, split_opinion
from runlog.signals.motion import CARRIED, STATES, Motion
from runlog.signals.splits import reached, split_basis

INCH = 0.0254


def constant(acceleration: float, sd: float = 0.0) -> Motion:
    """A motion whose distances are in doubt independently of each other; of the calibration it tells nothing."""
    time = np.arange(0.0, 14.0, 0.01)
    states = np.zeros((time.size, STATES))
    states[:, 0], states[:, 1] = 0.5 * acceleration * time**2, acceleration * time
    states[:, 2] = acceleration
    known = of_run(prior())
    covariances = np.zeros((time.size, STATES, STATES))
    covariances[:, 0, 0] = sd**2
    covariances[:, STATES - CARRIED :, STATES - CARRIED :] = known.covariance[:CARRIED, :CARRIED]
    return Motion(time, states, covariances, np.zeros((time.size - 1, STATES, STATES)), known)


def split_times(motion: Motion, rollout: float, finish_ft: int) -> dict[int, tuple[float, float]]:
    return split_opinion(split_basis(motion, rollout, finish_ft), prior())


def rollout_sd() -> float:
    return float(np.sqrt(of_run(prior()).covariance[-1, -1]))


@pytest.mark.parametrize(("g", "time"), [(1, 0.1904), (2, 0.1346), (3, 0.1099)])
def test_rollout_time_at_constant_acceleration(g, time):
    """√(2d/a) for 7 in (closed form)."""
    assert reached(constant(g * STANDARD_GRAVITY), 7 * INCH)[0] == pytest.approx(time, abs=2e-4)


@pytest.mark.parametrize(
    ("inches", "g", "time"),
    [(7, 1, 1.7502), (7, 1.5, 1.4290), (7, 2, 1.2376), (12, 1, 1.6980), (12, 1.5, 1.3864), (12, 2, 1.2006)],
)
def test_60_foot_time_runs_from_the_beam(inches, g, time):
    """√(2(d + r)/a) − √(2r/a) (closed form); from standstill it would be 0.13 to 0.23 s longer."""
    found = split_times(constant(g * STANDARD_GRAVITY), inches * INCH, 1320)
    assert found[60][0] == pytest.approx(time, abs=2e-4)


def test_a_deeper_rollout_shortens_every_split():
    shallow, deep = (split_times(constant(15.0), rollout, 1320) for rollout in (0.18, 0.30))
    assert all(deep[feet][0] < shallow[feet][0] for feet in shallow)


def test_doubt_in_distance_becomes_doubt_in_time():
    """δt = δx / v at the split, with nothing else in doubt but the rollout: both are in the sum of squares."""
    a, rollout = 15.0, 0.2286
    certain, doubtful = (split_times(constant(a, sd), rollout, 1320)[330][1] for sd in (0.0, 1.0))
    v_end, v_start = np.sqrt(2 * a * (rollout + 330 * FOOT)), np.sqrt(2 * a * rollout)
    assert doubtful**2 - certain**2 == pytest.approx(v_end**-2 + v_start**-2, rel=5e-3)


def test_doubt_of_the_rollout_is_in_every_split():
    """t = √(2(d+r)/a) − √(2r/a), so ∂t/∂r = 1/v(d+r) − 1/v(r) (closed form), here for ± one sd of a single run."""
    a, rollout = 15.0, 0.2286
    found = split_times(constant(a), rollout, 1320)
    for feet, (_, sd) in found.items():
        d = feet * FOOT
        ends = [np.sqrt(2 * (d + r) / a) - np.sqrt(2 * r / a) for r in (rollout - rollout_sd(), rollout + rollout_sd())]
        assert sd == pytest.approx((ends[0] - ends[1]) / 2, rel=0.02)


def test_splits_beyond_the_run_or_the_finish_are_absent():
    assert 1320 not in split_times(constant(1.0), 0.2, 1320)  # 98 m in 14 s
    assert set(split_times(constant(15.0), 0.2, 660)) == {60, 330, 660}


def test_constant_power_keeps_v_t_over_x_at_one_and_a_half(vary, true_run):
    """v t = 1.5 x for constant power from rest (identity). 60 g of grip ends the traction limit within 0.1 s."""
    run = vary(true_run, a0=60 * STANDARD_GRAVITY, noise={}, rates={"ground_speed": 200.0})
    found = analyse(run.samples(), run.setting)
    late = (found.time > 2.0) & (found.distance < 400.0)
    time = found.time[late] + found.launch_time - run.launch
    assert found.speed[late] * time / found.distance[late] == pytest.approx(np.full(late.sum(), 1.5), abs=0.01)
