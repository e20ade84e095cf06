"""Clocks that begin anew in a file, and lines written twice. What is true of a file is made with it."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from runlog.problems import FileFaults, Problems
from runlog.readers.channel_map import ChannelMap
from runlog.readers.logger_csv import open_text, read_logger
from runlog.readers.recording import recordings

HEAD = "Time [s],Engine RPM [rpm],Oil Pressure [psi]\n"


def lines(seed: int, count: int, start: float = 0.0, rate: float = 50.0) -> list[str]:
    noise = np.random.default_rng(seed)
    return [f"{start + n / rate:.3f},{noise.integers(900, 9000)},{noise.uniform(20, 90):.2f}\n" for n in range(count)]


def parts(*blocks: list[str], head: str = HEAD):
    problems = Problems("log.csv")
    text = head + "".join(line for block in blocks for line in block)
    return recordings(open_text(text.encode(), problems), ChannelMap(), problems)


def content(log):
    return [(c.name, c.canonical, c.time.round(6).tolist(), c.values.tolist()) for c in log.channels]


@settings(deadline=None, max_examples=40)
@given(counts=st.lists(st.integers(60, 200), min_size=1, max_size=4), start=st.sampled_from([0.0, -2.0, 12.5]))
def test_recordings_one_behind_the_other_are_read_as_each_alone(counts, start):
    blocks = [lines(seed, count, start) for seed, count in enumerate(counts)]
    alone = [read_logger((HEAD + "".join(block)).encode(), "log.csv") for block in blocks]
    together = parts(*blocks)
    assert [content(log) for log in together] == [content(log) for log in alone]
    for log, one in zip(together, alone, strict=True):
        assert (log.times[0].start, log.times[0].end) == pytest.approx((one.times[0].start, one.times[0].end))
        assert log.times[0].rate_hz == one.times[0].rate_hz


@settings(deadline=None, max_examples=40)
@given(data=st.data())
def test_lines_written_twice_are_left_out(data):
    block = lines(1, 120)
    end = data.draw(st.integers(2, 120))
    begin = data.draw(st.integers(0, end - 2))
    (log,) = parts(block[:end], block[begin:end], block[end:])
    assert content(log) == content(read_logger((HEAD + "".join(block)).encode(), "log.csv"))
    assert f"{end - begin} line(s) that repeat lines above them left out" in log.warnings


def test_a_line_that_is_overtaken_is_left_out():
    block = lines(1, 300)
    late = [*block[:100], block[101], block[100], *block[102:]]
    (log,) = parts(late)
    assert log.channels[0].values.size == 299
    assert "1 line(s) that stand after later ones left out" in log.warnings
    with pytest.raises(FileFaults, match="time falls"):
        parts([*block[:100], block[150], *block[100:150], *block[151:]])  # fifty steps too early: something else


@pytest.mark.parametrize("units", ["", "s,rpm,psi\n"])
def test_a_header_that_stands_again_among_the_samples_is_left_out(units):
    head = "Time,RPM,Oil Pressure\n" + units
    block = lines(1, 120)
    (log,) = parts(block[:50], [head], block[50:], head=head)
    assert content(log) == content(parts(block, head=head)[0])
    assert "the header stands again 1 time(s) among the samples and was left out" in log.warnings
    assert not [said for said in log.warnings if "hold words" in said]
    falls = [*block[:60], "0.500,1,1\n"]
    with pytest.raises(FileFaults, match=f"line {63 + len(units.splitlines()) * 2}, column Time: found time falls"):
        parts(falls[:50], [head], falls[50:], block[61:62], head=head)


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (lines(1, 100), lines(2, 100, start=1.0)),  # into the middle, with other numbers
        (lines(1, 100), lines(2, 5)),  # too short to be a recording
        (lines(1, 100), [*lines(2, 50)[:30], *lines(3, 50)[20:]]),  # falls again at once
    ],
)
def test_what_is_neither_stays_a_fault(first, second):
    with pytest.raises(FileFaults, match=r"line 102, column Time: found time falls from 1\.98 s"):
        parts(first, second)


def test_start_of_a_later_recording_by_the_clock_of_the_day():
    def clock(minute: int) -> list[str]:
        return [f"2031-04-12 10:{minute}:{n / 20:06.3f},{900 + n}\n" for n in range(100)]

    first, second = parts(clock(31), clock(12), head="Time,Engine RPM [rpm]\n")
    assert (first.started_at, second.started_at) == (
        dt.datetime(2031, 4, 12, 10, 31),
        dt.datetime(2031, 4, 12, 10, 12),
    )


def test_start_of_a_later_recording_is_not_known_from_seconds():
    block = ["Date: 2031-04-12 10:20:00\n", HEAD, *lines(1, 60)]
    first, second = parts(block, lines(2, 60), head="")
    assert first.started_at == dt.datetime(2031, 4, 12, 10, 20)
    assert second.started_at is None


def test_a_reader_of_one_recording_refuses_two():
    with pytest.raises(FileFaults, match="found 2 recordings; accepted: one recording"):
        read_logger((HEAD + "".join(lines(1, 60) + lines(2, 60))).encode(), "log.csv")


def two_rates(seed: int, count: int, start: float = 0.0) -> list[str]:
    """Two time columns side by side, the second with a fifth of the samples and blank below its last."""
    noise = np.random.default_rng(seed)
    slow = [f"{start + n / 10:.3f},{noise.uniform(20, 90):.2f}" for n in range(count // 5)]
    fast = [f"{start + n / 50:.3f},{noise.integers(900, 9000)}" for n in range(count)]
    return [f"{one},{other}\n" for one, other in zip(fast, slow + [","] * (count - len(slow)), strict=True)]


TWO = "Time [s],Engine RPM [rpm],Time [s],Oil Pressure [psi]\n"


@settings(deadline=None, max_examples=25)
@given(counts=st.lists(st.integers(110, 250), min_size=1, max_size=3), start=st.sampled_from([0.0, -2.0, 7.5]))
def test_several_time_columns_begin_anew_together(counts, start):
    blocks = [two_rates(seed, count, start) for seed, count in enumerate(counts)]
    alone = [read_logger((TWO + "".join(block)).encode(), "log.csv") for block in blocks]
    together = parts(*blocks, head=TWO)
    assert [content(log) for log in together] == [content(log) for log in alone]
    assert all(len({channel.time.size for channel in log.channels}) == 2 for log in together)


def test_lines_written_twice_are_left_out_of_every_time_column():
    block = two_rates(3, 200)
    (log,) = parts(block[:80], block[60:], head=TWO)
    assert content(log) == content(read_logger((TWO + "".join(block)).encode(), "log.csv"))
    assert any("20 line(s) that repeat" in warning for warning in log.warnings)


def test_a_lap_timer_beside_the_time_is_a_channel():
    text = "Time [s],Lap Time [s],Engine RPM\n" + "".join(
        f"{n / 50:.2f},{n % 60 / 50:.2f},{1000 + n}\n" for n in range(300)
    )
    (log,) = parts([text], head="")
    assert log.times[0].end == pytest.approx(299 / 50)
    assert "Lap Time" in [channel.name for channel in log.channels]
