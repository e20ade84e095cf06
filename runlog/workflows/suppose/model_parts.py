"""What the longitudinal model alone says of a change: increments, splits and trap speeds, as parts of the page."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from runlog.constants import MILE_PER_HOUR, SPEED_DISTANCES_FT, SPLIT_DISTANCES_FT
from runlog.workflows.run_content import rounded

if TYPE_CHECKING:
    from runlog.physics.what_if import Outcome

_Z90: Final = 1.6448536269514722
"""a normal quantity lies within so many sd of its mean with 90 % probability"""


def beams(finish_ft: int) -> list[int]:
    """Return the beams [ft] up to the finish."""
    return [feet for feet in SPLIT_DISTANCES_FT if feet <= finish_ft]


def effects(done: Outcome | None, finish_ft: int) -> list[dict[str, Any]]:
    """Return each increment up to the finish and the elapsed time; nothing where physics has no opinion."""
    if done is None:
        return []
    marks = [0, *beams(finish_ft)]
    spans = [(n, n + 1) for n in range(len(marks) - 1)] + [(0, len(marks) - 1)]
    rows = []
    for start, end in spans:
        mean, sd = done.time(start, end)
        bounds = {"mean_s": mean, "sd_s": sd, "lo90_s": mean - _Z90 * sd, "hi90_s": mean + _Z90 * sd}
        rows.append(
            {"from_ft": marks[start], "to_ft": marks[end], **{key: rounded(value, 5) for key, value in bounds.items()}}
        )
    return rows


def splits(done: Outcome | None, finish_ft: int) -> list[dict[str, Any]]:
    """Return the time at each beam before and after; nothing where physics has no opinion."""
    if done is None:
        return []
    return [
        {
            "distance_ft": feet,
            "before_s": rounded(float(done.before.times[n])),
            "after_s": rounded(float(done.after.times[n])),
        }
        for n, feet in enumerate(beams(finish_ft))
    ]


def speeds(done: Outcome | None, finish_ft: int) -> list[dict[str, Any]]:
    """Return each trap speed before and after; nothing where physics has no opinion."""
    rows = []
    for n, feet in enumerate(SPEED_DISTANCES_FT if done else ()):
        if feet > finish_ft or done is None:
            continue
        mean, sd = (value / MILE_PER_HOUR for value in done.speed(n))
        rows.append(
            {
                "distance_ft": feet,
                "before_mph": rounded(float(done.before.speeds[n]) / MILE_PER_HOUR, 2),
                "after_mph": rounded(float(done.after.speeds[n]) / MILE_PER_HOUR, 2),
                "mean_mph": rounded(mean, 3),
                "sd_mph": rounded(sd, 3),
                "lo90_mph": rounded(mean - _Z90 * sd, 3),
                "hi90_mph": rounded(mean + _Z90 * sd, 3),
            }
        )
    return rows
