"""Same-setup, same-day spread of each increment: what the model says, and a plain figure a person can follow."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.constants import INCREMENTS_FT
from runlog.learning.mixture import chi_square_quantile

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from runlog.learning.car import CarFit
    from runlog.learning.design import Runs

    FloatArray = NDArray[np.float64]

MEASURED_FROM: Final = 5
"""with fewer runs of a segment its spread is assumed, not measured"""


@dataclass(frozen=True)
class Repeatability:
    """The spread of one increment [s]: posterior mean and 90 % interval of σ."""

    from_ft: int
    to_ft: int
    sd_s: float
    lo90_s: float
    hi90_s: float
    measured: bool
    """False: too few runs, so this is mostly what was assumed"""
    plain_sd_s: float | None
    """pooled sd of runs that share setup and day, spoiled ones and drift included; None without such repeats"""
    plain_lo90_s: float | None
    plain_hi90_s: float | None
    plain_degrees: int


def _interval(sigma: FloatArray, weights: FloatArray) -> tuple[float, float]:
    """Return the 5 and 95 % points of a spread known on a grid, interpolated in its logarithm."""
    points, place = np.unique(sigma, return_inverse=True)
    mass = np.bincount(place, weights=weights)
    low, high = np.interp([0.05, 0.95], np.cumsum(mass) - 0.5 * mass, np.log(points))
    return math.exp(low), math.exp(high)


def pooled_sd(times: FloatArray, runs: Runs) -> tuple[float, int]:
    """Return the pooled within-setup, within-day sd [s] of times (n,) and its degrees of freedom; (nan, 0) if none."""
    groups: dict[tuple[float, ...], list[float]] = {}
    for time, day, settings in zip(times, runs.day, runs.settings, strict=True):
        if np.isfinite(time):
            groups.setdefault((float(day), *settings.tolist()), []).append(float(time))
    degrees = sum(len(group) - 1 for group in groups.values())
    squares = sum(float(((np.array(group) - np.mean(group)) ** 2).sum()) for group in groups.values())
    return (math.sqrt(squares / degrees), degrees) if degrees else (math.nan, 0)


def make_repeatability(fit: CarFit) -> tuple[Repeatability, ...]:
    """Return the spread of every increment."""
    result = []
    for k, (start, end) in enumerate(INCREMENTS_FT):
        share = fit.weights[k].sum(axis=1)
        sigma = fit.posteriors[k].grid.sigma
        low, high = _interval(sigma, share)
        plain, degrees = pooled_sd(fit.runs.times[:, k], fit.runs)
        bounds = [
            plain * math.sqrt(degrees / chi_square_quantile(p, degrees)) if degrees else None for p in (0.95, 0.05)
        ]
        result.append(
            Repeatability(start, end, float(share @ sigma), low, high, len(fit.data[k].rows) >= MEASURED_FROM,
                          plain if degrees else None, bounds[0], bounds[1], degrees)
        )  # fmt: skip
    return tuple(result)
