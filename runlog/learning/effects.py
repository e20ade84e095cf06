"""What each change did: effects with their doubt, verdicts and what stands in the way of knowing more."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.constants import INCREMENTS_FT
from runlog.learning import verdicts
from runlog.learning.aliasing import Aliasing, find_aliasing
from runlog.learning.mixture import moments, normal_cdf_at, normal_quantile, probability_below, quantiles
from runlog.learning.priors import prior_mean, prior_variance, typical_ratio
from runlog.learning.spoils import held_back, spoil_rates
from runlog.learning.step_effect import StepEffect
from runlog.learning.verdicts import Odds

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from runlog.learning.car import CarFit
    from runlog.learning.spoils import HeldBack

    FloatArray = NDArray[np.float64]

_LEVELS: Final = (0.05, 0.25, 0.75, 0.95)


@dataclass(frozen=True)
class Change:
    """The effect [s] of a change as it was really made, in usual steps from the baseline."""

    from_steps: float
    to_steps: float
    mean_s: float
    sd_s: float
    lo90_s: float
    hi90_s: float
    probability_helps: float
    verdict: str
    held_back: HeldBack | None = None
    """why a claim was held back"""


@dataclass(frozen=True)
class Effect(StepEffect):
    """The effect of one usual step upwards from the car's baseline."""

    together_steps: tuple[tuple[str, float], ...]
    """the changes that went together, this one's step first; empty when separable"""
    together_mean_s: float | None
    together_lo90_s: float | None
    together_hi90_s: float | None
    runs_needed: int | None
    """further runs that would probably settle it, for ``cannot_tell``; None where a claim was held back"""
    share_learned: float
    """1 − posterior variance / prior variance, the prior as widened as the data ask"""
    prior_origin: str
    runs_each_side: tuple[int, int]
    """at the setting the change was made from, and at any other"""
    beyond_tried: bool
    """the step leads outside the settings tried, so the figure is an extrapolation"""
    confounded_with_day: bool
    """changed once and left: hard to tell from the day"""
    change_made: Change | None
    """None where the adjustable never moved"""
    held_back: HeldBack | None = None
    """why a claim was held back: the car itself lost more runs at the setting that it would have favoured"""
    through: tuple[tuple[str, float, str], ...] = ()
    """what the change made, else the step, adds to the quantities that the adjustable shares: name, amount, unit"""


@dataclass(frozen=True, eq=False)
class _Marginals:
    """What is reported of F functionals of one segment, or of the elapsed time; each (F,)."""

    mean: FloatArray
    variance: FloatArray
    bounds: FloatArray
    """(4, F) at ``_LEVELS``"""
    helps: FloatArray
    helps_enough: FloatArray
    hurts_enough: FloatArray

    def odds(self, place: int) -> Odds:
        return Odds(float(self.helps[place]), float(self.helps_enough[place]), float(self.hurts_enough[place]))


def change_made(settings: FloatArray) -> tuple[float, float] | None:
    """Return (from, to) of the change really made by the settings (n,) of a lever, or None if it never moved.

    From the baseline, or the setting nearest to it that was run; to the most used other one, of several the farthest.
    """
    found, counts = np.unique(settings, return_counts=True)
    if len(found) < 2:
        return None
    start = float(min(found, key=lambda value: (abs(value), value)))
    _, _, end = max((int(count), abs(value - start), float(value))
                    for value, count in zip(found, counts, strict=True) if value != start)  # fmt: skip
    return start, end


def _segment_marginals(fit: CarFit, segment: int, T: FloatArray) -> _Marginals:
    # the change made is often the one step, and what moved alone has no other together
    rows, place = np.unique(T, axis=0, return_inverse=True)
    place = place.ravel()
    weights, means, variances = fit.functionals(segment, rows)
    sds = np.sqrt(variances)
    smallest = fit.settings.smallest_difference[segment]
    mean, variance = moments(weights, means, variances)
    below = [probability_below(weights, means, sds, limit) for limit in (0.0, -smallest, smallest)]
    bounds = quantiles(weights, means, sds, _LEVELS)
    parts = (mean, variance, bounds, below[0], below[1], 1.0 - below[2])
    return _Marginals(*(part[..., place] for part in parts))


def _elapsed_marginals(fit: CarFit, segments: list[_Marginals]) -> _Marginals:
    """Return the sum over the segments to the finish, as a normal: its segments correlate as their residuals do."""
    mean = np.sum([part.mean for part in segments], axis=0)
    variance = fit.sum_variance(np.sqrt([part.variance for part in segments]))
    sd = np.sqrt(variance)
    smallest = fit.settings.smallest_elapsed
    bounds = np.array([mean + normal_quantile(level) * sd for level in _LEVELS])

    def below(limit: float) -> FloatArray:
        return np.array([normal_cdf_at((limit - m) / s) for m, s in zip(mean, sd, strict=True)])

    return _Marginals(mean, variance, bounds, below(0.0), below(-smallest), 1.0 - below(smallest))


def segment_aliasing(fit: CarFit, segment: int) -> Aliasing:
    """Return what the effects lose to each other in one segment, at the posterior means of σ, ω and ψ.

    The heaviest grid point would be another choice, but of few days it is nearly always that of the smallest ω.
    """
    data, layout = fit.data[segment], fit.layout
    point = fit.typical_point(segment)
    variance = prior_variance(layout, segment, point, fit.settings)[0]
    count = len(fit.levers)
    effects = slice(layout.first_effect, layout.first_effect + count)
    # a lever's effect is all that it does, what it shares with others included
    shared = slice(effects.stop, layout.first_effect + len(layout.terms))
    step = layout.mix(np.array([layout.lever_functional(p, 0.0, 1.0) for p in range(count)]), segment)
    whole = variance.copy()
    whole[effects] = step**2 @ variance
    X = data.X.copy()
    X[:, shared] = 0.0
    return find_aliasing(X, effects, fit.run_weights(segment), whole, float(point.sigma[0]))


@dataclass(frozen=True, eq=False)
class _Together:
    """For each lever, what it can't be separated from in a segment and the change of all of them together."""

    partners: tuple[tuple[int, ...], ...]
    steps: tuple[tuple[tuple[int, float], ...], ...]
    rows: FloatArray
    """(P, K) functionals"""


def _together(fit: CarFit, aliasing: Aliasing) -> _Together:
    count = len(fit.levers)
    partners = tuple(aliasing.partners(p) for p in range(count))
    moves = [tuple((q, float(aliasing.slope[p, q])) for q in partners[p]) for p in range(count)]
    steps = tuple(((p, 1.0), *others) if others else () for p, others in enumerate(moves))
    return _Together(partners, steps, _together_rows(fit, steps))


def _together_rows(fit: CarFit, steps: tuple[tuple[tuple[int, float], ...], ...]) -> FloatArray:
    """Return the functionals (P, K) of the changes that went together; one step of a lever that stands alone."""
    rows = np.zeros((len(steps), fit.layout.columns))
    for p, moves in enumerate(steps):
        rows[p] = fit.layout.change_functional({}, dict(moves or ((p, 1.0),)))
    return rows


@dataclass(frozen=True, eq=False)
class _Place:
    """One place of the track that effects are reported for."""

    from_ft: int
    to_ft: int
    marginals: _Marginals
    """of 3 P functionals: one step, the change made, all that went together"""
    prior_mean: FloatArray
    prior_variance: FloatArray
    """(2 P,) each: one step, the change made"""
    aliasing: tuple[Aliasing, ...]
    together: _Together
    settings: FloatArray
    """(m, P) of the runs that have it"""
    repeatability: float
    smallest: float

    def tried(self, lever: int) -> bool:
        return any(part.moved[lever] for part in self.aliasing)

    def tried_throughout(self, lever: int) -> bool:
        return all(part.moved[lever] for part in self.aliasing)


def prior_moments(fit: CarFit, segment: int, T: FloatArray, *, widened: bool = True
                  ) -> tuple[FloatArray, FloatArray]:  # fmt: skip
    """Return the prior mean and variance (F,) of functionals of levers (F, K).

    ``widened``: under the posterior weights of κ, else with κ = 1.
    """
    widenings = np.array(fit.settings.widenings[: len(fit.kappa_weights)])
    wider = float(fit.kappa_weights @ widenings**2) if widened else 1.0
    typical = fit.settings.repeatability[segment]
    ratio = typical_ratio(fit.layout, segment, fit.settings)
    T = fit.layout.mix(T, segment)
    return T @ prior_mean(fit.layout, segment), T**2 @ (wider * typical**2 * ratio)


def _places(fit: CarFit, changes: list[tuple[float, float] | None]) -> list[_Place]:
    count, layout = len(fit.levers), fit.layout
    step = [layout.lever_functional(p, 0.0, 1.0) for p in range(count)]
    made = [layout.lever_functional(p, *change) if change else step[p] for p, change in enumerate(changes)]
    found, places = [], []
    for k, (start, end) in enumerate(INCREMENTS_FT):
        aliasing = segment_aliasing(fit, k)
        together = _together(fit, aliasing)
        found.append((aliasing, together))
        T = np.concatenate([np.array(step), np.array(made), together.rows])
        settings = fit.runs.settings[fit.data[k].rows]
        places.append(
            _Place(start, end, _segment_marginals(fit, k, T), *prior_moments(fit, k, T[: 2 * count]), (aliasing,),
                   together, settings, float(fit.sigma[k]), fit.settings.smallest_difference[k])
        )  # fmt: skip
    return [*places, _elapsed_place(fit, places[: fit.finish])]


def _elapsed_place(fit: CarFit, places: list[_Place]) -> _Place:
    """Return the place from the start to the finish; a pair inseparable in any segment is so in the sum."""
    count = len(fit.levers)
    partners, steps = [], []
    for p in range(count):
        named = dict.fromkeys(q for place in places for q in place.together.partners[p])
        partners.append(tuple(named))
        steps.append(next((place.together.steps[p] for place in places if place.together.steps[p]), ()))
    rows = _together_rows(fit, tuple(steps))
    parts = [place.marginals for place in places]
    if any(steps):
        parts = [_joined(part, _segment_marginals(fit, k, rows), 2 * count) for k, part in enumerate(parts)]
    complete = np.isfinite(fit.runs.times[:, : fit.finish]).all(axis=1)
    sigma = math.sqrt(float(fit.sum_variance(fit.sigma[: fit.finish])))
    prior = fit.sum_variance(np.sqrt([place.prior_variance for place in places]))
    aliasing = tuple(part for place in places for part in place.aliasing)
    mean = np.sum([place.prior_mean for place in places], axis=0)
    return _Place(0, places[-1].to_ft, _elapsed_marginals(fit, parts), mean, prior, aliasing,
                  _Together(tuple(partners), tuple(steps), rows), fit.runs.settings[complete], sigma,
                  fit.settings.smallest_elapsed)  # fmt: skip


def _joined(first: _Marginals, second: _Marginals, count: int) -> _Marginals:
    """Return the first ``count`` functionals of one and all of the other."""
    names = ("mean", "variance", "bounds", "helps", "helps_enough", "hurts_enough")
    return _Marginals(*(np.concatenate([getattr(first, n)[..., :count], getattr(second, n)], axis=-1) for n in names))


def _held_back(fit: CarFit, lever: int, word: str, slower: float, quicker: float) -> HeldBack | None:
    """Return why ``word`` may not be claimed of moving a lever from ``slower`` to ``quicker``, if it says "helped".

    Of "hurt" the roles are exchanged: it speaks for the setting that was left.
    """
    if fit.runs.car_caused is None or word not in (verdicts.HELPED, verdicts.HURT):
        return None
    if word == verdicts.HURT:
        slower, quicker = quicker, slower
    prior = fit.settings.spoil_prior
    rates = {rate.steps: rate for rate in spoil_rates(fit.runs.settings[:, lever], fit.runs.car_caused, prior)}
    return held_back(rates[quicker], rates[slower], prior)


def _change(fit: CarFit, place: _Place, p: int, change: tuple[float, float] | None) -> Change | None:
    if change is None or not place.tried(p):
        return None
    m, position = place.marginals, len(fit.levers) + p
    word = _word(place, p, position)
    held = _held_back(fit, p, word, *change)
    return Change(*change, float(m.mean[position]), math.sqrt(m.variance[position]), float(m.bounds[0, position]),
                  float(m.bounds[3, position]), float(m.helps[position]), verdicts.CANNOT_TELL if held else word,
                  held)  # fmt: skip


def _word(place: _Place, lever: int, position: int) -> str:
    """Return the verdict on the functional at a position; none that only the prior would speak for."""
    m = place.marginals
    word = verdicts.verdict(place.tried(lever), not place.together.partners[lever], m.odds(position))
    # short hits alone say nothing of the rest of the track
    if word in verdicts.CLAIMS and not place.tried_throughout(lever):
        return verdicts.CANNOT_TELL
    prior = float(place.prior_mean[position]), float(place.prior_variance[position])
    by_runs = verdicts.helps_by_runs_alone(float(m.mean[position]), float(m.variance[position]), *prior)
    return verdicts.CANNOT_TELL if verdicts.without_support(word, by_runs) else word


def _effect(fit: CarFit, place: _Place, p: int, change: tuple[float, float] | None) -> Effect:
    count, lever, m = len(fit.levers), fit.levers[p], place.marginals
    word = _word(place, p, p)
    held = _held_back(fit, p, word, min(change), max(change)) if change else None
    mean, variance = float(m.mean[p]), float(m.variance[p])
    q05, q25, q75, q95 = (float(bound) for bound in m.bounds[:, p])
    partners, both = place.together.partners[p], 2 * count + p
    used = place.settings[:, p]
    here = int((used == (change[0] if change else 0.0)).sum())
    needed = None
    if word == verdicts.CANNOT_TELL:
        needed = verdicts.runs_needed(mean, variance, place.repeatability, place.smallest)
    return Effect(
        adjustable=lever.name,
        step=lever.step,
        unit=lever.unit,
        from_ft=place.from_ft,
        to_ft=place.to_ft,
        mean_s=mean,
        sd_s=math.sqrt(variance),
        lo50_s=q25,
        hi50_s=q75,
        lo90_s=q05,
        hi90_s=q95,
        probability_helps=float(m.helps[p]),
        verdict=verdicts.CANNOT_TELL if held else word,
        inseparable_from=tuple(fit.levers[q].name for q in partners),
        together_steps=tuple((fit.levers[q].name, amount) for q, amount in place.together.steps[p]),
        together_mean_s=float(m.mean[both]) if partners else None,
        together_lo90_s=float(m.bounds[0, both]) if partners else None,
        together_hi90_s=float(m.bounds[3, both]) if partners else None,
        runs_needed=needed,
        share_learned=min(max(1.0 - variance / float(place.prior_variance[p]), 0.0), 1.0),
        prior_origin=lever.origin,
        runs_each_side=(here, len(used) - here),
        beyond_tried=bool(place.tried(p) and len(used) and not used.min() <= 1.0 <= used.max()),
        confounded_with_day=any(part.swallowed_by_day(p) for part in place.aliasing),
        change_made=_change(fit, place, p, change),
        held_back=held,
        through=_through(fit, p, change or (0.0, 1.0)),
    )


def _through(fit: CarFit, lever: int, change: tuple[float, float]) -> tuple[tuple[str, float, str], ...]:
    shared = fit.layout.shared
    if shared is None:
        return ()
    moved = shared.moved_by(lever, *change, len(fit.levers))
    pairs = zip(shared.quantities, moved, strict=True)
    return tuple((term.name, float(amount) * term.step, term.unit) for term, amount in pairs if abs(amount) > 1e-9)


def step_priors(fit: CarFit) -> tuple[FloatArray, FloatArray]:
    """Return prior means and sds (P, S) [s] of one step of each lever, all that it does through what is shared too."""
    levers = range(len(fit.levers))
    T = np.array([fit.layout.lever_functional(p, 0.0, 1.0) for p in levers]).reshape(-1, fit.layout.columns)
    found = [prior_moments(fit, k, T, widened=False) for k in range(len(INCREMENTS_FT))]
    return np.array([mean for mean, _ in found]).T, np.sqrt([variance for _, variance in found]).T


def make_effects(fit: CarFit) -> tuple[Effect, ...]:
    """Return every lever on every increment and, last, on the elapsed time; lever by lever."""
    if not fit.levers:
        return ()
    timed = np.isfinite(fit.runs.times).any(axis=1)
    changes = [change_made(fit.runs.settings[timed, p]) for p in range(len(fit.levers))]
    places = _places(fit, changes)
    return tuple(_effect(fit, place, p, changes[p]) for p in range(len(fit.levers)) for place in places)
