"""Small hand-made tables (slips, sheets, air): CSV in whatever dialect a spreadsheet wrote."""

from __future__ import annotations

import codecs
import csv
import io
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from runlog.problems import Problems

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping


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


def decode(content: bytes) -> str:
    """Return the text of a file written in UTF-8, UTF-16 with its mark, or Latin-1 (Windows)."""
    if content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return content.decode("utf-16")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("cp1252", errors="replace")


def header_of(content: bytes) -> tuple[str, ...]:
    """Return the normalised column names of the first line that isn't empty; empty when there is none."""
    for line in decode(content[:20000]).splitlines():
        if line.strip():
            return tuple(normal(cell) for cell in next(csv.reader([line], delimiter=_delimiter(line))))
    return ()


def normal(name: str) -> str:
    """Bring a column name to the form in which names are compared: lower case, words joined by ``_``."""
    return re.sub(r"[^\w%°]+", "_", name.strip().lower()).strip("_")


def _delimiter(line: str) -> str:
    return max(",;\t", key=line.count)


def read_table(content: bytes, file: str) -> Table:
    """Read a table with a header; ``FileFaults`` when it has none or rows don't fit it."""
    problems = Problems(file)
    if not content.strip():
        problems.add("", "an empty file", "a table with a header line")
    elif b"\0" in content and not content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        problems.add(f"byte {content.index(0)}", "binary data", "text with comma, semicolon or tab between the cells")
    problems.raise_if_any()
    text = decode(content)
    first = next(line for line in text.splitlines() if line.strip())
    delimiter = _delimiter(first)
    reader = csv.reader(io.StringIO(text), delimiter=delimiter)
    columns: tuple[str, ...] = ()
    rows: list[Row] = []
    for cells in reader:
        if not any(cell.strip() for cell in cells):
            continue
        if not columns:
            columns = tuple(cell.strip() for cell in cells)
            continue
        if any(cell.strip() for cell in cells[len(columns) :]):
            problems.add(f"line {reader.line_num}", f"{len(cells)} cells", f"at most {len(columns)}, as in the header")
            continue
        named = {name: cell.strip() for name, cell in zip(columns, cells, strict=False) if cell.strip()}
        rows.append(Row(reader.line_num, named))
    if not rows:
        problems.add(f"line {reader.line_num}", "a header and nothing below it", "at least one row")
    problems.raise_if_any()
    return Table(columns, tuple(rows), decimal_comma=delimiter != ",")


class Cells:
    """Reads the cells of one row, noting a problem for each that can't be read."""

    def __init__(self, row: Row, problems: Problems, *, decimal_comma: bool) -> None:
        self._row = row
        self._problems = problems
        self._decimal_comma = decimal_comma

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
            self.fault(column, f"{cell!r}", f"{what} from {low:g} to {high:g}")
            return None
        return value

    def fault(self, column: str, found: str, accepted: str, remedy: str = "") -> None:
        """Note a problem in this row."""
        self._problems.add(f"line {self._row.line}, column {column}", found, accepted, remedy)


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
