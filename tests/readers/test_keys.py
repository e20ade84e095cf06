"""Dates, times and run keys as people and loggers write them."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runlog.readers.keys import key_in_name, parse_date, parse_datetime, parse_number, parse_run_key, parse_time
from runlog.records import RunKey

DAY = dt.date(2031, 4, 12)


@pytest.mark.parametrize(
    ("text", "expected"), [(" 2031-04-12 ", DAY), ("2031-02-30", None), ("12/04/2031", None), ("", None)]
)
def test_dates(text, expected):
    assert parse_date(text) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("10:05", dt.time(10, 5)),
        (" 9:05 ", dt.time(9, 5)),
        ("9:05:30.5", dt.time(9, 5, 30, 500_000)),
        ("23:59:59", dt.time(23, 59, 59)),
        ("24:00", None),
        ("10:60", None),
        ("10.05", None),
        ("1005", None),
        ("2:05 pm", None),
        ("", None),
    ],
)
def test_clock_times(text, expected):
    assert parse_time(text) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2031-04-12T10:05", dt.datetime(2031, 4, 12, 10, 5)),
        ("2031-04-12 9:05:30", dt.datetime(2031, 4, 12, 9, 5, 30)),
        ("2031-04-12", None),  # would be midnight
        ("2031-04-12T10:05Z", None),  # whose clock is it?
        ("2031-04-12T10:05+02:00", None),
        ("2031-13-12T10:05", None),
        ("10:05", None),
    ],
)
def test_dates_with_times(text, expected):
    assert parse_datetime(text) == expected


@pytest.mark.parametrize(
    ("text", "expected"), [("1", 1), ("0012", 12), ("0", None), ("²", None), ("-1", None), ("1.0", None)]
)
def test_run_numbers(text, expected):
    assert parse_number(text) == expected


@pytest.mark.parametrize(
    "text",
    [
        "",
        "heron",
        "heron/2031-04-12",
        "heron/2031-04-12/0",
        "heron/2031-04-12/²",
        "heron/12.4.2031/3",
        "he ron/2031-04-12/3",
        "a/b/2031-04-12/3",
        "heron/2031-04-12/3/4",
    ],
)
def test_what_is_no_run_key(text):
    assert parse_run_key(text) is None


@given(
    st.from_regex(r"[a-z0-9][a-z0-9_-]{0,20}", fullmatch=True),
    st.dates(dt.date(1990, 1, 1), dt.date(2100, 1, 1)),
    st.integers(1, 9999),
)
def test_a_run_key_that_is_written_is_read(car, date, number):
    key = RunKey(car, date, number)
    assert parse_run_key(str(key)) == key
    assert parse_run_key(f" {str(key).upper()}\n") == key


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("heron_2031-04-12_3", ("heron", DAY, 3)),
        ("Heron_2031-04-12_3 copy", ("heron", DAY, 3)),
        ("heron-2031-04-12-3", ("heron", DAY, 3)),
        ("heron 2031-04-12 run 12", ("heron", DAY, 12)),
        ("old_heron_2031-04-12_3", ("old_heron", DAY, 3)),  # a car's name may have an underscore
        ("log heron_2031-04-12_run_3", ("heron", DAY, 3)),
        ("2031-04-12_3", (None, DAY, 3)),
        ("heron_2031-04-12_3_02", ("heron", DAY, 3)),
        ("2031-04-12_10-30-00", None),  # a clock time, not run 10
        ("heron_2031-04-12_10.30", None),
        ("heron_2031-04-12_10h30", None),
        ("heron_2031-04-12_103000", None),
        ("heron_2031-04-12_0", None),
        ("heron_2031-13-12_3", None),
        ("heron_12031-04-12_3", None),
        ("heron_run_3", None),
        ("", None),
    ],
)
def test_keys_in_file_names(name, expected):
    assert key_in_name(name) == expected
