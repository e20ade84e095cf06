"""Clock times and dates as loggers write them."""

from __future__ import annotations

import datetime as dt
import re
from typing import TYPE_CHECKING, Final

import numpy as np
import polars as pl

from runlog.readers.cells import MONTHS, NAMED_DATE

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

DAY: Final = 86400.0
"""[s]"""

_CELL: Final = (
    rf"^\s*(?:(\d{{1,4}}[-/.]\d{{1,2}}[-/.]\d{{1,4}}|{NAMED_DATE})(?:[T\s,]\s*|$))?"
    r"(?:(\d{1,3}):(\d{2})(?::(\d{2}))?(?:[.,:](\d+))?\s*([AaPp]\.?[Mm]\.?)?)?"
)
_NUMERIC_DATE: Final = re.compile(r"\b(\d{1,4})([-/.])(\d{1,2})\2(\d{1,4})(?!\d)")
_NAMED_DATE: Final = re.compile(rf"(?<!\w){NAMED_DATE}(?!\d)")
_HALF: Final = re.compile(r"\d\s*[AaPp]\.?[Mm]\b")
_CLOCK_IN_TEXT: Final = re.compile(
    r"(?<![\d:])(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,](\d{1,9})\d*)?)?\s*([AaPp][Mm])?(?![\d:])"
)


def read_clock(
    cells: pl.Series, day_first: bool | None = None
) -> tuple[NDArray[np.float64], NDArray[np.float64], bool]:
    """Return (days since 1970-01-01, seconds of the day) of a column of clock times, dates or both; nan where none.

    The third tells whether the dates themselves show the order of day and month.

    Two parts with a fraction (``01:12.345``) are minutes and seconds; two parts without one are hours and minutes
    where a date stands before them, else minutes and seconds.
    """
    parts = cells.str.extract_groups(_CELL).struct.unnest()
    date, hour, minute, second, fraction, half = (parts.to_series(index) for index in range(6))
    a, b, c = (_floats(part) for part in (hour, minute, second))
    short = np.isnan(c) & ~np.isnan(a) & (fraction.is_not_null() | date.is_null()).to_numpy()
    seconds = np.where(short, 60 * a + b, 3600 * a + 60 * b + np.nan_to_num(c))
    seconds += np.nan_to_num(_floats("0." + fraction))
    if half.null_count() < len(half):
        halves = half.str.to_lowercase().str.head(1)
        twelve = a == 12
        seconds = seconds + np.where((halves == "p").fill_null(False).to_numpy() & ~twelve, DAY / 2, 0.0)
        seconds = seconds - np.where((halves == "a").fill_null(False).to_numpy() & twelve, DAY / 2, 0.0)
    days, told = _days(date, day_first)
    return days, seconds, told


def _floats(texts: pl.Series) -> NDArray[np.float64]:
    return texts.cast(pl.Float64, strict=False).to_numpy()


def _days(texts: pl.Series, day_first: bool | None) -> tuple[NDArray[np.float64], bool]:
    if texts.null_count() == len(texts):
        return np.full(len(texts), np.nan), False
    distinct = texts.unique().drop_nulls().to_list()
    known = read_dates(distinct, day_first)
    epoch = dt.date(1970, 1, 1)
    numbers = {text: float((date - epoch).days) for text, date in known.items()}
    days = texts.replace_strict(numbers, default=None, return_dtype=pl.Float64).to_numpy()
    return days, order_of(distinct) is not None


def read_dates(texts: Iterable[str], day_first: bool | None = None) -> dict[str, dt.date]:
    """Read dates that belong together; texts that aren't dates are left out.

    A year in front or a month's name settles the order. Otherwise a number above 12 in any of the texts does, then what
    ``day_first`` says, then dots (day first), then that days that follow each other lie nearer than months; what is
    left is read with the month first.
    """
    texts = list(texts)
    told = order_of(texts)
    if told is None:
        told = day_first
    dates = {}
    for text in texts:
        match = _NUMERIC_DATE.search(text)
        if match is None:
            parts = _named(text)
        elif len(match[1]) == 4:
            parts = int(match[1]), int(match[3]), int(match[4])
        elif match[2] == "." if told is None else told:
            parts = int(match[4]), int(match[3]), int(match[1])
        else:
            parts = int(match[4]), int(match[1]), int(match[3])
        if parts is not None and (date := _date(*parts)) is not None:
            dates[text] = date
    return dates


def order_of(texts: Iterable[str]) -> bool | None:
    """Return whether the day stands first in dates that belong together, None where they don't show it."""
    found = [match for text in texts if (match := _NUMERIC_DATE.search(text)) and len(match[1]) < 3]
    if any(int(match[1]) > 12 for match in found):
        return True
    if any(int(match[3]) > 12 for match in found):
        return False
    # days that follow each other lie nearer than months
    figures = {(int(match[1]), int(match[3]), int(match[4])) for match in found}
    days = [date for day, month, year in figures if (date := _date(year, month, day))]
    months = [date for month, day, year in figures if (date := _date(year, month, day))]
    if len(figures) < 2 or not len(days) == len(months) == len(figures):
        return None
    by_days, by_months = max(days) - min(days), max(months) - min(months)
    return None if by_days == by_months else by_days < by_months


def _named(text: str) -> tuple[int, int, int] | None:
    """Return year, month and day of a date with the month's name."""
    match = _NAMED_DATE.search(text)
    if match is None:
        return None
    letters, figures = re.findall(r"[^\W\d_]+", match[0]), [int(part) for part in re.findall(r"\d+", match[0])]
    month = MONTHS[letters[0][:3].lower()]
    return (figures[0], month, figures[1]) if figures[0] > 31 else (figures[1], month, figures[0])


def _date(year: int, month: int, day: int) -> dt.date | None:
    try:
        return dt.date(year + 2000 if year < 100 else year, month, day)
    except ValueError:
        return None


def ambiguous(text: str) -> bool:
    """Tell whether day and month of a date in figures could be exchanged, and nothing in it tells which is which."""
    match = _NUMERIC_DATE.search(text)
    return (
        match is not None
        and len(match[1]) < 3
        and match[2] != "."
        and int(match[1]) <= 12
        and int(match[3]) <= 12
        and match[1] != match[3]
        and not twelve_hours(text)
    )


def twelve_hours(text: str) -> bool:
    """Tell whether a clock time with AM or PM stands in a text: who writes so writes the month first."""
    return _HALF.search(text) is not None


def find_date(text: str, day_first: bool | None = None) -> dt.date | None:
    """Return the first date in a text, in figures or with the month's name."""
    for match in _NUMERIC_DATE.finditer(text):
        if found := read_dates([match[0]], day_first):
            return found[match[0]]
    for match in _NAMED_DATE.finditer(text):
        if found := read_dates([match[0]]):
            return found[match[0]]
    return None


def find_time(text: str) -> dt.time | None:
    """Return the first clock time in a text."""
    match = _CLOCK_IN_TEXT.search(text)
    if match is None:
        return None
    hour = int(match[1])
    if match[5]:
        hour = hour % 12 + (12 if match[5].lower() == "pm" else 0)
    microsecond = round(float(f"0.{match[4]}") * 1e6) if match[4] else 0
    try:
        return dt.time(hour, int(match[2]), int(match[3] or 0), min(microsecond, 999_999))
    except ValueError:
        return None
