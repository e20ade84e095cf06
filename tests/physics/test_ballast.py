"""Ballast against moment balance, and against a rigid chassis on four springs solved by numpy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from runlog.physics.ballast import Ballast, add_ballast
from runlog.physics.weights import CornerWeights, Footprint, WeighedCar

CAR = WeighedCar(CornerWeights(330.0, 320.0, 280.0, 270.0), Footprint(2.6, 1.5, 1.6, 0.4), height=0.50)

# within the wheelbase and the track no ballast of 60 kg lifts a corner of this car
ballast = st.builds(
    Ballast,
    st.floats(min_value=1.0, max_value=60.0),
    st.floats(min_value=-0.6, max_value=3.2),
    st.floats(min_value=-0.7, max_value=0.7),
    st.floats(min_value=0.0, max_value=1.0),
)


def test_ballast_behind_the_rear_axle_lightens_the_front() -> None:
    """Moments about the rear axle by hand: 20 kg · 0.5 m / 2.6 m = 3.84615 kg off the front."""
    after = add_ballast(CAR, Ballast(20.0, x=-0.5))
    assert after.corners.front - CAR.corners.front == pytest.approx(-3.8461538461, abs=1e-9)
    assert after.corners.rear - CAR.corners.rear == pytest.approx(23.8461538461, abs=1e-9)


def test_height_is_the_mean_by_mass() -> None:
    """Hand calculation: (800 · 0.50 + 20 · 0.20)/820 = 0.492683 m."""
    car = WeighedCar(CornerWeights(200, 200, 200, 200), CAR.footprint, height=0.50)
    after = add_ballast(car, Ballast(20.0, x=1.0, z=0.20))
    assert after.height == pytest.approx(0.492683, abs=1e-6)


def test_unknown_height_stays_unknown() -> None:
    assert add_ballast(CAR, Ballast(20.0, x=1.0)).height is None
    assert add_ballast(WeighedCar(CAR.corners, CAR.footprint), Ballast(20.0, x=1.0, z=0.2)).height is None
    assert add_ballast(CAR, Ballast(0.0, x=1.0)) == CAR


@given(ballast)
def test_moments_and_sum_close(piece: Ballast) -> None:
    """Statics: total, pitch and roll moment and mass times height grow by the ballast's own."""
    after = add_ballast(CAR, piece)
    old, new = CAR.corners.total, after.corners.total
    assert new == pytest.approx(old + piece.mass, rel=1e-12)
    for axis, moved in ((0, piece.x), (1, piece.y)):
        assert new * after.place[axis] == pytest.approx(old * CAR.place[axis] + piece.mass * moved, abs=1e-9)
    assert after.height is not None
    assert piece.z is not None
    assert new * after.height == pytest.approx(old * 0.50 + piece.mass * piece.z, abs=1e-9)


@given(ballast)
def test_adding_then_removing_returns(piece: Ballast) -> None:
    away = Ballast(-piece.mass, piece.x, piece.y, piece.z)
    back = add_ballast(CAR, piece, away)
    assert back.corners.each == pytest.approx(CAR.corners.each, abs=1e-9)
    assert back.height == pytest.approx(CAR.height, abs=1e-12)


@given(ballast, st.floats(min_value=0.01, max_value=0.5))
def test_further_forward_is_more_front_and_further_left_is_more_left(piece: Ballast, move: float) -> None:
    here = add_ballast(CAR, piece).corners
    forward = add_ballast(CAR, Ballast(piece.mass, piece.x + move, piece.y)).corners
    left = add_ballast(CAR, Ballast(piece.mass, piece.x, piece.y + move)).corners
    assert forward.front_share > here.front_share
    assert forward.left_share == pytest.approx(here.left_share, abs=1e-12)
    assert left.left_share > here.left_share
    assert left.front_share == pytest.approx(here.front_share, abs=1e-12)


@given(ballast)
def test_mirrored_ballast_in_a_mirrored_car_mirrors_the_corners(piece: Ballast) -> None:
    one = CAR.corners
    mirrored = WeighedCar(
        CornerWeights(one.right_front, one.left_front, one.right_rear, one.left_rear), CAR.footprint, CAR.height
    )
    here = add_ballast(CAR, piece).corners
    there = add_ballast(mirrored, Ballast(piece.mass, piece.x, -piece.y, piece.z)).corners
    assert there.each == pytest.approx((here.right_front, here.left_front, here.right_rear, here.left_rear), abs=1e-9)


@given(ballast, st.floats(min_value=2e4, max_value=2e5), st.floats(min_value=2e4, max_value=2e5))
def test_the_four_corners_are_those_of_a_rigid_chassis_on_springs(piece: Ballast, front: float, rear: float) -> None:
    """Independent statics: heave, pitch and roll of a plate on four springs [N/m], three equations, three unknowns."""
    wheelbase, front_track, rear_track = 2.6, 1.5, 1.6
    rates = np.array([front, front, rear, rear])
    arms = np.array(
        [
            [1, wheelbase, front_track / 2],
            [1, wheelbase, -front_track / 2],
            [1, 0, rear_track / 2],
            [1, 0, -rear_track / 2],
        ]
    )
    sunk = np.linalg.solve(arms.T @ (rates[:, None] * arms), piece.mass * np.array([1.0, piece.x, piece.y]))
    share = front * front_track**2 / (front * front_track**2 + rear * rear_track**2)
    car = WeighedCar(CAR.corners, Footprint(wheelbase, front_track, rear_track, share))
    changes = np.array(add_ballast(car, piece).corners.each) - np.array(CAR.corners.each)
    assert changes == pytest.approx(rates * (arms @ sunk), abs=1e-9)


def test_a_corner_lifted_is_refused() -> None:
    with pytest.raises(ValueError, match="would lift the left front tyre off the ground"):
        add_ballast(CAR, Ballast(2000.0, x=-1.5))
    with pytest.raises(ValueError, match="would lift the right"):
        add_ballast(CAR, Ballast(900.0, x=1.3, y=1.6))


def test_taking_out_more_than_there_is_is_refused() -> None:
    with pytest.raises(ValueError, match="taking 1200 kg out of a car of 1200 kg leaves nothing"):
        add_ballast(CAR, Ballast(-1200.0, x=1.3))


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ((math.nan, 0.0, 0.0, None), "ballast mass nan can't be"),
        ((10.0, math.inf, 0.0, None), "ballast x inf can't be"),
        ((10.0, 0.0, 0.0, -0.1), "below the ground"),
    ],
)
def test_ballast_that_cannot_be_is_refused(values: tuple[float, float, float, float | None], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        Ballast(*values)
