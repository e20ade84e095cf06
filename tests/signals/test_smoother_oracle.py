"""The smoother against an independent one: the state space smoother of statsmodels, on linear cases with gaps."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from runlog.signals.smoother import Chain, Late, Observation, condition, smooth, smooth_with_gains

smoother = pytest.importorskip("statsmodels.tsa.statespace.kalman_smoother")


def a_chain(seed: int, steps: int = 60) -> Chain:
    """Distance, speed and acceleration by white jerk; speed and acceleration seen, half of the speeds missing."""
    rng, dt = np.random.default_rng(seed), 0.05
    transition = np.array([[1, dt, dt**2 / 2], [0, 1, dt], [0, 0, 1.0]])
    jerk = np.array([[dt**5 / 20, dt**4 / 8, dt**3 / 6], [dt**4 / 8, dt**3 / 3, dt**2 / 2], [dt**3 / 6, dt**2 / 2, dt]])
    process = rng.uniform(1, 30, steps - 1)[:, None, None] * jerk
    time = dt * np.arange(steps)
    speed = np.where(rng.random(steps) < 0.5, np.nan, 12 * time + rng.normal(0, 0.3, steps))
    kinds = (
        Observation(np.tile([0.0, 1.0, 0.0], (steps, 1)), speed, rng.uniform(0.05, 0.2, steps)),
        Observation(np.tile([0.0, 0.0, 1.0], (steps, 1)), 12 + rng.normal(0, 1, steps), np.full(steps, 1.0)),
    )
    return Chain(np.zeros(3), np.diag([0.01, 0.1, 4.0]), transition, process, kinds)


def independent(chain: Chain):
    steps, states = chain.process.shape[0] + 1, chain.mean.size
    made = smoother.KalmanSmoother(len(chain.observations), states, states)
    made.bind(np.column_stack([kind.z for kind in chain.observations]))
    made["design"] = np.stack([kind.h for kind in chain.observations]).transpose(0, 2, 1)
    cov = np.zeros((len(chain.observations),) * 2 + (steps,))
    for n, kind in enumerate(chain.observations):
        cov[n, n] = kind.variance
    made["obs_cov"] = cov
    made["transition"] = chain.transition
    made["selection"] = np.eye(states)
    made["state_cov"] = np.concatenate((chain.process, chain.process[-1:])).transpose(1, 2, 0)
    made.initialize_known(chain.mean, chain.covariance)
    return made.smooth()


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_means_and_covariances(seed):
    chain = a_chain(seed)
    mean, covariance = smooth(chain)
    other = independent(chain)
    assert mean == pytest.approx(other.smoothed_state.T, rel=1e-6, abs=1e-7)
    assert covariance == pytest.approx(other.smoothed_state_cov.transpose(2, 0, 1), rel=1e-5, abs=1e-9)


@pytest.mark.parametrize("seed", [4, 5])
def test_covariance_of_neighbouring_steps(seed):
    """cov(x[t], x[t+1]) = G[t] P[t+1]: how errors at different times go together."""
    chain = a_chain(seed)
    _, covariance, gains = smooth_with_gains(chain)
    # theirs is cov(x[t + 1], x[t])
    theirs = independent(chain).smoothed_state_autocov
    for step in (0, 7, 30, gains.shape[0] - 2):
        ours = gains[step] @ covariance[step + 1]
        assert ours == pytest.approx(theirs[:, :, step].T, rel=1e-5, abs=1e-9)


@pytest.mark.parametrize("steps", [[59], [0], [12, 30, 31, 58], [40, 7]])
def test_observations_that_come_late_count_as_those_smoothed_over(steps):
    chain = a_chain(6)
    where = np.array(steps)
    late = Late(0, where, 6.0 * (0.05 * where) ** 2 + 0.3, np.linspace(0.02, 0.05, where.size))
    mean, covariance = condition(*smooth_with_gains(chain), late)
    count = chain.process.shape[0] + 1
    z, variance = np.full(count, np.nan), np.ones(count)
    z[where], variance[where] = late.z, late.variance
    place = Observation(np.tile([1.0, 0.0, 0.0], (count, 1)), z, variance)
    other = independent(dataclasses.replace(chain, observations=(*chain.observations, place)))
    assert mean == pytest.approx(other.smoothed_state.T, rel=1e-6, abs=1e-6)
    assert covariance == pytest.approx(other.smoothed_state_cov.transpose(2, 0, 1), rel=1e-5, abs=1e-8)
