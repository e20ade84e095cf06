"""Finding the table in a text file: delimiter, decimal mark, header, units row, first line of data.

Every pairing of delimiter and decimal mark is read as a whole interpretation of the file and scored; the best wins.
Nothing is decided by a first guess.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from runlog import units
from runlog.readers.cells import Kind, is_gap, kind_of, split_line, word_set

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

_INTERPRETATIONS: Final = (
    (",", "."), (";", "."), (";", ","), ("\t", "."), ("\t", ","), ("|", "."), ("|", ","), (",", ","),
)  # fmt: skip
_HEAD_BYTES: Final = 1 << 15
_FEWEST_LINES: Final = 30
_HEAD_LINES: Final = 400
_ENOUGH_CELLS: Final = 800
_ENOUGH_ROWS: Final = 8
_SPREAD: Final = 6
_LONGEST_QUOTED: Final = 4
_COMMENT: Final = re.compile(r"^[#%;]+\s*(?=\w)")
_MEASURED: Final = frozenset({Kind.NUMBER, Kind.CLOCK, Kind.DATE_TIME, Kind.DATE})
_COUNTER_WORDS: Final = word_set("sequence index sample samples count counts points point no nr number on/off")


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
        measured = sum(1 for kind in self.kinds if kind in _MEASURED)
        if not measured:
            return False
        first = next(kind for kind in self.kinds if kind is not Kind.GAP)
        return first in _MEASURED or measured > sum(1 for kind in self.kinds if kind is Kind.WORDS)


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

    @property
    def width(self) -> int:
        """Number of columns."""
        return len(self.names)


def lines_of(data: bytes, start: int = 0, number: int = 1) -> Iterator[Line]:
    """Go through the lines from a byte on; a quoted cell that spans lines is joined into one."""
    while start < len(data):
        end = _line_end(data, start)
        raw, count = data[start:end], 1
        if raw.count(b'"') % 2:
            further, more = end, 1
            while more < _LONGEST_QUOTED and further < len(data) and data[start:further].count(b'"') % 2:
                further, more = _line_end(data, further), more + 1
            if data[start:further].count(b'"') % 2 == 0:
                raw, end, count = data[start:further].strip().replace(b"\r", b"").replace(b"\n", b" "), further, more
        yield Line(number, start, raw.decode("utf-8", errors="replace").strip("\r\n\x1a"))
        start, number = end, number + count


def _line_end(data: bytes, start: int) -> int:
    found = data.find(b"\n", start)
    return len(data) if found < 0 else found + 1


def sniff(data: bytes) -> Layout | None:
    """Find the table in UTF-8 text; None when no interpretation finds any numbers."""
    return best_of(data, interpretations(data))


def with_tabs(data: bytes) -> bytes | None:
    """Return a text whose cells are parted by blanks with tabs in their place; None where it isn't such a text."""
    if b" " not in data[:_HEAD_BYTES] or b"\t" in data:
        return None
    return re.sub(rb"(?m) *(\r?\n)", rb"\1", re.sub(rb"(?<=[^\s]) +(?=[^\s])", b"\t", re.sub(rb"(?m)^ +", b"", data)))


def interpretations(data: bytes) -> list[Layout]:
    """Return every interpretation of the text that finds numbers, scored."""
    head = _head(data)
    possible = [pair for pair in _INTERPRETATIONS if _is_possible(head, *pair)]
    return [layout for pair in possible if (layout := _interpret(data, head, *pair)) is not None]


def best_of(data: bytes, found: Sequence[Layout]) -> Layout | None:
    """Return the interpretation that scores best; of two decimal marks that fit alike the one used further down."""
    best: Layout | None = None
    for layout in found:
        if best is None or layout.score > best.score + 1e-9 or _only_whole_numbers_seen(data, best, layout):
            best = layout
    return best


def _is_possible(head: Sequence[Line], delimiter: str, decimal: str) -> bool:
    """Tell whether an interpretation is worth a try: its delimiter occurs, or the file may be a single column."""
    if delimiter == decimal:
        return any('"' in line.text for line in head)
    if delimiter == ",":
        return True
    single = (delimiter, decimal) == (";", ",") and all(line.text.count(",") <= 1 for line in head)
    return single or any(delimiter in line.text for line in head)


def _head(data: bytes) -> list[Line]:
    """Return the first lines, enough for a long preamble and some samples."""
    head = []
    for line in lines_of(data):
        head.append(line)
        if len(head) >= _HEAD_LINES or (len(head) >= _FEWEST_LINES and line.start > _HEAD_BYTES):
            break
    return head


def _only_whole_numbers_seen(data: bytes, best: Layout, other: Layout) -> bool:
    """Tell whether two decimal marks fit alike so far, and further down a comma stands inside the cells."""
    alike = best.delimiter == other.delimiter and abs(best.score - other.score) < 1e-9
    return alike and other.decimal == "," and data.find(b",", other.data_start) >= 0


def _interpret(data: bytes, head: Sequence[Line], delimiter: str, decimal: str) -> Layout | None:
    rows = _rows(head, delimiter, decimal)
    first, last = _longest_run(rows)
    if first == last:
        return None
    first = _extend_upwards(rows, first, last)
    header, unit_row = _find_header(rows, first, _usual_width(rows[first:last]))
    body = [row for row in rows[first:last] if row.filled]
    if body[-1].line.number >= head[-1].number - 1:
        body += _spread_rows(data, body[-1].line, delimiter, decimal)
    header_cells = rows[header].cells if header is not None else []
    width = max(_trimmed(header_cells), max(_trimmed(row.cells) for row in body), 1)
    kinds = tuple(_column_kind(body, column) for column in range(width))
    above = header if header is not None else first
    weights = _weights(body, kinds, _trimmed(header_cells) if header is not None else None)
    return Layout(
        delimiter=delimiter,
        decimal=decimal,
        header_line=rows[header].line.number if header is not None else 0,
        first_data_line=rows[first].line.number,
        data_start=rows[first].line.start,
        names=tuple(_COMMENT.sub("", cell) for cell in _padded(header_cells, width)),
        unit_row=_padded(rows[unit_row].cells if unit_row is not None else [], width),
        kinds=kinds,
        preamble=tuple(
            (row.line.number, tuple(row.cells))
            for index, row in enumerate(rows[:above])
            if row.filled and index != unit_row
        ),
        score=math.prod(weight for _, weight in weights),
        weights=weights,
    )


def _rows(head: Sequence[Line], delimiter: str, decimal: str) -> list[Row]:
    """Cut lines until enough of the data has been seen."""
    rows: list[Row] = []
    cells_in_run = rows_in_run = 0
    for line in head:
        cells = split_line(line.text, delimiter)
        row = Row(line, cells, [kind_of(cell, decimal) for cell in cells])
        rows.append(row)
        if row.looks_measured():
            cells_in_run, rows_in_run = cells_in_run + len(cells), rows_in_run + 1
            if cells_in_run > _ENOUGH_CELLS and rows_in_run > _ENOUGH_ROWS:
                break
        elif row.filled:
            cells_in_run = rows_in_run = 0
    return rows


def _longest_run(rows: Sequence[Row]) -> tuple[int, int]:
    """Return the longest stretch of lines of samples as (first, after the last)."""
    best, start = (0, 0), None
    for index, row in enumerate([*rows, None]):
        if row is not None and row.looks_measured():
            start = index if start is None else start
        elif start is not None and (row is None or row.filled):
            if index - start >= best[1] - best[0]:
                best = (start, index)
            start = None
    return best


def _extend_upwards(rows: Sequence[Row], first: int, last: int) -> int:
    """Take in lines above the run that are samples too, past a remark between them; drop what isn't at its top."""
    width = max(len(row.cells) for row in rows[first:last])
    columns = [_column_kind(rows[first:last], column) in _MEASURED for column in range(width)]

    def fits(row: Row) -> bool:
        found = [
            kind in _MEASURED
            for kind, measured in zip(row.kinds, columns, strict=False)
            if measured and kind is not Kind.GAP
        ]
        return bool(found) and found[0] and len(row.cells) <= len(columns) + 1

    while first < last - 1 and not fits(rows[first]):
        first += 1
    usual = _usual_width(rows[first:last])
    while first > 0:
        if fits(rows[first - 1]) and len(rows[first - 1].cells) > usual / 2:
            first -= 1
        elif first > 1 and fits(rows[first - 2]) and len(rows[first - 2].cells) == usual > 1:
            first -= 2
        else:
            break
    return first


def _usual_width(rows: Sequence[Row]) -> int:
    return Counter(_trimmed(row.cells) for row in rows if row.filled).most_common(1)[0][0]


def _find_header(rows: Sequence[Row], first: int, width: int) -> tuple[int | None, int | None]:
    """Return the places of the header and of the units row above the first line of samples."""
    above = [index for index in range(first - 1, -1, -1) if _could_be_header(rows[index])][:2]
    if len(above) == 2 and _is_header(rows[above[1]], width) and _unit_share(rows[above[0]]) >= 0.6:
        return above[1], above[0]
    if not above or not _is_header(rows[above[0]], width):
        return None, None
    if len(above) == 2 and rows[above[1]].filled > 1 and _unit_share(rows[above[1]]) >= 0.8:
        return above[0], above[1]
    return above[0], None


def _could_be_header(row: Row) -> bool:
    return row.filled > 0 and not _is_rule(row) and not row.looks_measured()


def _is_rule(row: Row) -> bool:
    return all(is_gap(cell) and not cell[:1].isalpha() and cell[:1] != "#" for cell in row.cells)


def _is_header(row: Row, width: int) -> bool:
    return 2 * row.filled >= width and Kind.WORDS in row.kinds


def _unit_share(row: Row) -> float:
    """Return the share of the row's words that are units (brackets round them don't matter)."""
    words = [cell for cell, kind in zip(row.cells, row.kinds, strict=True) if kind is Kind.WORDS]
    bare = [word.strip("[](){}<> ").lower() for word in words]
    return sum(1 for word in bare if units.find_unit(word) or word in _COUNTER_WORDS) / max(1, len(words))


def _spread_rows(data: bytes, seen: Line, delimiter: str, decimal: str) -> list[Row]:
    """Look at a few lines further down: a column may change its habits there."""
    start = _line_end(data, seen.start)
    rest = len(data) - start
    rows = []
    for step in range(_SPREAD if rest > 1000 else 0):
        begin = _line_end(data, start + rest * step // _SPREAD)
        text = data[begin : _line_end(data, begin)].decode("utf-8", errors="replace").strip("\r\n\x1a")
        cells = split_line(text, delimiter)
        row = Row(Line(0, begin, text), cells, [kind_of(cell, decimal) for cell in cells])
        if row.looks_measured():
            rows.append(row)
    return rows


def _column_kind(rows: Sequence[Row], column: int) -> Kind:
    seen = [row.kinds[column] for row in rows if column < len(row.kinds) and row.kinds[column] is not Kind.GAP]
    if not seen:
        return Kind.GAP
    return seen[0] if len(set(seen)) == 1 else Counter(seen).most_common(1)[0][0]


def _weights(body: Sequence[Row], kinds: Sequence[Kind], header_width: int | None) -> tuple[tuple[str, float], ...]:
    """Weigh an interpretation: cells that are numbers or times, lines of one width, a header of the same width."""
    filled = [kind for row in body for kind in row.kinds if kind is not Kind.GAP]
    measured = sum(1 for kind in filled if kind in _MEASURED) / len(filled)
    # columns of words are honest columns, but cells that change kind within a column speak of a wrong cut
    settled = sum(
        1 for row in body for kind, usual in zip(row.kinds, kinds, strict=False) if kind in (usual, Kind.GAP)
    ) / sum(min(len(row.kinds), len(kinds)) for row in body)
    usual = Counter(len(row.cells) for row in body).most_common(1)[0][0]
    even = sum(1 for row in body if len(row.cells) == usual) / len(body)
    width = _usual_width(body)
    header = 0.8 if header_width is None else min(header_width, len(kinds)) / max(header_width, width)
    columns = 0.6 if len(kinds) == 1 else 1.0
    return (
        ("numbers and times", 0.3 + 0.7 * measured),
        ("one kind a column", settled),
        ("lines of one width", 0.5 + 0.5 * even),
        ("header of that width", header),
        ("more than one column", columns),
    )


def _trimmed(cells: Sequence[str]) -> int:
    """Return the number of cells without empty ones at the end."""
    width = len(cells)
    while width and not cells[width - 1]:
        width -= 1
    return width


def _padded(cells: Sequence[str], width: int) -> tuple[str, ...]:
    return tuple(cells[:width]) + ("",) * (width - len(cells))
