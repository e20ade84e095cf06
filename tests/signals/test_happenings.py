"""Events of made-up runs, each put there at a known time."""

from __future__ import annotations

import numpy as np
import pytest

from runlog.constants import FOOT, STANDARD_GRAVITY
from runlog.records import Samples
from runlog.signals.analysis import analyse

RATES = {"acceleration_x": 200.0, "driveshaft_speed": 100.0, "throttle": 50.0}


def events(found, name: str):
    return [event for event in found.events if event.name == name]


def at(found, name: str):
    (event,) = events(found, name)
    return event


def with_values(samples: Samples, change) -> Samples:
    return Samples(samples.time, np.asarray(change(samples.time, samples.values), dtype=float))


def test_a_plain_run_has_launch_and_mean_g_and_nothing_alarming(true_run, vary):
    run = vary(true_run, rates=RATES, noise={"acceleration_x": 0.2})
    found = analyse(run.samples(), run.setting)
    assert {event.name for event in found.events} == {
        "launch",
        "shaft turns",
        "beam clear",
        "mean g",
        "peak g",
        "tyre slip",
    }
    times = [event.time for event in found.events]
    assert times == sorted(times)
    assert all(0.0 <= event.confidence <= 1.0 and event.text for event in found.events)
    assert all(event.distance is not None for event in found.events)
    peaks = [float(event.text.split(": ")[1].split(" g")[0]) for event in events(found, "peak g")]
    assert peaks[0] == pytest.approx(run.a0 / STANDARD_GRAVITY, abs=0.03)  # the push is steady there, then falls off
    assert peaks == sorted(peaks, reverse=True)


def test_burnout_and_staging_are_told_from_the_run(true_run, vary):
    """The burnout spins from 2 s to 6 s on the logger's clock; the rolls are at 8 s and 10 s; the launch is at 12 s."""
    run = vary(true_run, rates=RATES, burnout=True, creep=True)
    found = analyse(run.samples(), run.setting)
    burnout = at(found, "burnout")
    assert 2.0 <= burnout.time + found.launch_time <= 3.0
    assert burnout.distance == 0.0  # nothing of the run is covered yet
    assert burnout.confidence > 0.9
    rolls = [event.time + found.launch_time for event in events(found, "staging")]
    assert rolls == pytest.approx([8.1, 10.1], abs=0.15)
    # a triangle of 0.5 m/s over 0.8 s is 20 cm
    assert float(events(found, "staging")[0].text.split("roll of ")[1].split(" cm")[0]) == pytest.approx(20, abs=2)


@pytest.mark.parametrize("rates", [RATES, {"driveshaft_speed": 100.0}, {"acceleration_x": 200.0}])
def test_without_them_neither_burnout_nor_staging_is_told(true_run, vary, rates):
    found = analyse(vary(true_run, rates=rates).samples(), true_run.setting)
    assert events(found, "burnout") == []
    assert events(found, "staging") == []


def test_mean_g_of_every_increment(true_run, vary):
    """Gain of speed over time between the beams, by the closed form of the run."""
    run = vary(true_run, rates=RATES)
    found = analyse(run.samples(), run.setting)
    marks = [run.rollout + feet * FOOT for feet in (0, 60, 330, 660, 1000, 1320)]
    times = np.array([run.time_to(place) for place in marks])
    speeds = run.motion(times)[1]
    expected = np.diff(speeds) / np.diff(times) / STANDARD_GRAVITY
    told = events(found, "mean g")
    assert [float(event.text.split(": ")[1].split(" g")[0]) for event in told] == pytest.approx(expected, abs=0.02)
    assert [event.time for event in told] == pytest.approx(times[1:], abs=0.03)
    assert [event.distance for event in told] == pytest.approx(marks[1:])


@pytest.mark.parametrize("slip", [0.0, 0.06])
def test_slip_of_every_gear(true_run, vary, slip):
    """The made-up engine turns its gear's ratio times the driveshaft, here and a share more."""
    run = vary(true_run, rates=RATES | {"engine_speed": 50.0})
    samples = run.samples()
    samples["engine_speed"] = with_values(samples["engine_speed"], lambda _, values: values * (1 + slip))
    found = analyse(samples, vary(run.setting, gear_ratios=(2.5, 1.8, 1.3, 1.0)))
    told = events(found, "gear slip")
    percent = [float(event.text.split("turns ")[1].split(" %")[0]) for event in told]
    assert len(told) >= 3
    assert percent[1:] == pytest.approx([100 * slip] * (len(told) - 1), abs=0.7)
    assert len(events(found, "shift")) == len(found.shifts)


def test_without_gears_in_the_car_file_there_is_no_gear_slip(true_run, vary):
    run = vary(true_run, rates=RATES | {"engine_speed": 50.0})
    assert events(analyse(run.samples(), run.setting), "gear slip") == []


def test_a_spin_is_timed_and_placed(true_run, vary):
    run = vary(true_run, rates=RATES)
    samples = run.samples()
    spin = lambda time, values: values * (1 + np.interp(time - run.launch, [1, 1.2, 1.8, 2], [0, 0.6, 0.6, 0]))  # noqa: E731
    samples["driveshaft_speed"] = with_values(samples["driveshaft_speed"], spin)
    event = at(analyse(samples, run.setting), "spin")
    assert event.time == pytest.approx(1.05, abs=0.08)  # 15 % ahead at 1.05 s
    assert event.distance == pytest.approx(run.motion(np.array([event.time]))[0][0], abs=1.0)


def test_a_lift_an_abort_and_coasting(true_run, vary):
    run = vary(true_run, rates=RATES, lift=3.0)
    found = analyse(run.samples(), run.setting)
    for name in ("throttle lift", "abort", "coast-down"):
        assert at(found, name).time == pytest.approx(3.0, abs=0.2), name
    assert events(found, "brake") == events(found, "throttle again") == []


def test_a_throttle_that_opens_again_is_no_abort(true_run, vary):
    run = vary(true_run, rates=RATES)
    samples = run.samples()
    again = lambda time, values: np.where((time > run.launch + 2.0) & (time < run.launch + 2.6), 0.05, values)  # noqa: E731
    samples["throttle"] = with_values(samples["throttle"], again)
    found = analyse(samples, run.setting)
    assert at(found, "throttle again").time == pytest.approx(2.6, abs=0.05)
    assert events(found, "abort") == []


def test_an_eased_throttle_is_a_stab(true_run, vary):
    run = vary(true_run, rates=RATES)
    samples = run.samples()
    eased = lambda time, values: np.where((time > run.launch + 1.0) & (time < run.launch + 1.3), 0.6, values)  # noqa: E731
    samples["throttle"] = with_values(samples["throttle"], eased)
    event = at(analyse(samples, run.setting), "throttle stab")
    assert event.time == pytest.approx(1.0, abs=0.03)
    assert "60 %" in event.text


@pytest.mark.parametrize(
    ("coast", "pressure", "name"),
    [(-2.0, None, None), (-6.0, None, "brake or parachute"), (-6.0, 40e5, "brake"), (-9.0, 0.0, "parachute")],
)
def test_what_slows_the_car(true_run, vary, coast, pressure, name):
    """Coasting alone isn't braking; with brake pressure logged a sudden drag without it is the parachute."""
    run = vary(true_run, rates=RATES, lift=7.0, coast=coast)
    samples = run.samples()
    if pressure is not None:
        time = samples["throttle"].time
        samples["brake_pressure"] = Samples(time, np.where(time > run.launch + 7.0, pressure, 0.0))
    found = analyse(samples, run.setting)
    told = [event for event in found.events if event.name in ("brake", "parachute", "brake or parachute")]
    assert [event.name for event in told] == ([] if name is None else [name])
    assert all(event.time == pytest.approx(7.0, abs=0.3) for event in told)


def nose_up(run, degrees: float, lasts: float) -> Samples:
    time = np.arange(0, 25, 0.02)
    t = time - run.launch
    return Samples(time, np.radians(degrees) * np.interp(t, [0, 0.15, lasts, lasts + 0.15], [0, 1, 1, 0]))


@pytest.mark.parametrize(
    ("degrees", "lasts", "name"), [(3.0, 1.5, None), (9.0, 0.4, "front wheels up"), (9.0, 1.5, "wheelstand")]
)
def test_front_wheels_up_by_pitch(true_run, vary, degrees, lasts, name):
    run = vary(true_run, rates={"driveshaft_speed": 100.0})
    found = analyse(run.samples() | {"pitch_angle": nose_up(run, degrees, lasts)}, run.setting)
    told = [event for event in found.events if event.name in ("front wheels up", "wheelstand")]
    assert [event.name for event in told] == ([] if name is None else [name])
    assert all(event.time == pytest.approx(0.1, abs=0.08) for event in told)


@pytest.mark.parametrize("topped", [True, False])
def test_topped_out_front_shocks(true_run, vary, topped):
    """4 cm of travel follow the push; where they end at 2.5 cm, the stop holds them although the push falls."""
    run = vary(true_run, rates=RATES)
    samples = run.samples()
    time = samples["acceleration_x"].time
    follows = 0.04 * samples["acceleration_x"].values / run.a0
    noise = np.random.default_rng(3).normal(0, 1e-4, time.size)
    travel = np.minimum(follows, 0.025) + noise if topped else follows + noise
    # a push of constant power falls from the end of the traction limit on
    found = analyse(samples | {"shock_front_left": Samples(time, travel)}, run.setting)
    told = events(found, "front wheels up")
    assert bool(told) is topped
    assert all(event.confidence < 0.5 for event in told)


def test_front_wheels_that_fall_behind_are_in_the_air(true_run, vary):
    run = vary(true_run, rates=RATES | {"front_wheel_speed": 100.0})
    samples = run.samples()
    front = samples["front_wheel_speed"]
    t = front.time - run.launch
    in_air = np.where((t > 0.8) & (t < 1.3), np.interp(0.8, t, front.values), front.values)
    found = analyse(samples | {"front_wheel_speed": Samples(front.time, in_air)}, run.setting)
    event = at(found, "front wheels up")
    assert event.time == pytest.approx(0.9, abs=0.12)


def test_shake_is_an_event_where_it_is(true_run, vary):
    run = vary(true_run, rates=RATES, noise={"acceleration_x": 0.6})
    samples = run.samples()

    def tone(time, values):
        shaking = (time > run.launch + 0.9) & (time < run.launch + 2.2)
        return values + np.where(shaking, 8 * np.sin(2 * np.pi * 20 * time), 0.0)

    found = analyse(samples | {"acceleration_x": with_values(samples["acceleration_x"], tone)}, run.setting)
    assert found.shake_suspected is True
    assert at(found, "shake").time == pytest.approx(0.9, abs=0.3)
