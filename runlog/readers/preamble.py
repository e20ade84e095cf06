"""The lines above the table: start of the recording, sample rate, units."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from runlog import units
from runlog.readers.cells import to_number
from runlog.readers.clock import find_date, find_time
from runlog.readers.headers import read_heading

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

_PAIR: Final = re.compile(r"^[#;/*%\s]*([^\d\s:=#;/*%][^:=]*?)\s*[:=]\s*(.+)$")
_PLAIN_RATE: Final = re.compile(
    r"^[#;/*%\s]*([A-Za-z][A-Za-z _]*(?:rate|interval|frequency))\s+([\d.,]+\s*\S*)$", re.IGNORECASE
)
_RATE_WORDS: Final = re.compile(r"rate|freq|sampling|abtast|hz\b", re.IGNORECASE)
_INTERVAL_WORDS: Final = re.compile(
    r"interval|intervall|delta[_ ]?[xt]|increment|\bdt\b|period|time step|step size|time per sample|sample time",
    re.IGNORECASE,
)
_NO_RATE: Final = re.compile(r"baud|bit|byte|heart|refresh", re.IGNORECASE)
_START_WORDS: Final = re.compile(
    r"^x[_ ]?(0|zero|origin)$|^start$|^start[_ ]?(offset|value|x)$|^offset$", re.IGNORECASE
)
_UNIT_WORDS: Final = re.compile(r"unit|einheit", re.IGNORECASE)
_DATE_WORDS: Final = re.compile(
    r"date|datum|start|begin|record|created|log|trigger|session|day|time|zeit", re.IGNORECASE
)
_CLOCK_WORDS: Final = re.compile(
    r"time|zeit|start|begin|record|created|log|trigger|session|date|datum|clock", re.IGNORECASE
)


@dataclass(frozen=True)
class Preamble:
    """What the lines above the table say; None where they don't."""

    rate_hz: float | None = None
    rate_from: str = ""
    """the line that gave the rate, for messages"""
    start: float = 0.0
    """[s] time of the first sample, where only a rate is given"""
    date: dt.date | None = None
    date_text: str = ""
    time: dt.time | None = None
    units: Mapping[int, str] = field(default_factory=dict)
    """units given column by column in a line of their own"""


def read_preamble(
    lines: Sequence[tuple[int, tuple[str, ...]]], decimal: str, day_first: bool | None = None
) -> Preamble:
    """Read key and value pairs (``Sample Rate: 100 Hz``, ``Date;12.04.2031``), later lines overruling earlier ones."""
    rate, rate_from, start, column_units = None, "", 0.0, {}
    date, date_text, time = None, "", None
    for number, cells in lines:
        key, values = _key_and_values(cells)
        text = " ".join(values)
        found_rate = _rate(key, values, decimal)
        if found_rate is not None:
            rate, rate_from = found_rate, f"line {number}"
            continue
        if values and _START_WORDS.search(key):
            found = _quantity(values[0], "", decimal)
            start = found if found is not None else start
        if _UNIT_WORDS.search(key) and len(values) > 1:
            column_units = {place: cell for place, cell in enumerate(cells) if place and cell}
        if _DATE_WORDS.search(key) and (found_date := find_date(text, day_first)):
            date, date_text = found_date, text
        if _CLOCK_WORDS.search(key) and (found_time := find_time(text)):
            time = found_time
    return Preamble(rate, rate_from, start, date, date_text, time, column_units)


def read_columns_without_data(names: Sequence[str], values: Sequence[str], decimal: str) -> Preamble:
    """Read what header and units row say in columns that hold no samples (``Start``, ``Increment``)."""
    return read_preamble([(0, pair) for pair in zip(names, values, strict=True) if all(pair)], decimal)


def _key_and_values(cells: Sequence[str]) -> tuple[str, list[str]]:
    filled = [cell for cell in cells if cell]
    if len(filled) == 1:  # these lines may be cut by another mark than the table, or the table has a single column
        mark = next((mark for mark in (";", "\t", "|", ",") if mark in filled[0]), "\0")
        filled = [part.strip() for part in filled[0].split(mark) if part.strip()] or filled
    pair = _PAIR.match(filled[0]) or _PLAIN_RATE.match(filled[0])
    if pair:
        return pair[1].strip(), [pair[2].strip(), *filled[1:]]
    key = filled[0].strip("#;/*% :=")
    # a line without a key that holds nothing but a date is the date of the recording
    return (
        (key, filled[1:]) if len(filled) > 1 else ("date" if find_date(key) else key, [key] if find_date(key) else [])
    )


def _rate(key: str, values: Sequence[str], decimal: str) -> float | None:
    """Return the sample rate [Hz] that a line gives, as a rate or as an interval."""
    heading = read_heading(key)
    unit_cell = values[1] if len(values) > 1 else ""
    if not values or not (_RATE_WORDS.search(key) or _INTERVAL_WORDS.search(key)):
        return None
    number, written = _split(values[0], decimal)
    unit = units.find_unit(written or heading.unit or unit_cell)
    if number is None or number <= 0:
        return None
    if unit is not None and unit.dimension == "frequency":
        return unit.to_si(number)
    if unit is not None and unit.dimension == "time":
        return 1.0 / unit.to_si(number)
    if unit is not None or _NO_RATE.search(f"{key} {written}"):
        return None
    return 1.0 / number if _INTERVAL_WORDS.search(key) else number


def _quantity(text: str, unit_text: str, decimal: str) -> float | None:
    number, written = _split(text, decimal)
    unit = units.find_unit(written or unit_text, "time")
    return number if unit is None or number is None else unit.to_si(number)


def _split(text: str, decimal: str) -> tuple[float | None, str]:
    match = re.match(r"^\s*([-+]?[\d.,]+(?:[eE][-+]?\d+)?)\s*(.*?)\s*$", text)
    if match is None:
        return None, ""
    number = to_number(match[1], decimal)
    if number is None:
        number = to_number(match[1], "." if decimal == "," else ",")
    return number, match[2]
