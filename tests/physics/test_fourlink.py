"""Instant centre, anti-squat and link forces against exact cases and an independent statics solution."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from runlog.physics.fourlink import (
    AtInfinity,
    FourLink,
    InstantCentre,
    LadderBar,
    Layout,
    Line,
    Link,
    TorqueArm,
    anti_squat,
    axle_forces,
    height_at_front_axle,
    instant_centre,
    line_slope,
    neutral_line,
)

# hand calculation: lower z = 0.20 + x/12, upper z = 0.45 − x/8; equal at x = 0.25/(1/12 + 1/8) = 1.2, z = 0.3
TEXTBOOK = FourLink(Link((0.0, 0.45), (0.40, 0.40)), Link((0.0, 0.20), (0.60, 0.25)))
HEIGHT, WHEELBASE = 0.5, 2.5
PARALLEL = FourLink(Link((0.0, 0.45), (0.5, 0.50)), Link((0.0, 0.20), (0.7, 0.27)))


def spring_change_by_hand(layout: Layout, traction: float, load_change: float) -> float:
    """Three equilibrium equations of a massless axle, taken about the front axle's foot instead of the contact patch.

    Written for this test alone: force components rather than forces along lines, and another moment centre.
    """
    first, second = layout.lines()
    rows, known = [], []
    # unknowns: fx1, fz1, fx2, fz2, spring
    rows += [[1, 0, 1, 0, 0], [0, 1, 0, 1, -1]]
    known += [-traction, -load_change]
    rows.append(
        [
            -first.point[1],
            first.point[0] - WHEELBASE,
            -second.point[1],
            second.point[0] - WHEELBASE,
            WHEELBASE,
        ]
    )
    known.append(WHEELBASE * load_change)
    for column, line in ((0, first), (2, second)):
        across = [0.0] * 5
        across[column], across[column + 1] = line.direction[1], -line.direction[0]
        rows.append(across)
        known.append(0.0)
    return float(np.linalg.solve(np.array(rows, dtype=float), np.array(known))[4])


def point(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high).map(lambda value: round(value, 4))


@st.composite
def four_links(draw: st.DrawFn) -> FourLink:
    """Four-links of the sizes that are built, neither parallel nor upright."""
    upper = Link((draw(point(-0.1, 0.1)), draw(point(0.4, 0.6))), (draw(point(0.3, 0.6)), draw(point(0.3, 0.6))))
    lower = Link((draw(point(-0.1, 0.1)), draw(point(0.1, 0.3))), (draw(point(0.4, 0.8)), draw(point(0.1, 0.29))))
    links = FourLink(upper, lower)
    assume(abs(math.sin(upper.angle - lower.angle)) > 0.01)
    centre = instant_centre(links)
    assume(isinstance(centre, InstantCentre) and abs(centre.x) > 0.05)
    return links


def at(layout: Layout) -> InstantCentre:
    centre = instant_centre(layout)
    assert isinstance(centre, InstantCentre)
    return centre


# --- exact cases ------------------------------------------------------------------------------------------------------


def test_instant_centre_is_where_the_link_lines_meet() -> None:
    centre = at(TEXTBOOK)
    assert (centre.x, centre.z) == pytest.approx((1.2, 0.3), abs=1e-12)


def test_anti_squat_and_the_line_at_the_front_axle() -> None:
    """Hand calculation: (0.3/1.2)/(0.5/2.5) = 1.25, and 0.25 × 2.5 m = 0.625 m = 1.25 × 0.5 m."""
    centre = at(TEXTBOOK)
    assert anti_squat(centre, HEIGHT, WHEELBASE) == pytest.approx(1.25, rel=1e-10)
    assert height_at_front_axle(centre, WHEELBASE) == pytest.approx(0.625, abs=1e-12)


def test_forces_in_the_links_and_springs() -> None:
    """F = 10 kN, ΔN = F h/L = 2 kN: from a separate solution of the three equilibrium equations."""
    forces = axle_forces(TEXTBOOK, 10_000.0, 2000.0)
    assert forces.second == pytest.approx(-18062.392, abs=1e-3)
    assert forces.first == pytest.approx(8062.258, abs=1e-3)
    assert forces.spring_change == pytest.approx(-500.0, abs=1e-9)
    assert 1 - forces.spring_change / 2000.0 == pytest.approx(1.25, rel=1e-12)


def test_link_forces_by_hand() -> None:
    """Forward: F + lower cos + upper cos = 0 with the link slopes 1/12 and −1/8, and moments."""
    forces = axle_forces(TEXTBOOK, 10_000.0, 2000.0)
    lower, upper = forces.second / math.hypot(1, 1 / 12), forces.first / math.hypot(1, 1 / 8)
    assert lower + upper == pytest.approx(-10_000.0, rel=1e-12)
    assert 0.20 * lower + 0.45 * upper == pytest.approx(0.0, abs=1e-8)


def test_springs_behind_the_axle() -> None:
    """Moments about the instant centre: spring change = (x ΔN − z F)/(x − x_spring) = (2400 − 3000)/1.3 N."""
    forces = axle_forces(TEXTBOOK, 10_000.0, 2000.0, spring_x=-0.1)
    assert forces.spring_change == pytest.approx(-600 / 1.3, rel=1e-10)


def test_parallel_links() -> None:
    """Both slopes 0.1 with h/L = 0.2: the instant centre is at infinity and the anti-squat its limit, 50 %."""
    centre = instant_centre(PARALLEL)
    assert isinstance(centre, AtInfinity)
    assert centre.slope == pytest.approx(0.1, rel=1e-12)
    assert anti_squat(centre, HEIGHT, WHEELBASE) == pytest.approx(0.5, rel=1e-12)
    assert axle_forces(PARALLEL, 10_000.0, 2000.0).spring_change == pytest.approx(1000.0, rel=1e-9)


@pytest.mark.parametrize("off", [1e-3, 1e-5, 1e-7, 1e-9])
@pytest.mark.parametrize("sign", [-1, 1])
def test_anti_squat_goes_smoothly_to_its_parallel_limit(off: float, sign: int) -> None:
    """From either side: the centre leaps from far ahead to far behind, the anti-squat doesn't."""
    front = (0.5, 0.50 + sign * off)
    centre = at(FourLink(Link((0.0, 0.45), front), PARALLEL.lower))
    assert (centre.x < 0) == (sign > 0)
    assert anti_squat(centre, HEIGHT, WHEELBASE) == pytest.approx(0.5, abs=10 * off)


def test_centre_on_the_line_to_the_cars_height_over_the_front_axle_is_a_hundred_per_cent() -> None:
    for x in (0.5, 1.0, 2.5, 4.0, -1.0):
        assert anti_squat(InstantCentre(x, x * 0.2), HEIGHT, WHEELBASE) == pytest.approx(1.0, rel=1e-14)


def test_centre_on_the_ground_is_none_at_all() -> None:
    assert anti_squat(InstantCentre(1.3, 0.0), HEIGHT, WHEELBASE) == 0.0
    ground = FourLink(Link((0.0, 0.5), (0.5, 0.25)), Link((0.0, 0.2), (0.5, 0.1)))  # both meet the ground at x = 1
    assert at(ground).x == pytest.approx(1.0, abs=1e-12)
    assert anti_squat(at(ground), HEIGHT, WHEELBASE) == pytest.approx(0.0, abs=1e-12)


def test_centre_behind_the_axle_is_negative() -> None:
    """Links that spread forward meet behind: they jack the springs down, and statics says the same."""
    behind = FourLink(Link((0.0, 0.40), (0.5, 0.45)), Link((0.0, 0.20), (0.5, 0.15)))
    centre = at(behind)
    assert centre.x == pytest.approx(-1.0, abs=1e-12)  # hand calculation: 0.4 + 0.1 x = 0.2 − 0.1 x
    assert centre.z == pytest.approx(0.3, abs=1e-12)
    assert anti_squat(centre, HEIGHT, WHEELBASE) == pytest.approx(-1.5, rel=1e-12)
    assert axle_forces(behind, 10_000.0, 2000.0).spring_change == pytest.approx(2000.0 * 2.5, rel=1e-9)


def test_neutral_line_with_the_axles_own_inertia() -> None:
    """Moment balance of the axle (exact): starts 150 × 0.33/1000 m below the ground."""
    line = neutral_line(0.55, 1000.0, 150.0, 0.33)
    assert line.at_rear == pytest.approx(-0.0495, abs=1e-12)
    assert line.height(2.6, 2.6) == pytest.approx(0.55, abs=1e-12)
    assert neutral_line(0.55, 1000.0, 0.0, 0.33).at_rear == 0.0


def test_on_the_neutral_line_the_springs_stay_as_they_are() -> None:
    """Whole-car load transfer from both masses, then the axle's equilibrium: the spring force mustn't change."""
    wheelbase, a = 2.6, 9.0
    sprung, axle, radius, height = 1000.0, 150.0, 0.33, 0.55
    pivot = (1.1, neutral_line(height, sprung, axle, radius).height(1.1, wheelbase))
    transfer = (sprung * height + axle * radius) * a / wheelbase
    forces = axle_forces(LadderBar(pivot), (sprung + axle) * a, transfer, axle * a, radius)
    assert forces.spring_change == pytest.approx(0.0, abs=1e-9)
    higher = axle_forces(LadderBar((pivot[0], pivot[1] + 0.01)), (sprung + axle) * a, transfer, axle * a, radius)
    assert higher.spring_change < -10


# --- the other layouts ------------------------------------------------------------------------------------------------


def test_ladder_bar_turns_about_its_pivot() -> None:
    centre = at(LadderBar((1.2, 0.3)))
    assert (centre.x, centre.z) == (1.2, 0.3)
    same = axle_forces(TEXTBOOK, 10_000.0, 2000.0).spring_change
    assert axle_forces(LadderBar((1.2, 0.3)), 10_000.0, 2000.0).spring_change == pytest.approx(same, rel=1e-12)


def test_torque_arm_with_a_level_slide() -> None:
    """The centre is straight above or below the mount, on the lower link's line: 0.2 + 0.1 × 1.5 (hand calculation)."""
    centre = at(TorqueArm((1.5, 0.35), 0.0, Link((0.0, 0.2), (0.5, 0.25))))
    assert (centre.x, centre.z) == pytest.approx((1.5, 0.35), abs=1e-12)
    other = at(TorqueArm((1.5, 0.50), 0.0, Link((0.0, 0.2), (0.5, 0.25))))
    assert (other.x, other.z) == pytest.approx((1.5, 0.35), abs=1e-12)


def test_torque_arm_whose_slide_climbs_holds_across_it() -> None:
    """Slide at 45°: the line through (1.0, 0.4) falls forward at 45°, and meets a level lower link at x = 1.2."""
    centre = at(TorqueArm((1.0, 0.4), math.pi / 4, Link((0.0, 0.2), (0.6, 0.2))))
    assert (centre.x, centre.z) == pytest.approx((1.2, 0.2), abs=1e-12)


# --- laws -------------------------------------------------------------------------------------------------------------


@settings(deadline=None)
@given(four_links(), st.floats(1000, 20_000), st.floats(0, 5000))
def test_anti_squat_is_the_share_that_statics_gives_to_the_links(links: FourLink, traction: float, load: float) -> None:
    by_hand = spring_change_by_hand(links, traction, load)
    forces = axle_forces(links, traction, load)
    assert forces.spring_change == pytest.approx(by_hand, abs=1e-6 * traction)
    assert by_hand == pytest.approx(load - traction * line_slope(instant_centre(links)), abs=1e-6 * traction)


@settings(deadline=None)
@given(four_links(), st.floats(0.1, 10))
def test_scaling_the_whole_car_changes_nothing(links: FourLink, size: float) -> None:
    def scaled(link: Link) -> Link:
        return Link((link.rear[0] * size, link.rear[1] * size), (link.front[0] * size, link.front[1] * size))

    bigger = FourLink(scaled(links.upper), scaled(links.lower))
    assert anti_squat(instant_centre(bigger), HEIGHT * size, WHEELBASE * size) == pytest.approx(
        anti_squat(instant_centre(links), HEIGHT, WHEELBASE), rel=1e-8, abs=1e-9
    )


@settings(deadline=None)
@given(four_links())
def test_mirrored_links_give_the_mirrored_centre(links: FourLink) -> None:
    def mirrored(link: Link) -> Link:
        return Link((-link.rear[0], link.rear[1]), (-link.front[0], link.front[1]))

    centre, other = at(links), at(FourLink(mirrored(links.upper), mirrored(links.lower)))
    assert (other.x, other.z) == pytest.approx((-centre.x, centre.z), rel=1e-9, abs=1e-9)
    assert anti_squat(other, HEIGHT, WHEELBASE) == pytest.approx(-anti_squat(centre, HEIGHT, WHEELBASE), rel=1e-9)


@settings(deadline=None)
@given(four_links(), st.floats(-0.8, 0.8), st.floats(1.2, 3))
def test_holes_along_a_links_own_line_leave_the_centre_where_it_is(links: FourLink, back: float, out: float) -> None:
    def along(link: Link, share: float) -> tuple[float, float]:
        return (
            link.rear[0] + share * (link.front[0] - link.rear[0]),
            link.rear[1] + share * (link.front[1] - link.rear[1]),
        )

    moved = FourLink(Link(along(links.upper, back), along(links.upper, out)), links.lower)
    centre, other = at(links), at(moved)
    assert (other.x, other.z) == pytest.approx((centre.x, centre.z), rel=1e-7, abs=1e-7)


@settings(deadline=None)
@given(four_links())
def test_it_doesnt_matter_which_end_or_which_link_comes_first(links: FourLink) -> None:
    turned = FourLink(Link(links.lower.front, links.lower.rear), Link(links.upper.front, links.upper.rear))
    centre, other = at(links), at(turned)
    assert (other.x, other.z) == pytest.approx((centre.x, centre.z), rel=1e-9, abs=1e-12)


def test_directions() -> None:
    """Raising the front of the lower link, or lowering the upper's with the centre short of the CG, lifts the line."""
    higher_lower = FourLink(TEXTBOOK.upper, Link((0.0, 0.20), (0.60, 0.27)))
    lower_upper = FourLink(Link((0.0, 0.45), (0.40, 0.38)), TEXTBOOK.lower)
    here = line_slope(at(TEXTBOOK))
    assert line_slope(at(higher_lower)) > here
    assert line_slope(at(lower_upper)) > here
    assert at(lower_upper).x < at(TEXTBOOK).x
    assert anti_squat(at(TEXTBOOK), 0.6, WHEELBASE) < anti_squat(at(TEXTBOOK), 0.5, WHEELBASE)
    assert anti_squat(at(TEXTBOOK), HEIGHT, 2.7) > anti_squat(at(TEXTBOOK), HEIGHT, 2.5)


def test_link_sizes() -> None:
    """Hand calculation: √(0.6² + 0.05²), atan(1/12), 0.45 − 0.20 at the axle and 0.40 − 0.25 at the frame."""
    assert TEXTBOOK.lower.length == pytest.approx(math.sqrt(0.3625), rel=1e-12)
    assert TEXTBOOK.lower.angle == pytest.approx(math.atan(1 / 12), rel=1e-12)
    assert TEXTBOOK.upper.angle < 0
    assert TEXTBOOK.separation_at_axle == pytest.approx(0.25, abs=1e-12)
    assert TEXTBOOK.separation_at_frame == pytest.approx(0.15, abs=1e-12)


# --- what can't be ----------------------------------------------------------------------------------------------------


def test_link_without_length() -> None:
    with pytest.raises(ValueError, match=r"both pivots at \(0.1, 0.2\) m: it has no length"):
        Link((0.1, 0.2), (0.1, 0.2))
    with pytest.raises(ValueError, match="isn't a number"):
        Link((0.1, math.nan), (0.1, 0.2))


def test_links_on_one_line_dont_meet_in_one_point() -> None:
    same = FourLink(Link((0.0, 0.2), (0.5, 0.25)), Link((0.1, 0.21), (0.6, 0.26)))
    with pytest.raises(ValueError, match="both links lie on one line"):
        instant_centre(same)
    with pytest.raises(ValueError, match="no equilibrium"):
        axle_forces(same, 1000.0, 200.0)


def test_upright_parallel_links_dont_hold_the_axle() -> None:
    with pytest.raises(ValueError, match="upright and parallel"):
        instant_centre(FourLink(Link((0.0, 0.2), (0.0, 0.5)), Link((0.1, 0.2), (0.1, 0.5))))


def test_centre_in_line_with_the_axle_has_no_anti_squat() -> None:
    with pytest.raises(ValueError, match="in line with the axle"):
        anti_squat(InstantCentre(0.0, 0.3), HEIGHT, WHEELBASE)


@pytest.mark.parametrize(("height", "wheelbase"), [(0.0, 2.5), (0.5, 0.0), (-0.5, 2.5), (math.nan, 2.5)])
def test_sizes_must_be_above_zero(height: float, wheelbase: float) -> None:
    with pytest.raises(ValueError, match="must be above zero"):
        anti_squat(InstantCentre(1.2, 0.3), height, wheelbase)
    with pytest.raises(ValueError, match="sprung mass"):
        neutral_line(0.5, 0.0, 100.0, 0.3)


def test_lines_of_every_layout_have_unit_directions() -> None:
    layouts: list[Layout] = [TEXTBOOK, LadderBar((1, 0.3)), TorqueArm((1, 0.3), 0.3, TEXTBOOK.lower)]
    for layout in layouts:
        for line in layout.lines():
            assert isinstance(line, Line)
            assert math.hypot(*line.direction) == pytest.approx(1.0, rel=1e-14)
