"""The air page: the air as typed or as last logged, the day's series, and what it is worth against a car's last run."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from runlog.constants import FOOT
from runlog.errors import NotFound
from runlog.store import facts, results
from runlog.workflows.air.against import against_part, last_run
from runlog.workflows.air.figures import Typed, plain_page, typed_state
from runlog.workflows.air.of_run import state_of
from runlog.workflows.find import find_car
from runlog.workflows.run_content import rounded

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from runlog.records import AirReading, Track
    from runlog.results import AirState, RunResult
    from runlog.store.connection import Logbook


@dataclass(frozen=True)
class Asked:
    """Which air is asked for, and beside what."""

    typed: Typed | None = None
    """None: the last reading of the day"""
    car: str | None = None
    day: dt.date | None = None
    """None: the newest that has readings"""
    track: str | None = None


@dataclass(frozen=True)
class _Day:
    """A day's readings at one place, in order of time."""

    track: str | None
    readings: Sequence[AirReading]
    elsewhere: tuple[str, ...] = ()
    """other tracks with readings on that day"""

    @property
    def date(self) -> dt.date:
        return self.readings[-1].time.date()


def air_page(asked: Asked, book: Logbook) -> dict[str, Any]:
    """Return the air in the shape of ``air --json``.

    With a station pressure and an elevation, typed or of the track, a reading that looks like an altimeter setting gets
    a warning. ``NotFound`` for a car, track or day that isn't there, ValueError for readings that can't be.
    """
    row = _run(book, asked)
    day = _day(book, asked, row) if asked.typed is None or asked.day else None
    place = asked.track or (day.track if day else None) or (row.track if row and not day else None)
    track = facts.tracks(book).get(place) if place else None
    if asked.track and track is None:
        raise NotFound(f"no track {asked.track!r} in the logbook: import its file first")
    state, elevation, time = _state(asked.typed, track, day)
    page = plain_page(state, elevation)
    page |= {"track": place, "day": day.date.isoformat() if day else None, "time": time}
    page["track_assumed"] = place is not None and asked.typed is not None and asked.track is None
    if day:
        page |= {"series": [_reading(reading, track) for reading in day.readings], "runs": _runs(book, day)}
        page["warnings"] += [f"that day's air at {name} isn't in this series: --track {name}" for name in day.elsewhere]
    if row is not None:
        page["against"] = against_part(book, row, state)
    elif asked.car:
        page["warnings"].append(f"no run of {asked.car.lower()} with air in the logbook: nothing to compare with")
    return page


def _run(book: Logbook, asked: Asked) -> RunResult | None:
    """Return the run to compare with: the car's last up to the day; without a car the last of the day, or of all."""
    if asked.car:
        return last_run(book, find_car(book, asked.car), asked.day)
    if asked.typed is not None:
        return None
    if asked.day is None:
        return last_run(book, results.newest_run(book).car, None) if results.run_keys(book) else None
    rows = [row for row in results.run_results(book, None, asked.day) if row.air]
    return max(rows, key=lambda row: (row.time.isoformat() if row.time else "", row.key), default=None)


def _day(book: Logbook, asked: Asked, row: RunResult | None) -> _Day:
    """Return the readings of the day at the track that is meant: the one named, else the run's, else the last read."""
    found = facts.all_air(book, asked.day)
    if not found:
        when = f" on {asked.day.isoformat()}" if asked.day else ""
        raise NotFound(f"no air readings{when} in the logbook: type them, or import a station's table")
    date = found[-1][1].time.date()
    names = list(dict.fromkeys(name for name, _ in reversed(found)))
    track, kept = asked.track, asked.track
    if track is None and row is not None and row.key.date == date:
        track = kept = row.track
    if kept not in names:
        # readings without a stated track are everybody's
        kept = None if None in names or track is not None else names[0]
    readings = [reading for name, reading in found if name == kept]
    if not readings:
        where = ", ".join(name for name in names if name)
        raise NotFound(f"no air readings at {track} on {date.isoformat()}; there are some at {where}")
    return _Day(track or kept, readings, tuple(name for name in names if name not in (None, kept)))


def _state(typed: Typed | None, track: Track | None, day: _Day | None) -> tuple[AirState, float | None, str | None]:
    """Return the air, the elevation [m] it was read at, and when it was read."""
    if typed is not None:
        if track is not None:
            heading = track.heading_deg if typed.heading_deg is None else typed.heading_deg
            elevation = track.elevation if typed.elevation is None else typed.elevation
            typed = dataclasses.replace(typed, heading_deg=heading, elevation=elevation)
        return typed_state(typed), typed.elevation, None
    if day is None:
        raise AssertionError
    newest = day.readings[-1]
    return state_of(newest, track), track.elevation if track else None, newest.time.isoformat()


def _reading(reading: AirReading, track: Track | None) -> dict[str, Any]:
    state = state_of(reading, track)
    surface = state.track_temperature
    return {
        "time": reading.time.isoformat(),
        "temperature_c": rounded(state.temperature - 273.15, 2),
        "relative_humidity_pct": rounded(100 * state.relative_humidity, 1),
        "station_pressure_hpa": rounded(state.station_pressure / 100, 2),
        "density_kg_m3": rounded(state.density, 5),
        "density_altitude_ft": rounded(state.density_altitude / FOOT, 1),
        "wind_along_track_m_s": rounded(state.wind_along, 2),
        "track_temperature_c": None if surface is None else rounded(surface - 273.15, 1),
    }


def _runs(book: Logbook, day: _Day) -> list[dict[str, Any]]:
    """Return the runs of that day at that track that have a time, in order of it."""
    there = [row for row in results.run_results(book, None, day.date) if day.track in (None, row.track)]
    timed = sorted((row.time.isoformat(), str(row.key)) for row in there if row.time)
    return [{"key": key, "time": time} for time, key in timed]
