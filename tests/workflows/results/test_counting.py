"""How far a run's figures count: planned shut-off, lift, what the slip says, and spoiled runs."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runlog.constants import FOOT
from runlog.records import USUAL_TRAPS, RunKey, Slip, Track, Trap
from runlog.workflows.questions.answers import Answers
from runlog.workflows.results.case import Case
from runlog.workflows.results.counting import coasted, counts_to, from_beam, planned_ft

KEY = RunKey("heron", dt.date(2031, 4, 12), 3)
FULL = {60: 1.4, 330: 3.8, 660: 5.9, 1000: 7.6, 1320: 9.1}


def slip(purpose: str | None = "full", **more: object) -> Slip:
    return Slip(KEY, purpose=purpose, times=FULL, **more)


@pytest.mark.parametrize(
    ("purpose", "on_quarter", "on_eighth"),
    [
        (None, 1320, 660),
        ("", 1320, 660),
        ("full", 1320, 660),
        ("Full run, 7200 rpm", 1320, 660),
        ("2nd full run", 1320, 660),
        ("quarter mile", 1320, 660),
        ("1/4", 1320, 660),
        ("eighth", 660, 660),
        ("1/8 mile", 660, 660),
        ("half track", 660, 330),
        ("60", 60, 60),
        ("60-foot hit", 60, 60),
        ("60'", 60, 60),
        ("330 ft", 330, 330),
        ("to 330, lift", 330, 330),
        ("1000", 1000, 660),
        ("500 ft", 500, 500),
        ("50 ft", 50, 50),
        ("run 7", 1320, 660),
        ("shakedown", 1320, 660),
        ("9.50 dial", 1320, 660),
    ],
)
def test_what_was_planned(purpose, on_quarter, on_eighth):
    assert planned_ft(purpose, 1320) == on_quarter
    assert planned_ft(purpose, 660) == on_eighth


@pytest.mark.parametrize(
    ("given_slip", "finish", "lift_ft", "expected"),
    [
        (slip(), 1320, None, 1320),
        (slip(), 1000, None, 1000),
        (slip("660"), 1320, None, 660),  # planned shut-off, although the slip printed to the end
        (slip("500 ft"), 1320, None, 330),  # the last beam before it
        (slip("30 ft"), 1320, None, 0),
        (slip(true_to_ft=330), 1320, None, 330),
        (slip("330", true_to_ft=660), 1320, None, 330),
        (slip(true_to_ft=0), 1320, None, 0),
        (slip(spoiled="car: tyre shake"), 1320, None, 0),
        (slip(spoiled="driver: lift", true_to_ft=330), 1320, None, 330),
        (slip(spoiled="driver: lift", true_to_ft=330), 1320, 200.0, 60),
        (slip(), 1320, 700.0, 660),
        (slip(), 1320, 30.0, 0),
        (slip("660"), 1320, 1000.0, 660),
        (slip(), 1320, 1400.0, 1320),
    ],
)
def test_the_last_beam_that_counts(given_slip, finish, lift_ft, expected):
    limit = counts_to(given_slip, finish, None if lift_ft is None else lift_ft * FOOT)
    assert limit == expected


@given(st.sampled_from([330, 660, 1000, 1320]), st.none() | st.floats(0, 2000), st.none() | st.integers(0, 1320))
def test_nothing_ever_counts_further_for_being_cut_short(finish, lift, true_to):
    cut = counts_to(slip(true_to_ft=true_to), finish, lift)
    whole = counts_to(slip(), finish, None)
    assert cut <= whole == finish
    assert cut in (0, 60, 330, 660, 1000, 1320)


@pytest.mark.parametrize(("inches", "expected"), [(9.0, 660), (4.0, 660), (0.0, 330), (-30.0, 330)])
def test_a_lift_is_told_from_rest_and_counted_from_the_beam(inches, expected):
    """With a rollout of 9 in the 660 ft beam stands 660.75 ft from rest; half a foot before it still counts."""
    track = Track("fen", 30.0, rollout=9 * 0.0254)
    own = slip(track="fen")
    case = Case(None, "heron", {"fen": track}, {KEY: own}, (), {}, {}, frozenset(), Answers(), {}, {}, {})
    assert case.counts(own, {"lift_distance": 660 * FOOT + inches * 0.0254}) == expected
    assert from_beam(0.1, track.rollout) == 0.0
    assert from_beam(None, track.rollout) is None


AROUND = (Trap(660, 132 * FOOT, 66 * FOOT), Trap(1320, 132 * FOOT, 66 * FOOT))
"""traps of 132 ft with their beam in the middle"""


@pytest.mark.parametrize(
    ("given_slip", "finish", "lift_ft", "around", "usual"),
    [
        (slip(), 1320, None, (), ()),  # the finish itself ends no pull
        (slip(), 660, None, (), ()),
        (slip(), 1320, 700.0, (660, 1320), (1320,)),  # inside the trap around 660 ft: coasting before it ended
        (slip(), 1320, 730.0, (1320,), (1320,)),
        (slip(), 1320, 640.0, (660, 1320), (660, 1320)),
        (slip(), 1320, 1340.0, (1320,), ()),
        (slip("660"), 1320, None, (660, 1320), (1320,)),  # a planned shut-off at the beam
        (slip("660"), 660, None, (), ()),
        (slip(true_to_ft=1000), 1320, None, (1320,), (1320,)),
    ],
)
def test_a_trap_left_coasting_does_not_count(given_slip, finish, lift_ft, around, usual):
    """Hand calculation: the traps end at 726 and 1386 ft, the usual ones at their beam."""
    lift = None if lift_ft is None else lift_ft * FOOT
    reached = [feet for feet in (660, 1320) if feet <= finish]
    for traps, expected in ((AROUND, around), (USUAL_TRAPS, usual)):
        found = coasted(given_slip, finish, lift, traps)
        assert [feet for feet in found if feet in reached] == [feet for feet in expected if feet in reached]


@given(st.sampled_from([660, 1320]), st.floats(0, 2000), st.floats(0, 2000), st.floats(0, 100))
def test_an_earlier_lift_never_lets_more_traps_count(finish, one, other, past):
    traps = [Trap(feet, 132 * FOOT, past * FOOT) for feet in (660, 1320)]
    early, late = (set(coasted(slip(), finish, lift * FOOT, traps)) for lift in sorted((one, other)))
    assert late <= early
