"""What the next run will show, if nothing spoils it: splits with their spread, and the dial-in for a risk."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.constants import INCREMENTS_FT
from runlog.learning.design import Runs
from runlog.learning.mixture import moments, normal_cdf_at, normal_quantile, quantiles

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from runlog.learning.car import CarFit

    FloatArray = NDArray[np.float64]

_SPOILED_PRIOR: Final = (2.0, 26.0)
"""Beta prior of the share of spoiled runs: one in fourteen, as if seen in 28 runs. Common practice, no source"""
_Z90: Final = normal_quantile(0.95)


@dataclass(frozen=True)
class Predicted:
    """A predicted time [s] with its standard deviation and 90 % interval; nan where no run has told a baseline."""

    from_ft: int
    to_ft: int
    mean_s: float
    sd_s: float
    lo90_s: float
    hi90_s: float


@dataclass(frozen=True)
class Forecast:
    """The predictive distribution of a clean run."""

    increments: tuple[Predicted, ...]
    splits: tuple[Predicted, ...]
    """from the start beam to each distance"""
    finish_ft: int
    chance_spoiled: float
    """that the run isn't clean, by the car's own count"""

    def _split(self, distance_ft: int | None) -> Predicted:
        wanted = self.finish_ft if distance_ft is None else distance_ft
        for split in self.splits:
            if split.to_ft == wanted:
                return split
        raise ValueError(f"no split at {wanted} ft; there are {', '.join(str(s.to_ft) for s in self.splits)}")

    def chance_under(self, time: float, distance_ft: int | None = None) -> float:
        """Return the probability that a clean run is quicker than ``time`` [s] to a distance, else to the finish."""
        split = self._split(distance_ft)
        return normal_cdf_at((time - split.mean_s) / split.sd_s)

    def dial(self, risk: float, distance_ft: int | None = None) -> float:
        """Return the time [s] that a clean run is quicker than with probability ``risk``."""
        split = self._split(distance_ft)
        return split.mean_s + normal_quantile(risk) * split.sd_s


def chance_spoiled(spoiled: int, runs: int) -> float:
    """Return the chance that the next run isn't clean, of a car that lost so many of so many runs."""
    a, b = _SPOILED_PRIOR
    return (a + spoiled) / (a + b + runs)


def _run(fit: CarFit, settings: FloatArray, when: tuple[int, float], air: FloatArray,
         nuisances: Mapping[str, float]) -> Runs:  # fmt: skip
    """Return the run to come as runs of the fit's own kind; unknown nuisances are 0, as where they weren't recorded."""
    day, hour = when
    return Runs(
        keys=("next",),
        times=np.full((1, len(INCREMENTS_FT)), np.nan),
        day=np.array([day]),
        hour=np.array([hour]),
        settings=settings[None, :],
        air_shift=air[None, :] if fit.layout.air else None,
        spoiled=np.zeros(1, dtype=bool),
        nuisances={name: np.array([float(nuisances.get(name, 0.0))]) for name in fit.layout.nuisances},
    )


def expected_air(fit: CarFit, day: int, given: FloatArray | None) -> FloatArray:
    """Return the air shift (S,) of the run to come; not given: that of the day's runs, else of all runs."""
    known = fit.runs.air_shift
    if known is None:
        return np.zeros(len(INCREMENTS_FT))
    fallback = np.zeros(len(INCREMENTS_FT))
    for rows in (np.ones(len(known), dtype=bool), fit.runs.day == day):
        column = known[rows]
        count = np.isfinite(column).sum(axis=0)
        total = np.where(np.isfinite(column), column, 0.0).sum(axis=0)
        fallback = np.where(count > 0, total / np.maximum(count, 1), fallback)
    return fallback if given is None else np.where(np.isfinite(given), given, fallback)


def forecast(fit: CarFit, settings: FloatArray, day: int, hour: float, air_shift: FloatArray | None = None,
             nuisances: Mapping[str, float] | None = None) -> Forecast:  # fmt: skip
    """Return the forecast of a clean run.

    ``settings`` (P,) in usual steps from the baseline; ``day`` as in the fit's runs, or any other number for a day that
    hasn't begun, whose level is then unknown; ``hour`` on that day's clock; ``air_shift`` (S,) [s] as in the runs. The
    splits are normal, with increments that correlate as residuals do.
    """
    if settings.shape != (len(fit.levers),):
        raise ValueError(f"settings of shape {settings.shape} for {len(fit.levers)} adjustables")
    air = expected_air(fit, day, air_shift)
    run = _run(fit, settings, (day, hour), air, nuisances or {})
    begun = day in fit.layout.days
    increments = []
    for k, (start, end) in enumerate(INCREMENTS_FT):
        data = fit.data[k]
        if not len(data.rows):
            increments.append(Predicted(start, end, *[math.nan] * 4))
            continue
        weights, means, variances = fit.functionals(k, fit.layout.rows(run, k) - data.reference)
        grid = fit.posteriors[k].grid
        noise = grid.sigma**2 * (1.0 if begun else 1.0 + grid.omega**2)
        sets = len(means) // len(noise)
        variances = variances + np.repeat(noise, sets)[:, None]
        mean, variance = moments(weights, means, variances)
        low, high = quantiles(weights, means, np.sqrt(variances), (0.05, 0.95))[:, 0]
        base = data.centre + float(air[k])
        increments.append(
            Predicted(start, end, base + float(mean[0]), math.sqrt(variance[0]), base + float(low), base + float(high))
        )
    chance = chance_spoiled(int(fit.runs.spoiled.sum()), len(fit.runs.spoiled))
    finish_ft = INCREMENTS_FT[fit.finish - 1][1]
    return Forecast(tuple(increments), _splits(fit, increments), finish_ft, chance)


def _splits(fit: CarFit, increments: list[Predicted]) -> tuple[Predicted, ...]:
    means = np.cumsum([part.mean_s for part in increments])
    sds = np.array([part.sd_s for part in increments])
    splits = [increments[0]]
    for k in range(1, len(increments)):
        mean, sd = float(means[k]), math.sqrt(float(fit.sum_variance(sds[: k + 1])))
        splits.append(Predicted(0, increments[k].to_ft, mean, sd, mean - _Z90 * sd, mean + _Z90 * sd))
    return tuple(splits)
