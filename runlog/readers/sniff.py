"""Finding the table in a text file: how it is written, header, units row, first line of data, what tells the time.

Every pairing of quotation mark, delimiter, decimal and thousands mark, with every choice of header and units row, is
read as a whole interpretation of the text and scored (``weights``); the best wins. Nothing is decided by a first guess.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from runlog.readers import weights
from runlog.readers.cells import Kind, kind_of, split_line
from runlog.readers.headlines import Headline, headlines
from runlog.readers.lines import (
    MEASURED,
    Layout,
    Line,
    Row,
    column_kind,
    line_end,
    lines_of,
    padded,
    trimmed,
    usual_width,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

_MARKS: Final = (
    (",", "."), (";", "."), (";", ","), ("\t", "."), ("\t", ","), ("|", "."), ("|", ","), (",", ","),
)  # fmt: skip
_HEAD_BYTES: Final = 1 << 15
_FEWEST_LINES: Final = 30
_HEAD_LINES: Final = 400
_ENOUGH_CELLS: Final = 800
_ENOUGH_ROWS: Final = 8
_SPREAD: Final = 6
_COMMENT: Final = re.compile(r"^[#%;]+\s*(?=\w)")
_SINGLE_QUOTED: Final = re.compile(r"(?:^|[,;\t|])\s*'[^']*'\s*(?:[,;\t|]|$)")
_GROUPED: Final = {mark: re.compile(rf"\d{re.escape(mark)}\d{{3}}(?!\d)") for mark in (",", ".", "'", " ")}


@dataclass(frozen=True)
class _Dialect:
    """How cells are written."""

    delimiter: str
    decimal: str
    quote: str = '"'
    thousands: str = ""
    missing: frozenset[str] = frozenset()
    """words, in lower case, that are taken for a missing sample beside those that always are"""

    def row(self, line: Line) -> Row:
        """Cut a line into cells."""
        cells = split_line(line.text, self.delimiter, self.quote)
        kinds = [kind_of(cell, self.decimal, self.thousands) for cell in cells]
        if self.missing and Kind.WORDS in kinds:
            kinds = [
                Kind.GAP if kind is Kind.WORDS and cell.lower() in self.missing else kind
                for cell, kind in zip(cells, kinds, strict=True)
            ]
        return Row(line, cells, kinds)


def sniff(data: bytes) -> Layout | None:
    """Find the table in UTF-8 text; None when no interpretation finds any numbers."""
    return best_of(data, interpretations(data))


def with_tabs(data: bytes) -> bytes | None:
    """Return a text whose cells are parted by blanks with tabs in their place; None where it isn't such a text."""
    if b" " not in data[:_HEAD_BYTES] or b"\t" in data:
        return None
    return re.sub(rb"(?m) *(\r?\n)", rb"\1", re.sub(rb"(?<=[^\s]) +(?=[^\s])", b"\t", re.sub(rb"(?m)^ +", b"", data)))


def interpretations(data: bytes, missing: frozenset[str] = frozenset()) -> list[Layout]:
    """Return every interpretation of the text that finds numbers, scored; of each dialect the best header.

    ``missing``: words, in lower case, of which it is known that they stand for a missing sample.
    """
    head = _head(data)
    dialects = [replace(dialect, missing=missing) for dialect in _dialects(head)]
    return [layout for dialect in dialects if (layout := _interpret(data, head, dialect)) is not None]


def best_of(data: bytes, found: Sequence[Layout]) -> Layout | None:
    """Return the interpretation that scores best; of two decimal marks that fit alike the one used further down."""
    best: Layout | None = None
    for layout in found:
        if best is None or layout.score > best.score + 1e-9 or _only_whole_numbers_seen(data, best, layout):
            best = layout
    return best


def _dialects(head: Sequence[Line]) -> list[_Dialect]:
    """Return the dialects that are worth a try."""
    pairs = [pair for pair in _MARKS if _is_possible(head, *pair)]
    quotes = ['"', "'"] if any("'" in line.text and _SINGLE_QUOTED.search(line.text) for line in head) else ['"']
    groups = [mark for mark, pattern in _GROUPED.items() if any(pattern.search(line.text) for line in head)]
    plain = [_Dialect(*pair, quote) for pair in pairs for quote in quotes]
    grouped = [
        _Dialect(dialect.delimiter, dialect.decimal, dialect.quote, mark)
        for dialect in plain
        for mark in groups
        if mark not in (dialect.decimal, dialect.quote) and (mark != dialect.delimiter or _quoted(head, mark))
    ]
    return plain + grouped


def _quoted(head: Sequence[Line], mark: str) -> bool:
    """Tell whether grouped numbers stand in quotation marks, so that their mark may be the delimiter too."""
    grouped = re.compile(rf"[\"']\d{{1,3}}(?:{re.escape(mark)}\d{{3}})+")
    return any(grouped.search(line.text) for line in head)


def _is_possible(head: Sequence[Line], delimiter: str, decimal: str) -> bool:
    """Tell whether an interpretation is worth a try: its delimiter occurs, or the file may be a single column."""
    if delimiter == decimal:
        return any('"' in line.text or "'" in line.text for line in head)
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
    return alike and best.decimal == "." and other.decimal == "," and data.find(b",", other.data_start) >= 0


def _interpret(data: bytes, head: Sequence[Line], dialect: _Dialect) -> Layout | None:
    """Return the best interpretation under a dialect: with no more words for missing samples, or with those it finds.

    Words that stand again and again among a column's numbers may be such; each has to explain more than it costs.
    """
    plain, words = _read(data, head, dialect)
    if plain is None or not words:
        return plain
    found, _ = _read(data, head, replace(dialect, missing=dialect.missing | words), len(words))
    return found if found is not None and found.score > plain.score else plain


def _read(data: bytes, head: Sequence[Line], dialect: _Dialect, own: int = 0) -> tuple[Layout | None, frozenset[str]]:
    """Return the best header's interpretation, and what words might stand for missing samples beside the dialect's.

    ``own``: how many of the dialect's words were found so.
    """
    rows = _rows(head, dialect)
    first, last = _longest_run(rows)
    if first == last:
        return None, frozenset()
    first = _extend_upwards(rows, first, last)
    body = [row for row in rows[first:last] if row.filled and row.looks_measured()]
    if not body:
        return None, frozenset()
    if body[-1].line.number >= head[-1].number - 1:
        body += _spread_rows(data, body[-1].line, dialect)
    # a column of names alone is one as long as the samples' lines have a cell for it, be it empty
    columns = max(max(trimmed(row.cells) for row in body), min(len(row.cells) for row in body))
    best: Layout | None = None
    seen = _Samples(rows, first, body, dialect, own)
    for headline in headlines(rows, first, usual_width(rows[first:last]), columns):
        layout = seen.under(headline)
        if best is None or layout.score > best.score + 1e-9 or (best.header_line == 0 and layout.score >= best.score):
            best = layout
    return best, weights.words_among_numbers(body, seen.kinds)


class _Samples:
    """The samples under one dialect, to be read with one header or another; ``first`` of ``rows`` is their first."""

    def __init__(self, rows: Sequence[Row], first: int, body: Sequence[Row], dialect: _Dialect, own: int) -> None:
        self._rows, self._first, self._body, self._dialect = rows, first, body, dialect
        self._columns = max(1, *(trimmed(row.cells) for row in body))
        self.kinds = tuple(column_kind(body, column) for column in range(self._columns))
        self._marks = dialect.decimal, dialect.thousands
        self._weights = (
            *weights.of_cells(body, self.kinds),
            ("marks in whole numbers", weights.of_marks(body, self.kinds, *self._marks)),
            ("words of its own for gaps", weights.OWN_WORD**own),
        )

    def under(self, chosen: Headline) -> Layout:
        """Return the interpretation with this header and units row."""
        rows, first, dialect = self._rows, self._first, self._dialect
        header_cells = rows[chosen.header].cells if chosen.header is not None else []
        width = max(trimmed(header_cells), self._columns)
        kinds = self.kinds + (Kind.GAP,) * (width - self._columns)
        names = tuple(_COMMENT.sub("", cell) for cell in padded(header_cells, width))
        unit_row = padded(rows[chosen.unit_row].cells if chosen.unit_row is not None else [], width)
        above = chosen.header if chosen.header is not None else first
        preamble = tuple(
            (row.line.number, tuple(row.cells))
            for index, row in enumerate(rows[:above])
            if row.filled and index != chosen.unit_row
        )
        time, timed = weights.of_time(names, unit_row, kinds, self._body, self._marks)
        if timed < 1.0 and (rate := weights.rate_line(preamble, names, unit_row, kinds, dialect.decimal)):
            time, timed = rate, 1.0
        found = (
            *self._weights,
            ("header and units row", chosen.weight),
            ("a time base", timed),
            ("signs of units", weights.of_signs(names, unit_row)),
        )
        return Layout(
            delimiter=dialect.delimiter,
            decimal=dialect.decimal,
            header_line=rows[chosen.header].line.number if chosen.header is not None else 0,
            first_data_line=rows[first].line.number,
            data_start=rows[first].line.start,
            names=names,
            unit_row=unit_row,
            kinds=kinds,
            preamble=preamble,
            score=math.prod(weight for _, weight in found),
            weights=found,
            quote=dialect.quote,
            thousands=dialect.thousands,
            missing=dialect.missing,
            time=time,
        )


def _rows(head: Sequence[Line], dialect: _Dialect) -> list[Row]:
    """Cut lines until enough of the data has been seen."""
    rows: list[Row] = []
    cells_in_run = rows_in_run = 0
    for line in head:
        row = dialect.row(line)
        rows.append(row)
        if row.looks_measured():
            cells_in_run, rows_in_run = cells_in_run + len(row.cells), rows_in_run + 1
            if cells_in_run > _ENOUGH_CELLS and rows_in_run > _ENOUGH_ROWS:
                break
        elif row.filled:
            cells_in_run = rows_in_run = 0
    return rows


def _longest_run(rows: Sequence[Row]) -> tuple[int, int]:
    """Return the longest stretch of lines of samples as (first, after the last); a header written again ends none."""
    best, start = (0, 0), None
    above: set[str] = set()
    for index, row in enumerate([*rows, None]):
        if row is not None and row.looks_measured():
            start = index if start is None else start
        elif row is not None and start is not None and row.line.text in above:
            continue
        elif start is not None and (row is None or row.filled):
            if index - start >= best[1] - best[0]:
                best = (start, index)
            start = None
        if row is not None and start is None:
            above.add(row.line.text)
    return best


def _extend_upwards(rows: Sequence[Row], first: int, last: int) -> int:
    """Take in lines above the run that are samples too, past a remark between them; drop what isn't at its top."""
    width = max(len(row.cells) for row in rows[first:last])
    columns = [column_kind(rows[first:last], column) in MEASURED for column in range(width)]

    def fits(row: Row) -> bool:
        found = [
            kind in MEASURED
            for kind, measured in zip(row.kinds, columns, strict=False)
            if measured and kind is not Kind.GAP
        ]
        return bool(found) and found[0] and len(row.cells) <= len(columns) + 1

    while first < last - 1 and not fits(rows[first]):
        first += 1
    usual = usual_width(rows[first:last])
    while first > 0:
        if fits(rows[first - 1]) and len(rows[first - 1].cells) > usual / 2:
            first -= 1
        elif first > 1 and fits(rows[first - 2]) and len(rows[first - 2].cells) == usual > 1:
            first -= 2
        else:
            break
    return first


def _spread_rows(data: bytes, seen: Line, dialect: _Dialect) -> list[Row]:
    """Look at a few lines further down: a column may change its habits there."""
    start = line_end(data, seen.start)
    rest = len(data) - start
    rows = []
    for step in range(_SPREAD if rest > 1000 else 0):
        begin = line_end(data, start + rest * step // _SPREAD)
        text = data[begin : line_end(data, begin)].decode("utf-8", errors="replace").strip("\r\n\x1a")
        row = dialect.row(Line(0, begin, text))
        if row.looks_measured():
            rows.append(row)
    return rows
