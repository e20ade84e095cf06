"""What can't be told apart is named."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm

from runlog.learning.aliasing import find_aliasing


def aliasing(levers, nuisances=None, sigma=1.0, sd=1.0, nuisance_variance=1e9):
    E = np.asarray(levers, dtype=float)
    n, P = E.shape
    Z = np.column_stack([np.ones(n), *([] if nuisances is None else [nuisances])])
    X = np.concatenate([Z, E], axis=1)
    variance = np.concatenate([np.full(Z.shape[1], nuisance_variance), np.full(P, sd**2)])
    return find_aliasing(X, slice(Z.shape[1], X.shape[1]), np.ones(n), variance, sigma)


TOGETHER = np.array([[0, 0], [0, 0], [1, 1], [1, 1]])


def test_levers_that_always_moved_together_name_each_other():
    found = aliasing(TOGETHER)
    assert found.partners(0) == (1,)
    assert found.partners(1) == (0,)
    assert found.cosine[0, 1] == pytest.approx(1.0)
    assert found.slope[0, 1] == pytest.approx(1.0)


def test_opposite_moves_and_other_proportions_are_seen_too():
    found = aliasing(TOGETHER * [1, -2])
    assert found.cosine[0, 1] == pytest.approx(-1.0)
    assert found.slope[0, 1] == pytest.approx(-2.0)
    assert found.partners(1) == (0,)


def test_crossed_levers_are_separable():
    found = aliasing([[0, 0], [0, 1], [1, 0], [1, 1]])
    assert found.partners(0) == found.partners(1) == ()
    assert found.loss == pytest.approx([0, 0], abs=1e-12)


def test_a_lever_hidden_in_the_sum_of_two_others_is_named():
    rng = np.random.default_rng(2)
    a, b = rng.integers(0, 2, 24), rng.integers(0, 2, 24)
    found = aliasing(np.column_stack([a, b, a + b]), sigma=0.05)
    assert np.abs(found.cosine[2, :2]).max() < 0.95
    assert len(found.partners(2)) == 1


def test_without_information_a_loss_is_not_held_against_a_lever():
    rng = np.random.default_rng(2)
    a, b = rng.integers(0, 2, 24), rng.integers(0, 2, 24)
    assert aliasing(np.column_stack([a, b, a + b]), sigma=50.0).partners(2) == ()


def test_unmoved_levers_have_no_partners():
    found = aliasing([[0, 1], [1, 1], [0, 1]])
    assert found.moved.tolist() == [True, False]
    assert found.partners(0) == found.partners(1) == ()


def test_cosine_and_loss_against_partial_regression():
    """With vast priors of the nuisances: the correlation of residuals, and R² (Frisch–Waugh), by statsmodels."""
    rng = np.random.default_rng(3)
    Z = rng.normal(size=(40, 2))
    E = rng.normal(size=(40, 3)) + Z[:, :1] + rng.normal(size=(40, 1))
    found = aliasing(E, Z, sigma=1e-4)
    residual = np.column_stack([sm.OLS(e, sm.add_constant(Z)).fit().resid for e in E.T])
    norm = np.sqrt((residual**2).sum(axis=0))
    assert found.cosine == pytest.approx(residual.T @ residual / np.outer(norm, norm), rel=1e-6)
    r2 = [sm.OLS(residual[:, p], np.delete(residual, p, axis=1)).fit().rsquared for p in range(3)]
    assert found.loss == pytest.approx(r2, rel=1e-5)
    days = [
        1 - sm.OLS(residual[:, p], np.ones(40)).fit().ssr / sm.OLS(E[:, p], np.ones(40)).fit().ssr for p in range(3)
    ]
    assert found.day_loss == pytest.approx(days, rel=1e-6)


def test_changed_once_and_left_is_hard_to_tell_from_a_drifting_day():
    hours = np.arange(8.0)[:, None] - 3.5
    stay = aliasing([[0]] * 4 + [[1]] * 4, hours)
    back = aliasing([[0], [1], [1], [0]] * 2, hours)
    assert stay.day_loss[0] > back.day_loss[0]
    assert not back.swallowed_by_day(0)
    level = np.repeat([[1.0, 0.0], [0.0, 1.0]], 4, axis=0)
    assert aliasing([[0]] * 4 + [[1]] * 4, level).swallowed_by_day(0)
