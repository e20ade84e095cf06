"""The whole analysis against runs known in closed form."""

from __future__ import annotations

import numpy as np
import pytest

from runlog.constants import FOOT
from runlog.records import Samples
from runlog.signals.analysis import Setting, analyse

NOISE = {"acceleration_x": 0.6, "driveshaft_speed": 4.0}


@pytest.mark.parametrize("hertz", [50.0, 100.0, 200.0, 500.0, 1000.0])
def test_splits_of_a_clean_run_agree_with_the_closed_form(true_run, vary, hertz):
    run = vary(true_run, rates={"acceleration_x": hertz, "driveshaft_speed": hertz})
    found = analyse(run.samples(), run.setting)
    assert found.launch_time == pytest.approx(run.launch, abs=1.0 / hertz + 0.002)
    for feet, truth in run.splits().items():
        assert found.splits[feet][0] == pytest.approx(truth, abs=0.002 + 0.1 / hertz), feet
    x, v, _ = run.motion(found.time + found.launch_time - run.launch)
    # the launch falls between two samples; 0.1 % beside that
    assert (np.abs(found.distance - x) < 0.05 + 8.0 / hertz + 1e-3 * x).all()
    assert np.abs(found.speed - v).max() < 0.1


def test_the_doubt_of_distance_and_speed_holds_the_truth_at_every_sample(true_run, vary):
    run = vary(true_run, noise=NOISE, bias=0.2, circumference_error=0.004)
    found = analyse(run.samples(), run.setting)
    x, v, _ = run.motion(found.time + found.launch_time - run.launch)
    moving = found.time > 0.3
    assert (np.abs(found.distance - x) < 3.0 * found.distance_sd + 0.05)[moving].all()
    assert (np.abs(found.speed - v) < 3.0 * found.speed_sd)[moving].all()
    far = found.distance_sd[moving]
    assert far[-1] > far[far.size // 2] > far[0] > 0.0  # without beams the doubt of the distance only grows
    assert found.distance_sd.shape == found.speed_sd.shape == found.time.shape


def test_closed_form_of_the_made_up_run_is_the_published_case(true_run):
    """1000 hp, 2500 lb, 1.5 g from standstill: 1.57686, 3.70179 and 7.79075 s (closed form, worked independently)."""
    for feet, time in {60: 1.57686, 330: 3.70179, 1320: 7.79075}.items():
        assert true_run.time_to(feet * FOOT) == pytest.approx(time, abs=1e-5)


@pytest.mark.parametrize(
    "change",
    [
        {},
        {"bias": 0.5},
        {"circumference_error": 0.01},
        {"circumference_error": -0.01},
        {"slip": 0.10},
        {"burnout": True, "creep": True},
        {"rates": {"acceleration_x": 500.0, "driveshaft_speed": 20.0}},
    ],
)
def test_noise_bias_slip_and_a_burnout_stay_within_the_stated_doubt(true_run, vary, change):
    run = vary(true_run, noise=NOISE, **change)
    found = analyse(run.samples(), run.setting)
    assert found.launch_time == pytest.approx(run.launch, abs=0.01)
    assert found.peak_acceleration == pytest.approx(run.a0, abs=0.5)
    for feet, truth in run.splits().items():
        time, sd = found.splits[feet]
        assert abs(time - truth) < min(2 * sd, 0.01 + 0.005 * truth), feet


def test_nothing_logged_gives_nothing_and_says_so():
    found = analyse({}, Setting(2.6, 4.1))
    assert found.launch_time is None
    assert found.splits == {}
    assert found.distance is None
    assert any("no acceleration, wheel, driveshaft or ground speed was logged" in text for text in found.warnings)


def test_a_car_that_stands_still_has_no_launch():
    time = np.arange(2000) / 100.0
    still = Samples(time, np.random.default_rng(1).normal(0.1, 0.3, time.size))
    found = analyse({"acceleration_x": still}, Setting(2.6, 4.1))
    assert found.launch_time is None
    assert any("no launch was found" in text for text in found.warnings)
