"""Lift, peak acceleration, tyre slip and shake on signals whose truth is known."""

from __future__ import annotations

import numpy as np
import pytest

from runlog.records import Samples
from runlog.signals.analysis import analyse
from runlog.signals.events import band_energy, peak_acceleration, shake_suspected, throttle_closings

RATES = {"acceleration_x": 200.0, "driveshaft_speed": 200.0, "throttle": 50.0}


def with_values(samples: Samples, change) -> Samples:
    return Samples(samples.time, change(samples.time, samples.values))


@pytest.mark.parametrize("lift", [1.4, 3.0, 6.0])
@pytest.mark.parametrize("with_throttle", [True, False])
def test_a_lift_is_timed_and_placed(true_run, vary, lift, with_throttle):
    rates = dict(RATES) if with_throttle else {name: RATES[name] for name in list(RATES)[:2]}
    run = vary(true_run, rates=rates, lift=lift)
    found = analyse(run.samples(), run.setting)
    # by speed alone the lift shows when the mean over half a second falls: up to that much early
    assert found.lift_time == pytest.approx(lift, abs=0.03 if with_throttle else 0.5)
    assert found.lift_distance == pytest.approx(run.motion(np.array([found.lift_time]))[0][0], rel=0.02, abs=0.3)
    assert any("the pull ends at" in text and "coasting" in text for text in found.warnings)


def test_a_full_run_has_no_lift(true_run, vary):
    run = vary(true_run, rates=RATES)
    found = analyse(run.samples(), run.setting)
    assert found.lift_time is None
    assert found.lift_distance is None


def test_a_stab_of_the_pedal_is_said_but_is_no_lift():
    time = np.arange(0, 10, 0.02)
    throttle = np.where((time > 3.0) & (time < 3.2), 0.1, 1.0)
    assert throttle_closings(Samples(time, throttle), 0.0) == (None, (pytest.approx(3.0, abs=0.03),))
    throttle[time > 6.0] = 0.0
    assert throttle_closings(Samples(time, throttle), 0.0)[0] == pytest.approx(6.0, abs=0.03)


def test_peak_acceleration_is_that_of_the_car_not_of_noise_or_a_knock():
    time = np.arange(0, 5, 0.005)
    rng = np.random.default_rng(2)
    values = np.where(time < 2, 12.0, 6.0) + 0.4 + rng.normal(0, 1.0, time.size)
    values[(time > 3.0) & (time < 3.02)] += 60.0
    assert peak_acceleration(Samples(time, values), 0.4, 0.0, 5.0) == pytest.approx(12.0, abs=0.4)
    shaken = values + 15 * np.sin(2 * np.pi * 25 * time)
    assert peak_acceleration(Samples(time, shaken), 0.4, 0.0, 5.0) == pytest.approx(12.0, abs=0.5)


def test_peak_acceleration_of_too_little_is_unknown():
    assert peak_acceleration(Samples(np.arange(3) * 0.05, np.ones(3)), 0.0, 0.0, 0.1) is None
    assert peak_acceleration(Samples(np.arange(9.0), np.ones(9)), 0.0, 0.0, 8.0) is None


@pytest.mark.parametrize("slip", [0.0, 0.1, 0.3])
def test_peak_slip_follows_the_made_slip(true_run, vary, slip):
    """SAE J670 sense ω/ω₀ − 1: the wheel turns faster than it would rolling freely, so it is positive."""
    run = vary(true_run, rates=RATES | {"front_wheel_speed": 100.0}, slip=slip)
    at_5 = 5.0 / run.a0  # slip is looked at from 5 m/s on
    truth = slip * (0.2 + 0.8 * np.exp(-(at_5 + 0.05) / 0.7))
    assert analyse(run.samples(), run.setting).peak_slip == pytest.approx(truth, abs=0.02)


def test_peak_slip_needs_a_second_speed(true_run, vary):
    run = vary(true_run, rates={"driveshaft_speed": 200.0}, slip=0.2)
    found = analyse(run.samples(), run.setting)
    assert found.peak_slip is None
    assert found.peak_acceleration is None
    assert any("driven wheels alone" in text for text in found.warnings)


def test_a_wheel_that_spins_hardly_moves_the_speed(true_run, vary):
    run = vary(true_run, rates=RATES)
    samples = run.samples()
    spin = lambda time, values: values * (1 + np.interp(time - run.launch, [1, 1.2, 1.8, 2], [0, 0.6, 0.6, 0]))  # noqa: E731
    samples["driveshaft_speed"] = with_values(samples["driveshaft_speed"], spin)
    found = analyse(samples, run.setting)
    assert found.peak_slip == pytest.approx(0.6, abs=0.06)
    assert found.splits[330][0] == pytest.approx(run.splits()[330], abs=0.03)


def shaken(run, hertz: float, size: float):
    def change(time, values):
        t = time - run.launch
        return values + np.where((t > 0.5) & (t < 1.8), size * np.sin(2 * np.pi * hertz * t), 0.0)

    samples = run.samples()
    return samples | {"acceleration_x": with_values(samples["acceleration_x"], change)}


@pytest.mark.parametrize(
    ("hertz", "size", "expected"), [(20, 8.0, True), (32, 8.0, True), (20, 0.5, False), (3, 4.0, False)]
)
def test_shake_is_a_strong_tone_in_its_band(true_run, vary, hertz, size, expected):
    run = vary(true_run, rates=RATES, noise={"acceleration_x": 0.6})
    assert analyse(shaken(run, hertz, size), run.setting).shake_suspected is expected


def test_roughness_without_a_tone_is_no_shake(true_run, vary):
    run = vary(true_run, rates=RATES, noise={"acceleration_x": 4.0})
    assert analyse(run.samples(), run.setting).shake_suspected is False


def test_a_slow_accelerometer_cannot_tell_shake(true_run, vary):
    run = vary(true_run, rates=RATES | {"acceleration_x": 50.0})
    assert analyse(run.samples(), run.setting).shake_suspected is None


@pytest.mark.parametrize("hertz", [12.0, 25.0, 40.0])
def test_band_energy_of_a_tone(hertz):
    """The root mean square of A sin is A/√2 (closed form); the Hann window leaves it within a few per cent."""
    time = np.arange(200) / 200.0
    rms, tone = band_energy((3.0 * np.sin(2 * np.pi * hertz * time))[None, :], 200.0)
    assert rms[0] == pytest.approx(3.0 / np.sqrt(2), rel=0.03)
    assert tone[0] > 0.95


def test_band_energy_agrees_with_an_independent_spectrum():
    """Oracle: scipy.signal.periodogram with the same window, on white noise."""
    signal = pytest.importorskip("scipy.signal")
    noise = np.random.default_rng(4).normal(0, 1, 256)
    straight = noise - np.polyval(np.polyfit(np.arange(256), noise, 2), np.arange(256))
    frequency, density = signal.periodogram(straight, 200.0, np.hanning(256), detrend=False)
    band = (frequency >= 10) & (frequency <= 45)
    expected = np.sqrt(density[band].sum() * 200.0 / 256)
    assert band_energy(noise[None, :], 200.0)[0][0] == pytest.approx(expected, rel=1e-6)


def test_shake_needs_two_windows():
    time = np.arange(0, 0.8, 0.005)
    assert shake_suspected(Samples(time, np.sin(time)), 0.0, 0.8) is None
