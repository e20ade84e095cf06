"""What keeps the next run shorter than the track: credentials that have expired, and ceilings that it could beat."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from runlog.constants import FOOT, MILE_PER_HOUR, SPLIT_DISTANCES_FT

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Mapping

    from runlog.records import Car, Credential
    from runlog.results import RunResult

SOON_DAYS: Final = 30
"""before a credential expires it is named. Common practice, no source."""


@dataclass(frozen=True)
class Hold:
    """Something that lets the next run go no further than ``to_ft`` [ft]; 0: not at all."""

    kind: str
    """``open item``, ``step``, ``credential``, ``ceiling`` or ``setting``"""
    to_ft: int
    why: str


@dataclass(frozen=True)
class Quick:
    """The quick end of what the next run could do: times [s] and speeds [m/s] by distance in feet."""

    times: Mapping[int, float] = field(default_factory=dict)
    speeds: Mapping[int, float] = field(default_factory=dict)
    source: str = ""
    """whose figures these are, as a page says it"""

    def join(self, other: Quick) -> Quick:
        """Return the quicker of two opinions at each distance."""
        times = {
            feet: min(found[feet] for found in (self.times, other.times) if feet in found)
            for feet in sorted({*self.times, *other.times})
        }
        speeds = {
            feet: max(found[feet] for found in (self.speeds, other.speeds) if feet in found)
            for feet in sorted({*self.speeds, *other.speeds})
        }
        return Quick(times, speeds, " or ".join(dict.fromkeys(text for text in (self.source, other.source) if text)))


def quick_of(rows: Iterable[RunResult], source: str) -> Quick:
    """Return the quickest times and highest speeds of clean runs, as measured and as far as they count."""
    clean = [row for row in rows if row.clean]
    times: dict[int, float] = {}
    speeds: dict[int, float] = {}
    for row in clean:
        for feet, time in row.counted_times().items():
            times[feet] = min(time, times.get(feet, time))
        for feet, speed in row.speeds.items():
            if feet <= (row.valid_to_ft or 0):
                speeds[feet] = max(speed, speeds.get(feet, speed))
    return Quick(times, speeds, source)


def expired(car: Car, day: dt.date) -> list[Hold]:
    """Return what the car's expired credentials leave of the next run."""
    return [
        Hold("credential", item.without_it_ft, f"{item.kind} expired on {item.expires}")
        for item in car.credentials
        if item.expires is not None and item.expires < day
    ]


def expiring(car: Car, day: dt.date) -> list[str]:
    """Return which credentials expire within a month, in words."""
    return [
        f"{item.kind} expires on {item.expires}"
        for item in car.credentials
        if item.expires is not None and 0 <= (item.expires - day).days <= SOON_DAYS
    ]


def beaten(car: Car, quick: Quick, finish_ft: int) -> list[Hold]:
    """Return the ceilings that a run to the finish could beat, each with how far a run may go instead."""
    found = []
    for item in car.credentials:
        why = _why(item, quick, finish_ft)
        if why:
            found.append(Hold("ceiling", furthest_within(item, quick, finish_ft), why))
    return found


def _why(item: Credential, quick: Quick, finish_ft: int) -> str:
    time = quick.times.get(item.quickest_at_ft)
    if item.quickest is not None and time is not None and item.quickest_at_ft <= finish_ft and time < item.quickest:
        where = f"{item.quickest:.3f} s to {item.quickest_at_ft} ft"
        return f"{item.kind} allows {where}; {quick.source} could run {time:.3f} s"
    speed = max((value for feet, value in speed_bounds(quick).items() if feet <= finish_ft), default=0.0)
    if item.highest_speed is not None and speed > item.highest_speed:
        return (
            f"{item.kind} allows {item.highest_speed / MILE_PER_HOUR:.1f} mph; {quick.source} could reach "
            f"{speed / MILE_PER_HOUR:.1f} mph"
        )
    return ""


def furthest_within(item: Credential, quick: Quick, finish_ft: int) -> int:
    """Return the last beam [ft] before the finish where a throttle lift keeps the run inside the ceiling; 0: none.

    Bounds on the safe side: the car is taken to coast on to the ceiling's distance without slowing down, at the average
    speed of the increment after the beam, which is more than it has at the beam.
    """
    speeds, beams = speed_bounds(quick), [feet for feet in SPLIT_DISTANCES_FT if feet < finish_ft]
    for feet in reversed(beams):
        speed, time = _speed_after(feet, quick), quick.times.get(feet)
        if item.highest_speed is not None and (speed is None or max(speed, speeds.get(feet, 0.0)) > item.highest_speed):
            continue
        if item.quickest is not None and feet <= item.quickest_at_ft:
            if speed is None or time is None:
                continue
            if time + (item.quickest_at_ft - feet) * FOOT / speed <= item.quickest:
                continue
        elif item.quickest is not None and quick.times.get(item.quickest_at_ft, item.quickest) < item.quickest:
            continue
        return feet
    return 0


def speed_bounds(quick: Quick) -> dict[int, float]:
    """Return the speed [m/s] that the car has at most at each beam that it is known for."""
    known = {feet: _speed_after(feet, quick) for feet in SPLIT_DISTANCES_FT}
    return {**{feet: speed for feet, speed in known.items() if speed is not None}, **quick.speeds}


def _speed_after(feet: int, quick: Quick) -> float | None:
    """Return the average speed [m/s] from a beam to the next, which the car doesn't have yet at the first."""
    after = next((far for far in SPLIT_DISTANCES_FT if far > feet and far in quick.times), None)
    if after is None or feet not in quick.times or quick.times[after] <= quick.times[feet]:
        return None
    return (after - feet) * FOOT / (quick.times[after] - quick.times[feet])


def credential_part(item: Credential, day: dt.date) -> dict[str, Any]:
    """Return a credential as ``release --json`` has it."""
    return {
        "kind": item.kind,
        "expires": item.expires.isoformat() if item.expires else None,
        "expired": None if item.expires is None else item.expires < day,
        "quickest_s": item.quickest,
        "quickest_at_ft": item.quickest_at_ft if item.quickest is not None else None,
        "highest_speed_mph": None if item.highest_speed is None else round(item.highest_speed / MILE_PER_HOUR, 2),
        "without_it_ft": item.without_it_ft,
        "note": item.note or None,
    }
