"""The clock can't start beyond the guard beam."""

from __future__ import annotations

import datetime as dt

import pytest

from runlog.problems import FileFaults
from runlog.readers.track import read_track
from runlog.records import RunKey, Slip, Track
from runlog.workflows.questions.case import RunCase
from runlog.workflows.questions.of_sheet import guard_question

TRACK = Track("upfell", 640.0, rollout=0.2286, guard_beam=0.34)


def case(track: Track | None) -> RunCase:
    slip = Slip(RunKey("sedge", dt.date(2032, 5, 1), 1))
    return RunCase(slip, None, track, 1320, 0.2286, None, None, (), {}, None, (), (), {}, None)


@pytest.mark.parametrize(("further", "sd", "asked"), [(0.05, 0.005, False), (0.15, 0.005, True), (0.15, 0.02, False)])
def test_a_start_beyond_the_guard_beam_is_asked_about(further, sd, asked):
    found = list(guard_question(case(TRACK), (further, sd)))
    assert bool(found) is asked
    assert all("beyond the guard beam at 13.4 in" in question.text for question in found)
    # 9 in and 0.15 m, by hand
    assert all('rollout = "14.9 in"' in question.answers[0].text for question in found)
    assert list(guard_question(case(Track("upfell", 640.0)), (further, sd))) == []
    assert list(guard_question(case(TRACK), None)) == []


def test_a_guard_beam_nearer_than_the_rollout_is_refused():
    text = '[track]\nname = "upfell"\nelevation = "640 m"\nrollout = "11 in"\nguard_beam = "{}"\n'
    assert read_track(text.format("13.4 in").encode(), "t.toml").guard_beam == pytest.approx(0.34036)
    with pytest.raises(FileFaults, match="guard_beam"):
        read_track(text.format("9 in").encode(), "t.toml")
