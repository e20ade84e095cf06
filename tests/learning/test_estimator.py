"""The scikit-learn face, checked by scikit-learn's own estimator checks and against the fit that it wraps."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
from sklearn.utils.estimator_checks import parametrize_with_checks

from runlog.learning import Lever, Runs, Settings, fit_car
from runlog.learning.estimator import SetupRegressor


@parametrize_with_checks([SetupRegressor()])
def test_keeps_scikit_learns_estimator_contract(estimator, check):
    check(estimator)


def test_says_what_the_car_fit_says_of_one_increment():
    rng = np.random.default_rng(4)
    x = np.repeat([[0.0], [1.0]], 4, axis=0)
    day, hour = np.tile([3, 9], 4), np.arange(8) * 0.7
    y = 1.4 - 0.01 * x[:, 0] + rng.normal(0, 0.01, 8)
    face = SetupRegressor(repeatability=0.012, prior_sd=0.012).fit(x, y, day=day, hour=hour)

    times = np.full((8, 5), np.nan)
    times[:, 0] = y
    lever = Lever("pressure", 0.5, "psi", np.zeros(5), np.full(5, 0.012))
    settings = Settings(repeatability=(0.012,) * 5)
    runs = Runs(tuple("abcdefgh"), times, day, hour, x, None, np.zeros(8, dtype=bool))
    effect = fit_car(runs, [lever], settings).effects[0]
    assert face.coef_[0] == pytest.approx(effect.mean_s, abs=1e-12)
    assert face.coef_sd_[0] == pytest.approx(effect.sd_s, abs=1e-12)


def test_predicts_wider_for_what_was_never_tried():
    x = np.repeat([[0.0], [1.0]], 4, axis=0)
    y = np.array([1.0, 1.1, 0.9, 1.0, 2.0, 2.1, 1.9, 2.0])
    model = SetupRegressor(repeatability=0.1, prior_sd=1.0).fit(x, y)
    mean, sd = model.predict([[0.0], [1.0], [5.0]], return_std=True)
    assert mean[1] - mean[0] == pytest.approx(model.coef_[0])
    assert sd[2] > 2 * sd[1]


def test_knows_curvature_and_lane_as_the_car_fit_does():
    rng = np.random.default_rng(9)
    x = np.tile([[-1.0], [0.0], [1.0], [2.0]], (6, 1))
    lane = np.tile([0.5, -0.5, -0.5], 8)
    y = 1.4 + 0.012 * x[:, 0] ** 2 + 0.02 * lane + rng.normal(0, 0.004, 24)
    face = SetupRegressor(repeatability=0.012, prior_sd=0.012, curved=True).fit(x, y, nuisances={"lane": lane})
    mean = face.predict([[0.0], [1.0], [2.0]])
    # of the parabola 0.012 x²: 12 ms for the first step, 36 ms for the second
    assert mean[1] - mean[0] == pytest.approx(0.012, abs=0.006)
    assert mean[2] - mean[1] > mean[1] - mean[0] + 0.01
    across = face.predict([[0.0], [0.0]], nuisances={"lane": [0.5, -0.5]})
    assert across[0] - across[1] == pytest.approx(0.02, abs=0.008)

    times = np.full((24, 5), np.nan)
    times[:, 0] = y
    lever = Lever("pressure", 0.5, "psi", np.zeros(5), np.full(5, 0.012), True)
    runs = Runs(tuple(map(str, range(24))), times, np.zeros(24, dtype=int), np.zeros(24), x, None,
                np.zeros(24, dtype=bool), {"lane": lane})  # fmt: skip
    effect = fit_car(runs, [lever], Settings(repeatability=(0.012,) * 5)).effects[0]
    assert face.coef_[0] == pytest.approx(effect.mean_s, abs=1e-12)


def test_scikit_learn_is_loaded_by_nothing_else_in_learning():
    code = (
        "import sys, pkgutil, importlib, runlog.learning as L\n"
        "for m in pkgutil.iter_modules(L.__path__):\n"
        "    if m.name != 'estimator': importlib.import_module(f'runlog.learning.{m.name}')\n"
        "print([n for n in ('sklearn', 'scipy', 'pandas', 'statsmodels', 'duckdb', 'rich') if n in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
