"""Speed and distance: calibration by the slip, contradicting channels, honest doubt, and a measured sprint."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from runlog.constants import FOOT, STANDARD_GRAVITY
from runlog.records import Samples
from runlog.signals.analysis import Setting, analyse
from runlog.signals.sources import without_gravity
from runlog.signals.trust import LIKELY_RATIO, distrusted, lost_pulses, usual_ratio

NOISE = {"acceleration_x": 0.6, "driveshaft_speed": 4.0}
SPRINT = Path(__file__).resolve().parents[3] / "shared" / "realdata" / "sprint_radar_bom.csv"


@pytest.mark.parametrize(
    "change",
    [
        {"circumference_error": 0.03},
        {"slip": 0.12},
        {"rates": {"driveshaft_speed": 200.0}},
    ],
)
def test_the_slip_calibrates_distance_and_leaves_the_splits_alone(true_run, vary, change):
    run = vary(true_run, noise={name: NOISE[name] for name in change.get("rates", NOISE)}, **change)
    samples = run.samples()
    alone, told = analyse(samples, run.setting), analyse(samples, run.setting, run.splits())
    assert told.splits == alone.splits
    x, v, _ = run.motion(told.time + told.launch_time - run.launch)
    to_finish = x < run.setting.length
    assert np.abs(told.distance - x)[to_finish].max() < 1.5
    assert np.abs(told.speed - v)[to_finish].max() < 1.0
    assert (np.abs(told.distance - x) < 3.0 * told.distance_sd + 0.05)[to_finish].all()
    if "rates" not in change:  # where nothing is wrong with the shaft the slip can't better what chance made good
        assert np.abs(told.distance - x)[to_finish].max() < np.abs(alone.distance - x)[to_finish].max() + 0.05


def test_a_wrong_slip_moves_distance_but_not_the_second_opinion(true_run, vary):
    run = vary(true_run, noise=NOISE)
    wrong = {feet: 1.05 * time for feet, time in run.splits().items()}
    samples = run.samples()
    assert analyse(samples, run.setting, wrong).splits == analyse(samples, run.setting).splits


@pytest.mark.parametrize(("error", "words"), [(0.05, "low"), (-0.05, "high")])
def test_a_wrong_circumference_is_named_against_the_slip(true_run, vary, error, words):
    """A circumference entered too short makes the driven wheels read low."""
    run = vary(true_run, noise=NOISE, circumference_error=error)
    said = [text for text in analyse(run.samples(), run.setting, run.splits()).warnings if "against the slip" in text]
    assert len(said) == 1
    assert f"% {words} at the end of the run" in said[0]
    percent = float(said[0].split("read ")[1].split(" ±")[0])
    assert percent == pytest.approx(5.0, abs=1.0)


def test_fewer_channels_leave_more_doubt(true_run, vary):
    def doubt(*names: str) -> float:
        run = vary(true_run, rates=dict.fromkeys(names, 100.0))
        return analyse(run.samples(), run.setting).splits[1320][1]

    assert doubt("acceleration_x", "driveshaft_speed") < doubt("acceleration_x")
    assert doubt("acceleration_x", "driveshaft_speed") < doubt("driveshaft_speed")
    assert doubt("acceleration_x", "driveshaft_speed", "ground_speed") < doubt("acceleration_x", "driveshaft_speed")


def test_the_stated_doubt_covers_the_truth(true_run, vary):
    """30 made-up cars with their own bias, circumference and slip: at least 80 % within one sd, all within three.

    Their scatter is drawn from less than the doubt allows for, so that one sd should cover more than its nominal 68 %.
    """
    rng = np.random.default_rng(11)
    scores = []
    for seed in range(30):
        run = vary(true_run, noise=NOISE, seed=seed, bias=rng.normal(0, 0.3), slip=rng.uniform(0, 0.1),
                   circumference_error=rng.normal(0, 0.01))  # fmt: skip
        found = analyse(run.samples(), run.setting)
        scores += [abs(found.splits[feet][0] - truth) / found.splits[feet][1] for feet, truth in run.splits().items()]
    assert np.mean(np.array(scores) < 1.0) >= 0.8
    assert max(scores) < 3.0


def test_a_short_hit_has_only_its_splits(true_run, vary):
    run = vary(true_run, lift=1.7, coast=-8.0)
    found = analyse(run.samples(), run.setting)
    assert set(found.splits) == {60}
    assert found.splits[60][0] == pytest.approx(run.splits()[60], abs=0.003)


def test_a_gap_in_the_shaft_speed_is_bridged_and_said(true_run, vary):
    run = vary(true_run, noise=NOISE)
    samples = run.samples()
    shaft = samples["driveshaft_speed"]
    keep = (shaft.time < run.launch + 2.0) | (shaft.time > run.launch + 3.0)
    found = analyse(samples | {"driveshaft_speed": Samples(shaft.time[keep], shaft.values[keep])}, run.setting)
    assert found.splits[1320][0] == pytest.approx(run.splits()[1320], abs=0.05)
    assert any(
        re.match(r"driveshaft_speed has no samples from (1.9|2.0)\d to (2.9|3.0)\d s", text) for text in found.warnings
    )


@pytest.mark.parametrize("others", [("acceleration_x",), (), ("front_wheel_speed",)])
def test_lost_pulses_do_not_shorten_the_run(true_run, vary, others):
    run = vary(true_run, rates=dict.fromkeys(("driveshaft_speed", *others), 100.0))
    samples = run.samples()
    shaft = samples["driveshaft_speed"]
    lost = (shaft.time > run.launch + 3.0) & (shaft.time < run.launch + 3.15)
    samples["driveshaft_speed"] = Samples(shaft.time, np.where(lost, 0.0, shaft.values))
    assert analyse(samples, run.setting).splits[1320][0] == pytest.approx(run.splits()[1320], abs=0.03)


@pytest.mark.parametrize("factor", [0.25, 2.0, -1.0, 1 / STANDARD_GRAVITY])
def test_two_contradicting_channels_give_no_speed(true_run, vary, factor):
    """A wrong unit or sign of the accelerometer, or a wrong pulse count of the shaft: nobody can tell which."""
    samples = true_run.samples()
    samples["acceleration_x"] = Samples(samples["acceleration_x"].time, factor * samples["acceleration_x"].values)
    found = analyse(samples, true_run.setting)
    assert found.splits == {}
    assert found.distance is None
    assert any("the speed of the accelerometer" in text for text in found.warnings)


@pytest.mark.parametrize("odd", ["acceleration_x", "driveshaft_speed", "front_wheel_speed"])
def test_of_three_channels_the_odd_one_is_left_out(true_run, vary, odd):
    run = vary(true_run, rates=dict.fromkeys(("acceleration_x", "driveshaft_speed", "front_wheel_speed"), 100.0))
    samples = run.samples()
    samples[odd] = Samples(samples[odd].time, 2.0 * samples[odd].values)
    found = analyse(samples, run.setting)
    assert any("is left out of speed and distance" in text for text in found.warnings)
    assert found.splits[1320][0] == pytest.approx(run.splits()[1320], abs=0.03)


def test_a_dead_accelerometer_is_not_followed(true_run):
    samples = true_run.samples()
    samples["acceleration_x"] = Samples(samples["acceleration_x"].time, np.zeros(samples["acceleration_x"].time.size))
    found = analyse(samples, true_run.setting)
    assert found.splits[330][0] == pytest.approx(true_run.splits()[330], abs=0.02)
    assert any("acceleration_x doesn't move" in text for text in found.warnings)


def test_six_degrees_of_pitch_read_a_tenth_of_g():
    """sin 6° = 0.1045."""
    time = np.arange(5.0)
    still = Samples(time, np.full(5, STANDARD_GRAVITY * np.sin(np.radians(6.0))))
    assert still.values[0] / STANDARD_GRAVITY == pytest.approx(0.1045, abs=1e-4)
    level = without_gravity(still, Samples(time, np.full(5, np.radians(6.0))))
    assert level.values == pytest.approx(np.zeros(5), abs=1e-12)


def test_a_logged_pitch_takes_gravity_out(true_run, vary):
    run = vary(true_run, rates={"acceleration_x": 200.0})
    samples = run.samples()
    time = samples["acceleration_x"].time
    angle = np.radians(4.0) * np.clip((time - run.launch) / 0.3, 0.0, 1.0)
    felt = samples["acceleration_x"].values * np.cos(angle) + STANDARD_GRAVITY * np.sin(angle)
    pitched = {"acceleration_x": Samples(time, felt)}
    without = analyse(pitched, run.setting).splits[1320]
    corrected = analyse(pitched | {"pitch_angle": Samples(time, angle)}, run.setting).splits[1320]
    assert abs(corrected[0] - run.splits()[1320]) < 0.01 < abs(without[0] - run.splits()[1320])
    assert corrected[1] < without[1]


def test_usual_ratio_and_distrust():
    time = np.arange(0, 5, 0.01)
    reference = 10.0 * time
    speed = 1.1 * reference
    speed[300:350] *= 1.6
    assert usual_ratio(speed, reference) == pytest.approx(1.1)
    assert usual_ratio(speed[:40], reference[:40]) is None
    marked = distrusted(speed, reference, time)
    assert marked[300:350].all()
    assert not marked[:290].any()
    assert not marked[360:].any()
    assert LIKELY_RATIO[0] < 1 < LIKELY_RATIO[1]


def test_lost_pulses_are_dips_not_slow_changes():
    speed = np.full(300, 40.0)
    speed[100:110] = 0.0
    assert np.flatnonzero(lost_pulses(speed)).tolist() == list(range(99, 111))  # one step's margin
    assert not lost_pulses(np.linspace(0, 60, 300)).any()


@pytest.mark.skipif(not SPRINT.exists(), reason="the measured sprint isn't here")
def test_a_sprint_measured_by_radar():
    """33.54 m by integrating the measured speed (radar sample of J.-B. Morin, R package shorts)."""
    time, speed = np.loadtxt(SPRINT, delimiter=",", skiprows=1, encoding="utf-8-sig", unpack=True)
    by_hand = float(np.sum(np.diff(time) * 0.5 * (speed[1:] + speed[:-1])))
    assert by_hand == pytest.approx(33.54, abs=0.01)
    found = analyse({"ground_speed": Samples(time, speed)}, Setting(2.6, 4.1, rollout=0.1, finish_ft=60))
    assert 0.0 <= found.launch_time < 0.3
    covered = np.interp(found.time + found.launch_time, time, np.concatenate(
        ([0.0], np.cumsum(np.diff(time) * 0.5 * (speed[1:] + speed[:-1])))))  # fmt: skip
    before = np.interp(found.launch_time, time, covered_from_start(time, speed))
    assert np.abs(found.distance - (covered - before))[found.time >= 0].max() < 0.15
    assert found.splits[60][0] == pytest.approx(
        np.interp(0.1 + 60 * FOOT, covered, found.time) - np.interp(0.1, covered, found.time), abs=0.05
    )


def covered_from_start(time: np.ndarray, speed: np.ndarray) -> np.ndarray:
    return np.concatenate(([0.0], np.cumsum(np.diff(time) * 0.5 * (speed[1:] + speed[:-1]))))


@pytest.mark.parametrize("lag", [0.0, 0.1, 0.3])
@pytest.mark.parametrize("others", [("acceleration_x",), ("driveshaft_speed",), ("acceleration_x", "driveshaft_speed")])
def test_a_lagging_speed_over_ground_is_moved(true_run, vary, lag, others):
    run = vary(true_run, rates=dict.fromkeys(others, 100.0) | {"ground_speed": 10.0})
    samples = run.samples()
    ground = samples["ground_speed"]
    found = analyse(samples | {"ground_speed": Samples(ground.time + lag, ground.values)}, run.setting)
    assert found.launch_time == pytest.approx(run.launch, abs=0.02)
    for feet, truth in run.splits().items():
        assert found.splits[feet][0] == pytest.approx(truth, abs=0.005), feet
    assert any(f"lags by {lag:.2f} s" in text for text in found.warnings) == (lag > 0)
