"""Bayesian linear regression of one increment: a grid over what is not known, and who was spoiled.

At a point h of the grid, with known residual sd σ and prior N(m, diag v), the posterior is the conjugate normal one
(Gelman et al., *Bayesian Data Analysis*, 3rd ed., ch. 14). It is computed in prior units, A = √v X'WX √v/σ² + I, which
is positive definite whatever the runs are, even without any.

A spoiled run has weight 1/64 instead of 1. That is a change of rank one (two for a pair), so that the posterior of
every set of spoiled runs follows from the clean one by the matrix inversion lemma; its denominators are never below
1/64. What spoiled a run often carries on into the next increment: the sets of neighbouring increments form a chain,
which is summed over as well.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations, pairwise
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from runlog.learning.priors import Grid, SegmentPrior, Settings

    FloatArray = NDArray[np.float64]
    IntArray = NDArray[np.int_]


@dataclass(frozen=True, eq=False)
class Solution:
    """Conjugate posteriors at G points, for K coefficients and n runs."""

    beta: FloatArray
    """(G, K)"""
    covariance: FloatArray
    """(G, K, K)"""
    log_evidence: FloatArray
    """(G,) of the runs, without the constant n/2 log 2π and the weights' own normalisation"""


def solve(X: FloatArray, y: FloatArray, weights: FloatArray, mean: FloatArray, variance: FloatArray,
          sigma: FloatArray) -> Solution:  # fmt: skip
    """Return the posterior of y ~ N(Xβ, σ²/w), β ~ N(mean, variance), at G points.

    X (n, K), y (n,), weights (n,), mean (K,), variance (G, K) above zero, sigma (G,). BDA3 § 14.8.
    """
    residual = y - X @ mean
    weighted = X.T * weights
    gram, moment = weighted @ X, weighted @ residual
    scale = np.sqrt(variance) / sigma[:, None]
    A = gram * (scale[:, :, None] * scale[:, None, :]) + np.eye(X.shape[1])
    L = np.linalg.cholesky(A)
    inverse = np.linalg.inv(L)
    u = np.einsum("gij,gj->gi", inverse, scale * moment / sigma[:, None])
    root = inverse * np.sqrt(variance)[:, None, :]
    beta = mean + np.einsum("gji,gj->gi", root, u)
    covariance = np.swapaxes(root, 1, 2) @ root
    misfit = (weights @ residual**2) / sigma**2 - np.einsum("gi,gi->g", u, u)
    log_det = np.log(np.einsum("gii->gi", L)).sum(axis=1)
    return Solution(beta, covariance, -len(y) * np.log(sigma) - log_det - 0.5 * misfit)


def normal_inverse_gamma(X: FloatArray, y: FloatArray, weights: FloatArray, mean: FloatArray, ratio: FloatArray,
                         start: tuple[float, float]) -> tuple[FloatArray, FloatArray, float, float]:  # fmt: skip
    """Return β, (X'WX + diag 1/ratio)⁻¹, a and b of β | σ² ~ N(mean, σ² diag ratio), σ² ~ inverse-gamma(a0, b0).

    The marginal of a coefficient is Student's t with 2a degrees of freedom and scale √(b/a · V_pp). BDA3 ch. 14.
    """
    a0, b0 = start
    unit = solve(X, y, weights, mean, ratio[None, :], np.ones(1))
    misfit = weights @ (y - X @ unit.beta[0]) ** 2 + ((unit.beta[0] - mean) ** 2 / ratio).sum()
    return unit.beta[0], unit.covariance[0], a0 + 0.5 * len(y), b0 + 0.5 * float(misfit)


def soft_weights(X: FloatArray, y: FloatArray, mean: FloatArray, ratio: FloatArray, typical: float,
                 settings: Settings) -> tuple[FloatArray, FloatArray]:  # fmt: skip
    """Return the weight of each run (n,) and its probability of being spoiled (n,), by variational EM.

    ``ratio`` (K,) are prior variances in units of ``typical``² (σ0²). At most 15 passes. Commits to one explanation,
    which many runs allow and few don't.
    """
    a0 = settings.variance_strength
    wide = settings.spoiled_width**2
    odds = math.log((1 - settings.spoiled_share) * settings.spoiled_width / settings.spoiled_share)
    weights, spoiled = np.ones(len(y)), np.zeros(len(y))
    for step in range(15):
        beta, V, a, b = normal_inverse_gamma(X, y, weights, mean, ratio, (a0, a0 * typical**2))
        # the second term is essential: a run with leverage pulls the fit to itself
        q = (y - X @ beta) ** 2 / (b / a) + np.einsum("ij,jk,ik->i", X, V, X)
        latest = 1.0 / (1.0 + np.exp(np.clip(odds - 0.5 * q * (1 - 1 / wide), -500, 500)))
        latest = latest if step == 0 else 0.5 * (latest + spoiled)
        change = float(np.abs(latest - spoiled).max(initial=0.0))
        spoiled = latest
        weights = 1 - spoiled + spoiled / wide
        if change < 0.002:
            break
    return weights, spoiled


@dataclass(frozen=True, eq=False)
class SpoiledSets:
    """The sets of ``size`` spoiled runs that are summed over, and what each changes in the clean solution."""

    members: IntArray
    """(m, size) positions among the runs of the segment"""
    inverse: FloatArray
    """(G, m, size, size) (I − δH)⁻¹, δ = 1 − 1/64, H the leverage of the members"""
    pull: FloatArray
    """(G, m, size) that inverse times the members' residuals"""


def _small_inverse(M: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return inverse and determinant of 1×1 or 2×2 matrices (…, size, size)."""
    if M.shape[-1] == 1:
        return 1.0 / M, M[..., 0, 0]
    determinant = M[..., 0, 0] * M[..., 1, 1] - M[..., 0, 1] * M[..., 1, 0]
    adjugate = np.stack([np.stack([M[..., 1, 1], -M[..., 0, 1]], -1), np.stack([-M[..., 1, 0], M[..., 0, 0]], -1)], -2)
    return adjugate / determinant[..., None, None], determinant


@dataclass(frozen=True, eq=False)
class Posterior:
    """The posterior of one segment: a mixture of normals over grid points and sets of spoiled runs.

    Columns without any run behind them keep their prior and take no part in the algebra.
    """

    prior: SegmentPrior
    active: IntArray
    """columns that runs bear upon"""
    X: FloatArray
    """(n, active)"""
    solution: Solution
    rows: FloatArray
    """(G, active, n) covariance times X'"""
    sets: tuple[SpoiledSets, ...]
    log_joint: FloatArray
    """(G, C) log prior of (σ, ω, ψ) and of the set, plus log evidence; the clean set first"""
    soft: FloatArray | None
    """(n,) probability of being spoiled, where soft weights stand instead of a sum"""
    shrink: float
    """δ, what a spoiled run loses of its weight"""

    @property
    def grid(self) -> Grid:
        """The grid points, G of them."""
        return self.prior.grid

    def functionals(self, T: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return means and variances (G, C, F) of the linear functionals T (F, K) of the coefficients."""
        t = T[:, self.active]
        rest = np.delete(np.arange(T.shape[1]), self.active)
        shift = T[:, rest] @ self.prior.mean[rest]
        extra = self.prior.variance[:, rest] @ (T[:, rest] ** 2).T
        mean = self.solution.beta @ t.T + shift
        variance = np.einsum("fk,gkl,fl->gf", t, self.solution.covariance, t, optimize=True) + extra
        means, variances = [mean[:, None, :]], [variance[:, None, :]]
        factor = (self.shrink / self.grid.sigma**2)[:, None, None]
        for sets in self.sets:
            reach = (t @ self.rows)[:, :, sets.members]
            means.append(mean[:, None, :] - factor * np.einsum("gfms,gms->gmf", reach, sets.pull))
            bent = np.einsum("gfms,gmst->gfmt", reach, sets.inverse)
            variances.append(variance[:, None, :] + factor * np.einsum("gfmt,gfmt->gmf", bent, reach))
        return np.concatenate(means, axis=1), np.concatenate(variances, axis=1)

    def membership(self, rows: IntArray, chosen: IntArray) -> FloatArray:
        """Return (C, len(chosen)) 1 where a component has a run spoiled; ``rows`` names the runs of the segment."""
        blocks = [np.zeros((1, len(rows)))]
        for sets in self.sets:
            block = np.zeros((len(sets.members), len(rows)))
            np.put_along_axis(block, sets.members, 1.0, axis=1)
            blocks.append(block)
        result: FloatArray = np.concatenate(blocks)[:, np.isin(rows, chosen)]
        return result

    def coefficients(self, weights: FloatArray) -> FloatArray:
        """Return the posterior means (K,) of all coefficients; ``weights`` (G, C)."""
        mean = self.prior.mean.copy()
        part = weights.sum(axis=1) @ self.solution.beta
        factor = self.shrink / self.grid.sigma**2
        start = 1
        for sets in self.sets:
            share = factor[:, None] * weights[:, start : start + len(sets.members)]
            part = part - np.einsum("gm,gkms,gms->k", share, self.rows[:, :, sets.members], sets.pull, optimize=True)
            start += len(sets.members)
        mean[self.active] = part
        return mean

    def spoiled_probability(self, weights: FloatArray) -> FloatArray:
        """Return the probability (n,) that each run of the segment was spoiled; ``weights`` (G, C)."""
        if self.soft is not None:
            return self.soft
        by_set = weights.sum(axis=0)
        result = np.zeros(len(self.X))
        start = 1
        for sets in self.sets:
            for column in sets.members.T:
                np.add.at(result, column, by_set[start : start + len(sets.members)])
            start += len(sets.members)
        return result


def _spoiled_sets(solution: Solution, cross: FloatArray, residual: FloatArray, sigma: FloatArray, size: int,
                  shrink: float) -> tuple[SpoiledSets, FloatArray]:  # fmt: skip
    """Return the sets of one size and the log evidence (G, m) that each adds to the clean one."""
    n = residual.shape[1]
    members = np.array(list(combinations(range(n), size)), dtype=np.intp).reshape(-1, size)
    H = cross / (sigma**2)[:, None, None]
    inside = H[:, members[:, :, None], members[:, None, :]]
    inverse, determinant = _small_inverse(np.eye(size) - shrink * inside)
    r = residual[:, members]
    pull = np.einsum("gmst,gmt->gms", inverse, r)
    gain = 0.5 * (shrink / sigma**2)[:, None] * np.einsum("gms,gms->gm", r, pull)
    return SpoiledSets(members, inverse, pull), gain - 0.5 * np.log(determinant)


def set_sizes(n: int, days: int, settings: Settings) -> tuple[int, ...]:
    """Return the sizes of the sets of spoiled runs that are summed over; none: soft weights are used."""
    if n > settings.exact_runs or settings.quick:
        return ()
    pairs = n <= settings.pair_runs and days <= 1
    return tuple(size for size in (1, 2) if size <= n and (size == 1 or pairs))


def fit_segment(X: FloatArray, y: FloatArray, prior: SegmentPrior, settings: Settings, days: int) -> Posterior:
    """Return the posterior of one segment: X (n, K), y (n,), ``days`` test days in all."""
    active = np.flatnonzero((X != 0.0).any(axis=0))
    X, mean, sigma = X[:, active], prior.mean[active], prior.grid.sigma
    sizes = set_sizes(len(y), days, settings)
    weights, soft = np.ones(len(y)), None
    if len(y) and not sizes:
        weights, soft = soft_weights(X, y, mean, prior.ratio[active], prior.typical, settings)
    solution = solve(X, y, weights, mean, prior.variance[:, active], sigma)
    rows = solution.covariance @ X.T
    shrink = 1.0 - settings.spoiled_width**-2
    odds = math.log(settings.spoiled_share / (1 - settings.spoiled_share)) - math.log(settings.spoiled_width)
    logs = [(prior.grid.log_prior + solution.log_evidence)[:, None]]
    parts = []
    for size in sizes:
        part, gain = _spoiled_sets(solution, X @ rows, y - solution.beta @ X.T, sigma, size, shrink)
        parts.append(part)
        logs.append(logs[0] + gain + size * odds)
    return Posterior(prior, active, X, solution, rows, tuple(parts), np.concatenate(logs, axis=1), soft, shrink)


def combine(posteriors: Sequence[Posterior], log_widening: FloatArray, links: Sequence[FloatArray] | None = None
            ) -> tuple[FloatArray, list[FloatArray]]:  # fmt: skip
    """Return Pr(κ | all segments) and each segment's weights (G, C).

    κ is one for all segments. ``links`` (S − 1) of shape (C, C of the next segment): log of how much more probable the
    sets of spoiled runs of two neighbouring segments are together than apart; summed over by passing forwards and
    backwards along the segments, per κ. None: segments have nothing to do with each other.
    """
    widenings = len(log_widening)
    joint = [part.log_joint.reshape(widenings, -1, part.log_joint.shape[1]) for part in posteriors]
    by_set = [_log_sum(part, 1) for part in joint]
    if links is None:
        links = [np.zeros((a.shape[1], b.shape[1])) for a, b in pairwise(by_set)]
    forward = [by_set[0]]
    for link, own in zip(links, by_set[1:], strict=True):
        forward.append(own + _log_sum(forward[-1][:, :, None] + link, 1))
    backward = [np.zeros_like(by_set[-1])]
    for link, later in zip(links[::-1], by_set[:0:-1], strict=True):
        backward.append(_log_sum(link[None] + (later + backward[-1])[:, None, :], 2))
    total = log_widening + _log_sum(forward[-1], 1)
    kappa = np.exp(total - total.max())
    kappa /= kappa.sum()
    weights = []
    for part, ahead, behind, own in zip(joint, forward, backward[::-1], by_set, strict=True):
        share = ahead + behind
        share = np.exp(share - share.max(axis=1, keepdims=True))
        share *= (kappa / share.sum(axis=1))[:, None]
        within = np.exp(part - own[:, None, :])
        weights.append((share[:, None, :] * within).reshape(-1, part.shape[2]))
    return kappa, weights


def _log_sum(values: FloatArray, axis: int) -> FloatArray:
    """Return log Σ exp along an axis, the maximum removed."""
    top = values.max(axis=axis, keepdims=True)
    result: FloatArray = (top + np.log(np.exp(values - top).sum(axis=axis, keepdims=True))).squeeze(axis)
    return result


def spill(before: Posterior, rows: IntArray, after: Posterior, rows_after: IntArray, settings: Settings) -> FloatArray:
    """Return the link of two neighbouring segments: what spoils a run there often spoils it here as well.

    ``rows`` and ``rows_after`` are the positions of the segments' runs among all. A run that only one of them has is
    no link, nor are segments with soft weights.
    """
    pi, stays = settings.spoiled_share, settings.spoiled_persistence
    both = pi * stays
    one, none = pi - both, 1.0 - 2.0 * pi + both
    # log P(here, there) / P(here) P(there), of a run: clean in both, in one, in none
    clean = math.log(none / (1.0 - pi) ** 2)
    mixed = math.log(one / (pi * (1.0 - pi))) - clean
    spoiled = math.log(both / pi**2) - clean
    shared = np.intersect1d(rows, rows_after)
    here, there = before.membership(rows, shared), after.membership(rows_after, shared)
    if before.soft is not None or after.soft is not None:
        return np.zeros((len(here), len(there)))
    together = here @ there.T
    apart = here.sum(axis=1)[:, None] + there.sum(axis=1)[None, :] - 2.0 * together
    link: FloatArray = together * spoiled + apart * mixed
    return link
