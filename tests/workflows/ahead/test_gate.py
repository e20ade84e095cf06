"""No suggestion passes a limit, an expired credential, a ceiling, a barred setting, a stop item or an unsigned step."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from runlog.learning import Settings, fit_car
from runlog.readers.car import read_car
from runlog.readers.crew import read_crew
from runlog.records import STEPS, CrewFact, RunKey, Sheet, SheetEntry
from runlog.results import RunResult
from runlog.workflows.ahead.next_run import Standing
from runlog.workflows.ahead.plan import Left, make_plan
from runlog.workflows.ahead.testable import why_not
from runlog.workflows.lessons.learn import Subject, make_lesson
from runlog.workflows.release.barred import Trouble
from runlog.workflows.release.clearance import Clearance, assemble
from runlog.workflows.release.steps import CHECKS, Past
from runlog.workflows.setup import in_force

DAY = dt.date(2031, 4, 12)
TIMES = {60: 1.42, 330: 3.85, 660: 5.87, 1000: 7.61, 1320: 9.07}
CAR = """[car]
name = "teal"
race_weight = "2600 lb"
wheelbase = "105 in"
power = "800 hp"
tyre_circumference = "100 in"
final_drive = 4.1
"""
LEVERS = """
[[car.adjustable]]
name = "launch rpm"
low = 3800
high = 4800
[[car.adjustable]]
name = "rear tyre pressure"
low = 5
high = 8
[[car.adjustable]]
name = "ignition timing"
[[car.adjustable]]
name = "boost target"
[[car.adjustable]]
name = "nitrous delay"
[[car.adjustable]]
name = "fuel jet"
"""
VALUES = {"launch rpm": 4200.0, "rear tyre pressure": 6.5, "ignition timing": 30.0, "boost target": 18.0,
          "nitrous delay": 0.5, "fuel jet": 0.08}  # fmt: skip
FEET = {"60": 60, "330": 330, "660": 660, "1000": 1000, "full": 1320}
ENGINE = {"ignition timing", "boost target", "nitrous delay", "fuel jet"}


def standing(text: str, rows: tuple[RunResult, ...], values: dict[str, float] | None = None) -> Standing:
    """A car with its levers on its baseline sheet, before the run after these."""
    car = read_car((CAR + text + LEVERS).encode(), "teal.toml")
    lines = tuple(SheetEntry(name, x, "", f"{x:g}") for name, x in (values or VALUES).items())
    sheet = Sheet("teal", None, 1, True, lines)
    key = RunKey("teal", DAY, len(rows) + 1)
    lesson = make_lesson(Subject(car, [sheet]), rows)
    fit = fit_car(lesson.runs, lesson.levers, Settings(finish_ft=1320, quick=True))
    return Standing(car, key, rows, in_force([sheet], [key])[key], lesson, fit, None, 1320)


def runs(*feet: int) -> tuple[RunResult, ...]:
    """Clean runs of the day to these distances."""
    return tuple(
        RunResult(RunKey("teal", DAY, n), time=dt.time(9 + n), valid_to_ft=far,
                  times={mark: time for mark, time in TIMES.items() if mark <= far})
        for n, far in enumerate(feet, 1)
    )  # fmt: skip


def said(*entries: dict[str, Any]) -> tuple[CrewFact, ...]:
    head = {"car": "teal", "date": "2031-04-12"}
    full = [{**head, "at": f"2031-04-12T10:{n:02d}", **entry} for n, entry in enumerate(entries)]
    return read_crew(json.dumps(full).encode(), "x.json") if full else ()


def signed(step: str) -> dict[str, Any]:
    return {"what": "sign_off", "step": step, "by": "A. Crew", "checks": list(CHECKS[step])}


def cleared(stand: Standing, facts: tuple[CrewFact, ...], troubles: tuple[Trouble, ...] = ()) -> Clearance:
    reached = {max(row.times): row.key for row in stand.rows if row.clean}
    full = [row.key.date for row in stand.rows if row.clean and 1320 in row.times]
    past = Past(len(stand.rows), full[1] if len(full) > 1 else None, reached, min(len(full), 2))
    return assemble(stand.car, stand.key, 1320, DAY, facts, past, troubles)


def furthest(page: dict[str, Any]) -> int:
    return max((FEET[step["purpose"]] for step in page["steps"]), default=0)


def moved(page: dict[str, Any]) -> dict[str, list[float]]:
    found: dict[str, list[float]] = {}
    for step in page["steps"]:
        for line in step["set"]:
            found.setdefault(line["item"], []).append(line["value"])
    return found


@pytest.mark.slow
@given(
    steps=st.sampled_from([0, 2, 3, 4, 5, 6, 6]),
    gone=st.lists(st.sampled_from([60, 330, 660, 1320]), max_size=4),
    paper=st.sampled_from([(), (), ("parachute",), ("belts",), ("parachute", "helmet"), 8.5, 9.5, 13.0]),
    stop=st.sampled_from([False, False, False, True]),
    bar=st.sampled_from([None, ("launch rpm", 4400.0), ("rear tyre pressure", 6.0), ("launch rpm", 4000.0)]),
    now=st.sampled_from([4000.0, 4200.0, 4400.0, 4600.0]),
    count=st.integers(1, 5),
)
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_no_suggestion_passes_anything(steps, gone, paper, stop, bar, now, count):
    """What is allowed is worked out here step by step, apart from the program's way of doing so."""
    expired, quickest = (paper, None) if isinstance(paper, tuple) else ((), paper)
    papers = "".join(f'[car.credentials."{kind}"]\nexpires = 2031-04-11\n' for kind in expired)
    if quickest:
        papers += f'[car.credentials."chassis certificate"]\nquickest = "{quickest} s"\n'
    stand = standing(papers, runs(*gone), {**VALUES, "launch rpm": now})
    facts = said(*map(signed, STEPS[:steps]), *([{"what": "item", "text": "leak", "due": "stop"}] if stop else []))
    troubles = ()
    if bar:
        name, value = bar
        before = {name: SheetEntry(name, VALUES[name], "", "")}
        troubles = (Trouble(RunKey("teal", DAY - dt.timedelta(1), 1), "car: wheelstand",
                            {name: SheetEntry(name, value, "", "")}, before),)  # fmt: skip
    page = make_plan(stand, Left(runs=count), cleared(stand, facts, troubles))

    allowed = [1320]
    # no release facts, but two clean runs to the finish: the car was run before steps were kept
    needs_steps = steps > 0 or gone.count(1320) < 2
    if needs_steps and steps < 6:
        allowed.append([0, 0, 60, 330, 660, 1320][steps])
    allowed += [660 if kind == "parachute" else 0 for kind in expired] + ([0] if stop else [])
    if quickest == 13.0 and 1320 in gone:
        allowed.append(0)
    if quickest == 9.5 and 1320 in gone:
        allowed.append(330)
    assert furthest(page) <= min(allowed)
    assert bool(page["steps"]) <= (min(allowed) > 0)
    if page["clearance"]["to_ft"] < 1320:
        assert page["clearance"]["reasons"]

    paths = moved(page)
    assert not ENGINE & set(paths), "never proposed, whatever they may do for the time"
    assert all(3800 <= rpm <= 4800 for rpm in paths.get("launch rpm", ()))
    assert all(5 <= psi <= 8 for psi in paths.get("rear tyre pressure", ()))
    if bar:
        name, value = bar
        away = 1 if value > VALUES[name] else -1
        assert not any((setting - value) * away >= 0 for setting in paths.get(name, ()))
        in_car = now if name == "launch rpm" else VALUES[name]
        if page["steps"] and (in_car - value) * away >= 0:
            assert name in {line["item"] for line in page["steps"][0]["set"]}, "put right before the first run"
    if needs_steps and steps < 6:
        lines = [line["item"] for step in page["steps"] for line in step["set"]]
        assert set(lines) <= ({bar[0]} if bar else set()), "as the car stands, but for what is barred"


@pytest.mark.parametrize(
    ("now", "bar", "why"),
    [
        (4200.0, None, None),
        (4200.0, 4400.0, None),  # a step down is left
        (3800.0, 4000.0, "a step to either side is barred or past its limits"),
        (4800.0, None, None),
    ],
)
def test_what_the_shop_could_test_on_a_car_passes_the_same_gate(now, bar, why):
    """Limits of 3800 and 4800 rpm, a step of 200 rpm: by hand."""
    name, released = "launch rpm", said(*map(signed, STEPS))
    stand = standing("", runs(1320, 1320), {**VALUES, name: now})
    was = {name: SheetEntry(name, now, "", "")}
    trouble = Trouble(RunKey("teal", DAY - dt.timedelta(1), 1), "car: spin", {name: SheetEntry(name, bar, "", "")}, was)
    gate = cleared(stand, released, (trouble,) if bar else ())
    assert why_not(gate, stand.setup, name) == why
    assert why_not(gate, {}, name) == "no setup sheet tells its setting"
    assert why_not(gate, stand.setup, "wing angle") == "its car file doesn't have it"
    assert "never proposed" in (why_not(gate, stand.setup, "fuel jet") or "")
    assert why_not(cleared(stand, released[:3]), stand.setup, name) == "it is still at a release step"
    stop = cleared(stand, said(*map(signed, STEPS), {"what": "item", "text": "leak", "due": "stop"}))
    assert why_not(stop, stand.setup, name) == "no next run: open stop item: leak"


def test_what_is_past_a_limit_is_put_right_before_the_first_run_or_there_is_none():
    """4800 rpm is the most; of ignition timing nothing is ever proposed, so nothing puts it right."""
    released = said(*map(signed, STEPS))
    stand = standing("", runs(1320, 1320), {**VALUES, "launch rpm": 5000.0})
    page = make_plan(stand, Left(runs=3), cleared(stand, released))
    assert "launch rpm" in {line["item"] for line in page["steps"][0]["set"]}
    assert all(3800 <= rpm <= 4800 for rpm in moved(page)["launch rpm"])
    timing = standing('[car.limits.engine_speed]\nhigh = "7600 rpm"\n', runs(1320, 1320))
    items = tuple(
        replace(item, high=28.0) if item.name == "ignition timing" else item for item in timing.car.adjustables
    )
    timing = replace(timing, car=replace(timing.car, adjustables=items))
    page = make_plan(timing, Left(runs=3), cleared(timing, released))
    assert (page["steps"], page["clearance"]["to_ft"]) == ([], 0)
    assert page["clearance"]["reasons"] == [
        "ignition timing 30 is outside the car file's limits: put it right before a run"
    ]


def test_a_step_is_planned_as_far_as_it_goes_and_no_further():
    stand = standing("", runs(60, 60, 330))
    page = make_plan(stand, Left(runs=5), cleared(stand, said(*map(signed, STEPS[:3]))))
    assert [step["purpose"] for step in page["steps"]] == ["330"]
    assert page["clearance"]["step"] == "330"
    assert any("runlog release teal --sign 330" in note for note in page["notes"])
    assert "release step: 330 ft, not yet signed; 60 ft signed by A. Crew" in page["clearance"]["reasons"]


def test_two_unchanged_clean_runs_come_before_the_first_change():
    """Common practice, no source."""
    signs = said(*map(signed, STEPS))
    for gone, unchanged in (((60, 330, 660, 1320), 1), ((60, 330, 660, 1320, 1320), 0)):
        stand = standing("", runs(*gone))
        page = make_plan(stand, Left(runs=4), cleared(stand, signs))
        assert not any(step["set"] for step in page["steps"][:unchanged])
        assert page["steps"][unchanged]["set"], "then the first change"


def test_they_come_again_after_a_part_was_replaced():
    named = {"what": "combination", "part": "engine", "name": "No. 1", "run": 1}
    facts = said(named, *map(signed, STEPS), {**named, "name": "No. 2", "run": 6}, *map(signed, STEPS))
    stand = standing("", runs(60, 330, 660, 1320, 1320))
    page = make_plan(stand, Left(runs=4), cleared(stand, facts))
    assert [bool(step["set"]) for step in page["steps"]][:3] == [False, False, True]


@pytest.mark.parametrize(("quickest", "feet"), [(8.5, 1320), (9.5, 330)])
def test_a_ceiling_that_the_run_could_beat_shortens_every_run(quickest, feet):
    """9.07 s beats 9.5 s; from 660 ft the car could roll on to 9.25 s, from 330 ft only to 9.91 s, by hand."""
    stand = standing(f'[car.credentials.licence]\nquickest = "{quickest} s"\n', runs(1320, 1320, 1320))
    page = make_plan(stand, Left(runs=3), cleared(stand, ()))
    assert page["clearance"]["to_ft"] == furthest(page) == feet
    assert any("licence allows 9.500 s to 1320 ft" in text for text in page["clearance"]["reasons"]) == (feet == 330)
