"""Samples come back on the time base they were logged on."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from runlog.records import LoggedChannel, LoggerFile, RunKey, TimeBase
from runlog.store import traces

KEY = RunKey("heron", dt.date(2031, 4, 12), 3)
FAST, SLOW = np.arange(-1.0, 3.0, 0.005), np.arange(-1.0, 3.0, 0.1)


def channel(name: str, canonical: str | None, time: np.ndarray, seed: int = 0) -> LoggedChannel:
    values = np.random.default_rng(seed).normal(300.0, 900.0, time.size)
    return LoggedChannel(name, canonical, "rpm", 0.9, time, values)


def log(*channels: LoggedChannel) -> LoggerFile:
    base = TimeBase("t", "s", -1.0, 3.0, 200.0)
    return LoggerFile("utf-8", ",", ".", 1, 2, 800, (base,), channels, dt.datetime(2031, 4, 12, 11, 5), "fp")


WHOLE = log(
    channel("RPM", "engine_speed", FAST, 1),
    channel("DS", "driveshaft_speed", FAST.copy(), 2),
    channel("Oil", "oil_pressure", SLOW, 3),
    channel("Aux 7", None, SLOW, 4),
    channel("Late", "coolant_temperature", SLOW[5:], 5),
)


def test_every_channel_comes_back_on_its_own_time_base(book):
    with book.transaction():
        traces.save_trace(book, 1, KEY, WHOLE)
    found = traces.samples(book, KEY)
    assert set(found) == {"engine_speed", "driveshaft_speed", "oil_pressure", "coolant_temperature"}
    for logged in WHOLE.channels:
        if logged.canonical is None:
            continue
        samples = found[logged.canonical]
        assert np.array_equal(samples.time, logged.time)
        # values are kept in single precision: 24 binary digits, so half of 2⁻²³ relative (IEEE 754)
        assert samples.values == pytest.approx(logged.values, rel=2.0**-24, abs=1e-30)
        assert samples.values.dtype == samples.time.dtype == np.float64


def test_equal_time_bases_are_kept_once(book):
    traces.save_trace(book, 1, KEY, WHOLE)
    assert book.rows("select time_base, count(*) from book.main.tick_fact group by all order by all") == [
        (0, FAST.size), (1, SLOW.size), (2, SLOW.size - 5),
    ]  # fmt: skip


def test_the_sample_view_joins_values_to_their_times(book):
    traces.save_trace(book, 1, KEY, WHOLE)
    rows = book.rows("select time, value from book.main.sample where name = 'Aux 7' order by time")
    assert [time for time, _ in rows] == pytest.approx(SLOW)
    assert [value for _, value in rows] == pytest.approx(WHOLE.channels[3].values, rel=2.0**-24)


def test_a_newer_trace_of_the_run_stands_and_the_old_one_stays(book):
    traces.save_trace(book, 1, KEY, WHOLE)
    newer = log(channel("RPM", "engine_speed", SLOW, 9))
    traces.save_trace(book, 2, KEY, newer)
    found = traces.samples(book, KEY)
    assert set(found) == {"engine_speed"}
    assert found["engine_speed"].values == pytest.approx(newer.channels[0].values, rel=2.0**-24)
    assert book.row("select count(*) from book.main.trace_fact") == (2,)


def test_another_run_has_no_trace(book):
    traces.save_trace(book, 1, KEY, WHOLE)
    assert traces.samples(book, RunKey("heron", KEY.date, 4)) == {}
    assert traces.runs_with_trace(book) == traces.runs_with_trace(book, "heron") == {KEY}
    assert traces.runs_with_trace(book, "plover") == set()


def test_a_log_without_channels_or_samples_is_still_a_trace(book):
    traces.save_trace(book, 1, KEY, log())
    assert traces.samples(book, KEY) == {}
    empty = LoggedChannel("Oil", "oil_pressure", "psi", 0.9, np.empty(0), np.empty(0))
    traces.save_trace(book, 2, KEY, log(empty))
    assert traces.samples(book, KEY) == {}
    assert book.rows("select name from book.main.channel") == [("Oil",)]
