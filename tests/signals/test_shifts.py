"""Gear changes of a made-up car that shifts at 800 rad/s through 2.5, 1.8, 1.3 and 1."""

from __future__ import annotations

import numpy as np
import pytest

from runlog.signals.analysis import analyse

RATES = {"acceleration_x": 200.0, "driveshaft_speed": 100.0, "engine_speed": 50.0}


def true_shift_times(run) -> list[float]:
    t = np.linspace(0.05, 9.0, 90_000)
    shaft = run.motion(t)[1] / 2.6 * 4.1 * 2 * np.pi
    return [float(t[np.searchsorted(shaft, 800 / ratio)]) for ratio in (2.5, 1.8, 1.3) if shaft[-1] > 800 / ratio]


@pytest.mark.parametrize("engine_rate", [20.0, 50.0, 200.0])
@pytest.mark.parametrize("with_shaft", [True, False])
def test_shifts_are_found_where_they_are(true_run, vary, engine_rate, with_shaft):
    rates = RATES | {"engine_speed": engine_rate}
    if not with_shaft:
        del rates["driveshaft_speed"]
    run = vary(true_run, rates=rates, noise={"engine_speed": 3.0})
    found = analyse(run.samples(), run.setting)
    truth = true_shift_times(run)
    assert [shift.time for shift in found.shifts] == pytest.approx(truth, abs=1.5 / engine_rate + 0.03)
    for shift, when in zip(found.shifts, truth, strict=True):
        assert shift.engine_speed == pytest.approx(800, rel=0.04)
        assert shift.distance == pytest.approx(run.motion(np.array([when]))[0][0], abs=5.0)


def test_a_spinning_tyre_that_bites_is_no_shift(true_run, vary):
    """Engine and driven wheels slow together; the gear stays."""
    run = vary(true_run, rates=RATES)
    samples = run.samples()
    for name in ("engine_speed", "driveshaft_speed"):
        t = samples[name].time - run.launch
        spin = 1 + 0.3 * np.interp(t, [1.45, 1.55, 1.6, 1.75], [0, 1, 1, 0])
        samples[name] = type(samples[name])(samples[name].time, samples[name].values * spin)
    found = analyse(samples, run.setting)
    assert [shift.time for shift in found.shifts] == pytest.approx(true_shift_times(run), abs=0.06)


def test_a_lost_pulse_is_no_shift(true_run, vary):
    run = vary(true_run, rates=RATES)
    samples = run.samples()
    values = samples["engine_speed"].values.copy()
    values[np.searchsorted(samples["engine_speed"].time, run.launch + 5.0)] = 0.0
    samples["engine_speed"] = type(samples["engine_speed"])(samples["engine_speed"].time, values)
    assert len(analyse(samples, run.setting).shifts) == len(true_shift_times(run))


def test_without_engine_speed_or_too_slow_there_are_none(true_run, vary):
    run = vary(true_run, rates=RATES | {"engine_speed": 2.0})
    assert analyse(run.samples(), run.setting).shifts == ()
    del run.rates["engine_speed"]
    found = analyse(run.samples(), run.setting)
    assert found.shifts == ()
    assert found.launch_engine_speed is None


def test_launch_engine_speed(true_run, vary):
    run = vary(true_run, rates=RATES)
    assert analyse(run.samples(), run.setting).launch_engine_speed == pytest.approx(500.0, abs=1.0)


def test_gears_that_do_not_fit_the_car_file_are_said(true_run, vary):
    run = vary(true_run, rates=RATES)
    right, fewer = (
        analyse(run.samples(), vary(run.setting, gear_ratios=gears)) for gears in ((2.5, 1.8, 1.3, 1.0), (1.8, 1.0))
    )
    assert not any("gear" in text for text in right.warnings)
    assert right.last_gear_ratio == pytest.approx(1.0, abs=0.01)
    assert any("the trace shows 3 shifts, the car file has 2 gears" in text for text in fewer.warnings)


@pytest.mark.parametrize(("rise", "expected"), [(30.0, False), (90.0, True)])
def test_a_flare_at_a_shift_is_an_alarm(true_run, vary, rise, expected):
    """More than 500 rpm (52 rad/s) over the gear asks for a look at the transmission. Common practice, no source."""
    run = vary(true_run, rates=RATES)
    samples = run.samples()
    when = true_shift_times(run)[1] + run.launch
    engine = samples["engine_speed"]
    over = rise * np.interp(engine.time, [when - 0.2, when - 0.05, when, when + 0.02], [0, 1, 1, 0])
    samples["engine_speed"] = type(engine)(engine.time, engine.values + over)
    said = [alarm for alarm in analyse(samples, run.setting).alarms if alarm.condition == "flare at a shift"]
    assert bool(said) is expected
    assert all(alarm.action == "check the transmission" and alarm.value > alarm.limit for alarm in said)
