"""What runs and physics together say of changes before they are made: each source counted once.

What the runs say of several changes is one normal quantity over changes and increments: exact moments of the posterior
within an increment, increments that go together as residuals do (Zellner 1962). Physics that isn't in the prior
already is a second, independent word on the same times and is joined by precision (Gelman et al., *Bayesian Data
Analysis*, 3rd ed., § 3.5); where it is the prior, the posterior holds it once and nothing is added.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from runlog.learning.effects import prior_moments
from runlog.learning.mixture import moments

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from runlog.learning.car import CarFit

    FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Belief:
    """N changes of the times of the increments to the finish, S of them, as one normal quantity."""

    mean: FloatArray
    """(N, S) [s]"""
    covariance: FloatArray
    """(N, S, N, S) [s²]"""

    def sums(self, change: int | None = None) -> tuple[FloatArray, FloatArray]:
        """Return mean and sd (S + 1,) [s] of a change, or of all together, on each increment and on their sum."""
        mean, covariance = self.mean.sum(axis=0), self.covariance.sum(axis=(0, 2))
        if change is not None:
            mean, covariance = self.mean[change], self.covariance[change, :, change]
        variance = np.append(np.diag(covariance), covariance.sum())
        return np.append(mean, mean.sum()), np.sqrt(np.maximum(variance, 0.0))

    def joined(self, change: int, mean: FloatArray, covariance: FloatArray) -> Belief:
        """Return the belief once an independent source has told a change (S,) [s] with a covariance (S, S) [s²]."""
        size = self.mean.size
        flat = self.covariance.reshape(size, size)
        segments = self.mean.shape[1]
        own = slice(change * segments, (change + 1) * segments)
        gain = np.linalg.solve(flat[own, own] + covariance, flat[own]).T
        moved = self.mean.ravel() + gain @ (mean - self.mean[change])
        left = flat - gain @ flat[own]
        return Belief(moved.reshape(self.mean.shape), (0.5 * (left + left.T)).reshape(self.covariance.shape))

    def beside(self, mean: FloatArray, covariance: FloatArray) -> Belief:
        """Return the belief with one more change (S,) [s] that has nothing to do with the others."""
        count, segments = self.mean.shape
        wider = np.zeros((count + 1, segments, count + 1, segments))
        wider[:count, :, :count] = self.covariance
        wider[count, :, count] = covariance
        return Belief(np.concatenate([self.mean, mean[None]]), wider)


def nothing(segments: int) -> Belief:
    """Return the belief about no change at all."""
    return Belief(np.zeros((0, segments)), np.zeros((0, segments, 0, segments)))


def posterior_of(fit: CarFit, functionals: FloatArray) -> Belief:
    """Return what runs and prior together say of changes given as functionals (N, S, K) of the coefficients."""
    count, segments = functionals.shape[:2]
    mean, within = np.zeros((count, segments)), np.zeros((segments, count, count))
    pairs = [(a, b) for a in range(count) for b in range(a)]
    for k in range(segments):
        T = functionals[:, k]
        both = np.array([T[a] + T[b] for a, b in pairs]).reshape(len(pairs), T.shape[1])
        means, variances = moments(*fit.functionals(k, np.concatenate([T, both])))
        mean[:, k] = means[:count]
        within[k] = np.diag(variances[:count])
        for place, (a, b) in enumerate(pairs):
            within[k, a, b] = within[k, b, a] = 0.5 * (variances[count + place] - variances[a] - variances[b])
    return Belief(mean, _over_segments(within, fit.correlation[:segments, :segments]))


def _over_segments(within: FloatArray, correlation: FloatArray) -> FloatArray:
    """Return the covariance (N, S, N, S) of changes whose covariance in each segment is (S, N, N).

    A change's own increments go together as residuals do; two changes, between segments, as they do within the two.
    """
    sds = np.sqrt(np.diagonal(within, axis1=1, axis2=2))
    scale = np.where(sds > 0.0, sds, 1.0)
    alike = within / scale[:, :, None] / scale[:, None, :]
    full = (
        0.5
        * correlation[:, :, None, None]
        * (alike[:, None] + alike[None])
        * sds[:, None, :, None]
        * sds[None, :, None]
    )
    segments, count = sds.shape
    flat = full.transpose(2, 0, 3, 1).reshape(count * segments, count * segments)
    values, vectors = np.linalg.eigh(flat)
    if len(values) and values[0] < 0.0:  # the mean of two correlations between segments need not be one
        flat = (vectors * np.maximum(values, 0.0)) @ vectors.T
    return flat.reshape(count, segments, count, segments)


def prior_sds(fit: CarFit, functionals: FloatArray) -> FloatArray:
    """Return (N, S + 1) [s] how unsure changes of levers (N, S, K) were before any run, on increments and their sum.

    The prior as widened as the runs ask.
    """
    count, segments = functionals.shape[:2]
    found = np.array([prior_moments(fit, k, functionals[:, k])[1] for k in range(segments)]).reshape(segments, count)
    return np.concatenate([np.sqrt(found), np.sqrt(fit.sum_variance(np.sqrt(found)))[None]]).T


def told_by_runs(fit: CarFit, shift: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return what the runs alone tell of an air's shift (S,) [s]: how much of it the car makes, and the variance.

    The expectation of the regression, that it is the model's shift give or take a fifth, is taken out again: the
    posterior over the prior, both normal, in precisions. Infinite variance where the runs tell nothing.
    """
    rows = np.zeros((len(shift), fit.layout.columns))
    rows[:, fit.layout.air_column] = 1.0
    factor, variance = np.zeros(len(shift)), np.full(len(shift), np.inf)
    for k in range(len(shift)):
        mean, posterior = (float(part[0]) for part in moments(*fit.functionals(k, rows[k : k + 1])))
        told = 1.0 / posterior - 1.0 / fit.settings.air_sd**2
        if told > 1e-9:
            factor[k], variance[k] = mean / posterior / told, 1.0 / told
    return shift * (1.0 + factor), shift**2 * variance


def share_learned(prior_sd: float, posterior_sd: float, joined_sd: float) -> float:
    """Return the share 0…1 of the certainty that comes from the runs: theirs over all, in precisions."""
    if prior_sd <= 0.0 or posterior_sd <= 0.0:
        return 0.0
    told = 1.0 / posterior_sd**2 - 1.0 / prior_sd**2
    return min(max(told * joined_sd**2, 0.0), 1.0)


def share_added(posterior_sd: float, joined_sd: float) -> float:
    """Return the share 0…1 of the certainty that a source joined by precision brought."""
    if posterior_sd <= 0.0 or not math.isfinite(joined_sd):
        return 0.0
    return min(max(1.0 - (joined_sd / posterior_sd) ** 2, 0.0), 1.0)
