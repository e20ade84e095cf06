"""What a sheet calls a thing wrongly is asked about; what it calls rightly isn't. Conventions: common practice."""

from __future__ import annotations

import datetime as dt

import pytest

from runlog.readers.car import read_car
from runlog.records import RunKey, SheetEntry, Slip
from runlog.workflows.questions.case import RunCase
from runlog.workflows.questions.of_sheet import sheet_questions
from runlog.workflows.questions.of_words import doubts

CAR = """[car]
name = "teal"
race_weight = "2600 lb"
wheelbase = "105 in"
power = "800 hp"
tyre_circumference = "100 in"
final_drive = 4.1
""" + "".join(
    f'[[car.adjustable]]\nname = "{name}"\n'
    for name in ("pinion angle", "rear shock extension", "rear tyre pressure", "launch rpm", "front tyre pressure")
)
SIDED = CAR.replace('"rear tyre pressure"', '"rear tyre pressure left"') + (
    '[[car.adjustable]]\nname = "rear tyre pressure right"\n'
)


def asked(text: str, item: str, value: float | None = 2.0, unit: str = "") -> list[str]:
    car = read_car(text.encode(), "teal.toml")
    shown = "words" if value is None else f"{value:g}"
    return [found.text for _, found in doubts(car, [SheetEntry(item, value, unit, shown)])]


@pytest.mark.parametrize(
    ("text", "item", "said"),
    [
        (CAR, "pinion angle to ground", "here pinion angle is meant to the driveshaft"),
        (CAR, "rear shock extension from full stiff", "here rear shock extension is meant in clicks from full soft"),
        (CAR, "cross weight lf + rr", "here cross weight is meant right front and left rear together"),
        (CAR, "rear tyre pressure left", "this car's rear tyre pressure has no sides: was it set on both?"),
        (CAR, "passenger side rear tyre pressure", "rear tyre pressure has no sides"),
        (SIDED, "rear tyre pressure", "this car has one on each side: which was set?"),
        (SIDED, "rear tyre pressure driver side", "is it rear tyre pressure left?"),
        (SIDED, "rh rear tyre pressure", "is it rear tyre pressure right?"),
    ],
)
def test_a_wrong_side_or_reference_is_asked_about(text, item, said):
    (found,) = asked(text, item)
    assert said in found


@pytest.mark.parametrize(
    ("text", "item"),
    [
        (CAR, "pinion angle"), (CAR, "rear shock extension"), (SIDED, "rear tyre pressure left"),
        (CAR, "weight left front"), (CAR, "cross weight"), (CAR, "left front height"),
        (CAR, "rear tyre pressure hot"), (CAR, "tyre set"),
    ],
)  # fmt: skip
def test_what_is_called_rightly_is_not(text, item):
    assert asked(text, item) == []


def offered(text: str, entry: SheetEntry, before: dict[str, float]) -> dict[str, tuple[str, object]]:
    """The answers to the question about a sheet's entry, with what each writes; empty where nothing is asked."""
    car = read_car(text.encode(), "teal.toml")
    was = {name: SheetEntry(name, value, "", f"{value:g}") for name, value in before.items()}
    slip = Slip(RunKey("teal", dt.date(2032, 5, 1), 2))
    case = RunCase(slip, car, None, 1320, 0.2, None, None, (), {**was, entry.item: entry}, was, (), (), {}, None)
    return {item.key: (item.text, item.effect and (item.effect["text"], item.effect["value"]))
            for question in sheet_questions(case, None) for item in question.answers}  # fmt: skip


def test_each_way_that_it_may_have_been_meant_has_a_key():
    both = offered(SIDED, SheetEntry("rear tyre pressure", 6.5, "psi", "6.5"), {})
    assert both["b"][1] == ("rear tyre pressure left; rear tyre pressure right", 6.5)
    assert both["r"] == ("rear tyre pressure right 6.5 psi", ("rear tyre pressure right", 6.5))
    less = SheetEntry("rear shock extension", -2.0, "click", "-2")
    found = offered(CAR, less, {"rear shock extension": 8.0})
    assert found["y"] == ("rear shock extension 6 click", ("rear shock extension", 6.0))
    assert set(offered(CAR, less, {"rear shock extension": 1.0})) == {"k"}, "there is no -1 click"


def test_a_decimal_point_that_slipped_is_asked_about_where_a_limit_shows_it():
    limited = CAR.replace('name = "launch rpm"', 'name = "launch rpm"\nlow = 3000\nhigh = 4600')
    short = SheetEntry("launch rpm", 42.0, "rpm", "42")
    assert offered(limited, short, {"launch rpm": 4000.0})["y"] == ("yes: it was 4200 rpm", ("launch rpm", 4200.0))
    assert offered(limited, SheetEntry("launch rpm", 9000.0, "rpm", "9000"), {"launch rpm": 4000.0}) == {}
    assert offered(CAR, short, {"launch rpm": 4000.0}) == {}, "without a limit nothing shows it"


def test_a_negative_count_is_asked_about():
    (found,) = asked(CAR, "rear shock extension", -2.0, "click")
    assert "it is counted up from full soft; was it a change by so much?" in found
    assert asked(CAR, "pinion angle", -2.0, "deg") == [], "an angle has two directions"
