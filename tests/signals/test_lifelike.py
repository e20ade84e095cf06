"""Traces with what real cars add at once: a push that builds up, pitch, slip, vibration, quantised sensors.

The truth is the closed-form run with its acceleration averaged over the rise time, integrated at 5,000 Hz.
"""

from __future__ import annotations

import numpy as np
import pytest

from runlog.constants import FOOT, STANDARD_GRAVITY
from runlog.records import Samples
from runlog.signals.analysis import analyse

CLOCK = 100.0
"""[s] of the launch on the logger's clock"""


def lifelike(run, rng, hertz: float) -> tuple[dict[str, Samples], dict[int, float]]:
    step, rise = 2e-4, rng.uniform(0.08, 0.2)
    t = np.arange(-6.0, 10.0, step)
    v = (run.after(t)[0] - run.after(t - rise)[0]) / rise
    a = (run.after(t)[1] - run.after(t - rise)[1]) / rise
    x = np.cumsum(v) * step
    start = np.interp(run.rollout, x, t)
    truth = {feet: float(np.interp(run.rollout + feet * FOOT, x, t) - start) for feet in (60, 330, 660, 1000, 1320)}
    pitch = np.radians(rng.uniform(0.0, 2.5)) * a / run.a0
    slip = 0.02 + rng.uniform(0.0, 0.1) * np.exp(-np.maximum(t, 0) / 0.8)
    clock = np.arange(-6.0 + rng.uniform(0, 1 / hertz), 10.0, 1 / hertz)
    shake = rng.normal(0, 0.6, clock.size) + np.sin(2 * np.pi * rng.uniform(62, 88) * clock)
    felt = np.interp(clock, t, a * np.cos(pitch) + STANDARD_GRAVITY * np.sin(pitch)) + shake + 0.2
    shaft = np.interp(clock, t, v * (1 + slip)) * (1 + rng.normal(0, 0.008)) / 2.6 * 4.1 * 2 * np.pi
    samples = {
        "acceleration_x": Samples(clock + CLOCK, np.round(felt, 1)),
        "driveshaft_speed": Samples(clock + CLOCK, np.round(shaft * 2) / 2),
    }
    return samples, truth


@pytest.mark.parametrize("hertz", [50.0, 100.0, 200.0])
@pytest.mark.parametrize("names", [("acceleration_x", "driveshaft_speed"), ("acceleration_x",), ("driveshaft_speed",)])
def test_errors_stay_within_the_stated_doubt(true_run, hertz, names):
    """Pitch and slip are one-sided, so the errors are too; their root mean square must still be about one sd."""
    rng = np.random.default_rng(21)
    scores, launches = [], []
    for _ in range(16):
        samples, truth = lifelike(true_run, rng, hertz)
        found = analyse({name: samples[name] for name in names}, true_run.setting)
        scores.append([(found.splits[feet][0] - time) / found.splits[feet][1] for feet, time in truth.items()])
        launches.append((found.launch_time - CLOCK) / found.launch_time_sd)
        assert found.launch_time == pytest.approx(CLOCK, abs=0.1)
        assert found.peak_acceleration is None or found.peak_acceleration == pytest.approx(true_run.a0, abs=1.0)
    assert np.sqrt(np.mean(np.square(scores))) < 1.5
    assert np.abs(scores).max() < 3.0
    assert np.sqrt(np.mean(np.square(launches))) < 2.0


def test_the_slip_takes_the_one_sided_errors_out_of_distance(true_run):
    rng = np.random.default_rng(5)
    samples, truth = lifelike(true_run, rng, 100.0)
    found = analyse(samples, true_run.setting, truth)
    start = np.interp(true_run.rollout, found.distance, found.time)
    for feet, time in truth.items():
        assert np.interp(start + time, found.time, found.distance) == pytest.approx(
            true_run.rollout + feet * FOOT, abs=0.6
        )
