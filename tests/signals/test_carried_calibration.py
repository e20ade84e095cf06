"""Splits by the trace after a few slips, on made-up cars whose truth is known, at 100 Hz with real sensors' noise.

The truth is a push integrated at 2,000 Hz. Each car has its own circumference, slip, tyre growth, pitching body,
accelerometer scale and place of the clock's start; each run its own bias, vibration, noise, quantisation and, where
asked for, its own small departure from the car: circumference 0.1 %, slip and pitch a tenth, staging 8 mm.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest

from runlog.constants import FOOT, SPLIT_DISTANCES_FT, STANDARD_GRAVITY
from runlog.records import Samples
from runlog.signals.analysis import Setting, analyse
from runlog.signals.calibration import NAMES, learn, prior, split_opinion
from runlog.signals.rises import after, of_launch, under

G = STANDARD_GRAVITY
STEP = 5e-4
CLOCK = 50.0
SETTING = Setting(tyre_circumference=2.6, final_drive=4.1)
POWER_TO_MASS = 657.6
"""[W/kg] 1000 hp in 2500 lb"""


@dataclass(frozen=True)
class MadeUpCar:
    circumference: float
    slip_per_g: float
    growth: float
    pitch_deg_per_g: float
    scale: float
    rollout: float
    lag: float


def a_car(rng: np.random.Generator) -> MadeUpCar:
    return MadeUpCar(
        rng.normal(0, 0.008),
        rng.uniform(0.01, 0.04),
        rng.uniform(0.005, 0.025),
        rng.uniform(0.5, 2.0),
        rng.normal(0, 0.004),
        0.2286 + rng.normal(0, 0.015),
        rng.uniform(0.08, 0.2),
    )


@dataclass(frozen=True)
class MadeUpRun:
    samples: dict[str, Samples]
    splits: dict[int, float]
    time: np.ndarray
    distance: np.ndarray
    speed: np.ndarray


def followed(push: np.ndarray, lag: float) -> np.ndarray:
    """A first-order lag, by its exact weights over a long enough past."""
    past = np.exp(-np.arange(0.0, 8.0 * lag, STEP) / lag)
    return np.convolve(push, past / past.sum())[: push.size]


def a_run(car: MadeUpCar, rng: np.random.Generator, spread: float) -> MadeUpRun:
    t = np.arange(-4.0, 11.0, STEP)
    a0, power, rise = rng.normal(1.5, 0.06) * G, POWER_TO_MASS * rng.normal(1, 0.02), rng.uniform(0.08, 0.2)
    t0 = power / a0**2
    push = np.where(t < 0, 0, np.where(t < t0, a0, power / np.sqrt((power / a0) ** 2 + 2 * power * (t - t0).clip(0))))
    kernel = np.ones(int(rise / STEP))
    push = np.convolve(push, kernel / kernel.size)[: t.size]
    push *= 1 - 0.5 * np.exp(-(((t - rng.uniform(2.3, 2.7)) / 0.06) ** 2))  # a gear change
    v = np.cumsum(push) * STEP
    x = np.cumsum(v) * STEP
    start = car.rollout + rng.normal(0, 0.008 * spread)
    clock_start = np.interp(start, x, t)
    splits = {feet: float(np.interp(start + feet * FOOT, x, t) - clock_start) for feet in SPLIT_DISTANCES_FT}
    pitch = np.radians(car.pitch_deg_per_g * (1 + rng.normal(0, 0.1 * spread))) * followed(push, car.lag) / G
    slip = np.clip(t / 0.3, 0, 1) * car.slip_per_g * (1 + rng.normal(0, 0.1 * spread)) * push / G
    slip += rng.uniform(0, 0.06) * np.exp(-t.clip(0) / 0.5) + 0.002 * rng.normal() * np.sin(4.4 * t)
    wheel = v * (1 + car.circumference + rng.normal(0, 0.001 * spread)) * (1 + slip) / (1 + car.growth * (v / 60) ** 2)
    at = np.arange(-4 + rng.uniform(0, 0.01), 10.9, 0.01)
    shake = rng.normal(0, 0.4, at.size) + rng.uniform(0.5, 1.5) * np.sin(2 * np.pi * rng.uniform(62, 88) * at)
    felt = (
        np.interp(at, t, (push * np.cos(pitch) + G * np.sin(pitch)) * (1 + car.scale)) + shake + rng.normal(0.2, 0.05)
    )
    shaft = np.interp(at, t, wheel) / 2.6 * 4.1 * 2 * np.pi + rng.normal(0, 0.6, at.size)
    samples = {
        "acceleration_x": Samples(at + CLOCK, np.round(felt, 2)),
        "driveshaft_speed": Samples(at + CLOCK, np.round(shaft.clip(0) * 3) / 3),
    }
    return MadeUpRun(samples, splits, t, x, v)


def printed(splits: dict[int, float]) -> dict[int, float]:
    return {feet: round(time, 3) for feet, time in splits.items()}


@cache
def season(cars: int, spread: float, seed: int) -> tuple[dict[int, np.ndarray], list[float]]:
    """Errors and sds [s] of each car's fourth to sixth run: of the splits, by distance; and errors of the launches."""
    rng = np.random.default_rng(seed)
    found: dict[int, list[tuple[float, float]]] = {feet: [] for feet in SPLIT_DISTANCES_FT}
    launches = []
    for _ in range(cars):
        car, known = a_car(rng), prior()
        for number in range(6):
            run = a_run(car, rng, spread)
            seen = analyse(run.samples, SETTING)
            assert seen.basis is not None
            if number >= 3:
                moved, _ = under(seen.rises, of_launch(known.rises))
                launches.append(seen.launch_time + moved - CLOCK)
                for feet, (time, sd) in split_opinion(seen.basis, known).items():
                    found[feet].append((time - run.splits[feet], sd))
            known, _ = learn(seen.basis, known, printed(run.splits))
            known = replace(known, rises=after(known.rises, seen.rises.likelihood))
    return {feet: np.array(pairs) for feet, pairs in found.items()}, launches


def rms(values) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


@pytest.mark.slow
def test_targets_with_the_noise_of_sensors():
    """4 ms at 60 ft and 10 ms at 1320 ft: targets for cars that don't change between runs."""
    found, _ = season(cars=10, spread=0.0, seed=31)
    assert rms(found[60][:, 0]) < 0.004
    assert rms(found[1320][:, 0]) < 0.010
    assert np.mean(np.abs(found[1320][:, 0]) < 1.645 * found[1320][:, 1]) >= 0.85


@pytest.mark.slow
@pytest.mark.xfail(
    strict=True, reason="not met where a push rises: 7.9 ms after three launches, 10.7 ms by a trace alone"
)
def test_target_of_the_launch_with_the_noise_of_sensors():
    """5 ms. These pushes rise straight, which a fit that took that for granted would meet, and others badly miss; with
    a few more launches the shape is known (``test_rises``)."""
    _, launches = season(cars=10, spread=0.0, seed=31)
    assert rms(launches) < 0.005


@pytest.mark.slow
def test_intervals_hold_where_cars_change_from_run_to_run():
    """90 % intervals hold 85 to 95 %, give or take two standard errors of a share of 90 splits that go by runs."""
    found, _ = season(cars=30, spread=1.0, seed=33)
    for feet in SPLIT_DISTANCES_FT:
        error, sd = found[feet].T
        share = np.mean(np.abs(error) < 1.645 * sd)
        assert 0.85 - 0.063 <= share <= 0.95 + 0.05, (feet, share)
    assert rms(found[60][:, 0]) < 0.006
    assert rms(found[1320][:, 0]) < 0.016


@pytest.mark.slow
def test_the_first_run_of_a_car_is_not_called_surer_or_vaguer_than_it_is():
    """Before any slip 90 % intervals hold no fewer than they say, and are less than twice as wide as errors ask for."""
    rng = np.random.default_rng(36)
    pairs = []
    for _ in range(24):
        run = a_run(a_car(rng), rng, 1.0)
        time, sd = split_opinion(analyse(run.samples, SETTING).basis, prior())[1320]
        pairs.append((time - run.splits[1320], sd))
    error, sd = np.array(pairs).T
    assert np.mean(np.abs(error) < 1.645 * sd) >= 0.85
    assert rms(sd) < 2.0 * rms(error)


def test_a_few_slips_narrow_what_the_trace_says():
    rng = np.random.default_rng(8)
    car, known = a_car(rng), prior()
    doubts = []
    for _ in range(4):
        run = a_run(car, rng, 0.0)
        seen = analyse(run.samples, SETTING)
        time, sd = split_opinion(seen.basis, known)[1320]
        assert abs(time - run.splits[1320]) < 3 * sd
        doubts.append(sd)
        known, learned = learn(seen.basis, known, printed(run.splits))
        assert learned
    assert doubts[3] < doubts[1] < 0.5 * doubts[0]


def test_speed_with_calibration_and_slip_is_within_half_a_per_cent():
    """Root mean square from 15 m/s to the finish; single samples, which hold the sensors' noise, within 1 %."""
    rng = np.random.default_rng(13)
    car, known = a_car(rng), prior()
    for number in range(5):
        run = a_run(car, rng, 1.0)
        seen = analyse(run.samples, SETTING, printed(run.splits), known)
        true = np.interp(seen.time + seen.launch_time - CLOCK, run.time, run.speed)
        fast = (true > 15.0) & (seen.distance < 402.0)
        off = seen.speed[fast] / true[fast] - 1
        if number >= 3:
            assert rms(off) < 0.005
            assert np.abs(off).max() < 0.01
        known, _ = learn(seen.basis, known, printed(run.splits))


def test_the_scale_of_a_speed_over_ground_is_learned():
    """A front wheel entered 0.8 % too large; its scale narrows from 0.5 % to less than 0.2 %."""
    rng = np.random.default_rng(17)
    car, known = a_car(rng), prior()
    for _ in range(4):
        run = a_run(car, rng, 0.0)
        at = np.arange(-4.0, 10.9, 0.02)
        front = 1.008 * np.interp(at, run.time, run.speed) + rng.normal(0, 0.1, at.size)
        samples = run.samples | {"front_wheel_speed": Samples(at + CLOCK, front.clip(0))}
        known, learned = learn(analyse(samples, SETTING).basis, known, printed(run.splits))
        assert learned
    place = NAMES.index("ground")
    assert known.sd[place] < 0.002
    assert known.mean[place] == pytest.approx(0.008, abs=2.5 * known.sd[place])


def test_another_prior_is_brought_in_without_the_trace():
    """The basis under one prior, told of another, against smoothing the whole trace under that other prior."""
    rng = np.random.default_rng(4)
    car, known = a_car(rng), prior()
    for _ in range(2):
        run = a_run(car, rng, 0.0)
        known, _ = learn(analyse(run.samples, SETTING).basis, known, printed(run.splits))
    run = a_run(car, rng, 0.0)
    told = split_opinion(analyse(run.samples, SETTING).basis, known)
    smoothed = split_opinion(analyse(run.samples, SETTING, None, known).basis, known)
    for feet in SPLIT_DISTANCES_FT:
        # the basis is a line in θ about the first prior: what that leaves out is small beside the doubt
        assert told[feet][0] == pytest.approx(smoothed[feet][0], abs=0.2 * smoothed[feet][1])
        assert told[feet][1] == pytest.approx(smoothed[feet][1], rel=0.05)


@pytest.mark.slow
def test_speed_with_the_slip_is_within_half_a_percent():
    """The target, as a root mean square over 20 m to the finish; worst samples stand at the gear change."""
    rng = np.random.default_rng(4711)
    shares, inside = [], []
    for _ in range(4):
        car, known = a_car(rng), prior()
        for _ in range(3):
            run = a_run(car, rng, 1.0)
            seen = analyse(run.samples, SETTING, printed(run.splits), known)
            assert seen.basis is not None
            counted = (seen.distance > 20.0) & (seen.distance < 402.0)
            true = np.interp(seen.time[counted] + seen.launch_time - CLOCK, run.time, run.speed)
            away = seen.speed[counted] - true
            shares.append(rms(away / true))
            inside.append(np.mean(np.abs(away) < 1.645 * seen.speed_sd[counted]))
            known, _ = learn(seen.basis, known, printed(run.splits))
    assert max(shares) < 0.005
    assert np.mean(inside) >= 0.85
