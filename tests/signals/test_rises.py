"""The shape in which a car's push rises, learned from launch to launch."""

from __future__ import annotations

from itertools import pairwise, product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from launching import RISES, launch_felt
from scipy import optimize, stats

from runlog.records import Rises
from runlog.signals import onset
from runlog.signals.launch import find_launch
from runlog.signals.rises import CHANGED, SHAPES, UNUSUAL, after, of_launch, under, unknown

S = len(SHAPES)
LIKELIHOODS = arrays(float, S, elements=st.floats(1e-6, 1.0))


def test_every_shape_that_is_tried_has_a_name():
    assert len(SHAPES) == len(onset.SHAPES)


def every_history(likelihoods: list[np.ndarray]) -> np.ndarray:
    """Chances of the car's shape for the next launch, by adding up every history that there may have been."""
    chances = np.zeros(S)
    for history in product(range(S), repeat=len(likelihoods) + 1):
        chance = 1.0 / S
        for now, following in pairwise(history):
            chance *= CHANGED / S + (1.0 - CHANGED) * (now == following)
        for shape, likelihood in zip(history, likelihoods, strict=False):
            chance *= sum(
                (UNUSUAL / S + (1.0 - UNUSUAL) * (of_run == shape)) * likelihood[of_run] for of_run in range(S)
            )
        chances[history[-1]] += chance
    return chances / chances.sum()


@given(st.lists(LIKELIHOODS, min_size=1, max_size=4))
def test_chances_are_those_of_adding_up_every_history(likelihoods):
    chances = unknown()
    for likelihood in likelihoods:
        chances = after(chances, likelihood)
    assert chances == pytest.approx(every_history(likelihoods))


@given(LIKELIHOODS, st.floats(1e-3, 1e3))
def test_a_factor_on_the_likelihood_changes_nothing(likelihood, factor):
    assert after(unknown(), factor * likelihood) == pytest.approx(after(unknown(), likelihood))


def test_no_shape_is_ever_ruled_out():
    chances = unknown()
    for _ in range(200):
        chances = after(chances, np.array([1.0, 0.0, 0.0, 0.0]))
    assert chances[0] > 0.9
    assert min(of_launch(chances)[1:]) >= UNUSUAL / S
    for _ in range(3):
        chances = after(chances, np.array([0.01, 1.0, 0.01, 0.01]))
    assert np.argmax(chances) == 1


@given(LIKELIHOODS, LIKELIHOODS, st.integers(0, 2**32))
def test_instant_and_doubt_are_the_quantiles_of_the_mixture(likelihood, chances, seed):
    rng = np.random.default_rng(seed)
    rises = Rises(likelihood, rng.normal(0, 0.02, S), rng.uniform(0.003, 0.02, S))
    weight = likelihood * chances / (likelihood @ chances)
    quantile = [
        optimize.brentq(lambda t, q=q: weight @ stats.norm.cdf(t, rises.times, rises.sds) - q, -1, 1, xtol=1e-9)
        for q in (0.05, 0.5, 0.95)
    ]
    middle, sd = under(rises, chances)
    assert middle == pytest.approx(quantile[1], abs=2e-6)
    assert sd * 2 * stats.norm.ppf(0.95) == pytest.approx(quantile[2] - quantile[0], rel=1e-3, abs=1e-5)


@pytest.mark.slow
def test_launches_of_a_car_that_was_launched_before_are_found_better_than_its_first():
    """Every car keeps its shape, one of which isn't tried by the fit; each launch's length and level are its own.

    The aim is 5 ms. Over 40 cars of each shape 9.5 ms were measured the first time, 4.8 after six and 3.9 after nine
    launches, with 96 to 98 % inside the 90 % interval.
    """
    first, seventh, inside = [], [], []
    for n, shape in enumerate(RISES):
        rng = np.random.default_rng([2032, n])
        for _ in range(16):
            chances = unknown()
            for number in range(8):
                rises = find_launch(launch_felt(shape, rng), None, None, None).rises
                middle, sd = under(rises, of_launch(chances))
                if number == 0:
                    first.append(middle)
                if number >= 6:
                    seventh.append(middle)
                    inside.append(abs(middle) < 1.645 * sd)
                chances = after(chances, rises.likelihood)
    rms = [float(np.sqrt(np.mean(np.square(errors)))) for errors in (first, seventh)]
    print(
        f"{1e3 * rms[0]:.1f} ms the first time, {1e3 * rms[1]:.1f} ms after six launches, {np.mean(inside):.2f} inside"
    )
    assert rms[1] < 0.65 * rms[0]
    assert rms[1] < 0.0065
    assert np.mean(inside) >= 0.85
