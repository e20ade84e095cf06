"""The slip against the trace. The cases are made so that the cause is known."""

from __future__ import annotations

import pytest

from runlog.records import Samples, TraceFindings
from runlog.signals.analysis import analyse
from runlog.signals.opinion import compare

TRACE = {60: 1.5, 330: 4.2, 660: 6.4, 1000: 8.3, 1320: 10.0}


def findings(sd: float = 0.005) -> TraceFindings:
    return TraceFindings(splits={feet: (time, sd) for feet, time in TRACE.items()})


def test_agreement_within_doubt_says_nothing():
    assert compare(findings(), {feet: time + 0.019 for feet, time in TRACE.items()}) == ()
    assert compare(findings(sd=0.1), {feet: time + 0.25 for feet, time in TRACE.items()}) == ()


def test_a_difference_beyond_three_sd_is_named_with_its_size_and_sign():
    said = compare(findings(sd=0.1), TRACE | {1320: 10.35})
    assert "at 1320 ft the slip says 10.350 s and the trace 10.000 ± 0.100 s: the slip is 0.350 s longer" in said[0]
    assert "shorter" in compare(findings(), TRACE | {330: 4.1})[0]


@pytest.mark.parametrize(
    ("slip", "cause"),
    [
        ({feet: time + 0.08 for feet, time in TRACE.items()}, "same at every split: look at the rollout"),
        ({feet: time * 1.03 for feet, time in TRACE.items()}, "distances were 4.5 % too long"),
        ({feet: time * 0.95 for feet, time in TRACE.items()}, "distances were 7.5 % too short"),
        (TRACE | {660: 6.9}, "only 660 ft stands apart"),
    ],
)
def test_the_likelier_cause(slip, cause):
    assert cause in compare(findings(), slip)[-1]


@pytest.mark.parametrize(("factor", "words"), [(1.08, "7.4 % too long"), (0.92, "8.7 % too short")])
def test_a_wrong_speed_scale_is_found_from_trace_to_sentence(true_run, vary, factor, words):
    """The trace believes a speed that is 8 % wrong; 1/1.08 = 0.926 and 1/0.92 = 1.087 of the distance are true."""
    run = vary(true_run, rates={"ground_speed": 50.0})
    ground = run.samples()["ground_speed"]
    found = analyse({"ground_speed": Samples(ground.time, factor * ground.values)}, run.setting)
    said = compare(found, run.splits())
    assert said[:-1]
    share = float(said[-1].split("distances were ")[1].split(" %")[0])
    assert share == pytest.approx(float(words.split(" %")[0]), abs=0.8)
    assert words.split("% ")[1] in said[-1]


def test_a_staging_change_is_found_from_trace_to_sentence(true_run, vary):
    """The car file says 9 in of rollout, the car was staged so that the clock started after 20 in."""
    run = vary(true_run, rates={"ground_speed": 100.0})
    found = analyse(run.samples(), run.setting)
    staged = vary(run, rollout=20 * 0.0254).splits()
    assert "same at every split: look at the rollout" in compare(found, staged)[-1]


def test_no_cause_is_named_where_several_fit():
    assert all("look at" not in text for text in compare(findings(), {60: 1.6}))
    mixed = {60: 1.9, 330: 4.1, 660: 6.9, 1000: 8.1, 1320: 10.6}
    assert all("look at" not in text and "apart" not in text for text in compare(findings(), mixed))


def test_nothing_in_common_says_nothing():
    assert compare(findings(), {}) == ()
    assert compare(TraceFindings(), TRACE) == ()
