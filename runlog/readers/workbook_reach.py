"""How far a part of a workbook makes a reader reach, found by an XML parser before that reader sees it.

A part may be written in any of XML's ways, with other quotes, prefixes, blanks or references, so nothing short of a
parser tells what is in it. What isn't well-formed, or brings a document type of its own, is no part of a workbook
(ECMA-376 part 2 on the use of XML in packages, from memory).
"""

from __future__ import annotations

import functools
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final
from xml.parsers import expat

if TYPE_CHECKING:
    from collections.abc import Mapping

_PLACE: Final = re.compile("([A-Za-z]{1,7})([0-9]{1,10})")
_NOWHERE: Final = 1 << 40


@dataclass
class Reach:
    """The rectangle over which cells reach, and what their texts can come to."""

    rows: int = 0
    columns: int = 0
    first_row: int = 0
    shared: int = 0
    """cells that refer to a text which the workbook keeps once"""
    longest: int = 0
    """characters of the longest such text"""


class _ForeignTypeError(Exception):
    """A document type of its own."""


class _Measure:
    """Follows a parser through one part."""

    def __init__(self, parser: expat.XMLParserType) -> None:
        self.found = Reach()
        self._parser = parser
        self._row = self._column = self._length = 0
        parser.StartElementHandler = self._start
        parser.StartDoctypeDeclHandler = self._refuse

    def _start(self, name: str, attributes: Mapping[str, str]) -> None:
        kind = name.rpartition(":")[2]
        if kind == "c":
            self._cell(attributes)
        elif kind == "row":
            said = attributes.get("r", "")
            self._row = int(said) if said.isdecimal() and len(said) < 11 else self._row + 1
            self._column = 0
        elif kind == "si":
            self._length = 0
            self._parser.CharacterDataHandler = self._text
            self._parser.EndElementHandler = self._end

    def _cell(self, attributes: Mapping[str, str]) -> None:
        found = self.found
        place = attributes.get("r")
        if place is None:
            self._column += 1
        elif match := _PLACE.fullmatch(place):
            self._row, self._column = int(match[2]), _column(match[1])
        else:
            self._row = self._column = _NOWHERE
        found.rows, found.columns = max(found.rows, self._row), max(found.columns, self._column)
        found.first_row = min(found.first_row or self._row, self._row)
        if attributes.get("t") == "s":
            found.shared += 1

    def _text(self, text: str) -> None:
        self._length += len(text)

    def _end(self, name: str) -> None:
        if name.rpartition(":")[2] == "si":
            self.found.longest = max(self.found.longest, self._length)
            self._parser.CharacterDataHandler = self._parser.EndElementHandler = None

    def _refuse(self, *_: object) -> None:
        raise _ForeignTypeError


@functools.lru_cache(maxsize=1 << 15)
def _column(letters: str) -> int:
    number = 0
    for letter in letters.upper():
        number = number * 26 + ord(letter) - 64
    return number


def reach(part: bytes) -> Reach | None:
    """Return how far a part reaches; None where it is no XML that a workbook could hold."""
    parser = expat.ParserCreate()
    measure = _Measure(parser)
    try:
        parser.Parse(part, True)
    except (expat.ExpatError, _ForeignTypeError, ValueError, LookupError):  # also an encoding that isn't known here
        return None
    return measure.found
