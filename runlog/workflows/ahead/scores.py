"""How right forecasts were: coverage, probability integral transform and error. Pure.

The transform of an outcome, Φ((time − mean)/sd), is uniform when forecasts are right (Dawid 1984, *Statistical Theory:
the Prequential Approach*); its histogram tells how they are wrong: heaped at both ends, too sure; in the middle, too
careful; at one end, off to that side (Gneiting, Balabdaoui & Raftery 2007, *Probabilistic forecasts, calibration and
sharpness*).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Sequence

BINS: Final = 10
ENOUGH: Final = 10
"""outcomes below which nothing is said of how right forecasts are. Common practice, no source"""
_DOUBT: Final = 0.025
"""chance on each side below which a count is called more or fewer than claimed"""
_Z50: Final = 0.6744897501960817
_Z90: Final = 1.6448536269514722


@dataclass(frozen=True)
class Outcome:
    """A time [s] that was run, and the normal distribution that was foretold of it."""

    time: float
    mean: float
    sd: float

    @property
    def z(self) -> float:
        """Return the error in standard deviations, positive slower than foretold."""
        return (self.time - self.mean) / self.sd

    @property
    def pit(self) -> float:
        """Return the probability that had been given to a quicker time."""
        return 0.5 * math.erfc(-self.z / math.sqrt(2.0))


@dataclass(frozen=True)
class Score:
    """How right the forecasts of one distance were."""

    count: int
    inside50: int
    inside90: int
    mean_error: float
    """[s] positive slower than foretold"""
    rms_error: float
    """[s]"""
    histogram: tuple[int, ...]
    """outcomes with a transform in each tenth of 0…1"""
    words: tuple[str, ...]


def histogram(pits: Sequence[float]) -> tuple[int, ...]:
    """Return how many lie in each tenth of 0…1; each tenth holds its lower end, the last one both."""
    counts = [0] * BINS
    for pit in pits:
        counts[min(int(pit * BINS), BINS - 1)] += 1
    return tuple(counts)


def at_most(count: int, trials: int, chance: float) -> float:
    """Return P(X ≤ count) of a binomial quantity."""
    return math.fsum(
        math.comb(trials, k) * chance**k * (1.0 - chance) ** (trials - k) for k in range(min(count, trials) + 1)
    )


def score(outcomes: Sequence[Outcome]) -> Score:
    """Return how right these forecasts were; ValueError without any."""
    if not outcomes:
        raise ValueError("no outcome to score")
    n = len(outcomes)
    errors = [outcome.time - outcome.mean for outcome in outcomes]
    inside50, inside90 = (sum(abs(outcome.z) <= z for outcome in outcomes) for z in (_Z50, _Z90))
    mean = math.fsum(errors) / n
    return Score(
        count=n,
        inside50=inside50,
        inside90=inside90,
        mean_error=mean,
        rms_error=math.sqrt(math.fsum(error * error for error in errors) / n),
        histogram=histogram([outcome.pit for outcome in outcomes]),
        words=(_coverage(inside50, inside90, n), *_leaning(errors, mean)),
    )


def _coverage(inside50: int, inside90: int, n: int) -> str:
    """Say whether as many came inside the intervals as was claimed, by the binomial distribution."""
    if n < ENOUGH:
        return f"too few to judge: {ENOUGH} are needed"
    fewer = [at_most(inside, n, claim) < _DOUBT for inside, claim in ((inside50, 0.5), (inside90, 0.9))]
    more = [1.0 - at_most(inside - 1, n, claim) < _DOUBT for inside, claim in ((inside50, 0.5), (inside90, 0.9))]
    if any(fewer):
        return "fewer inside than claimed: the forecasts were too sure"
    if any(more):
        return "more inside than claimed: the forecasts were too careful"
    return "as many inside as claimed"


def _leaning(errors: Sequence[float], mean: float) -> tuple[str, ...]:
    """Say whether the errors lean to one side: their mean is two of its standard errors away from nothing."""
    n = len(errors)
    if n < ENOUGH:
        return ()
    spread = math.sqrt(math.fsum((error - mean) ** 2 for error in errors) / (n - 1))
    if abs(mean) <= 2.0 * spread / math.sqrt(n):
        return ()
    return (f"the runs were {'slower' if mean > 0 else 'quicker'} than foretold on average",)
