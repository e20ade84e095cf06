"""Settings that gave a wheelstand, shake, spin or stop item are barred, also as a return, until released by name."""

from __future__ import annotations

import datetime as dt
import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runlog.readers.car import read_car
from runlog.readers.crew import read_crew
from runlog.records import CrewFact, RunKey, SheetEntry
from runlog.workflows.release.barred import Trouble, bar_words, bars, same_setting, troubles_of

CAR = """[car]
name = "teal"
race_weight = "2600 lb"
wheelbase = "105 in"
power = "800 hp"
tyre_circumference = "100 in"
final_drive = 4.1
[[car.adjustable]]
name = "launch rpm"
[[car.adjustable]]
name = "rear tyre pressure"
[[car.adjustable]]
name = "upper link front hole"
holes = [{ label = "A" }, { label = "B" }, { label = "C" }]
"""
TEAL = read_car(CAR.encode(), "teal.toml")
DAY = dt.date(2031, 4, 12)


def key(number: int) -> RunKey:
    return RunKey("teal", DAY, number)


def setup(rpm: float, psi: float = 7.0, hole: float = 0.0) -> dict[str, SheetEntry]:
    values = {"launch rpm": rpm, "rear tyre pressure": psi, "upper link front hole": hole}
    return {name: SheetEntry(name, value, "", f"{value:g}") for name, value in values.items()}


def said(**entry: Any) -> list[CrewFact]:
    plain = {"what": "setting_released", "car": "teal", "date": "2031-04-12", "at": "2031-04-12T15:00",
             "by": "A. Crew", "text": "shorter bars"}  # fmt: skip
    return list(read_crew(json.dumps({**plain, **entry}).encode(), "x.json"))


STOOD = Trouble(key(5), "car: wheelstand", setup(4400), setup(4200))


def test_what_changed_since_the_last_clean_run_is_barred_and_what_lies_beyond():
    found = bars(TEAL, [STOOD], [])
    assert [(bar.item, bar.value, bar.direction) for bar in found.bars] == [("launch rpm", 4400.0, 1)]
    assert [found.of("launch rpm", rpm) is not None for rpm in (4200.0, 4399.0, 4400.0, 4600.0)] == [
        False,
        False,
        True,
        True,
    ]
    assert found.of("rear tyre pressure", 7.0) is None
    assert found.of("launch rpm", None) is None
    assert (
        bar_words(TEAL, found.bars[0])
        == "launch rpm 4400 rpm and above is barred since teal/2031-04-12/5: car: wheelstand"
    )


def test_a_move_down_bars_what_is_lower():
    found = bars(TEAL, [Trouble(key(5), "car: shake", setup(4200, 6.0), setup(4200, 7.0))], [])
    assert [found.of("rear tyre pressure", psi) is not None for psi in (5.5, 6.0, 6.5, 7.0)] == [
        True,
        True,
        False,
        False,
    ]


def test_a_run_in_an_unchanged_setup_bars_nothing_but_is_told():
    found = bars(
        TEAL,
        [Trouble(key(5), "car: spin", setup(4200), setup(4200)), Trouble(key(1), "car: spin", setup(4200), None)],
        [],
    )
    assert found.bars == ()
    assert [trouble.key.number for trouble in found.unexplained] == [1, 5]


def test_holes_go_by_their_label():
    found = bars(TEAL, [Trouble(key(5), "car: wheelstand", setup(4200, hole=1.0), setup(4200))], [])
    assert "upper link front hole B and above is barred" in bar_words(TEAL, found.bars[0])
    assert bars(TEAL, [Trouble(key(5), "x", setup(4200, hole=1.0), setup(4200))],
                said(setting="upper link front hole", value="b", run=5)).bars == ()  # fmt: skip


@pytest.mark.parametrize(
    ("release", "barred"),
    [
        ({"setting": "launch rpm", "value": "4400", "run": 5}, False),
        ({"setting": "launch rpm", "value": "4400 rpm", "run": 6}, False),
        ({"setting": "launch rpm", "value": "4400.0", "date": "2031-04-13"}, False),
        ({"setting": "launch rpm", "value": "4400", "run": 4}, True),  # said before the run that barred it
        ({"setting": "launch rpm", "value": "4400"}, True),  # of that day, after no run in particular
        ({"setting": "launch rpm", "value": "4600", "run": 5}, True),
        ({"setting": "rear tyre pressure", "value": "4400", "run": 5}, True),
        ({"setting": "launch rpm", "value": "4400", "run": 5, "car": "rail"}, True),
    ],
)
def test_only_a_release_of_that_setting_after_that_run_lifts_it(release, barred):
    assert bool(bars(TEAL, [STOOD], said(**release)).bars) == barred


def test_the_same_setting_is_barred_again_by_a_later_run():
    again = Trouble(key(9), "car: wheelstand", setup(4400), setup(4200))
    (bar,) = bars(TEAL, [STOOD, again], said(setting="launch rpm", value="4400", run=6)).bars
    assert bar.key.number == 9


@given(st.integers(36, 48), st.integers(36, 48), st.integers(36, 48))
def test_a_barred_setting_is_never_on_the_calm_side(before, at, asked):
    """Steps of 100 rpm: everything from the setting on, away from where the car last ran cleanly, and nothing else."""
    before, at, asked = 100.0 * before, 100.0 * at, 100.0 * asked
    found = bars(TEAL, [Trouble(key(5), "car: wheelstand", setup(at), setup(before))], [])
    wanted = at != before and (asked >= at if at > before else asked <= at)
    assert (found.of("launch rpm", asked) is not None) == wanted


# --- which runs -------------------------------------------------------------------------------------------------------


def test_runs_that_the_car_lost_stop_items_and_what_traces_show_count():
    plain = {"what": "item", "car": "teal", "date": "2031-04-12", "at": "2031-04-12T15:00"}
    stop = {**plain, "text": "front wheels came down hard", "due": "stop", "run": 7, "settings": ["launch rpm"]}
    later = {**plain, "text": "wax the nose", "due": "at the shop", "run": 8}
    facts = read_crew(json.dumps([stop, later]).encode(), "x.json")
    lost = [(key(2), "car: tyre shake"), (key(3), "driver: pedalled"), (key(4), "timing: no print")]
    suspected = {key(3): "shake", key(6): "the trace shows a wheelstand"}
    found = troubles_of(lost, facts, suspected)
    assert found == [
        (key(2), "car: tyre shake", None),
        (key(6), "the trace shows a wheelstand", None),
        (key(7), "stop item: front wheels came down hard", ("launch rpm",)),
    ]


def test_settings_that_the_crew_names_are_barred_though_nothing_was_changed():
    named = Trouble(key(5), "stop item: x", setup(4400), setup(4400), ("launch rpm",))
    (bar,) = bars(TEAL, [named], []).bars
    assert (bar.item, bar.value, bar.direction) == ("launch rpm", 4400.0, 0)
    assert not bar.holds(4600.0), "which way it went wrong isn't known"
    none = bars(TEAL, [Trouble(key(5), "stop item: x", setup(4400), setup(4200), ())], [])
    assert (none.bars, none.unexplained) == ((), ())


@pytest.mark.parametrize(
    ("text", "same"), [("4400", True), ("4400 RPM", True), ("4400rpm", True), ("44", False), ("a", False)]
)
def test_how_a_setting_may_be_written(text, same):
    item = TEAL.adjustable("launch rpm")
    assert item is not None
    assert same_setting(item, text, 4400.0) == same
