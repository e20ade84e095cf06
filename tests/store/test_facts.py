"""Facts come back as the records they were, corrections come on top, and nothing is overwritten."""

from __future__ import annotations

import dataclasses
import datetime as dt
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from runlog.readers.car import read_car
from runlog.records import AirReading, RunKey, Sheet, SheetEntry, Slip, Track
from runlog.store import facts

DEMO = Path(__file__).resolve().parents[2] / "demo_runs"
DAY = dt.date(2031, 4, 12)
KEY = RunKey("heron", DAY, 3)
AS_FIXTURE = settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=30, deadline=None)
TEXT = st.text(st.characters(codec="utf-8", exclude_characters="\0"), min_size=1, max_size=12)
FLOAT = st.floats(-1e6, 1e6)


@pytest.mark.parametrize("path", sorted((DEMO / "cars").glob("*.toml")), ids=lambda path: path.stem)
def test_cars_come_back(book, path):
    car = read_car(path.read_bytes(), path.name)
    facts.save_car(book, 1, car)
    assert facts.cars(book) == {car.name: car}


@AS_FIXTURE
@given(TEXT, FLOAT, st.none() | st.floats(0, 359), TEXT)
def test_tracks_come_back(book, name, elevation, heading, surface):
    book.rows("delete from book.main.track_fact")
    track = Track(name, elevation, heading, 660, 0.25, surface)
    facts.save_track(book, 1, track)
    assert facts.tracks(book)[name] == track


slips = st.builds(
    Slip,
    key=st.builds(RunKey, TEXT, st.dates(), st.integers(1, 9999)),
    time=st.none() | st.times(),
    track=st.none() | TEXT,
    lane=st.none() | TEXT,
    purpose=st.none() | TEXT,
    reaction=st.none() | FLOAT,
    times=st.dictionaries(st.sampled_from([60, 330, 660, 1000, 1320]), FLOAT),
    speeds=st.dictionaries(st.sampled_from([660, 1320]), FLOAT),
    true_to_ft=st.none() | st.integers(0, 1320),
    spoiled=st.none() | TEXT,
    note=st.none() | TEXT,
)


@AS_FIXTURE
@given(slips)
def test_slips_come_back(book, slip):
    book.rows("delete from book.main.slip_fact")
    facts.save_slips(book, 1, [slip])
    assert facts.slips(book) == {slip.key: slip}
    assert facts.slips(book, slip.key.car) == {slip.key: slip}


entries = st.lists(
    st.builds(SheetEntry, TEXT, st.none() | FLOAT, TEXT, TEXT),
    min_size=1,
    max_size=5,
    unique_by=lambda entry: entry.item,
)


@AS_FIXTURE
@given(entries, st.none() | st.dates(), st.integers(1, 99), st.booleans())
def test_sheets_come_back(book, lines, date, number, full):
    book.rows("delete from book.main.sheet_fact")
    facts.save_sheets(book, 1, [Sheet("heron", date, number, full, tuple(lines))])
    ((found),) = facts.sheets(book, "heron")
    assert (found.date, found.number, found.full) == (date, number, full)
    assert sorted(found.entries, key=lambda entry: entry.item) == sorted(lines, key=lambda entry: entry.item)


@AS_FIXTURE
@given(st.builds(AirReading, st.datetimes(), FLOAT, FLOAT, FLOAT, *[st.none() | FLOAT] * 3, TEXT), st.none() | TEXT)
def test_air_comes_back(book, reading, track):
    book.rows("delete from book.main.air_fact")
    facts.save_air(book, 1, [(track, reading)])
    assert facts.air(book, reading.time.date(), track) == [reading]


def test_an_unknown_car_has_nothing(book):
    assert (facts.slips(book, "plover"), facts.sheets(book, "plover"), facts.cars(book)) == ({}, [], {})


# --- corrections


def test_a_corrected_slip_stands_and_the_old_one_stays(book):
    old, new = Slip(KEY, times={60: 1.412}), Slip(KEY, times={60: 1.421}, note="read again")
    other = Slip(RunKey("heron", DAY, 4), times={60: 1.5})
    facts.save_slips(book, 1, [old, other])
    facts.save_slips(book, 2, [new])
    assert facts.slips(book) == {KEY: new, other.key: other}
    rows = book.rows("select entry, t60 from book.main.slip_fact where number = 3 order by entry")
    assert rows == [(1, 1.412), (2, 1.421)]


def test_a_car_told_again_stands_and_the_old_one_stays(book):
    car = read_car((DEMO / "cars" / "heron.toml").read_bytes(), "heron.toml")
    facts.save_car(book, 1, car)
    facts.save_car(book, 2, dataclasses.replace(car, description="new"))
    assert facts.cars(book)["heron"].description == "new"
    assert book.row("select count(*) from book.main.car_fact") == (2,)


def test_air_read_again_at_the_same_time_stands(book):
    time = dt.datetime(2031, 4, 12, 10)
    for entry, kelvin in ((1, 290.0), (2, 291.0)):
        facts.save_air(book, entry, [(None, AirReading(time, kelvin, 0.5, 1e5))])
    assert [reading.temperature for reading in facts.air(book, DAY)] == [291.0]
    assert book.row("select count(*) from book.main.air_fact") == (2,)


def test_the_air_of_another_track_or_day_is_not_taken(book):
    def reading(hour: int, day: int = 12) -> AirReading:
        return AirReading(dt.datetime(2031, 4, day, hour), 290.0 + hour, 0.5, 1e5)

    facts.save_air(
        book, 1, [("lowfield", reading(9)), ("upfell", reading(10)), (None, reading(11)), (None, reading(8, 13))]
    )
    assert facts.air(book, DAY, "lowfield") == [reading(9)]
    assert facts.air(book, DAY, "elsewhere") == [reading(11)]  # none of its own: that of no stated track
    assert facts.air(book, DAY) == [reading(11)]


# --- the order of sheets


def sheet(date: dt.date | None, number: int, full: bool, **values: float) -> Sheet:
    return Sheet("heron", date, number, full, tuple(SheetEntry(i, v, "", f"{v:g}") for i, v in values.items()))


def test_sheets_are_ordered_by_when_they_take_effect(book):
    baseline, first, full, change = (
        sheet(None, 1, True, a=0), sheet(DAY, 2, False, a=1), sheet(DAY, 3, True, a=2), sheet(DAY, 3, False, a=3),
    )  # fmt: skip
    facts.save_sheets(book, 1, [change])
    facts.save_sheets(book, 2, [full, first])
    facts.save_sheets(book, 3, [baseline])
    assert facts.sheets(book, "heron") == [baseline, first, full, change]


def test_a_full_sheet_replaces_an_earlier_one_whole(book):
    facts.save_sheets(book, 1, [sheet(None, 1, True, a=0, b=0)])
    facts.save_sheets(book, 2, [sheet(None, 1, True, a=1)])
    assert facts.sheets(book, "heron") == [sheet(None, 1, True, a=1)]
    assert book.row("select count(*) from book.main.sheet_fact") == (3,)


def test_changes_replace_each_other_item_by_item(book):
    facts.save_sheets(book, 1, [sheet(DAY, 2, False, a=1, b=1)])
    facts.save_sheets(book, 2, [sheet(DAY, 2, False, a=2)])
    items = {line.item: line.value for found in facts.sheets(book, "heron") for line in found.entries}
    assert items == {"a": 2.0, "b": 1.0}


def test_the_cars_that_ran_on_a_day_or_beside_it(book):
    facts.save_slips(book, 1, [Slip(KEY), Slip(RunKey("plover", dt.date(2031, 4, 14), 1))])
    assert facts.cars_near(book, {DAY}) == {"heron"}
    assert facts.cars_near(book, {dt.date(2031, 4, 13)}) == {"heron", "plover"}
    assert facts.cars_near(book, set()) == set()


def test_channel_maps_come_back_newest_first(book):
    facts.save_channel_map(book, 1, "a.toml", "[channels]", "")
    facts.save_channel_map(book, 2, "b.toml", "[time]", "f")
    assert facts.channel_maps(book) == [("b.toml", "[time]", "f"), ("a.toml", "[channels]", "")]
