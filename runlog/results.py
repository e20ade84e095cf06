"""What is computed for a run, and the shapes in which pages are built from it. SI unless the name says otherwise."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

    from runlog.records import RunKey, SheetEntry


ASSUMED: Final = 0.10
"""share learned below which runs have told next to nothing: "no difference" is then what was assumed before them"""


@dataclass(frozen=True)
class AirState:
    """The air of a run: temperature [K], humidity 0…1, pressure [Pa], density [kg/m³], density altitude [m]."""

    temperature: float
    relative_humidity: float
    station_pressure: float
    density: float
    density_ratio: float
    density_altitude: float
    wind_along: float | None
    """[m/s] along the direction of travel, tailwind positive"""
    track_temperature: float | None
    source: str


@dataclass(frozen=True)
class Change:
    """An item that differs from the run before; ``None``: it wasn't known before."""

    item: str
    before: str | None
    after: str
    unit: str


@dataclass(frozen=True)
class Answer:
    """One answer to a question: the key to press, what it says, and what it does; None: it is only remembered."""

    key: str
    text: str
    effect: Mapping[str, Any] | None = None
    """in the shape of ``readers.crew_words.EffectModel``"""


@dataclass(frozen=True)
class Question:
    """Something about a run that doesn't fit together, put to the crew; without answers it is a remark.

    ``id`` holds what the question rests on, so that it is asked anew when that changes and not before.
    """

    id: str
    text: str
    evidence: tuple[str, ...] = ()
    answers: tuple[Answer, ...] = ()
    whole_day: bool = False
    """whether one answer stands for all runs of the day"""


@dataclass(frozen=True)
class RunResult:
    """A run with everything computed for it. Times [s] and speeds [m/s] are keyed by distance in feet."""

    key: RunKey
    time: dt.time | None = None
    track: str | None = None
    lane: str | None = None
    purpose: str | None = None
    reaction: float | None = None
    clean: bool = True
    spoiled: str | None = None
    note: str | None = None
    valid_to_ft: int | None = None
    """the distance up to which the figures count; 0: none of them"""
    air: AirState | None = None
    times: Mapping[int, float] = field(default_factory=dict)
    speeds: Mapping[int, float] = field(default_factory=dict)
    corrected_times: Mapping[int, float] = field(default_factory=dict)
    """only as far as the figures count"""
    corrected_speeds: Mapping[int, float] = field(default_factory=dict)
    trace_splits: Mapping[int, tuple[float, float]] = field(default_factory=dict)
    first_motion_60: tuple[float, float] | None = None
    """[s] from first motion until 60 ft of ground are covered, by the trace, and its sd"""
    alarms: tuple[Mapping[str, Any], ...] = ()
    """limits passed that other runs' traces are needed for, in the shape of the findings' alarms"""
    record: Mapping[str, Any] = field(default_factory=dict)
    """what was recorded beside the figures and which parts ran, as far as it is known: ``record.of_runs``"""
    caveats: tuple[str, ...] = ()
    """what to mind about the corrected figures"""
    expected: Mapping[int, tuple[float, float]] | None = None
    """splits [s] with their sd, as the runs before led to expect them; None: not computed yet"""
    setup: tuple[SheetEntry, ...] = ()
    changes: tuple[Change, ...] = ()
    coasted: tuple[int, ...] = ()
    """[ft] beams whose trap speed doesn't count, though their time does"""
    questions: tuple[Question, ...] = ()
    """open ones: what was answered isn't asked again"""

    def counted_times(self) -> dict[int, float]:
        """Return the measured times as far as they count."""
        limit = 0 if self.valid_to_ft is None else self.valid_to_ft
        return {feet: value for feet, value in self.times.items() if feet <= limit}

    def counted_speeds(self) -> dict[int, float]:
        """Return the measured trap speeds as far as they count."""
        limit = 0 if self.valid_to_ft is None else self.valid_to_ft
        return {feet: value for feet, value in self.speeds.items() if feet <= limit and feet not in self.coasted}


Findings = dict[str, Any]
"""What a trace shows, in plain numbers (the fields of ``records.TraceFindings`` without its arrays)."""
