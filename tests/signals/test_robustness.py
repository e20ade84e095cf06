"""Whatever a file holds, the analysis returns findings that make sense or none, and never fails."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from runlog.constants import SPLIT_DISTANCES_FT
from runlog.records import ChannelLimit, Samples, TraceFindings
from runlog.signals.analysis import Setting, analyse
from runlog.vocabulary import CHANNEL_BY_NAME

SETTING = Setting(2.6, 4.1, (2.5, 1.8, 1.0), limits=(ChannelLimit("engine_speed", high=800.0),))
CHANNELS = (
    "acceleration_x",
    "driveshaft_speed",
    "ground_speed",
    "front_wheel_speed",
    "engine_speed",
    "throttle",
    "launch_switch",
    "oil_pressure",
    "pitch_angle",
)


def check(found: TraceFindings) -> None:
    times = [found.splits[feet][0] for feet in SPLIT_DISTANCES_FT if feet in found.splits]
    assert all(np.isfinite(time) and time > 0 for time in times)
    assert times == sorted(times)
    assert all(np.isfinite(sd) and sd > 0 for _, sd in found.splits.values())
    for array in (found.time, found.distance, found.speed):
        assert array is None or np.isfinite(array).all()
    for number in (found.launch_time, found.launch_time_sd, found.peak_acceleration, found.peak_slip, found.lift_time):
        assert number is None or np.isfinite(number)
    assert found.launch_time is not None or found.warnings


@st.composite
def channel(draw, name: str) -> Samples:
    word = CHANNEL_BY_NAME[name]
    rng = np.random.default_rng(draw(st.integers(0, 10_000)))
    count = draw(st.integers(0, 1500))
    step = draw(st.sampled_from([0.001, 0.01, 0.05, 0.5]))
    time = draw(st.floats(-100, 1e5)) + np.cumsum(rng.uniform(0.2, 1.8, count) * step)
    shape = draw(st.sampled_from(["noise", "walk", "constant", "step", "ramp", "spikes"]))
    unit = {
        "noise": rng.random(count),
        "walk": np.clip(0.5 + np.cumsum(rng.normal(0, 0.02, count)), 0, 1),
        "constant": np.full(count, 0.3),
        "step": (np.arange(count) > count // 3) * 1.0,
        "ramp": np.linspace(0, 1, count),
        "spikes": (rng.random(count) < 0.02) * 1.0,
    }[shape]
    values = word.low + (word.high - word.low) * unit
    if draw(st.booleans()):
        values = np.where(rng.random(count) < 0.1, np.nan, values)
    return Samples(time, values)


@pytest.mark.slow
@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(data=st.data())
def test_any_channels_give_sense_or_nothing(data):
    names = data.draw(st.sets(st.sampled_from(CHANNELS), max_size=5))
    check(analyse({name: data.draw(channel(name)) for name in names}, SETTING, data.draw(SLIPS)))


SLIPS = st.one_of(st.none(), st.just({}), st.just({60: 1.5, 330: 4.2}), st.just({60: 9.0, 1320: 1.0}))


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(begin=st.floats(0, 20), length=st.floats(0, 15))
def test_any_piece_of_a_run_gives_sense_or_nothing(true_run, vary, begin, length):
    rates = {"acceleration_x": 100.0, "driveshaft_speed": 100.0, "engine_speed": 50.0, "throttle": 20.0}
    whole = vary(true_run, rates=rates).samples()
    pieces = {}
    for name, samples in whole.items():
        keep = (samples.time >= begin) & (samples.time <= begin + length)
        pieces[name] = Samples(samples.time[keep], samples.values[keep])
    check(analyse(pieces, SETTING))


def test_a_sample_a_day_before_or_after_costs_no_memory(true_run, vary):
    """A clock that was wrong or a logger left on: what is looked at is the run, not all the time between."""
    run = vary(true_run, rates={"acceleration_x": 100.0, "driveshaft_speed": 100.0, "ground_speed": 50.0})
    samples = run.samples()
    far = {
        name: Samples(
            np.concatenate(([channel.time[0] - 86_400.0], channel.time, [channel.time[-1] + 86_400.0])),
            np.concatenate(([0.0], channel.values, [0.0])),
        )
        for name, channel in samples.items()
    }
    tracemalloc.start()
    found = analyse(far, run.setting)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 64 << 20
    assert found.launch_time == pytest.approx(analyse(samples, run.setting).launch_time, abs=0.2)


def test_what_was_sampled_once_in_an_hour_is_no_run(true_run):
    """Time in another unit than it says makes a run of seconds into one of weeks."""
    stretched = {name: Samples(item.time * 360_000, item.values) for name, item in true_run.samples().items()}
    found = analyse(stretched, true_run.setting)
    check(found)
    assert found.launch_time is None


def test_the_input_is_not_changed(true_run):
    samples = true_run.samples()
    before = {name: (channel.time.copy(), channel.values.copy()) for name, channel in samples.items()}
    analyse(samples, true_run.setting, true_run.splits())
    for name, (time, values) in before.items():
        assert np.array_equal(samples[name].time, time)
        assert np.array_equal(samples[name].values, values)


def test_the_logger_clock_does_not_matter(true_run):
    """Moving the clock by a day moves the launch and nothing else."""
    samples = true_run.samples()
    moved = {name: Samples(channel.time + 86_400.0, channel.values) for name, channel in samples.items()}
    one, two = (analyse(each, true_run.setting) for each in (samples, moved))
    assert abs(two.launch_time - one.launch_time - 86_400.0) < 1e-3
    assert all(abs(one.splits[feet][0] - two.splits[feet][0]) < 1e-3 for feet in one.splits)
