"""Test days that go past midnight: the run's air, its log and its place on the day's clock."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import numpy as np
import pytest

from runlog.records import Given, RunKey
from runlog.store import facts, results
from runlog.workflows.ahead.forecast import Question, forecast_page
from runlog.workflows.intake.ingest import add_typed, import_files
from runlog.workflows.intake.resolve import from_start
from runlog.workflows.lessons.learn import make_lesson, subject_of
from runlog.workflows.midnight import after_midnight, moment_of

if TYPE_CHECKING:
    from pathlib import Path

    from runlog.store.connection import Logbook

DAY = dt.date(2031, 4, 12)


def key(number: int) -> RunKey:
    return RunKey("teal", DAY, number)


def test_a_clock_that_falls_by_half_a_day_has_passed_midnight():
    times = {key(1): dt.time(22, 40), key(2): dt.time(23, 50), key(3): dt.time(0, 35), key(4): None, key(5): dt.time(1)}
    assert after_midnight(times) == {key(3), key(5)}
    assert moment_of(key(3), dt.time(0, 35), after_midnight(times)) == dt.datetime(2031, 4, 13, 0, 35)
    assert moment_of(key(1), dt.time(22, 40), after_midnight(times)) == dt.datetime(2031, 4, 12, 22, 40)
    # a slip of the pen, 10:50 for 12:50, isn't midnight; neither is a day that begins early
    assert after_midnight({key(1): dt.time(12, 10), key(2): dt.time(10, 50)}) == frozenset()
    assert after_midnight({key(1): dt.time(0, 35), key(2): dt.time(9)}) == frozenset()
    # another car's evening says nothing of this one's morning
    assert after_midnight({RunKey("dab", DAY, 1): dt.time(23), key(2): dt.time(0, 30)}) == frozenset()


def test_a_log_that_starts_after_midnight_finds_its_run():
    times = {key(1): dt.time(23, 20), key(2): dt.time(0, 10)}
    assert from_start(dt.datetime(2031, 4, 13, 0, 8), Given(), times, ())[0] == key(2)
    assert from_start(dt.datetime(2031, 4, 12, 0, 8), Given(), times, ())[0] is None


SLIPS = (
    "car,date,time,track,run,lane,purpose,t60_s,t330_s,t660_s,t1000_s,t1320_s,v1320_mph,spoiled\n"
    "teal,2031-04-12,22:40,lowfield,1,left,full,1.42,3.85,5.87,7.61,9.07,155.5,\n"
    "teal,2031-04-12,23:40,lowfield,2,right,full,1.42,3.85,5.87,7.61,9.07,155.5,\n"
    "teal,2031-04-12,00:40,lowfield,3,right,full,1.44,3.87,5.90,7.64,9.11,155.0,\n"
)
HEADER = "time,temperature_F,relative_humidity_pct,station_pressure_inHg\n"


@pytest.fixture
def night(book: Logbook, files: Path) -> Logbook:
    (files / "slips.csv").write_text(SLIPS)
    (files / "air.csv").write_text(f"{HEADER}2031-04-12T22:30,66,56,29.89\n2031-04-12T23:30,64,60,29.90\n")
    (files / "air_2.csv").write_text(f"{HEADER}2031-04-13T00:30,62,66,29.91\n")
    assert import_files(book, [files / name for name in ("teal.toml", "lowfield.toml", "baseline.csv", "slips.csv",
                               "air.csv", "air_2.csv")]).refused == 0  # fmt: skip
    return book


def test_a_run_after_midnight_sees_the_night_s_readings(night):
    rows = results.run_results(night, "teal")
    celsius = [row.air.temperature - 273.15 for row in rows]
    # by hand in °F: 66 − 2/6, 64 − 2/6, and 62 as read ten minutes before
    assert celsius == pytest.approx([(f - 32) / 1.8 for f in (66 - 1 / 3, 64 - 1 / 3, 62.0)], abs=0.01)
    lesson = make_lesson(subject_of(night, facts.cars(night)["teal"]), rows)
    assert np.diff(lesson.runs.hour) == pytest.approx([1.0, 1.0])


def test_the_next_run_of_the_night_is_the_hour_after(night):
    page = forecast_page(night, "teal", Question())
    assert page["time"] == "01:25:00"
    assert page["air"]["source"].endswith("read 00:30")
    later = forecast_page(night, "teal", Question(time=dt.time(1, 25)))
    assert later["splits"] == page["splits"]


def test_readings_that_come_later_reach_the_runs_of_the_night_before(night):
    add_typed(night, "air", f"{HEADER}2031-04-13T00:50,60,70,29.92\n".encode(), "typed", Given())
    from runlog.workflows.results.derive import refresh

    refresh(night)
    last = results.run_results(night, "teal")[-1]
    # by hand: half way between 62 and 60 °F
    assert last.air.temperature - 273.15 == pytest.approx((61 - 32) / 1.8, abs=0.01)
