"""Runs that the car itself lost: which they are, and that they count against their setting and nowhere else."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy import stats

from runlog.learning import Settings, fit_car
from runlog.learning.spoils import USUAL
from runlog.records import Adjustable, Car, RunKey, Sheet, SheetEntry
from runlog.results import RunResult
from runlog.workflows.lessons.learn import Subject, effects_content, make_lesson
from runlog.workflows.results.spoiled_by import car_caused, whose

ITEM = Adjustable("launch rpm", "rpm", 200.0)
CAR = Car("teal", 1200.0, 2.667, 600e3, 2.55, 4.1, adjustables=(ITEM,))


def entry(value: float) -> SheetEntry:
    return SheetEntry(ITEM.name, value, ITEM.unit, f"{value:g}")


SUBJECT = Subject(CAR, [Sheet("teal", None, 1, True, (entry(4200.0),))])


def run(number: int, value: float, t60: float | None, spoiled: str | None = None, day: int = 12) -> RunResult:
    return RunResult(
        key=RunKey("teal", dt.date(2031, 4, day), number),
        clean=spoiled is None,
        spoiled=spoiled,
        valid_to_ft=0 if t60 is None else 60,
        times={} if t60 is None else {60: t60},
        setup=(entry(value),),
    )


def quicker() -> list[RunResult]:
    """One step is 50 ms quicker to 60 ft, beyond doubt; the scatter is 4 ms."""
    rng = np.random.default_rng(5)
    values = [4200.0, 4400.0, 4400.0, 4200.0] * 4
    return [
        run(n, value, 1.45 - (0.05 if value > 4300 else 0.0) + rng.normal(0, 0.004))
        for n, value in enumerate(values, 1)
    ]


def first(page: dict[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = next(row for row in page["effects"] if row["to_ft"] == 60)
    return found


@pytest.mark.parametrize(
    ("reason", "expected"),
    [
        (None, None),
        ("car: anything", "car"),
        ("Driver: tyre shake", "driver"),  # the class that the crew wrote outranks the words
        ("tyre shake at 30 ft", "car"),
        ("throttle lift at half track", "driver"),
        ("timing: not this run's slip", "timing"),
        ("wrong slip", "timing"),
        ("rain", "track"),
        ("something else", None),
    ],
)
def test_who_spoiled_a_run(reason, expected):
    assert whose(reason) == expected


@pytest.mark.parametrize(
    ("reason", "caused"),
    [
        (None, False),
        ("car: fuel pump gave up", True),
        ("Car : tyre shake", True),
        ("driver: pedalled after a spin", False),
        ("track: oil", False),
        ("timing: part of the beam was blocked", False),
        ("tyre shake at 90 ft", True),
        ("wheels spun on the line", True),
        ("Wheelstand", True),
        ("a part let go", True),
        ("left early: spin", True),
        ("lifted", False),
        ("red light", False),
        ("departed from the groove", False),
    ],
)
def test_reasons(reason: str | None, caused: bool) -> None:
    """Common practice, no source: the crew's own words."""
    assert car_caused(reason) is caused


def test_lost_runs_are_counted_also_without_any_time() -> None:
    rows = [
        *quicker(),
        run(17, 4400.0, None, "car: spin"),
        run(18, 4400.0, None, "driver: lift"),
        run(19, 4400.0, None),
    ]
    lesson = make_lesson(SUBJECT, rows, lost=True)
    assert lesson.runs.keys[16:] == ("teal/2031-04-12/17", "teal/2031-04-12/18")
    assert lesson.runs.car_caused is not None
    assert lesson.runs.car_caused[16:].tolist() == [True, False]
    assert [key[-2:] for key, _ in lesson.left_out] == ["17", "18", "19"]
    assert len(make_lesson(SUBJECT, rows).runs.keys) == 16


def test_a_quicker_setting_that_loses_runs_is_not_said_to_have_helped() -> None:
    plain = effects_content(SUBJECT, quicker(), 1320)
    assert (first(plain)["verdict"], first(plain)["note"], first(plain)["change_made"]["note"]) == ("helped", "", "")
    rows = [*quicker(), run(17, 4400.0, None, "car: spin"), run(18, 4400.0, None, "tyre shake")]
    page = effects_content(SUBJECT, rows, 1320)
    assert first(page)["verdict"] == first(page)["change_made"]["verdict"] == "cannot_tell"
    assert "the car itself lost 2 of 10 runs at the quicker setting, 0 of 8 at the other" in first(page)["note"]
    driver = [replace(row, spoiled="driver: lift") if row.spoiled else row for row in rows]
    assert first(effects_content(SUBJECT, driver, 1320))["verdict"] == "helped"


def test_rates_of_each_setting_against_scipys_beta() -> None:
    rows = [*quicker(), run(17, 4400.0, None, "car: spin"), run(18, 4400.0, None, "tyre shake")]
    (lost,) = effects_content(SUBJECT, rows, 1320)["lost_runs"]
    assert (lost["adjustable"], lost["unit"]) == ("launch rpm", "rpm")
    assert [(item["setting"], item["runs"], item["spoiled"]) for item in lost["settings"]] == [
        (4200, 8, 0),
        (4400, 10, 2),
    ]
    for item in lost["settings"]:
        beta = stats.beta(USUAL[0] + item["spoiled"], USUAL[1] + item["runs"] - item["spoiled"])
        assert item["rate"] == pytest.approx(beta.mean())
        assert [item["lo90"], item["hi90"]] == pytest.approx(beta.ppf([0.05, 0.95]), abs=1e-5)


def test_a_run_without_time_leaves_every_figure_of_the_regression_as_it_was() -> None:
    """Also on a day of its own, and late on a day that others ran on."""
    rows = [*quicker(), run(17, 4200.0, None, "car: spin"), run(1, 4200.0, None, "car: spin", day=19)]
    before, after = make_lesson(SUBJECT, quicker(), lost=True), make_lesson(SUBJECT, rows, lost=True)
    settings = Settings(finish_ft=60)
    one, other = (fit_car(lesson.runs, lesson.levers, settings).effects for lesson in (before, after))
    assert [(e.mean_s, e.lo90_s, e.hi90_s) for e in one] == [(e.mean_s, e.lo90_s, e.hi90_s) for e in other]
    page = effects_content(SUBJECT, rows, 60)
    assert (page["runs_used"], page["days"]) == (16, 1)
