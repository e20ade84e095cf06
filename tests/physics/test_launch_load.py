"""Tyre loads at the launch against textbook values, statics identities and bodies solved one by one."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from runlog.constants import STANDARD_GRAVITY as G
from runlog.physics.ballast import Ballast, add_ballast
from runlog.physics.launch_load import (
    Balance,
    Bars,
    Launch,
    axle_loads,
    balance_of,
    bar_limited_acceleration,
    compare_launch,
    driveshaft_torque,
    load_transfer,
    tyre_loads,
    wheel_lift_acceleration,
)
from runlog.physics.longitudinal import grip_limit
from runlog.physics.weights import CornerWeights, Footprint, WeighedCar

BALANCE = Balance(mass=1200.0, x=1.2, height=0.5, wheelbase=2.6)
FOOTPRINT = Footprint(2.6, 1.5, 1.6, front_roll_share=0.4)
EVEN = WeighedCar(CornerWeights(300.0, 300.0, 300.0, 300.0), FOOTPRINT, height=0.5)

balances = st.builds(
    lambda mass, share, height, wheelbase: Balance(mass, share * wheelbase, height, wheelbase),
    st.floats(min_value=500, max_value=1800),
    st.floats(min_value=0.3, max_value=0.7),
    st.floats(min_value=0.3, max_value=0.8),
    st.floats(min_value=2.2, max_value=3.2),
)


def test_load_transfer_of_the_textbook_formula() -> None:
    """m a h / L (Gillespie ch. 1; Jazar ch. 2): 1200 kg, 1.2 g, 0.5 m, 2.6 m, arithmetic 2715.688 N."""
    assert load_transfer(BALANCE, 1.2 * G) == pytest.approx(2715.688, rel=1e-6)


def test_wheel_lift_by_moments() -> None:
    """a/g = x/h, exact: 1.2 m over 0.5 m is 2.4."""
    assert wheel_lift_acceleration(1.2, 0.5) / G == pytest.approx(2.4, rel=1e-12)


@given(balances)
def test_front_axle_carries_nothing_at_wheel_lift(balance: Balance) -> None:
    loads = axle_loads(balance, wheel_lift_acceleration(balance.x, balance.height))
    assert loads.front == pytest.approx(0.0, abs=1e-9 * balance.mass * G)
    assert loads.rear == pytest.approx(balance.mass * G, rel=1e-12)


@given(balances, st.floats(min_value=0.2, max_value=3.0))
def test_grip_limit_of_the_longitudinal_model_agrees(balance: Balance, friction: float) -> None:
    """At that limit either the driven tyres use all their friction or the front wheels carry nothing."""
    front_share = balance.x / balance.wheelbase
    limit = grip_limit(front_share, balance.height, balance.wheelbase, friction)
    loads = axle_loads(balance, min(limit, wheel_lift_acceleration(balance.x, balance.height)))
    used = balance.mass * limit
    assert used <= friction * loads.rear * (1 + 1e-9)
    slack = min(friction * loads.rear - used, loads.front)
    assert slack == pytest.approx(0.0, abs=1e-9 * balance.mass * G)


@given(
    balances,
    st.floats(min_value=0.0, max_value=0.95),
    st.floats(min_value=0.8, max_value=2.0),
    st.floats(min_value=0.0, max_value=800.0),
)
def test_forces_and_moments_close(balance: Balance, part: float, length: float, load: float) -> None:
    """Statics: vertical sum, and moments about the rear contact patch, inertia force at the centre of gravity."""
    acceleration = part * wheel_lift_acceleration(balance.x, balance.height)
    loads = axle_loads(balance, acceleration, Bars(length, load))
    weight = balance.mass * G
    assert loads.front + loads.rear + loads.bars == pytest.approx(weight, rel=1e-12)
    turning = loads.front * balance.wheelbase - loads.bars * length
    assert turning == pytest.approx(
        weight * balance.x - balance.mass * acceleration * balance.height, abs=1e-9 * weight
    )


def test_bars_unload_the_driven_tyres_by_more_than_they_carry() -> None:
    """Lever by hand: 1000 N 1.3 m behind the rear axle, wheelbase 2.6 m: 1500 N off it, 500 N onto the front."""
    free, held = axle_loads(BALANCE, 10.0), axle_loads(BALANCE, 10.0, Bars(1.3, 1000.0))
    assert held.rear - free.rear == pytest.approx(-1500.0, abs=1e-9)
    assert held.front - free.front == pytest.approx(500.0, abs=1e-9)
    assert held.bars == 1000.0


def test_beyond_wheel_lift_the_bars_hold_the_car() -> None:
    """Moments about the rear axle by hand: m (a h − g x)/b."""
    loads = axle_loads(BALANCE, 30.0, Bars(1.5))
    assert loads.bars == pytest.approx(1200.0 * (30.0 * 0.5 - G * 1.2) / 1.5, rel=1e-12)
    assert loads.front == 0.0
    assert loads.rear == pytest.approx(1200.0 * G - loads.bars, rel=1e-12)
    with pytest.raises(ValueError, match=r"at 30 m/s² the front wheels are off the ground: they lift at 23\.54 m/s²"):
        axle_loads(BALANCE, 30.0)


@given(balances, st.floats(min_value=0.05, max_value=1.5), st.floats(min_value=0.8, max_value=2.0))
def test_limit_on_the_bars_uses_all_the_friction(balance: Balance, beyond: float, length: float) -> None:
    friction = balance.x / balance.height + beyond
    limit = bar_limited_acceleration(balance, friction, length)
    loads = axle_loads(balance, limit, Bars(length))
    assert loads.front == pytest.approx(0.0, abs=1e-9 * balance.mass * G)
    assert friction * loads.rear == pytest.approx(balance.mass * limit, rel=1e-9)
    # where friction just lifts the wheels, bars change nothing
    lift = wheel_lift_acceleration(balance.x, balance.height)
    assert bar_limited_acceleration(balance, balance.x / balance.height, length) == pytest.approx(lift, rel=1e-12)
    assert limit > lift


# --- left and right -------------------------------------------------------------------------------------------------


def _each(car: WeighedCar, launch: Launch) -> np.ndarray:
    loads = tyre_loads(car, launch)
    return np.array([loads.left_front, loads.right_front, loads.left_rear, loads.right_rear])


def test_at_rest_the_tyres_carry_what_the_scales_read() -> None:
    car = WeighedCar(CornerWeights(330.0, 310.0, 280.0, 290.0), FOOTPRINT, height=0.5)
    assert _each(car, Launch(0.0)) == pytest.approx(G * np.array(car.corners.each), abs=1e-9)


def test_usual_driveshaft_rotation_loads_the_left_rear() -> None:
    """Direction by the trade (common practice, no source) and by the turning sense of a live axle's pinion."""
    free, driven = _each(EVEN, Launch(8.0)), _each(EVEN, Launch(8.0, driveshaft_torque=800.0))
    left_front, right_front, left_rear, right_rear = driven - free
    assert left_rear > 0.0 > right_rear
    assert right_front > 0.0 > left_front


def test_preload_loads_the_right_rear_at_rest_and_takes_cross_weight_out() -> None:
    change = _each(EVEN, Launch(0.0, preload_torque=300.0)) - _each(EVEN, Launch(0.0))
    assert change[3] > 0.0 > change[2]
    assert change[0] > 0.0 > change[1]
    assert change[1] + change[2] < 0.0


def test_preload_equal_to_the_torque_cancels_it() -> None:
    free = _each(EVEN, Launch(8.0))
    assert _each(EVEN, Launch(8.0, driveshaft_torque=700.0, preload_torque=700.0)) == pytest.approx(free, abs=1e-9)


@given(
    st.floats(min_value=1e4, max_value=1e5),
    st.floats(min_value=1e4, max_value=1e5),
    st.floats(min_value=-900.0, max_value=900.0),
)
def test_torque_reaches_the_tyres_as_bodies_in_equilibrium_say(front: float, rear: float, torque: float) -> None:
    """Independent statics: chassis, front axle and rear axle each in balance; roll stiffnesses [N·m/rad], stiff tyres.

    Unknowns: chassis roll and both differences left − right. The torque turns the axle one way, the chassis the other.
    """
    system = np.array([[front + rear, 0.0, 0.0], [front, 0.75, 0.0], [rear, 0.0, 0.8]])
    # chassis: (K_f + K_r) φ = T; front tyres: ΔD_f t_f/2 = −K_f φ; rear axle: K_r φ + ΔD_r t_r/2 = T
    _, front_change, rear_change = np.linalg.solve(system, np.array([torque, 0.0, torque]))
    car = WeighedCar(EVEN.corners, Footprint(2.6, 1.5, 1.6, front / (front + rear)), height=0.5)
    change = _each(car, Launch(5.0, driveshaft_torque=torque)) - _each(car, Launch(5.0))
    assert change[0] - change[1] == pytest.approx(front_change, abs=1e-7)
    assert change[2] - change[3] == pytest.approx(rear_change, abs=1e-7)


@given(st.floats(min_value=0.0, max_value=0.999), st.floats(min_value=-1500.0, max_value=1500.0))
def test_sums_and_roll_moment_close_whatever_the_torque(part: float, torque: float) -> None:
    """The torque is inside the car: weight, axle sums and the moment about the centre line don't know of it."""
    car = WeighedCar(CornerWeights(330.0, 310.0, 280.0, 290.0), FOOTPRINT, height=0.5)
    acceleration = part * wheel_lift_acceleration(car.place[0], 0.5)
    left_front, right_front, left_rear, right_rear = _each(car, Launch(acceleration, torque))
    axles = axle_loads(balance_of(car), acceleration)
    assert left_front + right_front == pytest.approx(axles.front, abs=1e-8)
    assert left_rear + right_rear == pytest.approx(axles.rear, abs=1e-8)
    moment = 0.75 * (left_front - right_front) + 0.8 * (left_rear - right_rear)
    assert moment == pytest.approx(car.corners.total * G * car.place[1], abs=1e-8)
    assert min(left_front, right_front, left_rear, right_rear) >= -1e-9


def test_with_the_front_wheels_up_the_torque_no_longer_reaches_the_rear_tyres() -> None:
    for launch in (Launch(wheel_lift_acceleration(1.3, 0.5), 900.0), Launch(30.0, 900.0, bars=Bars(1.4))):
        loads = tyre_loads(EVEN, launch)
        assert loads.left_rear == pytest.approx(loads.right_rear, abs=1e-6)


@given(st.floats(min_value=0.0, max_value=1.0), st.floats(min_value=0.0, max_value=1.0))
def test_a_stiffer_rear_evens_the_rear_tyres(one: float, other: float) -> None:
    assume(abs(one - other) > 1e-6)
    less, more = sorted((one, other))
    apart = []
    for share in (less, more):
        car = WeighedCar(EVEN.corners, Footprint(2.6, 1.5, 1.6, share), height=0.5)
        loads = tyre_loads(car, Launch(5.0, driveshaft_torque=800.0))
        apart.append(loads.left_rear - loads.right_rear)
    assert apart[0] < apart[1]


def test_driveshaft_torque_follows_the_final_drive() -> None:
    """Hand calculation: 12000 N · 0.4 m / 4 = 1200 N·m."""
    assert driveshaft_torque(12000.0, 0.4, 4.0) == pytest.approx(1200.0, rel=1e-12)
    assert driveshaft_torque(12000.0, 0.4, 5.0) < driveshaft_torque(12000.0, 0.4, 4.0)


# --- ballast at the launch --------------------------------------------------------------------------------------------


def test_rear_ballast_loads_the_tyres_and_lifts_the_wheels_sooner() -> None:
    after = add_ballast(EVEN, Ballast(20.0, x=-0.4, z=0.5))
    change = compare_launch(balance_of(EVEN), balance_of(after), 10.0)
    assert change.rear_load[1] > change.rear_load[0]
    assert change.rear_load_per_mass[1] > change.rear_load_per_mass[0]
    assert change.wheel_lift[1] < change.wheel_lift[0]


def test_forward_ballast_holds_the_wheels_down_and_costs_load_per_mass() -> None:
    after = add_ballast(EVEN, Ballast(20.0, x=2.8, z=0.3))
    change = compare_launch(balance_of(EVEN), balance_of(after), 10.0)
    assert change.rear_load_per_mass[1] < change.rear_load_per_mass[0]
    assert change.wheel_lift[1] > change.wheel_lift[0]


@given(st.floats(min_value=1.0, max_value=60.0), st.floats(min_value=-0.6, max_value=3.0), st.floats(0.1, 0.9))
def test_driven_load_grows_by_the_ballast_s_own_weight_and_transfer(mass: float, x: float, z: float) -> None:
    """Superposition: the ballast alone puts m g (1 − x/L) + m a z/L on the driven tyres."""
    after = add_ballast(EVEN, Ballast(mass, x, z=z))
    loads = compare_launch(balance_of(EVEN), balance_of(after), 10.0).rear_load
    assert loads[1] - loads[0] == pytest.approx(mass * G * (1 - x / 2.6) + mass * 10.0 * z / 2.6, abs=1e-8)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Balance(1200.0, -0.1, 0.5, 2.6), "lies between the axles"),
        (lambda: Balance(1200.0, 1.3, 0.0, 2.6), "height 0 can't be"),
        (lambda: Bars(0.0), "wheelie-bar length 0 can't be"),
        (lambda: Bars(1.2, -5.0), "wheelie-bar load -5 N can't be"),
        (lambda: wheel_lift_acceleration(1.2, 0.0), "height of the centre of gravity 0 can't be"),
        (lambda: wheel_lift_acceleration(-0.1, 0.5), "would tip over"),
        (lambda: axle_loads(BALANCE, 10.0, Bars(1.3, 9000.0)), "lifts the driven tyres"),
        (lambda: balance_of(WeighedCar(EVEN.corners, FOOTPRINT)), "height of the centre of gravity isn't known"),
        (lambda: driveshaft_torque(1000.0, 0.4, 0.0), "final drive 0 can't be"),
        (
            lambda: tyre_loads(
                WeighedCar(CornerWeights(590.0, 10.0, 590.0, 10.0), FOOTPRINT, height=0.5), Launch(0.0, 900.0)
            ),
            "the right rear tyre would leave the ground",
        ),
    ],
)
def test_what_cannot_be_is_refused(make: object, message: str) -> None:
    assert callable(make)
    with pytest.raises(ValueError, match=message):
        make()
