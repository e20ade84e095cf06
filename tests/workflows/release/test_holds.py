"""Credentials: what has expired, and which ceilings the next run could beat. The arithmetic is worked by hand."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runlog.constants import FOOT, MILE_PER_HOUR
from runlog.problems import FileFaults
from runlog.readers.car import read_car
from runlog.records import Car, RunKey
from runlog.results import RunResult
from runlog.workflows.release.holds import Quick, beaten, expired, expiring, furthest_within, quick_of

CAR = """[car]
name = "teal"
race_weight = "2600 lb"
wheelbase = "105 in"
power = "800 hp"
tyre_circumference = "100 in"
final_drive = 4.1
"""
DAY = dt.date(2031, 4, 12)
TIMES = {60: 1.42, 330: 3.85, 660: 5.87, 1000: 7.61, 1320: 9.07}
QUICK = Quick(TIMES, {1320: 156.0 * MILE_PER_HOUR}, "its runs")


def car(text: str) -> Car:
    return read_car((CAR + text).encode(), "teal.toml")


def credential(kind: str, **said: object) -> Car:
    lines = "".join(f"{key} = {value}\n" for key, value in said.items())
    return car(f'[car.credentials."{kind}"]\n{lines}')


# --- dates ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("expires", "to_ft"), [("2031-04-11", [0]), ("2031-04-12", []), ("2031-04-13", [])], ids=["before", "on", "after"]
)
def test_a_credential_holds_to_the_end_of_its_day(expires, to_ft):
    assert [hold.to_ft for hold in expired(credential("belts", expires=expires), DAY)] == to_ft


def test_without_a_parachute_a_run_may_go_as_far_as_the_car_file_says():
    """660 ft where it is silent: common practice, no source."""
    (hold,) = expired(credential("parachute", expires='"2031-01-31"'), DAY)
    assert (hold.to_ft, hold.why) == (660, "parachute expired on 2031-01-31")
    (hold,) = expired(credential("parachute", expires='"2031-01-31"', without_it_ft=330), DAY)
    assert hold.to_ft == 330


def test_what_expires_within_a_month_is_named():
    assert expiring(credential("helmet", expires="2031-05-12"), DAY) == ["helmet expires on 2031-05-12"]
    assert expiring(credential("helmet", expires="2031-05-13"), DAY) == []
    assert expiring(credential("helmet", expires="2031-04-11"), DAY) == [], "that it has expired is said elsewhere"


# --- ceilings ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("quickest", "holds"), [("9.07 s", 0), ("9.08 s", 1), ("9.06 s", 0)])
def test_a_run_that_could_be_quicker_than_the_certificate_is_held(quickest, holds):
    found = beaten(credential("chassis certificate", quickest=f'"{quickest}"'), QUICK, 1320)
    assert len(found) == holds
    assert all(hold.why == f"chassis certificate allows {quickest.replace(' s', '0')} s to 1320 ft; "
               "its runs could run 9.070 s" for hold in found)  # fmt: skip


def test_a_time_ceiling_leaves_the_run_that_can_t_beat_it_even_rolling_on():
    """From 1000 ft on at the average speed of the last increment, 320 ft in 1.46 s, the time would be the same 9.07 s.

    From 660 ft at 340 ft / 1.74 s = 195.4 ft/s the other 660 ft take 3.38 s: 9.25 s. From 330 ft at 330/2.02 = 163.4
    ft/s: 3.85 + 990/163.4 = 9.91 s. From 60 ft at 270/2.43 = 111.1 ft/s: 1.42 + 1260/111.1 = 12.76 s. By hand.
    """
    (item,) = credential("chassis certificate", quickest='"9.20 s"').credentials
    assert furthest_within(item, QUICK, 1320) == 660
    (item,) = credential("chassis certificate", quickest='"9.30 s"').credentials
    assert furthest_within(item, QUICK, 1320) == 330
    (item,) = credential("chassis certificate", quickest='"13 s"').credentials
    assert furthest_within(item, QUICK, 1320) == 0, "even the shortest hit could roll on to less: no run"


def test_a_speed_ceiling_leaves_the_run_to_where_the_car_can_t_be_so_fast():
    """The average speed from 660 to 1000 ft, 133.2 mph, is more than the car has at 660 ft; from 1000 ft on 149.4."""
    assert pytest.approx(133.2, abs=0.05) == 340 * FOOT / 1.74 / MILE_PER_HOUR
    held = credential("tyres", highest_speed='"150 mph"')
    (hold,) = beaten(held, QUICK, 1320)
    assert (hold.to_ft, "150.0 mph; its runs could reach 156.0 mph" in hold.why) == (1000, True)
    (hold,) = beaten(credential("tyres", highest_speed='"140 mph"'), QUICK, 1320)
    assert hold.to_ft == 660
    assert beaten(credential("tyres", highest_speed='"157 mph"'), QUICK, 1320) == []


def test_a_ceiling_for_a_longer_distance_says_nothing_on_a_short_track():
    short = Quick({feet: time for feet, time in TIMES.items() if feet <= 660}, {}, "its runs")
    assert beaten(credential("licence", quickest='"9.9 s"'), short, 660) == []
    assert beaten(credential("licence", quickest='"5.9 s"', quickest_at_ft=660), short, 660)[0].to_ft == 60


@given(st.floats(5.0, 14.0), st.floats(60.0, 200.0))
def test_what_is_left_of_a_run_never_beats_the_ceiling(quickest, mph):
    """Rolling on without slowing down from where the run is to end, as in the bound's own statement."""
    held = credential("licence", quickest=f'"{quickest:.3f} s"', highest_speed=f'"{mph:.2f} mph"')
    (item,) = held.credentials
    assert item.quickest is not None
    assert item.highest_speed is not None
    feet = furthest_within(item, QUICK, 1320)
    assert feet < 1320
    if feet:
        beams = [0, *TIMES]
        after = beams[beams.index(feet) + 1]
        speed = (after - feet) * FOOT / (TIMES[after] - TIMES[feet])
        assert speed <= item.highest_speed + 1e-9
        assert TIMES[feet] + (1320 - feet) * FOOT / speed > item.quickest - 1e-9


def test_only_clean_runs_that_count_say_how_quick_the_car_is():
    lost = RunResult(RunKey("teal", DAY, 1), clean=False, spoiled="car: spin", times={1320: 8.0}, valid_to_ft=0)
    short = RunResult(RunKey("teal", DAY, 2), times={660: 5.5, 1320: 8.5}, speeds={1320: 80.0}, valid_to_ft=660)
    full = RunResult(RunKey("teal", DAY, 3), times=TIMES, speeds={1320: 70.0}, valid_to_ft=1320)
    found = quick_of([lost, short, full], "x")
    assert (found.times[660], found.times[1320], found.speeds) == (5.5, 9.07, {1320: 70.0})


def test_two_opinions_are_joined_on_the_safe_side():
    joined = Quick({60: 1.4}, {1320: 60.0}, "a").join(Quick({60: 1.5, 330: 3.9}, {1320: 65.0}, "b"))
    assert joined == Quick({60: 1.4, 330: 3.9}, {1320: 65.0}, "a or b")


# --- the car file -----------------------------------------------------------------------------------------------------


def test_every_fault_of_a_credential_is_reported():
    with pytest.raises(FileFaults) as caught:
        car(
            '[car.credentials.helmet]\n[car.credentials.licence]\nexpires = "soon"\n[car.credentials.hat]\nnote = "x"\n'
        )
    said = str(caught.value)
    assert "key car.credentials.helmet: found {}; accepted: expires, quickest or highest_speed" in said
    assert "key car.credentials.licence.expires: found 'soon'; accepted: a date such as 2032-03-31" in said
    assert "car.credentials.hat" in said


def test_dates_are_accepted_as_toml_dates_or_text():
    (one,) = credential("belts", expires="2032-03-31").credentials
    (other,) = credential("belts", expires='"2032-03-31"').credentials
    assert one == other
    assert one.expires == dt.date(2032, 3, 31)
