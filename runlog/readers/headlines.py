"""Which lines above the samples may be header and units row, and how good a choice that would be."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import TYPE_CHECKING, Final

from runlog import units
from runlog.readers.cells import Kind, is_gap, word_set
from runlog.readers.lines import trimmed

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from runlog.readers.lines import Row

_COUNTER_WORDS: Final = word_set("sequence index sample samples count counts points point no nr number on/off")
_LOOKED_AT: Final = 3
"""lines above the samples that may be the header"""
_NO_HEADER, _WORDS_LEFT = 0.8, 0.5
"""no header; none though words stand right above the samples"""
_SKIPPED: Final = 0.8
"""for each line of words between header and samples that isn't the units row"""
_UNITS_FOR_NAMES: Final = 0.85
"""a header whose names are units"""
_UNITS_LEFT: Final = 0.95
"""a line of units beside the header that isn't taken for the units row"""
_ARE_UNITS: Final = 0.6
"""share of a line's words that makes it a line of units below the header; above it, where titles stand, more"""
_ARE_UNITS_ABOVE: Final = 0.8


@dataclass(frozen=True)
class Headline:
    """A choice of header and units row by their places among the rows, and its weight, 0 to 1."""

    header: int | None
    unit_row: int | None
    weight: float


def headlines(rows: Sequence[Row], first: int, width: int, columns: int) -> Iterator[Headline]:
    """Go through the choices above the row ``first``: the usual ``width`` of the samples, and the most ``columns``."""
    adjoining = first > 0 and _could_be(rows[first - 1])
    yield Headline(None, None, _WORDS_LEFT if adjoining else _NO_HEADER)
    above = [index for index in range(first - 1, -1, -1) if _could_be(rows[index])][:_LOOKED_AT]
    shares = [_unit_share(rows[index]) for index in above]
    for place, index in enumerate(above):
        row = rows[index]
        if 2 * row.filled < width or Kind.WORDS not in row.kinds:
            continue
        cells = trimmed(row.cells)
        # names without samples are empty columns; samples without names speak of a wrong cut
        fits = sqrt(columns / cells) if cells > columns else cells / max(cells, width)
        named = fits * (_UNITS_FOR_NAMES if shares[place] >= _ARE_UNITS else 1.0)
        below = place - 1 if place and shares[place - 1] >= _ARE_UNITS else None
        over = place + 1 if place + 1 < len(above) and _titles(rows[above[place + 1]], shares[place + 1]) else None
        beside = below if below is not None else over
        yield Headline(index, None, named * _SKIPPED**place * (1.0 if beside is None else _UNITS_LEFT))
        if below is not None:
            yield Headline(index, above[below], named * _SKIPPED ** (place - 1))
        if over is not None:
            yield Headline(index, above[over], named * _SKIPPED**place)


def _titles(row: Row, share: float) -> bool:
    return row.filled > 1 and share >= _ARE_UNITS_ABOVE


def _could_be(row: Row) -> bool:
    return row.filled > 0 and not _is_rule(row) and not row.looks_measured()


def _is_rule(row: Row) -> bool:
    return all(is_gap(cell) and not cell[:1].isalpha() and cell[:1] != "#" for cell in row.cells)


def _unit_share(row: Row) -> float:
    """Return the share of the row's words that are units (brackets round them don't matter)."""
    words = [cell for cell, kind in zip(row.cells, row.kinds, strict=True) if kind is Kind.WORDS]
    bare = [word.strip("[](){}<> ").lower() for word in words]
    return sum(1 for word in bare if units.find_unit(word) or word in _COUNTER_WORDS) / max(1, len(words))
