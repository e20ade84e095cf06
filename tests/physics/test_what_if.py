"""Changes to the car and their effects by the longitudinal model."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from runlog.physics.atmosphere import STANDARD_AIR, Air
from runlog.physics.correction import shift
from runlog.physics.grip import friction_of
from runlog.physics.longitudinal import simulate
from runlog.physics.powertrain import Powertrain, generic_curve, torque_at
from runlog.physics.vehicle import Converter, Driveline, Stance, Tyre, Vehicle
from runlog.physics.what_if import (
    Supposed,
    doubts,
    outcome,
    shifted_curve,
    with_ballast,
    with_circumference,
    with_drag,
    with_final_drive,
    with_mass,
    with_power,
    with_shift_speed,
    with_stall_speed,
)

G, RPM = 9.80665, np.pi / 30
ENGINE = generic_curve(6800 * RPM)
PEAK = float(torque_at(ENGINE, np.array([5100 * RPM]))[0][0])
CAR = Vehicle(
    mass=1200.0,
    power=560e3,
    grip_acceleration=1.55 * G,
    stance=Stance(0.47, 0.52, 2.6),
    tyre=Tyre(2.55),
    driveline=Driveline(ENGINE, (1.8, 1.0), 4.1, (7100 * RPM,), Converter(620e3 * PEAK / (5100 * RPM) ** 2)),
)
PLAIN = Vehicle(1200.0, 450e3, 1e6, drag_area=0.0, rolling_coefficient=0.0, rotating_share=0.0, rollout=0.0)
SURE = np.diag([1e-12] * 3)
FITTED = np.diag([0.01, 0.01, 0.08]) ** 2


def test_ballast_moves_weight_and_height_by_moments() -> None:
    # moment balances worked by hand: 20 kg half a metre behind the rear axle of a car 2.6 m long takes 3.84615 kg off
    # the front and puts 23.84615 kg on the rear; 800 kg at 0.50 m and 20 kg at 0.20 m stand at 0.492683 m
    car = Vehicle(800.0, 400e3, 1.2 * G, stance=Stance(0.5, 0.50, 2.6))
    after = with_ballast(car, 20.0, -0.5, 0.20)
    assert after.stance is not None
    assert after.mass * after.stance.front_share == pytest.approx(400.0 - 3.84615, abs=1e-5)
    assert after.mass * (1 - after.stance.front_share) == pytest.approx(400.0 + 23.84615, abs=1e-5)
    assert after.stance.height == pytest.approx(0.492683, abs=1e-6)
    # the tyres are the same
    assert car.stance is not None
    before = friction_of(car.grip_acceleration, car.stance)
    assert friction_of(after.grip_acceleration, after.stance) == pytest.approx(before, rel=1e-9)


@pytest.mark.parametrize(
    ("alter", "elasticity"),
    [
        (lambda car: with_power(car, 1.01), -1 / 3),
        (lambda car: with_mass(car, 12.0), 1 / 3),
    ],
)
def test_effects_of_power_and_mass_at_constant_power(alter, elasticity: float) -> None:
    # elasticities of elapsed time to power and mass at constant power, closed form t = (9 m x²/(8 P))^(1/3)
    done = outcome(PLAIN, SURE, Supposed(alter, STANDARD_AIR, STANDARD_AIR), [])
    before = done.before.times[4]
    assert done.time(0, 5)[0] == pytest.approx(before * (1.01**elasticity - 1), rel=1e-6)
    assert done.time(0, 5)[0] == pytest.approx(sum(done.time(n, n + 1)[0] for n in range(5)), abs=1e-12)
    # v = (3 P x/m)^(1/3): the trap's average likewise
    assert done.speed(1)[0] == pytest.approx(done.before.speeds[1] * (1.01**-elasticity - 1), rel=1e-6)


@pytest.mark.parametrize(
    ("alter", "slower"),
    [
        (lambda car: with_ballast(car, 11.0, 2.6, 0.3), True),
        (lambda car: with_mass(car, -20.0), False),
        (lambda car: with_power(car, 1.02), False),
        (lambda car: with_drag(car, 1.1), True),
        (lambda car: with_shift_speed(car, -600 * RPM), True),
        (lambda car: with_final_drive(car, 3.6), True),
        (lambda car: with_circumference(car, 1.12), True),
    ],
)
def test_direction_of_each_change(alter, slower: bool) -> None:
    done = outcome(CAR, FITTED, Supposed(alter, STANDARD_AIR, STANDARD_AIR), doubts(CAR, measured_curve=False))
    mean, sd = done.time(0, 5)
    assert (mean > 0) == slower
    assert abs(mean) > sd > 0


def test_ballast_over_the_rear_axle_helps_the_launch_where_the_tyres_limit() -> None:
    # a car that its tyres limit, far from wheel lift: load on the driven tyres is what it lacks
    slick = replace(CAR, grip_acceleration=0.9 * G)
    behind = Supposed(lambda car: with_ballast(car, 20.0, -0.3, 0.3), STANDARD_AIR, STANDARD_AIR)
    assert outcome(slick, SURE, behind, []).time(0, 1)[0] < 0
    ahead = Supposed(lambda car: with_ballast(car, 20.0, 2.4, 0.3), STANDARD_AIR, STANDARD_AIR)
    assert outcome(slick, SURE, ahead, []).time(0, 1)[0] > 0


def test_other_air_does_what_the_correction_says() -> None:
    # two ways to the same figure
    hot = Air(306.0, 97000.0, 0.6, -2.0)
    done = outcome(CAR, SURE, Supposed(lambda car: car, STANDARD_AIR, hot), [])
    assert done.change == pytest.approx(np.concatenate([shift(CAR, hot).times, shift(CAR, hot).speeds]), abs=1e-12)


def test_nothing_changed_is_no_change() -> None:
    supposed = Supposed(lambda car: car, STANDARD_AIR, STANDARD_AIR)
    done = outcome(CAR, FITTED, supposed, doubts(CAR, measured_curve=False))
    assert done.time(0, 5)[0] == 0.0
    assert np.all(done.deviations == 0.0)
    assert with_stall_speed(CAR, 5100 * RPM, 5100 * RPM) == CAR


def test_a_new_converter_stalls_where_it_says() -> None:
    car = with_stall_speed(CAR, 5100 * RPM, 5600 * RPM)
    assert car.driveline is not None
    assert car.tyre is not None
    train = Powertrain(car.driveline, car.tyre, np.array([[620e3]]))
    assert train.turning(np.array([[0.0]])).engine[0, 0] == pytest.approx(5600 * RPM, rel=1e-9)


def test_the_doubt_grows_with_the_fits_and_with_what_is_not_known() -> None:
    supposed = Supposed(lambda car: with_drag(car, 1.1), STANDARD_AIR, STANDARD_AIR)
    sure, fitted = (outcome(CAR, covariance, supposed, []).time(0, 5)[1] for covariance in (SURE, FITTED))
    assert fitted > sure
    assert outcome(CAR, FITTED, supposed, doubts(CAR, measured_curve=False)).time(0, 5)[1] > fitted
    placed = Supposed(lambda car: with_ballast(car, 20.0, 0.0, 0.3), STANDARD_AIR, STANDARD_AIR)
    unplaced = replace(placed, otherwise=(lambda car: with_ballast(car, 20.0, 0.5, 0.3),))
    assert outcome(CAR, SURE, unplaced, []).time(0, 5)[1] > outcome(CAR, SURE, placed, []).time(0, 5)[1]
    # first-order propagation of the fit's part: drag's effect is proportional to drag area, 8 % of it one sd
    done = outcome(CAR, FITTED, supposed, [])
    assert done.deviations[2, 4] / done.change[4] == pytest.approx(0.08, rel=0.1)


def test_a_shifted_curve_keeps_its_power() -> None:
    speed = np.array([550.0, 650.0, 720.0])
    moved = shifted_curve(ENGINE, 1.05)
    before, after = speed * torque_at(ENGINE, speed)[0], 1.05 * speed * torque_at(moved, 1.05 * speed)[0]
    assert after == pytest.approx(before, rel=1e-12)


def test_what_is_not_known_cannot_be_changed() -> None:
    for alter in (lambda: with_final_drive(PLAIN, 4.0), lambda: with_shift_speed(PLAIN, 1.0)):
        with pytest.raises(ValueError, match="the driveline isn't known"):
            alter()
    with pytest.raises(ValueError, match="the tyre isn't known"):
        with_circumference(PLAIN, 1.1)
    with pytest.raises(ValueError, match="the converter isn't known"):
        with_stall_speed(PLAIN, 500.0, 600.0)


def test_beyond_a_finish_that_is_not_reached_the_rest_still_counts() -> None:
    assert CAR.driveline is not None
    short = with_final_drive(CAR, 12.0)
    assert np.isnan(simulate(short, STANDARD_AIR).times[4])
    done = outcome(CAR, FITTED, Supposed(lambda car: with_final_drive(car, 12.0), STANDARD_AIR, STANDARD_AIR), [])
    assert np.isfinite(done.time(0, 2)).all()
    assert np.isnan(done.time(0, 5)[0])
