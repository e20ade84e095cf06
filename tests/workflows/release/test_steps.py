"""Release steps: passed by ticked checks and a sign-off, never by having reached a distance.

The order of the steps, the checks and where a replaced part starts again are common practice, no source.
"""

from __future__ import annotations

import datetime as dt
import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runlog.readers.car import read_car
from runlog.readers.crew import read_crew
from runlog.records import STEPS, CrewFact, RunKey
from runlog.workflows.release.steps import CHECKS, RESTART, Past, Release, release, steps_to

CAR = """[car]
name = "teal"
race_weight = "2600 lb"
wheelbase = "105 in"
power = "800 hp"
tyre_circumference = "100 in"
final_drive = 4.1
"""
DAY = dt.date(2031, 4, 12)
PLAIN = read_car(CAR.encode(), "teal.toml")
NEW = Past()
"""a car that has made no run"""
OLD = Past(40, dt.date(2030, 9, 1), {1320: RunKey("teal", dt.date(2031, 4, 1), 6)})
"""a car that has run to the finish on many days"""


def said(*entries: dict[str, Any]) -> list[CrewFact]:
    """Facts told one minute after the other, unless they say when."""
    full = [{"car": "teal", "date": "2031-04-12", "at": f"2031-04-12T10:{n:02d}", **entry}
            for n, entry in enumerate(entries)]  # fmt: skip
    return list(read_crew(json.dumps(full).encode(), "x.json")) if full else []


def signed(step: str, **more: Any) -> dict[str, Any]:
    return {"what": "sign_off", "step": step, "by": "A. Crew", "checks": list(CHECKS[step]), **more}


def where(found: Release) -> tuple[str | None, int]:
    return (found.next.step if found.next else None), found.to_ft


# --- who has to pass them ---------------------------------------------------------------------------------------------


def test_a_car_that_has_made_no_run_begins_at_the_first_step():
    found = release(PLAIN, NEW, [], 1320)
    assert found.needed
    assert where(found) == ("fire-up", 0)
    assert "made no run" in found.why


def test_reaching_a_distance_is_not_passing_its_step():
    run = Past(3, None, {60: RunKey("teal", DAY, 1), 330: RunKey("teal", DAY, 3)})
    found = release(PLAIN, run, said(signed("fire-up"), signed("burnout")), 1320)
    assert where(found) == ("60", 60)
    assert found.next is not None
    assert str(found.next.reached) == "teal/2031-04-12/3"
    assert "not passing" in found.why
    assert where(release(PLAIN, run, [], 1320)) == ("fire-up", 0)


def test_a_car_that_ran_to_the_finish_before_steps_were_kept_has_none_to_pass():
    found = release(PLAIN, OLD, [], 1320)
    assert not found.needed
    assert where(found) == (None, 1320)
    assert "2030-09-01" in found.why


def test_one_clean_run_to_the_finish_may_have_been_its_first():
    """Two are asked for: common practice, no source."""
    once = Past(1, None, {1320: RunKey("teal", DAY, 1)}, 1)
    found = release(PLAIN, once, [], 1320)
    assert where(found) == ("fire-up", 0)
    assert found.why == "one clean run to the finish may be its first: 2, or new = false in its car file, say more"


def test_the_car_file_can_say_that_it_is_not_new():
    old = read_car((CAR + "new = false\n").encode(), "teal.toml")
    found = release(old, NEW, [], 1320)
    assert (found.needed, where(found)) == (False, (None, 1320))
    assert found.why == "its car file says that it isn't new"
    assert where(release(old, NEW, said({"what": "start_again", "step": "60", "text": "crash"}), 1320)) == ("60", 60)


def test_the_car_file_can_ask_for_them_all_the_same():
    new = read_car((CAR + "new = true\n").encode(), "teal.toml")
    assert where(release(new, OLD, [], 1320)) == ("fire-up", 0)
    assert where(release(new, OLD, said(*map(signed, STEPS)), 1320)) == (None, 1320)


# --- passing them -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("count", "step", "feet"),
    [(0, "fire-up", 0), (1, "burnout", 0), (2, "60", 60), (3, "330", 330), (4, "660", 660), (5, "full", 1320),
     (6, None, 1320)],
)  # fmt: skip
def test_each_sign_off_lets_the_car_one_step_further(count, step, feet):
    assert where(release(PLAIN, NEW, said(*map(signed, STEPS[:count])), 1320)) == (step, feet)


@given(st.sets(st.sampled_from(STEPS)), st.permutations(range(6)))
def test_a_later_sign_off_doesn_t_stand_in_for_an_earlier_one(some, order):
    """The furthest run is that of the first step that isn't signed, whatever else is, in whatever order it came in."""
    facts = said(*(signed(step) for step in STEPS if step in some))
    mixed = [facts[n] for n in order if n < len(facts)]
    found = release(PLAIN, NEW, mixed, 1320)
    first = next((step for step in STEPS if step not in some), None)
    assert where(found)[0] == first
    assert found.to_ft == {None: 1320, "full": 1320, "660": 660, "330": 330, "60": 60}.get(first, 0)


def test_a_check_that_is_no_longer_good_takes_back_its_step_and_those_after_it():
    facts = said(*map(signed, STEPS), {"what": "check", "step": "330", "check": "wheel nuts", "good": False})
    found = release(PLAIN, NEW, facts, 1320)
    assert where(found) == ("330", 330)
    assert found.next is not None
    assert found.next.missing == ("wheel nuts",)
    again = said(*map(signed, STEPS), {"what": "check", "step": "330", "check": "wheel nuts", "good": False},
                 signed("330"))  # fmt: skip
    assert where(release(PLAIN, NEW, again, 1320)) == ("660", 660)


def test_ticks_are_kept_until_the_step_is_signed():
    facts = said({"what": "check", "step": "fire-up", "check": CHECKS["fire-up"][0]})
    found = release(PLAIN, NEW, facts, 1320)
    assert found.next is not None
    assert found.next.missing == CHECKS["fire-up"][1:]


def test_a_car_file_has_its_own_list():
    own = read_car((CAR + '[car.release_checks]\n"60" = ["everything"]\n').encode(), "teal.toml")
    found = release(own, NEW, said(signed("fire-up"), signed("burnout")), 1320)
    assert found.next is not None
    assert found.next.missing == ("everything",)


# --- tracks of another length -----------------------------------------------------------------------------------------


def test_a_shorter_track_has_fewer_steps():
    assert steps_to(660) == (("fire-up", 0), ("burnout", 0), ("60", 60), ("330", 330), ("full", 660))


def test_the_full_run_of_a_shorter_track_doesn_t_release_the_car_for_a_longer_one():
    short = [signed(step) for step in ("fire-up", "burnout", "60", "330")] + [signed("full", finish_ft=660)]
    assert where(release(PLAIN, NEW, said(*short), 660)) == (None, 660)
    assert where(release(PLAIN, NEW, said(*short), 1320)) == ("full", 1320), "660 ft is passed, the rest isn't"
    long = said(*map(signed, STEPS[:5]))
    assert where(release(PLAIN, NEW, long, 660)) == (None, 660), "660 ft was signed: it is the whole of this track"


# --- going back -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("part", RESTART)
def test_a_replaced_part_starts_again_where_it_has_to_be_tried(part):
    first = {"what": "combination", "part": part, "name": "No. 1"}
    facts = said(first, *map(signed, STEPS), {**first, "name": "No. 2", "run": 9})
    found = release(PLAIN, NEW, facts, 1320)
    assert where(found)[0] == RESTART[part]
    assert f"{part} replaced on 2031-04-12: No. 1 → No. 2" in found.why
    assert found.since == (DAY, 9)


def test_naming_what_is_in_the_car_is_no_replacement():
    name = {"what": "combination", "part": "engine", "name": "No. 1"}
    assert not release(PLAIN, OLD, said(name, name), 1320).needed


def test_an_established_car_that_goes_back_has_passed_what_comes_before_that_step():
    facts = said({"what": "start_again", "step": "60", "text": "new rear housing"})
    found = release(PLAIN, OLD, facts, 1320)
    assert where(found) == ("60", 60)
    assert "new rear housing" in found.why
    assert found.next is not None
    assert found.next.reached is None, "runs before it don't count"


def test_runs_before_the_replacement_don_t_count_as_having_reached_a_distance():
    first = {"what": "combination", "part": "tyre set", "name": "A"}
    facts = said(first, *map(signed, STEPS), {**first, "name": "B", "run": 5})
    before = Past(4, DAY, {1320: RunKey("teal", DAY, 4)})
    after = Past(5, DAY, {1320: RunKey("teal", DAY, 4), 60: RunKey("teal", DAY, 5)})
    assert release(PLAIN, before, facts, 1320).states[2].reached is None
    assert release(PLAIN, after, facts, 1320).states[2].reached == RunKey("teal", DAY, 5)
