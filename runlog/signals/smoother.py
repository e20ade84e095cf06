"""The Kalman filter and the Rauch–Tung–Striebel smoother for a chain of states with scalar observations.

Reference: S. Särkkä, *Bayesian Filtering and Smoothing* (Cambridge 2013), theorems 4.2 and 8.2; formulas from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Observation:
    """One kind of scalar observation along the chain: z[t] = h[t] · x[t] + noise; a nan in ``z`` means none then."""

    h: FloatArray
    """shape (steps, states)"""
    z: FloatArray
    """shape (steps,)"""
    variance: FloatArray
    """shape (steps,), more than 0"""


@dataclass(frozen=True)
class Chain:
    """x[0] ~ N(mean, covariance); x[t+1] = F x[t] + N(0, Q[t]); observations of every kind at every step."""

    mean: FloatArray
    covariance: FloatArray
    transition: FloatArray
    process: FloatArray
    """Q, shape (steps - 1, states, states)"""
    observations: Sequence[Observation]


def smooth(chain: Chain) -> tuple[FloatArray, FloatArray]:
    """Return means (steps, states) and covariances (steps, states, states) given all observations.

    Range of validity: predicted covariances must be regular, so P[0] or Q must reach every state.
    """
    means, covariances, _ = smooth_with_gains(chain)
    return means, covariances


def smooth_with_gains(chain: Chain) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return means and covariances as ``smooth`` does, and the smoother's gains G (steps - 1, states, states).

    The covariance of x[s] and a later x[t] given all observations is G[s] … G[t-1] times the covariance of x[t].
    """
    predicted, filtered = _forward(chain)
    return _backward(chain, predicted, filtered)


@dataclass(frozen=True)
class Late:
    """Scalar observations of one state that come after smoothing: x[steps[k]][state] = z[k] + noise, shape (k,)."""

    state: int
    steps: NDArray[np.int64]
    z: FloatArray
    variance: FloatArray


def condition(
    means: FloatArray, covariances: FloatArray, gains: FloatArray, late: Late
) -> tuple[FloatArray, FloatArray]:
    """Return means and covariances of a smoothed chain given a few more observations: the same as smoothing anew.

    A normal vector given others (Särkkä 2013, lemma A.1); how far apart states go together is in the gains.
    """
    across = _across(covariances, gains, late)
    at_late = across[late.steps, late.state, :]
    weights = np.linalg.solve(at_late + np.diag(late.variance), across.transpose(0, 2, 1))
    surprise = late.z - means[late.steps, late.state]
    return means + surprise @ weights, covariances - across @ weights


def _across(covariances: FloatArray, gains: FloatArray, late: Late) -> FloatArray:
    """Return the covariance of every state with those observed late, shape (steps, states, k)."""
    count, states = covariances.shape[:2]
    rows = np.zeros((count, late.steps.size, states))
    rows[late.steps, np.arange(late.steps.size), late.state] = 1.0
    for step in range(int(late.steps.min()) + 1, count):
        rows[step] += rows[step - 1] @ gains[step - 1]
    across = covariances @ rows.transpose(0, 2, 1)
    ahead = late.steps > np.arange(count)[:, None]
    for step in range(int(late.steps.max()) - 1, -1, -1):
        across[step] += gains[step] @ (across[step + 1] * ahead[step])
    return across


def _forward(chain: Chain) -> tuple[FloatArray, FloatArray]:
    """Return predicted and filtered moments; each holds covariance and mean side by side, [P | m].

    With both in one array a single product updates both, which halves the time of a step.
    """
    steps, states = chain.process.shape[0] + 1, chain.mean.size
    moments = np.column_stack((chain.covariance, chain.mean))
    predicted = np.empty((steps, states, states + 1))
    filtered = np.empty_like(predicted)
    transition, transposed = chain.transition, chain.transition.T
    present = _present(chain.observations, steps)
    for step in range(steps):
        if step:
            moments = transition @ moments
            moments[:, :states] = moments[:, :states] @ transposed + chain.process[step - 1]
        predicted[step] = moments
        for h, z, variance in present[step]:
            row = h @ moments
            along = row[:states]
            gain = along / (along @ h + variance)
            row[states] -= z
            moments -= gain[:, None] * row
        filtered[step] = moments
    return predicted, filtered


def _present(observations: Sequence[Observation], steps: int) -> list[list[tuple[FloatArray, float, float]]]:
    present: list[list[tuple[FloatArray, float, float]]] = [[] for _ in range(steps)]
    for kind in observations:
        values, variances = kind.z.tolist(), kind.variance.tolist()
        for step in np.flatnonzero(np.isfinite(kind.z)).tolist():
            present[step].append((kind.h[step], values[step], variances[step]))
    return present


def _backward(chain: Chain, predicted: FloatArray, filtered: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    states = chain.mean.size
    # G = P F' Pp⁻¹ for all steps at once; P and Pp are symmetric
    solved = np.linalg.solve(predicted[1:, :, :states], chain.transition @ filtered[:-1, :, :states])
    gains = solved.transpose(0, 2, 1).astype(np.float64, copy=False)
    transposed = gains.transpose(0, 2, 1)
    smoothed = np.empty_like(filtered)
    moments: FloatArray = filtered[-1]
    smoothed[-1] = moments
    for step in range(filtered.shape[0] - 2, -1, -1):
        change = gains[step] @ (moments - predicted[step + 1])
        change[:, :states] = change[:, :states] @ transposed[step]
        smoothed[step] = moments = filtered[step] + change
    return smoothed[:, :, states], smoothed[:, :, :states], gains
