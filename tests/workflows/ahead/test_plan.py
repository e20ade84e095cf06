"""Plans of the runs that are left: limits, the engine builder's items, shakedown steps, returns, and acceptance."""

from __future__ import annotations

import datetime as dt
import itertools
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from runlog.errors import RunlogError, UsageError
from runlog.learning import Settings, fit_car
from runlog.readers.car import read_car
from runlog.records import Given, RunKey, Sheet, SheetEntry
from runlog.results import RunResult
from runlog.store import proposals
from runlog.workflows.ahead.candidates import candidates, limits
from runlog.workflows.ahead.next_run import Standing
from runlog.workflows.ahead.plan import Left, make_plan, plan_page, shakedown
from runlog.workflows.intake.ingest import add_typed, import_files
from runlog.workflows.intake.rebuild import rebuild
from runlog.workflows.lessons.learn import Subject, make_lesson
from runlog.workflows.runs.page import run_page
from runlog.workflows.setup import in_force

if TYPE_CHECKING:
    from pathlib import Path

    from runlog.store.connection import Logbook

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


def lever(name: str, **more: Any) -> str:
    return f'[[car.adjustable]]\nname = "{name}"\n' + "".join(f"{key} = {value}\n" for key, value in more.items())


def standing(text: str, values: dict[str, float], rows: tuple[RunResult, ...] | None = None) -> Standing:
    """A car with these settings on its sheet after two clean runs to the finish, or after these runs."""
    car = read_car((CAR + text).encode(), "teal.toml")
    sheet = Sheet("teal", None, 1, True, tuple(SheetEntry(name, x, "", f"{x:g}") for name, x in values.items()))
    rows = (run(1), run(2)) if rows is None else rows
    key = RunKey("teal", DAY, len(rows) + 1)
    lesson = make_lesson(Subject(car, [sheet]), rows)
    fit = fit_car(lesson.runs, lesson.levers, Settings(finish_ft=1320, quick=True))
    return Standing(car, key, rows, in_force([sheet], [key])[key], lesson, fit, None, 1320)


def run(number: int, **more: Any) -> RunResult:
    plain = {"time": dt.time(9 + number), "valid_to_ft": 1320, "times": TIMES}
    return RunResult(RunKey("teal", DAY, number), **{**plain, **more})


def path(page: dict[str, Any], item: str) -> list[Any]:
    return [line["value"] for step in page["steps"] for line in step["set"] if line["item"] == item]


# --- what may be proposed ---------------------------------------------------------------------------------------------


@pytest.mark.slow
@example(now=5.0, low=4.0, span=2.0, step=0.25, hole=1, runs=5, changes=1)
@given(
    now=st.floats(5.0, 9.0).map(lambda x: round(x * 4) / 4),
    low=st.floats(4.0, 7.0).map(lambda x: round(x, 2)),
    span=st.floats(0.25, 3.0).map(lambda x: round(x, 2)),
    step=st.sampled_from([0.25, 0.5, 1.0]),
    hole=st.integers(0, 2),
    runs=st.integers(1, 5),
    changes=st.integers(1, 2),
)
@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_no_step_passes_a_limit_and_the_same_question_has_the_same_answer(now, low, span, step, hole, runs, changes):
    high = round(low + span, 2)
    holes = '[{ label = "a" }, { label = "b" }, { label = "c" }]'
    text = lever("rear tyre pressure", low=low, high=high, step=step) + lever("upper link front hole", holes=holes)
    stand = standing(text, {"rear tyre pressure": now, "upper link front hole": float(hole)})
    left = Left(runs=runs, changes_per_gap=changes)
    page = make_plan(stand, left)
    assert page == make_plan(stand, left)
    pressures = path(page, "rear tyre pressure")
    assert all(low - 1e-9 <= value <= high + 1e-9 for value in pressures)
    assert set(path(page, "upper link front hole")) <= {"a", "b", "c"}
    labels = ["abc"[hole], *path(page, "upper link front hole")]
    assert all(abs(ord(one) - ord(two)) <= 1 for one, two in itertools.pairwise(labels)), "no jump past a hole"
    if not low <= now <= high:
        said = " ".join(page["notes"] + page["cautions"])
        assert "outside" in said
        if pressures:
            assert pressures[0] == path({"steps": page["steps"][:1]}, "rear tyre pressure")[0], "put right first"
    assert all(len(one["set"]) <= changes for one in page["steps"][1:])
    assert page["cautions"]


def test_what_risks_the_engine_is_never_proposed():
    text = lever("boost target", low=10, high=30) + lever("launch rpm") + lever("ignition timing")
    stand = standing(text, {"boost target": 18.0, "launch rpm": 4200.0, "ignition timing": 30.0})
    page = make_plan(stand, Left(runs=6, changes_per_gap=2))
    assert {line["item"] for one in page["steps"] for line in one["set"]} == {"launch rpm"}
    assert {row["adjustable"] for row in page["expected"]} == {"launch rpm"}
    assert sum("engine builder only" in note for note in page["notes"]) == 2
    with pytest.raises(RunlogError, match="boost target: risks the engine"):
        make_plan(stand, Left(adjustables=("Boost target",)))


def test_a_link_s_hole_on_one_side_alone_is_never_proposed():
    holes = '[{ label = "1" }, { label = "2" }]'
    text = "".join(lever(f"upper link front hole {side}", unit='"hole"', step=1, holes=holes)
                   for side in ("left", "right")) + lever("launch rpm")  # fmt: skip
    values = {"upper link front hole left": 0.0, "upper link front hole right": 0.0, "launch rpm": 4200.0}
    page = make_plan(standing(text, values), Left(runs=6))
    assert {line["item"] for one in page["steps"] for line in one["set"]} == {"launch rpm"}
    assert sum("one side alone" in note for note in page["notes"]) == 2


def test_launch_and_shift_speeds_stay_under_the_engine_s_limit():
    text = '[car.limits.engine_speed]\nhigh = "7300 rpm"\n' + lever("shift rpm", high=9000) + lever("launch rpm")
    stand = standing(text, {"shift rpm": 7300.0, "launch rpm": 4200.0})
    items = {item.name: item for item in stand.car.adjustables}
    assert limits(stand, items["shift rpm"])[1] == pytest.approx(7300.0)
    assert limits(stand, items["launch rpm"])[1] == pytest.approx(7300.0)
    page = make_plan(stand, Left(runs=4, adjustables=("shift rpm",)))
    assert max(path(page, "shift rpm")) == 7300.0 or path(page, "shift rpm") == [7200.0]
    assert all(value <= 7300.0 for value in path(page, "shift rpm"))


def test_ballast_is_not_taken_off_below_the_weight_of_the_class():
    text = 'minimum_weight = "2580 lb"\n' + lever("ballast rear", low=0) + lever("ballast front", low=0)
    stand = standing(text, {"ballast rear": 50.0, "ballast front": 25.0})
    for item in stand.car.adjustables:
        # 2600 − 25 − 25 = 2550 lb is under 2580 lb, by hand
        assert limits(stand, item)[0] == stand.value(item)
    light = standing(text.replace("2580", "2540"), {"ballast rear": 50.0, "ballast front": 25.0})
    assert [limits(light, item)[0] for item in light.car.adjustables] == [0.0, 0.0]


def test_an_adjustable_that_no_sheet_tells_is_left_out():
    stand = standing(lever("launch rpm") + lever("rear tyre pressure"), {"launch rpm": 4200.0})
    chosen, notes = candidates(stand, ())
    assert [item.name for item in chosen] == ["launch rpm"]
    assert notes == ["rear tyre pressure: left out, no setup sheet tells its setting"]
    with pytest.raises(RunlogError, match="no setup sheet tells"):
        candidates(stand, ["rear tyre pressure"])
    with pytest.raises(UsageError, match="there are: launch rpm, rear tyre pressure"):
        candidates(stand, ["wing angle"])


# --- order and clock --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("reached", "expected"),
    [((), [60, 330, 660, 1320, 1320]), ((60,), [330, 660, 1320, 1320]), ((60, 660, 1320), [1320]), ((1320, 1320), [])],
)
def test_shakedown_steps_come_first_as_the_car_stands(reached, expected):
    """Short hits first, then longer, then full; two clean runs unchanged: common practice, no source."""
    rows = tuple(
        run(n, valid_to_ft=feet, times={mark: time for mark, time in TIMES.items() if mark <= feet})
        for n, feet in enumerate(reached, 1)
    )
    stand = standing(lever("launch rpm"), {"launch rpm": 4200.0}, rows)
    assert list(shakedown(stand)) == expected
    page = make_plan(stand, Left(runs=len(expected) + 3))
    wanted = ["full" if feet == 1320 else str(feet) for feet in expected]
    assert [one["purpose"] for one in page["steps"]][: len(expected)] == wanted
    assert all(one["purpose"] == ("60" if one["short_hit"] else "full") for one in page["steps"][len(expected) :])
    assert not any(one["set"] for one in page["steps"][: len(expected)])
    assert path(page, "launch rpm")
    assert any("signed" in text for text in page["cautions"]) == bool(expected)


def test_a_lost_run_is_no_shakedown_step():
    lost = run(1, clean=False, spoiled="car: spin", valid_to_ft=0)
    assert shakedown(standing(lever("launch rpm"), {"launch rpm": 4200.0}, (lost,)))[0] == 60


def test_what_is_changed_is_changed_back_and_beats_changing_and_staying():
    stand = standing(lever("launch rpm"), {"launch rpm": 4200.0})
    page = make_plan(stand, Left(runs=6, adjustables=("launch rpm",)))
    values = [4200.0, *path(page, "launch rpm")]
    assert len(values) - 1 > len(set(values)) - 1, "a return, not a change and leave"
    whole = next(row for row in page["expected"] if (row["from_ft"], row["to_ft"]) == (0, 1320))
    assert whole["sd_after_s"] < whole["sd_now_s"]
    assert whole["sd_after_s"] <= whole["sd_there_and_back_s"] + 1e-5
    assert whole["sd_after_s"] < whole["sd_change_and_stay_s"]
    assert 0 <= whole["chance_of_verdict"] <= 1
    longer = make_plan(stand, Left(runs=8, adjustables=("launch rpm",)))
    more = next(row for row in longer["expected"] if (row["from_ft"], row["to_ft"]) == (0, 1320))
    assert more["sd_after_s"] < whole["sd_after_s"], "more runs tell more"
    assert more["chance_of_verdict"] > whole["chance_of_verdict"]


def test_the_clock_is_kept():
    stand = standing(lever("launch rpm", minutes=60), {"launch rpm": 4200.0})
    page = make_plan(stand, Left(runs=5, minutes_left=100.0))
    assert len(page["steps"]) == 2
    assert any("2 of 5 runs fit into 100 minutes" in note for note in page["notes"])
    # by hand: the last run was at 11:00; 45 min and, with a change of 60 min, 60 min later
    one = make_plan(stand, Left(runs=3))
    clock = 11 * 60
    for step in one["steps"]:
        clock += max(45, 60 * len(step["set"]))
        assert step["time"] == f"{clock // 60:02d}:{clock % 60:02d}"
        assert step["minutes"] == 60 * len(step["set"])
    assert make_plan(stand, Left(minutes_left=10.0))["steps"] == []


def test_cautions_stand_beside_what_is_moved():
    stand = standing(lever("upper link front hole", holes='[{ label = "1" }, { label = "2" }]'),
                     {"upper link front hole": 0.0})  # fmt: skip
    page = make_plan(stand, Left(runs=3))
    assert set(path(page, "upper link front hole")) == {"1", "2"}
    assert any("front may rise" in text for text in page["cautions"])
    assert "makers come first" in page["cautions"][-1]


# --- in the logbook ---------------------------------------------------------------------------------------------------


@pytest.fixture
def season(book: Logbook, files: Path) -> Logbook:
    import_files(book, [files])
    return book


@pytest.mark.parametrize(
    ("left", "said"),
    [
        (Left(runs=0), "--runs: 0"),
        (Left(runs=40), "--runs: 40"),
        (Left(turnaround_minutes=0), "--turnaround"),
        (Left(minutes_left=-1), "--minutes-left"),
        (Left(changes_per_gap=0), "--changes"),
        (Left(date=dt.date(2031, 1, 1)), "past"),
    ],
)
def test_numbers_that_make_no_sense(season, left, said):
    with pytest.raises(UsageError, match=said):
        plan_page(season, "teal", left)


def test_an_accepted_plan_is_referred_to_until_its_runs_are_made(season):
    last = RunKey("teal", dt.date(2031, 4, 13), 1)
    assert run_page(season, last)["plan"] is None
    page = plan_page(season, "teal", Left(runs=2))
    assert run_page(season, last)["plan"] is None, "looking isn't accepting"
    page = plan_page(season, "teal", Left(runs=2), accept=True)
    assert page["accepted"] is True
    assert [one["run"] for one in page["steps"]] == [2, 3]
    assert run_page(season, last)["plan"] == {"steps": 2, "next": page["steps"][0]}
    assert run_page(season, RunKey("teal", dt.date(2031, 4, 12), 3))["plan"] is None, "another day"
    for number, following in ((2, page["steps"][1]), (3, None)):
        line = f"teal,2031-04-13,{10 + number}:30,{number},left,1.41,3.84,5.86,7.60,9.05\n"
        header = "car,date,time,run,lane,t60_s,t330_s,t660_s,t1000_s,t1320_s\n"
        add_typed(season, "slips", (header + line).encode(), "typed", Given())
        found = run_page(season, replace(last, number=number))["plan"]
        assert found == (None if following is None else {"steps": 2, "next": following})


def test_the_plan_accepted_last_counts_and_all_are_kept(season):
    last = RunKey("teal", dt.date(2031, 4, 13), 1)
    two, three = Left(runs=2), Left(runs=3)
    for left in (two, three, three, two):
        plan_page(season, "teal", left, accept=True)
    shown = run_page(season, last)["plan"]
    assert shown["steps"] == 2
    kept = season.rows("select entry, content from book.main.plan_fact order by entry")
    assert len(kept) == 3
    rebuild(season)
    assert season.rows("select entry, content from book.main.plan_fact order by entry") == kept
    assert run_page(season, last)["plan"] == shown
    assert proposals.plan(season, "teal", dt.date(2031, 4, 12)) is None


def test_cautions_of_what_is_planned_stand_on_the_run_page(season):
    plan_page(season, "teal", Left(runs=3, adjustables=("rear tyre pressure",)), accept=True)
    page = run_page(season, RunKey("teal", dt.date(2031, 4, 13), 1))
    moved = [line["item"] for line in page["plan"]["next"]["set"]]
    said = [text for text in page["cautions"] if "rear tyre pressure" in text]
    assert bool(said) == bool(moved)


def test_a_plan_without_a_run_cannot_be_accepted(season):
    with pytest.raises(RunlogError, match="no run fits into 10 minutes"):
        plan_page(season, "teal", Left(minutes_left=10.0), accept=True)
    assert season.rows("select * from book.main.plan_fact") == []
