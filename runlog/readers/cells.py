"""What a single cell of a table can be: a number, a clock time, a date, a gap, or words."""

from __future__ import annotations

import csv
import re
from enum import StrEnum
from functools import lru_cache
from typing import Final


def word_set(words: str) -> frozenset[str]:
    """Return the words of a text as a set."""
    return frozenset(words.split())


class Kind(StrEnum):
    """What a cell holds."""

    NUMBER = "number"
    CLOCK = "clock"
    DATE = "date"
    DATE_TIME = "date-time"
    GAP = "gap"
    WORDS = "words"


GAP_WORDS: Final = frozenset(
    [
        "nan",
        "na",
        "n/a",
        "n.a.",
        "null",
        "none",
        "nil",
        "nodata",
        "missing",
        "invalid",
        "inval",
        "err",
        "error",
        "fault",
        "fail",
        "ovf",
        "ovl",
        "ol",
        "inf",
        "-inf",
        "+inf",
        "infinity",
        "-infinity",
        "off-line",
        "offline",
        "over",
        "under",
        "open",
        "short",
        "1.#inf",
        "-1.#ind",
        "1.#qnan",
        "-1.#inf",
    ]
) | {"no data", "no signal", "over range", "out of range", "bad"}
"""Words that loggers write for a missing sample, in lower case."""

_THIN: Final = {ord(blank): None for blank in "\u00a0\u202f\u2009"}
"""blanks that group thousands"""
_BLANKS: Final = " \u00a0"  # a tab is a delimiter, not a blank
_DASHES: Final = re.compile(r"^[-–—_.*?~/\s]+$")
MONTHS: Final = {
    name: number
    for number, names in enumerate(
        ("jan", "feb", "mar mär mrz", "apr", "may mai", "jun", "jul", "aug", "sep", "oct okt", "nov", "dec dez"),
        start=1,
    )
    for name in names.split()
}
"""First three letters of the months' names, in lower case, and their numbers."""
_MONTH: Final = f"(?i:{'|'.join(MONTHS)})[a-zä]{{0,6}}"
NAMED_DATE: Final = (
    rf"(?:\d{{1,2}}[-/. ]+{_MONTH}[-/., ]+(?:\d{{4}}|\d{{2}})|{_MONTH}[-/. ]+\d{{1,2}}[-/., ]+\d{{4}}"
    rf"|\d{{4}}[-/. ]+{_MONTH}[-/., ]+\d{{1,2}})"
)
"""A date with the month's name: ``12-Apr-2031``, ``Apr-12-2031``, ``April 12, 2031``, ``2031-Apr-12``."""
_DATE_PART: Final = (
    rf"(?:\d{{4}}([-/.])\d{{1,2}}\1\d{{1,2}}|\d{{1,2}}([-/.])\d{{1,2}}\2(?:\d{{4}}|\d{{2}})|{NAMED_DATE})"
)
_CLOCK_PART: Final = r"\d{1,3}:[0-5]\d(?::[0-6]\d)?(?:[.,:]\d+)?(?:\s*[AaPp]\.?[Mm]\.?)?"
_ZONE_PART: Final = r"(?:\s*(?:Z|UTC|[+-]\d{2}:?\d{2}))?"
_CLOCK: Final = re.compile(f"^{_CLOCK_PART}{_ZONE_PART}$")
_DATE: Final = re.compile(f"^{_DATE_PART}$")
_DATE_TIME: Final = re.compile(f"^{_DATE_PART}[T\\s,]\\s*{_CLOCK_PART}{_ZONE_PART}$")
_COMMA_NUMBER: Final = re.compile(r"^[+-]?(?:\d+(?:,\d*)?|,\d+|\d{1,3}(?:\.\d{3})+,\d*)(?:[eE][+-]?\d+)?$")
_POINT_NUMBER: Final = re.compile(r"^[+-]?(?:\d+(?:\.\d*)?|\.\d+|\d{1,3}(?:,\d{3})+\.\d*)(?:[eE][+-]?\d+)?$")


def is_number(cell: str, decimal: str, thousands: str = "") -> bool:
    """Tell whether the cell is a number with this decimal mark.

    Grouped thousands count only with a decimal mark, or with the mark that ``thousands`` says they are grouped by.
    """
    if (_COMMA_NUMBER if decimal == "," else _POINT_NUMBER).match(cell):
        return True
    return bool(thousands) and thousands in cell and _grouped(decimal, thousands).match(cell) is not None


@lru_cache(maxsize=16)
def _grouped(decimal: str, thousands: str) -> re.Pattern[str]:
    group, mark = re.escape(thousands), re.escape(decimal)
    return re.compile(rf"^[+-]?[1-9]\d{{0,2}}(?:{group}\d{{3}})+(?:{mark}\d*)?$")


def to_number(cell: str, decimal: str, thousands: str = "") -> float | None:
    """Return the number that the cell holds, or None."""
    cell = cell.strip()
    if not is_number(cell, decimal, thousands):
        return None
    if thousands:
        cell = cell.replace(thousands, "")
    return float(cell.replace(".", "").replace(",", ".") if decimal == "," else cell.replace(",", ""))


def is_gap(cell: str) -> bool:
    """Tell whether the (stripped) cell is a missing sample: empty, dashes, ``#…`` or one of ``GAP_WORDS``."""
    return not cell or cell[0] == "#" or cell.lower() in GAP_WORDS or _DASHES.match(cell) is not None


def kind_of(cell: str, decimal: str, thousands: str = "") -> Kind:
    """Say what a stripped cell holds."""
    if not cell.isascii():
        cell = cell.translate(_THIN)
    if is_number(cell, decimal, thousands):
        return Kind.NUMBER
    if is_gap(cell):
        return Kind.GAP
    if cell[0].isdigit() or cell[:3].lower() in MONTHS:
        if _CLOCK.match(cell):
            return Kind.CLOCK
        if _DATE_TIME.match(cell):
            return Kind.DATE_TIME
        if _DATE.match(cell):
            return Kind.DATE
    return Kind.WORDS


def split_line(line: str, delimiter: str, quote: str = '"') -> list[str]:
    """Cut a line into cells without blanks at their ends, quotes respected."""
    if quote not in line:
        return [cell.strip(_BLANKS) for cell in line.split(delimiter)]
    if line.count(quote) % 2:  # not a quotation but a stray mark, such as the inch of a units row
        return [cell.strip(_BLANKS).strip(quote) or cell.strip(_BLANKS) for cell in line.split(delimiter)]
    try:
        row = next(csv.reader([line], delimiter=delimiter, quotechar=quote, skipinitialspace=True), [])
    except csv.Error:
        return [cell.strip(_BLANKS) for cell in line.split(delimiter)]
    return [cell.strip(_BLANKS) for cell in row]
