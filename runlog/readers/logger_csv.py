"""Logger exports in any layout of delimited text."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.problems import Problems
from runlog.readers import time_base
from runlog.readers.cells import Kind
from runlog.readers.channel_map import ChannelMap, fingerprint
from runlog.readers.columns import Block, read_columns
from runlog.readers.headers import Heading, read_heading, unique_names
from runlog.readers.logged import make_channels
from runlog.readers.preamble import Preamble, read_columns_without_data, read_preamble
from runlog.readers.sniff import Layout, sniff
from runlog.readers.text import Text, read_text
from runlog.readers.timing import Table, Timing, find_timing, with_rate
from runlog.records import LoggerFile, TimeBase

if TYPE_CHECKING:
    from collections.abc import Sequence

_TABLE: Final = "a table of numbers: a header line, then lines of samples"


def read_logger(
    content: bytes, file: str, channel_map: ChannelMap | None = None, rate_hz: float | None = None
) -> LoggerFile:
    """Read a logger export; ``rate_hz`` [Hz] gives the time where the file doesn't.

    Raises ``FileFaults`` with every fault when the file can't be accepted.
    """
    problems = Problems(file)
    text, layout = _open(content, problems)
    wish = with_rate(channel_map or ChannelMap(), rate_hz)
    block = read_columns(text.data, layout)
    preamble = read_preamble(layout.preamble, layout.decimal)
    headings = _headings(layout, preamble)
    table = _table(text.data, layout, headings, block)
    timing = find_timing(table, _with_columns(preamble, layout), wish, problems)
    problems.raise_if_any()
    channels, warnings = make_channels(table, block, timing, wish, problems)
    problems.raise_if_any()
    names = [heading.name for heading in headings]
    return LoggerFile(
        encoding=text.encoding,
        delimiter=layout.delimiter,
        decimal=layout.decimal,
        header_line=layout.header_line,
        first_data_line=layout.first_data_line,
        rows=block.rows,
        times=_time_bases(timing, headings),
        channels=channels,
        started_at=timing.started_at,
        fingerprint=fingerprint(names, [heading.unit for heading in headings]),
        warnings=(*block.warnings, *timing.warnings, *warnings),
    )


def looks_like_logger(content: bytes) -> bool:
    """Tell cheaply whether a file is a logger export: a table of numbers with a time column or a sample rate."""
    text = read_text(content[: 1 << 18])
    layout = sniff(text.data) if text is not None else None
    if layout is None:
        return False
    preamble = _with_columns(read_preamble(layout.preamble, layout.decimal), layout)
    headings = _headings(layout, preamble)
    words = {heading.name.lower() for heading in headings}
    return not _is_other_kind(words) and (
        preamble.rate_hz is not None
        or (layout.header_line == 0 and layout.width > 1)
        or any(kind in (Kind.CLOCK, Kind.DATE_TIME) for kind in layout.kinds)
        or any(time_base.wording(heading) >= 0.7 for heading in headings)
    )


def _is_other_kind(words: set[str]) -> bool:
    """Tell a slips table, a setup sheet or an air series from a logger export by its column names."""
    stems = {word.split("_")[0] for word in words}
    slips = (
        bool(words & {"t60_s", "t330_s", "t660_s", "reaction_s"}) or {"car", "run"} <= words or {"car", "lane"} <= words
    )
    sheet = {"item", "value"} <= words
    joined = " ".join(words)
    air = (
        "humid" in joined
        and ("pressure" in joined or "altimeter" in joined)
        and not stems & {"rpm", "engine", "throttle"}
    )
    return slips or sheet or air


def _open(content: bytes, problems: Problems) -> tuple[Text, Layout]:
    text = read_text(content)
    layout = sniff(text.data) if text is not None else None
    if not content.strip(b"\x00\xff\xfe\xef\xbb\xbf \r\n\t"):
        problems.add("", "an empty file", _TABLE)
    elif text is None:
        problems.add("", "a file that isn't text", _TABLE, "Export the recording as CSV.")
    elif layout is None:
        lines = sum(1 for line in text.data.splitlines() if line.strip())
        what = "a header without samples" if lines <= 2 else "no lines of numbers"
        problems.add("", what, _TABLE, "Export the recording with its samples.")
    problems.raise_if_any()
    if text is None or layout is None:
        raise RuntimeError("a fault was found and not raised")
    return text, layout


def _with_columns(preamble: Preamble, layout: Layout) -> Preamble:
    """Add what header and units row say in columns without samples."""
    empty = [place for place, kind in enumerate(layout.kinds) if kind is Kind.GAP]
    beside = read_columns_without_data(
        [layout.names[place] for place in empty], [layout.unit_row[place] for place in empty], layout.decimal
    )
    return beside if preamble.rate_hz is None and beside.rate_hz is not None else preamble


def _headings(layout: Layout, preamble: Preamble) -> list[Heading]:
    headings = [
        read_heading(name, unit or preamble.units.get(place, ""))
        for place, (name, unit) in enumerate(zip(layout.names, layout.unit_row, strict=True))
    ]
    names = unique_names([heading.name for heading in headings])
    return [
        Heading(name if heading.name else "", heading.unit, heading.cell or name)
        for name, heading in zip(names, headings, strict=True)
    ]


def _table(data: bytes, layout: Layout, headings: Sequence[Heading], block: Block) -> Table:
    return Table(
        data=data,
        layout=layout,
        headings=headings,
        kinds=layout.kinds,
        values=[column.values for column in block.columns],
        days=[column.days for column in block.columns],
        first_texts=[column.first_text for column in block.columns],
        rows=block.rows,
    )


def _time_bases(timing: Timing, headings: Sequence[Heading]) -> tuple[TimeBase, ...]:
    bases = []
    for timeline in timing.timelines:
        seconds = timeline.seconds[np.isfinite(timeline.seconds)]
        name = "" if timeline.column is None else headings[timeline.column].name
        rate = time_base.usual_rate(seconds)
        bases.append(TimeBase(name, timeline.unit, float(seconds[0]), float(seconds[-1]), rate))
    return tuple(bases)
