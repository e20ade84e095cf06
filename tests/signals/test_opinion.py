"""The slip against the trace. The cases are made so that the cause is known."""

from __future__ import annotations

import pytest

from runlog.records import TraceFindings
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
        ({feet: time * 1.03 for feet, time in TRACE.items()}, "+3.0 %: look at the tyre circumference"),
        ({feet: time * 0.95 for feet, time in TRACE.items()}, "-5.0 %: look at the tyre circumference"),
        (TRACE | {660: 6.9}, "only 660 ft stands apart"),
    ],
)
def test_the_likelier_cause(slip, cause):
    assert cause in compare(findings(), slip)[-1]


def test_no_cause_is_named_where_several_fit():
    assert all("look at" not in text for text in compare(findings(), {60: 1.6}))
    mixed = {60: 1.9, 330: 4.1, 660: 6.9, 1000: 8.1, 1320: 10.6}
    assert all("look at" not in text and "apart" not in text for text in compare(findings(), mixed))


def test_nothing_in_common_says_nothing():
    assert compare(findings(), {}) == ()
    assert compare(TraceFindings(), TRACE) == ()
