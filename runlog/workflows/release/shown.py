"""What a run's page says of the run after it: how far it may go, and what of the day's plan still holds."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from runlog.constants import SPLIT_DISTANCES_FT
from runlog.records import RunKey
from runlog.store import facts, proposals, reached
from runlog.workflows.release.clearance import Clearance, clearance
from runlog.workflows.release.holds import Quick, quick_of
from runlog.workflows.release.limits import is_outside

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runlog.records import Car
    from runlog.results import RunResult
    from runlog.store.connection import Logbook
    from runlog.workflows.ahead.candidates import TooFast


def after_run(book: Logbook, car: Car, row: RunResult, day: Sequence[RunResult]) -> Clearance:
    """Return what stands before the run after this one; for an earlier run, what stood then.

    ``day``: the runs of its day.
    """
    key = RunKey(row.key.car, row.key.date, row.key.number + 1)
    track = facts.tracks(book).get(row.track) if row.track else None
    finish = track.finish_ft if track else SPLIT_DISTANCES_FT[-1]
    past = not reached.is_newest(book, row.key)
    cleared = clearance(book, car, key, finish, past=past)
    quick = quick_of([other for other in day if other.key <= row.key], f"its runs of {row.key.date}")
    cleared = cleared.for_quick(quick.join(_foretold(book, key, finish)))
    return cleared.for_setup({entry.item: entry for entry in row.setup})


def _foretold(book: Logbook, key: RunKey, finish_ft: int) -> Quick:
    """Return the quick end of the forecast that was kept last for a run."""
    text = proposals.newest_text(book, proposals.FORECAST, key)
    rows = json.loads(text)["splits"] if text else []
    times = {row["distance_ft"]: row["lo90_s"] for row in rows if row["lo90_s"] and row["distance_ft"] <= finish_ft}
    return Quick(times, {}, "the forecast's quick end" if times else "")


def planned_within(planned: dict[str, Any] | None, cleared: Clearance) -> dict[str, Any] | None:
    """Return the day's next planned run as far as it may still go; None where it may not be made."""
    if planned is None or cleared.to_ft == 0:
        return None
    step = planned["next"]
    if any(refused(cleared, line["item"], line["value"]) for line in step["set"]):
        return None
    feet = int(step["purpose"]) if step["purpose"].isdigit() else cleared.finish_ft
    purpose = str(cleared.to_ft) if cleared.to_ft < feet else step["purpose"]
    return {**planned, "next": {**step, "purpose": purpose}}


def refused(cleared: Clearance, name: str, shown: float | str, too_fast: TooFast | None = None) -> bool:
    """Tell whether a setting, a hole by its label, isn't to be proposed: barred, past a limit, or not on the car.

    ``too_fast`` says why a setting would pass a limit at the finish line, None where it doesn't.
    """
    item = cleared.car.adjustable(name)
    if item is None:
        return True
    labels = [hole.label for hole in item.holes]
    if isinstance(shown, str) and shown not in labels:
        return True
    value = float(labels.index(shown)) if isinstance(shown, str) else float(shown)
    if cleared.bars.of(name, value) is not None or is_outside(cleared.car, item, value):
        return True
    return too_fast is not None and too_fast(item, value) is not None
