"""All questions about a run that are still open."""

from __future__ import annotations

from typing import TYPE_CHECKING

from runlog.results import Answer, Question
from runlog.workflows.air.of_run import pressure_question
from runlog.workflows.questions.case import of
from runlog.workflows.questions.of_columns import column_questions
from runlog.workflows.questions.of_sheet import guard_question, sheet_questions
from runlog.workflows.questions.of_slip import slip_questions
from runlog.workflows.questions.of_trace import trace_questions

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator

    from runlog.workflows.questions.case import RunCase


def questions(
    case: RunCase,
    circumference: tuple[float, float] | None,
    answered: Collection[str],
    rollout: tuple[float, float] | None = None,
) -> tuple[Question, ...]:
    """Return what is to be asked of a run, without what was ``answered`` already, and what is missing for it.

    ``circumference``: by which share the driven wheels read high, and its sd, as the slips have taught; ``rollout``
    [m] the same of what the clock starts further from rest than the track file says.
    """
    found = (
        *slip_questions(case),
        *trace_questions(case),
        *sheet_questions(case, circumference),
        *guard_question(case, rollout),
        *_air(case),
    )
    still = (question for question in found if question.id not in answered)
    # what an answer about columns does is done by the channel map, which may be withdrawn or forgotten
    return (*still, *column_questions(case), *_missing(case))


def _air(case: RunCase) -> Iterator[Question]:
    wrong = pressure_question(case.air, case.track)
    if wrong is None or case.air is None:
        return
    given = case.air.source.split(",")[0]
    other = "an altimeter setting" if given.startswith("station") else "the station pressure"
    effect = {"do": "station_pressure", "text": "altimeter" if given.startswith("station") else "station"}
    yield Question(
        f"pressure-{of(given.split(' ')[0])}",
        f"{wrong}: which was it?",
        (),
        (Answer("a", f"{other}: take the day's readings so", effect), Answer("k", "as it was given")),
        whole_day=True,
    )


def _missing(case: RunCase) -> Iterator[Question]:
    """Yield what is missing for a run to be corrected and learned from: nothing to answer."""
    if case.air is None:
        yield Question("no-air", "no air reading within reach of this run: nothing is corrected")
    if case.car is None:
        name = case.slip.key.car
        yield Question("no-car", f"no car file for {name}: nothing is corrected, nothing is learned")
    if case.slip.track and case.track is None:
        yield Question("no-track", f"no track file for {case.slip.track}: wind and elevation are not used")
