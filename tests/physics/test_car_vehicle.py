"""From a car file to the longitudinal model."""

from __future__ import annotations

import json
from dataclasses import asdict, replace

import numpy as np
import pytest

from runlog.physics.atmosphere import STANDARD_AIR, Air
from runlog.physics.car_vehicle import vehicle_of
from runlog.physics.grip import friction_of, grip_limit, held_by
from runlog.physics.longitudinal import acceleration, simulate
from runlog.physics.powertrain import Powertrain as Train
from runlog.physics.powertrain import torque_at
from runlog.physics.vehicle import ROLLING_COEFFICIENT, ROTATING_SHARE, Stance, vehicle_from
from runlog.records import Car, Powertrain, Tyre

HORSEPOWER, POUND, MPH, G, RPM = 745.69987158227, 0.45359237, 0.44704, 9.80665, np.pi / 30

HERON = Car(
    name="heron", race_mass=3200 * POUND, wheelbase=2.6, power=500 * HORSEPOWER, tyre_circumference=2.2, final_drive=4.1
)
STANDING = replace(HERON, front_share=0.48, centre_of_gravity_height=0.5)
GEARED = replace(HERON, gear_ratios=(1.8, 1.0), powertrain=Powertrain(peak_power_at=6800 * RPM))


def test_the_least_that_a_file_holds_gives_the_plain_model() -> None:
    car = vehicle_of(HERON, 0.2286)
    assert car.stance is None
    assert car.driveline is None
    # gears alone say nothing of where the engine works
    assert vehicle_of(replace(HERON, gear_ratios=(1.8, 1.0)), 0.2).driveline is None


def test_a_bare_car_file_runs_about_what_the_cube_root_rule_says() -> None:
    # Huntington's rule 225 (hp/lb)^(1/3) mph, 121.187 mph here, as quoted by P. J. Nahin, *In Praise of Simple Physics*
    # (2016) p. 33; a rule for road cars with their drivers, so 8 % is plenty
    run = simulate(vehicle_of(HERON, 0.2286), Air(298.15, 99000.0, 0.0))
    assert run.speeds[1] / MPH == pytest.approx(121.187, rel=0.08)


@pytest.mark.parametrize(("power_hp", "weight_lb"), [(300, 3600), (500, 3200), (900, 2600)])
def test_a_car_with_gears_and_stance_runs_about_what_the_cube_root_rule_says(power_hp: float, weight_lb: float) -> None:
    # the same rule, over a range of power to weight: its cube root and its 225 both
    car = replace(STANDING, power=power_hp * HORSEPOWER, race_mass=weight_lb * POUND, gear_ratios=(2.5, 1.5, 1.0))
    car = replace(car, final_drive=3.9, powertrain=Powertrain(peak_power_at=6500 * RPM))
    run = simulate(vehicle_of(car, 0.2286), Air(298.15, 99000.0, 0.0))
    assert run.speeds[1] / MPH == pytest.approx(225 * np.cbrt(power_hp / weight_lb), rel=0.08)


def test_takes_what_the_file_gives() -> None:
    given = vehicle_of(replace(HERON, drag_area=0.71, aspiration="nitrous"), 0.18)
    assert (given.drag_area, given.aspiration, given.rollout) == (0.71, "nitrous", 0.18)
    assert given.mass == HERON.race_mass


def test_wheel_power_is_not_charged_for_the_driveline_again() -> None:
    for car in (HERON, GEARED):
        at_engine, at_wheels = vehicle_of(car, 0.2), vehicle_of(replace(car, power_at="wheels"), 0.2)
        assert at_engine.power < at_wheels.power
        # the same rated figure is less power when its standard's reference air is cooler
        assert vehicle_of(replace(car, power_standard="SAE J607"), 0.2).power < at_engine.power


def test_rated_power_is_the_top_of_the_curve_less_the_driveline() -> None:
    # SAE J1349's reference air: 99 kPa dry, 25 °C; there the rated power is what the engine gives
    line = vehicle_of(GEARED, 0.2).driveline
    assert line is not None
    speeds = np.linspace(4000, 9000, 5001) * RPM
    shares = speeds * torque_at(line.engine, speeds)[0]
    assert shares.max() == pytest.approx(1.0, abs=1e-9)
    assert speeds[shares.argmax()] == pytest.approx(6800 * RPM, rel=1e-3)


def test_converter_holds_the_engine_at_its_stall_speed_in_the_air_of_the_rating() -> None:
    file = Powertrain(peak_power_at=6800 * RPM, converter_stall=5300 * RPM)
    car = vehicle_of(replace(GEARED, powertrain=file), 0.2)
    assert car.driveline is not None
    assert car.tyre is not None
    train = Train(car.driveline, car.tyre, np.array([[car.power / car.driveline.efficiency]]))
    assert train.turning(np.array([[0.0]])).engine[0, 0] == pytest.approx(5300 * RPM, rel=1e-9)


def test_a_setup_sheet_goes_before_the_file() -> None:
    settings = {"shift rpm": 7000.0, "final drive": 4.3, "converter stall": 5600.0}
    line = vehicle_of(GEARED, 0.2, settings).driveline
    assert line is not None
    assert (line.shift_speeds, line.final_drive) == ((7000.0 * RPM,), 4.3)
    assert line.converter is not None
    torque = GEARED.power * float(torque_at(line.engine, np.array([5600 * RPM]))[0][0])
    assert line.converter.capacity == pytest.approx(torque / (5600 * RPM) ** 2, rel=0.06)  # rating to standard air


def test_a_clutch_car_has_no_converter() -> None:
    line = vehicle_of(replace(GEARED, launch="clutch"), 0.2).driveline
    assert line is not None
    assert line.converter is None
    assert line.release_speed == pytest.approx(0.78 * 6800 * RPM)


def test_tyres_of_the_file_are_used() -> None:
    rubber = Tyre(growth=5e-6, slip=0.05, friction=2.2, load_sensitivity=0.15)
    car = vehicle_of(replace(STANDING, tyre=rubber), 0.2)
    assert car.tyre is not None
    assert (car.tyre.growth, car.tyre.slip) == (5e-6, 0.05)
    assert car.stance is not None
    assert friction_of(car.grip_acceleration, car.stance) == pytest.approx(2.2, rel=1e-9)


@pytest.mark.parametrize("car", [HERON, STANDING, GEARED, replace(GEARED, launch="clutch")])
def test_comes_back_from_json_as_it_was(car: Car) -> None:
    made = vehicle_of(car, 0.2)
    assert vehicle_from(json.loads(json.dumps(asdict(made)))) == made


# --- grip -------------------------------------------------------------------------------------------------------------


# R. N. Jazar, *Vehicle Dynamics* (2008) eq. 2.116 with the data of exercise 2.10, and a problem of lecture slides
# (B. Waluyo, 2023); both answers worked by hand, with g = 9.81
@pytest.mark.parametrize(
    ("front_share", "height", "wheelbase", "friction", "limit"),
    [(0.5, 0.72, 2.62, 0.8, 5.0298), (0.5, 0.7, 2.6, 0.7, 4.2309)],
)
def test_grip_of_a_rear_driven_car(
    front_share: float, height: float, wheelbase: float, friction: float, limit: float
) -> None:
    assert grip_limit(front_share, height, wheelbase, friction) == pytest.approx(limit * G / 9.81, rel=1e-4)
    # and the model's own way there: weight transfer solved with the acceleration that it allows
    stance = Stance(front_share, height, wheelbase, load_sensitivity=0.0)
    assert held_by(friction, stance) == pytest.approx(limit * G / 9.81, rel=1e-4)
    assert friction_of(limit * G / 9.81, stance) == pytest.approx(friction, rel=1e-4)


@pytest.mark.parametrize("friction", [4.0, 6.0])
def test_lifting_front_wheels_bound_the_grip(friction: float) -> None:
    # moments about the rear axle: centre of gravity 1.2 m before the rear axle and 0.5 m high lifts at 2.4 g
    assert grip_limit(1.2 / 2.5, 0.5, 2.5, friction) == pytest.approx(2.4 * G, rel=1e-12)
    car = vehicle_of(replace(HERON, front_share=1.2 / 2.5, centre_of_gravity_height=0.5, wheelbase=2.5), 0.2)
    sticky = replace(car, grip_acceleration=friction * 10 * G, power=1e9)
    assert acceleration(sticky, STANDARD_AIR, np.array([0.0]))[0] == pytest.approx(2.4 * G, rel=1e-12)


def test_a_rearward_centre_of_gravity_grips_better() -> None:
    assert grip_limit(0.48, 0.5, 2.6) > grip_limit(0.52, 0.5, 2.6)
    ahead = vehicle_of(replace(STANDING, front_share=0.52), 0.2)
    assert vehicle_of(STANDING, 0.2).grip_acceleration > ahead.grip_acceleration


def test_the_tyres_alone_give_the_jazar_limit_less_rolling_and_inertia() -> None:
    # a = F/m_e − c g with the load that this very a brings; solved by hand for no load sensitivity and no air
    friction, height, base, front = 1.3, 0.5, 2.6, 0.5
    stance = Stance(front, height, base, load_sensitivity=0.0)
    car = replace(vehicle_of(STANDING, 0.2), stance=stance, drag_area=0.0, power=1e9)
    car = replace(car, grip_acceleration=float(held_by(friction, stance)))
    inertia = 1 + 0.25 * ROTATING_SHARE
    # m inertia a = μ (m g (1 − f) + m a h/L) − c m g
    by_hand = G * (friction * (1 - front) - ROLLING_COEFFICIENT) / (inertia - friction * height / base)
    assert acceleration(car, STANDARD_AIR, np.array([0.0]))[0] == pytest.approx(by_hand, rel=1e-9)


def test_load_sensitive_tyres_hold_less_of_what_weight_transfer_brings() -> None:
    plain, sensitive = (Stance(0.5, 0.5, 2.6, load_sensitivity=s) for s in (0.0, 0.2))
    assert held_by(1.5, sensitive) < held_by(1.5, plain)
    # definition: friction times load to the power of minus s, N/N₀ = 1 + a h/(L g (1 − f))
    held = float(held_by(1.5, sensitive))
    load = 1 + held * 0.5 / (2.6 * G * 0.5)
    assert held == pytest.approx(1.5 * load**-0.2 * load * G * 0.5, rel=1e-9)
