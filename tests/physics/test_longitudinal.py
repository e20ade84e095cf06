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
from runlog.physics.longitudinal import simulate
from runlog.physics.power import power_factor
from runlog.physics.vehicle import Vehicle

HORSEPOWER, POUND, FOOT, MPH, G = 745.69987158227, 0.45359237, 0.3048, 0.44704, 9.80665
ENOUGH_GRIP = 1e6  # [m/s²] power-limited from the first millimetre on
ENOUGH_POWER = 1e12  # [W] grip-limited to the end

CAR = Vehicle(mass=1200.0, power=450e3, grip_acceleration=1.4 * G)
HOT_HEADWIND = Air(303.15, 95000.0, 0.5, -4.0)


def lossless(power: float, mass: float, grip: float, rollout: float = 0.0) -> Vehicle:
    return Vehicle(mass, power, grip, drag_area=0.0, rolling_coefficient=0.0, rotating_share=0.0, rollout=rollout)


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


@given(st.floats(5.0, 150.0), st.floats(50.0, 1000.0))
def test_speed_time_and_distance_under_constant_power(rollout: float, power: float) -> None:
    # identities: v t = 1.5 x and v = (3 P x/m)^(1/3) under constant power, v t = 2 x under constant acceleration
    x = rollout + np.array([60, 330, 660, 1000, 1320]) * FOOT
    run = simulate(lossless(power, 1.0, ENOUGH_GRIP, rollout), STANDARD_AIR)
    elapsed = run.times + (9 * rollout**2 / (8 * power)) ** (1 / 3)
    assert run.crossing.speed * elapsed / x == pytest.approx(np.full(5, 1.5), rel=1e-5)
    assert run.crossing.speed == pytest.approx(np.cbrt(3 * power * x), rel=1e-5)
    run = simulate(lossless(ENOUGH_POWER, 1.0, 10.0, rollout), STANDARD_AIR)
    elapsed = run.times + np.sqrt(2 * rollout / 10.0)
    assert run.crossing.speed * elapsed / x == pytest.approx(np.full(5, 2.0), rel=1e-12)


def test_constant_force_with_drag() -> None:
    # textbook closed form of dv/dt = g − k v²: t = acosh(exp(k x)) / √(g k), v = √(g (1 − exp(−2 k x))/k)
    grip, drag = 12.0, 3e-4
    car = replace(lossless(ENOUGH_POWER, 1000.0, grip), drag_area=2000.0 * drag / float(STANDARD_AIR.density))
    x = np.array([60, 330, 660, 1000, 1320]) * FOOT
    run = simulate(car, STANDARD_AIR)
    assert run.times == pytest.approx(np.arccosh(np.exp(drag * x)) / np.sqrt(grip * drag), rel=1e-9)
    assert run.crossing.speed == pytest.approx(np.sqrt(grip * (1 - np.exp(-2 * drag * x)) / drag), rel=1e-11)


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


def test_trap_speeds_are_averages_over_the_track_s_traps() -> None:
    """Oracle: constant grip alone is uniform acceleration, v² = 2 a x, so an average over x₁…x₂ is (v₁ + v₂) / 2."""
    a, rollout = 5.0, 0.2286
    traps = ((640 * FOOT, 680 * FOOT), (1254 * FOOT, 1386 * FOOT))
    plain = replace(lossless(ENOUGH_POWER, 1000.0, a, rollout), traps=traps)
    found = simulate(plain, STANDARD_AIR)
    ends = np.sqrt(2.0 * a * (rollout + np.array(traps)))
    assert found.speeds == pytest.approx(ends.mean(axis=1), rel=1e-6)
    usual = simulate(replace(plain, traps=Vehicle(1.0, 1.0, 1.0).traps), STANDARD_AIR)
    assert found.times == pytest.approx(usual.times, abs=1e-6), "where speed is measured moves no time"
    assert (found.speeds > usual.speeds).all(), "a trap that ends later reads more"
