"""Logged channels in the logbook: one row a sample, on the time base of its channel."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from runlog.records import RunKey, Samples

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from runlog.records import FloatArray, LoggerFile
    from runlog.store.connection import Logbook

_BATCH = 1_000_000
"""samples written by one statement"""


def save_trace(book: Logbook, entry: int, key: RunKey, log: LoggerFile) -> None:
    """Write every channel of a logger file under the run. To be called inside a transaction.

    Values are kept in single precision; they are finite, since readers leave gaps out.
    """
    bases: list[FloatArray] = []
    numbers: list[int] = []
    for channel in log.channels:
        numbers.append(_base_number(bases, channel.time))
    book.insert(
        "trace_fact",
        [(entry, key.car, key.date, key.number, log.started_at, log.fingerprint)],
    )
    book.insert(
        "channel_fact",
        [
            (entry, n, channel.name, channel.canonical, channel.unit, channel.confidence, base)
            for n, (channel, base) in enumerate(zip(log.channels, numbers, strict=True))
        ],
    )
    _insert(book, "tick_fact", entry, bases, np.float64)
    _insert(book, "sample_fact", entry, [channel.values for channel in log.channels], np.float32)


def _base_number(bases: list[FloatArray], time: FloatArray) -> int:
    for n, base in enumerate(bases):
        if base is time or (base.size == time.size and np.array_equal(base, time)):
            return n
    bases.append(time)
    return len(bases) - 1


def _insert(book: Logbook, table: str, entry: int, parts: Sequence[FloatArray], kind: type[np.floating[Any]]) -> None:
    room = min(sum(part.size for part in parts), _BATCH)
    if not room:
        return
    columns: dict[str, Any] = {
        "entry": np.full(room, entry, np.int64),
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
        "select entry from book.main.trace where car = ? and date = ? and number = ?", [key.car, key.date, key.number]
    )
    if found is None:
        return {}
    entry = found[0]
    ticks = book.arrays(
        "select time_base, time from book.main.tick_fact where entry = ? order by time_base, n", [entry]
    )
    bases = {int(base): ticks["time"][ticks["time_base"] == base] for base in np.unique(ticks["time_base"])}
    values = book.arrays(
        "select sample_fact.channel, value from book.main.sample_fact join book.main.channel_fact "
        "on channel_fact.entry = sample_fact.entry and channel_fact.channel = sample_fact.channel "
        "where sample_fact.entry = ? and canonical is not null order by sample_fact.channel, n",
        [entry],
    )
    channels = book.rows(
        "select channel, canonical, time_base from book.main.channel_fact where entry = ? and canonical is not null",
        [entry],
    )
    return {
        canonical: Samples(bases[base], values["value"][values["channel"] == number].astype(np.float64))
        for number, canonical, base in channels
        if base in bases
    }


def logs_by_fingerprint(book: Logbook) -> dict[str, int]:
    """Return how many logger files were stored with each header."""
    rows = book.rows("select fingerprint, system.main.count(*) from book.main.trace_fact group by fingerprint")
    return {fingerprint: int(count) for fingerprint, count in rows}


def runs_with_trace(book: Logbook, car: str | None = None) -> set[RunKey]:
    """Return the keys of all runs that have a trace."""
    rows = book.rows("select car, date, number from book.main.trace where ? is null or car = ?", [car, car])
    return {RunKey(*row) for row in rows}
