"""What a run leaves on paper: key, sheet, slip, air."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping


@dataclass(frozen=True, order=True)
class RunKey:
    """Identity of a run, written ``car/date/number``."""

    car: str
    date: dt.date
    number: int

    def __str__(self) -> str:
        return f"{self.car}/{self.date.isoformat()}/{self.number}"


@dataclass(frozen=True)
class SheetEntry:
    """One line of a setup sheet, valid from a run on. ``value`` is in ``unit``; holes are held by position."""

    item: str
    value: float | None
    """None where the sheet wrote words, such as the name of a tyre set"""
    unit: str
    text: str
    """the value as the crew says it: a hole's label, a number, or the words of the sheet"""


@dataclass(frozen=True)
class Sheet:
    """A setup sheet: full, or only what changed, valid from run ``number`` of ``date`` on."""

    car: str
    date: dt.date | None
    """None: valid before the first test day, the baseline that the car left the shop with"""
    number: int
    full: bool
    entries: tuple[SheetEntry, ...]


@dataclass(frozen=True)
class Slip:
    """A timing slip with what was noted beside it. ``times`` [s] and ``speeds`` [m/s] are keyed by distance in feet."""

    key: RunKey
    time: dt.time | None = None
    track: str | None = None
    lane: str | None = None
    purpose: str | None = None
    reaction: float | None = None
    times: Mapping[int, float] = field(default_factory=dict)
    speeds: Mapping[int, float] = field(default_factory=dict)
    true_to_ft: int | None = None
    """the distance up to which the figures count; None: all"""
    spoiled: str | None = None
    note: str | None = None


@dataclass(frozen=True)
class AirReading:
    """The air at a time: temperature [K], humidity 0…1, station pressure [Pa], wind [m/s, degrees it comes from]."""

    time: dt.datetime
    temperature: float
    relative_humidity: float
    station_pressure: float
    wind_speed: float | None = None
    wind_from_deg: float | None = None
    track_temperature: float | None = None
    source: str = ""


DATE_ORDERS = ("day-first", "month-first")
"""How the user says in which order dates are written."""


@dataclass(frozen=True)
class Given:
    """What the user said about files beside what is in them; None: not said."""

    kind: str | None = None
    car: str | None = None
    run: RunKey | None = None
    track: str | None = None
    full: bool | None = None
    elevation: float | None = None
    """[m] for air readings given as altimeter setting"""
    rate_hz: float | None = None
    part: int | None = None
    """of a logger file with several recordings, counted from 1"""
    dates: str | None = None
    """``day-first`` or ``month-first``: dates of logs that can be read either way"""

    missing: str | None = None
    """words that stand for a missing sample in logs, parted by commas"""

    @property
    def missing_words(self) -> frozenset[str]:
        """The words for a missing sample, in lower case."""
        return frozenset(word.strip().lower() for word in (self.missing or "").split(",")) - {""}

    @property
    def day_first(self) -> bool | None:
        """Whether dates that can be read either way have the day first; None: not said."""
        return None if self.dates is None else self.dates == DATE_ORDERS[0]
