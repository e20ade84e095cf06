"""Resampling against exact integrals."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from runlog.records import Samples
from runlog.signals.sampling import between, integral, noise_sd, rate, stretches, usable, window_mean


@given(st.lists(st.floats(0.001, 0.5), min_size=3, max_size=40), st.floats(-5, 5), st.floats(-5, 5))
def test_integral_of_a_line_is_exact_at_uneven_steps(steps, level, slope):
    """∫(c + s t) dt = c t + s t²/2 (closed form)."""
    time = np.cumsum(steps)
    line = Samples(time, level + slope * time)
    at = np.linspace(time[0], time[-1], 17)
    expected = level * (at - time[0]) + slope * (at**2 - time[0] ** 2) / 2
    assert integral(line, at) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("hertz", [5.0, 37.0, 100.0, 990.0])
def test_window_mean_of_a_line_is_the_line(hertz):
    time = np.arange(0, 4, 1 / hertz)
    centres = np.arange(0.5, 3.0, 0.01)
    assert window_mean(Samples(time, 3 - 2 * time), centres, 0.01) == pytest.approx(3 - 2 * centres, abs=1e-9)


def test_window_mean_has_no_value_in_a_gap_or_outside():
    time = np.concatenate((np.arange(0, 1, 0.01), np.arange(2, 3, 0.01)))
    mean = window_mean(Samples(time, np.ones(time.size)), np.array([-0.5, 0.5, 1.5, 2.5, 3.5]), 0.01)
    assert np.isfinite(mean).tolist() == [False, True, False, True, False]


def test_noise_is_estimated_through_a_curve():
    """Sampling error of a robust sd from 4,000 normal draws is about 2 %."""
    time = np.arange(4000) / 100
    noisy = Samples(time, 20 * np.sin(time) + np.random.default_rng(5).normal(0, 0.7, time.size))
    assert noise_sd(noisy) == pytest.approx(0.7, rel=0.1)
    assert noise_sd(Samples(time, 20 * np.sin(time))) < 0.01


def test_small_helpers():
    samples = Samples(np.array([0.0, 0.1, 0.2, 0.3]), np.array([1.0, np.nan, 3.0, 4.0]))
    assert rate(samples) == pytest.approx(10.0)
    assert usable(samples).values.tolist() == [1.0, 3.0, 4.0]
    assert usable(samples, least=4) is None
    assert between(samples, 0.1, 0.2).time.tolist() == [0.1, 0.2]
    assert stretches(np.array([True, True, False, True])) == [(0, 2), (3, 4)]
