"""How the residuals of the increments of a run go together, and what that means for their sum.

The same design stands behind every increment, so estimates correlate as residuals do (Zellner 1962).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]

SHRINK_TO: Final = 0.3
SHRINK_RUNS: Final = 10.0
"""correlations between segments are drawn to ``SHRINK_TO`` as if by so many runs"""


def shrunk(correlation: FloatArray, runs: FloatArray) -> FloatArray:
    """Return correlations (S, S), each of so many runs (S, S), shrunk, and repaired where not positive definite."""
    R = (runs * correlation + SHRINK_RUNS * SHRINK_TO) / (runs + SHRINK_RUNS)
    np.fill_diagonal(R, 1.0)
    values, vectors = np.linalg.eigh(R)
    if values[0] < 0.05:
        R = (vectors * np.maximum(values, 0.05)) @ vectors.T
        scale = np.sqrt(np.diag(R))
        R = R / scale[:, None] / scale[None, :]
    return R


def sum_variance(correlation: FloatArray, sds: FloatArray) -> FloatArray:
    """Return the variance of the sum over the first segments, from their sds (number of segments, …)."""
    count = len(sds)
    result: FloatArray = np.einsum("k...,kl,l...->...", sds, correlation[:count, :count], sds)
    return result
