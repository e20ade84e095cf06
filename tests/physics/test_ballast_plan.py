"""Ballast for a total and a front share, against moment balance and scipy's solvers."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
import scipy.optimize
from hypothesis import given, settings
from hypothesis import strategies as st

from runlog.physics.ballast import Ballast, add_ballast
from runlog.physics.ballast_plan import BallastGoal, BallastPlan, Mount, plan_ballast
from runlog.physics.weights import Footprint, WeighedCar, even_corners

WHEELBASE = 2.6
CAR = WeighedCar(even_corners(1200.0, 0.50), Footprint(WHEELBASE, 1.5, 1.6), height=0.5)
NOSE = Mount("nose", 40.0, x=2.9, z=0.3)
FLOOR = Mount("floor", 30.0, x=1.2, z=0.2)
TAIL = Mount("tail", 50.0, x=-0.4, z=0.4)
ALL = (NOSE, FLOOR, TAIL)

mounts_any_mass = st.lists(
    st.builds(
        lambda maximum, x, part: Mount("mount", maximum, x, now=part * maximum),
        st.floats(min_value=5.0, max_value=50.0),
        st.floats(min_value=-0.6, max_value=3.0),
        st.sampled_from([0.0, 0.0, 0.5, 1.0]),
    ),
    min_size=1,
    max_size=5,
).map(tuple)


def _shares(mounts: tuple[Mount, ...]) -> np.ndarray:
    forward = np.array([mount.x for mount in mounts]) / WHEELBASE
    return np.array([forward, 1.0 - forward])


def _off(car: WeighedCar, goal: BallastGoal) -> float:
    """Distance of the axle loads from the goal [kg]."""
    wanted = goal.total * goal.front_share, goal.total * (1.0 - goal.front_share)
    return float(np.hypot(car.corners.front - wanted[0], car.corners.rear - wanted[1]))


def _within_mounts(plan: BallastPlan) -> bool:
    return all(0.0 <= mass <= mount.maximum + 1e-9 for mount, mass in zip(plan.mounts, plan.masses, strict=True))


def test_two_mounts_solved_by_hand() -> None:
    """Moments by hand: 1220 kg and 51 % want 622.2 kg in front, 22.2 kg more of 20 kg added.

    a + b = 20 and 2.9 a − 0.4 b = 2.6 · 22.2 give a = (57.72 + 8)/3.3 = 19.915 kg in the nose, 0.085 kg in the tail.
    """
    plan = plan_ballast(CAR, (NOSE, TAIL), BallastGoal(1220.0, 0.51))
    assert plan.reached
    assert plan.masses == pytest.approx(((57.72 + 8.0) / 3.3, 20.0 - (57.72 + 8.0) / 3.3), abs=1e-9)
    assert plan.car.corners.total == pytest.approx(1220.0, abs=1e-9)
    assert plan.car.corners.front_share == pytest.approx(0.51, abs=1e-12)


def test_the_car_of_the_plan_is_the_ballast_added() -> None:
    plan = plan_ballast(CAR, ALL, BallastGoal(1230.0, 0.505))
    pieces = [Ballast(mass, mount.x, mount.y, mount.z) for mount, mass in zip(ALL, plan.masses, strict=True) if mass]
    expected = add_ballast(CAR, *pieces)
    assert plan.car.corners.each == pytest.approx(expected.corners.each, abs=1e-9)
    assert plan.car.height == pytest.approx(expected.height, rel=1e-12)


def test_what_is_there_can_be_taken_out() -> None:
    """20 kg out of the tail and no more: the reverse of adding it."""
    laden = add_ballast(CAR, Ballast(20.0, TAIL.x, z=TAIL.z))
    plan = plan_ballast(laden, (NOSE, replace(TAIL, now=20.0)), BallastGoal(1200.0, 0.5))
    assert plan.reached
    assert plan.masses == pytest.approx((0.0, 0.0), abs=1e-9)
    assert plan.describe("kg") == "1200.0 kg with 50.00 % front: tail 20.0 kg → 0.0 kg"
    assert "weigh the car again" in plan.cautions[0]
    assert "front wheels" in plan.cautions[1]


def test_a_goal_already_met_moves_nothing() -> None:
    laden = replace(TAIL, now=15.0)
    plan = plan_ballast(CAR, (NOSE, laden), BallastGoal(1200.0, 0.5))
    assert plan.masses == (0.0, 15.0)
    assert plan.car == CAR
    assert plan.describe("kg") == "1200.0 kg with 50.00 % front: nothing to move"
    assert plan.cautions == ()


def test_of_equal_answers_the_lower_place_is_taken() -> None:
    high, low = Mount("roof", 40.0, x=1.0, z=1.2), Mount("floor", 40.0, x=1.0, z=0.2)
    front_share = (600.0 + 20.0 / WHEELBASE) / 1220.0
    for mounts in ((high, low), (low, high)):
        plan = plan_ballast(CAR, mounts, BallastGoal(1220.0, front_share))
        assert plan.reached
        held = {mount.name: mass for mount, mass in zip(mounts, plan.masses, strict=True)}
        assert held == pytest.approx({"floor": 20.0, "roof": 0.0}, abs=1e-9)


@settings(max_examples=150, deadline=None)
@given(
    mounts_any_mass,
    st.floats(min_value=1150.0, max_value=1350.0),
    st.floats(min_value=0.44, max_value=0.56),
)
def test_nearest_is_as_near_as_bounded_least_squares(mounts: tuple[Mount, ...], total: float, share: float) -> None:
    """Independent solver: scipy.optimize.lsq_linear with the same bounds."""
    goal = BallastGoal(total, share)
    plan = plan_ballast(CAR, mounts, goal)
    shares = _shares(mounts)
    bare = 600.0 - shares @ np.array([mount.now for mount in mounts])
    wanted = total * np.array([share, 1.0 - share]) - bare
    full = np.array([mount.maximum for mount in mounts])
    best = scipy.optimize.lsq_linear(
        shares, wanted, (np.zeros(len(mounts)), full), method="bvls", tol=1e-14, max_iter=1000
    )
    distance = float(np.hypot(*(shares @ best.x - wanted)))
    assert _within_mounts(plan)
    assert _off(plan.car, goal) <= distance + 1e-6
    assert plan.reached == (_off(plan.car, goal) <= goal.tolerance)


@settings(max_examples=60, deadline=None)
@given(
    mounts_any_mass,
    st.floats(min_value=0.0, max_value=80.0),
    st.floats(min_value=0.40, max_value=0.60),
)
def test_with_a_minimum_weight_nearest_is_as_near_as_linear_programming_finds(
    mounts: tuple[Mount, ...], more: float, share: float
) -> None:
    """Independent solvers: scipy's lsq_linear where the minimum doesn't bind; where it does, the answer weighs just the
    minimum (convexity) and its front load lies between the least and the most that scipy.optimize.linprog finds.
    """
    laden = sum(mount.now for mount in mounts)
    full = sum(mount.maximum for mount in mounts)
    minimum = 1200.0 - laden + min(more, full)
    goal = BallastGoal(minimum + 2.0, share, minimum=minimum)
    plan = plan_ballast(CAR, mounts, goal)
    shares = _shares(mounts)
    bare = 600.0 - shares @ np.array([mount.now for mount in mounts])
    wanted = goal.total * np.array([share, 1.0 - share]) - bare
    bounds = [(0.0, mount.maximum) for mount in mounts]
    free = scipy.optimize.lsq_linear(
        shares, wanted, tuple(zip(*bounds, strict=True)), method="bvls", tol=1e-14, max_iter=1000
    )
    off = shares @ free.x - wanted
    if bare.sum() + free.x.sum() < minimum - 1e-6:
        sums = {"A_eq": np.ones((1, len(mounts))), "b_eq": [minimum - bare.sum()], "bounds": bounds}
        least = scipy.optimize.linprog(shares[0], **sums).fun
        most = -scipy.optimize.linprog(-shares[0], **sums).fun
        # along the line of the minimum weight the point nearest to a target 2 kg heavier has 1 kg less on each axle
        front = np.clip(wanted[0] - 1.0, least, most)
        off = np.array([front, minimum - bare.sum() - front]) - wanted
    assert plan.over_minimum is not None
    assert plan.over_minimum >= -1e-6
    assert _within_mounts(plan)
    # one-sided: what lies within the mounts and the minimum can never be too near
    assert _off(plan.car, goal) <= float(np.hypot(*off)) + 1e-5


def test_the_fewest_mounts_are_touched() -> None:
    """Independent solver: scipy.optimize.milp counting the mounts that leave their present mass; twenty fixed cases."""
    rng = np.random.default_rng(21)
    for _ in range(20):
        mounts = tuple(Mount(f"m{i}", float(rng.uniform(8, 25)), float(rng.uniform(-0.5, 2.9))) for i in range(5))
        masses = np.array([mount.maximum for mount in mounts]) * rng.uniform(0.1, 0.9, 5)
        shares = _shares(mounts)
        front, rear = 600.0 + shares @ masses
        plan = plan_ballast(CAR, mounts, BallastGoal(front + rear, front / (front + rear)))
        full = np.diag([mount.maximum for mount in mounts])
        fewest = scipy.optimize.milp(
            np.r_[np.zeros(5), np.ones(5)],
            integrality=np.r_[np.zeros(5), np.ones(5)],
            bounds=scipy.optimize.Bounds(0.0, np.r_[np.diag(full), np.ones(5)]),
            constraints=[
                scipy.optimize.LinearConstraint(
                    np.hstack([shares, np.zeros((2, 5))]), shares @ masses, shares @ masses
                ),
                scipy.optimize.LinearConstraint(np.hstack([np.eye(5), -full]), -np.inf, 0.0),
            ],
        )
        assert plan.reached
        assert np.count_nonzero(np.array(plan.masses) > 1e-6) == round(fewest.fun)


def test_a_goal_out_of_reach_says_what_is_nearest() -> None:
    plan = plan_ballast(CAR, (replace(NOSE, maximum=10.0),), BallastGoal(1250.0, 0.50))
    assert not plan.reached
    assert plan.masses == pytest.approx((10.0,))
    assert plan.describe("kg") == (
        "1250.0 kg with 50.00 % front can't be reached with these mounts; "
        "nearest is 1210.0 kg with 50.51 % front: nose 0.0 kg → 10.0 kg"
    )


def test_a_minimum_weight_out_of_reach_is_said() -> None:
    plan = plan_ballast(CAR, (replace(NOSE, maximum=10.0),), BallastGoal(1250.0, 0.50, minimum=1240.0))
    assert plan.over_minimum == pytest.approx(-30.0)
    assert plan.describe("kg").endswith("; that is 30.0 kg below the minimum weight")
    assert "66.1 lb below the minimum weight" in plan.describe()


# --- whole plates -----------------------------------------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.sampled_from([2.0, 5.0, 10.0]), st.integers(1, 4), st.floats(min_value=-0.6, max_value=3.0)),
        min_size=1,
        max_size=4,
    ),
    st.floats(min_value=1190.0, max_value=1300.0),
    st.floats(min_value=0.46, max_value=0.54),
    st.booleans(),
)
def test_plates_are_as_near_as_trying_every_one(
    plates: list[tuple[float, int, float]], total: float, share: float, ruled: bool
) -> None:
    """Independent: every combination added to the car one by one."""
    mounts = tuple(Mount(f"m{i}", step * count, x, step=step) for i, (step, count, x) in enumerate(plates))
    goal = BallastGoal(total, share, minimum=total - 5.0 if ruled else None)
    plan = plan_ballast(CAR, mounts, goal)
    tried = []
    for counts in itertools.product(*(range(count + 1) for _, count, _ in plates)):
        pieces = (Ballast(count * step, x) for count, (step, _, x) in zip(counts, plates, strict=True))
        tried.append(add_ballast(CAR, *pieces))
    legal = [car for car in tried if goal.minimum is None or car.corners.total >= goal.minimum]
    nearest = min(_off(car, goal) for car in legal or tried)
    assert _off(plan.car, goal) == pytest.approx(nearest, abs=1e-5)
    for mass, (step, count, _) in zip(plan.masses, plates, strict=True):
        assert mass / step == pytest.approx(round(mass / step), abs=1e-9)
        assert mass <= step * count


def test_within_the_tolerance_fewer_mounts_win() -> None:
    mounts = (replace(NOSE, step=1.0), replace(FLOOR, step=1.0), replace(TAIL, step=1.0))
    exact = plan_ballast(CAR, mounts, BallastGoal(1210.0, 0.5005))
    rough = plan_ballast(CAR, mounts, BallastGoal(1210.0, 0.5005, tolerance=1.5))
    assert rough.reached
    touched = [sum(mass > 0.0 for mass in plan.masses) for plan in (exact, rough)]
    assert touched[1] < touched[0]


def test_a_mass_between_plates_may_stay() -> None:
    """Moments by hand: 5 kg in the nose puts 5 · 2.9/2.6 kg on the front axle; the 7 kg in the tail stay."""
    odd = replace(TAIL, step=5.0, now=7.0)
    front_share = (600.0 + 5.0 * 2.9 / WHEELBASE) / 1205.0
    plan = plan_ballast(CAR, (replace(NOSE, step=5.0), odd), BallastGoal(1205.0, front_share))
    assert plan.masses == (5.0, 7.0)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: plan_ballast(CAR, (), BallastGoal(1250.0, 0.5)), "no mounts given"),
        (
            lambda: plan_ballast(CAR, (NOSE, replace(TAIL, step=5.0)), BallastGoal(1250.0, 0.5)),
            "every mount a plate size or none",
        ),
        (
            lambda: plan_ballast(CAR, (replace(NOSE, step=0.01),) * 3, BallastGoal(1250.0, 0.5)),
            "combinations of plates are too many",
        ),
        (lambda: BallastGoal(1250.0, 0.5, minimum=1260.0), "1250 kg is below the minimum weight of 1260 kg"),
        (lambda: BallastGoal(1250.0, 1.5), r"target front share 1\.5 can't be"),
        (lambda: replace(NOSE, now=41.0), "41 kg in the mount 'nose' can't be: it may hold 40 kg"),
        (lambda: replace(NOSE, maximum=0.0), "maximum of the mount 'nose' 0 can't be"),
        (lambda: replace(NOSE, step=60.0), "plates of 60 kg don't go into the mount 'nose'"),
    ],
)
def test_what_cannot_be_is_refused(make: object, message: str) -> None:
    assert callable(make)
    with pytest.raises(ValueError, match=message):
        make()
