"""The smoother against the batch solution of the same linear-Gaussian model."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from runlog.signals.smoother import Chain, Observation, smooth


def batch_solution(chain: Chain) -> tuple[np.ndarray, np.ndarray]:
    """Posterior by conditioning the joint normal of all states at once (textbook conditional-normal formula)."""
    steps, states = chain.process.shape[0] + 1, chain.mean.size
    mean, covariance = np.zeros((steps, states)), np.zeros((steps, states, steps, states))
    mean[0], covariance[0, :, 0] = chain.mean, chain.covariance
    for t in range(1, steps):
        mean[t] = chain.transition @ mean[t - 1]
        for s in range(t):
            covariance[t, :, s] = chain.transition @ covariance[t - 1, :, s]
            covariance[s, :, t] = covariance[t, :, s].T
        covariance[t, :, t] = chain.transition @ covariance[t - 1, :, t - 1] @ chain.transition.T + chain.process[t - 1]
    joint = covariance.reshape(steps * states, steps * states)
    rows, z, noise = [], [], []
    for kind in chain.observations:
        for t in np.flatnonzero(np.isfinite(kind.z)):
            row = np.zeros((steps, states))
            row[t] = kind.h[t]
            rows.append(row.ravel())
            z.append(kind.z[t])
            noise.append(kind.variance[t])
    H, R = np.array(rows), np.diag(noise)
    gain = np.linalg.solve(H @ joint @ H.T + R, H @ joint).T
    posterior = joint - gain @ H @ joint
    smoothed = mean.ravel() + gain @ (np.array(z) - H @ mean.ravel())
    blocks = posterior.reshape(steps, states, steps, states)
    return smoothed.reshape(steps, states), np.array([blocks[t, :, t] for t in range(steps)])


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 10_000), steps=st.integers(2, 25), missing=st.floats(0, 0.9))
def test_smoother_is_the_batch_solution(seed, steps, missing):
    """An identity: Rauch–Tung–Striebel and the conditional normal are the same posterior."""
    rng = np.random.default_rng(seed)
    states = 3
    transition = np.eye(states) + 0.3 * rng.normal(size=(states, states))
    transition /= max(1.0, np.linalg.norm(transition, 2))  # growth would make the batch solution ill-conditioned
    roots = rng.normal(size=(steps - 1, states, states))
    kinds = []
    for _ in range(2):
        z = np.where(rng.random(steps) < missing, np.nan, rng.normal(size=steps))
        z[0] = 0.3
        kinds.append(Observation(rng.normal(size=(steps, states)), z, rng.uniform(0.1, 2.0, steps)))
    process = roots @ roots.transpose(0, 2, 1) + 0.1 * np.eye(states)
    chain = Chain(rng.normal(size=states), np.diag(rng.uniform(0.5, 2, states)), transition, process, tuple(kinds))
    mean, covariance = smooth(chain)
    expected_mean, expected_covariance = batch_solution(chain)
    assert mean == pytest.approx(expected_mean, rel=1e-7, abs=1e-7)
    assert covariance == pytest.approx(expected_covariance, rel=1e-7, abs=1e-7)


def test_a_constant_seen_n_times_is_the_weighted_mean():
    """Prior N(0, 4) and n = 10 readings of variance 2: posterior variance 1/(1/4 + n/2), mean that times sum/2."""
    z = np.linspace(1.0, 2.0, 10)
    chain = Chain(np.zeros(1), np.array([[4.0]]), np.eye(1), np.full((9, 1, 1), 1e-14),
                  (Observation(np.ones((10, 1)), z, np.full(10, 2.0)),))  # fmt: skip
    mean, covariance = smooth(chain)
    variance = 1 / (1 / 4 + 10 / 2)
    assert covariance[:, 0, 0] == pytest.approx(np.full(10, variance), rel=1e-9)
    assert mean[:, 0] == pytest.approx(np.full(10, variance * z.sum() / 2), rel=1e-9)


def test_more_observations_never_widen_the_doubt():
    rng = np.random.default_rng(3)
    kinds = tuple(Observation(np.ones((30, 1)), rng.normal(size=30), np.full(30, 1.0)) for _ in range(2))
    chains = [Chain(np.zeros(1), np.eye(1), np.eye(1), np.full((29, 1, 1), 0.1), kinds[:n]) for n in (1, 2)]
    one, two = (smooth(chain)[1][:, 0, 0] for chain in chains)
    assert (two < one).all()
