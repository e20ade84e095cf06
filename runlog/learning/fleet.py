"""What all cars say together: pooled effects, the spread between cars, transfer to another car, who disagrees.

    statistics = map_cars(cars, executor)       # each car by itself
    fleet = fit_fleet(statistics, levers)       # all together
    fit_car(runs, fleet.prior_for(car, levers)) # back to a car, with what the others say as its prior

A car's own runs take no part in its own prior, so that no datum is used twice.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.constants import INCREMENTS_FT
from runlog.learning.columns import common_prior, curved_columns, find_lever, gather, rescale
from runlog.learning.correlation import shrunk
from runlog.learning.design import SEGMENTS, Lever
from runlog.learning.pooling import Evidence, Pooled, Pooling, pool
from runlog.learning.priors import Settings

if TYPE_CHECKING:
    from collections.abc import Container, Sequence

    from numpy.typing import NDArray

    from runlog.learning.pooled_effects import Disagreement, PooledEffect
    from runlog.learning.sufficient import CarStatistics

    FloatArray = NDArray[np.float64]

KEPT: Final = ("physics", "car file")
"""origins of priors that the fleet doesn't replace unless asked"""


@dataclass(frozen=True, eq=False)
class FleetFit:
    """The posterior of a fleet. Columns are the levers' effects and then the curved levers' curvatures, E in all."""

    cars: tuple[str, ...]
    levers: tuple[Lever, ...]
    """the fleet's adjustables with the priors of the common means"""
    settings: Settings
    evidence: tuple[Evidence, ...]
    """(S,)"""
    pooled: tuple[Pooled, ...]
    """(S,)"""
    correlation: FloatArray
    """(S, S) of the residuals, all cars together"""
    carried: FloatArray
    """(P, Q) what a step of each of the first P levers makes, on average over cars, of the last Q: those are shared"""

    @property
    def whole(self) -> FloatArray:
        """(P + Q, P + Q) rows that make of the columns' effects all that a step does, through what is shared too."""
        own = np.eye(len(self.levers))
        own[: len(self.carried), len(self.carried) :] = self.carried
        return own

    @cached_property
    def effects(self) -> tuple[PooledEffect, ...]:
        """Every lever on every increment and, last, on the elapsed time; lever by lever."""
        from runlog.learning.pooled_effects import make_pooled_effects

        return make_pooled_effects(self)

    @cached_property
    def disagreements(self) -> tuple[Disagreement, ...]:
        """Where a car's own runs differ from what the others say, most surprising first."""
        from runlog.learning.pooled_effects import find_disagreements

        return find_disagreements(self)

    @property
    def finish(self) -> int:
        """Number of segments to the finish."""
        ends = [end for _, end in INCREMENTS_FT]
        return ends.index(self.settings.finish_ft) + 1 if self.settings.finish_ft is not None else SEGMENTS

    def tried_by(self, lever: int) -> tuple[int, ...]:
        """Return the positions of the cars whose runs say something of a lever, on any increment."""
        spoken = np.max([part.spoken[:, lever] for part in self.evidence], axis=0)
        return tuple(int(car) for car in np.flatnonzero(spoken))

    def expectation(self, car: str | None, segment: int) -> tuple[FloatArray, FloatArray]:
        """Return mean (E,) [s] and covariance (E, E) [s²] of a car's effects by what the others say: N(μ, V + τ²).

        Of a car that isn't in the fleet, or None: what all say of a car yet to come.
        """
        part = self.pooled[segment]
        mean, covariance = part.mean, part.covariance
        if car in self.cars:
            mean, covariance = part.without(self.cars.index(car))
        return mean, covariance + np.diag(part.tau**2)

    def prior_for(self, car: str | None, levers: Sequence[Lever], keep: Container[str] = KEPT) -> tuple[Lever, ...]:
        """Return a car's levers with what the other cars say as their priors, for ``fit_car``.

        Levers that no other car has tried keep their own prior, as do those whose origin is in ``keep``. The car's own
        runs take no part, save that τ, how much cars differ, is found from all.
        """
        return self.beliefs_for(car, levers, keep)[0]

    def beliefs_for(self, car: str | None, terms: Sequence[Lever], keep: Container[str] = KEPT
                    ) -> tuple[tuple[Lever, ...], FloatArray]:  # fmt: skip
        """Return what ``prior_for`` returns, and the correlation (S, E, E) of effects and curvatures, for ``fit_car``.

        ``terms``: the car's levers and then the quantities that they share. What others know of a sum better than of
        its parts, such as of a hole's own effect and its anti-squat, only the correlation keeps.
        """
        expected = [self.expectation(car, k) for k in range(SEGMENTS)]
        bends = curved_columns(self.levers)
        curved = [n for n, term in enumerate(terms) if term.curved]
        E = len(terms) + len(curved)
        rows = np.zeros((E, len(self.levers) + len(bends)))
        others_of = {}
        for n, term in enumerate(terms):
            place = find_lever(self.levers, term.name, term.unit)
            others = [] if place is None else [c for c in self.tried_by(place) if self.cars[c] != car]
            if place is None or not others or term.origin in keep:
                continue
            others_of[n] = len(others)
            A = rescale(term.step / self.levers[place].step, place in bends)
            columns = [place, bends[place]] if place in bends else [place]
            rows[n, columns] = A[0]
            if term.curved and place in bends:
                rows[len(terms) + curved.index(n), columns] = A[1]
        mean = np.array([rows @ m for m, _ in expected])
        covariance = np.array([rows @ C @ rows.T for _, C in expected])
        sd = np.sqrt(np.einsum("kpp->kp", covariance))
        result = list(terms)
        for n, count in others_of.items():
            own = [n, *([len(terms) + curved.index(n)] if n in curved else [])]
            told = [place for place in own if rows[place].any()]
            result[n] = fleet_lever(terms[n], mean[:, told], sd[:, told], count)
        told_of = sd > 0
        correlation = covariance / np.where(told_of, sd, 1.0)[:, :, None] / np.where(told_of, sd, 1.0)[:, None, :]
        return tuple(result), np.where(np.eye(E, dtype=bool), 1.0, correlation)


def fleet_lever(lever: Lever, mean: FloatArray, sd: FloatArray, cars: int) -> Lever:
    """Return a lever with a prior learned from so many other cars.

    ``mean`` and ``sd`` (S, 1 or 2) [s]: of one of its steps and, where the fleet has it, of its curvature.
    """
    origin = f"fleet of {cars} car{'' if cars == 1 else 's'}"
    changed = replace(lever, mean=mean[:, 0], sd=sd[:, 0], origin=origin)
    if lever.curved and mean.shape[1] == 2:
        return replace(changed, curvature_mean=mean[:, 1], curvature_sd=sd[:, 1])
    return changed


def _correlation(statistics: Sequence[CarStatistics]) -> FloatArray:
    nothing = np.zeros((SEGMENTS, SEGMENTS))
    products = sum((one.residual_products for one in statistics), nothing)
    pairs = sum((one.residual_pairs for one in statistics), nothing)
    spread = np.sqrt(np.diag(products) / np.maximum(np.diag(pairs), 1.0))
    norm = pairs * spread[:, None] * spread[None, :]
    return shrunk(np.divide(products, norm, out=nothing.copy(), where=norm > 0), pairs)


def fit_fleet(statistics: Sequence[CarStatistics], levers: Sequence[Lever], settings: Settings | None = None,
              pooling: Pooling | None = None, carried: FloatArray | None = None) -> FleetFit:  # fmt: skip
    """Return what cars say together; any number of cars, also none.

    ``levers`` are the fleet's adjustables with the priors of their common means: ``fleet_levers`` of all cars' levers,
    or more. Cars are matched to them by name and unit and brought to their steps; of an adjustable that a car lacks it
    says nothing. ``carried`` (P, Q): the last Q of them are quantities that the first P share, and what a step makes of
    each. ValueError for a car given twice, or with an adjustable that the fleet doesn't have.
    """
    settings, pooling = settings or Settings(), pooling or Pooling()
    names = [one.car for one in statistics]
    twice = sorted({name for name in names if names.count(name) > 1} if len(set(names)) < len(names) else ())
    if twice:
        raise ValueError(f"more than one set of statistics of {', '.join(twice)}: add them first")
    evidence = gather(statistics, levers)
    means, sds = common_prior(levers, settings)
    pooled = tuple(
        pool(part, means[k], sds[k], (settings.repeatability[k], settings.variance_strength), pooling)
        for k, part in enumerate(evidence)
    )
    through = np.zeros((len(levers), 0)) if carried is None else carried
    if sum(through.shape) != len(levers):
        raise ValueError(f"carried has shape {through.shape} for {len(levers)} adjustables and quantities together")
    return FleetFit(tuple(names), tuple(levers), settings, evidence, pooled, _correlation(statistics), through)
