"""Leave-one-day-out scores, against scikit-learn's own cross-validation and against what was simulated."""

from __future__ import annotations

import numpy as np
import pytest
from sklearn.compose import TransformedTargetRegressor
from sklearn.dummy import DummyRegressor
from sklearn.linear_model import HuberRegressor, Ridge
from sklearn.model_selection import LeaveOneGroupOut, cross_val_predict
from sklearn.preprocessing import StandardScaler

from runlog.learning import Lever, Runs, Settings
from runlog.learning.backtest import OURS, backtest

LEVERS = [Lever("launch rpm", 200.0, "rpm", np.zeros(5), np.full(5, 0.012)),
          Lever("wing angle", 1.0, "deg", np.zeros(5), np.full(5, 0.006))]  # fmt: skip


def simulate(days: int = 5, seed: int = 2) -> Runs:
    """Six runs a day; a step of the first is 30 ms quicker on every increment; scatter 10 ms, no level of the day."""
    rng = np.random.default_rng(seed)
    n = 6 * days
    settings = np.column_stack([np.tile([0.0, 1, 1, 0, 1, 0], days), np.repeat(np.arange(days) % 2, 6)])
    air = rng.normal(0, 0.02, (n, 5))
    times = np.array([1.4, 2.4, 2.0, 1.7, 1.5]) - 0.03 * settings[:, :1] + rng.normal(0, 0.01, (n, 5)) + air
    day = np.repeat(np.arange(days), 6)
    hour = np.tile(np.arange(6.0), days)
    keys = tuple(str(number) for number in range(n))
    return Runs(keys, times, day, hour, settings.astype(float), air, np.zeros(n, dtype=bool))


@pytest.fixture(scope="module")
def scores():
    return {(one.model, one.from_ft, one.to_ft): one for one in backtest(simulate(), LEVERS, Settings(finish_ft=1320))}


@pytest.mark.parametrize(
    ("name", "model"),
    [("Ridge", Ridge()), ("HuberRegressor", HuberRegressor(max_iter=1000)), ("mean of all runs", DummyRegressor())],
)
def test_errors_of_plain_tools_against_scikit_learns_cross_validation(scores, name, model):
    runs = simulate()
    whole = TransformedTargetRegressor(model, transformer=StandardScaler())
    for start, end, y in (
        (0, 60, (runs.times - runs.air_shift)[:, 0]),
        (0, 1320, (runs.times - runs.air_shift).sum(axis=1)),
    ):
        told = cross_val_predict(whole, runs.settings, y, groups=runs.day, cv=LeaveOneGroupOut())
        found = scores[name, start, end]
        assert found.rms_error_s == pytest.approx(np.sqrt(np.mean((y - told) ** 2)), rel=1e-6)
        assert found.runs == 30


def test_ours_foretells_what_was_simulated(scores):
    """Scatter 10 ms by construction: the error lies near it, far below that of the mean, and intervals cover 90 %."""
    places = [key for key in scores if key[0] == OURS]
    assert len(places) == 6
    for key in places[:5]:
        assert 0.007 < scores[key].rms_error_s < 0.013
        assert scores[key].rms_error_s < scores["mean of all runs", *key[1:]].rms_error_s
    share = np.mean([scores[key].covered90 for key in places[:5]])
    assert 0.82 <= share <= 0.98  # of 150 runs: binomial sd 2.4 %


def test_a_day_of_its_own_cannot_be_left_out():
    with pytest.raises(ValueError, match="runs of two days are needed"):
        backtest(simulate(days=1), LEVERS)


def test_a_place_that_too_few_runs_reached_has_no_score():
    runs = simulate(days=2)
    runs.times[:, 4] = np.nan
    found = backtest(runs, LEVERS, Settings(finish_ft=1000))
    assert {(one.from_ft, one.to_ft) for one in found} == {(0, 60), (60, 330), (330, 660), (660, 1000), (0, 1000)}


def test_same_data_same_scores(scores):
    again = backtest(simulate(), LEVERS, Settings(finish_ft=1320))
    assert list(again) == list(scores.values())
