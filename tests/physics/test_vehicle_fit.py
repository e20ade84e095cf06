"""Fitting the longitudinal model to a car's own slips."""

from __future__ import annotations

import json
from dataclasses import asdict, replace

import numpy as np
import pytest

from runlog.physics.atmosphere import STANDARD_AIR, Air
from runlog.physics.longitudinal import simulate
from runlog.physics.vehicle import Vehicle
from runlog.physics.vehicle_fit import fit, fit_from

HORSEPOWER, POUND, G, MPH = 745.69987158227, 0.45359237, 9.80665, 0.44704
FILE = Vehicle(mass=1200.0, power=450e3, grip_acceleration=1.4 * G)
DAY = Air(np.linspace(288.0, 304.0, 10), np.linspace(99500.0, 98800.0, 10), np.linspace(0.7, 0.4, 10), 0.0)
NO_TIMES, NO_SPEEDS = np.full((1, 5), np.nan), np.full((1, 2), np.nan)


def test_recovers_grip_and_power_from_a_published_closed_form() -> None:
    # constant acceleration at 1 g, then 500 hp in 3200 lb, closed form: 60, 330, 660, 1000, 1320 ft
    times = np.array([[1.93125, 4.59504, 6.73346, 8.55535, 10.07908]])
    start = Vehicle(3200 * POUND, 420 * HORSEPOWER, 1.2 * G, 0.0, 0.0, 0.0, rollout=0.0)
    fitted = fit(start, times, NO_SPEEDS, STANDARD_AIR).vehicle
    assert fitted.power == pytest.approx(500 * HORSEPOWER, rel=2e-3)
    assert fitted.grip_acceleration == pytest.approx(G, rel=2e-3)


def test_recovers_a_car_from_noisy_runs_in_changing_air() -> None:
    truth = replace(FILE, power=520e3, grip_acceleration=1.65 * G)
    run = simulate(truth, DAY)
    rng = np.random.default_rng(20)
    times = run.times + np.cumsum(rng.normal(0.0, 0.01, run.times.shape), axis=1)
    fitted = fit(FILE, times, run.speeds + rng.normal(0.0, 0.3, run.speeds.shape), DAY).vehicle
    # about three standard errors of ten runs' mean; elasticity of time to power is near −0.2, of 60 ft to grip −0.5
    assert fitted.power == pytest.approx(truth.power, rel=0.02)
    assert fitted.grip_acceleration == pytest.approx(truth.grip_acceleration, rel=0.02)
    assert fitted.drag_area == pytest.approx(truth.drag_area, rel=0.25)
    # and it now says what the car does in other air better than the file did
    other = Air(275.0, 102000.0, 0.3)
    expected = simulate(truth, other).times
    assert np.abs(simulate(fitted, other).times - expected).max() < 0.02
    assert np.abs(simulate(FILE, other).times - expected).max() > 0.1


@pytest.mark.parametrize("power", [0.5, 0.8, 2.0, 3.0])
@pytest.mark.parametrize("grip", [0.5, 1.5, 2.0])
def test_finds_a_car_far_from_its_file(power: float, grip: float) -> None:
    truth = replace(FILE, power=FILE.power * power, grip_acceleration=FILE.grip_acceleration * grip)
    run = simulate(truth, DAY)
    fitted = simulate(fit(FILE, run.times, run.speeds, DAY).vehicle, DAY)
    # the wide prior pulls where slips can't tell (power that the tyres never let through); a split repeats to 0.02 s
    # and a trap speed to 0.5 m/s at best
    assert fitted.times == pytest.approx(run.times, abs=5e-3)
    assert fitted.speeds == pytest.approx(run.speeds, abs=0.2)


def test_missing_figures_are_left_out() -> None:
    truth = replace(FILE, power=500e3, grip_acceleration=1.6 * G)
    run = simulate(truth, DAY)
    times, speeds = run.times.copy(), run.speeds.copy()
    times[::2, 1] = times[1::2, 3:] = speeds[:, 1] = np.nan
    fitted = fit(FILE, times, speeds, DAY).vehicle
    assert fitted.power == pytest.approx(truth.power, rel=3e-3)
    assert fitted.grip_acceleration == pytest.approx(truth.grip_acceleration, rel=3e-3)


def test_a_run_without_air_is_passed_over() -> None:
    truth = replace(FILE, power=500e3)
    run = simulate(truth, DAY)
    temperatures = np.asarray(DAY.temperature).copy()
    temperatures[3] = np.nan
    fitted = fit(FILE, run.times, run.speeds, replace(DAY, temperature=temperatures)).vehicle
    assert fitted.power == pytest.approx(truth.power, rel=3e-3)


def test_slower_slips_mean_less_power_and_less_grip() -> None:
    run = simulate(FILE, DAY)
    late = run.times.copy()
    late[:, 2:] += 0.15
    assert fit(FILE, late, run.speeds, DAY).vehicle.power < FILE.power
    assert fit(FILE, run.times + 0.08, run.speeds, DAY).vehicle.grip_acceleration < FILE.grip_acceleration


def test_only_what_slips_can_tell_is_fitted() -> None:
    run = simulate(replace(FILE, power=520e3), DAY)
    fitted = fit(FILE, run.times, run.speeds, DAY).vehicle
    assert replace(fitted, power=FILE.power, grip_acceleration=FILE.grip_acceleration, drag_area=FILE.drag_area) == FILE


@pytest.mark.parametrize(
    ("times", "speeds"),
    [
        (NO_TIMES, NO_SPEEDS),
        (np.array([[1.4, np.nan, np.nan, np.nan, np.nan]]), NO_SPEEDS),
        (np.array([[np.nan, np.nan, 5.6, 7.2, 8.6]]), NO_SPEEDS),
        (np.empty((0, 5)), np.empty((0, 2))),
    ],
)
def test_too_little_leaves_the_vehicle_as_it_was(times: np.ndarray, speeds: np.ndarray) -> None:
    found = fit(FILE, times, speeds, STANDARD_AIR)
    assert found.vehicle is FILE
    assert found.runs == 0


def test_slips_of_another_world_leave_the_vehicle_as_it_was_or_finite() -> None:
    # a distance mistaken for a time: whatever comes back must still be a car that gets there
    fitted = fit(FILE, np.array([[60.0, 330.0, 660.0, 1000.0, 1320.0]]), np.array([[1.0, 2.0]]), STANDARD_AIR).vehicle
    assert np.all(np.isfinite(simulate(fitted, STANDARD_AIR).times))


def test_shapes_that_do_not_fit_are_refused() -> None:
    with pytest.raises(ValueError, match=r"times must be \(n, 5\) and speeds \(n, 2\), got \(2, 4\) and \(2, 2\)"):
        fit(FILE, np.zeros((2, 4)), np.zeros((2, 2)), STANDARD_AIR)


# --- doubt, and runs that nobody marked -------------------------------------------------------------------------------


def test_the_doubt_covers_the_truth_as_often_as_it_says() -> None:
    # 60 seasons of eight runs with the scatter that the fit takes for granted: the truth lies within ±1.645 sd of the
    # fit in 90 % of them (definition of the interval); the binomial's 99.9 % band for 60 is 46 to 60
    truth = replace(FILE, power=480e3, grip_acceleration=1.5 * G)
    run = simulate(truth, replace(DAY, temperature=295.0, pressure=99000.0, relative_humidity=0.5))
    rng = np.random.default_rng(7)
    air = Air(295.0, 99000.0, 0.5)
    covered = np.zeros(2)
    for _ in range(60):
        times = run.times + np.cumsum(rng.normal(0.0, 0.012, (8, 5)), axis=1)
        found = fit(FILE, times, run.speeds + rng.normal(0.0, 0.5, (8, 2)), air)
        for n, name in enumerate(("grip_acceleration", "power")):
            off = np.log(getattr(found.vehicle, name) / getattr(truth, name)) / found.sds[name]
            covered[n] += abs(off) < 1.645
    assert np.all(covered >= 46), covered


def test_more_runs_leave_less_doubt_and_scatter_leaves_more() -> None:
    run = simulate(replace(FILE, power=500e3), DAY)
    few = fit(FILE, run.times[:2], run.speeds[:2], Air(290.0, 99300.0, 0.6))
    many = fit(FILE, run.times, run.speeds, DAY)
    assert many.sds["power"] < few.sds["power"]
    rng = np.random.default_rng(3)
    wild = fit(FILE, run.times + np.cumsum(rng.normal(0, 0.05, run.times.shape), axis=1), run.speeds, DAY)
    assert wild.sds["power"] > 1.5 * many.sds["power"]


@pytest.mark.parametrize("where", [0, 4])
def test_a_bad_run_that_nobody_marked_hardly_moves_the_fit(where: int) -> None:
    # the driver lifted at 600 ft: a run in ten whose later figures are worth nothing
    truth = replace(FILE, power=500e3, grip_acceleration=1.6 * G)
    run = simulate(truth, DAY)
    rng = np.random.default_rng(11)
    times = run.times + np.cumsum(rng.normal(0.0, 0.01, run.times.shape), axis=1)
    speeds = run.speeds + rng.normal(0.0, 0.3, run.speeds.shape)
    sound = fit(FILE, times, speeds, DAY)
    times[where, 2:] += [0.1, 0.8, 1.9]
    speeds[where] -= [4.0, 25.0]
    spoiled = fit(FILE, times, speeds, DAY)
    assert spoiled.set_aside == (where,)
    assert spoiled.runs == 9
    assert spoiled.vehicle.power == pytest.approx(sound.vehicle.power, rel=5e-3)
    assert spoiled.vehicle.power == pytest.approx(truth.power, rel=0.02)
    assert sound.set_aside == ()


def test_comes_back_from_json_as_it_was() -> None:
    run = simulate(replace(FILE, power=500e3), DAY)
    found = fit(FILE, run.times, run.speeds, DAY)
    assert fit_from(json.loads(json.dumps(asdict(found)))) == found


@pytest.mark.parametrize("plain", [{}, {"vehicle": {}}, {"mass": 1200.0, "power": 450e3}])
def test_what_is_no_fit_is_none(plain: dict[str, object]) -> None:
    assert fit_from(plain) is None
