"""Questions about the trace: is the run spoiled, is the logger's clock off, is a channel in another unit?

Thresholds are common practice, no source.
"""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.constants import FOOT
from runlog.results import Answer, Question
from runlog.workflows.questions.case import of
from runlog.workflows.questions.factors import factor_between
from runlog.workflows.results.counting import last_beam
from runlog.workflows.results.spoiling import proposals

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runlog.workflows.questions.case import RunCase

CLOCK_OFF: Final = 10.0
"""[min] between the logger's clock at the launch and the slip's time"""
HALF_HOUR: Final = 1800.0
"""[s] a launch later in a file than this isn't counted from its start"""
LEAST_BEFORE: Final = 2
"""earlier runs with a channel that make its usual level"""
MEASURED: Final = ("pressure", "temperature", "speed")
"""parts of the names of channels whose unit is easily mistaken; rpm and g show it in the motion"""


def trace_questions(case: RunCase) -> Iterator[Question]:
    """Yield what has to be asked about a run's trace."""
    found = case.found
    if found is None:
        return
    for proposal in proposals(found["events"], case.slip.spoiled, case.valid_to_ft * FOOT, case.rollout):
        counts = 0 if proposal.distance is None else last_beam(proposal.distance / FOOT)
        reason = f"{proposal.whose}: {proposal.name}"
        yield Question(
            f"spoiled-{proposal.name.replace(' ', '-')}",
            proposal.text,
            (),
            (
                Answer("y", f"yes, by the {proposal.whose}", {"do": "spoil", "text": reason, "value": float(counts)}),
                Answer("n", "no, the run counts"),
            ),
        )
    yield from _clock(case)
    yield from _channel_units(case)


def _clock(case: RunCase) -> Iterator[Question]:
    found, moment = case.found, case.moment
    if found is None or case.started_at is None or moment is None or found["launch_time"] is None:
        return
    # a file with clock times counts from its own start or from midnight
    into = found["launch_time"] if found["launch_time"] < HALF_HOUR else 0.0
    logged = case.started_at + dt.timedelta(seconds=into)
    apart = (logged - moment).total_seconds() / 60
    if abs(apart) < CLOCK_OFF:
        return
    size = f"{abs(apart):.0f} min" if abs(apart) < 24 * 60 else f"{abs(apart) / 1440:.0f} days"
    yield Question(
        # rounded to quarters of an hour, so that one answer stands for the day whatever each run's seconds are
        f"clock-{round(apart / 15)}",
        f"the logger's clock says {logged:%H:%M} at the launch and the slip {moment:%H:%M}, {size} "
        "apart: which is off?",
        (),
        (
            Answer("c", "the logger's clock: the file is this run's"),
            Answer("s", "the slip's time: the file is this run's"),
            Answer(
                "w",
                "neither: the file is another run's",
                {"do": "no_trace", "value": round(found["launch_time"], 3)},
            ),
        ),
    )


def _channel_units(case: RunCase) -> Iterator[Question]:
    """A channel that reads what it usually does times the factor between two units."""
    found = case.found
    for name, level in (found or {}).get("levels", {}).items():
        usual = [before["levels"][name] for before in case.earlier if name in before.get("levels", {})]
        if len(usual) < LEAST_BEFORE or not any(part in name for part in MEASURED):
            continue
        middle = float(np.median(usual))
        mistaken = factor_between(name, level, middle)
        if mistaken is None:
            continue
        spoken = name.replace("_", " ")
        yield Question(
            f"unit-{name}-{of(mistaken.words)}",
            f"{spoken} reads {mistaken.times:.2f} times what it usually does: {mistaken.words}?",
            (),
            (
                Answer("y", "yes: take it so", {"do": "channel", "text": name, "value": mistaken.factor}),
                Answer("n", "no, that was its reading"),
            ),
        )
