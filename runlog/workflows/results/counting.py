"""How far down the track a run's figures count, and why not further."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, overload

from runlog.constants import FOOT, SPLIT_DISTANCES_FT

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runlog.records import Slip, Trap

_SHARES = {"eighth": 660, "1/8": 660, "quarter": 1320, "1/4": 1320, "full": 1320, "finish": 1320}
"""[ft] what words for a distance mean."""

_DISTANCE = re.compile(
    r"(?<![\d/.])(\d{2,4})(?![\d/.])[\s-]*(?:(ft|foot|feet|')|(m|mph|rpm|psi|s|sec)\b)?", re.IGNORECASE
)
_SHORTEST_FT = SPLIT_DISTANCES_FT[0]


def planned_ft(purpose: str | None, finish_ft: int) -> int:
    """Return the distance that a run was meant to go, from words such as ``60``, ``330 ft``, ``eighth`` or ``full``.

    Words that name no distance leave the whole track; so does a number too small to be one ("run 7").
    """
    words = (purpose or "").lower()
    for number, feet, other in _DISTANCE.findall(words):
        if not other and (feet or int(number) >= _SHORTEST_FT):
            return min(int(number), finish_ft)
    if "half" in words and "track" in words:
        return finish_ft // 2
    return min([finish_ft, *(feet for word, feet in _SHARES.items() if word in words)])


def counts_to(slip: Slip, finish_ft: int, lift_distance: float | None) -> int:
    """Return the last beam [ft] whose figures count.

    A slip goes on printing after a planned shut-off, a throttle lift or an abort, but the car is coasting then.
    ``lift_distance`` [m from the beam], as the trace shows it; None: no lift, or not logged.
    """
    if slip.spoiled and slip.true_to_ft is None:
        return 0
    limits: list[float] = [planned_ft(slip.purpose, finish_ft), finish_ft]
    if slip.true_to_ft is not None:
        limits.append(slip.true_to_ft)
    if lift_distance is not None:
        limits.append(lift_distance / FOOT)
    return last_beam(min(limits))


def coasted(slip: Slip, finish_ft: int, lift_distance: float | None, traps: Sequence[Trap]) -> tuple[int, ...]:
    """Return the beams [ft] whose trap speed doesn't count, though their time may.

    A trap that ends behind its beam is left coasting when the pull ended in between: by a planned shut-off, by a lift,
    or where the slip ceases to be true. The finish itself ends no pull.
    """
    told = finish_ft if slip.true_to_ft is None else slip.true_to_ft
    ends: list[float] = [end for end in (planned_ft(slip.purpose, finish_ft), told) if end < finish_ft]
    if lift_distance is not None:
        ends.append(lift_distance / FOOT)
    return tuple(trap.beam_ft for trap in traps if any(trap.end_ft > end + 0.5 for end in ends))


@overload
def from_beam(place: float, rollout: float) -> float: ...
@overload
def from_beam(place: None, rollout: float) -> None: ...
@overload
def from_beam(place: float | None, rollout: float) -> float | None: ...
def from_beam(place: float | None, rollout: float) -> float | None:
    """Return how far behind the start beam [m] a place is, told from rest; 0 before it, None stays None."""
    return None if place is None else max(place - rollout, 0.0)


def last_beam(feet: float) -> int:
    """Return the last beam [ft] up to a distance; 0 before the first."""
    return max((mark for mark in SPLIT_DISTANCES_FT if mark <= feet + 0.5), default=0)
