"""The quick end of what a car's next run could do, and what stands before that run by it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.learning.forecast import forecast
from runlog.workflows.ahead.next_run import next_time
from runlog.workflows.release.clearance import clearance
from runlog.workflows.release.holds import Quick, quick_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runlog.learning import Forecast
    from runlog.records import FloatArray
    from runlog.store.connection import Logbook
    from runlog.workflows.ahead.next_run import Standing
    from runlog.workflows.release.clearance import Clearance

_FORECAST: Final = "the forecast's quick end"


def next_clearance(book: Logbook, stand: Standing) -> Clearance:
    """Return what stands before a car's next run."""
    return clearance(book, stand.car, stand.key, stand.finish_ft)


def quick_end(stand: Standing, settings: Sequence[FloatArray]) -> Quick:
    """Return the quicker of what is foretold (5 % quantile) in these settings (P,) [usual steps] and what was run.

    Speeds are those of the newest day that the car ran cleanly on.
    """
    found = Quick()
    for row in reversed(stand.rows):
        if row.clean and row.times:
            day = [other for other in stand.rows if other.key.date == row.key.date]
            found = quick_of(day, f"its runs of {row.key.date}")
            break
    for setting in settings:
        found = found.join(_foretold(stand, setting))
    return found


def _foretold(stand: Standing, settings: FloatArray) -> Quick:
    if not stand.lesson.runs.keys:
        return Quick()
    hours = stand.hours_so_far
    time = next_time(stand)
    hour = float(hours.max()) + 0.75 if len(hours) else 0.0
    if time is not None:
        hour = time.hour + time.minute / 60
    told = forecast(stand.fit, settings, stand.key.date.toordinal(), hour, None, {})
    return told_quick(told, stand.finish_ft)


def told_quick(told: Forecast, finish_ft: int) -> Quick:
    """Return the 5 % quantile of every split of a forecast."""
    splits = [split for split in told.splits if split.to_ft <= finish_ft and np.isfinite(split.lo90_s)]
    return Quick({split.to_ft: split.lo90_s for split in splits}, {}, _FORECAST)
