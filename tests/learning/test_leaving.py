"""Which setting to leave with: against closed forms and against counting draws."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, stats

from runlog.learning import fit_car
from runlog.learning.leaving import leaving


@pytest.fixture(scope="module")
def fit(garage):
    settings = np.array([[0, 0], [1, 0], [0, 0], [1, 1], [0, 0], [1, 0], [2, 1], [0, 0]], dtype=float)
    effects = np.zeros((2, 5))
    effects[0] = [-0.02, -0.005, 0, 0, 0]
    return fit_car(garage.runs(settings, effects=effects, seed=3), garage.levers(2, curved=(1,)))


def step(fit, lever):
    return next(e for e in fit.effects if (e.adjustable, e.from_ft, e.to_ft) == (f"lever {lever}", 0, 1320))


def test_of_two_settings_the_chance_is_that_of_the_sign(fit):
    """A normal effect: P(quicker) = Φ(−mean/sd), scipy."""
    found = leaving(fit, 0, 0.0, [1.0], 0.5)
    effect = step(fit, 0)
    assert found.level == 1.0
    assert found.chance_now == pytest.approx(stats.norm.cdf(-effect.mean_s / effect.sd_s), abs=0.03)
    assert found.among == (0.0, 1.0)


@pytest.mark.parametrize("left_over", [0.9, 0.5, 0.1])
def test_the_chance_after_is_the_mean_over_what_may_come(fit, left_over):
    """E Φ(|M|/v) over M ~ N(mean, s² − v²), integrated by scipy."""
    effect = step(fit, 0)
    m, s = effect.mean_s, effect.sd_s
    v, t = s * left_over**0.5, s * (1 - left_over) ** 0.5
    wanted, _ = integrate.quad(
        lambda x: stats.norm.cdf(abs(x) / v) * stats.norm.pdf(x, m, t), m - 8 * t, m + 8 * t, points=[0.0]
    )
    assert leaving(fit, 0, 0.0, [1.0], left_over).chance_after == pytest.approx(wanted, abs=0.03)


def test_knowing_all_is_being_right_and_knowing_no_more_leaves_the_chance_as_it_is(fit):
    assert leaving(fit, 0, 0.0, [1.0], 0.0).chance_after == pytest.approx(1.0)
    same = leaving(fit, 0, 0.0, [1.0], 1.0)
    assert same.chance_after == pytest.approx(same.chance_now)
    chances = [leaving(fit, 0, 0.0, [1.0, 2.0], share).chance_after for share in (1.0, 0.6, 0.3, 0.0)]
    assert chances == sorted(chances)


def test_three_settings_of_a_curved_one_against_counting_draws(fit):
    """The chance that each of three is the quickest, by 200,000 draws of effect and curvature."""
    found = leaving(fit, 1, 0.0, [-1.0, 1.0], 0.5)
    rows = np.array([fit.layout.lever_functional(1, 0.0, level) for level in (-1.0, 0.0, 1.0)])
    rng = np.random.default_rng(1)
    total = np.zeros((200_000, 3))
    for k in range(5):
        weights, means, variances = fit.functionals(k, rows[[0, 2]])
        both = fit.functionals(k, rows[[0]] + rows[[2]])[2]
        mean = weights @ means
        shared = 0.5 * (weights @ (both[:, 0] - variances.sum(axis=1)))
        cov = np.array([[weights @ variances[:, 0], shared], [shared, weights @ variances[:, 1]]])
        draws = rng.multivariate_normal(mean, cov, 200_000)
        total[:, [0, 2]] += draws
    shares = [(total.argmin(axis=1) == n).mean() for n in range(3)]
    best = found.among.index(found.level)
    # increments are drawn one by one here, and go together there: the chances agree, not exactly
    assert found.chance_now == pytest.approx(shares[best], abs=0.08)
    assert max(shares) - shares[best] < 0.08


def test_no_choice_no_answer_and_of_equals_what_is_in_the_car(fit, garage):
    assert leaving(fit, 0, 0.0, [0.0], 0.5) is None
    never = fit_car(garage.runs(np.zeros((4, 1))), garage.levers(1))
    for now in (0.0, 1.0):
        stays = leaving(never, 0, now, [1.0, 0.0], 0.5)
        assert (stays.level, stays.chance_now) == (now, pytest.approx(0.5, abs=0.03))
