"""Questions about what the car file and the scales' sheets say: each answer tells the line that mends it, by hand."""

from __future__ import annotations

import dataclasses
import datetime as dt

import pytest

from runlog.readers.car import read_car
from runlog.records import CrewFact, RunKey, Sheet, SheetEntry, Slip
from runlog.workflows.questions.answers import gather
from runlog.workflows.questions.case import RunCase
from runlog.workflows.questions.of_sheet import sheet_questions

CAR = """[car]
name = "sedge"
race_weight = "2600 lb"
wheelbase = "105 in"
power = "800 hp"
tyre_circumference = "100 in"
final_drive = 4.1
gear_ratios = [1.8, 1.0]
"""
KEY = RunKey("sedge", dt.date(2032, 5, 1), 1)
FOUND = {"launch_engine_speed": None, "shifts": [{"engine_speed": 750.0}]}


def case(**more: object) -> RunCase:
    car = read_car(CAR.encode(), "sedge.toml")
    plain = RunCase(Slip(KEY), car, None, 1320, 0.2286, None, None, (), {}, None, (), (), {}, None)
    return dataclasses.replace(plain, **more)


def test_a_gear_ratio_that_the_trace_does_not_bear_out_is_told_as_the_line_to_write():
    (question,) = sheet_questions(case(found={**FOUND, "last_gear_ratio": 1.32}), None)
    assert "write gear_ratios = [1.8, 1.32] there" in question.answers[0].text
    (later,) = sheet_questions(case(found={**FOUND, "last_gear_ratio": 1.34}), None)
    assert later.id == question.id, "asked once for the car, not again by every run"
    assert list(sheet_questions(case(found={**FOUND, "last_gear_ratio": 1.05}), None)) == []


@pytest.mark.parametrize(
    ("off", "inches", "ratio"), [(0.05, "95.2", "4.30"), (-0.1, "111.1", "3.69")], ids=["high", "low"]
)
def test_a_circumference_that_the_slips_do_not_bear_out_is_told_as_the_line_to_write(off, inches, ratio):
    """Wheels that read high by 5 %: a circumference of 100/1.05 in, or a ratio of 4.1 × 1.05; low by 10 %: 0.9."""
    (question,) = sheet_questions(case(), (off, 0.005))
    lines = [answer.text for answer in question.answers]
    assert f'write tyre_circumference = "{inches} in" in the car file' in lines[0]
    assert f"write final_drive = {ratio} in the car file" in lines[1]


def answered(name: str) -> CrewFact:
    at = dt.datetime(2032, 5, 1, 12, 0)
    return CrewFact("x", "answer", "sedge", KEY.date, 1, at, "", {"question": name, "key": "c", "effect": None})


def test_what_was_answered_about_the_car_is_answered_for_all_its_runs():
    (question,) = sheet_questions(case(), (0.05, 0.005))
    assert gather("sedge", [answered(question.id)]).of_the_car() == {question.id}
    assert gather("sedge", [answered("lift-1234")]).of_the_car() == set()
    assert gather("knot", [answered(question.id)]).of_the_car() == set()


def test_the_lines_that_make_two_weighings_comparable_are_told():
    corners = ("left front", "right front", "left rear", "right rear")
    weights = [SheetEntry(f"weight {corner}", 650.0, "lb", "650") for corner in corners]
    noted = [SheetEntry(item, None, "", "yes") for item in ("level pads", "wheelie bars clear", "suspension settled")]
    fuel = [SheetEntry("fuel", 30.0, "lb", "30")]
    psi = [SheetEntry(f"{end} tyre pressure", 10.0, "psi", "10") for end in ("front", "rear")]
    base = Sheet("sedge", None, 1, True, (*weights, *noted, *fuel, *psi))
    now = Sheet("sedge", KEY.date, 1, False, (*weights, *noted, *fuel))
    (question,) = sheet_questions(case(sheets=(base, now)), None)
    assert question.answers[1].text == (
        "yes: write what is missing into the sheet of each weighing, such as driver weight,180,lb · "
        "anti-roll link disconnected,yes,"
    )
