"""The run record: defaults from last time, combinations, columns for learning, parts, and a damp surface."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from runlog.learning import fit_car
from runlog.learning.forecast import forecast
from runlog.problems import FileFaults
from runlog.readers.crew import read_crew, write_crew
from runlog.records import Car, CrewFact, RunKey
from runlog.results import AirState, RunResult
from runlog.workflows.lessons.combinations import APART, combination_columns
from runlog.workflows.lessons.conditions import conditions_of
from runlog.workflows.lessons.learn import Subject, make_lesson
from runlog.workflows.record.of_runs import combination, damp_surface, records_of

DAY = dt.date(2032, 5, 1)
CAR = Car("sedge", 1180.0, 2.667, 600e3, 2.54, 4.1)
KEYS = [RunKey("sedge", DAY, n) for n in (1, 2, 3, 4)]


def fact(what: str, number: int | None, **content: Any) -> CrewFact:
    at = dt.datetime(2032, 5, 1, 9 + (number or 0))
    return CrewFact(f"{what}{number}", what, "sedge", DAY, number, at, "", content)


def test_a_replaced_part_makes_another_combination_from_its_run_on():
    found = records_of(KEYS, [fact("combination", 3, part="engine", name="No. 2")])
    assert [combination(found[key]) for key in KEYS] == ["", "", "engine No. 2", "engine No. 2"]


def test_naming_the_tyres_that_are_on_the_car_is_no_replacement():
    said = [fact("start_record", 2, tyre_set="A", tyre_runs=4), fact("start_record", 4, tyre_set="B")]
    found = records_of(KEYS, said)
    assert [found[key]["parts"]["tyre set"] for key in KEYS] == ["A", "A", "A", "B"]
    assert found[KEYS[1]]["tyre_runs"] == 4


def rows(*records: dict[str, Any]) -> list[RunResult]:
    return [RunResult(key, record=record, lane="left") for key, record in zip(KEYS, records, strict=True)]


def test_what_was_recorded_reaches_learning_by_name():
    said = [fact("start_record", 1, driver="ann", tyre_set="A", tyre_runs=4, surface="96 °F", fuel="30 lb")]
    found = records_of(KEYS, said)
    made = conditions_of(rows(*(found[key] for key in KEYS)), {})
    assert made[0]["driver"] == "ann"
    assert made[0]["tyre age"] == 4
    assert made[0]["surface temperature"] == pytest.approx(308.706, abs=0.001)  # 96 °F, by definition
    assert made[0]["fuel"] == pytest.approx(30 * 0.45359237)
    assert "driver" not in made[1]


def test_another_combination_has_a_level_of_its_own_and_the_run_to_come_none():
    engines = [{"parts": {}}, {"parts": {"engine": "1"}}, {"parts": {"engine": "2"}}, {"parts": {"engine": "2"}}]
    columns = combination_columns(rows(*engines))
    assert {name: column.tolist() for name, column in columns.items()} == {
        "combination before": [APART, 0.0, 0.0, 0.0],
        "combination engine 1": [0.0, APART, 0.0, 0.0],
    }
    assert combination_columns(rows({}, {}, {}, {})) == {}


def test_learning_keeps_the_level_of_another_engine_apart():
    """A new engine gains 0.3 s between the quarter's beams: the run to come is foretold from its own runs alone."""
    levels = [9.30, 9.31, 9.29, 9.30, 9.00, 9.01]
    keys = [RunKey("sedge", DAY, n) for n in range(1, 7)]
    made = [
        RunResult(
            key, time=dt.time(8 + key.number), valid_to_ft=60, times={60: level - 8.0},
            record={"parts": {"engine": "2"} if key.number > 4 else {}},
        )
        for key, level in zip(keys, levels, strict=True)
    ]  # fmt: skip
    apart, mixed = (
        fit_car(make_lesson(Subject(CAR, ()), runs).runs, ())
        for runs in (made, [replace(run, record={}) for run in made])
    )
    own, both = (forecast(fit, np.empty(0), DAY.toordinal(), 15.0, None).splits[0].mean_s for fit in (apart, mixed))
    assert own == pytest.approx(1.005, abs=0.03)
    assert both > own + 0.02


@pytest.mark.parametrize(
    ("surface_f", "damp"),
    [(70.0, False), (60.0, False), (57.0, True)],
)
def test_a_surface_at_or_below_the_dew_point_is_warned_of(surface_f, damp):
    """20 °C at 70 % has its dew point at 14.4 °C, 57.9 °F (WMO Guide No. 8, Magnus form; worked by hand)."""
    air = AirState(293.15, 0.7, 100_000.0, 1.18, 0.96, 300.0, None, None, "")
    said = damp_surface((surface_f + 459.67) / 1.8, air)
    assert (said is not None) is damp
    assert said is None or "dew point 58 °F" in said
    assert damp_surface(None, air) is None


def test_a_report_is_read_with_every_fault_at_once():
    content = write_crew(
        {
            "what": "driver_report", "car": "sedge", "date": "2032-05-01", "run": 1, "at": "2032-05-01T10:00",
            "moved": "up", "front_wheel_height": "six",
        }
    )  # fmt: skip
    with pytest.raises(FileFaults) as caught:
        read_crew(content, "report.json")
    assert len(caught.value.problems) == 2
