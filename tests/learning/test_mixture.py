"""Normal and mixture functions against scipy's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize, stats

from runlog.learning import mixture


def test_normal_distribution_function_keeps_the_handbooks_error_bound():
    z = np.linspace(-9, 9, 20001)
    # Abramowitz & Stegun 26.2.17: |error| < 7.5e-8; scipy.stats.norm is the reference
    assert np.abs(mixture.normal_cdf(z) - stats.norm.cdf(z)).max() < 7.5e-8
    assert (np.diff(mixture.normal_cdf(z)) >= -1e-12).all()


@pytest.mark.parametrize("p", [1e-6, 0.05, 0.25, 0.5, 0.8, 0.95, 0.999])
def test_normal_quantile_against_scipy(p):
    assert mixture.normal_quantile(p) == pytest.approx(stats.norm.ppf(p), abs=1e-10)
    assert mixture.normal_cdf_at(stats.norm.ppf(p)) == pytest.approx(p, rel=1e-12)


@pytest.mark.parametrize("p", [0.0, 1.0, -0.1, float("nan")])
def test_quantile_of_an_impossible_probability_is_refused(p):
    with pytest.raises(ValueError, match="between 0 and 1"):
        mixture.normal_quantile(p)


@pytest.mark.parametrize("degrees", [1, 2, 5, 19, 80])
@pytest.mark.parametrize("p", [0.05, 0.5, 0.95])
def test_chi_square_against_scipy(degrees, p):
    assert mixture.chi_square_quantile(p, degrees) == pytest.approx(stats.chi2.ppf(p, degrees), rel=1e-8)
    x = stats.chi2.ppf(p, degrees)
    assert mixture.chi_square_cdf(x, degrees) == pytest.approx(p, rel=1e-10)


def exact_quantile(weights, means, sds, p):
    def excess(x):
        return weights @ stats.norm.cdf(x, means, sds) - p

    return optimize.brentq(excess, (means - 9 * sds).min(), (means + 9 * sds).max(), xtol=1e-14)


def example(components, seed):
    rng = np.random.default_rng(seed)
    weights = rng.dirichlet(np.full(components, 0.3))
    return weights, rng.normal(0, 8, (components, 3)), rng.uniform(2, 9, (components, 3))


@pytest.mark.parametrize("components", [1, 2, 81, 400])
def test_quantiles_of_small_mixtures_are_exact(components):
    weights, means, sds = example(components, components)
    found = mixture.quantiles(weights, means, sds, (0.05, 0.5, 0.95))
    for row, p in enumerate((0.05, 0.5, 0.95)):
        for column in range(3):
            exact = exact_quantile(weights, means[:, column], sds[:, column], p)
            # scipy root of the scipy mixture; what the bound on Φ allows at a density of about 0.01
            assert found[row, column] == pytest.approx(exact, abs=2e-5)


def test_thinned_quantiles_of_large_mixtures_stay_close():
    weights, means, sds = example(3000, 1)
    found = mixture.quantiles(weights, means, sds, (0.05, 0.25, 0.75, 0.95))
    for row, p in enumerate((0.05, 0.25, 0.75, 0.95)):
        for column in range(3):
            exact = exact_quantile(weights, means[:, column], sds[:, column], p)
            # spread about 10 (think of milliseconds): within the 0.4 that thinning is allowed
            assert found[row, column] == pytest.approx(exact, abs=0.4)


def test_moments_and_probabilities_against_scipy():
    weights, means, sds = example(500, 2)
    mean, variance = mixture.moments(weights, means, sds**2)
    assert mean == pytest.approx(weights @ means)
    second = weights @ np.array([[stats.norm.moment(2, m, s) for m, s in zip(*row, strict=True)]
                                 for row in zip(means, sds, strict=True)])  # fmt: skip
    assert variance == pytest.approx(second - mean**2)
    below = mixture.probability_below(weights, means, sds, 1.5)
    assert below == pytest.approx(weights @ stats.norm.cdf(1.5, means, sds), abs=1e-7)
