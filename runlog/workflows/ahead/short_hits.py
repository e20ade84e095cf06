"""Which settings are first tried in a short hit: what may lift the front, raise speeds or pull to one side."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

from runlog.learning import Candidate

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runlog.records import Adjustable
    from runlog.workflows.ahead.next_run import Standing

SHORT_FT: Final = {"W": 60, "D": 60, "R": 330}
"""caution letter → length of the first hit after such a change: the front shows itself at once, engine speed past the
first shift. Common practice, no source"""
_ONE_SIDED: Final = (" left", " right", "preload")
"""what can make the car pull is what acts on one side"""


def short_ft(item: Adjustable) -> int | None:
    """Return how far the first run at a new setting goes [ft]; None: to the finish."""
    letters = set(item.cautions) & set(SHORT_FT)
    if not item.name.endswith(_ONE_SIDED):
        letters -= {"D"}
    return min((SHORT_FT[letter] for letter in letters), default=None)


def with_short_hits(stand: Standing, chosen: Sequence[Candidate]) -> tuple[Candidate, ...]:
    """Return the candidates with how far a new setting is let down the track, and the settings that aren't new."""
    found = []
    for candidate in chosen:
        item = stand.car.adjustable(candidate.name)
        length = None if item is None else short_ft(item)
        if item is None or length is None or length >= stand.finish_ft:
            found.append(candidate)
            continue
        found.append(replace(candidate, short_ft=length, proven=_proven(stand, item, length)))
    return tuple(found)


def first_ft(stand: Standing) -> int | None:
    """Return how far the next run goes at most as the car stands [ft]; None: nothing in it is new."""
    lengths = []
    for item in stand.car.adjustables:
        length, now = short_ft(item), stand.value(item)
        if length is None or now is None or length >= stand.finish_ft:
            continue
        if not any(abs(stand.steps(item, now) - level) < 1e-9 for level in _proven(stand, item, length)):
            lengths.append(length)
    return min(lengths, default=None)


def _proven(stand: Standing, item: Adjustable, length: int) -> tuple[float, ...]:
    """Return the settings [usual steps] that a clean run went at least so far at."""
    proven = set()
    for row in stand.rows:
        entry = next((entry for entry in row.setup if entry.item == item.name), None)
        if row.clean and max(row.counted_times(), default=0) >= length:
            # a run that no sheet tells of was made at the baseline, as the regression takes it
            proven.add(0.0 if entry is None or entry.value is None else stand.steps(item, entry.value))
    return tuple(sorted(proven))
