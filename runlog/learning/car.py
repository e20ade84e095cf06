"""Everything that one car's runs say: the fit that effects, forecasts and plans are read from."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.constants import INCREMENTS_FT
from runlog.learning.correlation import shrunk, sum_variance
from runlog.learning.design import SEGMENTS, Layout, Lever, Runs, SegmentData, make_layout, segment_data
from runlog.learning.priors import Grid, Settings, correlated, log_widening_prior, segment_prior
from runlog.learning.regression import Posterior, combine, fit_segment, spill

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from runlog.learning.effects import Effect
    from runlog.learning.repeatability import Repeatability
    from runlog.learning.shared import Shared

    FloatArray = NDArray[np.float64]
    IntArray = NDArray[np.int_]

TOP_WEIGHT: Final = 0.02
"""weight of the top point of σ above which its grid is carried on"""
SUSPECT: Final = 0.5
"""probability of having been spoiled above which a run is named"""


@dataclass(frozen=True, eq=False)
class CarFit:
    """The posterior of one car. Arrays over segments have S entries, in the order of ``INCREMENTS_FT``."""

    runs: Runs
    layout: Layout
    settings: Settings
    data: tuple[SegmentData, ...]
    posteriors: tuple[Posterior, ...]
    weights: tuple[FloatArray, ...]
    """(G, C) each, summing to 1"""
    kappa_weights: FloatArray
    correlation: FloatArray
    """(S, S) of the residuals"""
    spoiled_probability: FloatArray
    """(n, S) that something spoiled a run there; nan where it has no time"""
    finish: int
    """number of segments to the finish"""

    @property
    def levers(self) -> tuple[Lever, ...]:
        """The adjustables, in the order of the settings."""
        return self.layout.levers

    @cached_property
    def effects(self) -> tuple[Effect, ...]:
        """Every lever on every increment and, last, on the elapsed time; lever by lever."""
        from runlog.learning.effects import make_effects

        return make_effects(self)

    @cached_property
    def repeatability(self) -> tuple[Repeatability, ...]:
        """Same-setup, same-day spread of each increment."""
        from runlog.learning.repeatability import make_repeatability

        return make_repeatability(self)

    @property
    def probability_priors_too_narrow(self) -> float:
        """Pr(κ > 1)."""
        return float(self.kappa_weights[1:].sum())

    @property
    def kappa_warning(self) -> bool:
        """Whether these data disagree with what was expected of the effects."""
        return self.probability_priors_too_narrow > 0.5

    @property
    def suspects(self) -> tuple[str, ...]:
        """Keys of the runs that were more probably spoiled than not, on any segment."""
        worst = np.where(np.isfinite(self.spoiled_probability), self.spoiled_probability, 0.0).max(axis=1, initial=0.0)
        return tuple(key for key, chance in zip(self.runs.keys, worst, strict=True) if chance > SUSPECT)

    @cached_property
    def sigma(self) -> FloatArray:
        """[s] posterior mean of σ of each segment."""
        return self._over_grid("sigma")

    @cached_property
    def day_to_day(self) -> FloatArray:
        """[s] posterior mean of the sd of a day's level, ω σ. Of one day alone: assumed."""
        return self._over_grid("omega", "sigma")

    @cached_property
    def drift(self) -> FloatArray:
        """[s/h] posterior mean of the sd of a day's drift, ψ σ."""
        return self._over_grid("psi", "sigma")

    def _over_grid(self, *names: str) -> FloatArray:
        means = []
        for posterior, weights in zip(self.posteriors, self.weights, strict=True):
            values = np.prod([getattr(posterior.grid, name) for name in names], axis=0)
            means.append(float(weights.sum(axis=1) @ values))
        return np.array(means)

    def typical_point(self, segment: int) -> Grid:
        """Return one grid point of a segment: κ = 1 and the posterior means of σ, ω σ and ψ σ."""
        one, sigma = np.ones(1), self.sigma[segment]
        omega, psi = self.day_to_day[segment] / sigma, self.drift[segment] / sigma
        return Grid(one, sigma * one, omega * one, psi * one, 0.0 * one, 1)

    def run_weights(self, segment: int) -> FloatArray:
        """Return the expected weight of each run (m,) of a segment: 1 clean, 1/64 spoiled."""
        posterior, rows = self.posteriors[segment], self.data[segment].rows
        result: FloatArray = 1.0 - posterior.shrink * self.spoiled_probability[rows, segment]
        return result

    def functionals(self, segment: int, T: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return the mixture of linear functionals T (F, K): weights (M,), means (M, F) and variances (M, F)."""
        means, variances = self.posteriors[segment].functionals(self.layout.mix(T, segment))
        return self.weights[segment].ravel(), means.reshape(-1, len(T)), variances.reshape(-1, len(T))

    def sum_variance(self, sds: FloatArray) -> FloatArray:
        """Return the variance of the sum over the first segments, from sds (number of segments, …)."""
        return sum_variance(self.correlation, sds)


def _finish(runs: Runs, settings: Settings) -> int:
    if settings.finish_ft is not None:
        ends = [end for _, end in INCREMENTS_FT]
        if settings.finish_ft not in ends:
            raise ValueError(f"the finish must be one of {ends} ft, not {settings.finish_ft}")
        return ends.index(settings.finish_ft) + 1
    reached = np.flatnonzero(np.isfinite(runs.times).any(axis=0))
    return int(reached[-1]) + 1 if len(reached) else SEGMENTS


def _correlation(layout: Layout, data: Sequence[SegmentData], posteriors: Sequence[Posterior],
                 weights: Sequence[FloatArray], spoiled: FloatArray) -> FloatArray:  # fmt: skip
    """Return the correlation (S, S) of the standardised residuals, shrunk, and repaired where not positive definite."""
    z = np.full(spoiled.shape, np.nan)
    for k, (segment, posterior, share) in enumerate(zip(data, posteriors, weights, strict=True)):
        if not len(segment.rows):
            continue
        fitted = layout.mix(segment.X, k) @ posterior.coefficients(share)
        chance = spoiled[segment.rows, k]
        # the scale cancels in a correlation
        z[segment.rows, k] = np.sqrt(1.0 - posterior.shrink * chance) * (segment.y - fitted)
    S = spoiled.shape[1]
    R, runs = np.eye(S), np.zeros((S, S))
    for k in range(S):
        for other in range(k):
            both = np.isfinite(z[:, k]) & np.isfinite(z[:, other])
            a, b = z[both, k], z[both, other]
            norm = float(np.sqrt((a @ a) * (b @ b)))
            R[k, other] = R[other, k] = float(a @ b) / norm if norm > 0 else 0.0
            runs[k, other] = runs[other, k] = both.sum()
    return shrunk(R, runs)


def _fit(layout: Layout, data: SegmentData, segment: int, settings: Settings, extended: bool) -> Posterior:
    prior = segment_prior(layout, segment, settings, extended)
    return fit_segment(layout.mix(data.X, segment), data.y, prior, settings, len(layout.days))


def _links(data: Sequence[SegmentData], posteriors: Sequence[Posterior], settings: Settings) -> list[FloatArray]:
    pairs = pairwise(zip(posteriors, data, strict=True))
    return [spill(a, of_a.rows, b, of_b.rows, settings) for (a, of_a), (b, of_b) in pairs]


def _sigma_reaches_top(posterior: Posterior, weights: FloatArray) -> bool:
    top = posterior.grid.sigma == posterior.grid.sigma.max()
    return bool(weights.sum(axis=1)[top].sum() > TOP_WEIGHT)


def fit_car(runs: Runs, levers: Sequence[Lever], settings: Settings | None = None, shared: Shared | None = None,
            correlation: FloatArray | None = None) -> CarFit:  # fmt: skip
    """Return the posterior of one car's effects, spreads and baseline. Any number of runs, also none; deterministic.

    ``shared``: the quantities that levers act through beside what is their own. ``correlation`` (S, E, E) of the prior
    of all effects, in the order levers, quantities, curvatures; None: independent, save through what is shared.
    """
    settings = settings or Settings()
    layout = make_layout(runs, levers, shared)
    if correlation is not None:
        layout = correlated(layout, correlation, settings)
    data = tuple(segment_data(layout, runs, k) for k in range(SEGMENTS))
    posteriors = [_fit(layout, segment, k, settings, False) for k, segment in enumerate(data)]
    log_kappa = log_widening_prior(settings)
    kappa, weights = combine(posteriors, log_kappa, _links(data, posteriors, settings))
    short = [k for k in range(SEGMENTS) if len(data[k].y) and _sigma_reaches_top(posteriors[k], weights[k])]
    if short:
        for k in short:
            posteriors[k] = _fit(layout, data[k], k, settings, True)
        kappa, weights = combine(posteriors, log_kappa, _links(data, posteriors, settings))
    spoiled = np.full(runs.times.shape, np.nan)
    for k, segment in enumerate(data):
        spoiled[segment.rows, k] = posteriors[k].spoiled_probability(weights[k])
    residual = _correlation(layout, data, posteriors, weights, spoiled)
    return CarFit(runs, layout, settings, data, tuple(posteriors), tuple(weights), kappa, residual, spoiled,
                  _finish(runs, settings))  # fmt: skip
