"""Header cells: the name and the unit in them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from runlog import units
from runlog.readers.cells import word_set

_BRACKETED: Final = re.compile(
    r"^(?P<name>.*?)\s*(?:\[(?P<a>[^\[\]]*)\]|\((?P<b>[^()]*)\)|\{(?P<c>[^{}]*)\}|<(?P<d>[^<>]*)>)$"
)
_SLASHED: Final = re.compile(r"^(?P<name>.+?)\s+(?:/|in|,|-)\s*(?P<unit>\S+)$")
_TRAILING: Final = re.compile(r"^(?P<name>.*[^\s_])[\s_]+(?P<unit>[^\s_]+)$")
# letters that are words or axes before they are units when they stand bare at the end of a name
_NOT_BARE: Final = word_set("c f h k m s a w in min set run hole turn flat click ' \" - 1 mb ps fraction")


@dataclass(frozen=True)
class Heading:
    """What a column is called: ``name`` without a bracketed unit, the unit as written, the whole cell."""

    name: str
    unit: str
    cell: str


def read_heading(cell: str, unit_cell: str = "") -> Heading:
    """Take name and unit out of a header cell and the cell below it in the units row.

    A unit in brackets is taken off the name; a bare one at its end (``oil_psi``, ``Speed km/h``) stays part of it.
    """
    cell = " ".join(cell.split())
    below = strip_brackets(unit_cell)
    bracketed = _BRACKETED.match(cell)
    if bracketed:
        inside = next(text for text in bracketed.group("a", "b", "c", "d") if text is not None).strip()
        looks_unit = find_unit(inside) is not None or "[" in cell or (bool(inside) and not below and _unitlike(inside))
        if looks_unit and bracketed["name"]:
            return Heading(bracketed["name"].rstrip(" -_,:"), below or inside, cell)
    if below:
        return Heading(cell, below, cell)
    slashed = _SLASHED.match(cell)
    if slashed and find_unit(slashed["unit"]) and slashed["unit"].lower() not in _NOT_BARE - {"c", "f", "k", "1"}:
        return Heading(slashed["name"], slashed["unit"], cell)
    trailing = _TRAILING.match(cell)
    if trailing and find_unit(trailing["unit"]) and (trailing["unit"].lower() not in _NOT_BARE or "_" in cell):
        return Heading(cell, trailing["unit"], cell)
    return Heading(cell, "", cell)


def strip_brackets(text: str) -> str:
    """Return a units-row cell without brackets round it."""
    text = text.strip()
    return text[1:-1].strip() if len(text) > 2 and text[0] + text[-1] in ("[]", "()", "{}", "<>") else text


@lru_cache(maxsize=4096)
def find_unit(spelling: str) -> units.Unit | None:
    """Look a spelling up; a qualifier after a hyphen or blank (``ft-AGL``, ``kPa abs``) doesn't hide the unit."""
    found = units.find_unit(spelling)
    if found is None and (parts := re.split(r"[\s-]+", spelling.strip(), maxsplit=1))[1:]:
        found = (
            units.find_unit(parts[0])
            if re.fullmatch(r"(?i)agl|msl|asl|abs|abs\.|absolute|gauge|g|rel", parts[1])
            else None
        )
    return found


def _unitlike(inside: str) -> bool:
    """Tell a unit that isn't in the table (``ccps``) from a remark (``Trigger``, ``left``)."""
    return len(inside) <= 6 and bool(re.search(r"[/%°²³^]", inside))


_NUMBERED: Final = re.compile(r" \(\d+\)$")


def as_written(name: str, cell: str) -> str:
    """Return a column's name without the number that ``unique_names`` gave it, which isn't in its header cell."""
    bare = _NUMBERED.sub("", name)
    return bare if bare != name and name[len(bare) :].strip() not in cell else name


def unique_names(names: list[str]) -> list[str]:
    """Number repeated names: ``bias``, ``bias (2)``; nameless columns become ``column 3``."""
    taken: set[str] = set()
    result = []
    for place, name in enumerate(names, start=1):
        name = name or f"column {place}"
        candidate, count = name, 1
        while candidate in taken:
            count += 1
            candidate = f"{name} ({count})"
        taken.add(candidate)
        result.append(candidate)
    return result
