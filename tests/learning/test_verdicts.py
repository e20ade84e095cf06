"""Verdicts by their truth table, and the chances of reaching one by simulation."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy import stats

from runlog.learning import verdicts
from runlog.learning.verdicts import Odds, chance_of_claim, chance_of_verdict, runs_needed, verdict


@pytest.mark.parametrize(
    ("odds", "word"),
    [
        (Odds(0.96, 0.60, 0.01), "helped"),
        (Odds(0.95, 0.50, 0.00), "helped"),
        (Odds(0.04, 0.01, 0.60), "hurt"),
        (Odds(0.50, 0.05, 0.05), "no_difference"),
        (Odds(0.97, 0.15, 0.00), "no_difference"),  # surely quicker, surely not by enough to matter
        (Odds(0.97, 0.40, 0.00), "cannot_tell"),
        (Odds(0.94, 0.90, 0.00), "cannot_tell"),
        (Odds(0.50, 0.30, 0.30), "cannot_tell"),
    ],
)
def test_word_for_what_was_tried_and_can_be_separated(odds, word):
    assert verdict(True, True, odds) == word
    mirrored = Odds(1 - odds.helps, odds.hurts_enough, odds.helps_enough)
    assert verdict(True, True, mirrored) == {"helped": "hurt", "hurt": "helped"}.get(word, word)


def test_nothing_is_claimed_of_what_was_not_tried_or_cannot_be_separated():
    for helps, enough in itertools.product((0.0, 0.5, 0.99), (0.0, 0.9)):
        odds = Odds(helps, min(enough, helps), 0.0)
        assert verdict(False, True, odds) == verdict(False, False, odds) == "not_tried"
        assert verdict(True, False, odds) == "cannot_separate"


@pytest.mark.parametrize(
    ("mean", "sd", "planned"), [(0.0, 10.0, 5.0), (-6.0, 8.0, 3.0), (9.0, 6.0, 5.9), (2.0, 9.0, 0.8)]
)
def test_chances_by_drawing_the_posterior_to_come(mean, sd, planned):
    rng = np.random.default_rng(8)
    delta = 5.0
    to_come = rng.normal(mean, np.sqrt(sd**2 - planned**2), 200_000)
    sign = np.maximum(stats.norm.cdf(0, to_come, planned), stats.norm.sf(0, to_come, planned))
    claim = (sign >= 0.95) & (np.abs(to_come) >= delta)
    inside = stats.norm.cdf(delta, to_come, planned) - stats.norm.cdf(-delta, to_come, planned)
    settled = claim | (inside >= 0.80)
    assert chance_of_claim(mean, sd**2, planned**2, delta) == pytest.approx(claim.mean(), abs=0.005)
    assert chance_of_verdict(mean, sd**2, planned**2, delta) == pytest.approx(settled.mean(), abs=0.005)


def test_nothing_left_to_learn_leaves_the_verdict_as_it_is():
    assert chance_of_claim(-8.0, 4.0, 4.0, 5.0) == 1.0
    assert chance_of_claim(-2.0, 4.0, 4.0, 5.0) == 0.0
    assert chance_of_verdict(0.5, 4.0, 4.0, 5.0) == 1.0


def test_more_runs_are_needed_when_the_car_repeats_worse():
    needed = [runs_needed(0.004, 0.010**2, sigma, 0.005) for sigma in (0.004, 0.008, 0.016)]
    assert needed == sorted(needed)
    assert needed[0] < needed[-1]
    assert all(n >= 2 and n % 2 == 0 for n in needed)


def test_runs_needed_keep_their_promise():
    """Half of simulated there-and-back tests with that many runs, on truths drawn from the posterior, get a verdict."""
    mean, sd, sigma, delta = 0.003, 0.008, 0.009, 0.005
    runs = runs_needed(mean, sd**2, sigma, delta)
    rng = np.random.default_rng(9)
    settled = []
    for _ in range(4000):
        truth = rng.normal(mean, sd)
        estimate = truth + rng.normal(0, sigma, (2, runs // 2)).mean(axis=1) @ [1, -1]
        precision = 1 / sd**2 + runs / (4 * sigma**2)
        post = (mean / sd**2 + estimate * runs / (4 * sigma**2)) / precision
        d = stats.norm(post, precision**-0.5)
        odds = Odds(d.cdf(0), d.cdf(-delta), d.sf(delta))
        settled.append(verdict(True, True, odds) != verdicts.CANNOT_TELL)
    assert 0.48 <= np.mean(settled) <= 0.65


def test_the_runs_alone_are_the_posterior_without_the_prior():
    # precisions add (Gelman et al., BDA3 § 2.5): prior N(5, 2²), runs say -1 ± 1, all in ms
    prior, runs = (5.0, 4.0), (-1.0, 1.0)
    variance = 1 / (1 / prior[1] + 1 / runs[1])
    mean = variance * (prior[0] / prior[1] + runs[0] / runs[1])
    assert mean > 0  # the prior wins …
    alone = verdicts.helps_by_runs_alone(mean, variance, *prior)
    assert alone == pytest.approx(0.8413447, abs=1e-6)  # … but Φ(1) is what the runs say
    assert verdicts.without_support("hurt", alone)
    assert not verdicts.without_support("helped", alone)


def test_runs_that_tell_nothing_support_no_claim():
    alone = verdicts.helps_by_runs_alone(-0.02, 0.0001, -0.02, 0.0001)
    assert alone == 0.5
    assert verdicts.without_support("helped", alone)
    assert verdicts.without_support("hurt", alone)
    assert not verdicts.without_support("no_difference", alone)
