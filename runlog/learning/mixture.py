"""Normal distribution and finite mixtures of normals, with numpy alone: a statistics library is slow to import."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]

_P: Final = 0.2316419
_B: Final = (0.319381530, -0.356563782, 1.781477937, -1.821255978, 1.330274429)
_ROOT: Final = 1.0 / math.sqrt(2.0 * math.pi)

THINNED: Final = 400
"""components that a quantile is found from when a mixture has more"""

_HALVINGS: Final = 24


def normal_cdf(z: FloatArray) -> FloatArray:
    """Return Φ(z), any shape.

    Absolute error below 7.5e-8. Abramowitz & Stegun (1964) 26.2.17.
    """
    size = np.abs(z)
    t = 1.0 / (1.0 + _P * size)
    b1, b2, b3, b4, b5 = _B
    tail = _ROOT * np.exp(-0.5 * size * size) * t * (b1 + t * (b2 + t * (b3 + t * (b4 + t * b5))))
    result: FloatArray = np.where(z < 0, tail, 1.0 - tail)
    return result


def normal_cdf_at(z: float) -> float:
    """Return Φ(z) of one number, to rounding."""
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def normal_quantile(probability: float) -> float:
    """Return z with Φ(z) = probability, to 1e-12; ValueError unless 0 < probability < 1."""
    if not 0.0 < probability < 1.0:
        raise ValueError(f"a probability between 0 and 1 is needed, not {probability!r}")
    low, high = -40.0, 40.0
    while high - low > 1e-12:
        middle = 0.5 * (low + high)
        if normal_cdf_at(middle) < probability:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def moments(weights: FloatArray, means: FloatArray, variances: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return mean and variance of F mixtures: weights (M,) that sum to 1, means and variances (M, F)."""
    mean = weights @ means
    return mean, weights @ variances + weights @ (means - mean) ** 2


def probability_below(weights: FloatArray, means: FloatArray, sds: FloatArray, limit: FloatArray | float) -> FloatArray:
    """Return P(value < limit) of F mixtures; ``limit`` one number or (F,). Every component counts."""
    result: FloatArray = weights @ normal_cdf((limit - means) / sds)
    return result


def _thin(weights: FloatArray, means: FloatArray, sds: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return (THINNED, F) means and sds of equal weight that stand for each mixture."""
    order = np.argsort(means, axis=0, kind="stable")
    levels = (np.arange(THINNED) + 0.5) / THINNED
    picked = np.empty((THINNED, means.shape[1]), dtype=np.intp)
    for column in range(means.shape[1]):
        cumulative = np.cumsum(weights[order[:, column]])
        place = np.searchsorted(cumulative, levels * cumulative[-1])
        picked[:, column] = order[np.minimum(place, len(weights) - 1), column]
    return np.take_along_axis(means, picked, axis=0), np.take_along_axis(sds, picked, axis=0)


def quantiles(weights: FloatArray, means: FloatArray, sds: FloatArray, probabilities: Sequence[float]) -> FloatArray:
    """Return the quantiles of F mixtures of M normals, shape (len(probabilities), F), by bisection.

    A mixture of more than ``THINNED`` components is first thinned to that many of equal weight, taken at even steps of
    cumulative weight after sorting by mean; cutting it to its heaviest components would lose much of the weight.
    """
    if len(weights) > THINNED:
        means, sds = _thin(weights, means, sds)
        weights = np.full(THINNED, 1.0 / THINNED)
    # the quantile of a mixture lies between the least and the greatest of its components' own
    own = [means + normal_quantile(probability) * sds for probability in probabilities]
    low, high = (np.array([edge(part, axis=0) for part in own]) for edge in (np.min, np.max))
    wanted = np.asarray(probabilities)[:, None]
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        reached = np.einsum("m,qmf->qf", weights, normal_cdf((middle[:, None, :] - means) / sds))
        low = np.where(reached < wanted, middle, low)
        high = np.where(reached < wanted, high, middle)
    result: FloatArray = 0.5 * (low + high)
    return result


def chi_square_cdf(x: float, degrees: int) -> float:
    """Return P(χ² < x) by the series of the lower incomplete gamma function, Abramowitz & Stegun (1964) 6.5.29."""
    if x <= 0.0:
        return 0.0
    a, half = 0.5 * degrees, 0.5 * x
    term = total = 1.0 / a
    k = a
    while term > 1e-16 * total:
        k += 1.0
        term *= half / k
        total += term
    return total * math.exp(a * math.log(half) - half - math.lgamma(a))


def chi_square_quantile(probability: float, degrees: int) -> float:
    """Return x with P(χ² < x) = probability, to 1e-10 of itself; up to some hundred degrees of freedom."""
    low, high = 0.0, degrees + 10.0 * math.sqrt(2.0 * degrees) + 20.0
    for _ in range(80):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if chi_square_cdf(middle, degrees) < probability else (low, middle)
    return 0.5 * (low + high)
