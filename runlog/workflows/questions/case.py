"""What the questions of one run are drawn from."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping, Sequence

    from runlog.records import Car, CloseCall, Sheet, SheetEntry, Slip, Track
    from runlog.results import AirState, Findings


@dataclass(frozen=True)
class RunCase:
    """A run with everything it is held against. Slips are as the crew's answers have them."""

    slip: Slip
    car: Car | None
    track: Track | None
    finish_ft: int
    rollout: float
    """[m]"""
    air: AirState | None
    found: Findings | None
    """what its trace shows; None where it has none, or it was said to be another run's"""
    earlier: Sequence[Findings]
    """what the traces of the car's runs before show, in order"""
    setup: Mapping[str, SheetEntry]
    """in force"""
    before: Mapping[str, SheetEntry] | None
    """in force at the run before"""
    sheets: Sequence[Sheet]
    """of the car, as far as this run"""
    others: Sequence[Slip]
    """slips of the same day, of this car and of others, without this one"""
    usual: Mapping[int, float]
    """[s] median of the car's clean runs at each distance, where at least three reached it"""
    started_at: dt.datetime | None
    """of the logger's file, local"""
    moment: dt.datetime | None = None
    """of the slip"""
    valid_to_ft: int = 0
    contradicted: Sequence[str] = ()
    """where slip and trace disagree"""
    columns: tuple[str, Sequence[CloseCall]] | None = None
    """the header of the logger's file, and the channels that several of its columns may be"""


def of(*parts: object) -> str:
    """Return a short digest of what a question rests on."""
    return hashlib.sha256("|".join(map(str, parts)).encode()).hexdigest()[:6]


def figures(slip: Slip) -> tuple[tuple[int, float], ...]:
    """Return the times of a slip in order, as what questions about it rest on."""
    return tuple(sorted((feet, round(time, 4)) for feet, time in slip.times.items()))
