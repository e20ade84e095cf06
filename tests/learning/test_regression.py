"""The regression against published results and general-purpose libraries.

Norris and Longley are of the Statistical Reference Datasets of the US National Institute of Standards and Technology.
"""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats
from sklearn.linear_model import Ridge

from runlog.learning import Settings
from runlog.learning.design import make_layout, segment_data
from runlog.learning.priors import log_widening_prior, make_grid, segment_prior
from runlog.learning.regression import combine, fit_segment, normal_inverse_gamma, set_sizes, soft_weights, solve, spill

FLAT = 1e14
"""prior variance in units of the data's own that leaves eight digits to the data"""


def flat_fit(columns, y, sigma):
    """Fit an intercept and columns with vast priors, as learning does; returns estimates and standard errors.

    Columns are centred and scaled first, as raw Longley has a condition number of 4.9e9, which normal equations don't
    survive; the estimates are carried back exactly.
    """
    centre, scale = columns.mean(axis=0), columns.std(axis=0)
    X = np.column_stack([np.ones(len(y)), (columns - centre) / scale])
    K = X.shape[1]
    solution = solve(X, y - y.mean(), np.ones(len(y)), np.zeros(K), np.full((1, K), FLAT * y.var()), np.array([sigma]))
    back = np.eye(K)
    back[1:, 1:] = np.diag(1 / scale)
    back[0, 1:] = -centre / scale
    estimate = back @ solution.beta[0]
    estimate[0] += y.mean()
    return estimate, np.sqrt(np.diag(back @ solution.covariance[0] @ back.T))


def test_longley_certified_values():
    data = sm.datasets.longley.load_pandas()
    estimate, error = flat_fit(data.exog.to_numpy(float), data.endog.to_numpy(float), 304.854073561965)
    # NIST StRD Longley, certified; from memory, agreeing with statsmodels 0.15 to about 1e-11
    certified = [-3482258.63459582, 15.0618722713733, -0.0358191792925910, -2.02022980381683,
                 -1.03322686717359, -0.0511041056535807, 1829.15146461355]  # fmt: skip
    errors = [890420.383607373, 84.9149257747669, 0.0334910077722432, 0.488399681651699,
              0.214274163161675, 0.226073200069370, 455.478499142212]  # fmt: skip
    assert estimate == pytest.approx(certified, rel=1e-8)
    assert error == pytest.approx(errors, rel=1e-8)


NORRIS = """
0.1 0.2;338.8 337.4;118.1 118.2;888.0 884.6;9.2 10.1;228.1 226.5;668.5 666.3;998.5 996.3;449.1 448.6;778.9 777.0;
559.2 558.2;0.3 0.4;0.1 0.6;778.1 775.5;668.8 666.9;339.3 338.0;448.9 447.5;10.8 11.6;557.7 556.0;228.3 228.1;
998.0 995.8;888.8 887.6;119.6 120.2;0.3 0.3;0.6 0.3;557.6 556.8;339.3 339.1;888.0 887.2;998.5 999.0;778.9 779.0;
10.2 11.1;117.6 118.3;228.9 229.2;668.4 669.1;449.2 448.9;0.2 0.5
"""
"""y and x of the 36 points of NIST StRD Norris"""


def norris():
    pairs = np.array([[float(v) for v in row.split()] for row in NORRIS.replace("\n", "").split(";")])
    return pairs[:, 0], pairs[:, 1]


def test_norris_certified_values():
    y, x = norris()
    estimate, error = flat_fit(x[:, None], y, 0.884796396144373)
    # NIST StRD Norris, certified values
    assert estimate == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-8)
    assert error == pytest.approx([0.232818234301152, 0.429796848199937e-3], rel=1e-8)


def test_norris_with_the_spread_unknown_is_students_t():
    y, x = norris()
    X = np.column_stack([np.ones(36), x - x.mean()])
    # a flat prior on β and log σ is the limit a0 = −K/2, b0 = 0 (BDA3 § 14.2)
    beta, V, a, b = normal_inverse_gamma(X, y, np.ones(36), np.zeros(2), np.full(2, 1e14), (-1.0, 0.0))
    half = stats.t.ppf(0.975, 2 * a) * np.sqrt(b / a * V[1, 1])
    assert 2 * a == 34
    assert np.sqrt(b / a) == pytest.approx(0.884796396144373, rel=1e-8)
    # certified slope and error with t₃₄
    assert [beta[1] - half, beta[1] + half] == pytest.approx([1.00124337, 1.00299027], abs=2e-8)


def test_conjugate_normal_inverse_gamma_closed_form():
    X = np.array([[1.0, -1.0], [1.0, 0.0], [1.0, 1.0]])
    beta, V, a, b = normal_inverse_gamma(
        X, np.array([1.0, 2.0, 4.0]), np.ones(3), np.zeros(2), np.full(2, 10.0), (2, 1)
    )
    # by hand from the closed form of BDA3 ch. 14
    assert beta == pytest.approx([2.2580645, 1.4285714], abs=1e-7)
    assert (a, b) == pytest.approx((3.5, 1.45391705), abs=1e-8)
    assert np.sqrt(b / a * np.diag(V)) == pytest.approx([0.36606225, 0.44476043], abs=1e-8)


def test_two_level_factorial_of_the_engineering_statistics_handbook():
    # NIST/SEMATECH e-Handbook 5.6.1, eddy current; data from memory, they reproduce every figure printed there
    y = np.array([1.70, 4.57, 0.55, 3.39, 1.51, 4.59, 0.67, 4.29])
    levels = np.array([[(i >> bit) & 1 for bit in range(3)] for i in range(8)]) * 2.0 - 1
    one, two, three = levels.T
    columns = np.column_stack([one, two, three, one * two, one * three, two * three, one * two * three])
    estimate, error = flat_fit(columns, y, 0.2015253 * np.sqrt(4.0))
    assert estimate[0] == pytest.approx(2.65875, rel=1e-10)
    assert 2 * estimate[1:] == pytest.approx([3.10250, -0.8675, 0.2125, 0.1275, 0.2475, 0.2975, 0.1425], rel=1e-9)
    assert error[1] * np.sqrt(2.0) == pytest.approx(0.2015253, rel=1e-6)


@pytest.fixture
def problem():
    rng = np.random.default_rng(3)
    X = np.column_stack([np.ones(12), rng.normal(size=(12, 4))])
    return X, X @ rng.normal(size=5) + rng.normal(size=12)


def test_one_point_is_the_conjugate_normal_posterior(problem):
    X, y = problem
    mean, variance, sigma = np.array([0.3, -1, 0, 2, 1.0]), np.array([4.0, 0.5, 1, 2, 0.1]), 0.7
    w = np.linspace(0.1, 1, 12)
    solution = solve(X, y, w, mean, variance[None], np.array([sigma]))
    # BDA3 § 14.8: prior rows added to the data, then generalised least squares, by statsmodels
    augmented = sm.WLS(
        np.concatenate([y, mean]), np.concatenate([X, np.eye(5)]), weights=np.concatenate([w / sigma**2, 1 / variance])
    ).fit(cov_type="fixed scale")
    assert solution.beta[0] == pytest.approx(augmented.params, rel=1e-10)
    assert solution.covariance[0] == pytest.approx(augmented.normalized_cov_params, rel=1e-9, abs=1e-12)


def test_one_point_is_ridge_on_scaled_columns(problem):
    X, y = problem
    sd, sigma = np.array([2.0, 0.5, 1, 1.5, 0.3]), 0.7
    ridge = Ridge(alpha=sigma**2, fit_intercept=False, tol=1e-12).fit(X * sd, y)
    solution = solve(X, y, np.ones(12), np.zeros(5), sd[None] ** 2, np.array([sigma]))
    assert solution.beta[0] == pytest.approx(ridge.coef_ * sd, rel=1e-10)


def test_vast_priors_are_ordinary_least_squares(problem):
    X, y = problem
    ols = sm.OLS(y, X).fit()
    solution = solve(X, y, np.ones(12), np.zeros(5), np.full((1, 5), 1e12), np.array([np.sqrt(ols.scale)]))
    assert solution.beta[0] == pytest.approx(ols.params, rel=1e-9)
    assert np.sqrt(np.diag(solution.covariance[0])) == pytest.approx(ols.bse, rel=1e-9)


def test_log_evidence_is_the_marginal_density(problem):
    X, y = problem
    mean, variance, sigma = np.full(5, 0.2), np.array([4.0, 0.5, 1, 2, 0.1]), np.array([0.7, 1.3])
    solution = solve(X, y, np.ones(12), mean, np.tile(variance, (2, 1)), sigma)
    exact = [
        stats.multivariate_normal(X @ mean, X @ np.diag(variance) @ X.T + s**2 * np.eye(12)).logpdf(y) for s in sigma
    ]
    constant = -6 * np.log(2 * np.pi)
    assert solution.log_evidence + constant == pytest.approx(exact, rel=1e-10)


# --- the sum over spoiled runs ---------------------------------------------------------------------------------------


def by_enumeration(data, prior, settings, sizes, T):
    """Posterior weights, means and variances from scipy's normal densities, one set of spoiled runs after the other."""
    from itertools import combinations

    n, X, y = len(data.y), data.X, data.y
    logs, means, variances = [], [], []
    sets = [s for size in (0, *sizes) for s in combinations(range(n), size)]
    for g in range(len(prior.grid.sigma)):
        v, sigma = prior.variance[g], prior.grid.sigma[g]
        for members in sets:
            noise = np.full(n, sigma**2)
            noise[list(members)] *= settings.spoiled_width**2
            S = X @ np.diag(v) @ X.T + np.diag(noise)
            share = settings.spoiled_share
            logs.append(
                prior.grid.log_prior[g]
                + len(members) * np.log(share / (1 - share))
                + stats.multivariate_normal(X @ prior.mean, S).logpdf(y)
            )
            gain = np.linalg.solve(S, X * v).T
            means.append(T @ (prior.mean + gain @ (y - X @ prior.mean)))
            variances.append(np.einsum("fk,kl,fl->f", T, np.diag(v) - gain @ (X * v), T))
    return np.array(logs), np.array(means), np.array(variances)


@pytest.mark.parametrize(("n", "days", "sizes"), [(5, 1, (1, 2)), (6, 2, (1,)), (1, 1, (1,)), (2, 1, (1, 2))])
def test_the_sum_over_spoiled_runs_is_exact(garage, n, days, sizes):
    settings = Settings()
    x = np.zeros((n, 2))
    x[n // 2 :, 0] = 1
    x[::3, 1] = 2
    runs = garage.runs(x, day=np.arange(n) % days, seed=n, hour=9 + np.arange(n) ** 1.1)
    runs.times[n - 1, 0] += 0.08
    layout = make_layout(runs, garage.levers(2, curved=(1,)))
    data = segment_data(layout, runs, 0)
    prior = segment_prior(layout, 0, settings)
    assert set_sizes(n, days, settings) == sizes
    posterior = fit_segment(data.X, data.y, prior, settings, days)
    _, (weights,) = combine([posterior], log_widening_prior(settings))
    T = np.eye(layout.columns)
    found_means, found_variances = posterior.functionals(T)

    logs, means, variances = by_enumeration(data, prior, settings, sizes, T)
    shape = weights.shape
    kappa = np.repeat(log_widening_prior(settings), logs.size // 3)
    expected = np.exp(logs + kappa - (logs + kappa).max())
    expected /= expected.sum()
    assert weights.ravel() == pytest.approx(expected, abs=1e-9)
    assert found_means == pytest.approx(means.reshape(*shape, -1), rel=1e-6, abs=1e-9)
    assert found_variances == pytest.approx(variances.reshape(*shape, -1), rel=1e-6, abs=1e-12)


def test_one_kappa_is_shared_by_all_segments(garage):
    runs = garage.runs(np.repeat([[0.0], [1.0]], 2, axis=0), seed=2)
    runs.times[2:, :2] -= 0.05
    settings = Settings()
    layout = make_layout(runs, garage.levers(1))
    parts, evidence = [], log_widening_prior(settings).copy()
    for k in (0, 1):
        data, prior = segment_data(layout, runs, k), segment_prior(layout, k, settings)
        parts.append(fit_segment(data.X, data.y, prior, settings, 1))
        logs, _, _ = by_enumeration(data, prior, settings, (1, 2), np.eye(layout.columns))
        evidence += np.log(np.exp(logs.reshape(3, -1) - logs.max()).sum(axis=1))
    kappa, weights = combine(parts, log_widening_prior(settings))
    expected = np.exp(evidence - evidence.max())
    assert kappa == pytest.approx(expected / expected.sum(), rel=1e-8)
    assert [w.sum() for w in weights] == pytest.approx([1, 1])
    # both segments moved far beyond their prior in the same run
    assert kappa[1:].sum() > 1 - Settings().widening_weights[0]


def test_what_spoils_a_run_carries_on_into_the_next_increment(garage):
    """The chain over three increments against all sequences of sets, each run a Markov chain written out."""
    from itertools import combinations, pairwise, product

    settings = Settings(repeatability_range=(0.7, 1.4, 2), drift_rates=(0.2,))
    runs = garage.runs(np.array([[0.0], [1.0], [0.0], [1.0]]), seed=4)
    runs.times[1, :3] += [0.09, 0.05, 0.03]
    runs.times[3, 1:] = np.nan  # cut short: no link, and fewer sets
    layout = make_layout(runs, garage.levers(1))
    parts, rows, logs = [], [], []
    for k in range(3):
        data, prior = segment_data(layout, runs, k), segment_prior(layout, k, settings)
        parts.append(fit_segment(data.X, data.y, prior, settings, 1))
        rows.append(data.rows)
        found, _, _ = by_enumeration(data, prior, settings, (1, 2), np.eye(layout.columns))
        logs.append(found.reshape(len(prior.grid.sigma), -1))
    sets = [[s for size in (0, 1, 2) for s in combinations(r.tolist(), size)] for r in rows]
    pi, stays = settings.spoiled_share, settings.spoiled_persistence
    newly = pi * (1 - stays) / (1 - pi)  # keeps the share of spoiled runs the same in every increment
    odds = np.log(pi / (1 - pi))

    def log_chain(sequence):
        total = 0.0
        for i in range(4):
            path = [i in chosen for chosen, r in zip(sequence, rows, strict=True) if i in r]
            total += np.log(pi if path[0] else 1 - pi)
            for before, now in pairwise(path):
                chance = stays if before else newly
                total += np.log(chance if now else 1 - chance)
        return total

    likelihood = [part - odds * np.array([len(s) for s in chosen]) for part, chosen in zip(logs, sets, strict=True)]
    expected = [np.zeros((3, part.shape[0] // 3, part.shape[1])) for part in likelihood]
    for sequence in product(*(range(len(chosen)) for chosen in sets)):
        chain = log_chain([chosen[c] for chosen, c in zip(sets, sequence, strict=True)])
        points = [np.exp(part.reshape(3, -1, part.shape[1])[:, :, c] - 40) for part, c in
                  zip(likelihood, sequence, strict=True)]  # fmt: skip
        whole = np.exp(log_widening_prior(settings) + chain) * np.prod([p.sum(axis=1) for p in points], axis=0)
        for k, c in enumerate(sequence):
            expected[k][:, :, c] += whole[:, None] * points[k] / points[k].sum(axis=1, keepdims=True)
    links = [spill(parts[k], rows[k], parts[k + 1], rows[k + 1], settings) for k in (0, 1)]
    kappa, weights = combine(parts, log_widening_prior(settings), links)
    for found, wanted in zip(weights, expected, strict=True):
        assert found == pytest.approx((wanted / wanted.sum()).reshape(found.shape), abs=1e-9)
    assert kappa == pytest.approx(expected[0].sum(axis=(1, 2)) / expected[0].sum(), rel=1e-8)
    # and the second and third increment believe more readily that run 2 was spoiled
    _, apart = combine(parts, log_widening_prior(settings))
    for k in (1, 2):
        alone, linked = (parts[k].spoiled_probability(w[k])[1] for w in (apart, weights))
        assert linked > alone + 0.02


def test_without_persistence_increments_have_nothing_to_do_with_each_other(garage):
    settings = Settings(spoiled_persistence=Settings().spoiled_share)
    runs = garage.runs(np.array([[0.0], [1.0], [1.0], [0.0], [1.0]]), seed=6)
    layout = make_layout(runs, garage.levers(1))
    parts = []
    for k in (0, 1):
        data = segment_data(layout, runs, k)
        parts.append(fit_segment(data.X, data.y, segment_prior(layout, k, settings), settings, 1))
    assert np.abs(spill(parts[0], np.arange(5), parts[1], np.arange(5), settings)).max() < 1e-12


def test_pairs_are_summed_only_for_few_runs_of_one_day():
    settings = Settings()
    assert set_sizes(8, 1, settings) == (1, 2)
    assert set_sizes(9, 1, settings) == (1,)
    assert set_sizes(8, 2, settings) == (1,)
    assert set_sizes(11, 1, settings) == ()
    assert set_sizes(0, 0, settings) == ()


def test_soft_weights_single_out_the_spoiled_run():
    rng = np.random.default_rng(5)
    X = np.column_stack([np.ones(30), np.tile([0.0, 1.0], 15)])
    y = rng.normal(0, 0.01, 30)
    y[7] += 0.15
    weights, spoiled = soft_weights(X, y, np.zeros(2), np.array([2500.0, 1.0]), 0.01, Settings())
    assert spoiled[7] > 0.99
    assert weights[7] == pytest.approx(1 / 64, abs=0.01)
    assert np.delete(spoiled, 7).max() < 0.5


def test_soft_weights_reach_their_fixed_point():
    """The weights are those that the two densities give at the fit that is made with these weights."""
    rng = np.random.default_rng(6)
    X = np.column_stack([np.ones(25), rng.normal(size=25)])
    y = rng.normal(0, 0.01, 25)
    y[3] -= 0.06
    ratio, settings = np.array([2500.0, 1.0]), Settings()
    weights, spoiled = soft_weights(X, y, np.zeros(2), ratio, 0.01, settings)
    A = X.T @ (weights[:, None] * X) + np.diag(1 / ratio)
    beta = np.linalg.solve(A, X.T @ (weights * y))
    rss = weights @ (y - X @ beta) ** 2 + beta @ (beta / ratio)
    s2 = (4 * 0.01**2 + rss / 2) / (4 + 25 / 2)
    q = (y - X @ beta) ** 2 / s2 + np.einsum("ij,jk,ik->i", X, np.linalg.inv(A), X)
    clean = (1 - 0.07) * np.exp(-q / 2)
    wide = 0.07 / 8 * np.exp(-q / 128)
    assert spoiled == pytest.approx(wide / (wide + clean), abs=0.005)


def test_the_grid_is_as_documented():
    grid = make_grid(Settings(), 0.012, 3)
    assert len(grid.sigma) == 3 * 9 * 5 * 3
    assert (grid.sigma.min(), grid.sigma.max()) == pytest.approx((0.006, 0.0264))
    assert np.exp(grid.log_prior).reshape(3, -1).sum(axis=1) == pytest.approx([1, 1, 1])
    assert len(make_grid(Settings(), 0.012, 1).sigma) == 81
    wide = make_grid(Settings(), 0.012, 1, extended=True)
    assert wide.sigma.max() >= 4 * 0.012
    # half-normal densities at the points, scipy
    omega = stats.halfnorm.pdf(np.array(Settings().day_levels))
    by_omega = [np.exp(grid.log_prior)[grid.omega == w].sum() / 3 for w in Settings().day_levels]
    assert by_omega == pytest.approx(omega / omega.sum())


@pytest.mark.parametrize("n", [0, 1, 5, 13])
def test_mean_coefficients_are_those_of_the_mixture(garage, n):
    runs = garage.runs(np.arange(n)[:, None] % 3.0, seed=n)
    layout, settings = make_layout(runs, garage.levers(1)), Settings()
    data = segment_data(layout, runs, 0)
    posterior = fit_segment(data.X, data.y, segment_prior(layout, 0, settings), settings, 1)
    _, (weights,) = combine([posterior], log_widening_prior(settings))
    means, _ = posterior.functionals(np.eye(layout.columns))
    assert posterior.coefficients(weights) == pytest.approx(np.einsum("gc,gck->k", weights, means), abs=1e-12)
