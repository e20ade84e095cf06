"""Forecasts of the next run, and the repeatability that they rest on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from runlog.constants import INCREMENTS_FT
from runlog.learning import Settings, fit_car
from runlog.learning.forecast import forecast

ABBA = np.array([[0.0], [1.0], [1.0], [0.0]])
BASELINE = np.zeros(1)


def test_one_grid_point_is_the_predictive_normal_distribution(garage):
    """Conditioning of one multivariate normal (BDA3 § 14.3) written out with covariances of times, not coefficients."""
    one = Settings(
        repeatability_range=(1.0, 1.0, 1), day_levels=(0.5,), drift_rates=(0.2,), widenings=(1.0,),
        widening_weights=(1.0,), baseline_width=50.0, spoiled_share=1e-14,
    )  # fmt: skip
    x = np.array([0.0, 1, 1, 0, 2, 0])
    day, hour = np.array([0, 0, 0, 1, 1, 1]), np.array([9.0, 10, 11.5, 9.5, 10, 13])
    air = np.linspace(0, 0.05, 6)[:, None] * np.ones(5)
    runs = garage.runs(x[:, None], day=day, hour=hour, air_shift=air, seed=5)
    found = forecast(fit_car(runs, garage.levers(1), one), np.array([1.0]), 1, 14.0, np.full(5, 0.03))
    for k in range(5):
        s0 = one.repeatability[k]
        t = np.append(hour, 14.0) - np.where(np.append(day, 1) == 0, hour[:3].mean(), hour[3:].mean())
        X, D, A = np.append(x, 1.0), np.append(day, 1), np.append(air[:, k], 0.03)
        same_day = (D[:, None] == D[None, :]) * s0**2 * (0.5**2 + 0.2**2 * np.outer(t, t))
        S = (50 * s0) ** 2 + same_day + np.outer(A, A) * 0.2**2 + np.outer(X, X) * garage.levers(1)[0].sd[k] ** 2
        S = S + s0**2 * np.eye(7)
        centre = np.median(runs.times[:, k] - air[:, k])
        gain = S[6, :6] @ np.linalg.inv(S[:6, :6])
        mean = centre + 0.03 + gain @ (runs.times[:, k] - air[:, k] - centre)
        assert found.increments[k].mean_s == pytest.approx(mean, abs=1e-8)
        assert found.increments[k].sd_s == pytest.approx(np.sqrt(S[6, 6] - gain @ S[:6, 6]), rel=1e-6)


def test_splits_add_increments_and_widen(garage):
    result = forecast(fit_car(garage.runs(np.tile(ABBA, (2, 1))), garage.levers(1)), BASELINE, 0, 17.0)
    assert [s.to_ft for s in result.splits] == [end for _, end in INCREMENTS_FT]
    assert result.splits[-1].mean_s == pytest.approx(sum(part.mean_s for part in result.increments))
    assert result.splits[0] == result.increments[0]
    sds = [s.sd_s for s in result.splits]
    assert sds == sorted(sds)
    assert all(s.lo90_s < s.mean_s < s.hi90_s for s in result.splits)


def test_dial_and_chance_are_each_others_inverse(garage):
    result = forecast(fit_car(garage.runs(np.tile(ABBA, (2, 1))), garage.levers(1)), BASELINE, 0, 17.0)
    for risk in (0.02, 0.1, 0.5):
        assert result.chance_under(result.dial(risk)) == pytest.approx(risk, abs=1e-9)
    finish = result.splits[-1]
    assert result.dial(0.1) == pytest.approx(stats.norm.ppf(0.1, finish.mean_s, finish.sd_s), abs=1e-9)
    assert result.dial(0.05) < result.dial(0.2)
    assert result.chance_under(finish.mean_s, 1320) == pytest.approx(0.5)
    with pytest.raises(ValueError, match="no split at 500 ft"):
        result.chance_under(6.0, 500)


def test_what_is_less_known_is_forecast_wider(garage):
    fit = fit_car(garage.runs(np.tile([*ABBA, *ABBA], (2, 1)), day=np.repeat([0, 1], 8)), garage.levers(1))
    base = forecast(fit, BASELINE, 1, 16.0).splits[-1].sd_s
    assert forecast(fit, BASELINE, 7, 16.0).splits[-1].sd_s > base  # a day that hasn't begun
    assert forecast(fit, np.array([6.0]), 1, 16.0).splits[-1].sd_s > base  # far beyond what was tried
    assert forecast(fit, BASELINE, 1, 40.0).splits[-1].sd_s > base  # long after the last run


def test_the_air_to_come_moves_the_forecast_by_what_the_model_says(garage):
    air = np.random.default_rng(2).uniform(0, 0.02, (8, 5))
    fit = fit_car(garage.runs(np.tile(ABBA, (2, 1)), air_shift=air), garage.levers(1))
    low, high, as_now, unknown = (
        forecast(fit, BASELINE, 0, 17.0, shift).splits[-1].mean_s
        for shift in (np.zeros(5), np.full(5, 0.02), air.mean(axis=0), None)
    )
    assert high - low == pytest.approx(0.1, rel=0.4)
    assert unknown == pytest.approx(as_now, abs=1e-9)


def test_without_a_run_nothing_is_forecast(garage):
    times = garage.runs(np.tile(ABBA, (2, 1))).times.copy()
    times[:, 2:] = np.nan
    result = forecast(fit_car(garage.runs(np.tile(ABBA, (2, 1)), times=times), garage.levers(1)), BASELINE, 0, 17.0)
    assert np.isfinite([s.mean_s for s in result.splits[:2]]).all()
    assert np.isnan([s.mean_s for s in result.splits[2:]]).all()
    assert result.finish_ft == 330
    assert 0 < result.chance_under(4.0) < 1
    none = forecast(fit_car(garage.runs(np.zeros((0, 1))), garage.levers(1)), BASELINE, 0, 9.0)
    assert np.isnan([s.mean_s for s in none.splits]).all()


def test_one_run_is_enough_for_a_wide_forecast(garage):
    runs = garage.runs(np.zeros((1, 1)))
    result = forecast(fit_car(runs, garage.levers(1)), BASELINE, 0, 11.0)
    assert result.increments[0].mean_s == pytest.approx(runs.times[0, 0], abs=1e-6)
    assert result.increments[0].sd_s > np.sqrt(2) * 0.5 * Settings().repeatability[0]


def test_share_of_spoiled_runs_is_the_cars_own_count(garage):
    runs = garage.runs(np.zeros((12, 1)))
    clean = forecast(fit_car(runs, garage.levers(1)), BASELINE, 0, 12.0).chance_spoiled
    third = replace(runs, spoiled=np.arange(12) % 3 == 0)
    marked = forecast(fit_car(third, garage.levers(1)), BASELINE, 0, 12.0).chance_spoiled
    # mean of a beta posterior, prior Beta(2, 26)
    assert clean == pytest.approx(stats.beta(2, 26 + 12).mean())
    assert marked == pytest.approx(stats.beta(2 + 4, 26 + 8).mean())


def test_wrong_number_of_settings_is_refused(garage):
    with pytest.raises(ValueError, match="for 1 adjustables"):
        forecast(fit_car(garage.runs(ABBA), garage.levers(1)), np.zeros(3), 0, 9.0)


def test_the_quick_way_forecasts_nearly_the_same(garage):
    rng = np.random.default_rng(3)
    runs = garage.runs(rng.integers(0, 2, (10, 3)).astype(float), day=np.repeat([0, 1], 5))
    full, quick = (
        forecast(fit_car(runs, garage.levers(3), Settings(quick=q)), np.zeros(3), 1, 16.0).splits[-1]
        for q in (False, True)
    )
    assert quick.mean_s == pytest.approx(full.mean_s, abs=0.3 * full.sd_s)
    assert quick.sd_s == pytest.approx(full.sd_s, rel=0.15)


# --- repeatability --------------------------------------------------------------------------------------------------

SIRSTV = np.array([
    [196.3052, 196.1240, 196.1890, 196.2569, 196.3403],
    [196.3042, 196.3825, 196.1669, 196.3257, 196.0422],
    [196.1303, 196.2005, 196.2889, 196.0343, 196.1811],
    [196.2795, 196.1748, 196.1494, 196.1485, 195.9885],
    [196.2119, 196.1051, 196.1850, 196.0052, 196.2090],
])  # fmt: skip
"""NIST StRD SiRstv: 5 instruments × 5"""


def test_plain_pooled_spread_is_the_certified_within_sd(garage):
    times = np.full((25, 5), np.nan)
    times[:, 0] = SIRSTV.ravel()
    runs = garage.runs(np.repeat(np.arange(5.0), 5)[:, None], times=times)
    first = fit_car(runs, garage.levers(1)).repeatability[0]
    # NIST StRD SiRstv, certified residual standard deviation; ISO 5725-2 calls it the repeatability sd
    assert first.plain_sd_s == pytest.approx(0.104076068334656, rel=1e-9)
    assert first.plain_degrees == 20
    bounds = 0.104076068334656 * np.sqrt(20 / stats.chi2.ppf([0.95, 0.05], 20))
    assert (first.plain_lo90_s, first.plain_hi90_s) == pytest.approx(tuple(bounds), rel=1e-7)


def test_without_repeats_there_is_no_plain_spread(garage):
    first = fit_car(garage.runs(np.arange(4.0)[:, None]), garage.levers(1)).repeatability[0]
    assert first.plain_sd_s is None
    assert first.plain_degrees == 0
    assert not first.measured


@pytest.mark.parametrize("factor", [0.6, 1.0, 2.0, 3.5])
def test_repeatability_follows_the_runs(garage, factor):
    rng = np.random.default_rng(4)
    sigma0 = np.array(Settings().repeatability)
    times = 2.0 + factor * sigma0 * rng.normal(size=(60, 5))
    fit = fit_car(garage.runs(np.zeros((60, 1)), times=times, day=np.arange(60) // 10), garage.levers(1))
    for part, true in zip(fit.repeatability, factor * sigma0, strict=True):
        assert part.measured
        assert part.lo90_s < part.sd_s < part.hi90_s
        assert part.sd_s == pytest.approx(true, rel=0.25)
