"""Parts at hand, short hits first, what to leave with, work that doesn't fit, and departures from the plan."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from runlog.errors import RunlogError, UsageError
from runlog.learning import Settings, fit_car
from runlog.problems import FileFaults
from runlog.readers.car import read_car
from runlog.records import Given, RunKey, Sheet, SheetEntry
from runlog.results import RunResult
from runlog.store import facts
from runlog.workflows.ahead.next_run import Standing
from runlog.workflows.ahead.plan import Left, make_plan, plan_page
from runlog.workflows.ahead.short_hits import short_ft
from runlog.workflows.intake.ingest import add_typed, import_files
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
GEARS = '[[car.adjustable]]\nname = "final drive"\n{more}'
LAUNCH = '[[car.adjustable]]\nname = "launch rpm"\n'


def standing(
    text: str,
    values: dict[str, float],
    setups: tuple[dict[str, float], ...] = ({}, {}),
    times: tuple[dict[int, float], ...] = (TIMES, TIMES),
) -> Standing:
    """A car with these settings on its sheet after clean runs to the finish at these setups."""
    car = read_car((CAR + text).encode(), "teal.toml")
    sheet = Sheet("teal", None, 1, True, tuple(SheetEntry(name, x, "", f"{x:g}") for name, x in values.items()))
    rows = tuple(
        RunResult(
            RunKey("teal", DAY, n),
            time=dt.time(9 + n),
            valid_to_ft=1320,
            times=times[n % 2],
            setup=tuple(SheetEntry(name, x, "", f"{x:g}") for name, x in {**values, **setup}.items()),
        )
        for n, setup in enumerate(setups, 1)
    )
    key = RunKey("teal", DAY, len(rows) + 1)
    lesson = make_lesson(Subject(car, [sheet]), rows)
    fit = fit_car(lesson.runs, lesson.levers, Settings(finish_ft=1320, quick=True))
    return Standing(car, key, rows, in_force([sheet], [key])[key], lesson, fit, None, 1320)


def path(page: dict[str, Any], item: str) -> list[Any]:
    return [line["value"] for step in page["steps"] for line in step["set"] if line["item"] == item]


# --- parts ------------------------------------------------------------------------------------------------------------


def test_what_takes_another_part_is_left_out_until_it_is_said_what_is_at_hand():
    stand = standing(GEARS.format(more="") + LAUNCH, {"final drive": 4.1, "launch rpm": 4200.0})
    page = make_plan(stand, Left(runs=4))
    assert path(page, "final drive") == []
    assert any("takes another part and none is known to be at hand" in note for note in page["notes"])
    page = make_plan(stand, Left(runs=4, adjustables=("final drive",), parts=("Final Drive = 4.3, 4.56, 3.9",)))
    # the next set on either side of 4.1, not the next but one
    assert set(path(page, "final drive")) <= {4.1, 4.3, 3.9}
    assert path(page, "final drive")
    with pytest.raises(RunlogError, match="none is known to be at hand"):
        make_plan(stand, Left(adjustables=("final drive",)))


def test_the_car_file_tells_what_sets_there_are():
    stand = standing(GEARS.format(more="at_hand = [4.56, 4.3, 4.1]\nhigh = 4.5\n"), {"final drive": 4.3})
    page = make_plan(stand, Left(runs=4))
    assert set(path(page, "final drive")) == {4.1, 4.3}, "4.56 passes the limit"
    # what is said on the day goes before the file
    page = make_plan(stand, Left(runs=4, parts=("final drive=4.4",)))
    assert set(path(page, "final drive")) == {4.3, 4.4}


@pytest.mark.parametrize(
    ("said", "match"),
    [
        ("gears=4.1", "'gears' is no adjustable of teal; there are: final drive"),
        ("final drive=tall", "'tall' is not a number of final drive"),
        ("final drive", "is not a number of final drive"),
    ],
)
def test_parts_that_cannot_be_understood(said, match):
    stand = standing(GEARS.format(more=""), {"final drive": 4.1})
    with pytest.raises(UsageError, match=match):
        make_plan(stand, Left(parts=(said,)))


def test_parts_are_kept_with_the_car(book):
    car = read_car((CAR + GEARS.format(more="at_hand = [4.3, 4.1]\n")).encode(), "teal.toml")
    facts.save_car(book, 1, car)
    assert facts.cars(book)["teal"].adjustable("final drive").at_hand == (4.1, 4.3)
    hole = 'at_hand = [1]\nholes = [{ label = "1" }, { label = "2" }]\n'
    with pytest.raises(FileFaults, match="at_hand or holes, not both"):
        read_car((CAR + '[[car.adjustable]]\nname = "upper link front hole"\n' + hole).encode(), "teal.toml")


@given(
    sets=st.lists(st.floats(3.0, 5.0).map(lambda x: round(x, 2)), min_size=1, max_size=6, unique=True),
    now=st.sampled_from([3.7, 4.1, 4.56]),
    low=st.floats(3.0, 4.0).map(lambda x: round(x, 2)),
    high=st.floats(4.2, 5.0).map(lambda x: round(x, 2)),
    runs=st.integers(2, 4),
)
@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_only_parts_at_hand_within_the_limits_are_ever_fitted(sets, now, low, high, runs):
    stand = standing(GEARS.format(more=f"low = {low}\nhigh = {high}\n"), {"final drive": now})
    page = make_plan(stand, Left(runs=runs, parts=(f"final drive={','.join(map(str, sets))}",)))
    fitted = path(page, "final drive")
    assert set(fitted) <= {*sets, now}
    assert all(low - 1e-9 <= value <= high + 1e-9 for value in fitted)


# --- short hits -------------------------------------------------------------------------------------------------------


def test_a_new_setting_that_may_lift_the_front_is_hit_short_first():
    """W and R by the catalogue; lengths are common practice, no source."""
    page = make_plan(standing(LAUNCH, {"launch rpm": 4200.0}), Left(runs=6))
    seen, now = {4200.0}, 4200.0
    for step in page["steps"]:
        now = next((line["value"] for line in step["set"]), now)
        assert step["purpose"] == ("full" if now in seen else "60")
        assert step["short_hit"] is (now not in seen)
        if step["short_hit"]:
            assert "short hit first" in step["why"]
        seen.add(now)
    assert len(seen) > 1
    tried = standing(LAUNCH, {"launch rpm": 4200.0}, ({}, {}, {"launch rpm": 4400.0}, {"launch rpm": 4000.0}))
    assert {step["purpose"] for step in make_plan(tried, Left(runs=4))["steps"]} == {"full"}


@pytest.mark.parametrize(
    ("name", "length"),
    [
        ("shift rpm", 330),
        ("upper link front hole", 60),
        ("rear tyre pressure", None),
        ("rear tyre pressure left", 60),
        ("anti-roll bar preload", 60),
        ("ballast rear", 60),
        ("pinion angle", None),
        ("final drive", 330),
    ],
)
def test_how_far_the_first_run_at_a_new_setting_goes(name, length):
    holes = 'holes = [{ label = "1" }, { label = "2" }]\n' if "hole" in name else ""
    car = read_car((CAR + f'[[car.adjustable]]\nname = "{name}"\n{holes}').encode(), "teal.toml")
    assert short_ft(car.adjustables[0]) == length


def test_a_car_with_a_new_setting_in_it_goes_short_first_whatever_is_planned():
    text = LAUNCH + '[[car.adjustable]]\nname = "rear tyre pressure"\n'
    values = {"launch rpm": 4600.0, "rear tyre pressure": 7.0}
    stand = standing(text, values, ({"launch rpm": 4200.0}, {"launch rpm": 4200.0}))
    page = make_plan(stand, Left(runs=3, adjustables=("rear tyre pressure",)))
    assert [step["purpose"] for step in page["steps"]] == ["60", "full", "full"]
    assert page["steps"][0]["short_hit"] is True


# --- the clock and the end of the day ---------------------------------------------------------------------------------


def test_work_that_does_not_fit_into_the_turnaround_is_said():
    page = make_plan(standing(LAUNCH + "minutes = 70\n", {"launch rpm": 4200.0}), Left(runs=3))
    assert any("70 minutes of work don't fit into 45" in note for note in page["notes"])
    short = make_plan(standing(LAUNCH, {"launch rpm": 4200.0}), Left(runs=3))
    assert not any("don't fit" in note for note in short["notes"])


def test_the_setting_to_leave_with_is_one_that_was_run_with_its_chance():
    quick = {60: 1.38, 330: 3.79, 660: 5.80, 1000: 7.53, 1320: 8.98}
    setups = tuple({"launch rpm": value} for value in (4200.0, 4400.0) * 3)
    stand = standing(LAUNCH, {"launch rpm": 4200.0}, setups, (quick, TIMES))
    (leave,) = make_plan(stand, Left(runs=2))["leave_with"]
    assert leave["value"] == 4400.0
    assert leave["chance_now"] > 0.6
    assert leave["chance_after"] >= leave["chance_now"] - 1e-6
    assert set(leave["among"]) >= {4200.0, 4400.0}


# --- departures -------------------------------------------------------------------------------------------------------


@pytest.fixture
def season(book: Logbook, files: Path) -> Logbook:
    import_files(book, [files])
    return book


def test_the_run_page_tells_how_a_run_departed_from_the_plan(season):
    page = plan_page(season, "teal", Left(runs=3, adjustables=("launch rpm",)), accept=True)
    first = page["steps"][0]
    assert first["run"] == 2
    key = RunKey("teal", dt.date(2031, 4, 13), 2)
    slip = (
        "car,date,time,track,run,lane,t60_s,t330_s,t660_s,t1000_s,t1320_s\n"
        "teal,2031-04-13,11:15,lowfield,2,left,1.41,3.84,5.86,7.60,9.05\n"
    )
    add_typed(season, "slips", slip.encode(), "typed", Given())
    wanted = [
        {"what": line["item"], "planned": line["value"], "done": line["from"], "unit": line["unit"]}
        for line in first["set"]
    ]
    if first["purpose"] != "full":
        wanted.append({"what": "distance", "planned": int(first["purpose"]), "done": 1320, "unit": "ft"})
    assert wanted, "the plan changes something at once or starts short"
    assert run_page(season, key)["off_plan"] == wanted
    # as planned, once the sheet says so
    lines = [f"teal,2031-04-13,2,{line['item']},{line['value']},{line['unit']}\n" for line in first["set"]]
    add_typed(season, "sheet", ("car,date,run,item,value,unit\n" + "".join(lines)).encode(), "typed", Given())
    from runlog.workflows.results.derive import refresh

    refresh(season)
    assert {row["what"] for row in run_page(season, key)["off_plan"]} <= {"distance"}
    assert run_page(season, RunKey("teal", dt.date(2031, 4, 12), 3))["off_plan"] == []
