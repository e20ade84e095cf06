"""Where along the track the time was won or lost between runs that have a trace."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from runlog.constants import FOOT, MILE_PER_HOUR, SPLIT_DISTANCES_FT
from runlog.signals.analysis import analyse
from runlog.signals.overlay import Trail, at_distances, times_at
from runlog.store import calibrations, facts, results, traces
from runlog.workflows.results.calibrate import from_plain, opinion
from runlog.workflows.results.traced import setting_of
from runlog.workflows.run_content import rounded

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runlog.records import Car, FloatArray, RunKey
    from runlog.results import RunResult
    from runlog.store.connection import Logbook

STATIONS_FT = tuple(sorted({*SPLIT_DISTANCES_FT, *range(0, SPLIT_DISTANCES_FT[-1], 100)}))
"""where the time is read off: every 100 ft and at the beams"""


def along_track(book: Logbook, rows: Sequence[RunResult]) -> dict[str, Any] | None:
    """Return times, speeds and accumulated differences to the first run along the track.

    Only as far as every run pulled; None unless all runs have a trace that tells speed and distance.
    """
    cars, tracks = facts.cars(book), facts.tracks(book)
    trails: list[tuple[Trail, float]] = []
    ends: list[float] = []
    for row in rows:
        car, track = cars.get(row.key.car), tracks.get(row.track) if row.track else None
        found = None if car is None else _trail(book, car, row)
        if found is None or car is None:
            return None
        rollout = setting_of(car, track).rollout
        trails.append((found[0], rollout))
        ends.append(min((found[1] - rollout) / FOOT, setting_of(car, track).finish_ft))
    stations = [feet for feet in STATIONS_FT if feet <= min(ends) + 1e-6]
    if len(stations) < 2:
        return None
    return _content([row.key for row in rows], trails, np.array(stations, dtype=float))


def _trail(book: Logbook, car: Car, row: RunResult) -> tuple[Trail, float] | None:
    """Return a run's trail by its trace, its own slip and earlier ones, and how far it pulled [m]."""
    samples = traces.samples(book, row.key)
    carried = calibrations.of_run(book, row.key)
    stored = results.findings(book, row.key.car).get(row.key)
    if not samples or carried is None or stored is None:
        return None
    track = facts.tracks(book).get(row.track) if row.track else None
    contradicted = opinion(stored, carried, row.times)[1]
    found = analyse(samples, setting_of(car, track), None if contradicted else row.times, from_plain(carried.known))
    if found.time is None or found.distance is None or found.speed is None:
        return None
    reach = float(found.distance.max())
    return Trail(found.time, found.distance, found.speed), min(reach, found.lift_distance or reach)


def _content(keys: Sequence[RunKey], trails: Sequence[tuple[Trail, float]], stations: FloatArray) -> dict[str, Any]:
    runs = []
    first: FloatArray | None = None
    for key, (trail, rollout) in zip(keys, trails, strict=True):
        places = rollout + stations * FOOT
        times, speeds = times_at(trail, places, rollout), at_distances(trail, trail.speed, places) / MILE_PER_HOUR
        first = times if first is None else first
        behind = times - first
        runs.append(
            {
                "key": str(key),
                "time_s": [rounded(value) for value in times.tolist()],
                "speed_mph": [rounded(value, 2) for value in speeds.tolist()],
                "difference_s": [rounded(value) for value in behind.tolist()],
                "lost_s": [rounded(value) for value in np.diff(behind, prepend=0.0).tolist()],
            }
        )
    return {"station_ft": [int(feet) for feet in stations], "runs": runs}
