"""Which setting to leave the day with: the best known of those that were run, and how likely it is the best.

Before the planned runs are made, their outcomes are averaged over: the posterior mean to come is normal about the mean
of now, preposterior analysis (Chaloner & Verdinelli 1995). By quadrature, without random numbers.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.learning.joining import posterior_of
from runlog.learning.mixture import normal_quantile

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from runlog.learning.car import CarFit

    FloatArray = NDArray[np.float64]

_POINTS: Final = 21
"""of equal probability in each of two directions: an effect and a curvature"""


@dataclass(frozen=True)
class Leave:
    """The setting of an adjustable to leave with, in usual steps from the baseline."""

    adjustable: str
    level: float
    chance_now: float
    """that it is the quickest of ``among``, by what is known now"""
    chance_after: float
    """the same of what will look quickest, expected once the planned runs are made"""
    among: tuple[float, ...]
    """the settings that have been run or will be"""


def leaving(fit: CarFit, lever: int, now: float, levels: Sequence[float], left_over: float) -> Leave | None:
    """Return what to leave a lever at, of ``levels`` and the one it has ``now``; None where there is no choice.

    ``left_over``: the share 0…1 of its effect's variance that the planned runs leave. Of equals the one it has now.
    """
    among = tuple(sorted({round(float(level), 9) for level in (*levels, now)}))
    if len(among) < 2:
        return None
    mean, covariance = _elapsed(fit, lever, now, among)
    best = min(range(len(among)), key=lambda n: (round(float(mean[n]), 7), abs(among[n] - now)))
    spread = _spread(covariance)
    to_come = mean + np.sqrt(max(1.0 - left_over, 0.0)) * spread
    # (N, L) how likely each is the quickest, for each posterior mean that may come; their mean is the chance of now
    looks = _winners(to_come[:, None, :] + np.sqrt(left_over) * spread)
    today, after = float(looks[:, best].mean()), float(looks.max(axis=-1).mean())
    return Leave(fit.levers[lever].name, among[best], today, after, among)


def _elapsed(fit: CarFit, lever: int, now: float, levels: Sequence[float]) -> tuple[FloatArray, FloatArray]:
    """Return mean (L,) [s] and covariance (L, L) of moving a lever from now to each level, on the elapsed time."""
    rows = np.array([fit.layout.lever_functional(lever, now, level) for level in levels])
    belief = posterior_of(fit, np.repeat(rows[:, None], fit.finish, axis=1))
    return belief.mean.sum(axis=1), belief.covariance.sum(axis=(1, 3))


def _spread(covariance: FloatArray) -> FloatArray:
    """Return (N, L) deviations of equal probability, for a normal with this covariance of rank two or less."""
    values, vectors = np.linalg.eigh(covariance)
    roots = vectors[:, -2:] * np.sqrt(np.maximum(values[-2:], 0.0))
    z = np.array([normal_quantile((n + 0.5) / _POINTS) for n in range(_POINTS)])
    z = z / np.sqrt(np.mean(z * z))
    first, second = (part.ravel() for part in np.meshgrid(z, z, indexing="ij"))
    result: FloatArray = np.stack([first, second], axis=1)[:, : roots.shape[1]] @ roots[:, ::-1].T
    return result


def _winners(times: FloatArray) -> FloatArray:
    """Return the share (…, L) of the cases (…, N, L) in which each level is the quickest; equals share a case."""
    least = np.abs(times - times.min(axis=-1, keepdims=True)) < 1e-12
    result: FloatArray = (least / least.sum(axis=-1, keepdims=True)).mean(axis=-2)
    return result
