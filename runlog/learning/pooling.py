"""Partial pooling of effects across cars, one increment: hierarchical normal model with the common mean integrated out.

θ_c ~ N(μ, diag τ²) for each car c, μ ~ N(m, diag s²). A car is known by Λ, h, r and n − 1 (see ``sufficient``); given
τ and the cars' residual sds σ everything is closed form (Gelman et al., *Bayesian Data Analysis*, 3rd ed., ch. 5 and
15). τ and σ are found by EM (Dempster, Laird & Rubin 1977; Laird & Ware 1982); an inverse-gamma prior keeps τ off
zero when cars are few, for the reasons of Chung et al. (2013).

The algebra is in units of τ, with J = τΛτ/σ² and Q = (I + J)⁻¹: C = τQτ, B = τQ/τ, G = (I − Q)/(ττ). A column that a
car says nothing of has rows of zeros in J and takes no part.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Pooling:
    """Defaults of learning across cars."""

    start: float = 0.6
    """τ at the start, and its prior scale, in units of the prior sd of the effect. Where cars say little of an effect τ
    stays near it: in simulated shops of 24 cars that differ by 0.4 it came out 1.3 (0–60) to 1.5 times (last increment)
    too high, that differ by 0.6 right within 2 %, and without the prior right (0.9 to 1.0) only where runs tell"""
    strength: float = 4.0
    """ν0: the prior of τ² counts as so many cars"""
    tolerance: float = 0.001
    """largest change of log τ or log σ in the last pass"""
    passes: int = 200


_LEAST: Final = 1e-8
"""τ never falls below this share of the prior sd: then the cars don't differ"""


@dataclass(frozen=True, eq=False)
class Evidence:
    """What C cars say of the E columns of one segment, in the fleet's columns and steps."""

    information: FloatArray
    """(C, E, E) Λ"""
    moment: FloatArray
    """(C, E) [s] h"""
    squares: FloatArray
    """(C,) [s²] r"""
    degrees: FloatArray
    """(C,) n − 1"""

    @property
    def spoken(self) -> FloatArray:
        """(C, E) 1 where a car says something of a column."""
        said: FloatArray = (np.einsum("cpp->cp", self.information) > 1e-9).astype(float)
        return said


@dataclass(frozen=True, eq=False)
class Pooled:
    """The posterior of one segment, given τ and σ."""

    tau: FloatArray
    """(E,) [s] sd between cars"""
    sigma: FloatArray
    """(C,) [s]"""
    mean: FloatArray
    """(E,) [s] μ"""
    covariance: FloatArray
    """(E, E) [s²] V"""
    precision: FloatArray
    """(E, E) M = V⁻¹"""
    shares: FloatArray
    """(C, E, E) G: what each car adds to M"""
    pulls: FloatArray
    """(C, E) D⁻¹a: what each car adds to Mμ"""
    car_mean: FloatArray
    """(C, E) [s] θ̂"""
    car_variance: FloatArray
    """(C, E) [s²] of θ"""
    away: FloatArray
    """(C, E) [s²] variance of θ − μ"""
    misfit: FloatArray
    """(C,) [s²] expected Σ of squared residuals"""
    settled: bool = True
    """whether τ and σ came to rest within the passes allowed"""

    def without(self, car: int) -> tuple[FloatArray, FloatArray]:
        """Return mean (E,) and covariance (E, E) of μ by what the other cars say, given τ and their σ: exact."""
        covariance = np.linalg.inv(self.precision - self.shares[car])
        covariance = 0.5 * (covariance + covariance.T)
        return covariance @ (self.precision @ self.mean - self.pulls[car]), covariance


def condition(evidence: Evidence, tau: FloatArray, sigma: FloatArray, mean: FloatArray, sd: FloatArray) -> Pooled:
    """Return the posterior given τ (E,) and σ (C,), for the prior μ ~ N(mean, diag sd²), each (E,)."""
    E = len(tau)
    eye = np.eye(E)
    variance = sigma[:, None, None] ** 2
    Q = np.linalg.inv(eye + evidence.information / variance * np.outer(tau, tau))
    Q = 0.5 * (Q + np.swapaxes(Q, 1, 2))
    R = eye - Q
    shares = R / np.outer(tau, tau)
    pulls = np.einsum("cpq,cq->cp", Q, tau * evidence.moment / sigma[:, None] ** 2) / tau
    precision = np.diag(sd**-2.0) + shares.sum(axis=0)
    V = np.linalg.inv(precision)
    V = 0.5 * (V + V.T)
    mu = V @ (mean / sd**2 + pulls.sum(axis=0))
    # θ̂ = a + Bμ with a = τ²·pull and B = τQ/τ
    theta = tau**2 * pulls + tau * np.einsum("cpq,q->cp", Q, mu / tau)
    inner = V / np.outer(tau, tau)
    RV = (R.reshape(-1, E) @ inner).reshape(R.shape)
    QV = inner - RV
    own = np.einsum("cpp->cp", Q)
    away = tau**2 * (own + (RV * R).sum(axis=2))
    spread = tau**2 * (own + (QV * Q).sum(axis=2))
    # tr(Λ cov θ)/σ² = tr(I − Q) + tr((Q − Q²) V/ττ)
    trace = E - own.sum(axis=1) + (Q * inner).sum(axis=(1, 2)) - (QV * Q).sum(axis=(1, 2))
    fitted = np.einsum("cp,cpq,cq->c", theta, evidence.information, theta, optimize=True)
    misfit = evidence.squares - 2.0 * (evidence.moment * theta).sum(axis=1) + fitted + sigma**2 * trace
    return Pooled(tau, sigma, mu, V, precision, shares, pulls, theta, spread, away, misfit)


def pool(evidence: Evidence, mean: FloatArray, sd: FloatArray, typical: tuple[float, float],
         pooling: Pooling) -> Pooled:  # fmt: skip
    """Return the posterior of one segment with τ and σ found by EM.

    ``mean``, ``sd`` (E,) [s] the prior of μ; ``typical`` σ0 [s] and a0, the strength of its inverse-gamma prior.
    """
    sigma0, a0 = typical
    spoken = evidence.spoken
    cars = spoken.sum(axis=0)
    tau = pooling.start * sd
    sigma = np.full(len(evidence.degrees), sigma0)
    now = condition(evidence, tau, sigma, mean, sd)
    settled = False
    for _ in range(pooling.passes):
        apart = (spoken * ((now.car_mean - now.mean) ** 2 + now.away)).sum(axis=0)
        # a column that nobody speaks of keeps the start; without a prior strength there's nothing to divide by
        squares = (apart + pooling.strength * (pooling.start * sd) ** 2) / np.maximum(cars + pooling.strength, 1e-300)
        tau = np.where(cars > 0, np.maximum(np.sqrt(squares), _LEAST * sd), pooling.start * sd)
        total = 2.0 * a0 + evidence.degrees
        sigma = np.where(total > 0, np.sqrt((2.0 * a0 * sigma0**2 + now.misfit) / np.maximum(total, 1e-300)), sigma0)
        change = max(_largest(tau, now.tau), _largest(sigma, now.sigma))
        now = condition(evidence, tau, sigma, mean, sd)
        settled = change < pooling.tolerance
        if settled:
            break
    return replace(now, settled=settled)


def _largest(new: FloatArray, old: FloatArray) -> float:
    return float(np.abs(np.log(new / old)).max(initial=0.0))
