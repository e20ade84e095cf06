"""How much speaks for an interpretation of a text: each weight is from 0 to 1, the score is their product.

The numbers are common practice, no source: they rank interpretations against each other, and mean nothing alone.
"""

from __future__ import annotations

import re
from collections import Counter
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from runlog.readers import time_base
from runlog.readers.cells import Kind, to_number
from runlog.readers.headers import find_unit, read_heading, strip_brackets
from runlog.readers.lines import MEASURED
from runlog.readers.preamble import read_columns_without_data, read_preamble

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from runlog.readers.lines import Row

Weights = tuple[tuple[str, float], ...]

OWN_WORD: Final = 0.999
"""for each word that a text is taken to have of its own for a missing sample"""
_AGAIN: Final = 3
"""times that a word must stand among numbers to be one"""
_OWN_WORDS: Final = 3
"""different words in a column; where there are more they say something"""
_ONE_WORD: Final = re.compile(r"^[^\W\d_][^,;\t|]{0,23}$|^[<(\[{][^,;\t|]{1,22}[>)\]}]$")
_STATES: Final = frozenset({"on", "off", "true", "false", "yes", "no"})

_SOUNDS_LIKE_TIME: Final = 0.7
_BRACKETED: Final = re.compile(r"[\[({<]([^\[\](){}<>]+)[\])}>]$")


def of_cells(body: Sequence[Row], kinds: Sequence[Kind]) -> Weights:
    """Weigh the samples: cells that are numbers or times, one kind a column, lines of one width."""
    filled = [kind for row in body for kind in row.kinds if kind is not Kind.GAP]
    measured = sum(1 for kind in filled if kind in MEASURED) / len(filled)
    # columns of words are honest columns, but cells that change kind within a column speak of a wrong cut
    settled = sum(
        1 for row in body for kind, usual in zip(row.kinds, kinds, strict=False) if kind in (usual, Kind.GAP)
    ) / sum(min(len(row.kinds), len(kinds)) for row in body)
    usual = Counter(len(row.cells) for row in body).most_common(1)[0][0]
    even = sum(1 for row in body if len(row.cells) == usual) / len(body)
    return (
        ("numbers and times", 0.3 + 0.7 * measured),
        ("one kind a column", settled),
        ("lines of one width", 0.5 + 0.5 * even),
        ("more than one column", 0.6 if len(kinds) == 1 else 1.0),
    )


def words_among_numbers(body: Sequence[Row], kinds: Sequence[Kind]) -> frozenset[str]:
    """Return the words, in lower case, that stand again and again in columns of numbers."""
    counts: Counter[str] = Counter()
    for column, kind in enumerate(kinds):
        if kind is not Kind.NUMBER:
            continue
        here = Counter(
            row.cells[column].lower()
            for row in body
            if column < len(row.kinds) and row.kinds[column] is Kind.WORDS and _ONE_WORD.match(row.cells[column])
        )
        if len(here) <= _OWN_WORDS:
            counts.update(here)
    return frozenset(word for word, count in counts.items() if count >= _AGAIN) - _STATES


def of_marks(body: Sequence[Row], kinds: Sequence[Kind], decimal: str, thousands: str) -> float:
    """Weigh what the marks in whole numbers are taken for: decimals or groups of thousands.

    ``1,234`` among ``987`` counts in thousands; among others like it, it may as well be a figure with three decimals.
    """
    if not body:
        return 1.0
    mark = thousands or decimal
    group = re.compile(rf"^[+-]?[1-9]\d{{0,2}}(?:{re.escape(mark)}\d{{3}})+$")
    doubtful = settled = 0
    for column, kind in enumerate(kinds):
        if kind is not Kind.NUMBER:
            continue
        cells = [row.cells[column] for row in body if column < len(row.cells) and row.cells[column]]
        marked = [cell for cell in cells if mark in cell]
        if not marked or not all(group.match(cell) for cell in marked):
            continue
        small = [cell for cell in cells if mark not in cell]
        doubtful += 1
        settled += bool(small) and all(len(cell.lstrip("+-")) <= 3 for cell in small)
    if not thousands:
        return 0.7 if settled else 1.0
    return 1.0 if settled else 0.8 if doubtful else 0.9


def of_time(
    names: Sequence[str], unit_row: Sequence[str], kinds: Sequence[Kind], body: Sequence[Row], marks: tuple[str, str]
) -> tuple[str, float]:
    """Return what tells the time in the table, empty for nothing, and how much that speaks for the interpretation.

    ``marks``: of decimals and of thousands.
    """
    for place, kind in enumerate(kinds):
        if kind in (Kind.CLOCK, Kind.DATE_TIME):
            return names[place] or f"column {place + 1}", 1.0
    fallen = ""
    for place, (name, unit) in enumerate(zip(names, unit_row, strict=True)):
        if kinds[place] is not Kind.NUMBER or not name or not _may_be_time(name, unit):
            continue
        if time_base.wording(read_heading(name, unit)) < _SOUNDS_LIKE_TIME:
            continue
        if _rises(body, place, marks):
            return name, 1.0
        fallen = fallen or name
    if fallen:
        return fallen, 0.93
    if kinds[0] is Kind.NUMBER and _rises(body, 0, marks):
        return "", 0.95
    return "", 0.9


def _may_be_time(name: str, unit: str) -> bool:
    """Tell cheaply whether a closer look at a heading is worth it."""
    return (
        bool(unit)
        or any(word in time_base.TIME_WORDS for word in re.split(r"[^a-zäöü]+", name.lower()))
        or (name[-1:] in "])}>s")
    )


def _rises(body: Sequence[Row], column: int, marks: tuple[str, str]) -> bool:
    cells = [row.cells[column] for row in body if row.line.number and column < len(row.cells)]
    numbers = [number for cell in cells if (number := to_number(cell, *marks)) is not None]
    return len(numbers) > 1 and numbers[0] < numbers[-1] and all(a <= b for a, b in pairwise(numbers))


def rate_line(
    preamble: Sequence[tuple[int, tuple[str, ...]]],
    names: Sequence[str],
    unit_row: Sequence[str],
    kinds: Sequence[Kind],
    decimal: str,
) -> str:
    """Return what gives a sample rate: a line above the table or a column without samples; empty where nothing does."""
    told = read_preamble(preamble, decimal)
    if told.rate_hz is not None:
        return told.rate_from
    empty = [place for place, kind in enumerate(kinds) if kind is Kind.GAP]
    beside = read_columns_without_data([names[n] for n in empty], [unit_row[n] for n in empty], decimal)
    return "" if beside.rate_hz is None else "the header"


def of_signs(names: Sequence[str], unit_row: Sequence[str]) -> float:
    """Weigh the encoding by the units written with characters beyond ASCII: ``°C`` is one, ``øC`` isn't."""
    written = {unit for unit in _written_units(names, unit_row) if not unit.isascii()}
    return 0.6 + 0.4 * sum(find_unit(unit) is not None for unit in written) / len(written) if written else 1.0


def _written_units(names: Sequence[str], unit_row: Sequence[str]) -> Iterator[str]:
    for name, unit in zip(names, unit_row, strict=True):
        if unit:
            yield strip_brackets(unit)
        elif bracketed := _BRACKETED.search(name):
            yield bracketed[1].strip()
