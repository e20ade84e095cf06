"""The longitudinal model against closed forms, an independent integrator and a known rule."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from runlog.physics.atmosphere import STANDARD_AIR, Air
from runlog.physics.longitudinal import Vehicle, grip_limit, simulate, vehicle_of
from runlog.physics.motion import Motion
from runlog.physics.power import power_factor
from runlog.records import Car

HORSEPOWER, POUND, FOOT, MPH, G = 745.69987158227, 0.45359237, 0.3048, 0.44704, 9.80665
ENOUGH_GRIP = 1e6  # [m/s²] power-limited from the first millimetre on
ENOUGH_POWER = 1e12  # [W] grip-limited to the end

CAR = Vehicle(mass=1200.0, power=450e3, grip_acceleration=1.4 * G)
HOT_HEADWIND = Air(303.15, 95000.0, 0.5, -4.0)


def lossless(power: float, mass: float, grip: float, rollout: float = 0.0) -> Vehicle:
    return Vehicle(mass, power, grip, drag_area=0.0, rolling_coefficient=0.0, rotating_share=0.0, rollout=rollout)


def motion(grip: float, power: float, drag: float = 0.0) -> Motion:
    return Motion(grip, np.array([power]), np.array([drag]), 0.0, np.array([0.0]))


# --- closed forms -----------------------------------------------------------------------------------------------------


def test_constant_power_increments() -> None:
    # t = (9 m x²/(8 P))^(1/3), 500 hp, 3200 lb; trap: average over the last 66 ft 150.1217 mph
    run = simulate(lossless(500 * HORSEPOWER, 3200 * POUND, ENOUGH_GRIP), STANDARD_AIR)
    assert run.times == pytest.approx([1.1357, 3.5386, 5.6172, 7.4101, 8.9167], abs=5e-5)
    assert run.speeds[1] / MPH == pytest.approx(150.1217, rel=1e-5)


# closed form: constant acceleration to v₀ = P/(m a₀), then v³ = v₀³ + 3(P/m)(x − x₀), t = t₀ + (v² − v₀²)m/(2P)
@pytest.mark.parametrize(
    ("power_hp", "weight_lb", "gees", "feet", "expected"),
    [
        (500, 3200, 1.0, (60, 330, 660, 1000, 1320), (1.93125, 4.59504, 6.73346, 8.55535, 10.07908)),
        (1000, 2500, 1.5, (60, 330, 1320), (1.57686, 3.70179, 7.79075)),
    ],
)
def test_grip_then_constant_power(
    power_hp: float, weight_lb: float, gees: float, feet: tuple[int, ...], expected: tuple[float, ...]
) -> None:
    run = simulate(lossless(power_hp * HORSEPOWER, weight_lb * POUND, gees * G), STANDARD_AIR)
    times = dict(zip((60, 330, 660, 1000, 1320), run.times, strict=True))
    assert [times[distance] for distance in feet] == pytest.approx(expected, abs=1e-5)


# elasticity of elapsed time to power, central difference of that closed form; without a grip limit it is −1/3
@pytest.mark.parametrize(
    ("power_hp", "weight_lb", "grip", "elasticity"),
    [(500, 3200, G, -0.19119), (1000, 2500, 1.5 * G, -0.13728), (500, 3200, ENOUGH_GRIP, -1 / 3)],
)
def test_elasticity_of_elapsed_time_to_power(power_hp: float, weight_lb: float, grip: float, elasticity: float) -> None:
    power, mass = power_hp * HORSEPOWER, weight_lb * POUND
    more, less = (simulate(lossless(power * f, mass, grip), STANDARD_AIR).times[4] for f in (1.001, 0.999))
    assert np.log(more / less) / np.log(1.001 / 0.999) == pytest.approx(elasticity, abs=1e-4)


# closed form √(2(d + s)/a) − √(2s/a) of constant acceleration: rollout in inches, g, 60-foot time from the beam
@pytest.mark.parametrize(
    ("inches", "gees", "seconds"),
    [(7, 1.0, 1.7502), (7, 1.5, 1.4290), (7, 2.0, 1.2376), (12, 1.0, 1.6980), (12, 2.0, 1.2006), (0, 1.5, 1.5769)],
)
def test_sixty_foot_time_counts_from_the_beam(inches: float, gees: float, seconds: float) -> None:
    run = simulate(lossless(ENOUGH_POWER, 1000.0, gees * G, inches * 0.0254), STANDARD_AIR)
    assert run.times[0] == pytest.approx(seconds, abs=5e-5)


@given(st.floats(1.0, 150.0), st.floats(50.0, 1000.0))
def test_speed_time_and_distance_under_constant_power(speed: float, power: float) -> None:
    # identities: v t = 1.5 x and v = (3 P x/m)^(1/3) under constant power, v t = 2 x under constant acceleration
    distance, elapsed = motion(ENOUGH_GRIP, power).integrals(np.array([speed]))
    assert speed * elapsed[0] / distance[0] == pytest.approx(1.5, rel=1e-5)
    assert np.cbrt(3 * power * distance[0]) == pytest.approx(speed, rel=1e-5)
    distance, elapsed = motion(10.0, 1e9).integrals(np.array([speed]))
    assert speed * elapsed[0] / distance[0] == pytest.approx(2.0, rel=1e-12)


def test_constant_force_with_drag() -> None:
    # textbook closed form of dv/dt = g − k v²: t = acosh(exp(k x)) / √(g k)
    grip, drag = 12.0, 3e-4
    distance = np.array([20.0, 100.0, 400.0])
    oracle = np.arccosh(np.exp(drag * distance)) / np.sqrt(grip * drag)
    assert motion(grip, 1e9, drag).times_at(distance) == pytest.approx(oracle, rel=1e-12)


# --- an independent integrator --------------------------------------------------------------------------------------


def integrate(car: Vehicle, air: Air) -> tuple[list[float], list[float]]:
    """Split times and trap speeds by scipy's adaptive 8th-order Runge-Kutta in time, beams found as events."""
    power = car.power * float(power_factor(car.aspiration, air))
    moving, density = car.mass * (1 + car.rotating_share), float(air.density)

    def rates(_t: float, state: np.ndarray) -> list[float]:
        speed = state[1]
        force = min(car.mass * car.grip_acceleration, power / max(speed, 1e-9))
        past = speed - float(air.wind_along)
        force -= 0.5 * density * car.drag_area * past * abs(past) + car.rolling_coefficient * car.mass * G
        return [speed, force / moving]

    beams = [0, 60, 330, 594, 660, 1000, 1254, 1320]
    events = [lambda _t, state, feet=feet: state[0] - car.rollout - feet * FOOT for feet in beams]
    options = {"method": "DOP853", "rtol": 1e-12, "atol": 1e-12, "max_step": 0.02}
    solution = solve_ivp(rates, (0, 60), [0, 0], events=events, **options)
    at = {feet: found[0] for feet, found in zip(beams, solution.t_events, strict=True)}
    times = [at[feet] - at[0] for feet in (60, 330, 660, 1000, 1320)]
    return times, [66 * FOOT / (at[end] - at[end - 66]) for end in (660, 1320)]


@pytest.mark.parametrize(
    ("car", "air"),
    [
        (CAR, HOT_HEADWIND),
        (CAR, Air(283.15, 102500.0, 0.9, 7.0)),
        (replace(CAR, power=1.6e6, grip_acceleration=2.3 * G, aspiration="supercharged"), HOT_HEADWIND),
        (replace(CAR, power=110e3, grip_acceleration=0.6 * G, drag_area=0.8), HOT_HEADWIND),
    ],
)
def test_against_an_adaptive_integrator(car: Vehicle, air: Air) -> None:
    times, speeds = integrate(car, air)
    run = simulate(car, air)
    assert run.times == pytest.approx(times, abs=1e-6)
    assert run.speeds == pytest.approx(speeds, abs=1e-5)


# --- direction --------------------------------------------------------------------------------------------------------


def test_a_naturally_aspirated_car_is_quicker_in_denser_air_although_drag_grows() -> None:
    dense, thin = (simulate(CAR, Air(288.15, pressure, 0.0)) for pressure in (103000.0, 98000.0))
    assert np.all(dense.increments[1:] < thin.increments[1:])
    assert np.all(dense.speeds > thin.speeds)
    # grip rules the first 60 ft: only drag is left to tell, and it takes the other side
    assert 0 < dense.times[0] - thin.times[0] < 5e-4


def test_wind_against_costs_more_than_the_same_wind_behind_gives() -> None:
    still, against, behind = (simulate(CAR, Air(288.15, 101325.0, 0.0, wind)) for wind in (0.0, -5.0, 5.0))
    assert np.all(against.increments > still.increments)
    assert np.all(behind.increments < still.increments)
    assert np.all(against.speeds < still.speeds)
    assert against.times[4] - still.times[4] > still.times[4] - behind.times[4]


@pytest.mark.parametrize(
    ("change", "slower"),
    [
        ({"mass": 1260.0}, True),
        ({"power": 472e3}, False),
        ({"drag_area": 0.7}, True),
        ({"rolling_coefficient": 0.02}, True),
        ({"rotating_share": 0.08}, True),
        ({"grip_acceleration": 1.6 * G}, False),
        ({"rollout": 0.30}, False),
    ],
)
def test_what_makes_a_car_slower(change: dict[str, float], slower: bool) -> None:
    before, after = simulate(CAR, STANDARD_AIR), simulate(replace(CAR, **change), STANDARD_AIR)
    assert (after.times[4] > before.times[4]) == slower


# --- shapes, bounds and speed ---------------------------------------------------------------------------------------


def test_many_airs_at_once_give_what_each_gives_alone() -> None:
    temperatures, winds = np.array([283.0, 295.0, 308.0]), np.array([-3.0, 0.0, 3.0])
    together = simulate(CAR, Air(temperatures, 99000.0, 0.5, winds))
    assert together.times.shape == (3, 5)
    assert together.speeds.shape == (3, 2)
    for row, (temperature, wind) in enumerate(zip(temperatures, winds, strict=True)):
        alone = simulate(CAR, Air(float(temperature), 99000.0, 0.5, float(wind)))
        assert together.times[row] == pytest.approx(alone.times, abs=1e-9)
        assert together.speeds[row] == pytest.approx(alone.speeds, abs=1e-7)


def test_increments_add_up_to_the_splits() -> None:
    run = simulate(CAR, HOT_HEADWIND)
    assert np.cumsum(run.increments) == pytest.approx(run.times, rel=1e-12)
    assert run.increments[0] == run.times[0]


def test_missing_air_gives_missing_times_in_its_row_only() -> None:
    run = simulate(CAR, Air(np.array([288.15, np.nan]), 101325.0, 0.0))
    assert np.all(np.isfinite(run.times[0]))
    assert np.all(np.isnan(run.times[1]))


def test_a_car_that_would_not_get_there_gives_nan() -> None:
    # 12 kW against 6 m² of drag tops out near 14 m/s, long before the finish
    run = simulate(Vehicle(1200.0, 12e3, 5.0, drag_area=6.0), STANDARD_AIR)
    assert np.all(np.isfinite(run.times[:3]))
    assert np.all(np.isnan(run.times[3:]))
    assert np.isnan(run.speeds[1])


def test_one_run_takes_less_than_five_milliseconds() -> None:
    def once() -> float:
        start = time.perf_counter()
        simulate(CAR, HOT_HEADWIND)
        return time.perf_counter() - start

    assert min(once() for _ in range(20)) < 5e-3


# --- from a car file --------------------------------------------------------------------------------------------------

HERON = Car(
    name="heron", race_mass=3200 * POUND, wheelbase=2.6, power=500 * HORSEPOWER, tyre_circumference=2.2, final_drive=4.1
)


# R. N. Jazar, *Vehicle Dynamics* (2008) eq. 2.116 with the data of exercise 2.10, and a problem of lecture slides
# (B. Waluyo, 2023); both answers worked by hand, with g = 9.81
@pytest.mark.parametrize(
    ("front_share", "height", "wheelbase", "friction", "limit"),
    [(0.5, 0.72, 2.62, 0.8, 5.0298), (0.5, 0.7, 2.6, 0.7, 4.2309)],
)
def test_grip_of_a_rear_driven_car(
    front_share: float, height: float, wheelbase: float, friction: float, limit: float
) -> None:
    found = grip_limit(front_share, height, wheelbase, friction)
    assert found == pytest.approx(limit * G / 9.81, rel=1e-4)


@pytest.mark.parametrize("friction", [4.0, 6.0])
def test_lifting_front_wheels_bound_the_grip(friction: float) -> None:
    # moments about the rear axle: centre of gravity 1.2 m before the rear axle and 0.5 m high lifts at 2.4 g
    assert grip_limit(1.2 / 2.5, 0.5, 2.5, friction) == pytest.approx(2.4 * G, rel=1e-12)


def test_a_rearward_centre_of_gravity_grips_better() -> None:
    assert grip_limit(0.48, 0.5, 2.6) > grip_limit(0.52, 0.5, 2.6)
    assert vehicle_of(replace(HERON, front_share=0.48, centre_of_gravity_height=0.5), 0.2).grip_acceleration == (
        grip_limit(0.48, 0.5, 2.6)
    )


def test_vehicle_of_a_bare_car_file_runs_about_what_the_cube_root_rule_says() -> None:
    # Huntington's rule 225 (hp/lb)^(1/3) mph, 121.187 mph here, as quoted by P. J. Nahin, *In Praise of Simple Physics*
    # (2016) p. 33; a rule for road cars with their drivers, so 8 % is plenty
    run = simulate(vehicle_of(HERON, 0.2286), Air(298.15, 99000.0, 0.0))
    assert run.speeds[1] / MPH == pytest.approx(121.187, rel=0.08)


def test_vehicle_of_takes_what_the_file_gives() -> None:
    given_area = vehicle_of(replace(HERON, drag_area=0.71, aspiration="nitrous"), 0.18)
    assert (given_area.drag_area, given_area.aspiration, given_area.rollout) == (0.71, "nitrous", 0.18)
    assert given_area.mass == HERON.race_mass


def test_wheel_power_is_not_charged_for_the_driveline_again() -> None:
    at_engine, at_wheels = vehicle_of(HERON, 0.2), vehicle_of(replace(HERON, power_at="wheels"), 0.2)
    assert at_engine.power < at_wheels.power
    # the same rated figure is less power when its standard's reference air is cooler
    assert vehicle_of(replace(HERON, power_standard="SAE J607"), 0.2).power < at_engine.power
