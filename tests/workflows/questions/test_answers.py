"""What answers do to a slip: those about its figures hold for these figures alone."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from runlog.records import RunKey, Slip
from runlog.workflows.questions.answers import taken
from runlog.workflows.questions.of_slip import WRONG_SLIP, left_out

SLIP = Slip(RunKey("heron", dt.date(2031, 4, 12), 3), times={60: 1.412, 330: 3.852})


def test_a_slip_that_was_left_out_stays_out_until_the_right_one_comes() -> None:
    answered = [{"value": None, **left_out(SLIP)}]
    assert taken(SLIP, answered).spoiled == WRONG_SLIP
    assert taken(replace(SLIP, note="typed again"), answered).spoiled == WRONG_SLIP
    right = replace(SLIP, times={60: 1.398, 330: 3.801})
    assert taken(right, answered) == right


def test_what_spoiled_the_run_itself_holds_for_any_slip() -> None:
    answered = [{"do": "spoil", "text": "car: tyre shake", "value": None, "slip": None}]
    right = replace(SLIP, times={60: 1.398, 330: 3.801})
    assert taken(right, answered).spoiled == "car: tyre shake"
