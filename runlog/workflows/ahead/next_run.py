"""A car before its next run: the setup in force, what its runs have taught, the day, the clock and the air."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from runlog.constants import SPLIT_DISTANCES_FT
from runlog.errors import NotFound, UsageError
from runlog.learning import Settings
from runlog.physics.atmosphere import station_pressure
from runlog.records import AirReading, RunKey
from runlog.store import facts, results
from runlog.workflows.air.of_run import air_at, state_of
from runlog.workflows.lessons.fleet import others_of
from runlog.workflows.lessons.learn import make_lesson, subject_of
from runlog.workflows.midnight import after_midnight, moment_of
from runlog.workflows.release.limits import outside
from runlog.workflows.setup import in_force

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from runlog.learning import CarFit
    from runlog.records import Adjustable, Car, FloatArray, SheetEntry, Track
    from runlog.results import AirState, RunResult
    from runlog.store.connection import Logbook
    from runlog.workflows.lessons.learn import Lesson

TURNAROUND_MINUTES: Final = 45.0
"""between runs where nobody says. Common practice, no source"""


@dataclass(frozen=True, eq=False)
class Standing:
    """A car as it stands before run ``key``."""

    car: Car
    key: RunKey
    rows: tuple[RunResult, ...]
    """all runs before it"""
    setup: Mapping[str, SheetEntry]
    """in force for it"""
    lesson: Lesson
    fit: CarFit
    track: Track | None
    finish_ft: int

    @property
    def last(self) -> RunResult | None:
        """The newest run, of whatever day."""
        return self.rows[-1] if self.rows else None

    @property
    def hours_so_far(self) -> FloatArray:
        """Hours on the clock of the day's runs."""
        runs = self.lesson.runs
        hours: FloatArray = runs.hour[runs.day == self.key.date.toordinal()]
        return hours

    @property
    def day_begun(self) -> bool:
        """Whether the car has run on that day."""
        return self.last is not None and self.last.key.date == self.key.date

    def moment(self, time: dt.time) -> dt.datetime:
        """Return when the run will be, at this clock time: after midnight, where the day has run far past it."""
        return moment_of(self.key, time, after_midnight({**{row.key: row.time for row in self.rows}, self.key: time}))

    def value(self, item: Adjustable) -> float | None:
        """Return the setting of an adjustable in its own unit; None where no sheet tells it."""
        entry = self.setup.get(item.name)
        return None if entry is None else entry.value

    def steps(self, item: Adjustable, value: float) -> float:
        """Return a setting in usual steps from the baseline."""
        return round((value - self.lesson.baseline[item.name]) / item.step, 9)

    def own_unit(self, item: Adjustable, steps: float) -> float:
        """Return a setting in the adjustable's unit, from usual steps."""
        return round(self.lesson.baseline[item.name] + steps * item.step, 9)

    def settings(self, supposed: Mapping[str, float]) -> FloatArray:
        """Return (P,) the settings in usual steps, some of them as supposed; baseline where no sheet tells one."""
        values = [supposed.get(item.name, self.value(item)) for item in self.car.adjustables]
        pairs = zip(self.car.adjustables, values, strict=True)
        return np.array([0.0 if value is None else self.steps(item, value) for item, value in pairs], dtype=float)


def standing(book: Logbook, name: str, date: dt.date | None = None) -> Standing:
    """Return a car before the next run of its newest day, or of a later one.

    ``NotFound`` without a car file; ``UsageError`` for a day before its newest.
    """
    car = facts.car(book, name)
    if car is None:
        raise NotFound(f"no car file for {name} in the logbook: import it first")
    rows = results.run_results(book, name)
    newest = rows[-1].key if rows else None
    day = date or (newest.date if newest else dt.date.today())
    if newest is not None and day < newest.date:
        raise UsageError(f"{name} has run on {newest.date} already: {day} is past, and what is past isn't foretold")
    number = newest.number + 1 if newest is not None and newest.date == day else 1
    key = RunKey(name, day, number)
    subject = subject_of(book, car)
    lesson = make_lesson(subject, rows).informed_by(others_of(book, name))
    track = facts.tracks(book).get(rows[-1].track) if rows and rows[-1].track else None
    finish = track.finish_ft if track else SPLIT_DISTANCES_FT[-1]
    fit = lesson.fit(Settings(finish_ft=finish))
    return Standing(car, key, tuple(rows), in_force(subject.sheets, [key])[key], lesson, fit, track, finish)


def next_time(stand: Standing) -> dt.time | None:
    """Return when the next run may be expected: a turnaround after the last of the day; None where that isn't known."""
    last = stand.last
    if last is None or not stand.day_begun or last.time is None:
        return None
    return (dt.datetime.combine(last.key.date, last.time) + dt.timedelta(minutes=TURNAROUND_MINUTES)).time()


@dataclass(frozen=True)
class SaidAir:
    """What was said of the air; None: as read last. Temperatures [K], humidity 0…1, pressures [Pa], wind [m/s]."""

    temperature: float | None = None
    relative_humidity: float | None = None
    station_pressure: float | None = None
    altimeter_setting: float | None = None
    elevation: float | None = None
    """[m] of the station, for an altimeter setting; None: the track's"""
    wind_speed: float | None = None
    wind_from_deg: float | None = None
    heading_deg: float | None = None
    track_temperature: float | None = None

    @property
    def anything(self) -> bool:
        """Whether anything was said."""
        return any(value is not None for value in vars(self).values())


def next_air(book: Logbook, stand: Standing, time: dt.time | None, said: SaidAir) -> tuple[AirState | None, list[str]]:
    """Return the air of the next run and what to say of it: as said, for the rest as read last.

    ``UsageError`` when something was said but too little is known to make an air of it.
    """
    track = stand.track
    if said.heading_deg is not None and track is not None:
        track = replace(track, heading_deg=said.heading_deg)
    readings = facts.air(book, stand.key.date, track.name if track else None)
    read, notes = _newest(readings, stand, time, track)
    if not said.anything:
        return read, notes
    fields = {name: getattr(said, name) for name in ("temperature", "relative_humidity", "track_temperature")}
    fields["station_pressure"] = _pressure(said, track)
    known: dict[str, Any] = {} if read is None else {name: getattr(read, name) for name in fields}
    known |= {name: value for name, value in fields.items() if value is not None}
    missing = [name for name in ("temperature", "relative_humidity", "station_pressure") if known.get(name) is None]
    if missing:
        words = ", ".join(name.replace("_", " ") for name in missing)
        raise UsageError(f"no air reading to go by: say the {words} too")
    moment = dt.datetime.combine(stand.key.date, time or dt.time(12))
    source = "as said" if read is None else f"as said, the rest: {read.source}"
    known |= {"wind_speed": said.wind_speed, "wind_from_deg": said.wind_from_deg, "source": source}
    state = state_of(AirReading(moment, **known), track)
    if said.wind_speed is None and read is not None:
        state = replace(state, wind_along=read.wind_along)
    return state, [] if read is None else notes


def _pressure(said: SaidAir, track: Track | None) -> float | None:
    if said.altimeter_setting is None:
        return said.station_pressure
    elevation = said.elevation if said.elevation is not None else (track.elevation if track else None)
    if elevation is None:
        raise UsageError("--altimeter needs --elevation: without it the station pressure isn't known")
    return float(station_pressure(said.altimeter_setting, elevation))


def _newest(
    readings: Sequence[AirReading], stand: Standing, time: dt.time | None, track: Track | None
) -> tuple[AirState | None, list[str]]:
    """Return the day's air at the time, else the day's newest, else that of the newest run that has one."""
    today = [reading for reading in readings if reading.time.date() == stand.key.date]
    if readings:
        at_time = None if time is None else air_at(readings, stand.key.date, stand.moment(time), track)
        if at_time is not None:
            return at_time, []
    if today:
        state = state_of(today[-1], track)
        return replace(state, source=f"{state.source}, read {today[-1].time:%H:%M}"), []
    row = next((row for row in reversed(stand.rows) if row.air), None)
    if row is None:
        return None, ["no air reading: the times are those of the air that the car has run in"]
    return row.air, [f"no air reading for {stand.key.date}: the air is that of {row.key}"]


def outside_limits(stand: Standing) -> list[str]:
    """Return what is in the car outside the car file's limits, in words."""
    return list(outside(stand.car, stand.setup).values())
