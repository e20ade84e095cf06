"""Where along the track the time was won or lost between runs that have a trace."""

from __future__ import annotations

from dataclasses import dataclass
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
    from collections.abc import Mapping, Sequence

    from runlog.records import FloatArray, RunKey, Samples
    from runlog.results import RunResult
    from runlog.store.connection import Logbook

STATIONS_FT = tuple(sorted({*SPLIT_DISTANCES_FT, *range(0, SPLIT_DISTANCES_FT[-1], 100)}))
"""where the time is read off: every 100 ft and at the beams"""


@dataclass(frozen=True)
class Traced:
    """A run's motion by its trace, with what is needed to lay other channels of it over distance."""

    trail: Trail
    rollout: float
    """[m] from rest to where the clock starts"""
    end_ft: float
    """how far it pulled, from the start beam, at most to the finish"""
    launch_time: float
    """[s] of the logger's clock"""
    samples: Mapping[str, Samples]

    def stations(self, feet: FloatArray) -> FloatArray:
        """Return distances from the start beam [ft] as distances from rest [m]."""
        return self.rollout + feet * FOOT


def along_track(book: Logbook, rows: Sequence[RunResult]) -> dict[str, Any] | None:
    """Return times, speeds and accumulated differences to the first run along the track.

    Only as far as every run pulled; None unless all runs have a trace that tells speed and distance.
    """
    found = [traced(book, row) for row in rows]
    runs = [run for run in found if run is not None]
    if len(runs) < len(rows):
        return None
    stations = [feet for feet in STATIONS_FT if feet <= min(run.end_ft for run in runs) + 1e-6]
    if len(stations) < 2:
        return None
    return _content([row.key for row in rows], runs, np.array(stations, dtype=float))


def traced(book: Logbook, row: RunResult) -> Traced | None:
    """Return a run's motion by its trace, its own slip and earlier ones; None where the trace doesn't tell it."""
    car = facts.car(book, row.key.car)
    samples = traces.samples(book, row.key)
    carried = calibrations.of_run(book, row.key)
    stored = results.findings(book, row.key.car).get(row.key)
    if car is None or not samples or carried is None or stored is None:
        return None
    setting = setting_of(car, facts.tracks(book).get(row.track) if row.track else None)
    contradicted = opinion(stored, carried, row.times)[1]
    found = analyse(samples, setting, None if contradicted else row.times, from_plain(carried.known))
    if found.time is None or found.distance is None or found.speed is None or found.launch_time is None:
        return None
    reach = float(found.distance.max())
    end = (min(reach, found.lift_distance or reach) - setting.rollout) / FOOT
    trail = Trail(found.time, found.distance, found.speed)
    return Traced(trail, setting.rollout, min(end, setting.finish_ft), found.launch_time, samples)


def _content(keys: Sequence[RunKey], found: Sequence[Traced], stations: FloatArray) -> dict[str, Any]:
    runs = []
    first: FloatArray | None = None
    for key, run in zip(keys, found, strict=True):
        trail, places = run.trail, run.stations(stations)
        times, speeds = times_at(trail, places, run.rollout), at_distances(trail, trail.speed, places) / MILE_PER_HOUR
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
