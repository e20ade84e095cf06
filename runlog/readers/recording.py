"""From a table to the recordings in it, whatever kind of file the table came from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from runlog.readers import time_base
from runlog.readers.channel_map import fingerprint
from runlog.readers.logged import make_channels
from runlog.readers.preamble import Preamble
from runlog.readers.resets import cut_at
from runlog.readers.timing import Table, Timing, find_timing
from runlog.records import LoggerFile, TimeBase

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runlog.problems import Problems
    from runlog.readers.channel_map import ChannelMap
    from runlog.readers.columns import Block
    from runlog.readers.headers import Heading
    from runlog.readers.lines import Layout


@dataclass(frozen=True)
class Opened:
    """A file whose columns are read: ``timing`` where the format itself tells the time of each column."""

    encoding: str
    """of text; empty for other formats"""
    table: Table
    block: Block
    preamble: Preamble
    timing: Timing | None = None


def table_of(data: bytes, layout: Layout, headings: Sequence[Heading], block: Block) -> Table:
    """Put headings and columns together."""
    return Table(
        data=data,
        layout=layout,
        headings=headings,
        kinds=layout.kinds,
        values=[column.values for column in block.columns],
        days=[column.days for column in block.columns],
        first_texts=[column.first_text for column in block.columns],
        orders_told=[column.order_told for column in block.columns],
        rows=block.rows,
    )


def timing_of(opened: Opened, wish: ChannelMap, problems: Problems) -> Timing:
    """Return the time of every column; faults are raised."""
    timing = opened.timing or find_timing(opened.table, opened.preamble, wish, problems)
    if timing.timelines and not any(np.isfinite(line.seconds).any() for line in timing.timelines):
        problems.add("", "no time that can be read", "a time at every sample, or the option --rate HZ")
    problems.raise_if_any()
    return timing


def recordings(opened: Opened, wish: ChannelMap, problems: Problems) -> tuple[LoggerFile, ...]:
    """Return the recordings of a file, more than one where its clock begins anew; faults are raised."""
    table, layout = opened.table, opened.table.layout
    timing = timing_of(opened, wish, problems)
    channels, close, warnings = make_channels(table, opened.block, timing, wish, problems)
    problems.raise_if_any()
    whole = LoggerFile(
        encoding=opened.encoding,
        delimiter=layout.delimiter,
        decimal=layout.decimal,
        header_line=layout.header_line,
        first_data_line=layout.first_data_line,
        rows=opened.block.rows,
        times=_time_bases(timing, table.headings),
        channels=channels,
        started_at=timing.started_at,
        order_guessed=timing.order_guessed,
        fingerprint=fingerprint(
            [heading.name for heading in table.headings], [heading.unit for heading in table.headings]
        ),
        close_calls=close,
        warnings=(*opened.block.warnings, *timing.warnings, *warnings),
    )
    return cut_at(whole, timing.breaks, is_clock=timing.by_clock)


def _time_bases(timing: Timing, headings: Sequence[Heading]) -> tuple[TimeBase, ...]:
    bases = []
    for timeline in timing.timelines:
        seconds = timeline.seconds[np.isfinite(timeline.seconds)]
        if not seconds.size:
            continue  # of several time columns one may hold nothing
        name = "" if timeline.column is None else headings[timeline.column].name
        rate = time_base.usual_rate(seconds)
        bases.append(TimeBase(name, timeline.unit, float(seconds[0]), float(seconds[-1]), rate))
    return tuple(bases)
