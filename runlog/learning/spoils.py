"""Runs that the car itself lost, setting by setting: spin, shake, wheelstand, a part that let go.

Such a run is a result of the setup and tells against its setting, though it has no time to be compared. Beta–binomial:
the rate of each setting has a Beta prior around the usual rate, and the counts make it sharper (Gelman et al.,
*Bayesian Data Analysis*, 3rd ed., § 2.4).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]
    BoolArray = NDArray[np.bool_]

USUAL: Final = (0.5, 6.5)
"""Beta prior of a setting's rate: one run in fourteen, held as lightly as seven runs. Common practice, no source"""
RISING: Final = 0.80
"""chance that a setting loses more runs than another above which nothing is claimed in its favour"""
_POINTS: Final = 4000


@dataclass(frozen=True)
class SpoilRate:
    """How often the car itself loses a run."""

    steps: float | None
    """the setting, in usual steps from the baseline; None: all settings together"""
    runs: int
    spoiled: int
    """of these runs, by the car's own doing"""
    rate: float
    """posterior mean"""
    lo90: float
    hi90: float


def _checked(prior: tuple[float, float]) -> tuple[float, float]:
    if not min(prior) >= 0.5:
        raise ValueError(f"both numbers of the Beta prior must be at least 0.5, not {prior}")
    return prior


def _beta(a: float, b: float) -> tuple[FloatArray, FloatArray]:
    """Return points x and their probabilities under Beta(a, b), a and b at least 0.5.

    Evenly spaced in θ with x = sin²θ, where the density sin^(2a−1)θ cos^(2b−1)θ is bounded.
    """
    theta = (np.arange(_POINTS) + 0.5) * (0.5 * np.pi / _POINTS)
    log = (2 * a - 1) * np.log(np.sin(theta)) + (2 * b - 1) * np.log(np.cos(theta))
    weights = np.exp(log - log.max())
    return np.sin(theta) ** 2, weights / weights.sum()


def spoil_rate(runs: int, spoiled: int, prior: tuple[float, float] = USUAL, steps: float | None = None) -> SpoilRate:
    """Return the rate told by so many lost runs of so many."""
    a, b = _checked(prior)
    x, weights = _beta(a + spoiled, b + runs - spoiled)
    low, high = np.interp([0.05, 0.95], np.cumsum(weights) - 0.5 * weights, x)
    return SpoilRate(steps, runs, spoiled, (a + spoiled) / (a + b + runs), float(low), float(high))


def spoil_rates(settings: FloatArray, car_caused: BoolArray, prior: tuple[float, float] = USUAL
                ) -> tuple[SpoilRate, ...]:  # fmt: skip
    """Return the rate at each setting of one adjustable that was run, from the lowest.

    ``settings`` (n,) in steps and ``car_caused`` (n,) of all runs, also those without times. Runs that the driver, the
    track or the timing spoiled count as runs that the car didn't lose.
    """
    return tuple(
        spoil_rate(int((settings == value).sum()), int(car_caused[settings == value].sum()), prior, float(value))
        for value in np.unique(settings)
    )


def prior_from(runs: int, spoiled: int) -> tuple[float, float]:
    """Return a prior of the usual strength around the rate that other cars' runs show; never below half a run lost."""
    a0, b0 = USUAL
    a = max((a0 + b0) * (a0 + spoiled) / (a0 + b0 + runs), 0.5)
    return a, max(a0 + b0 - a, 0.5)


def chance_higher(one: SpoilRate, other: SpoilRate, prior: tuple[float, float] = USUAL) -> float:
    """Return the probability that the first rate is higher than the second."""
    a, b = _checked(prior)
    _, here = _beta(a + one.spoiled, b + one.runs - one.spoiled)
    _, there = _beta(a + other.spoiled, b + other.runs - other.spoiled)
    return float(here @ (np.cumsum(there) - 0.5 * there))


@dataclass(frozen=True)
class HeldBack:
    """Why nothing is claimed in favour of a setting."""

    spoiled: int
    """runs that the car itself lost there"""
    runs: int
    """of so many"""
    why: str


def held_back(better: SpoilRate, other: SpoilRate, prior: tuple[float, float] = USUAL) -> HeldBack | None:
    """Return why nothing may be claimed in favour of a setting over another; None: nothing stands against it."""
    if not better.spoiled:
        return None
    chance = chance_higher(better, other, prior)
    if chance < RISING:
        return None
    why = (
        f"held back: the car itself lost {better.spoiled} of {better.runs} runs at the quicker setting, "
        f"{other.spoiled} of {other.runs} at the other; more often there with {100 * chance:.0f} % probability"
    )
    return HeldBack(better.spoiled, better.runs, why)
