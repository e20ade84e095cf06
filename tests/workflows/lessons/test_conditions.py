"""What is recorded of runs beside their settings."""

from __future__ import annotations

import datetime as dt

from runlog.records import Car, RunKey, SheetEntry
from runlog.results import AirState, RunResult
from runlog.workflows.lessons.conditions import by_name, conditions_of
from runlog.workflows.lessons.learn import Subject, make_lesson

DAY = dt.date(2031, 4, 12)


def run(number: int, tyres: str | None, surface: float | None, lane: str | None = None) -> RunResult:
    air = AirState(293.15, 0.5, 101325.0, 1.2, 0.98, 200.0, None, surface, "typed")
    setup = () if tyres is None else (SheetEntry("rear tyre set", None, "set", tyres),)
    times = {60: 1.4 + 0.001 * number}
    return RunResult(RunKey("teal", DAY, number), lane=lane, air=air, times=times, valid_to_ft=60, setup=setup)


ROWS = [
    run(1, "A", 300.0, "left"),
    run(2, "A", 305.0, "right"),
    run(3, "B", None),
    run(4, "A", 315.0),
    run(5, "B", None),
]


def test_runs_on_a_set_are_counted_set_by_set() -> None:
    found = by_name(conditions_of(ROWS, {}))
    assert found["tyre age"] == [0.0, 1.0, 0.0, 2.0, 1.0]
    assert found["surface temperature"] == [300.0, 305.0, None, 315.0, None]
    assert found["lane"] == ["left", "right", None, None, None]
    assert conditions_of([run(1, None, None)], {})[0]["tyre age"] is None


def test_what_the_crew_noted_comes_first_and_may_have_any_name() -> None:
    told = {ROWS[1].key: {"driver": "Ann", "tyre age": 30.0, "surface temperature": None}}
    found = conditions_of(ROWS, told)
    assert (found[1]["driver"], found[1]["tyre age"], found[1]["surface temperature"]) == ("Ann", 30.0, 305.0)
    assert "driver" not in found[0]


def test_the_regression_has_a_column_for_what_differs_and_only_for_that() -> None:
    car = Car("teal", 1200.0, 2.667, 600e3, 2.55, 4.1)
    drivers = {row.key: {"driver": "Ann" if row.key.number < 3 else "Bo"} for row in ROWS}
    lesson = make_lesson(Subject(car, (), conditions=drivers), ROWS)
    assert set(lesson.runs.nuisances) == {"lane", "surface temperature", "tyre age", "driver"}
    alike = [run(number, "A", 300.0, "left") for number in (1,)]
    assert make_lesson(Subject(car, ()), alike).runs.nuisances == {}
    assert lesson.nuisances({"lane": "right", "tyre age": None})["lane"] == 0.5
    assert lesson.nuisances({})["tyre age"] == 0.0
