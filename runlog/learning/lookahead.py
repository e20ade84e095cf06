"""What runs that haven't been made yet would tell: the covariance of the effects doesn't need their outcomes.

V = (X'WX/σ² + diag 1/v)⁻¹ with the planned runs' rows appended, at one typical point of the grid for each segment. A
quadratic drift of the day is added to the model, so that designs which bracket a change are preferred.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.constants import INCREMENTS_FT
from runlog.learning.priors import prior_variance
from runlog.learning.regression import solve

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from runlog.learning.car import CarFit

    FloatArray = NDArray[np.float64]
    IntArray = NDArray[np.int_]

QUADRATIC_DRIFT: Final = 0.10
"""[1/h²] prior sd of the curvature of a day's drift, in units of σ"""


@dataclass(frozen=True, eq=False)
class _Segment:
    sigma: float
    covariance: FloatArray
    """(K + 3, K + 3) after the runs made so far; the last three columns: level, drift and its curvature on the day"""
    reference: FloatArray
    """(K,)"""


@dataclass(frozen=True, eq=False)
class Lookahead:
    """The model of one day's runs to come."""

    fit: CarFit
    day: int
    origin: float
    """[h] the drift of the day is counted from here"""
    air: FloatArray
    """(S,) [s] the air of the planned runs, as now"""
    segments: tuple[_Segment, ...]

    def variances(self, settings: FloatArray, hours: FloatArray, reach: IntArray) -> FloatArray:
        """Return the variances [s²] of one step of each lever, (B, S, P), after B sequences of q runs.

        settings (B, q, P) in steps, hours (B, q) of the day, reach (q,) or (B, q) number of segments that each run
        covers.
        """
        layout = self.fit.layout
        levers = layout.lever_row(settings)
        t = hours - self.origin
        result = np.empty((len(settings), len(INCREMENTS_FT), settings.shape[2]))
        count = settings.shape[2]
        step = np.zeros((count, layout.columns + 3))
        for p in range(count):
            step[p, : layout.columns] = layout.lever_functional(p, 0.0, 1.0)
        for k, segment in enumerate(self.segments):
            now = np.einsum("pk,kl,pl->p", step, segment.covariance, step)
            covered = np.broadcast_to(reach > k, settings.shape[:2])
            rows = np.flatnonzero(covered.any(axis=0))
            if not len(rows):
                result[:, k] = now
                continue
            x = np.zeros((*settings.shape[:2], len(segment.covariance)))
            x[..., 0] = 1.0
            if layout.air:
                x[..., layout.air_column] = self.air[k]
            x[..., layout.first_effect : layout.columns] = levers - segment.reference[layout.first_effect :]
            x[..., layout.columns] = 1.0
            x[..., layout.columns + 1] = t
            x[..., layout.columns + 2] = t * t
            # a run that doesn't get there tells nothing: a row of zeros
            x = (x * covered[..., None])[:, rows]
            spread = x @ segment.covariance
            inner = spread @ np.swapaxes(x, 1, 2) + segment.sigma**2 * np.eye(len(rows))
            told = spread @ step.T
            result[:, k] = now - (told * np.linalg.solve(inner, told)).sum(axis=1)
        return result


def make_lookahead(fit: CarFit, day: int, hour: float, air: FloatArray) -> Lookahead:
    """Return the model of the runs to come on a day, begun or not; ``hour`` is now."""
    layout = fit.layout
    begun = day in layout.days
    origin = layout.mean_hour[layout.days.index(day)] if begun else hour
    segments = []
    for k in range(len(INCREMENTS_FT)):
        data, grid = fit.data[k], fit.typical_point(k)
        sigma = float(grid.sigma[0])
        variance = prior_variance(layout, k, grid, fit.settings)
        omega, psi = float(grid.omega[0]), float(grid.psi[0])
        today = (fit.runs.day[data.rows] == day).astype(float)
        t = np.where(today > 0, fit.runs.hour[data.rows] - origin, 0.0)
        X = np.concatenate([data.X, np.stack([today, t, t * t], axis=1)], axis=1)
        if begun:
            # the day has columns of its own now, the last three
            place = layout.days.index(day)
            X[:, [1 + place, 1 + len(layout.days) + place]] = 0.0
        extra = np.array([[omega, psi, QUADRATIC_DRIFT]]) ** 2 * sigma**2
        X[:, : layout.columns] = layout.mix(X[:, : layout.columns], k)
        solution = solve(X, np.zeros(len(X)), fit.run_weights(k), np.zeros(X.shape[1]),
                         np.concatenate([variance, extra], axis=1), grid.sigma)  # fmt: skip
        back = np.eye(X.shape[1])
        back[: layout.columns, : layout.columns] = layout.mix(np.eye(layout.columns), k)
        segments.append(_Segment(sigma, back @ solution.covariance[0] @ back.T, data.reference))
    return Lookahead(fit, day, origin, air, tuple(segments))
