"""Which run a logger file belongs to: the option, the sidecar, the name, the start time, in this order."""

from __future__ import annotations

import datetime as dt
import os
from pathlib import Path

import pytest

from runlog.problems import FileFaults
from runlog.records import Given, RunKey
from runlog.workflows.intake.resolve import find_run

DAY = dt.date(2031, 4, 12)
START = dt.datetime(2031, 4, 12, 11, 15)


def key(number: int, car: str = "heron") -> RunKey:
    return RunKey(car, DAY, number)


TIMES = {key(1): dt.time(10, 20), key(2): dt.time(11, 17), key(3): dt.time(12, 3), key(4): None}


def found(path, started_at=None, given=None, times=None, logged=(), cars=()):
    return find_run(path, started_at, given or Given(), TIMES if times is None else times, logged, cars)


def refused(path: Path, *args, **kwargs) -> str:
    with pytest.raises(FileFaults) as caught:
        found(path, *args, **kwargs)
    return str(caught.value)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "heron_2031-04-12_3.csv"


def test_each_outranks_the_next(path, tmp_path):
    nameless = tmp_path / "data.csv"
    assert found(nameless, START) == key(2)
    assert found(path, START) == key(3)
    path.with_suffix(".run").write_text("heron/2031-04-12/7\n")
    assert found(path, START) == key(7)
    assert found(path, START, Given(run=key(9))) == key(9)


@pytest.mark.parametrize("content", [b"\xef\xbb\xbfHeron/2031-04-12/7", "heron/2031-04-12/7\r\n".encode("utf-16")])
def test_a_sidecar_as_an_editor_saves_it(path, content):
    path.with_suffix(".run").write_bytes(content)
    assert found(path) == key(7)


@pytest.mark.skipif(os.name == "nt", reason="links need a right of their own there")
def test_a_sidecar_that_is_a_link_is_none(path, tmp_path):
    (tmp_path / "elsewhere").write_text("heron/2031-04-12/7")
    path.with_suffix(".run").symlink_to(tmp_path / "elsewhere")
    assert found(path) == key(3)


@pytest.mark.parametrize("content", ["", "run 7", "heron/2031-04-12/0", "heron/2031-04-12"])
def test_a_sidecar_that_holds_no_key_is_not_passed_over(path, content):
    path.with_suffix(".run").write_text(content)
    assert "sidecar heron_2031-04-12_3.run: found " in (text := refused(path, START))
    assert "accepted: a run key such as heron/2031-04-12/3" in text


@pytest.mark.parametrize(
    ("name", "cars", "expected"),
    [
        ("old_heron_2031-04-12_3", ("heron", "old_heron"), "old_heron/2031-04-12/3"),
        ("log_heron_2031-04-12_3", ("heron",), "heron/2031-04-12/3"),
        ("log-heron-2031-04-12-3", ("heron",), "heron/2031-04-12/3"),
        ("teal_2031-04-12_3", (), "teal/2031-04-12/3"),  # not heard of yet
        ("2031-04-12_3", (), "heron/2031-04-12/3"),  # the only car of that day
    ],
)
def test_cars_in_names(tmp_path, name, cars, expected):
    assert str(found(tmp_path / f"{name}.csv", cars=cars)) == expected


def test_a_name_without_a_car_on_a_day_of_two(tmp_path):
    times = {**TIMES, key(1, "plover"): None}
    path = tmp_path / "2031-04-12_3.csv"
    assert "its name tells 2031-04-12 run 3 but not which car (heron, plover)" in refused(path, times=times)
    assert found(path, given=Given(car="plover"), times=times) == key(3, "plover")


def test_a_clock_time_in_the_name_is_no_run_number(tmp_path):
    assert found(tmp_path / "2031-04-12_10-30-00.csv", START) == key(2)


@pytest.mark.parametrize(
    ("start", "logged", "expected"),
    [
        (START, (), 2),
        (dt.datetime(2031, 4, 12, 11, 37), (), 2),  # 20 minutes after
        (dt.datetime(2031, 4, 12, 10, 45), (key(1),), None),
        (dt.datetime(2031, 4, 12, 11, 38), (), None),
        (START, (key(2),), None),
        (dt.datetime(2031, 4, 13, 11, 17), (), None),
        (None, (), None),
    ],
)
def test_the_nearest_run_that_has_no_trace(tmp_path, start, logged, expected):
    path = tmp_path / "data.csv"
    if expected is None:
        why = "no start time in it" if start is None else "no run without a trace within 20 min of its start"
        assert why in refused(path, start, logged=logged)
    else:
        assert found(path, start, logged=logged) == key(expected)


def test_two_runs_at_the_same_time_are_not_guessed_between(tmp_path):
    times = {key(2): dt.time(11, 17), key(5, "plover"): dt.time(11, 16)}
    path = tmp_path / "data.csv"
    text = refused(path, START, times=times)
    assert "its start 2031-04-12 11:15 is as near to plover/2031-04-12/5 as to heron/2031-04-12/2" in text
    assert found(path, START, Given(car="heron"), times) == key(2)


def test_what_was_tried_is_said(tmp_path):
    text = refused(tmp_path / "data.csv", dt.datetime(2031, 4, 12, 15, 0))
    assert text.endswith(
        "data.csv, its run: found no --run; no data.run; no car, date and number in its name; "
        "no run without a trace within 20 min of its start 2031-04-12 15:00; accepted: a file that tells its run. "
        "Give --run CAR/DATE/NUMBER, or write that key into a file of the same name ending in .run."
    )


def test_a_date_that_may_be_read_either_way_is_asked_about_where_it_matters(tmp_path):
    """5 April or 4 May: a run waits on one of them; with the order said, or the run named, nothing is asked."""
    nameless, april, may = tmp_path / "data.csv", dt.datetime(2031, 4, 5, 11, 15), dt.datetime(2031, 5, 4, 11, 15)
    waiting = {RunKey("heron", may.date(), 1): dt.time(11, 17)}
    with pytest.raises(FileFaults, match="--dates day-first or --dates month-first") as caught:
        find_run(nameless, april, Given(), waiting, (), order_guessed=True)
    assert "its start may be 2031-04-05 or 2031-05-04, and a run waits on 2031-05-04" in str(caught.value)
    both = {**waiting, RunKey("heron", april.date(), 2): dt.time(11, 14)}
    with pytest.raises(FileFaults, match="a run waits on both"):
        find_run(nameless, april, Given(), both, (), order_guessed=True)
    assert find_run(nameless, may, Given(dates="day-first"), both, ()) == RunKey("heron", may.date(), 1)
    assert find_run(tmp_path / "heron_2031-04-12_3.csv", april, Given(), both, (), order_guessed=True) == key(3)
    with pytest.raises(FileFaults, match="no run without a trace"):
        find_run(nameless, april, Given(), {}, (), order_guessed=True)
