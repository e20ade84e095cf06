"""Which effects the runs can't tell apart, and how much of an effect the day and its drift take."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]
    BoolArray = NDArray[np.bool_]

COSINE: Final = 0.95
"""two effects whose information is this parallel are not told apart"""
LOSS: Final = 0.80
"""share of its information that an effect may lose to the others, if ``ENOUGH`` would be there without them"""
ENOUGH: Final = 1.0
"""information in units of the prior's own"""
DAY_LOSS: Final = 0.80
"""share of its information that an effect may lose to the day and its drift"""


@dataclass(frozen=True, eq=False)
class Aliasing:
    """What P levers lose to each other in one segment."""

    moved: BoolArray
    """(P,) took more than one setting among the segment's runs"""
    cosine: FloatArray
    """(P, P) of the information on two effects; 0 where either didn't move"""
    loss: FloatArray
    """(P,) share of an effect's information lost to the other levers that moved"""
    information: FloatArray
    """(P,) on each effect were the others known, in units of the prior's"""
    day_loss: FloatArray
    """(P,) share lost to days, drift, air and other nuisances"""
    slope: FloatArray
    """(P, P) steps of lever q that went with one step of lever p"""

    def partners(self, lever: int) -> tuple[int, ...]:
        """Return the levers that this one can't be separated from, most parallel first; empty: it can be."""
        size = np.abs(self.cosine[lever]).copy()
        size[lever] = 0.0
        order = np.argsort(-size, kind="stable")
        parallel = tuple(int(q) for q in order if size[q] >= COSINE)
        if parallel or not self.moved[lever]:
            return parallel
        if self.loss[lever] > LOSS and self.information[lever] > ENOUGH and size[order[0]] > 0:
            return (int(order[0]),)
        return ()

    def swallowed_by_day(self, lever: int) -> bool:
        """Return whether the day takes most of what could be known: changed once and left."""
        return bool(self.moved[lever] and self.day_loss[lever] > DAY_LOSS)


def _information(X: FloatArray, Z: FloatArray, weights: FloatArray, penalty: FloatArray) -> FloatArray:
    """Return X'WX − X'WZ (Z'WZ + diag penalty)⁻¹ Z'WX."""
    across = Z.T @ (weights[:, None] * X)
    inner = Z.T @ (weights[:, None] * Z) + np.diag(penalty)
    result: FloatArray = X.T @ (weights[:, None] * X) - across.T @ np.linalg.solve(inner, across)
    return result


def find_aliasing(X: FloatArray, effects: slice, weights: FloatArray, variance: FloatArray, sigma: float) -> Aliasing:
    """Return the aliasing of one segment at one point of the grid.

    X (n, K) with the effects in columns ``effects`` and the baseline in column 0; weights (n,) of the runs; prior
    variance (K,), of the effects without κ; sigma [s]. Curvatures count as nuisances.
    """
    E = X[:, effects]
    moved = np.ptp(E, axis=0) > 1e-9 if len(E) else np.zeros(E.shape[1], dtype=bool)
    which = np.flatnonzero(moved)
    columns = np.arange(X.shape[1])
    nuisance = np.setdiff1d(columns, columns[effects])
    nuisance = nuisance[(X[:, nuisance] != 0).any(axis=0)]
    raw = _information(E[:, which], X[:, nuisance], weights, sigma**2 / variance[nuisance])
    plain = _information(E[:, which], X[:, :1], weights, sigma**2 / variance[:1])
    return aliasing_of(moved, raw, np.sqrt(variance[effects][which]) / sigma, np.diag(plain))


def aliasing_of(moved: BoolArray, raw: FloatArray, scale: FloatArray, plain: FloatArray) -> Aliasing:
    """Return the aliasing of P levers, of which m ``moved`` (P,).

    ``raw`` (m, m): the information on their effects after all nuisances; ``scale`` (m,) their prior sds in units whose
    square times ``raw`` is a pure number; ``plain`` (m,) the information with nothing but the baseline unknown.
    """
    P, which = len(moved), np.flatnonzero(moved)
    cosine, slope = np.zeros((P, P)), np.zeros((P, P))
    loss, information, day_loss = np.zeros(P), np.zeros(P), np.zeros(P)
    J = raw * scale[:, None] * scale[None, :]
    own = np.maximum(np.diag(J), 1e-300)
    cosine[np.ix_(which, which)] = J / np.sqrt(own[:, None] * own[None, :])
    slope[np.ix_(which, which)] = raw / np.maximum(np.diag(raw), 1e-300)[:, None]
    information[which] = own
    day_loss[which] = 1.0 - np.diag(raw) / np.maximum(plain, 1e-300)
    for place, lever in enumerate(which):
        others = np.delete(np.arange(len(which)), place)
        bridge = J[others, place]
        held = np.linalg.solve(J[np.ix_(others, others)] + np.eye(len(others)), bridge)
        loss[lever] = float(bridge @ held) / own[place]
    return Aliasing(moved, cosine, loss, information, day_loss, slope)
