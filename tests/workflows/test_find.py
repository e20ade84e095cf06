"""What a word on the command line means."""

from __future__ import annotations

import datetime as dt

import pytest

from runlog.errors import NotFound, UsageError
from runlog.records import Car, RunKey
from runlog.results import RunResult
from runlog.store import facts, results
from runlog.workflows.find import find_car, find_day, find_run

ONE, TWO = dt.date(2031, 4, 12), dt.date(2031, 4, 13)


@pytest.fixture
def season(book):
    places = [("heron", ONE, 1), ("heron", ONE, 2), ("heron", TWO, 1), ("plover", TWO, 1), ("plover", TWO, 2)]
    clocks = [10, 11, 12, 13, 9]
    results.save_run_results(
        book, [RunResult(RunKey(*place), time=dt.time(hour)) for place, hour in zip(places, clocks, strict=True)]
    )
    return book


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (None, "plover/2031-04-13/1"),  # the latest by the clock
        ("heron/2031-04-12/2", "heron/2031-04-12/2"),
        (" Heron/2031-04-12/2", "heron/2031-04-12/2"),
        ("heron/latest", "heron/2031-04-13/1"),
        ("Plover/latest", "plover/2031-04-13/2"),
        ("2", "plover/2031-04-13/2"),
    ],
)
def test_runs(season, text, expected):
    assert str(find_run(season, text)) == expected


@pytest.mark.parametrize(
    ("text", "error", "message"),
    [
        ("1", UsageError, "'1' fits several runs: heron/2031-04-13/1, plover/2031-04-13/1; give one of them in full"),
        ("7", NotFound, "no run 7 on the newest test day"),
        ("heron/2031-04-12/9", NotFound, "no run heron/2031-04-12/9 in the logbook; runs of that day: 1, 2"),
        ("heron/2031-05-12/1", NotFound, "heron ran on 2031-04-12, 2031-04-13"),
        ("teal/2031-04-12/1", NotFound, "cars with runs: heron, plover"),
        ("teal/latest", NotFound, "no run of 'teal'; cars with runs: heron, plover"),
        ("²", UsageError, "'²' is not a run; accepted: car/date/number"),
        ("fast", UsageError, "'fast' is not a run; accepted: car/date/number, car/latest, or a number"),
    ],
)
def test_what_is_no_run(season, text, error, message):
    with pytest.raises(error, match=message):
        find_run(season, text)


def test_a_logbook_without_runs(book):
    with pytest.raises(NotFound, match="no runs yet: import slips, or type one in"):
        find_run(book, None)


@pytest.mark.parametrize(
    ("text", "expected"),
    [("2031-04-12", (None, ONE)), ("heron/2031-04-13", ("heron", TWO)), ("Plover/2031-04-13", ("plover", TWO))],
)
def test_days(season, text, expected):
    assert find_day(season, text) == expected


@pytest.mark.parametrize(
    ("text", "error", "message"),
    [
        ("plover/2031-04-12", NotFound, "no run on plover/2031-04-12"),
        ("12.4.2031", UsageError, "'12.4.2031' is not a day"),
    ],
)
def test_what_is_no_day(season, text, error, message):
    with pytest.raises(error, match=message):
        find_day(season, text)


def test_cars(season):
    assert find_car(season, "Heron") == "heron"
    assert find_car(season, None) == "plover"  # that of the newest run
    with pytest.raises(NotFound, match="no car 'teal' in the logbook; there are: heron, plover"):
        find_car(season, "teal")


def test_cars_without_runs(book):
    with pytest.raises(NotFound, match="the logbook has no car yet: import a car file"):
        find_car(book, None)
    facts.save_car(book, 1, Car("heron", 1200.0, 2.7, 6e5, 2.5, 4.1))
    assert find_car(book, None) == "heron"
    facts.save_car(book, 2, Car("plover", 1200.0, 2.7, 6e5, 2.5, 4.1))
    with pytest.raises(UsageError, match="several cars and no runs yet; give one of: heron, plover"):
        find_car(book, None)
