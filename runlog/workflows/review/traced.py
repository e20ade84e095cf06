"""Speed, engine speed and time along the track for a few runs of a day that have a trace."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from runlog.constants import MILE_PER_HOUR
from runlog.signals.overlay import at_distances, at_times, times_at
from runlog.store import traces
from runlog.units import unit_of
from runlog.workflows.run_content import rounded
from runlog.workflows.runs.along_track import traced

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from numpy.typing import NDArray

    from runlog.records import FloatArray, RunKey
    from runlog.results import RunResult
    from runlog.store.connection import Logbook
    from runlog.workflows.runs.along_track import Traced

MOST: Final = 4
"""runs that can be told apart on one drawing without colour"""
STEP_FT: Final = 10


def choose(rows: Sequence[RunResult], logged: Collection[RunKey]) -> list[RunResult]:
    """Return which runs to lay over each other, the first as reference; empty without a trace.

    The quickest clean run of those that count furthest is the reference. Beside it stand the first and the last of
    that length, and the one with the quickest 60 ft: what the day began with, what it ended with, and its best launch.
    """
    there = [row for row in rows if row.key in logged and row.counted_times()]
    clean = [row for row in there if row.clean] or there
    reach = max((max(row.counted_times()) for row in clean), default=0)
    whole = [row for row in clean if max(row.counted_times()) == reach]
    if not whole:
        return []
    best = min(whole, key=lambda row: row.corrected_times.get(reach, row.times[reach]))
    launch = min((row for row in clean if 60 in row.times), key=lambda row: row.times[60], default=best)
    beside = [whole[0], whole[-1], launch, *reversed(whole)]
    others = list(dict.fromkeys(row.key for row in beside if row.key != best.key))[: MOST - 1]
    return [best, *(row for row in rows if row.key in others)]


def traces_part(
    book: Logbook, rows: Sequence[RunResult], chosen: Sequence[RunResult] | None = None
) -> dict[str, Any] | None:
    """Return the runs along the track every 10 ft, each as far as it pulled; differences to the first of them.

    Measured, not corrected for the air. None where no run has a trace that tells speed and distance.
    """
    picked = choose(rows, traces.runs_with_trace(book)) if chosen is None else chosen
    found = [(row, run) for row in picked if (run := traced(book, row)) is not None]
    if not found:
        return None
    ends = max(run.end_ft for _, run in found)
    stations = np.arange(0, ends + 1e-6, STEP_FT, dtype=float)
    first = _times(found[0][1], stations)
    return {
        "reference": str(found[0][0].key),
        "station_ft": [int(feet) for feet in stations],
        "runs": [_run(row, run, stations, first) for row, run in found],
    }


def _times(run: Traced, stations: FloatArray) -> FloatArray:
    """Return the time [s] from the beam to each station; nan beyond where the run pulled."""
    times = times_at(run.trail, run.stations(stations), run.rollout)
    return np.where(stations <= run.end_ft + 1e-6, times, np.nan)


def _run(row: RunResult, run: Traced, stations: FloatArray, first: FloatArray) -> dict[str, Any]:
    pulled, places = stations <= run.end_ft + 1e-6, run.stations(stations)
    speed = np.where(pulled, at_distances(run.trail, run.trail.speed, places) / MILE_PER_HOUR, np.nan)
    return {
        "key": str(row.key),
        "number": row.key.number,
        "clean": row.clean,
        "end_ft": rounded(run.end_ft, 2),
        "speed_mph": [rounded(value, 2) for value in speed.tolist()],
        "engine_speed_rpm": _engine_speed(run, stations, pulled),
        "difference_s": [rounded(value) for value in (_times(run, stations) - first).tolist()],
    }


def _engine_speed(run: Traced, stations: FloatArray, pulled: NDArray[np.bool_]) -> list[float | None] | None:
    """Return the engine speed [rpm] at each station; None where it wasn't logged."""
    logged = run.samples.get("engine_speed")
    if logged is None or not logged.time.size:
        return None
    trail = run.trail
    over_time = np.interp(trail.time, logged.time - run.launch_time, logged.values)
    when = at_distances(trail, trail.time, run.stations(stations))
    values = np.where(pulled, at_times(trail, over_time, when) / unit_of("rpm").factor, np.nan)
    return [rounded(value, 0) for value in values.tolist()]
