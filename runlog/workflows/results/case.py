"""Everything that is known of a car, gathered once, as the crew's answers have it."""

from __future__ import annotations

import bisect
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from runlog.constants import DEFAULT_ROLLOUT, SPLIT_DISTANCES_FT
from runlog.records import USUAL_TRAPS, RunKey, Slip
from runlog.store import crew, facts, traces
from runlog.workflows import setup
from runlog.workflows.midnight import after_midnight
from runlog.workflows.questions import answers
from runlog.workflows.record.of_runs import USED, records_of
from runlog.workflows.results.counting import coasted, counts_to, from_beam

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping, Sequence

    from runlog.records import AirReading, Car, CloseCall, Sheet, SheetEntry, Track, Trap
    from runlog.results import Findings
    from runlog.store.connection import Logbook
    from runlog.workflows.questions.answers import Answers

LEAST_RUNS = 3
"""clean runs that reached a distance and make its usual time. Common practice, no source."""


@dataclass(frozen=True)
class Case:
    """A car with its tracks, slips, sheets, air and answers; ``told`` are the slips as they were written."""

    car: Car | None
    name: str
    tracks: Mapping[str, Track]
    slips: Mapping[RunKey, Slip]
    """as the answers have them, in order"""
    sheets: Sequence[Sheet]
    setups: Mapping[RunKey, Mapping[str, SheetEntry]]
    air: Mapping[tuple[dt.date, str | None], Sequence[AirReading]]
    late: frozenset[RunKey]
    """runs made after midnight"""
    answers: Answers
    others: Mapping[dt.date, Sequence[Slip]]
    """slips of other cars, by day"""
    records: Mapping[RunKey, Mapping[str, Any]]
    """what was recorded of each run beside its figures"""
    started_at: Mapping[RunKey, dt.datetime | None]
    """of the logger's files"""
    close_calls: Mapping[RunKey, tuple[str, tuple[CloseCall, ...]]] = field(default_factory=dict)
    """of the logger's files that have any: their header, and the channels that several columns may be"""

    def track_of(self, slip: Slip) -> Track | None:
        """Return the track that a slip is from, None where there is no file of it."""
        return self.tracks.get(slip.track) if slip.track else None

    def rollout_of(self, slip: Slip) -> float:
        """Return the rollout [m] at a slip's track."""
        track = self.track_of(slip)
        return track.rollout if track else DEFAULT_ROLLOUT

    def finish_of(self, slip: Slip) -> int:
        """Return where a slip's track ends [ft]."""
        track = self.track_of(slip)
        return track.finish_ft if track else SPLIT_DISTANCES_FT[-1]

    def found_of(self, key: RunKey, found: Mapping[RunKey, Findings]) -> Findings | None:
        """Return what a run's trace shows; None where the crew says that it is another run's."""
        own = found.get(key)
        return None if own is not None and answers.foreign(own, self.answers.effects(key)) else own

    def counts(self, slip: Slip, found: Findings | None) -> int:
        """Return the last beam [ft] whose figures count."""
        return counts_to(slip, self.finish_of(slip), self._lift(slip, found))

    def coasted(self, slip: Slip, found: Findings | None) -> tuple[int, ...]:
        """Return the beams [ft] whose trap speed doesn't count."""
        return coasted(slip, self.finish_of(slip), self._lift(slip, found), self.traps_of(slip))

    def _lift(self, slip: Slip, found: Findings | None) -> float | None:
        """Return where the driver lifted [m from the beam]; None where nothing shows it, or the crew says otherwise."""
        if found is None or answers.does(self.answers.effects(slip.key), "no_lift"):
            return None
        return from_beam(found["lift_distance"], self.rollout_of(slip))

    def traps_of(self, slip: Slip) -> tuple[Trap, ...]:
        """Return the speed traps of a slip's track."""
        track = self.track_of(slip)
        return track.traps if track else USUAL_TRAPS

    def usual(self) -> dict[int, float]:
        """Return the median time [s] of the clean runs at each distance that enough of them reached."""
        times: dict[int, list[float]] = {}
        for slip in self.slips.values():
            limit = 0 if slip.spoiled else counts_to(slip, self.finish_of(slip), None)
            for feet, time in slip.times.items():
                if feet <= limit:
                    times.setdefault(feet, []).append(time)
        return {feet: float(np.median(values)) for feet, values in times.items() if len(values) > LEAST_RUNS}

    def before(self, key: RunKey) -> Mapping[str, SheetEntry] | None:
        """Return the setup in force at the run before, None for the first."""
        runs = list(self.slips)
        place = bisect.bisect_left(runs, key)
        return self.setups[runs[place - 1]] if place else None

    def beside(self, slip: Slip) -> list[Slip]:
        """Return the other slips of the day: this car's and others'."""
        own = [other for key, other in self.slips.items() if key.date == slip.key.date and key != slip.key]
        return [*own, *self.others.get(slip.key.date, ())]


def gather(book: Logbook, name: str, key: RunKey | None = None) -> Case:
    """Return what is known of a car; with ``key`` the air and the other cars of that run's day only."""
    told, started = facts.slips(book, name), traces.started(book, name)
    for logged in started:
        told.setdefault(logged, Slip(logged))
    tracks, sheets = facts.tracks(book), facts.sheets(book, name)
    spoken = crew.said(book, None, "answer", *USED)
    said = answers.gather(name, [fact for fact in spoken if fact.what == "answer"])
    slips = {run: answers.taken(slip, said.effects(run)) for run, slip in sorted(told.items())}
    days = {(slip.key.date, slip.track) for slip in slips.values() if key in (None, slip.key)}
    return Case(
        facts.car(book, name),
        name,
        tracks,
        slips,
        sheets,
        setup.in_force(sheets, slips),
        {
            (date, track): answers.pressures(
                facts.air(book, date, track), said.effects_of_day(date), tracks.get(track) if track else None
            )
            for date, track in days
        },
        after_midnight({slip.key: slip.time for slip in slips.values()}),
        said,
        _others(book, name, {date for date, _ in days}),
        records_of(slips, [fact for fact in spoken if fact.what in USED and fact.car == name]),
        started,
        traces.close_calls(book, name),
    )


def _others(book: Logbook, name: str, dates: set[dt.date]) -> dict[dt.date, list[Slip]]:
    found: dict[dt.date, list[Slip]] = {}
    for slip in facts.slips_on(book, dates):
        if slip.key.car != name:
            found.setdefault(slip.key.date, []).append(slip)
    return found
