"""Limits, batteries and sensors as events, each put there at a known time of a run whose distance is known."""

from __future__ import annotations

import numpy as np
import pytest

from runlog.records import ChannelLimit, Samples
from runlog.signals.analysis import analyse
from runlog.signals.limits import Span
from runlog.signals.trouble import battery_sags

TIME = np.arange(0.0, 25.0, 0.02)


def noisy(value: float, spread: float, seed: int) -> np.ndarray:
    return value + np.random.default_rng(seed).normal(0.0, spread, TIME.size)


def test_what_goes_wrong_is_an_event_with_time_place_and_confidence(true_run, vary):
    run = vary(true_run, rates={"acceleration_x": 200.0, "driveshaft_speed": 100.0}, noise={"acceleration_x": 0.2})
    after = TIME - run.launch
    engine = noisy(600.0, 1.0, 1) + np.where((after > 3.0) & (after < 3.5), 150.0, 0.0)
    battery = noisy(13.9, 0.02, 2) - np.where((after > 2.0) & (after < 2.6), 2.0, 0.0)
    fuel = noisy(4e5, 1e3, 3)
    fuel[np.searchsorted(after, 4.0)] = 9e5  # one sample
    oil = np.minimum(5e5 + 1e5 * np.sin(3.0 * after) + noisy(0.0, 2e3, 4), 5.9e5)
    engine[(after > 5.0) & (after < 6.5)] = 605.0
    keep = (after < 5.0) | (after > 5.6)
    samples = run.samples() | {
        "engine_speed": Samples(TIME, engine),
        "battery_voltage": Samples(TIME, battery),
        "fuel_pressure": Samples(TIME, fuel),
        "oil_pressure": Samples(TIME, oil),
        "coolant_temperature": Samples(TIME[keep], np.full(int(keep.sum()), 350.0)),
    }
    found = analyse(samples, vary(run.setting, limits=(ChannelLimit("engine_speed", high=700.0),)))
    told = {event.name: event for event in reversed(found.events)}
    clipped = next(t for n, t in enumerate(after) if t >= 0.0 and (oil[n : n + 5] == 5.9e5).all())
    for name, when, text in (
        ("overspeed", 3.0, "engine speed: 7"),  # 750 rad/s are 7,162 rpm
        ("battery sag", 2.0, "the battery falls to 11."),
        ("spikes", 4.0, "fuel_pressure has 1 spikes"),
        ("clipping", clipped, "oil_pressure sticks at its highest value"),
        ("flat line", 5.0, "engine_speed doesn't move"),
        ("dropout", 5.0, "coolant_temperature has no samples from"),
    ):
        event = told[name]
        assert text in event.text, name
        assert event.time == pytest.approx(when, abs=0.06), name
        assert event.distance == pytest.approx(run.motion(np.array([event.time]))[0][0], abs=2.0), name
        assert 0.5 <= event.confidence <= 0.95, name
    assert [event.time for event in found.events] == sorted(event.time for event in found.events)
    assert all(event.distance is not None for event in found.events)


def test_a_sag_is_against_the_level_before_the_launch_and_not_of_a_cranking_engine():
    """1 V, or 12.5 V of a 12 V system: common practice, no source."""
    span = Span(launch=10.0, end=18.0)
    engine = Samples(TIME, np.where(TIME < 2.0, 20.0, 600.0))  # rad/s
    dips = lambda level, depth: Samples(TIME, level - np.where((TIME > 12) & (TIME < 13), depth, 3.0 * (TIME < 2.0)))  # noqa: E731
    for level, depth, count in ((16.2, 0.8, 0), (16.2, 1.3, 1), (13.8, 0.8, 0), (13.2, 0.8, 1)):
        good = {"engine_speed": engine, "battery_voltage": dips(level, depth)}
        sags = battery_sags(good, span, set())
        assert len(sags) == count, (level, depth)
        assert all(sag.time == pytest.approx(2.0, abs=0.05) for sag in sags)
