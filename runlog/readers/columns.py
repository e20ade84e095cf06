"""From the block of samples to columns of numbers.

Polars parses whole chunks as numbers; only a chunk in which some cell is neither number nor common gap is read again as
text and sorted out cell by cell.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import numpy as np
import polars as pl
from polars.exceptions import PolarsError

from runlog.readers.cells import GAP_WORDS, Kind, is_gap, kind_of, split_line
from runlog.readers.clock import read_clock
from runlog.readers.lines import Layout, Line, line_end, lines_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

CHUNK: Final = 1 << 23
"""[byte] size of the pieces that a large file is parsed in, which bounds the memory."""

_TIMES: Final = frozenset({Kind.CLOCK, Kind.DATE, Kind.DATE_TIME})
_SWITCH: Final = {"on": 1.0, "true": 1.0, "yes": 1.0, "off": 0.0, "false": 0.0, "no": 0.0}
_TAIL_LINES: Final = 40
_BLANK_LINE: Final = re.compile(rb"\n[ \t\r]*(?=\n)")


@dataclass
class Column:
    """A column while it is read: ``values`` are numbers, or seconds of the day with ``days`` beside them."""

    kind: Kind
    room: int = 0
    """rows that may come in several pieces; 0: everything comes at once"""
    values: NDArray[np.float64] = field(default_factory=lambda: np.empty(0))
    days: NDArray[np.float64] | None = None
    """since 1970-01-01, nan where there is no date"""
    empty: int = 0
    """cells without anything"""
    odd: int = 0
    """cells that are neither numbers nor known words for a gap"""
    example: str = ""
    """the first odd cell"""
    gap_word: str = ""
    """the first known word for a gap"""
    first_text: str = ""
    """the first filled cell of a column of dates or times"""
    day_first: bool | None = None
    """order of dates that don't tell it themselves"""
    order_told: bool = False
    """whether some date of the column tells the order of all"""

    def add(self, at: int, values: NDArray[np.float64], days: NDArray[np.float64] | None = None) -> None:
        """Take in the next piece, which begins at row ``at``. Gaps are nan."""
        if not self.room:
            self.values, self.days = values, days
            return
        # one allocation for all pieces: joining them at the end would need twice the memory
        if not self.values.size:
            self.values = np.empty(self.room)
        self.values[at : at + values.size] = values
        if days is not None:
            self.days = np.empty(self.room) if self.days is None else self.days
            self.days[at : at + days.size] = days

    def end(self, rows: int) -> None:
        """Give up the room beyond the last row."""
        self.values = self.values[:rows]
        self.days = None if self.days is None else self.days[:rows]


@dataclass(frozen=True)
class Block:
    """All columns, the number of lines read (blank ones too), and what was left out at the end."""

    columns: tuple[Column, ...]
    rows: int
    warnings: tuple[str, ...]


def read_columns(data: bytes, layout: Layout, day_first: bool | None = None) -> Block:
    """Read the samples below ``layout.first_data_line``; ``day_first``: the order of dates that don't tell it."""
    end, warnings = _find_end(data, layout)
    pieces = list(_chunks(data, layout.data_start, end))
    room = data.count(b"\n", layout.data_start, end) + 1 if len(pieces) > 1 else 0
    columns = tuple(Column(kind, room, day_first=day_first) for kind in layout.kinds)
    # a header of our own in front of each piece fixes the number of columns, whatever its first line has
    header = layout.delimiter.join(_column_names(layout)).encode() + b"\n"
    view = memoryview(data)
    head = _head_again(data, layout)
    rows = again = 0
    for start, stop in pieces:
        piece: bytes | memoryview = view[start:stop]
        if head is not None:
            piece, count = head.subn(b"", bytes(piece))
            again += count
        rows += _read_chunk(b"".join((header, piece)), layout, columns, rows)
    if again:
        warnings.append(f"the header stands again {again} time(s) among the samples and was left out")
    for column in columns:
        column.end(rows)
    return Block(columns, rows, tuple(warnings))


def _head_again(data: bytes, layout: Layout) -> re.Pattern[bytes] | None:
    """Return what finds the header, with its units row or alone, among the samples; None where it isn't there."""
    if not layout.header_line:
        return None
    lines = lines_of(data, quote=layout.quote)
    start = next((line.start for line in lines if line.number == layout.header_line), layout.data_start)
    whole = data[start : layout.data_start]
    first = whole[: line_end(whole, 0)]
    if not first.strip() or data.find(first, layout.data_start) < 0:
        return None
    return re.compile(rb"(?m)^(?:" + re.escape(whole) + rb"|" + re.escape(first) + rb")")


def _column_names(layout: Layout) -> list[str]:
    return [f"c{place}" for place in range(layout.width)]


def _chunks(data: bytes, start: int, end: int) -> Iterator[tuple[int, int]]:
    while start < end:
        stop = end
        if end - start > CHUNK:
            stop = data.find(b"\n", start + CHUNK, end) + 1 or end
        yield start, stop
        start = stop


def _read_chunk(chunk: bytes, layout: Layout, columns: tuple[Column, ...], at: int) -> int:
    numeric = [column.kind in (Kind.NUMBER, Kind.GAP) for column in columns]
    if _BLANK_LINE.search(chunk):
        chunk = _BLANK_LINE.sub(b"", chunk)
    try:
        # its own parser would take a thousands mark for a decimal one
        frame = _parse_as_text(chunk, layout) if layout.thousands else _parse(chunk, layout, numeric)
    except PolarsError:
        frame = _parse_as_text(chunk, layout)
    for column, series in zip(columns, frame.iter_columns(), strict=True):
        if series.dtype == pl.Float64:
            column.add(at, series.to_numpy())
            column.empty += series.null_count()
        elif column.kind in _TIMES:
            add_times(column, series, at)
        else:
            add_words(column, series, at, layout.decimal, layout.thousands, layout.missing)
    return frame.height


def _parse_as_text(chunk: bytes, layout: Layout) -> pl.DataFrame:
    try:
        return _parse(chunk, layout, [False] * layout.width)
    except PolarsError:  # a quotation that never ends: the marks mean nothing
        return _parse(chunk.replace(layout.quote.encode(), b""), layout, [False] * layout.width)


def _parse(chunk: bytes, layout: Layout, numeric: list[bool]) -> pl.DataFrame:
    types = [pl.Float64 if is_number else pl.String for is_number in numeric]
    return pl.read_csv(
        chunk,
        separator=layout.delimiter,
        schema=dict(zip(_column_names(layout), types, strict=True)),
        quote_char=layout.quote if layout.quote.encode() in chunk else None,
        truncate_ragged_lines=True,
        decimal_comma=layout.decimal == ",",
        encoding="utf8-lossy",
    )


def add_times(column: Column, series: pl.Series, at: int) -> None:
    """Read text as clock times and dates into the column, from row ``at`` on."""
    days, seconds, told = read_clock(series, column.day_first)
    column.order_told = column.order_told or told
    column.add(at, seconds, days)
    if not column.first_text:
        column.first_text = next((text.strip() for text in series.head(1000).drop_nulls() if text.strip()), "")


def add_words(
    column: Column,
    series: pl.Series,
    at: int,
    decimal: str,
    thousands: str = "",
    missing: frozenset[str] = frozenset(),
) -> None:
    """Read text as numbers where it is, into the column from row ``at`` on; count what isn't.

    ``missing``: words, in lower case, for gaps beside those that are known everywhere.
    """
    text = series.str.strip_chars()
    numbers = _numbers(text, decimal, thousands)
    if column.kind is Kind.WORDS:
        numbers = numbers.fill_null(text.str.to_lowercase().replace_strict(_SWITCH, default=None))
    column.add(at, numbers.to_numpy())
    left = text.filter(numbers.is_null() & text.is_not_null() & (text != ""))
    column.empty += numbers.null_count() - left.len()
    if left.len():
        known = left.str.to_lowercase().is_in([*GAP_WORDS, *missing]) | left.str.contains(r"^(?:#.*|[-–—_.*?~/\s]+)$")
        if not column.gap_word:
            column.gap_word = next(iter(left.filter(known).head(1)), "")
        odd = left.filter(~known)
        column.odd += odd.len()
        if odd.len() and not column.example:
            column.example = odd[0]


def _numbers(text: pl.Series, decimal: str, thousands: str = "") -> pl.Series:
    if thousands:
        mark = rf"^[+-]?[1-9]\d{{0,2}}(?:{re.escape(thousands)}\d{{3}})+(?:{re.escape(decimal)}\d*)?$"
        bare = text.str.replace_all(thousands, "", literal=True)
        text = bare.zip_with(text.str.contains(mark).fill_null(False), text)
    grouping = "," if decimal == "." else "."
    both = text.str.contains(decimal, literal=True) & text.str.contains(grouping, literal=True)
    if both.any():
        text = text.str.replace_all(grouping, "", literal=True)
    if decimal == ",":
        text = text.str.replace(",", ".", literal=True)
    if text.str.contains("[\u00a0\u202f\u2009]").any():
        text = text.str.replace_all("[\u00a0\u202f\u2009]", "")
    return text.cast(pl.Float64, strict=False)


def _find_end(data: bytes, layout: Layout) -> tuple[int, list[str]]:
    """Find where the samples end: before a footer, and before a last line that was cut off."""
    start = len(data)
    for _ in range(_TAIL_LINES):
        start = data.rfind(b"\n", layout.data_start, max(start - 1, layout.data_start)) + 1
        if start == 0:
            start = layout.data_start
            break
    tail = [line for line in lines_of(data, start, quote=layout.quote) if line.text.strip()]
    footer: list[Line] = []
    while len(tail) > 1 and len(footer) < _TAIL_LINES // 2 and not _is_sample(tail[-1], layout):
        footer.append(tail.pop())
    if footer:
        last = footer[-1]
        shown = last.text if len(last.text) <= 40 else last.text[:39] + "…"
        where = _line_number(data, last.start)
        return last.start, [f"line {where}: {len(footer)} line(s) after the samples left out, beginning {shown!r}"]
    if len(tail) > 3 and _cut_off(tail, layout, data.endswith((b"\n", b"\x1a"))):
        last = tail[-1]
        return last.start, [f"line {_line_number(data, last.start)}: the last line is cut off and was left out"]
    return len(data), []


def _is_sample(line: Line, layout: Layout) -> bool:
    cells = split_line(line.text, layout.delimiter, layout.quote)
    found = [
        kind_of(cell, layout.decimal, layout.thousands) is kind
        for cell, kind in zip(cells, layout.kinds, strict=False)
        if kind is not Kind.WORDS and kind is not Kind.GAP and not is_gap(cell) and cell.lower() not in layout.missing
    ]
    if not any(found):
        return not found and len(cells) == layout.width > 1
    return found[0] or 2 * sum(found) > len(found)


def _cut_off(tail: list[Line], layout: Layout, ended: bool) -> bool:
    """Tell whether the last line is shorter than every line before it, in cells or in its last cell's decimals."""
    *before, last = (split_line(line.text, layout.delimiter, layout.quote) for line in tail[-20:])
    if len(last) < min(len(cells) for cells in before):
        return True
    if ended or not last[-1]:
        return False
    decimals = {len(cells[-1].partition(layout.decimal)[2]) for cells in before if cells[-1]}
    return len(decimals) == 1 and len(last[-1].partition(layout.decimal)[2]) < decimals.pop()


def _line_number(data: bytes, start: int) -> int:
    return data.count(b"\n", 0, start) + 1


def line_of_row(data: bytes, layout: Layout, row: int) -> int:
    """Return the line number of a row of the block, counted from 0, for messages."""
    heads = (
        {line.text for line in lines_of(data[: layout.data_start], quote=layout.quote)} if layout.header_line else ()
    )
    filled = (
        line
        for line in lines_of(data, layout.data_start, layout.first_data_line, layout.quote)
        if line.text.strip() and line.text not in heads
    )
    return next((line.number for place, line in enumerate(filled) if place == row), layout.first_data_line + row)
