"""Logged channels in the logbook: one row a sample, on the time base of its channel."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from runlog.records import CloseCall, Contender, RunKey, Samples

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterator, Mapping, Sequence

    from runlog.records import FloatArray, LoggedChannel, LoggerFile
    from runlog.store.connection import Logbook

SAMPLES_OF_RUN = (
    "select car, date, number, channel_fact.name, canonical, unit, time, value from book.main.trace "
    "join book.main.channel_fact on channel_fact.body = trace.body "
    "join book.main.sample_fact on sample_fact.body = trace.body and sample_fact.channel = channel_fact.channel "
    "join book.main.tick_fact on tick_fact.body = trace.body "
    "and tick_fact.time_base = channel_fact.time_base and tick_fact.n = sample_fact.n "
    "where car = ? and date = ? and number = ? order by channel_fact.channel, sample_fact.n"
)
"""every sample of a run's trace with its time, in the order of channels"""
_BATCH = 1_000_000
"""samples written by one statement"""


def save_trace(book: Logbook, entry: int, key: RunKey, log: LoggerFile) -> StoredTrace:
    """Write every channel of a logger file under the run, as a body of its own; return where it stands.

    To be called inside a transaction.

    Values are kept in single precision; they are finite, since readers leave gaps out.
    """
    bases: list[FloatArray] = []
    numbers: list[int] = []
    for channel in log.channels:
        numbers.append(_base_number(bases, channel.time))
    found = book.row("select coalesce(system.main.max(body), 0) + 1 from book.main.trace_fact")
    body = int(found[0]) if found else 1
    book.insert(
        "trace_fact",
        [(entry, key.car, key.date, key.number, log.started_at, log.fingerprint, body)],
    )
    if log.channels:
        book.insert_columns("channel_fact", _channels(body, log.channels, numbers))
    book.insert(
        "close_call",
        [
            (body, close.canonical, place, one.name, one.confidence, one.why)
            for close in log.close_calls
            for place, one in enumerate(close.contenders)
        ],
    )
    _insert(book, "tick_fact", body, bases, np.float64)
    _insert(book, "sample_fact", body, [channel.values for channel in log.channels], np.float32)
    return StoredTrace(entry, key, log.started_at, log.fingerprint, body)


def _channels(body: int, channels: Sequence[LoggedChannel], bases: Sequence[int]) -> dict[str, Any]:
    """Return the rows of channels as columns."""
    return {
        "body": np.full(len(channels), body, np.int64),
        "channel": np.arange(len(channels), dtype=np.int16),
        "name": np.array([channel.name for channel in channels], dtype=object),
        "canonical": np.array([channel.canonical for channel in channels], dtype=object),
        "unit": np.array([channel.unit for channel in channels], dtype=object),
        "confidence": np.array([channel.confidence for channel in channels]),
        "time_base": np.array(bases, dtype=np.int16),
    }


def _base_number(bases: list[FloatArray], time: FloatArray) -> int:
    for n, base in enumerate(bases):
        if base is time or (base.size == time.size and np.array_equal(base, time)):
            return n
    bases.append(time)
    return len(bases) - 1


def _insert(book: Logbook, table: str, body: int, parts: Sequence[FloatArray], kind: type[np.floating[Any]]) -> None:
    room = min(sum(part.size for part in parts), _BATCH)
    if not room:
        return
    columns: dict[str, Any] = {
        "body": np.full(room, body, np.int64),
        "part": np.empty(room, np.int16),
        "n": np.empty(room, np.int32),
        "value": np.empty(room, kind),
    }
    book.insert_columns(table, columns, _fillings(columns, parts))


def _fillings(columns: Mapping[str, Any], parts: Sequence[FloatArray]) -> Iterator[int]:
    """Fill the columns with the samples of one part after the other; tell each time how many there are."""
    room, filled = columns["value"].size, 0
    numbers = np.arange(max(part.size for part in parts), dtype=np.int32)
    for place, part in enumerate(parts):
        done = 0
        while done < part.size:
            count = min(part.size - done, room - filled)
            where = slice(filled, filled + count)
            columns["part"][where] = place
            columns["n"][where] = numbers[done : done + count]
            columns["value"][where] = part[done : done + count]
            done, filled = done + count, filled + count
            if filled == room:
                yield filled
                filled = 0
    if filled:
        yield filled


def samples(book: Logbook, key: RunKey) -> dict[str, Samples]:
    """Return the channels of a run with a canonical name and at least one sample, by that name."""
    found = book.row(
        "select body from book.main.trace where car = ? and date = ? and number = ?", [key.car, key.date, key.number]
    )
    if found is None:
        return {}
    body = found[0]
    ticks = book.arrays("select time_base, time from book.main.tick_fact where body = ? order by time_base, n", [body])
    bases = {int(base): ticks["time"][ticks["time_base"] == base] for base in np.unique(ticks["time_base"])}
    values = book.arrays(
        "select sample_fact.channel, value from book.main.sample_fact join book.main.channel_fact "
        "on channel_fact.body = sample_fact.body and channel_fact.channel = sample_fact.channel "
        "where sample_fact.body = ? and canonical is not null order by sample_fact.channel, n",
        [body],
    )
    channels = book.rows(
        "select channel, canonical, time_base from book.main.channel_fact where body = ? and canonical is not null",
        [body],
    )
    return {
        canonical: Samples(bases[base], values["value"][values["channel"] == number].astype(np.float64))
        for number, canonical, base in channels
        if base in bases
    }


def logs_by_fingerprint(book: Logbook) -> dict[str, int]:
    """Return how many runs have a logger file with each header."""
    rows = book.rows("select fingerprint, system.main.count(*) from book.main.trace group by fingerprint")
    return {fingerprint: int(count) for fingerprint, count in rows}


def started(book: Logbook, car: str) -> dict[RunKey, dt.datetime | None]:
    """Return when the logger's file of each of a car's runs began, local; None where the file doesn't tell."""
    rows = book.rows("select car, date, number, started_at from book.main.trace where car = ?", [car])
    return {RunKey(*row[:3]): row[3] for row in rows}


def close_calls(book: Logbook, car: str) -> dict[RunKey, tuple[str, tuple[CloseCall, ...]]]:
    """Return the header and the close calls of a car's logs that have any, by run."""
    rows = book.rows(
        "select date, number, fingerprint, canonical, name, confidence, why from book.main.trace "
        "join book.main.close_call using (body) where car = ? order by date, number, canonical, place",
        [car],
    )
    found: dict[RunKey, tuple[str, dict[str, list[Contender]]]] = {}
    for date, number, header, canonical, *contender in rows:
        _, calls = found.setdefault(RunKey(car, date, number), (header, {}))
        calls.setdefault(canonical, []).append(Contender(*contender))
    return {
        key: (header, tuple(CloseCall(canonical, tuple(those)) for canonical, those in calls.items()))
        for key, (header, calls) in found.items()
    }


def runs_with_trace(book: Logbook, car: str | None = None) -> set[RunKey]:
    """Return the keys of all runs that have a trace."""
    rows = book.rows("select car, date, number from book.main.trace where ? is null or car = ?", [car, car])
    return {RunKey(*row) for row in rows}


@dataclass(frozen=True)
class StoredTrace:
    """Where a trace stands: the entry that told it, its run, and the body that holds its samples."""

    entry: int
    key: RunKey
    started_at: dt.datetime | None
    fingerprint: str
    body: int


def stored(book: Logbook) -> list[StoredTrace]:
    """Return every trace kept, also those that later ones replace, in the order of their entries."""
    rows = book.rows(
        "select entry, car, date, number, started_at, fingerprint, body from book.main.trace_fact order by entry"
    )
    return [StoredTrace(row[0], RunKey(*row[1:4]), *row[4:]) for row in rows]


def in_force(book: Logbook) -> list[StoredTrace]:
    """Return the trace that holds for each run, in the order of their entries."""
    rows = book.rows(
        "select entry, car, date, number, started_at, fingerprint, body from book.main.trace order by entry"
    )
    return [StoredTrace(row[0], RunKey(*row[1:4]), *row[4:]) for row in rows]


def channel_names(book: Logbook, trace: StoredTrace) -> list[str]:
    """Return the names of a trace's channels as its file writes them."""
    rows = book.rows("select name from book.main.channel_fact where body = ? order by channel", [trace.body])
    return [name for (name,) in rows]


def restate(book: Logbook, traces: Sequence[StoredTrace]) -> None:
    """Let these be all the traces there are, their bodies as they are; bodies of no trace are dropped."""
    gone = {trace.body for trace in stored(book)} - {trace.body for trace in traces}
    book.rows("delete from book.main.trace_fact")
    book.insert(
        "trace_fact",
        [
            (t.entry, t.key.car, t.key.date, t.key.number, t.started_at, t.fingerprint, t.body)
            for t in traces
        ],
    )  # fmt: skip
    if gone:
        for table in ("channel_fact", "tick_fact", "sample_fact", "close_call", "trace_result"):
            book.rows(f"delete from book.main.{table} where body in (select unnest(?::bigint[]))", [sorted(gone)])
