"""What is assumed before any run: the one table of defaults, and the priors that are made from it.

Widths are in units of the typical repeatability of an increment unless a unit is given. "Common practice" means: common
practice of the trade, no source; a shop's own figures replace it through ``Settings`` or through the car file.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from runlog import catalogue
from runlog.constants import INCREMENTS_FT
from runlog.learning.design import SEGMENTS, Lever
from runlog.learning.spoils import USUAL

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from runlog.learning.design import Layout
    from runlog.records import Adjustable

    FloatArray = NDArray[np.float64]

EFFECT_WIDTHS: Final[dict[str, tuple[float, ...]]] = {
    catalogue.LAUNCH: (1.0, 0.5, 0.3, 0.2, 0.1),
    catalogue.EARLY: (0.7, 0.7, 0.3, 0.2, 0.2),
    catalogue.POWER: (0.3, 0.7, 0.7, 0.7, 0.7),
}
"""Prior sd of one usual step on each increment, by where the adjustable acts. Common practice."""


ANTI_SQUAT_STEP: Final = 20.0
"""[%] of anti-squat that a usual step of a link hole makes. Common practice"""


@dataclass(frozen=True)
class Settings:
    """Every default of the learning, each of which a shop may set."""

    repeatability: tuple[float, ...] = (0.012, 0.010, 0.008, 0.008, 0.008)
    """[s] typical same-setup, same-day sd of each increment, σ0. Common practice"""
    smallest_difference: tuple[float, ...] = (0.006, 0.005, 0.004, 0.004, 0.004)
    """[s] smallest difference that matters on each increment, δ. The crew's choice"""
    smallest_elapsed: float = 0.010
    """[s] the same for the elapsed time"""
    repeatability_log_sd: float = 0.35
    """sd of log(σ/σ0)"""
    repeatability_range: tuple[float, float, int] = (0.5, 2.2, 9)
    """σ/σ0: lowest, highest and number of grid points, evenly spaced in the logarithm"""
    repeatability_reach: float = 4.0
    """the grid is carried on at the same spacing past this when its top point carries weight"""
    day_levels: tuple[float, ...] = (0.20, 0.45, 0.75, 1.10, 1.70)
    """ω: sd of a day's level in units of σ, half-normal(``day_scale``)"""
    day_scale: float = 1.0
    day_level_of_one_day: float = 0.75
    """one day alone can't tell its level from the car's baseline"""
    drift_rates: tuple[float, ...] = (0.06, 0.20, 0.45)
    """ψ: [1/h] sd of a day's drift in units of σ, half-normal(``drift_scale``)"""
    drift_scale: float = 0.3
    typical_drift: float = 0.22
    """ψ where a single value has to do: soft weights and plans"""
    widenings: tuple[float, ...] = (1.0, 1.7, 2.9)
    """κ: by how much the priors of the effects may be too narrow, one for all increments"""
    widening_weights: tuple[float, ...] = (0.70, 0.22, 0.08)
    baseline_width: float = 50.0
    """prior sd of the car's baseline around the median of its runs"""
    air_sd: float = 0.20
    """prior sd of the factor on the shift that the car's model predicts for the air; its mean is 1"""
    nuisance_width: float = 0.5
    """prior sd of lane, driver and the like"""
    curvature_share: float = 0.25
    """prior sd of a curvature as a share of the sd of its effect"""
    own_share: float = 0.8
    """of an adjustable that acts through a shared quantity: prior sd of what is its own, as a share of the whole. On
    simulated cars, errors were 10 to 18 % smaller where the geometry was three quarters or all of what holes do, and 1
    % larger where it was nothing of it; at 0.5, 17 to 28 % smaller and 9 % larger, with intervals that covered 81 %"""
    spoiled_share: float = 0.07
    """π: share of runs that something spoiled unseen. Errs on the safe side: 0.02 and 0.04 differ little"""
    spoiled_persistence: float = 0.3
    """chance that what spoiled a run in one increment spoils it in the next too; ``spoiled_share``: no link. Used where
    every possibility is summed. On 4,000 simulated first days on which troubles carry on, errors were 5 % smaller and
    33 of 176 claims had the wrong sign (46 of 189 without it); on 2,000 others errors were the same within 0.1 %"""
    spoiled_width: float = 8.0
    """sd of a spoiled run in units of σ"""
    exact_runs: int = 10
    """up to so many runs of an increment, every possibility of one spoiled run is summed; beyond, soft weights"""
    pair_runs: int = 8
    """up to so many runs of one day, pairs of spoiled runs are summed too"""
    spoil_prior: tuple[float, float] = USUAL
    """Beta prior of the share of runs that the car itself loses at a setting"""
    variance_strength: float = 4.0
    """a0 of the inverse-gamma prior of σ² behind the soft weights"""
    finish_ft: int | None = None
    """[ft] where elapsed time is taken; None: the furthest distance that any run reached"""
    quick: bool = False
    """one value each of κ and ψ, and soft weights instead of the sum over spoiled runs: for forecasts of many runs. On
    240 simulated cars the forecast's mean moved by 4 to 8 % of its sd (median; a tenth of them by more than 19 to 26 %)
    and its 90 % intervals covered 90 %, in 0.4 to 0.6 of the time"""


@dataclass(frozen=True, eq=False)
class Grid:
    """Points h = (κ, σ, ω, ψ), G of them, κ varying slowest; ``sigma`` in seconds."""

    kappa: FloatArray
    sigma: FloatArray
    omega: FloatArray
    psi: FloatArray
    log_prior: FloatArray
    """(G,) of (σ, ω, ψ), normalised within each κ"""
    widenings: int
    """number of different κ"""


def _log_density(z: FloatArray) -> FloatArray:
    """Return log weights of points in proportion to the normal density at z, normalised."""
    density = -0.5 * z * z
    result: FloatArray = density - math.log(float(np.exp(density).sum()))
    return result


def make_grid(settings: Settings, repeatability: float, days: int, extended: bool = False) -> Grid:
    """Return the grid of one increment: typical ``repeatability`` σ0 [s], number of test days.

    Prior weights are the densities at the points, normalised; σ by its density in log σ, as its points are even there.
    """
    low, high, count = settings.repeatability_range
    spacing = math.log(high / low) / max(count - 1, 1)
    if extended and spacing > 0:
        count += math.ceil(math.log(settings.repeatability_reach / high) / spacing)
    log_sigma = np.array([math.log(low) + spacing * step for step in range(count)])
    several = days > 1
    omega = np.array(settings.day_levels if several else (settings.day_level_of_one_day,))
    psi = np.array(settings.drift_rates)
    kappa = np.array(settings.widenings)
    if settings.quick:
        kappa = kappa[:1]
        psi = psi[len(psi) // 2 : len(psi) // 2 + 1]
    by_sigma = _log_density(log_sigma / settings.repeatability_log_sd)[:, None, None]
    by_omega = _log_density(omega / settings.day_scale)[:, None]
    log_prior = by_sigma + by_omega + _log_density(psi / settings.drift_scale)
    kappas, sigmas, omegas, psis = (
        axis.ravel() for axis in np.meshgrid(kappa, repeatability * np.exp(log_sigma), omega, psi, indexing="ij")
    )
    return Grid(kappas, sigmas, omegas, psis, np.tile(log_prior.ravel(), len(kappa)), len(kappa))


def log_widening_prior(settings: Settings) -> FloatArray:
    """Return the log prior weights of κ."""
    weights = np.array(settings.widening_weights[:1] if settings.quick else settings.widening_weights)
    result: FloatArray = np.log(weights / weights.sum())
    return result


def _typical_point(settings: Settings, repeatability: float) -> Grid:
    """Return the one point at which soft weights are found: κ = 1, σ = σ0, middling ω and ψ."""
    one = np.ones(1)
    omega, psi = settings.day_level_of_one_day, settings.typical_drift
    return Grid(one, repeatability * one, omega * one, psi * one, 0.0 * one, 1)


@dataclass(frozen=True, eq=False)
class SegmentPrior:
    """The prior of one segment at the points of its grid."""

    grid: Grid
    typical: float
    """σ0 [s]"""
    mean: FloatArray
    """(K,)"""
    variance: FloatArray
    """(G, K)"""
    ratio: FloatArray
    """(K,) variances in units of σ0² at a typical point"""


def prior_variance(layout: Layout, segment: int, grid: Grid, settings: Settings) -> FloatArray:
    """Return the prior variances (G, K) at the points of a grid."""
    typical = settings.repeatability[segment]
    days = len(layout.days)
    variance = np.zeros((len(grid.sigma), layout.columns))
    variance[:, 0] = (settings.baseline_width * typical) ** 2
    variance[:, 1 : 1 + days] = ((grid.omega * grid.sigma) ** 2)[:, None]
    variance[:, 1 + days : 1 + 2 * days] = ((grid.psi * grid.sigma) ** 2)[:, None]
    if layout.air:
        variance[:, 1 + 2 * days] = settings.air_sd**2
    variance[:, 1 + 2 * days + layout.air : layout.first_effect] = (settings.nuisance_width * typical) ** 2
    sds = term_sds(layout, segment, settings)
    variance[:, layout.first_effect :] = (grid.kappa[:, None] * sds[None, :]) ** 2
    return variance


def term_sds(layout: Layout, segment: int, settings: Settings) -> FloatArray:
    """Return the prior sds (E,) [s] of the terms' effects and curvatures."""
    sds = [float(term.sd[segment]) for term in layout.terms]
    for term in (layout.terms[p] for p in layout.curved):
        own = term.curvature_sd
        sds.append(settings.curvature_share * float(term.sd[segment]) if own is None else float(own[segment]))
    return np.array(sds, dtype=float)


def correlated(layout: Layout, correlation: FloatArray, settings: Settings) -> Layout:
    """Return the layout with terms whose effects (and curvatures) are correlated beforehand, (S, E, E).

    With D the prior sds and R = LL' the correlations, the coefficients are D L D⁻¹ z, and z has the sds D: what is said
    of prior variances holds for z.
    """
    E = layout.columns - layout.first_effect
    if correlation.shape != (SEGMENTS, E, E):
        raise ValueError(f"prior correlations have shape {correlation.shape}, {(SEGMENTS, E, E)} is needed")
    sds = np.array([term_sds(layout, k, settings) for k in range(SEGMENTS)]).reshape(SEGMENTS, E)
    return replace(layout, mixing=np.linalg.cholesky(correlation) * sds[:, :, None] / sds[:, None, :])


def prior_mean(layout: Layout, segment: int) -> FloatArray:
    """Return the prior means (K,) [s] of the coefficients that are independent beforehand (``Layout.mix``)."""
    mean = np.zeros(layout.columns)
    means = [float(term.mean[segment]) for term in layout.terms]
    for own in (layout.terms[p].curvature_mean for p in layout.curved):
        means.append(0.0 if own is None else float(own[segment]))
    mean[layout.first_effect :] = means
    if layout.mixing is not None:
        mean[layout.first_effect :] = np.linalg.solve(layout.mixing[segment], mean[layout.first_effect :])
    return mean


def typical_ratio(layout: Layout, segment: int, settings: Settings) -> FloatArray:
    """Return the prior variances (K,) at one typical point of the grid, in units of σ0²."""
    typical = settings.repeatability[segment]
    ratio: FloatArray = prior_variance(layout, segment, _typical_point(settings, typical), settings)[0] / typical**2
    return ratio


def segment_prior(layout: Layout, segment: int, settings: Settings, extended: bool = False) -> SegmentPrior:
    """Return the prior of one segment; ``extended``: with σ reaching further up."""
    typical = settings.repeatability[segment]
    grid = make_grid(settings, typical, len(layout.days), extended)
    mean = prior_mean(layout, segment)
    ratio = typical_ratio(layout, segment, settings)
    return SegmentPrior(grid, typical, mean, prior_variance(layout, segment, grid, settings), ratio)


def default_lever(adjustable: Adjustable, settings: Settings | None = None) -> Lever:
    """Return the lever of an adjustable: widths by where it acts, where the car file doesn't speak of an increment."""
    settings = settings or Settings()
    mean = np.zeros(len(INCREMENTS_FT))
    sd = np.array(EFFECT_WIDTHS[adjustable.acts]) * np.array(settings.repeatability)
    known = len(adjustable.prior_sd_s)
    mean[:known] = adjustable.prior_mean_s[:known]
    sd[:known] = adjustable.prior_sd_s
    origin = "car file" if known else "default"
    lever = Lever(adjustable.name, adjustable.step, adjustable.unit, mean, sd, adjustable.curved, origin)
    bends = len(adjustable.prior_curvature_sd_s)
    if not bends:
        return lever
    curvature_mean, curvature_sd = np.zeros(len(INCREMENTS_FT)), settings.curvature_share * sd
    curvature_mean[:bends] = adjustable.prior_curvature_mean_s
    curvature_sd[:bends] = adjustable.prior_curvature_sd_s
    return replace(lever, curvature_mean=curvature_mean, curvature_sd=curvature_sd, origin="car file")


def anti_squat_term(settings: Settings | None = None) -> Lever:
    """Return anti-squat as a quantity that link holes share: a usual step is as wide as that of a hole, less its own.

    A hole whose step makes the usual difference then has the same prior sd in all as any adjustable of the launch.
    """
    settings = settings or Settings()
    shared = math.sqrt(1.0 - settings.own_share**2)
    sd = shared * np.array(EFFECT_WIDTHS[catalogue.LAUNCH]) * np.array(settings.repeatability)
    return Lever("anti-squat", ANTI_SQUAT_STEP, "%", np.zeros(len(INCREMENTS_FT)), sd)
