"""Runs laid over each other: brought to common times or distances, aligned at the launch, and their differences.

All functions are pure; a trail is a run's motion from its launch on. Between samples everything is linear.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]

AT_REST: Final = 1e-6
"""[m] from one sample to the next: less is no motion"""


@dataclass(frozen=True)
class Trail:
    """A run's motion: seconds after launch, distance from rest [m], speed [m/s]; one-dimensional, times increasing."""

    time: FloatArray
    distance: FloatArray
    speed: FloatArray

    @property
    def reach(self) -> float:
        """Return how far the car came [m]."""
        return float(self.distance.max()) if self.distance.size else 0.0


def at_times(trail: Trail, values: FloatArray, times: FloatArray) -> FloatArray:
    """Return a channel of the trail at seconds after launch; nan outside the trail."""
    return _inside(times, trail.time, values)


def at_distances(trail: Trail, values: FloatArray, distances: FloatArray) -> FloatArray:
    """Return a channel of the trail where the car first was at distances from rest [m]; nan where it never was."""
    # a car at rest repeats its place: what counts is when it was left, and backwards isn't forwards
    covered = np.maximum.accumulate(trail.distance)
    last_at = np.flatnonzero(np.diff(covered) > AT_REST)
    kept = np.append(last_at, last_at[-1] + 1) if last_at.size else np.arange(min(covered.size, 1))
    return _inside(distances, covered[kept], values[kept])


def _inside(at: FloatArray, places: FloatArray, values: FloatArray) -> FloatArray:
    if places.size == 0:
        return np.full(at.shape, np.nan)
    inside = (at >= places[0] - AT_REST) & (at <= places[-1] + AT_REST)
    return np.where(inside, np.interp(at, places, values), np.nan)


def times_at(trail: Trail, distances: FloatArray, origin: float = 0.0) -> FloatArray:
    """Return the time [s] from when the car was at ``origin`` to when it was at ``distances``, both from rest [m]."""
    ends = at_distances(trail, trail.time, np.append(distances, origin))
    times: FloatArray = ends[:-1] - ends[-1]
    return times


def time_difference(first: Trail, second: Trail, distances: FloatArray, origin: float = 0.0) -> FloatArray:
    """Return the accumulated time [s] that the second run is behind the first at each distance from rest [m].

    Both clocks start at ``origin``; positive: the second is slower so far. nan where one of them never was.
    """
    return times_at(second, distances, origin) - times_at(first, distances, origin)


def won_or_lost(first: Trail, second: Trail, marks: FloatArray, origin: float = 0.0) -> FloatArray:
    """Return the time [s] that the second run lost (+) or won (−) between neighbouring marks [m]; shape (n − 1,)."""
    return np.diff(time_difference(first, second, marks, origin))


def difference_by_distance(
    first: tuple[Trail, FloatArray], second: tuple[Trail, FloatArray], distances: FloatArray
) -> FloatArray:
    """Return a channel of the second run less that of the first at the same distances from rest [m]."""
    return at_distances(*second, distances) - at_distances(*first, distances)


def difference_by_time(
    first: tuple[Trail, FloatArray], second: tuple[Trail, FloatArray], times: FloatArray
) -> FloatArray:
    """Return a channel of the second run less that of the first at the same seconds after launch."""
    return at_times(*second, times) - at_times(*first, times)
