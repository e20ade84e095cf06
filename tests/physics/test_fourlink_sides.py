"""Left and right links that differ, against exact swings and an elastic model of the whole car."""

from __future__ import annotations

import math

import numpy as np
import pytest

from runlog.physics.axle_sides import anti_squat_difference, axle_steer, preload_tendency
from runlog.physics.fourlink import FourLink, Link

LINKS = FourLink(Link((0.03, 0.50), (0.50, 0.42)), Link((0.02, 0.22), (0.55, 0.24)))
BEHIND = FourLink(Link((0.0, 0.40), (0.5, 0.45)), Link((0.0, 0.20), (0.5, 0.15)))
TRACK, RADIUS = 1.5, 0.40


def with_lower_front(z: float) -> FourLink:
    return FourLink(LINKS.upper, Link(LINKS.lower.rear, (0.55, z)))


def test_same_links_do_nothing() -> None:
    assert anti_squat_difference(LINKS, LINKS, 0.5, 2.5) == 0.0
    steer = axle_steer(LINKS, LINKS, TRACK)
    assert steer.per_travel == 0.0
    assert steer.points(0.05) is None
    assert preload_tendency(LINKS, 0.0, TRACK, RADIUS).loads is None


def test_anti_squat_difference_by_hand() -> None:
    """Exact cases of 125 % and, with both slopes 0.1, 50 %."""
    left = FourLink(Link((0.0, 0.45), (0.40, 0.40)), Link((0.0, 0.20), (0.60, 0.25)))
    right = FourLink(Link((0.0, 0.45), (0.5, 0.50)), Link((0.0, 0.20), (0.7, 0.27)))
    assert anti_squat_difference(left, right, 0.5, 2.5) == pytest.approx(0.75, rel=1e-12)
    assert anti_squat_difference(right, left, 0.5, 2.5) == pytest.approx(-0.75, rel=1e-12)


def test_axle_steer_is_the_difference_of_two_exact_swings() -> None:
    """Rear ends on their circles, exactly; the angle of the line through them over ±0.1 mm of rise."""
    left, right = with_lower_front(0.20), with_lower_front(0.26)

    def forward(link: Link, rise: float) -> float:
        run = link.front[0] - math.sqrt(link.length**2 - (link.front[1] - link.rear[1] - rise) ** 2)
        return run - link.rear[0]

    def to_left(rise: float) -> float:
        """Heading of the wheels: square to the line from the right end to the left one, left positive."""
        return math.atan2(forward(right.lower, rise) - forward(left.lower, rise), TRACK)

    step = 1e-4
    expected = (to_left(step) - to_left(-step)) / (2 * step)
    assert axle_steer(left, right, TRACK).per_travel == pytest.approx(expected, rel=1e-6)


def test_direction_of_axle_steer() -> None:
    """The right link climbs forward: rising, its end goes back, the right wheel trails and the wheels point right."""
    steer = axle_steer(with_lower_front(0.22), with_lower_front(0.28), TRACK)
    assert steer.points(0.05) == "right"
    assert steer.points(-0.05) == "left"
    other = axle_steer(with_lower_front(0.28), with_lower_front(0.22), TRACK)
    assert other.per_travel == pytest.approx(-steer.per_travel, rel=1e-12)


def elastic_car(links: FourLink, right_longer: float, held: float = 1.0) -> tuple[float, float]:
    """Return (change of left less right rear tyre load [N], roll of the axle against the body [rad]).

    A linear model written for this test: body (heave, pitch, roll), axle (heave, roll, rotation, forward, yaw), four
    stiff links, tyres, front and rear springs; ``held`` scales front springs and rear springs. Least energy.
    """
    half = TRACK / 2
    # unknowns: body heave, pitch (nose up), roll (left up); axle heave, roll, rotation (nose up), forward, yaw
    rows, free = [], []

    def spring(row: list[float], stiffness: float, offset: float = 0.0) -> None:
        rows.append(np.array(row) * math.sqrt(stiffness))
        free.append(offset * math.sqrt(stiffness))

    for side in (1, -1):
        y = side * half
        for link in (links.upper, links.lower):
            (rx, rz), (fx, fz) = link.rear, link.front
            c, s = (rx - fx) / link.length, (rz - fz) / link.length
            row = [-s, -(s * fx - c * fz), -s * y, s, s * y, s * rx - c * (rz - RADIUS), c, -c * y]
            longer = right_longer if side == -1 and link is links.upper else 0.0
            spring(row, 1e8, longer)
        spring([0, 0, 0, 1, y, 0, 0, 0], 2e5)  # rear tyre
        spring([1, 0, y, -1, -y, 0, 0, 0], 3e4 * held)  # rear spring
        spring([1, 2.6, y, 0, 0, 0, 0, 0], 4e4 * held)  # front corner
    answer, *_ = np.linalg.lstsq(np.array(rows), np.array(free), rcond=1e-14)
    heave, roll = answer[3], answer[4]
    load = [-2e5 * (heave + roll * y) for y in (half, -half)]
    return load[0] - load[1], float(answer[4] - answer[2])


@pytest.mark.parametrize("links", [LINKS, BEHIND])
@pytest.mark.parametrize("longer", [0.002, -0.002])
def test_preload_loads_the_tyre_that_an_elastic_car_loads(links: FourLink, longer: float) -> None:
    change, _ = elastic_car(links, longer)
    found = preload_tendency(links, longer, TRACK, RADIUS)
    assert found.loads == ("left" if change > 0 else "right")
    assert abs(change) > 1.0


def test_roll_of_unheld_axle_and_body() -> None:
    """With springs a millionth as stiff, the elastic car rolls as far as the links ask, nothing else."""
    _, roll = elastic_car(LINKS, 0.002, held=1e-6)
    assert preload_tendency(LINKS, 0.002, TRACK, RADIUS).roll == pytest.approx(abs(roll), rel=1e-3)


def test_shorter_right_upper_link_loads_the_right_tyre() -> None:
    assert preload_tendency(LINKS, -0.002, TRACK, RADIUS).loads == "right"
    assert preload_tendency(LINKS, 0.002, TRACK, RADIUS).loads == "left"
    assert preload_tendency(BEHIND, -0.002, TRACK, RADIUS).loads == "left"


def test_bad_input() -> None:
    with pytest.raises(ValueError, match="track 0 m must be above zero"):
        axle_steer(LINKS, LINKS, 0.0)
    with pytest.raises(ValueError, match="track -1 m must be above zero"):
        preload_tendency(LINKS, 0.001, -1.0, RADIUS)
    parallel = FourLink(Link((0.0, 0.45), (0.5, 0.50)), Link((0.0, 0.20), (0.7, 0.27)))
    with pytest.raises(ValueError, match="only binds"):
        preload_tendency(parallel, 0.001, TRACK, RADIUS)
    upright = FourLink(LINKS.upper, Link((0.0, 0.2), (0.0, 0.5)))
    with pytest.raises(ValueError, match="upright"):
        axle_steer(upright, LINKS, TRACK)
