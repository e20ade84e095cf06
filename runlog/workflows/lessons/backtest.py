"""The regression beside plain tools on a car's own runs: each day foretold from the others."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from runlog.constants import INCREMENTS_FT
from runlog.errors import NotFound
from runlog.learning import Settings
from runlog.learning.backtest import backtest
from runlog.store import facts, results
from runlog.workflows.lessons.current import finish_of
from runlog.workflows.lessons.learn import make_lesson, subject_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runlog.learning.backtest import Score
    from runlog.store.connection import Logbook


def backtest_page(book: Logbook, car: str) -> dict[str, Any]:
    """Return the page in the shape of ``effects --backtest --json``; ``NotFound`` with less than two days to go by."""
    known = facts.car(book, car)
    if known is None:
        raise NotFound(f"nothing is known of {car} yet: import a car file first")
    rows = results.run_results(book, car)
    lesson = make_lesson(subject_of(book, known), rows)
    days = len(np.unique(lesson.runs.day))
    if days < 2:
        raise NotFound(f"{car} has runs that count on {days} day{'' if days == 1 else 's'}: two are needed")
    finish = finish_of(book, rows)
    scores = backtest(lesson.runs, lesson.levers, Settings(finish_ft=finish), lesson.shared)
    if not scores:
        raise NotFound(f"{car} has too few runs that count to foretell one day from the others")
    return {
        "car": car,
        "runs": len(lesson.runs.keys),
        "days": days,
        "places": [_place(span, scores) for span in (*INCREMENTS_FT, (0, finish))],
    }


def _place(span: tuple[int, int], scores: Sequence[Score]) -> dict[str, Any]:
    kept = ("model", "runs", "rms_error_s", "rms_within_day_s", "covered90")
    here = [one for one in scores if (one.from_ft, one.to_ft) == span]
    return {
        "from_ft": span[0],
        "to_ft": span[1],
        "models": [{name: getattr(one, name) for name in kept} for one in here],
    }
