"""Corner weights against statics: sums, shares and moments about the rear axle and the centre line."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runlog.physics.weights import CornerWeights, Footprint, WeighedCar, centre_of_gravity, even_corners

mass = st.floats(min_value=20.0, max_value=900.0)
corner_weights = st.builds(CornerWeights, mass, mass, mass, mass)
length = st.floats(min_value=0.8, max_value=5.0)

# hand calculation: 420/820, 410/820 and (200 + 190)/820
EXAMPLE = CornerWeights(left_front=220.0, right_front=200.0, left_rear=190.0, right_rear=210.0)


def test_shares_of_the_worked_example() -> None:
    assert EXAMPLE.total == 820.0
    assert 100 * EXAMPLE.front_share == pytest.approx(51.2195, abs=1e-4)
    assert 100 * EXAMPLE.left_share == pytest.approx(50.0, abs=1e-12)
    assert 100 * EXAMPLE.cross_share == pytest.approx(47.5610, abs=1e-4)


def test_cross_weight_is_right_front_and_left_rear() -> None:
    """Usage of the trade, no standard: the diagonal is named in the docstring and held to here."""
    before, after = CornerWeights(200, 200, 200, 200), CornerWeights(200, 210, 210, 200)
    assert after.cross_share > before.cross_share
    assert CornerWeights(210, 200, 200, 210).cross_share < before.cross_share


def test_centre_of_gravity_of_the_worked_example() -> None:
    """Moments by hand: x = 2.6 · 420/820; y = ((220 − 200) 1.5/2 + (190 − 210) 1.6/2)/820 = −1/820."""
    x, y = centre_of_gravity(EXAMPLE, wheelbase=2.6, front_track=1.5, rear_track=1.6)
    assert x == pytest.approx(2.6 * 420 / 820, rel=1e-12)
    assert y == pytest.approx(-1.0 / 820, rel=1e-9)


@given(corner_weights, length, length, length)
def test_moments_close_about_every_line(
    corners: CornerWeights, wheelbase: float, front_track: float, rear_track: float
) -> None:
    """Statics: the whole weight in the centre of gravity has the moments of the four readings."""
    x, y = centre_of_gravity(corners, wheelbase, front_track, rear_track)
    places = [(wheelbase, front_track / 2), (wheelbase, -front_track / 2), (0, rear_track / 2), (0, -rear_track / 2)]
    for about_x, about_y in ((0.0, 0.0), (1.3, -0.7)):
        pitch = math.fsum(m * (place[0] - about_x) for m, place in zip(corners.each, places, strict=True))
        roll = math.fsum(m * (place[1] - about_y) for m, place in zip(corners.each, places, strict=True))
        assert corners.total * (x - about_x) == pytest.approx(pitch, abs=1e-9 * corners.total * wheelbase)
        assert corners.total * (y - about_y) == pytest.approx(roll, abs=1e-9 * corners.total * wheelbase)


@given(corner_weights, length, length)
def test_left_and_right_exchanged_mirror_the_car(corners: CornerWeights, wheelbase: float, track: float) -> None:
    mirrored = CornerWeights(corners.right_front, corners.left_front, corners.right_rear, corners.left_rear)
    x, y = centre_of_gravity(corners, wheelbase, track, track)
    assert centre_of_gravity(mirrored, wheelbase, track, track) == pytest.approx((x, -y), abs=1e-12)
    assert mirrored.cross_share == pytest.approx(1.0 - corners.cross_share, abs=1e-12)
    assert mirrored.left_share == pytest.approx(1.0 - corners.left_share, abs=1e-12)


@given(corner_weights)
def test_more_on_the_front_is_further_forward_and_more_on_the_left_further_left(corners: CornerWeights) -> None:
    x, y = centre_of_gravity(corners, 2.6, 1.5, 1.6)
    moved = CornerWeights(
        corners.left_front + 5, corners.right_front + 5, corners.left_rear - 5, corners.right_rear - 5
    )
    assert centre_of_gravity(moved, 2.6, 1.5, 1.6)[0] > x
    moved = CornerWeights(
        corners.left_front + 5, corners.right_front - 5, corners.left_rear + 5, corners.right_rear - 5
    )
    assert centre_of_gravity(moved, 2.6, 1.5, 1.6)[1] > y


@given(st.floats(min_value=300, max_value=2000), st.floats(min_value=0.05, max_value=0.95))
def test_even_corners_have_the_total_and_the_share_asked_for(total: float, share: float) -> None:
    corners = even_corners(total, share)
    assert corners.total == pytest.approx(total, rel=1e-12)
    assert corners.front_share == pytest.approx(share, rel=1e-12)
    assert corners.left_share == pytest.approx(0.5, abs=1e-12)


@pytest.mark.parametrize(
    ("corners", "message"),
    [
        ((-1.0, 200.0, 200.0, 200.0), "left front -1 kg can't be"),
        ((200.0, 200.0, 200.0, math.nan), "right rear nan kg can't be"),
        ((200.0, math.inf, 200.0, 200.0), "right front inf kg can't be"),
        ((0.0, 0.0, 0.0, 0.0), "together weigh nothing"),
    ],
)
def test_readings_that_cannot_be_are_refused(corners: tuple[float, float, float, float], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        CornerWeights(*corners)


def test_lengths_and_shares_that_cannot_be_are_refused() -> None:
    with pytest.raises(ValueError, match="wheelbase 0 can't be"):
        centre_of_gravity(EXAMPLE, 0.0, 1.5, 1.6)
    with pytest.raises(ValueError, match=r"rear track -1\.6 can't be"):
        Footprint(2.6, 1.5, -1.6)
    with pytest.raises(ValueError, match=r"front share of roll stiffness 1\.2 can't be"):
        Footprint(2.6, 1.5, 1.6, front_roll_share=1.2)
    with pytest.raises(ValueError, match="height of the centre of gravity 0 can't be"):
        WeighedCar(EXAMPLE, Footprint(2.6, 1.5, 1.6), height=0.0)
    with pytest.raises(ValueError, match=r"front share 1\.5 can't be"):
        even_corners(1200.0, 1.5)
