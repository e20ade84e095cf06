"""Correction of times and speeds to reference air."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from runlog.physics.atmosphere import STANDARD_AIR, Air
from runlog.physics.correction import sensitivity, shift
from runlog.physics.longitudinal import simulate
from runlog.physics.vehicle import Vehicle

G = 9.80665
CAR = Vehicle(mass=1200.0, power=450e3, grip_acceleration=1.4 * G)
HOT = Air(303.15, 95000.0, 0.5)
J1349_DAY = Air(298.15, 99000.0, 0.0)

air_states = st.builds(Air, st.floats(273, 313), st.floats(82000, 103500), st.floats(0, 1), st.floats(-6, 6))


@pytest.mark.parametrize("aspiration", ["natural", "supercharged", "turbocharged", "nitrous"])
def test_nothing_to_correct_in_the_reference_air(aspiration: str) -> None:
    car = replace(CAR, aspiration=aspiration)
    for found in (shift(car, STANDARD_AIR), shift(car, HOT, HOT)):
        assert np.all(found.times == 0.0)
        assert np.all(found.speeds == 0.0)


def test_pure_constant_power_follows_the_cube_root_of_the_factor() -> None:
    # 10.000 s × 1.08830^(−1/3) = 9.72188 s: SAE J1349 factor of 30 °C, 950 hPa, 50 %, worked by hand; without losses
    # and without a limit of grip elapsed time goes with power^(−1/3), speed with power^(1/3)
    car = Vehicle(1200.0, 450e3, 1e6, drag_area=0.0, rolling_coefficient=0.0, rotating_share=0.0, rollout=0.0)
    measured, added = simulate(car, HOT), shift(car, HOT, J1349_DAY)
    corrected = 10.0 * (measured.times - added.times) / measured.times
    assert corrected == pytest.approx([9.72188] * 5, abs=1e-3)
    assert (measured.speeds - added.speeds) / measured.speeds == pytest.approx([10 / 9.72188] * 2, rel=1e-4)


def test_a_grip_limited_start_is_not_corrected_as_if_power_ruled() -> None:
    # closed form for 500 hp in 3200 lb at 1 g without losses: v₀ = P/(m a₀), x₀ = v₀²/(2 a₀), t₀ = v₀/a₀, then
    # v³ = v₀³ + 3(P/m)(x − x₀), t = t₀ + (v² − v₀²)m/(2P); 10.07908 s; power over K = 1.08830 as above
    def elapsed(power_per_mass: float) -> float:
        v0 = power_per_mass / G
        cube = v0**3 + 3 * power_per_mass * (402.336 - v0**2 / (2 * G))
        return v0 / G + (cube ** (2 / 3) - v0**2) / (2 * power_per_mass)

    rated, mass = 500 * 745.69987158227, 3200 * 0.45359237
    assert elapsed(rated / mass) == pytest.approx(10.07908, abs=1e-5)
    # the vehicle's power is in standard air, where the J1349 factor is 0.95341
    car = Vehicle(mass, rated / 0.95341, G, drag_area=0.0, rolling_coefficient=0.0, rotating_share=0.0, rollout=0.0)
    added = shift(car, HOT, J1349_DAY).times[4]
    assert added == pytest.approx(elapsed(rated / 1.08830 / mass) - elapsed(rated / mass), abs=5e-4)
    # the rule for power alone would take off nearly twice as much
    assert 1.5 * added < 10.07908 * (1.08830 ** (1 / 3) - 1)


def test_hot_thin_damp_air_costs_time_and_speed_but_not_in_the_first_feet() -> None:
    added = shift(CAR, HOT)
    assert abs(added.times[0]) < 2e-3
    assert np.all(added.increments[1:] > 0.01)
    assert np.all(np.diff(added.times) > 0)
    assert np.all(added.speeds < -1.0)


def test_corrected_figures_are_those_of_the_reference_air() -> None:
    airs = Air(np.array([280.0, 295.0, 308.0]), np.array([102000.0, 98000.0, 86000.0]), 0.5, np.array([-3.0, 0.0, 4.0]))
    measured, added = simulate(CAR, airs), shift(CAR, airs)
    assert added.times.shape == (3, 5)
    assert added.speeds.shape == (3, 2)
    reference = simulate(CAR, STANDARD_AIR)
    for row in range(3):
        assert measured.times[row] - added.times[row] == pytest.approx(reference.times, abs=1e-12)
        assert measured.increments[row] - added.increments[row] == pytest.approx(reference.increments, abs=1e-12)
        assert measured.speeds[row] - added.speeds[row] == pytest.approx(reference.speeds, abs=1e-10)


def test_how_much_each_aspiration_suffers() -> None:
    # turbocharged and nitrous less than natural: common practice, no source
    lost = {name: shift(replace(CAR, aspiration=name), HOT).times[4] for name in ("natural", "turbocharged", "nitrous")}
    assert 0 < lost["turbocharged"] < lost["natural"]
    assert 0 < lost["nitrous"] < lost["natural"]


def test_headwind_is_part_of_the_air() -> None:
    against, behind = (shift(CAR, replace(STANDARD_AIR, wind_along=wind)) for wind in (-5.0, 5.0))
    assert np.all(against.increments > 0)
    assert np.all(against.speeds < 0)
    assert np.all(behind.increments < 0)
    assert np.all(behind.speeds > 0)


def test_drag_works_against_the_loss_of_power_in_thin_air() -> None:
    slick, blunt = (replace(CAR, drag_area=area) for area in (0.1, 1.2))
    thin = Air(288.15, 90000.0, 0.0)
    assert shift(blunt, thin).times[4] < shift(slick, thin).times[4]


@settings(deadline=None)  # other work on the machine must not fail a law
@given(air=air_states)
def test_more_pressure_makes_the_car_quicker_and_faster(air: Air) -> None:
    here, denser = shift(CAR, air), shift(CAR, replace(air, pressure=air.pressure + 500))
    assert np.all(denser.increments[1:] < here.increments[1:])
    assert np.all(denser.speeds > here.speeds)


@settings(deadline=None)  # other work on the machine must not fail a law
@given(air=air_states)
def test_shifts_add_up_over_a_detour(air: Air) -> None:
    direct, leg, rest = shift(CAR, air), shift(CAR, air, HOT), shift(CAR, HOT)
    assert direct.times == pytest.approx(leg.times + rest.times, abs=1e-9)
    assert direct.speeds == pytest.approx(leg.speeds + rest.speeds, abs=1e-9)


def test_sensitivity_is_the_slope_of_the_shift() -> None:
    slope = sensitivity(CAR, HOT)
    denser = replace(HOT, pressure=95950.0)
    change = denser.density / HOT.density - 1
    secant = shift(CAR, denser, HOT)
    assert slope.increments[1:] * change == pytest.approx(secant.increments[1:], rel=0.02)
    assert slope.speeds * change == pytest.approx(secant.speeds, rel=0.02)
    # denser air: quicker from the second beam on, faster in both traps
    assert np.all(slope.increments[1:] < 0)
    assert np.all(slope.speeds > 0)


def test_sensitivity_of_many_airs_has_a_row_each() -> None:
    airs = Air(np.array([288.15, 303.15]), np.array([101325.0, 95000.0]), np.array([0.0, 0.5]))
    found = sensitivity(CAR, airs)
    assert found.times.shape == (2, 5)
    assert found.times[1] == pytest.approx(sensitivity(CAR, HOT).times, rel=1e-6, abs=1e-9)
