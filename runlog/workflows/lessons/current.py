"""A car's effects as all facts now have them: read back, or computed again where other cars have taught since.

What other cars have tried is this car's prior. So that a run of one car doesn't ask for every other car to be computed
when it is imported, theirs are computed when somebody looks; the stored ones say by a digest which state of the others
they rest on.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runlog.constants import SPLIT_DISTANCES_FT
from runlog.store import facts, results

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runlog.results import RunResult
    from runlog.store.connection import Logbook

PENDING = {"others": None}
"""stands in place of a car's effects between its own results and what all cars together make of them"""


def current_effects(book: Logbook, car: str) -> dict[str, Any]:
    """Return the content of a car's effects page, empty when nothing is known of it."""
    stored = results.car_result(book, car)
    if stored is None or not stored[1]:
        return {}
    if stored[1]["others"] == results.fleet_digest(book, car):
        return stored[1]
    return computed_effects(book, car)


def computed_effects(book: Logbook, car: str) -> dict[str, Any]:
    """Return the same, computed from what the logbook holds of this car and of all others."""
    from runlog.workflows.lessons.fleet import others_of
    from runlog.workflows.lessons.learn import effects_content, subject_of

    rows = results.run_results(book, car)
    subject = subject_of(book, facts.cars(book)[car])
    content = effects_content(subject, rows, finish_of(book, rows), others_of(book, car))
    return {**content, "others": results.fleet_digest(book, car)}


def finish_of(book: Logbook, rows: Sequence[RunResult]) -> int:
    """Return the longest finish of the tracks that runs were on [ft]."""
    tracks = facts.tracks(book)
    known = [tracks[row.track].finish_ft if row.track in tracks else SPLIT_DISTANCES_FT[-1] for row in rows]
    return max(known, default=SPLIT_DISTANCES_FT[-1])
