"""Leave one test day out: whether the regression foretells unseen days better than plain tools do on the same runs.

scikit-learn is loaded only when ``backtest`` is called.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from runlog.constants import INCREMENTS_FT
from runlog.learning.mixture import normal_quantile
from runlog.learning.priors import Settings

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from runlog.learning.design import Lever, Runs
    from runlog.learning.shared import Shared

    FloatArray = NDArray[np.float64]

OURS: Final = "runlog"
_Z90: Final = normal_quantile(0.95)
_LEAST_TRAINING: Final = 3
"""runs of other days without which a day isn't foretold"""


@dataclass(frozen=True)
class Score:
    """How one model foretold the runs of the days left out, at one place of the track."""

    model: str
    from_ft: int
    to_ft: int
    runs: int
    rms_error_s: float
    rms_within_day_s: float | None
    """the same with each day's own mean error taken out: what the settings tell, without the day's level, which nobody
    can foretell; None where no day has two runs"""
    covered90: float
    """share of runs inside the 90 % interval"""


@dataclass(frozen=True, eq=False)
class _Place:
    from_ft: int
    to_ft: int
    times: FloatArray
    """(n,) [s] without what the air added; nan where a run has none"""
    repeatability: float
    prior_mean: FloatArray
    prior_sd: FloatArray
    """(P,)"""
    levers: Sequence[Lever]
    shared: Shared | None


def backtest(runs: Runs, levers: Sequence[Lever], settings: Settings | None = None, shared: Shared | None = None
             ) -> tuple[Score, ...]:  # fmt: skip
    """Return the scores of all models, place by place: each increment, and last the elapsed time.

    Every model sees settings in usual steps and times less what the air added; ours also day and hour, the recorded
    nuisances, its priors, curvatures and shared quantities, and its spoiled runs. ``settings.finish_ft`` says where the
    elapsed time ends. ValueError for fewer than two days.
    """
    if len(np.unique(runs.day)) < 2:
        raise ValueError("one day has to be left out and another to learn from: runs of two days are needed")
    settings = settings or Settings()
    return tuple(score for place in _places(runs, levers, settings, shared) for score in _scores(place, runs, settings))


def _places(runs: Runs, levers: Sequence[Lever], settings: Settings, shared: Shared | None) -> list[_Place]:
    times = runs.times - runs.filled_air
    typical = np.array(settings.repeatability)
    mean, sd = (_stacked(levers, name) for name in ("mean", "sd"))
    places = [
        _Place(start, end, times[:, k], float(typical[k]), mean[:, k], sd[:, k], levers, _at(shared, slice(k, k + 1)))
        for k, (start, end) in enumerate(INCREMENTS_FT)
    ]
    ends = [end for _, end in INCREMENTS_FT]
    count = len(ends) if settings.finish_ft is None else ends.index(settings.finish_ft) + 1
    spread = float(np.sqrt((typical[:count] ** 2).sum()))
    prior = np.sqrt((sd[:, :count] ** 2).sum(axis=1))
    whole = times[:, :count].sum(axis=1)
    together = _at(shared, slice(count))
    return [*places, _Place(0, ends[count - 1], whole, spread, mean[:, :count].sum(axis=1), prior, levers, together)]


def _stacked(levers: Sequence[Lever], name: str) -> FloatArray:
    return np.array([getattr(lever, name) for lever in levers]).reshape(len(levers), len(INCREMENTS_FT))


def _at(shared: Shared | None, segments: slice) -> Shared | None:
    """Return what is shared with the priors of some segments' sum in all places, as one increment's regression asks."""
    if shared is None:
        return None
    whole = np.ones(len(INCREMENTS_FT))
    terms = tuple(
        replace(term, mean=term.mean[segments].sum() * whole, sd=np.sqrt((term.sd[segments] ** 2).sum()) * whole)
        for term in shared.quantities
    )
    return replace(shared, quantities=terms)


def _scores(place: _Place, runs: Runs, settings: Settings) -> list[Score]:
    from runlog.learning.estimator import SetupRegressor, plain_regressors

    timed = np.isfinite(place.times)
    found: dict[str, list[tuple[float, float, float]]] = {}
    for day in np.unique(runs.day[timed]):
        train, test = timed & (runs.day != day), timed & (runs.day == day)
        if train.sum() < _LEAST_TRAINING:
            continue
        y = place.times[test]
        curved = [lever.curved for lever in place.levers]
        priors = place.prior_mean.tolist(), place.prior_sd.tolist()
        ours = SetupRegressor(place.repeatability, *priors, settings, curved, place.shared)
        seen, unseen = ({name: values[rows] for name, values in runs.nuisances.items()} for rows in (train, test))
        ours.fit(runs.settings[train], place.times[train], day=runs.day[train], hour=runs.hour[train], nuisances=seen)
        told = {OURS: ours.predict(runs.settings[test], return_std=True, nuisances=unseen)}
        for name, model in plain_regressors().items():
            told[name] = _plain(model, runs.settings[train], place.times[train], runs.settings[test])
        for name, (mean, sd) in told.items():
            within = y - mean - (y - mean).mean() if len(y) > 1 else np.full(len(y), np.nan)
            found.setdefault(name, []).extend(zip(y - mean, sd, within, strict=True))
    return [_score(name, place, np.array(pairs)) for name, pairs in found.items()]


def _plain(model: Any, X: FloatArray, y: FloatArray, unseen: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return mean and sd of a plain tool, its times standardised; without an sd of its own, that of its residuals."""
    from runlog.learning.estimator import predict_plainly

    centre, scale = float(y.mean()), float(y.std()) or 1.0
    mean, sd, fitted = predict_plainly(model, X, (y - centre) / scale, unseen)
    if sd is None:
        degrees = len(y) - 1 - int(np.linalg.matrix_rank(X - X.mean(axis=0)))
        residual = (y - centre) / scale - fitted
        sd = np.full(len(unseen), np.sqrt(residual @ residual / max(degrees, 1)))
    return centre + scale * mean, scale * sd


def _score(name: str, place: _Place, pairs: FloatArray) -> Score:
    error, sd, within = pairs.T
    inside = float(np.mean(np.abs(error) <= _Z90 * sd))
    paired = within[np.isfinite(within)]
    apart = float(np.sqrt(np.mean(paired**2))) if len(paired) else None
    return Score(name, place.from_ft, place.to_ft, len(error), float(np.sqrt(np.mean(error**2))), apart, inside)
