"""The air of a run, interpolated between readings."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runlog.records import AirReading, Track
from runlog.workflows.air.of_run import air_at, pressure_question, state_of

DAY = dt.date(2031, 4, 12)
NORTH = Track("lowfield", 34.0, heading_deg=0.0)


def reading(hour: int, minute: int = 0, **more: float) -> AirReading:
    values = {"temperature": 290.0, "relative_humidity": 0.5, "station_pressure": 1e5} | more
    return AirReading(dt.datetime.combine(DAY, dt.time(hour, minute)), source="station pressure", **values)


def at(hour: int, minute: int = 0, days: int = 0) -> dt.datetime:
    return dt.datetime.combine(DAY, dt.time(hour, minute)) + dt.timedelta(days=days)


TWO = [reading(10), reading(11, temperature=294.0, relative_humidity=0.4, station_pressure=99_800.0)]


def test_a_quarter_of_the_way_is_a_quarter_of_the_change():
    air = air_at(TWO, DAY, at(10, 15), None)
    # by hand: 290 + 4/4; 0.5 − 0.1/4; 100000 − 200/4
    assert air.temperature == pytest.approx(291.0)
    assert air.relative_humidity == pytest.approx(0.475)
    assert air.station_pressure == pytest.approx(99_950.0)
    assert air.source == "station pressure, interpolated 10:00–11:00"


@pytest.mark.parametrize(("minute", "expected"), [(0, 290.0), (59, 290.0 + 4 * 59 / 60)])
def test_at_a_reading_it_is_that_reading(minute, expected):
    assert air_at(TWO, DAY, at(10, minute), None).temperature == pytest.approx(expected)


@pytest.mark.parametrize(
    ("time", "expected"),
    [
        (dt.time(9, 0), 290.0),
        (dt.time(8, 30), 290.0),  # 90 minutes before
        (dt.time(8, 29), None),
        (dt.time(11, 0), 294.0),
        (dt.time(12, 30), 294.0),
        (dt.time(12, 31), None),
    ],
)
def test_outside_the_readings_the_nearest_within_reach(time, expected):
    air = air_at(TWO, DAY, dt.datetime.combine(DAY, time), None)
    assert (air and air.temperature) == expected
    if air:
        assert air.source.startswith("station pressure, read 1")


@pytest.mark.parametrize(
    ("hour", "minute", "expected"),
    [(10, 0, 290.0), (11, 30, 290.0), (11, 31, None), (14, 29, None), (14, 30, 294.0), (16, 0, 294.0)],
)
def test_a_gap_of_more_than_three_hours_is_not_bridged(hour, minute, expected):
    """Twice what a single reading reaches: with 90 minutes each way, three hours."""
    far = [reading(10), reading(16, temperature=294.0)]
    air = air_at(far, DAY, at(hour, minute), None)
    assert (air and air.temperature) == expected
    bridged = air_at([reading(10), reading(13, temperature=296.0)], DAY, at(11, 30), None)
    assert bridged.temperature == pytest.approx(293.0)  # by hand: half way


def test_around_midnight_the_evening_and_the_night_are_one():
    evening, night = reading(23, 30), reading(0, 30, temperature=286.0)
    night = replace(night, time=night.time + dt.timedelta(days=1))
    # by hand: a quarter of the way from 290 to 286, and half of it
    assert air_at([evening, night], DAY, at(23, 45), None).temperature == pytest.approx(289.0)
    assert air_at([evening, night], DAY, at(0, 0, days=1), None).temperature == pytest.approx(288.0)
    assert air_at([evening], DAY + dt.timedelta(days=1), at(0, 50, days=1), None).temperature == 290.0
    # a run whose time nobody noted has the mean of its own day alone
    assert air_at([evening, night], DAY, None, None).temperature == 290.0


def test_a_run_without_a_time_takes_the_mean_of_the_day():
    air = air_at(TWO, DAY, None, None)
    assert air.temperature == pytest.approx(292.0)
    assert air.source == "station pressure, mean of the day's 2 readings"


def test_no_readings_no_air():
    assert air_at([], DAY, at(10), None) is None
    assert air_at([], DAY, None, None) is None


@pytest.mark.parametrize(
    ("speed", "origin", "along"),
    [
        (5.0, 180.0, 5.0),  # from behind on a track that runs north
        (5.0, 0.0, -5.0),
        (5.0, 90.0, 0.0),
        (0.0, None, 0.0),
        (5.0, None, None),
        (None, 90.0, None),
    ],
)
def test_wind_along_the_track(speed, origin, along):
    found = state_of(reading(10, wind_speed=speed, wind_from_deg=origin), NORTH).wind_along
    assert found is None if along is None else found == pytest.approx(along, abs=1e-12)


def test_wind_needs_the_tracks_heading():
    windy = reading(10, wind_speed=5.0, wind_from_deg=180.0)
    assert state_of(windy, None).wind_along is None
    assert state_of(windy, Track("x", 0.0)).wind_along is None


def test_wind_is_the_nearest_readings_and_surface_is_shared_where_both_have_it():
    windy = [
        reading(10, wind_speed=5.0, wind_from_deg=180.0, track_temperature=300.0),
        reading(11, wind_speed=3.0, wind_from_deg=0.0, track_temperature=310.0),
    ]
    early, late = (air_at(windy, DAY, at(10, minute), NORTH) for minute in (15, 45))
    assert (early.wind_along, late.wind_along) == (pytest.approx(5.0), pytest.approx(-3.0))
    assert early.track_temperature == pytest.approx(302.5)
    assert air_at([windy[0], reading(11)], DAY, at(10, 45), NORTH).track_temperature == 300.0


@given(st.integers(0, 59), st.floats(250, 320), st.floats(250, 320), st.floats(8e4, 1.05e5), st.floats(8e4, 1.05e5))
def test_between_two_readings_it_lies_between_them(minute, t1, t2, p1, p2):
    pair = [
        reading(10, temperature=t1, station_pressure=p1), reading(11, temperature=t2, station_pressure=p2)
    ]  # fmt: skip
    air = air_at(pair, DAY, at(10, minute), None)
    assert min(t1, t2) - 1e-9 <= air.temperature <= max(t1, t2) + 1e-9
    assert min(p1, p2) - 1e-6 <= air.station_pressure <= max(p1, p2) + 1e-6


def test_a_station_pressure_that_looks_like_an_altimeter_setting_is_asked_about():
    # at 1609 m the station pressure of the standard atmosphere is 834 hPa (ISO 2533); 1013 hPa there is a setting
    high = Track("upfell", 1609.0)
    assert pressure_question(state_of(reading(10, station_pressure=101_325.0), high), high) is not None
    assert pressure_question(state_of(reading(10, station_pressure=83_400.0), high), high) is None
    assert pressure_question(None, high) is None
    assert pressure_question(state_of(reading(10), None), None) is None
