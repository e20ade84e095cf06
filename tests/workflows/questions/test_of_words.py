"""What a sheet calls a thing wrongly is asked about; what it calls rightly isn't. Conventions: common practice."""

from __future__ import annotations

import pytest

from runlog.readers.car import read_car
from runlog.records import SheetEntry
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


def test_a_negative_count_is_asked_about():
    (found,) = asked(CAR, "rear shock extension", -2.0, "click")
    assert "it is counted up from full soft; was it a change by so much?" in found
    assert asked(CAR, "pinion angle", -2.0, "deg") == [], "an angle has two directions"
