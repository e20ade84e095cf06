"""Runs laid over each other: identities, and constant accelerations in closed form."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from runlog.signals.overlay import (
    Trail,
    at_distances,
    at_times,
    difference_by_distance,
    difference_by_time,
    time_difference,
    times_at,
    won_or_lost,
)


def constant(acceleration: float, lasts: float = 9.0, rate: float = 100.0, start: float = 0.0) -> Trail:
    time = np.arange(start, lasts, 1.0 / rate)
    moving = time.clip(0)
    return Trail(time, 0.5 * acceleration * moving**2, acceleration * moving)


@st.composite
def trails(draw) -> Trail:
    """A car that never goes backwards, with stops, at any times."""
    steps = draw(st.lists(st.floats(0.001, 0.5), min_size=3, max_size=40))
    speeds = np.array(draw(st.lists(st.floats(0.0, 80.0), min_size=len(steps), max_size=len(steps))))
    time = np.cumsum(steps)
    distance = np.concatenate(([0.0], np.cumsum(np.diff(time) * 0.5 * (speeds[1:] + speeds[:-1]))))
    return Trail(time - time[0], distance, speeds)


places = st.lists(st.floats(0.0, 400.0), min_size=2, max_size=20).map(lambda found: np.array(sorted(found)))


@settings(deadline=None)
@given(trail=trails(), at=places)
def test_a_run_does_not_differ_from_itself(trail, at):
    for difference in (
        time_difference(trail, trail, at),
        difference_by_distance((trail, trail.speed), (trail, trail.speed), at),
        difference_by_time((trail, trail.speed), (trail, trail.speed), at / 50),
    ):
        assert np.nan_to_num(difference) == pytest.approx(np.zeros(difference.size))


@settings(deadline=None)
@given(one=trails(), two=trails(), at=places)
def test_swapped_runs_differ_by_the_opposite(one, two, at):
    assert time_difference(one, two, at) == pytest.approx(-time_difference(two, one, at), nan_ok=True)
    assert won_or_lost(one, two, at) == pytest.approx(-won_or_lost(two, one, at), nan_ok=True)
    by_distance = [difference_by_distance((a, a.speed), (b, b.speed), at) for a, b in ((one, two), (two, one))]
    assert by_distance[0] == pytest.approx(-by_distance[1], nan_ok=True)


@settings(deadline=None)
@given(one=trails(), two=trails(), three=trails(), at=places)
def test_differences_add_up(one, two, three, at):
    """Over the stations to the whole, and over a third run."""
    whole = time_difference(one, two, at)
    parts = won_or_lost(one, two, at)
    if np.isfinite(whole).all():
        assert parts.sum() == pytest.approx(whole[-1] - whole[0], abs=1e-9)
    by_way_of = time_difference(one, three, at) + time_difference(three, two, at)
    both = np.isfinite(whole) & np.isfinite(by_way_of)
    assert by_way_of[both] == pytest.approx(whole[both], abs=1e-9)


def test_constant_accelerations():
    """√(2 d / a) from rest (closed form); distance is linear between samples, so within 0.1 ms from 20 m on."""
    slow, fast = constant(10.0), constant(12.5)
    at = np.array([20.0, 100.0, 300.0])
    assert times_at(slow, at) == pytest.approx(np.sqrt(2 * at / 10.0), abs=1e-4)
    expected = np.sqrt(2 * at / 12.5) - np.sqrt(2 * at / 10.0)
    assert time_difference(slow, fast, at) == pytest.approx(expected, abs=2e-4)
    assert difference_by_distance((slow, slow.speed), (fast, fast.speed), at) == pytest.approx(
        np.sqrt(2 * 12.5 * at) - np.sqrt(2 * 10.0 * at), abs=0.01
    )
    assert difference_by_time((slow, slow.speed), (fast, fast.speed), np.array([1.0, 4.0])) == pytest.approx([2.5, 10])


def test_clocks_start_at_the_origin():
    """From the beam at 0.25 m, not from rest: √(2 (d + r) / a) − √(2 r / a) (closed form)."""
    slow, fast = constant(10.0, rate=1000.0), constant(12.0, rate=1000.0)
    at, r = np.array([18.3, 100.0]), 0.25
    expected = [np.sqrt(2 * at / a) - np.sqrt(2 * r / a) for a in (10.0, 12.0)]
    assert time_difference(slow, fast, at, r) == pytest.approx(expected[1] - expected[0], abs=1e-4)
    assert time_difference(slow, fast, np.array([r]), r)[0] == 0.0


def test_standstill_before_the_launch_is_not_counted():
    waiting = constant(10.0, start=-2.0)
    assert times_at(waiting, np.array([20.0])) == pytest.approx(np.sqrt(4.0), abs=1e-4)


def test_beyond_the_shorter_run_nothing_is_said():
    short = constant(10.0, lasts=2.0)
    found = time_difference(constant(10.0), short, np.array([10.0, 100.0]))
    assert np.isfinite(found).tolist() == [True, False]
    assert np.isnan(at_times(short, short.speed, np.array([5.0]))).all()
    nothing = Trail(*(np.empty(0) for _ in range(3)))
    assert np.isnan(at_distances(nothing, nothing.speed, np.array([1.0]))).all()
    assert nothing.reach == 0.0
