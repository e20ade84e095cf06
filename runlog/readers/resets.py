"""A clock that falls: another recording in the same file, lines that were written twice, or a fault.

A second recording begins where the clock goes back to about where the first began and both parts are long enough to be
recordings. It is set behind the first, far enough to be told apart, and what was added is noted, so that the channels
can be made at once and cut afterwards. The thresholds are common practice, no source.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.records import LoggerFile, TimeBase

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from runlog.readers.timing import Table

APART: Final = 3600.0
"""[s] set between recordings whose clocks begin anew"""
_LEAST_ROWS: Final = 20
_LEAST_SPAN: Final = 1.0
"""[s]"""
_NEAR_START: Final = 0.05
"""share of the recording before within which a clock that began anew stands"""


_FEW_LATE: Final = 0.01
"""share of the lines that may stand too far down"""
_LATE_STEPS: Final = 5.0
"""usual steps by which they may"""


@dataclass(frozen=True)
class Break:
    """Where a further recording begins [s, on the unwound clock] and what was added to its clock [s]."""

    time: float
    added: float


@dataclass(frozen=True)
class Unwound:
    """Times [s] by time column that rise throughout, nan for lines written twice, and where recordings begin."""

    columns: tuple[NDArray[np.float64], ...]
    breaks: tuple[Break, ...]
    repeated: int
    late: int = 0
    """lines that stand a little too far down"""


@dataclass(frozen=True)
class _Pieces:
    """One time column without lines written twice: its rows, and where among them it begins anew."""

    seconds: NDArray[np.float64]
    rows: NDArray[np.intp]
    edges: tuple[int, ...]
    """places among the rows, 0 and their number included"""
    dropped: NDArray[np.intp]
    """rows of lines written twice"""
    late: NDArray[np.intp]
    """rows of lines that stand a little too far down"""

    def rows_of(self, piece: int) -> NDArray[np.intp]:
        """Return the rows of one piece."""
        return self.rows[self.edges[piece] : self.edges[piece + 1]]


def unwind(table: Table, columns: Sequence[NDArray[np.float64]]) -> Unwound | None:
    """Make the times of all time columns rise throughout.

    None when one falls and neither a new recording nor repeated lines explain it, or when several don't begin anew
    together: each part of a file has its own stretch of lines.
    """
    found = [_pieces(table, seconds) for seconds in columns]
    pieces = [item for item in found if item is not None]
    if len(pieces) < len(found) or len({len(item.edges) for item in pieces}) > 1:
        return None
    seconds = [item.seconds for item in pieces]
    breaks: list[Break] = []
    for n in range(1, len(pieces[0].edges) - 1):
        before, after = ([item.rows_of(place) for item in pieces] for place in (n - 1, n))
        if max(int(rows[-1]) for rows in before) >= min(int(rows[0]) for rows in after):
            return None
        end = max(float(own[rows[-1]]) for own, rows in zip(seconds, before, strict=True))
        begin = min(float(own[rows[0]]) for own, rows in zip(seconds, after, strict=True))
        added = end + APART - begin
        for own, rows in zip(seconds, after, strict=True):
            own[rows] += added
        breaks.append(Break(begin + added, added))
    repeated, late = (
        np.unique(np.concatenate(rows)).size
        for rows in ([item.dropped for item in pieces], [item.late for item in pieces])
    )
    return Unwound(tuple(seconds), tuple(breaks), repeated, late)


def _pieces(table: Table, seconds: NDArray[np.float64]) -> _Pieces | None:
    """Cut one time column where it falls; None where a fall is neither a new recording nor lines written twice."""
    seconds = seconds.copy()
    rows = np.flatnonzero(np.isfinite(seconds))
    dropped = [rows[:0]]
    while (falls := np.flatnonzero(np.diff(seconds[rows]) < 0)).size:
        again = _written_twice(table, seconds, rows, int(falls[0]) + 1)
        if not again:
            break
        place = int(falls[0]) + 1
        dropped.append(rows[place : place + again])
        seconds[dropped[-1]] = np.nan
        rows = np.delete(rows, np.s_[place : place + again])
    late = _late(seconds[rows])
    seconds[rows[late]] = np.nan
    rows, late_rows = rows[~late], rows[late]
    falls = np.flatnonzero(np.diff(seconds[rows]) < 0)
    edges = (0, *(falls + 1).tolist(), rows.size)
    for before, begin, end in zip(edges[:-2], edges[1:-1], edges[2:], strict=True):
        first, last = (float(seconds[rows[place]]) for place in (before, begin - 1))
        if not _is_new_recording(first, last, seconds[rows[begin:end]], begin - before):
            return None
    return _Pieces(seconds, rows, edges, np.concatenate(dropped), late_rows)


def _late(times: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Return which lines come a few steps after their place, as where packets overtake each other; few, or none are."""
    behind = np.maximum.accumulate(times) - times
    late = behind > 0
    step = float(np.median(np.abs(np.diff(times)))) if times.size > 1 else 0.0
    few = 0 < np.count_nonzero(late) <= _FEW_LATE * times.size
    return late if few and float(behind.max()) <= _LATE_STEPS * step else np.zeros(times.size, dtype=bool)


def _is_new_recording(first: float, last: float, own: NDArray[np.float64], rows_before: int) -> bool:
    """Tell whether times that fall begin a recording: from ``first`` to ``last`` ran the clock before them."""
    long_enough = min(rows_before, own.size) >= _LEAST_ROWS and min(last - first, own[-1] - own[0]) >= _LEAST_SPAN
    return long_enough and bool(own[0] <= first + _NEAR_START * (last - first))


def _written_twice(table: Table, seconds: NDArray[np.float64], rows: NDArray[np.intp], place: int) -> int:
    """Return how many lines from a place on are, in every cell, lines that stand above it already."""
    start = int(np.searchsorted(seconds[rows[:place]], seconds[rows[place]]))
    count = min(place - start, rows.size - place)
    if start >= place or seconds[rows[start]] != seconds[rows[place]] or not count:
        return 0
    one, other = rows[start : start + count], rows[place : place + count]
    same = np.ones(count, dtype=bool)
    for values in table.values:
        a, b = values[one], values[other]
        same &= (a == b) | (np.isnan(a) & np.isnan(b))
    alike = count if same.all() else int(np.argmin(same))
    # what falls back must be the same up to where it left off, or it is something else
    return alike if start + alike == place or (alike and place + alike == rows.size) else 0


def cut_at(log: LoggerFile, breaks: Sequence[Break], *, is_clock: bool) -> tuple[LoggerFile, ...]:
    """Cut a file into its recordings, each on its own clock again.

    The start of a later recording is known only from a clock of the day (``is_clock``).
    """
    if not breaks:
        return (log,)
    bounds = [*(item.time for item in breaks), np.inf]
    begin = float(log.times[0].start)
    parts = [between(log, -np.inf, bounds[0])]
    for item, end in zip(breaks, bounds[1:], strict=True):
        part = between(log, item.time, end, item.added)
        started_at = None
        if log.started_at is not None and is_clock:
            started_at = log.started_at + dt.timedelta(seconds=item.time - item.added - begin)
        parts.append(replace(part, started_at=started_at))
    return tuple(parts)


def between(log: LoggerFile, low: float, high: float, minus: float = 0.0) -> LoggerFile:
    """Return the part of a recording from one time [s] up to another, ``minus`` [s] taken off its times."""
    cut: dict[int, tuple[slice, NDArray[np.float64]]] = {}
    channels = []
    for channel in log.channels:
        if id(channel.time) not in cut:
            where = slice(*np.searchsorted(channel.time, [low, high]).tolist())
            cut[id(channel.time)] = where, channel.time[where] - minus
        where, time = cut[id(channel.time)]
        channels.append(replace(channel, time=time, values=channel.values[where]))
    sizes = [channel.time.size for channel in channels]
    return replace(log, channels=tuple(channels), rows=max(sizes), times=_bases(log, [c.time for c in channels]))


def _bases(log: LoggerFile, times: Sequence[NDArray[np.float64]]) -> tuple[TimeBase, ...]:
    """Return the time bases of a part: as those of the whole, with its own ends."""
    filled = [time for time in times if time.size]
    if not filled:
        return log.times
    start, end = min(float(time[0]) for time in filled), max(float(time[-1]) for time in filled)
    return tuple(replace(base, start=start, end=end) for base in log.times)
