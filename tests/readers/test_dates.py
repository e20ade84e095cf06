"""Dates in every order, and what settles the order. What is right is Python's own ``strftime`` of the date."""

from __future__ import annotations

import datetime as dt

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from runlog.readers.clock import ambiguous, find_date, read_clock, read_dates
from runlog.readers.logger_csv import read_logger

TELLING = ["%Y-%m-%d", "%Y/%m/%d", "%d-%b-%Y", "%b-%d-%Y", "%d %B %Y", "%B %d, %Y", "%b %d %Y", "%d.%m.%Y", "%Y-%b-%d"]
EITHER = ["%d/%m/%Y", "%m/%d/%Y", "%d-%m-%y"]
ROWS = "".join(f"{n / 10:.1f},{1000 + n}\n" for n in range(10))
HEAD = "Time (s),Engine RPM\n"
COMMAS = (HEAD + ROWS).replace(",", ";").replace(".", ",")


@given(date=st.dates(dt.date(1990, 1, 1), dt.date(2060, 1, 1)), form=st.sampled_from(TELLING))
def test_dates_that_tell_their_order(date, form):
    text = date.strftime(form)
    assert read_dates([text]) == {text: date}
    assert find_date(f"recorded {text} at the track") == date
    assert not ambiguous(text)


@given(
    date=st.dates(dt.date(2000, 1, 1), dt.date(2060, 1, 1)), form=st.sampled_from(["%d/%m/%Y", "%m/%d/%Y", "%d-%m-%y"])
)
def test_the_order_that_is_said_holds_unless_the_figures_contradict_it(date, form):
    text = date.strftime(form)
    assert read_dates([text], form.startswith("%d"))[text] == date


def test_columns_of_dates_with_times():
    days, seconds, _ = read_clock(pl.Series(["01-Jan-2031 10:15:30.5", "Jan-2-2031 00:00:01", "2031/01/03 23:59:59"]))
    assert (days - days[0]).tolist() == [0, 1, 2]
    assert seconds.tolist() == [36930.5, 1.0, 86399.0]


def test_days_that_follow_each_other_show_the_order():
    """A log past midnight: 4 and 5 December, not 12 April and 12 May."""
    dates = read_dates(["04/12/2031", "05/12/2031"])
    assert sorted(dates.values()) == [dt.date(2031, 12, 4), dt.date(2031, 12, 5)]
    dates = read_dates(["04/11/2031", "04/12/2031"])
    assert sorted(dates.values()) == [dt.date(2031, 4, 11), dt.date(2031, 4, 12)]


@pytest.mark.parametrize(
    ("text", "day_first", "date", "guessed"),
    [
        ("Date: 04/12/2031 10:00:00\n" + HEAD + ROWS, None, dt.date(2031, 4, 12), True),
        ("Date: 04/12/2031 10:00:00\n" + HEAD + ROWS, True, dt.date(2031, 12, 4), False),
        ("Date: 04/12/2031 10:00:00\n" + HEAD + ROWS, False, dt.date(2031, 4, 12), False),
        ("Date: 04/13/2031 10:00:00\n" + HEAD + ROWS, True, dt.date(2031, 4, 13), False),
        ("Date: 04/12/2031 10:00:00 AM\n" + HEAD + ROWS, None, dt.date(2031, 4, 12), False),
        ("Date;04/12/2031 10:00:00\n" + COMMAS, None, dt.date(2031, 12, 4), False),
    ],
)  # fmt: skip
def test_what_settles_the_order_of_a_start(text, day_first, date, guessed):
    log = read_logger(text.encode(), "log.csv", day_first=day_first)
    assert log.started_at == dt.datetime.combine(date, dt.time(10))
    assert log.order_guessed is guessed
    assert any("--dates day-first" in warning for warning in log.warnings) is guessed
