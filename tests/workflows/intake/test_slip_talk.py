"""Questions about a slip: what is offered, what is refused and why, going back. No terminal."""

from __future__ import annotations

import csv
import io

import pytest

from runlog.workflows.intake.slip_talk import LastTime, SlipTalk, as_file

TODAY = "2031-08-01"
LAST = LastTime(
    cars=("heron", "wigeon"),
    usual_car="heron",
    numbers={("heron", TODAY): 3, ("heron", "2031-04-12"): 10},
    slips={"heron": {"track": "lowfield", "lane": "left", "purpose": "330"}},
)
COLUMNS = ("car", "date", "run", "time", "track", "lane", "purpose", "reaction_s", "t60_s", "t330_s", "t660_s",
           "v660_mph", "t1000_s", "t1320_s", "v1320_mph", "true_to_ft", "spoiled", "note")  # fmt: skip


def talk(speed_unit: str = "mph", **said: str) -> SlipTalk:
    return SlipTalk({**dict.fromkeys(COLUMNS), **said}, LAST, TODAY, "10:05", speed_unit)


def answer(one: SlipTalk, **answers: str) -> dict[str, str | None]:
    """Answer every question by its column, with Enter where nothing is said; refuse a refusal."""
    while (question := one.question()) is not None:
        assert one.answer(answers.get(question.column, "")) is None
    return one.said


def test_what_was_so_last_time_is_offered_and_enter_takes_it():
    said = answer(talk(), t60_s="1.41", t330_s="3.85")
    assert {name: text for name, text in said.items() if text} == {
        "car": "heron", "date": TODAY, "run": "4", "time": "10:05", "track": "lowfield", "lane": "left",
        "purpose": "330", "t60_s": "1.41", "t330_s": "3.85",
    }  # fmt: skip


def test_beyond_the_planned_distance_nothing_is_asked():
    asked = []
    one = talk()
    while (question := one.question()) is not None:
        asked.append(question.column)
        one.answer("full" if question.column == "purpose" else "")
    assert asked == list(COLUMNS)
    asked.clear()
    one = talk()
    while (question := one.question()) is not None:
        asked.append(question.column)
        one.answer("60" if question.column == "purpose" else "")
    assert set(COLUMNS) - set(asked) == {"t330_s", "t660_s", "v660_mph", "t1000_s", "t1320_s", "v1320_mph"}


def test_another_day_has_its_own_next_run_and_no_clock():
    one = talk()
    one.answer("heron")
    one.answer("2031-04-12")
    question = one.question()
    assert question is not None
    assert question.offered == "11"
    one.answer("")
    question = one.question()
    assert question is not None
    assert (question.column, question.offered) == ("time", "")


def test_what_was_said_by_an_option_is_not_asked():
    one = talk(car="heron", date=TODAY)
    question = one.question()
    assert question is not None
    assert question.column == "run"


@pytest.mark.parametrize(
    ("column", "text", "told"),
    [
        ("car", "egret", "no car 'egret' in the logbook; there are: heron, wigeon"),
        ("date", "yesterday", "found 'yesterday'; accepted: a date such as 2031-04-12"),
        ("run", "0", "found '0'; accepted: a run number from 1 to 9999"),
        ("time", "25:00", "found '25:00'; accepted: a clock time such as 10:05"),
        ("lane", "middle", "found 'middle'; accepted: left or right"),
        ("t60_s", "fast", "found 'fast'; accepted: seconds from 0.3 to 99"),
        ("t330_s", "1.2", "found 1.200 s at 330 ft, not above 1.410 s at 60 ft; accepted: times that grow"),
        ("v660_mph", "900", "found '900'; accepted: miles per hour from 5 to 400"),
        ("v660_mph", "12 psi", "'12 psi' is no speed; accepted: a number in mph, or one with its unit"),
        ("run", "-", "a slip needs it: run of the day"),
    ],
)
def test_a_wrong_answer_says_why_and_is_asked_again(column, text, told):
    one = talk()
    while (question := one.question()) is not None and question.column != column:
        before = {"purpose": "full", "t60_s": "1.41", "t330_s": "3.85", "t660_s": "5.9"}
        assert one.answer(before.get(question.column, "")) is None
    wrong = one.answer(text)
    assert wrong is not None
    assert wrong.startswith(told)
    again = one.question()
    assert again is not None
    assert again.column == column


def test_going_back_asks_again_and_forgets_the_answer():
    one = talk()
    assert one.answer("<") == "this is the first question"
    one.answer("wigeon")
    assert one.answer("<") is None
    question = one.question()
    assert question is not None
    assert (question.column, one.said["car"]) == ("car", None)


def test_a_dash_leaves_blank_what_is_offered():
    said = answer(talk(), track="-", t60_s="1.41")
    assert said["track"] is None


@pytest.mark.parametrize(("unit", "text"), [("km/h", "194.72"), ("mph", "194.72 km/h"), ("km/h", "54.089 m/s")])
def test_a_speed_may_be_in_the_units_of_the_page(unit, text):
    """A mile is 1609.344 m, exactly (1959)."""
    said = answer(talk(unit), purpose="full", t60_s="1.41", t330_s="3.85", t660_s="5.9", v660_mph=text)
    assert float(said["v660_mph"] or 0) == pytest.approx(194.72 / 1.609344, rel=1e-5)


def test_the_slip_is_kept_as_the_file_that_would_have_said_it():
    said = answer(talk(), t60_s="1.41", note='he said "lift", twice')
    [row] = csv.DictReader(io.StringIO(as_file(said).decode()))
    assert (row["car"], row["t60_s"], row["note"]) == ("heron", "1.41", 'he said "lift", twice')
    assert "t660_s" not in row
