"""Runs and physics joined: textbook formulas, agreement with the effects page, and nothing counted twice."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from runlog.learning import fit_car
from runlog.learning.joining import Belief, nothing, posterior_of, prior_sds, share_added, share_learned, told_by_runs


@pytest.fixture(scope="module")
def fit(garage):
    settings = [[0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0], [2, 0, 0], [0, 0, 0], [1, 1, 0], [0, 1, 0]]
    effects = np.zeros((3, 5))
    effects[0] = -0.01
    return fit_car(garage.runs(settings, effects=effects, seed=4), garage.levers(3, curved=(0,)))


def moves(fit, *changes):
    rows = [fit.layout.lever_functional(*change) for change in changes]
    return np.repeat(np.array(rows)[:, None], fit.finish, axis=1)


def test_one_change_is_what_the_effects_page_says(fit):
    belief = posterior_of(fit, moves(fit, (1, 0.0, 1.0)))
    means, sds = belief.sums(0)
    for effect, mean, sd in zip(fit.effects[6:12], means, sds, strict=True):
        assert (mean, sd) == pytest.approx((effect.mean_s, effect.sd_s), rel=1e-9)
    priors = prior_sds(fit, moves(fit, (1, 0.0, 1.0)))[0]
    for effect, prior, sd in zip(fit.effects[6:12], priors, sds, strict=True):
        assert share_learned(prior, sd, sd) == pytest.approx(effect.share_learned, abs=1e-9)


def test_several_changes_are_the_change_of_all_on_each_increment(fit):
    """Identity: the sum of the functionals is the functional of the sum, the effects' covariance included."""
    both = posterior_of(fit, moves(fit, (0, 1.0, 2.0), (1, 0.0, 1.0)))
    one = moves(fit, (0, 1.0, 2.0)) + moves(fit, (1, 0.0, 1.0))
    alone = posterior_of(fit, one)
    for found, wanted in zip(both.sums(), alone.sums(0), strict=True):
        assert found[:-1] == pytest.approx(wanted[:-1], rel=1e-9)
        assert found[-1] == pytest.approx(wanted[-1], rel=0.15)  # the elapsed time is a sum of what goes together
    # asked for among others, a change says what it says alone
    for n, change in enumerate(((0, 1.0, 2.0), (1, 0.0, 1.0))):
        single = posterior_of(fit, moves(fit, change)).sums(0)
        assert both.sums(n)[1] == pytest.approx(single[1], rel=1e-9)


def test_what_never_moved_is_the_prior(fit):
    row = moves(fit, (2, 0.0, 1.0))
    mean, sd = posterior_of(fit, row).sums(0)
    assert mean == pytest.approx(np.zeros(6), abs=1e-15)
    assert sd == pytest.approx(prior_sds(fit, row)[0], rel=1e-9)
    assert [share_learned(a, b, b) for a, b in zip(prior_sds(fit, row)[0], sd, strict=True)] == pytest.approx([0.0] * 6)


@given(
    st.lists(st.floats(0.5, 3.0), min_size=2, max_size=2),
    st.lists(st.floats(0.5, 3.0), min_size=2, max_size=2),
    st.floats(-0.8, 0.8),
    st.floats(-0.8, 0.8),
)
def test_joining_adds_precisions(first, second, r, s):
    """Two normal sources on the same quantity: precisions add, means weigh by them (BDA3 § 3.5); numpy's inverse."""
    a = np.outer(first, first) * np.array([[1, r], [r, 1]])
    b = np.outer(second, second) * np.array([[1, s], [s, 1]])
    mean, other = np.array([0.3, -1.0]), np.array([1.0, 2.0])
    found = Belief(mean[None], a[None, :, None, :]).joined(0, other, b)
    left = np.linalg.inv(np.linalg.inv(a) + np.linalg.inv(b))
    assert found.covariance[0, :, 0] == pytest.approx(left, rel=1e-9, abs=1e-12)
    wanted = left @ (np.linalg.inv(a) @ mean + np.linalg.inv(b) @ other)
    assert found.mean[0] == pytest.approx(wanted, rel=1e-9, abs=1e-12)


def test_by_hand_a_second_source_moves_what_goes_with_it_and_nothing_else():
    # by hand: var 4 joined with var 4 gives var 2 and the mean half way; the partner with covariance 2 moves by
    # 2/(4 + 4) × 8 = 2; what has nothing to do with it stays
    covariance = np.zeros((3, 1, 3, 1))
    covariance[:, 0, :, 0] = [[4, 2, 0], [2, 9, 0], [0, 0, 1]]
    found = Belief(np.zeros((3, 1)), covariance).joined(0, np.array([8.0]), np.array([[4.0]]))
    assert found.mean.ravel() == pytest.approx([4.0, 2.0, 0.0])
    assert found.covariance[0, 0, 0, 0] == pytest.approx(2.0)
    assert found.covariance[2, 0, 2, 0] == pytest.approx(1.0)
    assert share_added(2.0, 2.0**0.5) == pytest.approx(0.5)
    # a prior of variance 4 and runs that bring the variance to 1 have told 3/4 of what is known
    assert share_learned(2.0, 1.0, 1.0) == pytest.approx(0.75)


def test_a_source_without_certainty_changes_nothing_and_one_beside_only_adds():
    belief = Belief(np.array([[1.0, 2.0]]), np.eye(2)[None, :, None, :])
    vague = belief.joined(0, np.array([9.0, 9.0]), 1e12 * np.eye(2))
    assert vague.mean == pytest.approx(belief.mean, abs=1e-9)
    wider = belief.beside(np.array([0.5, 0.5]), 3.0 * np.eye(2))
    mean, sd = wider.sums()
    assert mean == pytest.approx([1.5, 2.5, 4.0])
    assert sd == pytest.approx([2.0, 2.0, 8**0.5])
    assert nothing(2).beside(np.ones(2), np.eye(2)).sums()[0] == pytest.approx([1.0, 1.0, 2.0])


def test_what_the_runs_alone_tell_of_the_air_is_least_squares(garage):
    """With the prior taken out again, the slope of the times on the shift: numpy's least squares with level and drift.

    Two days of one car whose air moves its times by twice what its model says.
    """
    rng = np.random.default_rng(5)
    shift = rng.uniform(-0.06, 0.06, 24)[:, None] * np.ones(5)
    base = np.array([1.40, 2.60, 2.00, 1.80, 1.70])
    times = base + 2.0 * shift + rng.normal(0, 0.010, (24, 5))
    day = np.repeat([0, 1], 12)
    hour = np.tile(9 + 0.7 * np.arange(12), 2)
    fit = fit_car(garage.runs(np.zeros((24, 1)), times=times, day=day, hour=hour, air_shift=shift), garage.levers(1))
    mean, variance = told_by_runs(fit, np.full(5, 0.01))
    today = (day[:, None] == [0, 1]).astype(float)
    for k in range(5):
        X = np.column_stack([shift[:, k], today, today * (hour - hour.mean())[:, None]])
        slope = np.linalg.lstsq(X, times[:, k], rcond=None)[0][0]
        assert mean[k] == pytest.approx(0.01 * slope, abs=3 * variance[k] ** 0.5)
        assert mean[k] == pytest.approx(0.02, abs=4 * variance[k] ** 0.5)
    none = fit_car(garage.runs(np.zeros((0, 1)), air_shift=np.zeros((0, 5))), garage.levers(1))
    assert np.isinf(told_by_runs(none, np.full(5, 0.01))[1]).all()
