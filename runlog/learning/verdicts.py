"""Plain words for what the data say of a change, and how many more runs would probably settle it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from runlog.learning.mixture import normal_cdf_at, normal_quantile

HELPED: Final = "helped"
HURT: Final = "hurt"
NO_DIFFERENCE: Final = "no_difference"
CANNOT_TELL: Final = "cannot_tell"
CANNOT_SEPARATE: Final = "cannot_separate"
NOT_TRIED: Final = "not_tried"
CLAIMS: Final = (HELPED, HURT, NO_DIFFERENCE)
VERDICTS: Final = (HELPED, HURT, NO_DIFFERENCE, CANNOT_TELL, CANNOT_SEPARATE, NOT_TRIED)

SURE: Final = 0.95
"""probability of the sign that a claim needs"""
LIKELY_MATTERS: Final = 0.50
"""probability that the difference matters, which a claim needs as well"""
SURE_OF_NOTHING: Final = 0.80
"""probability that the difference doesn't matter, for saying so"""
SETTLES: Final = 0.50
"""chance of a verdict that makes further runs "probably enough": more likely than not"""

RUNS_AGREE: Final = 0.80
"""probability of the sign by the runs alone that a claim needs, so that none rests on what was expected beforehand"""

_Z_SURE: Final = normal_quantile(SURE)
_Z_NOTHING: Final = normal_quantile(SURE_OF_NOTHING)


@dataclass(frozen=True)
class Odds:
    """Probabilities of a change Δ [s] against the smallest difference that matters, δ."""

    helps: float
    """P(Δ < 0)"""
    helps_enough: float
    """P(Δ < −δ)"""
    hurts_enough: float
    """P(Δ > δ)"""

    @property
    def no_difference(self) -> float:
        """P(|Δ| < δ)."""
        return 1.0 - self.helps_enough - self.hurts_enough


def verdict(tried: bool, separable: bool, odds: Odds) -> str:
    """Return the verdict. The order matters: nothing is claimed from a prior alone, or of half of a pair."""
    if not tried:
        return NOT_TRIED
    if not separable:
        return CANNOT_SEPARATE
    if odds.helps >= SURE and odds.helps_enough >= LIKELY_MATTERS:
        return HELPED
    if 1.0 - odds.helps >= SURE and odds.hurts_enough >= LIKELY_MATTERS:
        return HURT
    if odds.no_difference >= SURE_OF_NOTHING:
        return NO_DIFFERENCE
    return CANNOT_TELL


def helps_by_runs_alone(mean: float, variance: float, prior_mean: float, prior_variance: float) -> float:
    """Return P(Δ < 0) with the prior taken out of a normal posterior [s, s²]; 0.5 where the runs tell nothing."""
    told = 1.0 / variance - 1.0 / prior_variance
    if told <= 0.0:
        return 0.5
    alone = (mean / variance - prior_mean / prior_variance) / told
    return normal_cdf_at(-alone * math.sqrt(told))


def without_support(word: str, by_runs: float) -> bool:
    """Tell whether "helped" or "hurt" is claimed though the runs alone don't point that way clearly enough."""
    return (word == HELPED and by_runs < RUNS_AGREE) or (word == HURT and 1.0 - by_runs < RUNS_AGREE)


def chance_of_claim(mean: float, variance: float, planned: float, smallest: float) -> float:
    """Return the chance of "helped" or "hurt" once the variance [s²] has come down to ``planned``.

    The posterior mean to come is N(mean, variance − planned), preposterior analysis (Chaloner & Verdinelli 1995).
    """
    spread = math.sqrt(max(variance - planned, 0.0))
    threshold = max(_Z_SURE * math.sqrt(planned), smallest)
    if spread == 0.0:
        return float(abs(mean) >= threshold)
    return normal_cdf_at((-threshold - mean) / spread) + normal_cdf_at((mean - threshold) / spread)


def _widest_nothing(sd: float, smallest: float) -> float:
    """Return the largest |mean| at which P(|Δ| < δ) still reaches ``SURE_OF_NOTHING``; negative: not even at 0."""

    def reached(mean: float) -> bool:
        inside = normal_cdf_at((smallest - mean) / sd) - normal_cdf_at((-smallest - mean) / sd)
        return inside >= SURE_OF_NOTHING

    if not reached(0.0):
        return -1.0
    low, high = 0.0, smallest
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if reached(middle) else (low, middle)
    return low


def chance_of_verdict(mean: float, variance: float, planned: float, smallest: float) -> float:
    """Return the chance that the verdict will be "helped", "hurt" or "no difference that matters"."""
    claim = chance_of_claim(mean, variance, planned, smallest)
    limit = _widest_nothing(math.sqrt(planned), smallest)
    spread = math.sqrt(max(variance - planned, 0.0))
    if limit < 0.0:
        return claim
    if spread == 0.0:
        return max(claim, float(abs(mean) <= limit))
    return claim + normal_cdf_at((limit - mean) / spread) - normal_cdf_at((-limit - mean) / spread)


def runs_needed(mean: float, variance: float, repeatability: float, smallest: float) -> int:
    """Return how many further runs, there and back in equal numbers, would probably settle a change.

    m such runs with repeatability σ [s] and the day's level unknown tell the change with variance 4 σ²/m; drift cancels
    in there-and-back order. Searched in even numbers to 200, the largest answer.
    """
    for runs in range(2, 200, 2):
        planned = 1.0 / (1.0 / variance + runs / (4.0 * repeatability**2))
        if chance_of_verdict(mean, variance, planned, smallest) >= SETTLES:
            return runs
    return 200
