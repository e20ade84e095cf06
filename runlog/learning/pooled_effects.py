"""What the fleet page reports: effects across cars, how they would carry over, and which cars disagree."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.constants import INCREMENTS_FT
from runlog.learning import verdicts
from runlog.learning.aliasing import Aliasing, aliasing_of
from runlog.learning.columns import common_prior
from runlog.learning.correlation import sum_variance
from runlog.learning.mixture import normal_cdf_at, normal_quantile
from runlog.learning.step_effect import StepEffect

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from runlog.learning.fleet import FleetFit

    FloatArray = NDArray[np.float64]

_Z50: Final = normal_quantile(0.75)
_Z90: Final = normal_quantile(0.95)

DISAGREES: Final = 2.5
"""standardised difference from the others at which a car is named: one in eighty by chance"""
_SAYS_SOMETHING: Final = 0.05
"""share of its expected variance that a car must have taken away before it is asked whether it disagrees"""


@dataclass(frozen=True)
class Disagreement:
    """A car whose own runs differ from what the others say of one usual step."""

    car: str
    adjustable: str
    from_ft: int
    to_ft: int
    expected_s: float
    """by the others"""
    found_s: float
    """with the car's own runs"""
    standardised: float
    """N(0, 1) if the car is one of the fleet: (found − expected) over the sd that this difference should have"""


@dataclass(frozen=True)
class PooledEffect(StepEffect):
    """The effect of one usual step across cars: of the common mean μ, then of a car yet to come."""

    between_cars_s: float
    """τ, the sd of cars around the common mean"""
    new_car_sd_s: float
    """of the effect in a car yet to come, around the same mean"""
    new_car_lo90_s: float
    new_car_hi90_s: float
    new_car_probability_helps: float
    cars: int
    """whose runs say something of it"""
    share_learned: float
    """1 − variance of the common mean / its prior variance"""
    disagree: tuple[str, ...]
    """cars that differ from what the others say, most surprising first"""


def standardised_differences(fit: FleetFit, segment: int) -> tuple[FloatArray, FloatArray]:
    """Return what the others expect of each car's effects, (cars, E) [s], and how far its own runs differ, (cars, E).

    The expectation N(e, P) becomes N(θ̂, C) with the car's own runs; θ̂ − e then has the variance P − C, and divided by
    its root it is N(0, 1), given τ. nan where a car says next to nothing.
    """
    pooled, evidence = fit.pooled[segment], fit.evidence[segment]
    E = len(pooled.tau)
    expected, z = np.zeros((len(fit.cars), E)), np.full((len(fit.cars), E), math.nan)
    for c, car in enumerate(fit.cars):
        expected[c], P = fit.expectation(car, segment)
        if not evidence.spoken[c].any():
            continue
        scaled = evidence.information[c] / pooled.sigma[c] ** 2
        # P − C = PΛ(I + PΛ)⁻¹P
        told = P @ scaled @ np.linalg.solve(np.eye(E) + P @ scaled, P)
        learned = np.diag(told)
        heard = evidence.spoken[c].astype(bool) & (learned > _SAYS_SOMETHING * np.diag(P))
        z[c, heard] = (pooled.car_mean[c] - expected[c])[heard] / np.sqrt(learned[heard])
    return expected, z


def find_disagreements(fit: FleetFit) -> tuple[Disagreement, ...]:
    """Return all differences of at least ``DISAGREES``, most surprising first."""
    found = []
    for k, (start, end) in enumerate(INCREMENTS_FT):
        expected, z = standardised_differences(fit, k)
        for c, p in np.argwhere(np.abs(z[:, : len(fit.levers)]) >= DISAGREES):
            found.append(
                Disagreement(fit.cars[c], fit.levers[p].name, start, end, float(expected[c, p]),
                             float(fit.pooled[k].car_mean[c, p]), float(z[c, p]))
            )  # fmt: skip
    return tuple(sorted(found, key=lambda item: -abs(item.standardised)))


@dataclass(frozen=True, eq=False)
class _Place:
    """One place of the track; arrays over P levers."""

    from_ft: int
    to_ft: int
    mean: FloatArray
    sd: FloatArray
    between: FloatArray
    prior_mean: FloatArray
    prior_sd: FloatArray
    tried: FloatArray
    """1 where a car says something of it; of a sum: the share of its parts"""
    aliasing: tuple[Aliasing, ...]
    smallest: float


def _aliasing(fit: FleetFit, segment: int) -> Aliasing:
    """Return what the common means lose to each other; curvatures count as nuisances."""
    count = len(fit.levers)
    sd = common_prior(fit.levers, fit.settings)[1][segment]
    total = fit.pooled[segment].shares.sum(axis=0)
    moved = fit.evidence[segment].spoken[:, :count].sum(axis=0) > 0
    # what levers share is part of their effects, so nothing that they could be mistaken for
    moved[len(fit.carried) :] = False
    bend = slice(count, None)
    bridge = total[bend, :count]
    raw = total[:count, :count] - bridge.T @ np.linalg.solve(total[bend, bend] + np.diag(sd[bend] ** -2.0), bridge)
    raw = raw[np.ix_(moved, moved)]
    # days and drift are gone before cars are put together, so that nothing is left to compare with
    return aliasing_of(moved, raw, sd[:count][moved], np.diag(raw))


def _places(fit: FleetFit) -> list[_Place]:
    count, whole = len(fit.levers), fit.whole
    places = []
    for k, (start, end) in enumerate(INCREMENTS_FT):
        part = fit.pooled[k]
        V = np.diag(whole @ part.covariance[:count, :count] @ whole.T)
        expected, doubt = (both[k][:count] for both in common_prior(fit.levers, fit.settings))
        between, prior = (np.sqrt(whole**2 @ sd[:count] ** 2) for sd in (part.tau, doubt))
        tried = fit.evidence[k].spoken[:, :count].sum(axis=0) > 0
        places.append(
            _Place(start, end, whole @ part.mean[:count], np.sqrt(V), between, whole @ expected, prior, tried,
                   (_aliasing(fit, k),), fit.settings.smallest_difference[k])
        )  # fmt: skip
    parts = places[: fit.finish]
    sums = {name: np.sqrt(sum_variance(fit.correlation, np.array([getattr(part, name) for part in parts])))
            for name in ("sd", "between", "prior_sd")}  # fmt: skip
    aliasing = tuple(part.aliasing[0] for part in parts)
    mean, prior_mean = (np.sum([getattr(part, name) for part in parts], axis=0) for name in ("mean", "prior_mean"))
    tried_share = np.mean([part.tried for part in parts], axis=0)
    places.append(_Place(0, parts[-1].to_ft, mean, **sums, prior_mean=prior_mean, tried=tried_share, aliasing=aliasing,
                         smallest=fit.settings.smallest_elapsed))  # fmt: skip
    return places


def _word(place: _Place, lever: int, odds: verdicts.Odds, partners: tuple[int, ...]) -> str:
    """Return the verdict on a common mean; none that only what was expected beforehand would speak for."""
    share = float(place.tried[lever])
    word = verdicts.verdict(share > 0, not partners, odds)
    if word in verdicts.CLAIMS and share < 1:
        return verdicts.CANNOT_TELL
    mean, variance = float(place.mean[lever]), float(place.sd[lever]) ** 2
    prior = float(place.prior_mean[lever]), float(place.prior_sd[lever]) ** 2
    by_runs = verdicts.helps_by_runs_alone(mean, variance, *prior)
    return verdicts.CANNOT_TELL if verdicts.without_support(word, by_runs) else word


def _effect(fit: FleetFit, place: _Place, p: int, disagree: tuple[str, ...]) -> PooledEffect:
    lever, mean, sd, between = fit.levers[p], float(place.mean[p]), float(place.sd[p]), float(place.between[p])
    new = math.hypot(sd, between)
    partners = tuple(dict.fromkeys(q for part in place.aliasing for q in part.partners(p)))
    odds = verdicts.Odds(*(normal_cdf_at(z / sd) for z in (-mean, -place.smallest - mean, mean - place.smallest)))
    return PooledEffect(
        adjustable=lever.name,
        step=lever.step,
        unit=lever.unit,
        from_ft=place.from_ft,
        to_ft=place.to_ft,
        mean_s=mean,
        sd_s=sd,
        lo50_s=mean - _Z50 * sd,
        hi50_s=mean + _Z50 * sd,
        lo90_s=mean - _Z90 * sd,
        hi90_s=mean + _Z90 * sd,
        probability_helps=odds.helps,
        verdict=_word(place, p, odds, partners),
        inseparable_from=tuple(fit.levers[q].name for q in partners),
        between_cars_s=between,
        new_car_sd_s=new,
        new_car_lo90_s=mean - _Z90 * new,
        new_car_hi90_s=mean + _Z90 * new,
        new_car_probability_helps=normal_cdf_at(-mean / new),
        cars=len(fit.tried_by(p)),
        share_learned=min(max(1.0 - (sd / float(place.prior_sd[p])) ** 2, 0.0), 1.0),
        disagree=disagree,
    )


def make_pooled_effects(fit: FleetFit) -> tuple[PooledEffect, ...]:
    """Return every lever on every increment and, last, on the elapsed time; lever by lever."""
    result = []
    places = _places(fit)
    for p, lever in enumerate(fit.levers):
        for place in places:
            named = dict.fromkeys(
                item.car for item in fit.disagreements
                if item.adjustable == lever.name and place.from_ft <= item.from_ft and item.to_ft <= place.to_ft
            )  # fmt: skip
            result.append(_effect(fit, place, p, tuple(named)))
    return tuple(result)
