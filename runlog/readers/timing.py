"""Choosing the time of each channel: which columns are times, which channel belongs to which, when it all began."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.readers import time_base
from runlog.readers.cells import Kind
from runlog.readers.clock import ambiguous, twelve_hours
from runlog.readers.columns import line_of_row
from runlog.readers.resets import Break, unwind
from runlog.readers.time_base import Timeline

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from runlog.problems import Problems
    from runlog.readers.channel_map import ChannelMap
    from runlog.readers.headers import Heading
    from runlog.readers.lines import Layout
    from runlog.readers.preamble import Preamble

REMEDY: Final = "Give --rate HZ, or name the time column or the rate in a channel map."


@dataclass(frozen=True)
class Table:
    """The columns as read: ``values`` by column (seconds of the day for clocks), ``days`` where dates stand, texts."""

    data: bytes
    layout: Layout
    headings: Sequence[Heading]
    kinds: Sequence[Kind]
    values: Sequence[NDArray[np.float64]]
    days: Sequence[NDArray[np.float64] | None]
    first_texts: Sequence[str]
    rows: int
    orders_told: Sequence[bool] = ()
    """by column, whether its dates show the order of day and month"""
    day_first: bool | None = None
    """the order that the user gave, or that the decimal mark speaks for"""


@dataclass(frozen=True)
class Timing:
    """The timelines in use, the timeline of each column, the columns that aren't channels, and the start."""

    timelines: tuple[Timeline, ...]
    owner: tuple[int, ...]
    used: frozenset[int]
    started_at: dt.datetime | None
    warnings: tuple[str, ...]
    breaks: tuple[Break, ...] = ()
    """where further recordings begin"""
    repeated: int = 0
    """lines left out because they repeat others, or stand after later ones"""
    order_guessed: bool = False
    """whether day and month of the start may be the other way round"""

    @property
    def by_clock(self) -> bool:
        """Tell whether the time is that of the day."""
        return bool(self.timelines) and self.timelines[0].is_clock


def find_timing(table: Table, preamble: Preamble, wish: ChannelMap, problems: Problems) -> Timing:
    """Find the time of every column; faults go to ``problems``. ``wish.rate_hz`` overrules what the file says."""
    found = _wished(table, wish, problems)
    if found is None:
        found = _candidates(table)
    used = {timeline.column for timeline in found if timeline.column is not None}
    used |= {place for place, kind in enumerate(table.kinds) if kind is Kind.DATE}
    used |= {beside for timeline in found if (beside := _thousandths(table, timeline.column)) is not None}
    kept = _without_doubles(found)
    warnings: list[str] = []
    if not kept:
        timeline, counter = _by_rate(table, preamble, wish.rate_hz)
        if timeline is None:
            _no_time(table, problems)
            return Timing((), (0,) * len(table.kinds), frozenset(used), None, ())
        kept, used = [timeline], used | ({counter} if counter is not None else set())
    owner = _owners(table, kept, used)
    kept, owner = _only_owning(kept, owner, used)
    kept, breaks, repeated, late = _in_order(table, kept, problems)
    warnings += [timeline.assumed for timeline in kept if timeline.assumed]
    warnings += [f"{repeated} line(s) that repeat lines above them left out"] if repeated else []
    warnings += [f"{late} line(s) that stand after later ones left out"] if late else []
    started_at, remarks, guessed = _started_at(table, found, preamble)
    warnings += remarks
    return Timing(
        tuple(kept), tuple(owner), frozenset(used), started_at, tuple(warnings), breaks, repeated + late, guessed
    )


def _wished(table: Table, wish: ChannelMap, problems: Problems) -> list[Timeline] | None:
    """Return the time that the user ordered, or None to look for it; an empty list leaves it to the rate."""
    if wish.time_column is not None:
        for place, heading in enumerate(table.headings):
            if wish.is_time(heading.name, heading.cell):
                return [_timeline(table, place, wish.time_unit)]
        names = ", ".join(repr(heading.name) for heading in table.headings[:8])
        problems.add("header", f"no column {wish.time_column!r}", f"the time column of the channel map; here: {names}")
        return []
    return [] if wish.rate_hz is not None else None


def _timeline(table: Table, place: int, unit: str = "") -> Timeline:
    kind = table.kinds[place]
    if kind is Kind.DATE:
        days = table.days[place]
        return time_base.from_clock(place, kind, np.zeros(table.rows), np.empty(0) if days is None else days)
    if kind in (Kind.CLOCK, Kind.DATE_TIME):
        days = table.days[place]
        dates = next((table.days[other] for other, it in enumerate(table.kinds) if it is Kind.DATE), None)
        if days is None or not np.isfinite(days).any():
            days = dates if dates is not None else np.full(table.rows, np.nan)
        beside = _thousandths(table, place)
        finer = 0.0 if beside is None else table.values[beside] / 1000
        return time_base.from_clock(place, kind, table.values[place] + finer, days)
    return time_base.from_numbers(place, table.headings[place], table.values[place], unit)


def _thousandths(table: Table, place: int | None) -> int | None:
    """Return the column of milliseconds beside a clock of whole seconds, None where there is none."""
    if place is None or table.kinds[place] not in (Kind.CLOCK, Kind.DATE_TIME):
        return None
    whole = table.values[place]
    if not np.isfinite(whole).any() or bool(np.any(whole[np.isfinite(whole)] % 1)):
        return None
    for beside in (place + 1, place - 1):
        if not 0 <= beside < len(table.kinds) or table.kinds[beside] is not Kind.NUMBER:
            continue
        values = table.values[beside]
        within = bool(np.all((values >= 0) & (values < 1000) | np.isnan(values))) and float(np.nanmax(values)) > 1.0
        if within and time_base.is_milliseconds(table.headings[beside]):
            return beside
    return None


def _candidates(table: Table) -> list[Timeline]:
    """Return the columns that are times by their cells, or by name and rising numbers."""
    sure, maybe = [], []
    thousandths = {_thousandths(table, place) for place in range(len(table.kinds))}
    for place, (heading, kind) in enumerate(zip(table.headings, table.kinds, strict=True)):
        sounds = time_base.wording(heading)
        if kind in (Kind.CLOCK, Kind.DATE_TIME):
            if kind is Kind.DATE_TIME or sounds > 0 or not heading.name or table.layout.header_line == 0:
                sure.append(place)
        elif place in thousandths:
            continue
        elif kind is Kind.NUMBER and sounds >= 0.7 and time_base.increases(table.values[place]):
            sure.append(place)
        elif kind is Kind.NUMBER and (sounds == 1.0 or (place == 0 and sounds >= 0.3 and _rises(table.values[0]))):
            maybe.append(place)
    return [_timeline(table, place) for place in _together(table, sure, maybe) or _by_dates(table)]


def _together(table: Table, sure: Sequence[int], falling: Sequence[int]) -> Sequence[int]:
    """Return the time columns with those that fall, if all begin anew together; else those that don't, or one."""
    everyone = sorted((*sure, *falling))
    if falling and len(everyone) > 1 and unwind(table, [_timeline(table, n).seconds for n in everyone]) is None:
        return sure or falling[:1]
    return everyone


def _by_dates(table: Table) -> list[int]:
    """Return the first column of dates that rise from line to line: a table of days or months."""
    dated = (place for place, kind in enumerate(table.kinds) if kind is Kind.DATE)
    return [place for place in dated if (days := table.days[place]) is not None and _rises(days)][:1]


def _rises(values: NDArray[np.float64]) -> bool:
    return bool(np.isfinite(values).all()) and values.size > 2 and bool(np.all(np.diff(values) > 0))


def _without_doubles(found: Sequence[Timeline]) -> list[Timeline]:
    """Keep one of several columns that tell the same time: plain seconds before a clock, else the first."""
    kept: list[Timeline] = []
    for timeline in sorted(found, key=lambda line: line.is_clock):
        if not any(time_base.same_base(timeline, other) for other in kept):
            kept.append(timeline)
    return sorted(kept, key=lambda line: -1 if line.column is None else line.column)


def _by_rate(table: Table, preamble: Preamble, rate_hz: float | None) -> tuple[Timeline | None, int | None]:
    """Make the time from a sample rate; returns it and the column that counts the samples, if one does."""
    rate = rate_hz or preamble.rate_hz
    if rate is None:
        return None, None
    first = table.headings[0]
    counts = table.kinds[0] is Kind.NUMBER and time_base.is_counter(first, table.values[0])
    start = preamble.start if preamble.rate_hz is not None else 0.0
    timeline = time_base.from_rate(table.rows, rate, start, table.values[0] if counts else None)
    return timeline, 0 if counts else None


def _no_time(table: Table, problems: Problems) -> None:
    names = ", ".join(repr(heading.name) for heading in table.headings[:6])
    more = ", …" if len(table.headings) > 6 else ""
    line = table.layout.header_line
    problems.add(
        f"line {line}" if line else "",
        f"no time base (columns {names}{more})" if line else "no time base and no header",
        "a time column, or a sample rate above the table",
        REMEDY,
    )


def _owners(table: Table, kept: Sequence[Timeline], used: set[int]) -> list[int]:
    """Give each column the time column that carries its name, else the next one to its left, else the first."""
    owner = []
    for place, heading in enumerate(table.headings):
        named = left = None
        for index, timeline in enumerate(kept):
            if timeline.column is None or place in used:
                continue
            if len(kept) > 1 and time_base.named_after(heading, table.headings[timeline.column]):
                named = index
            if timeline.column < place:
                left = index
        owner.append(named if named is not None else left if left is not None else 0)
    return owner


def _only_owning(kept: Sequence[Timeline], owner: Sequence[int], used: set[int]) -> tuple[list[Timeline], list[int]]:
    """Leave out time columns that no channel belongs to."""
    owning = sorted({index for place, index in enumerate(owner) if place not in used}) or [0]
    return [kept[index] for index in owning], [owning.index(index) if index in owning else 0 for index in owner]


def _in_order(
    table: Table, kept: Sequence[Timeline], problems: Problems
) -> tuple[list[Timeline], tuple[Break, ...], int, int]:
    """Return timelines that rise, where further recordings begin, and how many lines repeat others or come late.

    A clock that can't be right is a fault.
    """
    falling = [timeline for timeline in kept if _first_fall(timeline) is not None]
    if not falling:
        return list(kept), (), 0, 0
    unwound = unwind(table, [timeline.seconds for timeline in kept])
    if unwound is None:
        for timeline in falling:
            _falls(table, timeline, problems)
        return list(kept), (), 0, 0
    risen = [replace(line, seconds=seconds) for line, seconds in zip(kept, unwound.columns, strict=True)]
    return risen, unwound.breaks, unwound.repeated, unwound.late


def _first_fall(timeline: Timeline) -> tuple[int, int, int] | None:
    """Return the rows between which a time first falls, and how often it does; None where it never does."""
    if timeline.column is None:
        return None
    rows = np.flatnonzero(np.isfinite(timeline.seconds))
    falls = np.flatnonzero(np.diff(timeline.seconds[rows]) < 0)
    return (int(rows[falls[0]]), int(rows[falls[0] + 1]), falls.size) if falls.size else None


def _falls(table: Table, timeline: Timeline, problems: Problems) -> None:
    column = timeline.column or 0
    before, after, count = _first_fall(timeline) or (0, 0, 0)
    more = f" (and {count - 1} more such steps)" if count > 1 else ""
    problems.add(
        f"{place_of_row(table, int(after))}, column {table.headings[column].name or column + 1}",
        f"time falls from {timeline.seconds[before]:.6g} s to {timeline.seconds[after]:.6g} s{more}",
        "times that increase from line to line, or begin anew for another recording",
        "Split the file there if it holds two recordings, or name another time column in a channel map.",
    )


def place_of_row(table: Table, row: int) -> str:
    """Return where a row stands, for messages; rows count from 0."""
    return f"line {line_of_row(table.data, table.layout, row)}" if table.data else f"sample {row + 1}"


def _started_at(
    table: Table, found: Sequence[Timeline], preamble: Preamble
) -> tuple[dt.datetime | None, list[str], bool]:
    """Return the local start: from a column with dates, a clock and a date, or date and time above the table.

    Also what is to be said of it, and whether the order of its day and month is a guess.
    """
    for timeline in found:
        place = timeline.column
        if place is None or not timeline.is_clock:
            continue
        text = table.first_texts[place]
        if text.rstrip().upper().endswith(("Z", "UTC")):
            remark = f"column {table.headings[place].name!r} is in UTC: the local start is not taken from it"
            return None, [remark], False
        first = int(np.flatnonzero(np.isfinite(timeline.seconds))[0]) if np.isfinite(timeline.seconds).any() else 0
        date, written, told = _date_of(table, place, first, preamble)
        if date is not None:
            since_midnight = float(np.nan_to_num(table.values[place][first]))
            start = dt.datetime.combine(date, dt.time()) + dt.timedelta(seconds=since_midnight)
            guessed = not told and table.day_first is None and ambiguous(written) and not twelve_hours(text)
            return start, [_date_order(written)] if guessed else [], guessed
    if preamble.date is not None and preamble.time is not None:
        guessed = table.day_first is None and ambiguous(preamble.date_text)
        remarks = [_date_order(preamble.date_text)] if guessed else []
        return dt.datetime.combine(preamble.date, preamble.time), remarks, guessed
    return None, [], False


def _date_of(table: Table, place: int, row: int, preamble: Preamble) -> tuple[dt.date | None, str, bool]:
    """Return the date of a row, as it is written, and whether its order of day and month shows."""
    for column in (place, *(other for other, kind in enumerate(table.kinds) if kind is Kind.DATE)):
        days = table.days[column]
        if days is not None and row < days.size and np.isfinite(days[row]):
            told = column < len(table.orders_told) and table.orders_told[column]
            return dt.date(1970, 1, 1) + dt.timedelta(days=float(days[row])), table.first_texts[column], told
    return preamble.date, preamble.date_text, False


def _date_order(text: str) -> str:
    return f"the date {text.strip()!r} was read with the month first; --dates day-first reads it the other way round"


def with_rate(wish: ChannelMap, rate_hz: float | None) -> ChannelMap:
    """Return the map with the sample rate of the command line, which overrules the map's time."""
    return wish if rate_hz is None else replace(wish, rate_hz=rate_hz, time_column=None)
