"""Logger exports in any layout of delimited text."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from runlog.problems import Problems
from runlog.readers import time_base
from runlog.readers.cells import Kind
from runlog.readers.channel_map import ChannelMap
from runlog.readers.columns import read_columns
from runlog.readers.headers import Heading, read_heading, unique_names
from runlog.readers.preamble import Preamble, read_columns_without_data, read_preamble
from runlog.readers.recording import Opened, recordings, table_of
from runlog.readers.timing import with_rate
from runlog.readers.understand import understand

if TYPE_CHECKING:
    from runlog.readers.lines import Layout
    from runlog.readers.text import Text
    from runlog.records import LoggerFile

_SOMETHING: Final = re.compile(rb"[^\x00\xff\xfe\xef\xbb\xbf \r\n\t]")
_TABLE: Final = "a table of numbers: a header line, then lines of samples"


def read_logger(
    content: bytes,
    file: str,
    channel_map: ChannelMap | None = None,
    rate_hz: float | None = None,
    day_first: bool | None = None,
) -> LoggerFile:
    """Read a logger export that holds one recording; ``rate_hz`` [Hz] gives the time where the file doesn't.

    Raises ``FileFaults`` with every fault when the file can't be accepted.
    """
    problems = Problems(file)
    wish = with_rate(channel_map or ChannelMap(), rate_hz)
    found = recordings(open_text(content, problems, day_first), wish, problems)
    if len(found) > 1:
        problems.add("", f"{len(found)} recordings", "one recording")
    problems.raise_if_any()
    return found[0]


def open_text(
    content: bytes, problems: Problems, day_first: bool | None = None, missing: frozenset[str] = frozenset()
) -> Opened:
    """Find the table in a text file and read its columns; faults go to ``problems`` and are raised.

    ``day_first``: the order of dates that don't tell it themselves; where decimals are written with a comma, the day
    stands first. ``missing``: words, in lower case, that stand for a missing sample.
    """
    text, layout = _open(content, problems, missing)
    if day_first is None and layout.decimal == ",":
        day_first = True
    block = read_columns(text.data, layout, day_first)
    preamble = read_preamble(layout.preamble, layout.decimal, day_first)
    headings = _headings(layout, preamble)
    table = replace(table_of(text.data, layout, headings, block), day_first=day_first)
    return Opened(text.encoding, table, block, _with_columns(preamble, layout))


def looks_like_logger(content: bytes) -> bool:
    """Tell cheaply whether a file is a logger export: a table of numbers with a time column or a sample rate."""
    layout = understand(content[: 1 << 18]).layout
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


def _open(content: bytes, problems: Problems, missing: frozenset[str]) -> tuple[Text, Layout]:
    found = understand(content, missing)
    text, layout = found.text, found.layout
    if _SOMETHING.search(content) is None:
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
