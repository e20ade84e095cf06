"""The lines of a text file, lines cut into cells, and where a table of them stands."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from runlog.readers.cells import Kind

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

MEASURED: Final = frozenset({Kind.NUMBER, Kind.CLOCK, Kind.DATE_TIME, Kind.DATE})
_LONGEST_QUOTED: Final = 4


@dataclass(frozen=True)
class Line:
    """A line of the file: its number (from 1), its first byte, its text without the line end."""

    number: int
    start: int
    text: str


@dataclass(frozen=True)
class Row:
    """A line cut into cells under one interpretation."""

    line: Line
    cells: list[str]
    kinds: list[Kind]

    @property
    def filled(self) -> int:
        """Number of cells that aren't empty."""
        return sum(1 for cell in self.cells if cell)

    def looks_measured(self) -> bool:
        """Tell whether this could be a line of samples: begins with a number or time, or holds mostly such."""
        measured = sum(1 for kind in self.kinds if kind in MEASURED)
        if not measured:
            return False
        first = next(kind for kind in self.kinds if kind is not Kind.GAP)
        return first in MEASURED or measured > sum(1 for kind in self.kinds if kind is Kind.WORDS)


@dataclass(frozen=True)
class Layout:
    """Where the table stands in the file and how it is written. Lines count from 1."""

    delimiter: str
    decimal: str
    header_line: int
    """0: no header"""
    first_data_line: int
    data_start: int
    """byte where the first line of data begins"""
    names: tuple[str, ...]
    """header cells, empty where the header has none; one per column"""
    unit_row: tuple[str, ...]
    """cells of the units row, empty strings where there is none; one per column"""
    kinds: tuple[Kind, ...]
    """what each column mostly holds; GAP: nothing in the lines looked at"""
    preamble: tuple[tuple[int, tuple[str, ...]], ...]
    """(line number, cells) of the filled lines above the header"""
    score: float
    weights: tuple[tuple[str, float], ...] = ()
    """what the score is the product of"""
    quote: str = '"'
    thousands: str = ""
    """mark between groups of three digits where no decimal mark follows; empty where there is none"""
    time: str = ""
    """what tells the time: a column's name, or the line that gives a sample rate; empty where nothing seems to"""
    missing: frozenset[str] = frozenset()
    """words, in lower case, that stand for a missing sample here beside those that do everywhere"""
    encoding: str = ""
    """under which the text was read; empty where the text was given"""

    @property
    def width(self) -> int:
        """Number of columns."""
        return len(self.names)


def lines_of(data: bytes, start: int = 0, number: int = 1, quote: str = '"') -> Iterator[Line]:
    """Go through the lines from a byte on; a quoted cell that spans lines is joined into one."""
    mark = quote.encode()
    while start < len(data):
        end = line_end(data, start)
        raw, count = data[start:end], 1
        if raw.count(mark) % 2:
            further, more = end, 1
            while more < _LONGEST_QUOTED and further < len(data) and data[start:further].count(mark) % 2:
                further, more = line_end(data, further), more + 1
            if data[start:further].count(mark) % 2 == 0:
                raw, end, count = data[start:further].strip().replace(b"\r", b"").replace(b"\n", b" "), further, more
        yield Line(number, start, raw.decode("utf-8", errors="replace").strip("\r\n\x1a"))
        start, number = end, number + count


def line_end(data: bytes, start: int) -> int:
    """Return the byte after the line that a byte stands in."""
    found = data.find(b"\n", start)
    return len(data) if found < 0 else found + 1


def trimmed(cells: Sequence[str]) -> int:
    """Return the number of cells without empty ones at the end."""
    width = len(cells)
    while width and not cells[width - 1]:
        width -= 1
    return width


def padded(cells: Sequence[str], width: int) -> tuple[str, ...]:
    """Return so many cells, empty ones added or those beyond left out."""
    return tuple(cells[:width]) + ("",) * (width - len(cells))


def column_kind(rows: Sequence[Row], column: int) -> Kind:
    """Return what a column mostly holds in these rows; GAP when nothing."""
    seen = [row.kinds[column] for row in rows if column < len(row.kinds) and row.kinds[column] is not Kind.GAP]
    if not seen:
        return Kind.GAP
    return seen[0] if len(set(seen)) == 1 else Counter(seen).most_common(1)[0][0]


def usual_width(rows: Sequence[Row]) -> int:
    """Return how many cells most of the filled rows have, empty ones at the end left out; 0 when none is filled."""
    found = Counter(trimmed(row.cells) for row in rows if row.filled).most_common(1)
    return found[0][0] if found else 0
