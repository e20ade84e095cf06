"""The regression of one increment with scikit-learn's interface: ``fit``, ``predict``, ``get_params``.

Import this module on purpose: scikit-learn costs about two seconds, so nothing else in ``runlog.learning`` does.
"""

from __future__ import annotations

import warnings
from typing import TYPE_CHECKING, Any

import numpy as np
from sklearn.base import BaseEstimator, RegressorMixin  # type: ignore[import-untyped]  # it ships no types
from sklearn.dummy import DummyRegressor  # type: ignore[import-untyped]
from sklearn.exceptions import ConvergenceWarning  # type: ignore[import-untyped]
from sklearn.gaussian_process import GaussianProcessRegressor  # type: ignore[import-untyped]
from sklearn.gaussian_process.kernels import RBF, ConstantKernel, WhiteKernel  # type: ignore[import-untyped]
from sklearn.linear_model import BayesianRidge, HuberRegressor, Ridge  # type: ignore[import-untyped]
from sklearn.utils.validation import check_is_fitted, validate_data  # type: ignore[import-untyped]

from runlog.learning.design import SEGMENTS, Lever, Runs, make_layout, segment_data
from runlog.learning.mixture import moments
from runlog.learning.priors import Settings, log_widening_prior, segment_prior
from runlog.learning.regression import combine, fit_segment

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import ArrayLike, NDArray

    from runlog.learning.shared import Shared

    FloatArray = NDArray[np.float64]


class SetupRegressor(RegressorMixin, BaseEstimator):  # type: ignore[misc]
    """Times of one increment against settings, with prior knowledge, day levels, drift and spoiled runs.

    Parameters: ``repeatability`` typical same-setup spread σ0 in the unit of y; ``prior_mean`` and ``prior_sd`` of the
    effect of one step, in the unit of y, one number for all columns or one each; ``curved`` whether a best setting may
    lie inside the range, for all or each; ``shared`` the quantities that columns act through; ``settings`` the other
    defaults.

    After ``fit``: ``coef_`` and ``coef_sd_`` (P,) posterior means and standard deviations, ``intercept_``, ``sigma_``
    the posterior mean of σ, ``spoiled_probability_`` (n,).
    """

    def __init__(
        self,
        repeatability: float = 1.0,
        prior_mean: float | Sequence[float] = 0.0,
        prior_sd: float | Sequence[float] = 1.0,
        settings: Settings | None = None,
        curved: bool | Sequence[bool] = False,
        shared: Shared | None = None,
    ) -> None:
        self.repeatability = repeatability
        self.prior_mean = prior_mean
        self.prior_sd = prior_sd
        self.settings = settings
        self.curved = curved
        self.shared = shared

    def fit(
        self,
        X: ArrayLike,
        y: ArrayLike,
        day: ArrayLike | None = None,
        hour: ArrayLike | None = None,
        nuisances: Mapping[str, ArrayLike] | None = None,
    ) -> Any:
        """Learn from settings X (n, P) in usual steps, times y (n,), and the test day and hour (n,) of each run.

        ``nuisances``: name → (n,) centred numbers, such as the lane as ±0.5.
        """
        x, measured = validate_data(self, X, y, dtype=np.float64, y_numeric=True)
        n, P = x.shape
        settings = self.settings or Settings()
        self._settings = Settings(**{**vars(settings), "repeatability": (float(self.repeatability),) * SEGMENTS})
        means = np.broadcast_to(np.asarray(self.prior_mean, dtype=float), (P,))
        sds = np.broadcast_to(np.asarray(self.prior_sd, dtype=float), (P,))
        bends = np.broadcast_to(np.asarray(self.curved, dtype=bool), (P,))
        levers = [
            Lever(str(p), 1.0, "", np.full(SEGMENTS, means[p]), np.full(SEGMENTS, sds[p]), bool(bends[p]))
            for p in range(P)
        ]
        beside = {name: np.asarray(values, dtype=float) for name, values in (nuisances or {}).items()}
        times = np.full((n, SEGMENTS), np.nan)
        times[:, 0] = measured
        days = np.zeros(n, dtype=int) if day is None else np.unique(np.asarray(day), return_inverse=True)[1]
        hours = np.zeros(n) if hour is None else np.asarray(hour, dtype=float)
        runs = Runs(tuple(str(i) for i in range(n)), times, days, hours, x, None, np.zeros(n, dtype=bool), beside)
        self._layout = make_layout(runs, levers, self.shared)
        self._data = segment_data(self._layout, runs, 0)
        prior = segment_prior(self._layout, 0, self._settings)
        self._posterior = fit_segment(self._data.X, self._data.y, prior, self._settings, len(self._layout.days))
        _, (self._weights,) = combine([self._posterior], log_widening_prior(self._settings))
        unit = np.array([self._layout.lever_functional(p, 0.0, 1.0) for p in range(P)])
        mean, variance = moments(self._weights.ravel(), *self._mixture(unit))
        self.coef_, self.coef_sd_ = mean, np.sqrt(variance)
        self.intercept_ = float(self.predict(np.zeros((1, P)))[0])
        self.sigma_ = float(self._weights.sum(axis=1) @ prior.grid.sigma)
        self.spoiled_probability_ = self._posterior.spoiled_probability(self._weights)
        return self

    def _mixture(self, T: FloatArray) -> tuple[FloatArray, FloatArray]:
        means, variances = self._posterior.functionals(T)
        return means.reshape(-1, len(T)), variances.reshape(-1, len(T))

    def predict(self, X: ArrayLike, return_std: bool = False, nuisances: Mapping[str, ArrayLike] | None = None) -> Any:
        """Return the expected times (n,) of clean runs on a new day, and with ``return_std`` their predictive sd.

        ``nuisances`` as for ``fit``; one that isn't given is 0.
        """
        check_is_fitted(self)
        x = validate_data(self, X, dtype=np.float64, reset=False)
        rows = np.zeros((len(x), self._layout.columns))
        rows[:, 0] = 1.0
        rows[:, self._layout.first_effect :] = self._layout.lever_row(x)
        first = self._layout.first_effect - len(self._layout.nuisances)
        for place, name in enumerate(self._layout.nuisances):
            rows[:, first + place] = np.asarray((nuisances or {}).get(name, 0.0), dtype=float)
        means, variances = self._mixture(rows - self._data.reference)
        grid = self._posterior.grid
        noise = grid.sigma**2 * (1.0 + grid.omega**2)
        variances += np.repeat(noise, len(means) // len(noise))[:, None]
        mean, variance = moments(self._weights.ravel(), means, variances)
        return (mean + self._data.centre, np.sqrt(variance)) if return_std else mean + self._data.centre


def plain_regressors() -> dict[str, Any]:
    """Return the plain tools that the regression is held against, as scikit-learn has them by default."""
    return {
        "mean of all runs": DummyRegressor(),
        "Ridge": Ridge(),
        "BayesianRidge": BayesianRidge(),
        "HuberRegressor": HuberRegressor(max_iter=1000),
        "Gaussian process": GaussianProcessRegressor(ConstantKernel() * RBF() + WhiteKernel()),
    }


def predict_plainly(model: Any, X: FloatArray, y: FloatArray, unseen: FloatArray
                    ) -> tuple[FloatArray, FloatArray | None, FloatArray]:  # fmt: skip
    """Return mean and, where the model tells one, sd of unseen rows, and what was fitted to the seen ones."""
    with warnings.catch_warnings():
        # a length or noise at the end of its range is an answer too
        warnings.simplefilter("ignore", ConvergenceWarning)
        model.fit(X, y)
    if isinstance(model, BayesianRidge | GaussianProcessRegressor):
        mean, sd = model.predict(unseen, return_std=True)
        return mean, sd, model.predict(X)
    return model.predict(unseen), None, model.predict(X)
