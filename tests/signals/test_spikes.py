"""Lone samples far off their neighbours are told; what a car really does isn't."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from runlog.records import Samples
from runlog.signals.health import spikes

TIME = np.arange(800) / 100.0


def engine(noise: float = 3.0) -> np.ndarray:
    """A rise with one gear change of five samples, in rad/s, with seeded noise."""
    speed = np.interp(TIME, [0.0, 2.0, 2.05, 8.0], [440.0, 750.0, 600.0, 780.0])
    return speed + np.random.default_rng(3).normal(0.0, noise, TIME.size)


def test_a_run_with_a_shift_and_noise_has_no_spikes() -> None:
    assert spikes(Samples(TIME, engine())).size == 0


@given(st.lists(st.integers(5, 790), min_size=1, max_size=4, unique=True), st.sampled_from([-1.0, 1.0]))
def test_every_lone_spike_is_found_where_it_is(places: list[int], sign: float) -> None:
    apart = [place for n, place in enumerate(sorted(places)) if n == 0 or place - sorted(places)[n - 1] > 3]
    values = engine()
    values[apart] += sign * 400.0
    np.testing.assert_allclose(spikes(Samples(TIME, values)), TIME[apart])


def test_two_samples_in_a_row_are_not_a_lone_spike() -> None:
    values = engine()
    values[300:302] += 400.0
    assert spikes(Samples(TIME, values)).size == 0


@pytest.mark.parametrize("scale", [0.01, 1.0, 100.0])
def test_the_unit_doesnt_matter(scale: float) -> None:
    values = engine()
    values[300] -= 500.0
    assert spikes(Samples(TIME, scale * values)).tolist() == [TIME[300]]


def test_a_resting_channel_has_none() -> None:
    assert spikes(Samples(TIME, np.zeros(TIME.size))).size == 0
