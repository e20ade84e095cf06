"""Small hand-made tables (slips, sheets, air): CSV in whatever dialect a spreadsheet wrote."""

from __future__ import annotations

import csv
import functools
import io
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from runlog.problems import Problems
from runlog.readers.text import read_text

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping


_HEAD = 20000
"""[bytes] looked at to tell what a table is; even, so that it doesn't cut a UTF-16 character in two."""


@dataclass(frozen=True)
class Row:
    """One line of a table: its number in the file and its cells by column name; blank cells are left out."""

    line: int
    cells: Mapping[str, str]


@dataclass(frozen=True)
class Table:
    """A table: column names as written, and its rows."""

    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    decimal_comma: bool


def header_of(content: bytes) -> tuple[str, ...]:
    """Return the normalised column names of the first line that isn't empty; empty when there is none."""
    text = read_text(content[:_HEAD])
    lines = text.data.decode("utf-8", errors="replace").splitlines() if text else []
    line = next((line for line in lines if line.strip()), "")
    return tuple(normal(cell) for cell in next(csv.reader([line], delimiter=_delimiter(line)), ()))


@functools.lru_cache(maxsize=4096)
def normal(name: str) -> str:
    """Bring a column name to the form in which names are compared: lower case, words joined by ``_``."""
    return re.sub(r"[^\w%°]+", "_", name.strip().lower()).strip("_")


def _delimiter(line: str) -> str:
    return max(",;\t", key=line.count)


def read_table(content: bytes, file: str) -> Table:
    """Read a table with a header; ``FileFaults`` when it has none or rows don't fit it."""
    problems = Problems(file)
    decoded = read_text(content)
    if decoded is None:
        place = f"byte {content.index(0)}" if 0 in content else ""
        problems.add(place, "binary data", "text with comma, semicolon or tab between the cells")
    problems.raise_if_any()
    text = decoded.data.decode("utf-8", errors="replace") if decoded else ""
    delimiter = _delimiter(next((line for line in text.split("\n") if line.strip()), ""))
    numbered = _numbered(text, delimiter, problems)
    if not numbered and not problems.found:
        problems.add("", "an empty file", "a table with a header line")
    problems.raise_if_any()
    columns = tuple(cell.strip() for cell in numbered[0][1])
    _check_header(columns, problems)
    rows = []
    for line, cells in numbered[1:]:
        _check_width(line, cells, columns, problems)
        rows.append(Row(line, {name: cell.strip() for name, cell in zip(columns, cells, strict=False) if cell.strip()}))
    if not rows:
        problems.add(f"line {numbered[0][0]}", "a header and nothing below it", "at least one row")
    problems.raise_if_any()
    return Table(columns, tuple(rows), decimal_comma=delimiter != ",")


def _numbered(text: str, delimiter: str, problems: Problems) -> list[tuple[int, list[str]]]:
    """Return (line it ends on, cells) of every row that isn't blank; a quote that isn't closed is a fault.

    Left open, it would swallow the rows below it without a word.
    """
    reader = csv.reader(io.StringIO(text, newline=None), delimiter=delimiter, strict=True)
    found = []
    before = 0
    try:
        for cells in reader:
            before = reader.line_num
            if any(cell.strip() for cell in cells):
                found.append((reader.line_num, cells))
    except csv.Error:
        accepted = 'cells whose quotes are closed; a quote inside a quoted cell is written twice: ""'
        problems.add(f"line {before + 1}", "a quote that isn't closed or stands inside a quoted cell", accepted)
    return found


def _check_header(columns: tuple[str, ...], problems: Problems) -> None:
    names = [normal(column) for column in columns if column]
    for column in dict.fromkeys(column for column in columns if column and names.count(normal(column)) > 1):
        problems.add("header", f"the column {column!r} more than once", "each column once")


def _check_width(line: int, cells: list[str], columns: tuple[str, ...], problems: Problems) -> None:
    if any(cell.strip() for cell in cells[len(columns) :]):
        problems.add(f"line {line}", f"{len(cells)} cells", f"at most {len(columns)}, as in the header")
    for n, (name, cell) in enumerate(zip(columns, cells, strict=False), start=1):
        if not name and cell.strip():
            problems.add(f"line {line}, cell {n}", repr(cell.strip()), "nothing where the header has no name")


class Cells:
    """Reads the cells of one row, noting a problem for each that can't be read.

    ``written`` maps column names to how the header writes them, so that a problem names what stands in the file.
    """

    def __init__(
        self, row: Row, problems: Problems, *, decimal_comma: bool, written: Mapping[str, str] | None = None
    ) -> None:
        self._row = row
        self._problems = problems
        self._decimal_comma = decimal_comma
        self._written = written or {}

    def text(self, column: str) -> str | None:
        """Return the cell, or None when it is blank."""
        return self._row.cells.get(column)

    def number(self, column: str, what: str, low: float, high: float) -> float | None:
        """Return the cell as a number within bounds; None when blank or refused."""
        cell = self.text(column)
        if cell is None:
            return None
        value = number(cell, decimal_comma=self._decimal_comma)
        if value is None or not low <= value <= high:
            milli = what == "seconds" and value is not None and low <= value / 1000 <= high
            remedy = f"If these are milliseconds, write {value / 1000:g}." if milli and value is not None else ""
            self.fault(column, f"{cell!r}", f"{what} from {low:g} to {high:g}", remedy)
            return None
        return value

    def whole(self, column: str, what: str, low: int, high: int) -> int | None:
        """Return the cell as a whole number within bounds; None when blank or refused."""
        value = self.number(column, what, low, high)
        if value is not None and value != int(value):
            self.fault(column, repr(self.text(column)), f"{what}, a whole number")
            return None
        return None if value is None else int(value)

    def fault(self, column: str, found: str, accepted: str, remedy: str = "") -> None:
        """Note a problem in this row."""
        self._problems.add(
            f"line {self._row.line}, column {self._written.get(column, column)}", found, accepted, remedy
        )


def number(cell: str, *, decimal_comma: bool = False) -> float | None:
    """Return a finite number written plainly, with a decimal comma where the file uses one; None for anything else."""
    text = cell.strip()
    if decimal_comma and "," in text and "." not in text:
        text = text.replace(",", ".")
    return float(text) if re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,2})?", text) else None


def match_columns(columns: Iterable[str], wanted: Mapping[str, tuple[str, ...]]) -> dict[str, str]:
    """Return {canonical name: column as written} for the columns that go by one of the wanted spellings."""
    found: dict[str, str] = {}
    for column in columns:
        for name, spellings in wanted.items():
            if normal(column) in (name, *spellings):
                found.setdefault(name, column)
    return found
