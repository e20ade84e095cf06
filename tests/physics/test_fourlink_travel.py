"""Axle travel, ride height and link lengths against a general root finder, finite differences and exact cases."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import fsolve

from runlog.physics.fourlink import FourLink, InstantCentre, Link, anti_squat, instant_centre
from runlog.physics.fourlink_travel import (
    lowered,
    rotation_per_length,
    sensitivity,
    travel_rates,
    travelled,
)

LINKS = FourLink(Link((0.03, 0.50), (0.50, 0.42)), Link((0.02, 0.22), (0.55, 0.24)))
LEVEL = FourLink(Link((0.0, 0.50), (0.5, 0.50)), Link((0.0, 0.20), (0.5, 0.20)))
RADIUS = 0.40


def by_root_finder(links: FourLink, travel: float) -> tuple[float, float]:
    """Solve for (forward, rotation) with scipy's hybrid method, in complex numbers: nothing shared with the code."""

    def gaps(state: np.ndarray) -> list[float]:
        out = []
        for link in (links.upper, links.lower):
            centre = complex(0, RADIUS)
            rear = (complex(*link.rear) - centre) * np.exp(1j * state[1]) + centre + complex(state[0], travel)
            out.append(abs(rear - complex(*link.front)) - math.dist(link.rear, link.front))
        return out

    forward, rotation = fsolve(gaps, [0.0, 0.0], xtol=1e-13)
    return float(forward), float(rotation)


@pytest.mark.parametrize("travel", [-0.10, -0.03, -0.001, 0.0, 0.02, 0.08, 0.12])
def test_travel_against_a_general_root_finder(travel: float) -> None:
    """scipy.optimize.fsolve on the same closure, written anew."""
    found = travelled(LINKS, travel, RADIUS)
    assert (found.forward, found.rotation) == pytest.approx(by_root_finder(LINKS, travel), abs=1e-10)


@settings(deadline=None)
@given(st.floats(-0.12, 0.12))
def test_links_keep_their_lengths(travel: float) -> None:
    after = travelled(LINKS, travel, RADIUS).links
    assert after.upper.length == pytest.approx(LINKS.upper.length, abs=1e-11)
    assert after.lower.length == pytest.approx(LINKS.lower.length, abs=1e-11)


@settings(deadline=None)
@given(st.floats(-0.1, 0.1))
def test_equal_parallel_links_swing_without_turning(travel: float) -> None:
    """A parallelogram, exactly: the rear ends move on circles of 0.5 m, so forward = 0.5 − √(0.25 − travel²)."""
    found = travelled(LEVEL, travel, RADIUS)
    assert found.rotation == pytest.approx(0.0, abs=1e-10)
    assert found.forward == pytest.approx(0.5 - math.sqrt(0.25 - travel**2), abs=1e-10)


def test_there_and_back_is_home() -> None:
    there = travelled(LINKS, 0.06, RADIUS)
    back = travelled(there.links, -0.06, RADIUS)
    assert back.links.upper.front == pytest.approx(LINKS.upper.front, abs=1e-10)
    assert back.links.lower.rear == pytest.approx(LINKS.lower.rear, abs=1e-10)
    assert back.rotation == pytest.approx(-there.rotation, abs=1e-10)


def test_small_travel_is_a_rotation_about_the_instant_centre() -> None:
    """Central difference of the exact solution against −1/x and (R − z)/x."""
    step = 1e-5
    up, down = travelled(LINKS, step, RADIUS), travelled(LINKS, -step, RADIUS)
    rates = travel_rates(instant_centre(LINKS), RADIUS)
    assert (up.rotation - down.rotation) / (2 * step) == pytest.approx(rates.rotation, rel=1e-6)
    assert (up.forward - down.forward) / (2 * step) == pytest.approx(rates.forward, rel=1e-6)


def test_small_travel_with_parallel_links() -> None:
    """They climb forward at 0.1, so the axle goes back by 0.1 for each unit it rises."""
    links = FourLink(Link((0.0, 0.45), (0.5, 0.50)), Link((0.0, 0.20), (0.5, 0.25)))
    rates = travel_rates(instant_centre(links), RADIUS)
    assert rates.rotation == 0.0
    assert rates.forward == pytest.approx(-0.1, rel=1e-9)
    up, down = travelled(links, 1e-5, RADIUS), travelled(links, -1e-5, RADIUS)
    assert (up.forward - down.forward) / 2e-5 == pytest.approx(-0.1, rel=1e-6)


def test_directions_of_travel() -> None:
    """Centre ahead: the rising axle turns its nose down, about a point in front. Centre behind: up."""
    assert travelled(LINKS, 0.03, RADIUS).rotation < 0
    behind = FourLink(Link((0.0, 0.40), (0.5, 0.45)), Link((0.0, 0.20), (0.5, 0.15)))
    assert travelled(behind, 0.03, RADIUS).rotation > 0


def test_lowering_the_frame_takes_anti_squat() -> None:
    """Hand calculation: link slopes fall with the front ends; lower z = 0.2 + 0.05 x, upper z = 0.45 − 0.15 x."""
    links = FourLink(Link((0.0, 0.45), (0.40, 0.40)), Link((0.0, 0.20), (0.60, 0.25)))
    low = lowered(links, 0.02)
    centre = instant_centre(low)
    assert isinstance(centre, InstantCentre)
    lower_slope, upper_slope = 0.03 / 0.6, -0.07 / 0.4
    x = 0.25 / (lower_slope - upper_slope)
    assert (centre.x, centre.z) == pytest.approx((x, 0.2 + lower_slope * x), abs=1e-12)
    assert anti_squat(centre, 0.5, 2.5) < 1.25


def test_sensitivity_against_wide_differences() -> None:
    """Fourth-order differences over ±1 and ±2 mm of independently made geometry: the root finder, not ``travelled``."""

    def share(links: FourLink) -> float:
        return anti_squat(instant_centre(links), 0.52, 2.67)

    def by_finder(travel: float) -> float:
        forward, turn = by_root_finder(LINKS, travel)

        def moved(link: Link) -> Link:
            arm = (complex(*link.rear) - complex(0, RADIUS)) * complex(math.cos(turn), math.sin(turn))
            return Link((arm.real, arm.imag + RADIUS), (link.front[0] - forward, link.front[1] - travel))

        return share(FourLink(moved(LINKS.upper), moved(LINKS.lower)))

    def slope(function: object, step: float = 1e-3) -> float:
        assert callable(function)
        near, far = function(step) - function(-step), function(2 * step) - function(-2 * step)
        return float((8 * near - far) / (12 * step))

    found = sensitivity(LINKS, 0.52, 2.67, RADIUS)
    assert found.axle_raised == pytest.approx(slope(by_finder), rel=1e-5)
    assert found.frame_lowered == pytest.approx(slope(lambda drop: share(lowered(LINKS, drop))), rel=1e-5)
    assert found.frame_lowered < 0


def test_longer_upper_link_turns_the_nose_up() -> None:
    """Level equal links 0.3 m apart, exactly: the upper rear pivot goes back by the added length, 1/0.3 rad a metre."""
    assert rotation_per_length(LEVEL, RADIUS) == pytest.approx(1 / 0.3, rel=1e-12)


def test_rotation_per_length_against_the_root_finder() -> None:
    step = 1e-6

    def turned(longer: float) -> float:
        share = 1 + longer / LINKS.upper.length
        rear = tuple(f + (r - f) * share for r, f in zip(LINKS.upper.rear, LINKS.upper.front, strict=True))

        def gaps(state: np.ndarray) -> list[float]:
            out = []
            for link, wanted in ((LINKS.upper, math.dist(rear, LINKS.upper.front)), (LINKS.lower, LINKS.lower.length)):
                centre = complex(0, RADIUS)
                end = (complex(*link.rear) - centre) * np.exp(1j * state[1]) + centre + state[0]
                out.append(abs(end - complex(*link.front)) - wanted)
            return out

        return float(fsolve(gaps, [0.0, 0.0], xtol=1e-14)[1])

    assert rotation_per_length(LINKS, RADIUS) == pytest.approx((turned(step) - turned(-step)) / (2 * step), rel=1e-5)


@pytest.mark.parametrize("travel", [0.6, -0.6, 5.0])
def test_links_that_cant_follow_say_how_far_they_went(travel: float) -> None:
    with pytest.raises(ValueError, match=r"can't follow -?\d+ mm of axle travel: they reach the end"):
        travelled(LEVEL, travel, RADIUS)


def test_reach_of_level_links_is_their_length() -> None:
    """The parallelogram stands upright at 0.5 m, exactly."""
    assert travelled(LEVEL, 0.49, RADIUS).forward == pytest.approx(0.5 - math.sqrt(0.25 - 0.49**2), abs=1e-8)
    with pytest.raises(ValueError, match=r"between 49\d and 50\d mm|between 500 and 51\d mm"):
        travelled(LEVEL, 0.51, RADIUS)


def test_axle_in_line_with_its_centre_cant_rise() -> None:
    with pytest.raises(ValueError, match="can't rise or fall"):
        travel_rates(InstantCentre(0.0, 0.3), RADIUS)
    crossed = FourLink(Link((0.3, 0.4), (-0.3, 0.5)), Link((0.3, 0.4), (0.3, 0.9)))
    with pytest.raises(ValueError, match="not determined"):
        rotation_per_length(FourLink(crossed.upper, crossed.upper), RADIUS)
