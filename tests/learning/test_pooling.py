"""Partial pooling against published hierarchical models and statsmodels."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import integrate, optimize, stats
from statsmodels.regression.mixed_linear_model import MixedLMParams

from runlog.learning import Pooling
from runlog.learning.pooling import Evidence, condition, pool

VAST = 1e6
EXACT = Pooling(start=1e-3, strength=0.0, tolerance=1e-9, passes=20_000)
"""no prior of τ worth mentioning, EM to its end; the start is in units of the vast prior"""


def evidence(designs, outcomes):
    information = np.array([X.T @ X for X in designs])
    moment = np.array([X.T @ y for X, y in zip(designs, outcomes, strict=True)])
    squares = np.array([y @ y for y in outcomes])
    return Evidence(information, moment, squares, np.array([len(y) - 1.0 for y in outcomes]))


# --- Dyestuff: 6 batches × 5, Davies & Goldsmith (1972), from R's lme4 -----------------------------------------------

DYESTUFF = np.array([
    [1545, 1440, 1440, 1520, 1580], [1540, 1555, 1490, 1560, 1495], [1595, 1550, 1605, 1510, 1560],
    [1445, 1440, 1595, 1465, 1545], [1595, 1630, 1515, 1635, 1625], [1520, 1455, 1450, 1480, 1445],
], dtype=float)  # fmt: skip


def test_dyestuff():
    data = evidence([np.ones((5, 1))] * 6, DYESTUFF - 1500)
    # REML of balanced data is the analysis of variance, in closed form
    within = DYESTUFF.var(axis=1, ddof=1).mean()
    between = DYESTUFF.mean(axis=1).var(ddof=1) - within / 5
    fit = pool(data, np.zeros(1), np.full(1, VAST), (np.sqrt(within), 1e12), EXACT)
    assert fit.settled
    assert fit.tau[0] == pytest.approx(np.sqrt(between), rel=1e-5)
    # published REML estimates, lme4: 1527.5, error 19.38, sds 42.00 and 49.51
    assert fit.tau[0] == pytest.approx(42.0006, abs=1e-3)
    assert fit.sigma == pytest.approx(np.full(6, 49.5101), abs=1e-3)
    assert 1500 + fit.mean[0] == pytest.approx(1527.5, abs=1e-4)
    assert np.sqrt(fit.covariance[0, 0]) == pytest.approx(19.3834, abs=2e-3)
    table = np.repeat(np.arange(6), 5)
    model = sm.MixedLM(DYESTUFF.ravel(), np.ones((30, 1)), groups=table).fit(reml=True)
    effects = [model.random_effects[batch].iloc[0] for batch in range(6)]
    assert fit.car_mean[:, 0] - fit.mean[0] == pytest.approx(effects, rel=1e-3)


# --- sleepstudy: 18 subjects × 10 days, Belenky et al. (2003), from R's lme4 [ms] ------------------------------------

SLEEPSTUDY = """
249.5600 258.7047 250.8006 321.4398 356.8519 414.6901 382.2038 290.1486 430.5853 466.3535
222.7339 205.2658 202.9778 204.7070 207.7161 215.9618 213.6303 217.7272 224.2957 237.3142
199.0539 194.3322 234.3200 232.8416 229.3074 220.4579 235.4208 255.7511 261.0125 247.5153
321.5426 300.4002 283.8565 285.1330 285.7973 297.5855 280.2396 318.2613 305.3495 354.0487
287.6079 285.0000 301.8206 320.1153 316.2773 293.3187 290.0750 334.8177 293.7469 371.5811
234.8606 242.8118 272.9613 309.7688 317.4629 309.9976 454.1619 346.8311 330.3003 253.8644
283.8424 289.5550 276.7693 299.8097 297.1710 338.1665 332.0265 348.8399 333.3600 362.0428
265.4731 276.2012 243.3647 254.6723 279.0244 284.1912 305.5248 331.5229 335.7469 377.2990
241.6083 273.9472 254.4907 270.8021 251.4519 254.6362 245.4523 235.3110 235.7541 237.2466
312.3666 313.8058 291.6112 346.1222 365.7324 391.8385 404.2601 416.6923 455.8643 458.9167
236.1032 230.3167 238.9256 254.9220 250.7103 269.7744 281.5648 308.1020 336.2806 351.6451
256.2968 243.4543 256.2046 255.5271 268.9165 329.7247 379.4445 362.9184 394.4872 389.0527
250.5265 300.0576 269.8939 280.5891 271.8274 304.6336 287.7466 266.5955 321.5418 347.5655
221.6771 298.1939 326.8785 346.8555 348.7402 352.8287 354.4266 360.4326 375.6406 388.5417
271.9235 268.4369 257.2424 277.6566 314.8222 317.2135 298.1353 348.1229 340.2800 366.5131
225.2640 234.5235 238.9008 240.4730 267.5373 344.1937 281.1481 347.5855 365.1630 372.2288
269.8804 272.4428 277.8989 281.7895 279.1705 284.5120 259.2658 304.6306 350.7807 369.4692
269.4117 273.4740 297.5968 310.6316 287.1726 329.6076 334.4818 343.2199 369.1417 364.1236
"""


@pytest.fixture(scope="module")
def sleepstudy():
    return np.array([[float(v) for v in line.split()] for line in SLEEPSTUDY.strip().splitlines()])


def independent_slopes(y, X, groups, fixed):
    model = sm.MixedLM(y, fixed, groups=groups, exog_re=X)
    pattern = MixedLMParams.from_components(fe_params=np.ones(fixed.shape[1]), cov_re=np.eye(X.shape[1]))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns of boundaries on the way
        return model.fit(reml=True, free=pattern, method="lbfgs")


def test_sleepstudy_with_independent_slopes(sleepstudy):
    days = np.column_stack([np.ones(10), np.arange(10.0)])
    theirs = independent_slopes(
        sleepstudy.ravel(), np.tile(days, (18, 1)), np.repeat(np.arange(18), 10), np.tile(days, (18, 1))
    )
    data = evidence([days] * 18, sleepstudy)
    fit = pool(data, np.zeros(2), np.full(2, VAST), (np.sqrt(theirs.scale), 1e12), EXACT)
    # lme4 of Reaction ~ Days + (Days || Subject), REML, from memory: sds 25.051 and 5.988, residual 25.565
    assert np.sqrt(theirs.scale) == pytest.approx(25.565, abs=0.01)
    assert fit.tau == pytest.approx([25.051, 5.988], rel=1e-3)
    assert fit.tau**2 == pytest.approx(np.diag(theirs.cov_re), rel=1e-3)
    # fixed effects as published (Bates et al. 2015): balanced data have the same with and without correlation
    assert fit.mean == pytest.approx([251.405, 10.467], abs=1e-3)
    assert np.sqrt(np.diag(fit.covariance)) == pytest.approx(theirs.bse_fe, rel=1e-3)
    blups = np.array([theirs.random_effects[subject].to_numpy() for subject in range(18)])
    assert fit.car_mean - fit.mean == pytest.approx(blups, abs=0.02)


@pytest.mark.slow
def test_sleepstudy_with_a_sigma_for_each_subject(sleepstudy):
    """Each subject its own residual sd: fixed point of the EM, checked with the likelihood that scipy maximises."""
    days = np.column_stack([np.ones(10), np.arange(10.0)])
    data = evidence([days] * 18, sleepstudy)
    fit = pool(data, np.array([250.0, 10.0]), np.array([50.0, 8.0]), (25.0, 3.0),
               Pooling(strength=4.0, tolerance=1e-8, passes=20_000))  # fmt: skip

    def loss(log):
        tau, sigma = np.exp(log[:2]), np.exp(log[2:])
        # all subjects at once, the common mean integrated out
        S = np.kron(np.ones((18, 18)), days @ np.diag([2500.0, 64.0]) @ days.T)
        block = days @ np.diag(tau**2) @ days.T
        S = S + np.kron(np.eye(18), block) + np.diag(np.repeat(sigma**2, 10))
        mean = np.tile(days @ [250.0, 10.0], 18)
        _, logdet = np.linalg.slogdet(S)
        r = sleepstudy.ravel() - mean
        value = 0.5 * logdet + 0.5 * r @ np.linalg.solve(S, r)
        # ν − 1 rather than ν: the M step divides by n − 1, as one baseline would have been integrated out
        value += ((2 * 3.0 - 1) * np.log(sigma) + 3.0 * 25.0**2 / sigma**2).sum()
        return value + (4.0 * np.log(tau) + 2.0 * (0.6 * np.array([50.0, 8.0])) ** 2 / tau**2).sum()

    at = np.concatenate([np.log(fit.tau), np.log(fit.sigma)])
    slope = optimize.approx_fprime(at, loss, 1e-5)
    assert slope == pytest.approx(np.zeros(20), abs=2e-3)
    assert np.ptp(fit.sigma) > 5


# --- eight schools: Rubin (1981), BDA3 § 5.5 -------------------------------------------------------------------------

EFFECT = np.array([28.0, 8, -3, 7, -1, 1, 18, 12])
ERROR = np.array([15.0, 10, 16, 11, 9, 11, 10, 18])


def schools(tau, mean=0.0, sd=VAST):
    data = Evidence(np.ones((8, 1, 1)), EFFECT[:, None], EFFECT**2, np.zeros(8))
    return condition(data, np.array([tau]), ERROR, np.array([mean]), np.array([sd]))


def test_eight_schools_pooled_completely():
    fit = schools(1e-4)
    # closed form, BDA3 § 5.5: precision-weighted mean
    assert fit.mean[0] == pytest.approx(7.68562, abs=1e-4)
    assert np.sqrt(fit.covariance[0, 0]) == pytest.approx(4.07192, abs=1e-4)


def weight(tau, sd):
    """p(y | τ) with μ integrated out, by scipy."""
    # 45 keeps it from underflow
    return np.exp(stats.multivariate_normal(np.zeros(8), np.diag(ERROR**2 + tau**2) + sd**2).logpdf(EFFECT) + 45)


def averaged(what, prior, sd):
    """The posterior mean over τ of what the pooling says given τ."""

    def total(f):
        inner = integrate.quad(f, 1e-3, 60, limit=200)[0]
        return inner + integrate.quad(f, 60, 4000, limit=200)[0]

    norm = total(lambda t: weight(t, sd) * prior(t))
    return total(lambda t: weight(t, sd) * prior(t) * what(schools(t, 0.0, sd))) / norm


def test_eight_schools_with_flat_priors():
    def flat(_):
        return 1.0

    mean = averaged(lambda fit: fit.mean[0], flat, 1e4)
    square = averaged(lambda fit: fit.covariance[0, 0] + fit.mean[0] ** 2, flat, 1e4)
    # quadrature over τ of the model of BDA3 § 5.5: E μ 7.932, sd 5.178
    assert mean == pytest.approx(7.9324, abs=0.01)
    assert np.sqrt(square - mean**2) == pytest.approx(5.1784, abs=0.02)


def test_eight_schools_with_the_priors_of_the_reference_posterior():
    def half_cauchy(tau):
        return 1.0 / (1.0 + (tau / 5.0) ** 2)

    mean = averaged(lambda fit: fit.mean[0], half_cauchy, 5.0)
    # posteriordb, eight_schools_noncentered: E μ 4.41 ± 0.13, E θ of A 6.15 ± 0.22, of G 6.32 ± 0.20 (4 errors);
    # quadrature 4.3968, 6.212, 6.297
    assert mean == pytest.approx(4.3968, abs=0.005)
    assert averaged(lambda fit: fit.car_mean[0, 0], half_cauchy, 5.0) == pytest.approx(6.212, abs=0.005)
    assert averaged(lambda fit: fit.car_mean[6, 0], half_cauchy, 5.0) == pytest.approx(6.297, abs=0.005)


# --- given τ and σ: one multivariate normal --------------------------------------------------------------------------


@pytest.fixture
def problem():
    rng = np.random.default_rng(4)
    designs = [rng.normal(size=(n, 3)) for n in (3, 8, 5, 12)]
    designs[1][:, 2] = 0.0  # a car without the third adjustable
    outcomes = [X @ rng.normal(size=3) + rng.normal(size=len(X)) for X in designs]
    return designs, outcomes, np.array([0.5, 1.2, 0.2]), np.array([0.7, 1.0, 1.3, 0.9])


def jointly(designs, outcomes, tau, sigma, m, s):
    """Mean and covariance of (μ, θ₁ … θ_C) by conditioning one multivariate normal on all data (BDA3 § 14)."""
    C, E = len(designs), len(tau)
    prior = np.kron(np.ones((C + 1, C + 1)), np.diag(s**2))
    prior[E:, E:] += np.kron(np.eye(C), np.diag(tau**2))
    rows = [np.hstack([np.zeros((len(X), E * (c + 1))), X, np.zeros((len(X), E * (C - 1 - c)))])
            for c, X in enumerate(designs)]  # fmt: skip
    X, y = np.vstack(rows), np.concatenate(outcomes)
    noise = np.diag(np.concatenate([np.full(len(D), v**2) for D, v in zip(designs, sigma, strict=True)]))
    gain = np.linalg.solve(X @ prior @ X.T + noise, X @ prior).T
    start = np.tile(m, C + 1)
    return start + gain @ (y - X @ start), prior - gain @ X @ prior


def test_given_tau_and_sigma_it_is_one_multivariate_normal(problem):
    designs, outcomes, tau, sigma = problem
    m, s = np.array([0.2, -0.1, 0.4]), np.array([1.0, 2.0, 0.5])
    fit = condition(evidence(designs, outcomes), tau, sigma, m, s)
    mean, covariance = jointly(designs, outcomes, tau, sigma, m, s)
    assert fit.mean == pytest.approx(mean[:3], rel=1e-9)
    assert fit.covariance == pytest.approx(covariance[:3, :3], rel=1e-9, abs=1e-12)
    for c in range(4):
        own = slice(3 * c + 3, 3 * c + 6)
        assert fit.car_mean[c] == pytest.approx(mean[own], rel=1e-9)
        assert fit.car_variance[c] == pytest.approx(np.diag(covariance[own, own]), rel=1e-9)
        apart = covariance[own, own] + covariance[:3, :3] - covariance[own, :3] - covariance[:3, own]
        assert fit.away[c] == pytest.approx(np.diag(apart), rel=1e-8)
        r = outcomes[c] - designs[c] @ mean[own]
        expected = r @ r + np.trace(designs[c] @ covariance[own, own] @ designs[c].T)
        assert fit.misfit[c] == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("car", range(4))
def test_leaving_a_car_out_is_fitting_without_it(problem, car):
    designs, outcomes, tau, sigma = problem
    m, s = np.array([0.2, -0.1, 0.4]), np.array([1.0, 2.0, 0.5])
    mean, covariance = condition(evidence(designs, outcomes), tau, sigma, m, s).without(car)
    keep = [c for c in range(4) if c != car]
    others = condition(evidence([designs[c] for c in keep], [outcomes[c] for c in keep]), tau, sigma[keep], m, s)
    assert mean == pytest.approx(others.mean, rel=1e-9)
    assert covariance == pytest.approx(others.covariance, rel=1e-9, abs=1e-13)


def test_of_a_column_that_nobody_tried_only_the_prior_is_left(problem):
    designs, outcomes, _, _ = problem
    for X in designs:
        X[:, 1] = 0.0
    m, s = np.array([0.2, -0.1, 0.4]), np.array([1.0, 2.0, 0.5])
    fit = pool(evidence(designs, outcomes), m, s, (1.0, 4.0), Pooling())
    assert (fit.mean[1], fit.covariance[1, 1]) == pytest.approx((-0.1, 4.0))
    assert fit.tau[1] == pytest.approx(0.6 * 2.0)


def test_no_car_at_all_is_the_prior():
    nothing = Evidence(np.zeros((0, 2, 2)), np.zeros((0, 2)), np.zeros(0), np.zeros(0))
    fit = pool(nothing, np.array([0.1, 0.2]), np.array([1.0, 2.0]), (1.0, 4.0), Pooling())
    assert fit.mean == pytest.approx([0.1, 0.2])
    assert np.diag(fit.covariance) == pytest.approx([1.0, 4.0])


def test_cars_that_differ_more_have_a_wider_spread():
    rng = np.random.default_rng(2)
    found = []
    for apart in (0.2, 1.0, 3.0):
        designs = [rng.normal(size=(30, 1)) for _ in range(20)]
        outcomes = [X @ rng.normal(1.0, apart, 1) + rng.normal(size=30) for X in designs]
        found.append(pool(evidence(designs, outcomes), np.zeros(1), np.ones(1), (1.0, 4.0), Pooling()).tau[0])
    assert found == sorted(found)
    assert found[2] > 5 * found[0]
