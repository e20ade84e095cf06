"""Which start is the run, and when the car moved. The made-up runs launch at a known instant."""

from __future__ import annotations

import numpy as np
import pytest
from launching import RISES, launch_felt
from scipy import stats

from runlog.records import Samples
from runlog.signals.analysis import analyse
from runlog.signals.launch import SHAFT_ONSET_SD, find_launch, release_near, starts_by_acceleration, starts_by_speed

ACCELEROMETER = {"acceleration_x": 200.0}
SHAFT = {"driveshaft_speed": 200.0}


@pytest.mark.parametrize("rates", [ACCELEROMETER, SHAFT, ACCELEROMETER | SHAFT, {"ground_speed": 50.0}])
@pytest.mark.parametrize("before", [{}, {"burnout": True}, {"creep": True}, {"burnout": True, "creep": True}])
def test_burnout_and_creep_are_told_from_the_run(true_run, vary, rates, before):
    run = vary(true_run, rates=rates, **before)
    found = analyse(run.samples(), run.setting)
    assert found.launch_time == pytest.approx(run.launch, abs=0.02)
    assert abs(found.launch_time - run.launch) < 3 * found.launch_time_sd


@pytest.mark.parametrize("rates", [ACCELEROMETER, ACCELEROMETER | SHAFT])
def test_a_burnout_faster_than_a_short_hit_is_told_from_it_by_the_accelerometer(true_run, vary, rates):
    run = vary(true_run, rates=rates, burnout=True, lift=1.2, coast=-6.0)
    assert run.motion(np.array([1.2]))[1][0] < 20.0  # the burnout spins at 28 m/s
    assert analyse(run.samples(), run.setting).launch_time == pytest.approx(run.launch, abs=0.02)


def test_by_driven_wheels_alone_the_choice_is_said(true_run, vary):
    run = vary(true_run, rates=SHAFT, burnout=True, lift=2.5)
    found = analyse(run.samples(), run.setting)
    assert any("the driven wheels start 2 times; the last is taken as the run" in text for text in found.warnings)
    assert found.launch_time == pytest.approx(run.launch, abs=0.02)


@pytest.mark.parametrize("name", ["acceleration_x", "ground_speed"])
def test_a_practice_start_before_the_run_is_not_the_run(true_run, vary, name):
    """A hop of 0.7 s at 10 m/s² eight seconds before, braked off again."""
    run = vary(true_run, rates={name: 100.0}, creep=True)
    samples = run.samples()[name]
    t = samples.time - (run.launch - 8.0)
    push = np.where((t >= 0) & (t < 0.7), 10.0, 0.0) - np.where((t >= 1.0) & (t < 2.4), 5.0, 0.0)
    hop = push if name == "acceleration_x" else np.cumsum(push) * 0.01
    found = analyse({name: Samples(samples.time, samples.values + hop)}, run.setting)
    assert found.launch_time == pytest.approx(run.launch, abs=0.02)


@pytest.mark.parametrize("hertz", [20.0, 50.0, 100.0, 400.0, 1000.0])
def test_launch_at_any_rate_is_within_a_sample_and_its_doubt(true_run, vary, hertz):
    """The launch falls between samples, at a place that is different in each trial."""
    errors = []
    for shift in np.linspace(0.0, 0.9, 7):
        run = vary(true_run, rates={"acceleration_x": hertz}, launch=12.0 + shift / hertz)
        found = analyse(run.samples(), run.setting)
        errors.append((found.launch_time - run.launch) / found.launch_time_sd)
        assert abs(found.launch_time - run.launch) < 0.8 / hertz + 0.001
    assert np.abs(errors).max() < 3.0
    assert np.sqrt(np.mean(np.square(errors))) < 1.6


def test_coarser_sampling_widens_the_doubt(true_run, vary):
    doubts = []
    for hertz in (1000.0, 100.0, 20.0):
        run = vary(true_run, rates={"acceleration_x": hertz})
        doubts.append(analyse(run.samples(), run.setting).launch_time_sd)
    assert doubts[0] < doubts[1] < doubts[2]


def test_the_switch_narrows_what_a_slow_speed_leaves_open(true_run, vary):
    slow = vary(true_run, rates={"ground_speed": 10.0})
    both = vary(true_run, rates={"ground_speed": 10.0, "launch_switch": 100.0})
    one, two = (analyse(run.samples(), run.setting) for run in (slow, both))
    assert two.launch_time_sd < one.launch_time_sd


def test_a_switch_released_elsewhere_is_not_used(true_run, vary):
    run = vary(true_run, rates=ACCELEROMETER | {"launch_switch": 100.0})
    samples = run.samples()
    moved = Samples(samples["launch_switch"].time - 2.0, samples["launch_switch"].values)
    found = analyse(samples | {"launch_switch": moved}, run.setting)
    assert found.launch_time == pytest.approx(run.launch, abs=0.01)
    assert any("launch switch isn't released within 0.6 s" in text for text in found.warnings)


def test_the_nearest_release_counts():
    time = np.arange(0, 10, 0.01)
    held = ((time > 1) & (time < 2)) | ((time > 8) & (time < 9.0))
    assert release_near(Samples(time, held.astype(float)), 9.1) == pytest.approx(9.0, abs=0.01)
    assert release_near(Samples(time, held.astype(float)), 5.0) is None


AIM = 0.005
"""[s] within which the launch should be found at 100 Hz"""


MISSED = (
    "not met: noise hides how a push begins, so that several shapes and lengths of the rise fit alike; root mean "
    "square error of 100 such launches, by shape in the order above: 9.0, 9.1, 10.1, 6.8 and 12.6 ms"
)


def pushes(shape: str, count: int) -> np.ndarray:
    """Error and sd of launches by an accelerometer."""
    rng = np.random.default_rng([2031, list(RISES).index(shape)])
    pairs = []
    for _ in range(count):
        found = find_launch(launch_felt(shape, rng), None, None, None)
        pairs.append((found.time, found.sd))
    return np.array(pairs)


def test_intervals_of_the_launch_hold_it_whatever_shape_the_rise_has():
    """90 % intervals hold 85 to 95 %, give or take what chance does to so few (1 %); the fit has no overshoot."""
    each = 24
    inside = []
    for shape in RISES:
        error, sd = pushes(shape, each).T
        inside.append(int((np.abs(error) < 1.645 * sd).sum()))
        assert np.abs(error / sd).max() < 3.5
    assert min(inside) >= stats.binom.ppf(0.01, each, 0.85)
    assert stats.binom.ppf(0.01, each * len(RISES), 0.85) <= sum(inside)
    assert sum(inside) <= stats.binom.ppf(0.99, each * len(RISES), 0.95)


@pytest.mark.parametrize("names", [("acceleration_x",), ("acceleration_x", "driveshaft_speed")])
def test_a_push_that_is_there_at_once_is_found_within_5_ms(true_run, vary, names):
    rng = np.random.default_rng(77)
    noise = {"acceleration_x": 0.5, "driveshaft_speed": 1.0}
    errors = []
    for seed in range(12):
        run = vary(
            true_run,
            rates=dict.fromkeys(names, 100.0),
            noise={name: noise[name] for name in names},
            launch=12.0 + rng.uniform(0.0, 0.01),
            a0=rng.uniform(9.0, 16.0),
            seed=seed,
        )
        samples = run.samples()
        shaft = samples.get("driveshaft_speed")
        wheels = shaft and Samples(shaft.time, shaft.values / (2 * np.pi) * 2.6 / 4.1)
        errors.append(find_launch(samples["acceleration_x"], None, wheels, None).time - run.launch)
    assert np.sqrt(np.mean(np.square(errors))) < AIM


@pytest.mark.parametrize("shape", RISES)
@pytest.mark.xfail(strict=True, reason=MISSED)
def test_a_push_that_rises_is_found_within_5_ms(shape):
    error, _ = pushes(shape, 24).T
    assert np.sqrt(np.mean(np.square(error))) < AIM


@pytest.mark.parametrize("hertz", [50.0, 100.0, 500.0])
def test_the_wrap_of_the_tyre_does_not_bring_the_launch_forward(hertz):
    """A push of 15 m/s² rises straight in 0.12 s while the tread winds up by 3 cm: the shaft jumps to 0.25 m/s at once.

    The limit is the doubt that the program states of a shaft at least.
    """
    rng = np.random.default_rng(3)
    time = np.arange(-4.0, 2.0, 1.0 / hertz) + 0.3 / hertz
    since = np.clip(time, 0.0, 0.12)
    speed = 15.0 * (0.5 * since**2 / 0.12 + np.maximum(time - 0.12, 0.0))
    wound = np.where((time > 0.0) & (time < 0.12), 0.03 / 0.12, 0.0)
    shaft = Samples(time, np.maximum(speed + wound + rng.normal(0.0, 0.04, time.size), 0.0))
    found = find_launch(None, None, shaft, None)
    assert abs(found.time) < SHAFT_ONSET_SD


def test_a_weak_swing_before_the_push_is_no_part_of_the_start():
    """Vibration near the sampling rate shows as a slow swing; 1.8 m/s² for 0.3 s ends 0.4 s before the launch."""
    time = np.arange(-6.0, 3.0, 0.02)
    push = np.where(time > 0.0, 15.0, 0.0) + np.where((time > -0.7) & (time < -0.4), 1.8, 0.0)
    found = find_launch(Samples(time, push), None, None, None)
    assert found.time == pytest.approx(0.0, abs=0.02)
    hit = np.where((time > -0.7) & (time < -0.4), 8.0, 0.0)  # a real hit before a bog is the launch
    assert find_launch(Samples(time, push + hit), None, None, None).time < -0.6


def test_a_gentle_roll_is_no_start():
    time = np.arange(0, 20, 0.02)
    push = np.where((time > 5) & (time < 15), 1.0, 0.0)
    assert starts_by_acceleration(Samples(time, push)) == []
    assert starts_by_speed(Samples(time, np.cumsum(push) * 0.02)) == []


def test_a_shift_does_not_end_a_start():
    time = np.arange(0, 20, 0.01)
    push = np.where((time > 5) & (time < 12), 8.0, 0.0)
    push[(time > 7) & (time < 7.3)] = -1.0
    starts = starts_by_acceleration(Samples(time, push))
    assert len(starts) == 1
    assert starts[0].gain == pytest.approx(8 * 6.7 - 0.3, rel=0.02)


def test_without_any_channel_there_is_no_launch():
    assert find_launch(None, None, None, None) is None
