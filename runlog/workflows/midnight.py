"""Test days that go past midnight: a run's date is that of its test day, its clock may be that of the day after."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Mapping

    from runlog.records import RunKey

FALL: Final = dt.timedelta(hours=12)
"""by so much or more a day's clock can only fall because midnight has passed"""


def after_midnight(times: Mapping[RunKey, dt.time | None]) -> frozenset[RunKey]:
    """Return the runs that were made after midnight: an earlier run of the same day has a much later clock time."""
    latest: dict[tuple[str, dt.date], dt.datetime] = {}
    late = set()
    for key, time in sorted(times.items()):
        if time is None:
            continue
        moment = dt.datetime.combine(key.date, time)
        before = latest.get((key.car, key.date), moment)
        if before - moment >= FALL:
            late.add(key)
        latest[key.car, key.date] = max(before, moment)
    return frozenset(late)


def moment_of(key: RunKey, time: dt.time, late: frozenset[RunKey]) -> dt.datetime:
    """Return when a run was made."""
    return dt.datetime.combine(key.date, time) + dt.timedelta(days=key in late)


def clock_hour(time: dt.time) -> float:
    """Return a clock time in hours."""
    return time.hour + time.minute / 60 + time.second / 3600
